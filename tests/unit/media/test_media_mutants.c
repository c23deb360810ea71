/*
 * Spoilt variants of clips in every container (bytes flipped, cut out, cut off, twice there): each opens or is refused with a reason; frames come in
 * rising time, no more of them than are listed; nothing crashes, leaks or runs on. More variants:
 * SM_MUTANTS=1000 test_media_mutants, or scripts/fuzz-video. With SM_DECODER=here leaks of the decoder show, too.
 */
#include "clips.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { WIDTH = 64, HEIGHT = 48, N_MUTANTS = 24 };
#define MOST_CPU_S 10.0 /* for one variant, sanitizers and all */

static const char *const clips[] = {
    "-c:v mpeg2video -g 6 -bf 2 a.mpg",
    "-c:v libx264 -g 10 -bf 2 b.ts",
    "-c:v mpeg4 -g 10 -bf 1 c.avi",
    "-c:v mjpeg -q:v 10 -pix_fmt yuvj420p d.avi",
    "-c:v libx264 -g 10 -bf 2 e.mp4",
    "-c:v libx264 -g 10 -movflags +frag_keyframe+empty_moov f.mp4",
    "-c:v libx264 -g 10 -bf 2 g.mkv",
    "-c:v wmv2 -g 10 h.wmv",
    "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -g 10 i.webm",
    "-c:v libx265 -x265-params log-level=none:keyint=10 j.mkv",
};
enum { N_CLIPS = sizeof clips / sizeof clips[0] };

static char dir[256];

static int make_clips(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    struct sm_text command = {0};
    sm_text_addf(&command, "cd '%s' && ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=%dx%d:r=25:d=0.8 ",
                 dir, WIDTH, HEIGHT);
    for (size_t i = 0; i < N_CLIPS; i++) {
        sm_text_addf(&command, "-map 0:v -pix_fmt yuv420p %s ", clips[i]);
    }
    clip_run("%s", sm_text_str(&command));
    sm_text_release(&command);
    return 0;
}

static int remove_clips(void **state)
{
    (void)state;
    sm_test_dir_remove(dir);
    return 0;
}

enum { LONGEST_PIECE = 3000 };

/* A piece cut out, the end cut off, or a piece twice; data has room for LONGEST_PIECE bytes more. */
static size_t mutate_length(uint8_t *data, size_t n, struct sm_test_random *random)
{
    size_t from = (size_t)sm_test_int(random, 0, (int64_t)n - 1);
    size_t piece = (size_t)sm_test_int(random, 1, LONGEST_PIECE);
    piece = piece < n - from ? piece : n - from;
    switch (sm_test_int(random, 0, 2)) {
    case 0:
        memmove(data + from, data + from + piece, n - from - piece);
        return n - piece;
    case 1:
        return from ? from : n;
    default:
        memmove(data + from + piece, data + from, n - from);
        return n + piece;
    }
}

/* Few flips or many, in the head or anywhere, at times with a piece too few or too many. */
static size_t mutate(uint8_t *data, size_t n, struct sm_test_random *random)
{
    static const int flips[] = {1, 3, 10, 60};
    size_t reach = sm_test_int(random, 0, 1) && n > 600 ? 600 : n;
    for (int i = flips[sm_test_int(random, 0, 3)]; i > 0; i--) {
        data[(size_t)sm_test_int(random, 0, (int64_t)reach - 1)] = (uint8_t)sm_test_next(random);
    }
    return sm_test_int(random, 0, 3) > 0 ? n : mutate_length(data, n, random);
}

struct sight {
    size_t n;
    double last_s;
};

static enum sm_status see(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct sight *sight = user;
    assert_true(sight->n == 0 || frame->time_s >= sight->last_s);
    sight->last_s = frame->time_s;
    sight->n++;
    return SM_OK;
}

/* @return whether it opened. */
static bool look_at(const char *path)
{
    struct sm_media *media = NULL;
    struct sm_error err = {0};
    if (sm_media_open(&media, &path, 1, &err) != SM_OK) {
        if (!err.text[0] || !err.remedy[0] || !err.source[0]) {
            fail_msg("%s: \"%s\" \"%s\" \"%s\"", sm_status_text(err.status), err.source, err.text,
                     err.remedy);
        }
        return false;
    }
    struct sight all = {0};
    struct sight some = {0};
    const struct sm_media_info *info = sm_media_get_info(media);
    const double asked[] = {info->duration_s / 2, 0.1};
    assert_ok(sm_media_scan(media, 0, SM_INFINITY, 0, false, see, &all, &err), &err);
    assert_in_range(all.n, 1, info->n_frames);
    assert_ok(sm_media_at(media, asked, 2, NULL, see, &some, &err), &err);
    sm_media_close(&media);
    return true;
}

static void test_mutants__end_with_frames_or_a_reason(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(424242);
    const char *wanted = getenv("SM_MUTANTS");
    long n_mutants = wanted ? strtol(wanted, NULL, 10) : N_MUTANTS;
    size_t n_open = 0;
    for (size_t i = 0; i < N_CLIPS; i++) {
        const char *name = strrchr(clips[i], ' ') + 1;
        char path[512];
        char mutant[512];
        snprintf(path, sizeof path, "%s/%s", dir, name);
        snprintf(mutant, sizeof mutant, "%s/mutant", dir);
        size_t n = 0;
        uint8_t *whole = clip_read(path, &n);
        uint8_t *data = malloc(n + LONGEST_PIECE);
        assert_non_null(data);
        for (long k = 0; k < n_mutants; k++) {
            uint64_t seed = random.state;
            memcpy(data, whole, n);
            clip_write(mutant, data, mutate(data, n, &random));
            clock_t start = clock();
            n_open += look_at(mutant);
            if ((double)(clock() - start) / CLOCKS_PER_SEC > MOST_CPU_S) {
                fail_msg("%s, seed %llu: takes too long", name, (unsigned long long)seed);
            }
        }
        free(data);
        free(whole);
    }
    assert_true(n_open > N_CLIPS * (size_t)n_mutants / 3); /* else the test looks at nothing */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_mutants__end_with_frames_or_a_reason)};
    return cmocka_run_group_tests(tests, make_clips, remove_clips);
}
