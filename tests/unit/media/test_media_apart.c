/*
 * The decoder in a process of its own: it gives what decoding here gives, and whatever happens to it, or whatever it
 * says, is an error for its file and nothing worse.
 */
#define _DEFAULT_SOURCE 1
#include "clips.h"
#include "media_remote.h"

#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char dir[256], clip[300];

static int make_clip(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    snprintf(clip, sizeof clip, "%s/run.mpg", dir);
    clip_run("ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=320x240:r=25:d=2 -c:v mpeg2video -g 12 -bf 2 -b:v 1M '%s'", clip);
    return 0;
}

static int remove_clip(void **state)
{
    (void)state;
    sm_test_dir_remove(dir);
    return 0;
}

/* ---- the same pictures ---- */

struct sum {
    uint64_t hash;
    size_t n;
};

static enum sm_status add_up(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct sum *sum = user;
    const struct sm_image *image = &frame->image;
    sum->n++;
    for (int32_t y = 0; y < image->height_px; y++) {
        for (int32_t x = 0; x < image->width_px; x++) {
            int32_t cx = x >> image->chroma_shift_x, cy = y >> image->chroma_shift_y;
            sum->hash = sum->hash * 31 + image->y[y * image->stride_y + x];
            sum->hash = sum->hash * 31 + image->u[cy * image->stride_u + cx] + image->v[cy * image->stride_v + cx];
        }
    }
    sum->hash = sum->hash * 31 + (uint64_t)llround(frame->time_s * 1000);
    return SM_OK;
}

static struct sum sum_of(struct sm_media *media)
{
    struct sum sum = {0};
    struct sm_error err = {0};
    double at_s[] = {1.5, 0.3, 0.3, 9};
    assert_ok(sm_media_scan(media, 0, SM_INFINITY, 0, false, add_up, &sum, &err), &err);
    assert_ok(sm_media_scan(media, 0.4, 1.7, 0.4, true, add_up, &sum, &err), &err);
    assert_ok(sm_media_at(media, at_s, 4, NULL, add_up, &sum, &err), &err);
    return sum;
}

static void test_apart__gives_what_decoding_here_gives(void **state)
{
    (void)state;
    setenv("SM_DECODER", "here", 1);
    struct sm_media *here = clip_open(clip);
    unsetenv("SM_DECODER");
    struct sm_media *apart = clip_open(clip), *again = NULL;
    struct sm_error err = {0};
    assert_null(here->remote);
    assert_non_null(apart->remote);
    assert_ok(sm_media_open_again(&again, apart, &err), &err);
    struct sum expected = sum_of(here);
    assert_int_equal(expected.n, 50 + 3 + 3);
    assert_true(sum_of(apart).hash == expected.hash);
    assert_true(sum_of(again).hash == expected.hash);
    assert_int_equal(sm_media_get_info(apart)->n_frames, sm_media_get_info(here)->n_frames);
    struct sm_text still[2] = {{0}, {0}};
    assert_ok(sm_media_still_jpeg(here, 1.0, 80, &still[0], &err), &err);
    assert_ok(sm_media_still_jpeg(apart, 1.0, 80, &still[1], &err), &err);
    assert_int_equal(still[0].length, still[1].length);
    assert_memory_equal(still[0].data, still[1].data, still[0].length);
    assert_int_equal(sm_media_still_jpeg(apart, 99, 80, &still[1], &err), SM_E_NOTFOUND);
    assert_int_equal(still[0].length, still[1].length);
    sm_text_release(&still[0]);
    sm_text_release(&still[1]);
    sm_media_close(&here);
    sm_media_close(&apart);
    sm_media_close(&again);
}

/* ---- what can happen to it ---- */

struct harm {
    struct sm_media *media;
    int signal_number;
    size_t n;
};

static enum sm_status do_harm(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)frame, (void)err;
    struct harm *harm = user;
    if (++harm->n == 5) {
        assert_int_equal(kill((pid_t)harm->media->remote->process.pid, harm->signal_number), 0);
    }
    return SM_OK;
}

static void check_lost(struct sm_media *media, const struct sm_error *err, const char *words)
{
    struct sum sum = {0};
    struct sm_error later = {0};
    struct sm_text still = {0};
    assert_int_equal(err->status, SM_E_IO);
    assert_string_equal(err->source, clip);
    assert_non_null(strstr(err->text, words));
    assert_true(strlen(err->remedy) > 10);
    assert_int_equal(sm_media_scan(media, 0, 1, 0, false, add_up, &sum, &later), SM_E_IO);
    assert_string_equal(later.text, err->text);
    assert_int_equal(sm_media_still_jpeg(media, 0.1, 80, &still, &later), SM_E_IO);
    assert_int_equal(sum.n, 0);
}

static void test_apart__a_killed_one_costs_its_file_only(void **state)
{
    (void)state;
    static const struct {
        int signal_number;
        const char *words;
    } cases[] = {{SIGKILL, "ended by the system"}, {SIGTRAP, "crashes"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_media *media = clip_open(clip), *other = clip_open(clip);
        struct sm_error err = {0};
        struct harm harm = {media, cases[i].signal_number, 0};
        assert_int_equal(sm_media_scan(media, 0, SM_INFINITY, 0, false, do_harm, &harm, &err), SM_E_IO);
        check_lost(media, &err, cases[i].words);
        assert_int_equal(sum_of(other).n, 56);
        sm_media_close(&media);
        sm_media_close(&other);
    }
}

static void test_apart__one_that_hangs_is_ended(void **state)
{
    (void)state;
    struct sm_media *media = clip_open(clip);
    struct sm_error err = {0};
    struct harm harm = {media, SIGSTOP, 0};
    media->remote->patience_s = 0.05;
    assert_int_equal(sm_media_scan(media, 0, SM_INFINITY, 0, false, do_harm, &harm, &err), SM_E_IO);
    check_lost(media, &err, "hangs");
    sm_media_close(&media);
}

static void test_apart__memory_is_bounded(void **state)
{
    (void)state;
#if defined __SANITIZE_ADDRESS__
    skip(); /* no limit in these builds */
#endif
    char large[300];
    snprintf(large, sizeof large, "%s/large.mp4", dir);
    clip_run("ffmpeg -nostdin -v error -f lavfi -i color=s=4096x4096:r=25:d=0.2 -c:v libx264 -preset ultrafast '%s'", large);
    setenv("SM_DECODER_MIB", "48", 1);
    struct sm_media *media = NULL;
    struct sm_error err = {0};
    const char *path = large;
    assert_int_not_equal(sm_media_open(&media, &path, 1, &err), SM_OK);
    assert_true(err.text[0] && (err.remedy[0] || err.status == SM_E_NOMEM));
    unsetenv("SM_DECODER_MIB");
    media = clip_open(large);
    sm_media_close(&media);
}

/* ---- what it may say ---- */

/* A decoder that was taken over: what it says instead. */
struct liar {
    const void *says;
    size_t n;
    bool goes_on; /* until nobody listens */
};
static struct liar liar; /* for the process started as a copy of this one */

static int lie(void *user, int channel)
{
    (void)user;
    struct media_request request;
    if (sm_process_receive(channel, &request, sizeof request, -1) != SM_PROCESS_GOT) {
        return 1;
    }
    while (sm_process_send(channel, liar.says, liar.n) && liar.goes_on) {
    }
    while (sm_process_receive(channel, &request, 1, -1) == SM_PROCESS_GOT) {
    }
    return 0;
}

/* Nothing it says may be more than an error. */
static enum sm_status ask_liar(const void *says, size_t n, bool goes_on)
{
    struct sm_media *media = clip_open(clip);
    struct sm_error err = {0};
    struct sum sum = {0};
    sm_media__remote_stop(media);
    liar = (struct liar){says, n, goes_on};
    assert_ok(sm_media__remote_start(media, lie, &err), &err);
    media->remote->patience_s = 0.02;
    enum sm_status status = sm_media_scan(media, 0, SM_INFINITY, 0, false, add_up, &sum, &err);
    sm_media_close(&media);
    return status;
}

static struct media_message honest_frame(void)
{
    struct media_message message = {.kind = KIND_FRAME};
    message.shown = (struct media_shown){.time_s = 0.2, .duration_s = 0.04, .has_chroma = true, .width_px = 320,
                                         .height_px = 240, .chroma_shift_x = 1, .chroma_shift_y = 1,
                                         .offset = {64, 64 + 320 * 240, 64 + 320 * 240 + 160 * 120},
                                         .stride = {320, 160, 160}};
    return message;
}

static void test_apart__lies_are_errors(void **state)
{
    (void)state;
    struct media_message frame = honest_frame();
    frame.shown.offset[2] = SHARED_BYTES - 10;
    assert_int_equal(ask_liar(&frame, sizeof frame, false), SM_E_IO);
    frame = honest_frame();
    frame.shown.width_px = 3200;
    assert_int_equal(ask_liar(&frame, sizeof frame, false), SM_E_IO);
    frame = honest_frame();
    frame.n_bytes = 100;
    assert_int_equal(ask_liar(&frame, sizeof frame, true), SM_E_IO);
    frame = honest_frame(); /* without end */
    assert_int_equal(ask_liar(&frame, sizeof frame, true), SM_E_IO);
    struct media_message asks = {.kind = KIND_ASK};
    assert_int_equal(ask_liar(&asks, sizeof asks, true), SM_E_IO);
    struct media_message done = {.kind = KIND_DONE, .status = (enum sm_status)5, .n_bytes = sizeof(struct media_state)};
    assert_int_equal(ask_liar(&done, sizeof done, true), SM_E_IO);
    done.n_bytes = UINT64_MAX;
    assert_int_equal(ask_liar(&done, sizeof done, true), SM_E_IO);
    assert_int_equal(ask_liar(&done, 7, false), SM_E_IO); /* half a message, then silence */
}

static void test_apart__noise_is_an_error(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(8);
    for (int i = 0; i < 8; i++) {
        uint8_t noise[4096];
        for (size_t k = 0; k < sizeof noise; k++) {
            noise[k] = (uint8_t)sm_test_int(&random, 0, 255);
        }
        assert_int_equal(ask_liar(noise, sizeof noise, true), SM_E_IO);
    }
}

/* Whatever is accepted lies inside: every byte of it is read. */
static void test_shown__mutated(void **state)
{
    (void)state;
    enum { SHARED = 64 + 320 * 240 * 3 / 2 };
    struct sm_test_random random = sm_test_seed(9);
    uint8_t *shared = calloc(SHARED, 1); /* its end is watched by the sanitizer */
    struct sm_media_info info = {.width_px = 320, .height_px = 240};
    size_t n_accepted = 0;
    for (int i = 0; i < 20000; i++) {
        struct media_shown shown = honest_frame().shown;
        uint8_t *bytes = (uint8_t *)&shown;
        for (int64_t k = sm_test_int(&random, 0, 2); k > 0; k--) {
            bytes[(size_t)sm_test_int(&random, 0, sizeof shown - 1)] ^= (uint8_t)(1 << sm_test_int(&random, 0, 7));
        }
        struct sm_frame frame = {.time_s = 0};
        struct sum sum = {0};
        if (sm_media__shown_image(&frame.image, &shown, shared, SHARED, &info) && frame.image.u) {
            n_accepted++;
            assert_ok(i % 50 == 0 ? add_up(&sum, &frame, NULL) : SM_OK, NULL);
            int32_t rows = 240 - 1, half = -(-240 >> frame.image.chroma_shift_y) - 1;
            int32_t across = -(-320 >> frame.image.chroma_shift_x) - 1;
            sum.hash += frame.image.y[rows * frame.image.stride_y + 319];
            sum.hash += frame.image.u[half * frame.image.stride_u + across];
            sum.hash += frame.image.v[half * frame.image.stride_v + across];
            assert_true(sum.hash < UINT64_MAX);
        }
    }
    assert_true(n_accepted > 1000 && n_accepted < 20000);
    free(shared);
}

static void test_index__mutated(void **state)
{
    (void)state;
    enum { N = 20 };
    struct sm_test_random random = sm_test_seed(10);
    for (int i = 0; i < 20000; i++) {
        struct packet_entry packet[N] = {0};
        uint32_t order[N];
        struct key_entry key[2] = {{0, 0}, {12, 0}};
        for (uint32_t k = 0; k < N; k++) {
            packet[k].rank = N - 1 - k;
            order[N - 1 - k] = k;
        }
        struct media_index index = {.packet = packet, .n_packets = N, .order = order, .n_frames = N, .key = key, .n_keys = 2};
        assert_true(sm_media__index_check(&index));
        uint32_t *place[] = {&packet[sm_test_int(&random, 0, N - 1)].rank, &order[sm_test_int(&random, 0, N - 1)],
                             &key[sm_test_int(&random, 0, 1)].packet_idx};
        uint32_t *at = place[sm_test_int(&random, 0, 2)], before = *at;
        *at ^= 1U << sm_test_int(&random, 0, 31);
        bool is_key = at == &key[0].packet_idx || at == &key[1].packet_idx;
        assert_int_equal(sm_media__index_check(&index), is_key ? *at < N : *at == before);
    }
}

static void test_words__are_mended(void **state)
{
    (void)state;
    struct media_state mended;
    memset(&mended, '\x1b', sizeof mended);
    sm_media__state_mend(&mended, SM_E_FORMAT);
    assert_int_equal(strlen(mended.err.text), sizeof mended.err.text - 1);
    assert_null(strchr(mended.err.text, '\x1b'));
    assert_int_equal(mended.n_damages, MAX_DAMAGES);
    assert_int_equal(mended.err.status, SM_E_FORMAT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_apart__gives_what_decoding_here_gives),
        cmocka_unit_test(test_apart__a_killed_one_costs_its_file_only),
        cmocka_unit_test(test_apart__one_that_hangs_is_ended),
        cmocka_unit_test(test_apart__memory_is_bounded),
        cmocka_unit_test(test_apart__lies_are_errors),
        cmocka_unit_test(test_apart__noise_is_an_error),
        cmocka_unit_test(test_shown__mutated),
        cmocka_unit_test(test_index__mutated),
        cmocka_unit_test(test_words__are_mended),
    };
    return cmocka_run_group_tests(tests, make_clip, remove_clip);
}
