/* Pictures that somebody may jump to: made ready before they are asked for, the likeliest first, within the room there is. */
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "clips.h"
#include "stopmark/job.h"

/* 40 s of a picture that is another on every frame, key pictures rare: frame i starts at i / 10 s. */
enum { N_FRAMES = 400, ROOM_BYTES = 64 << 20, PATIENCE_MS = 20000, LOOK_MS = 10 };
static char dir[256], path[300];

static int make_clip(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    snprintf(path, sizeof path, "%s/run.mp4", dir);
    clip_run("ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=s=160x120:r=10:d=40 -g 100 '%s'", path);
    return 0;
}

static int remove_clip(void **state)
{
    (void)state;
    sm_test_dir_remove(dir);
    return 0;
}

static struct sm_job_frames *open_frames(size_t room_bytes)
{
    struct sm_job_frames *frames = NULL;
    struct sm_error err = {0};
    const char *video = path;
    assert_ok(sm_job_frames_open(&frames, &video, 1, room_bytes, &err), &err);
    assert_int_equal(sm_job_frames_count(frames), N_FRAMES);
    return frames;
}

static void expect(struct sm_job_frames *frames, const double *time_s, size_t n)
{
    struct sm_error err = {0};
    assert_ok(sm_job_frames_expect(frames, time_s, n, &err), &err);
}

static void rest(void)
{
    nanosleep(&(struct timespec){.tv_nsec = LOOK_MS * 1000000L}, NULL);
}

static void wait_until_ready(struct sm_job_frames *frames, size_t idx)
{
    for (int waited_ms = 0; !sm_job_frames_is_ready(frames, idx); waited_ms += LOOK_MS) {
        if (waited_ms >= PATIENCE_MS) {
            fail_msg("frame %zu was expected and never made ready", idx);
        }
        rest();
    }
}

static struct sm_text picture(struct sm_job_frames *frames, size_t idx)
{
    struct sm_text jpeg = {0};
    struct sm_error err = {0};
    assert_ok(sm_job_frames_get(frames, idx, 0, &jpeg, &err), &err);
    return jpeg;
}

static void test_expect__ready_before_they_are_asked_for(void **state)
{
    (void)state;
    const double time_s[] = {30.04, SM_NAN, 12, SM_INFINITY, 1e9, -5};
    struct sm_job_frames *frames = open_frames(ROOM_BYTES);
    struct sm_job_frames *asked = open_frames(ROOM_BYTES);
    assert_false(sm_job_frames_is_ready(frames, 300));
    expect(frames, time_s, sizeof time_s / sizeof *time_s);
    wait_until_ready(frames, 0); /* the last: the frame at a time before the video */
    assert_true(sm_job_frames_is_ready(frames, 300));
    wait_until_ready(frames, 120);
    wait_until_ready(frames, N_FRAMES - 1);
    assert_false(sm_job_frames_is_ready(frames, 200)); /* nobody spoke of it */
    assert_false(sm_job_frames_is_ready(frames, N_FRAMES));
    struct sm_text ready = picture(frames, 300);
    struct sm_text decoded = picture(asked, 300);
    struct sm_text next = picture(asked, 301);
    assert_int_equal(ready.length, decoded.length);
    assert_memory_equal(ready.data, decoded.data, ready.length);
    assert_true(next.length != ready.length || memcmp(next.data, ready.data, next.length) != 0);
    sm_text_release(&ready);
    sm_text_release(&decoded);
    sm_text_release(&next);
    sm_job_frames_close(&frames);
    sm_job_frames_close(&asked);
}

static void test_expect__the_likeliest_first(void **state)
{
    (void)state;
    enum { N_LIKELY = 90 };
    double time_s[N_LIKELY];
    for (size_t i = 0; i < N_LIKELY; i++) {
        time_s[i] = 39 - 0.4 * (double)i; /* backwards: each is a way of its own */
    }
    struct sm_job_frames *frames = open_frames(ROOM_BYTES);
    expect(frames, time_s, N_LIKELY);
    size_t n_ready = 0;
    for (int waited_ms = 0; waited_ms < PATIENCE_MS && n_ready < N_LIKELY; waited_ms += LOOK_MS) {
        n_ready = 0;
        for (size_t i = N_LIKELY; i-- > 0;) { /* the last looked at first, as those before it may come meanwhile */
            bool is_ready = sm_job_frames_is_ready(frames, 390 - 4 * i);
            n_ready += is_ready;
            assert_true(is_ready || n_ready == 0);
        }
        rest();
    }
    assert_int_equal(n_ready, N_LIKELY);
    sm_job_frames_close(&frames);
}

static void test_expect__takes_the_place_of_earlier_ones(void **state)
{
    (void)state;
    enum { N_EARLIER = 200 };
    double earlier_s[N_EARLIER];
    const double now_s[] = {39.5, 10};
    for (size_t i = 0; i < N_EARLIER; i++) {
        earlier_s[i] = 38 - 0.1 * (double)i; /* backwards: each is a way of its own */
    }
    struct sm_job_frames *frames = open_frames(ROOM_BYTES);
    expect(frames, earlier_s, N_EARLIER);
    expect(frames, now_s, 2);
    wait_until_ready(frames, 100);
    assert_true(sm_job_frames_is_ready(frames, 395));
    assert_false(sm_job_frames_is_ready(frames, 181)); /* the last of the earlier */
    expect(frames, NULL, 0);
    sm_job_frames_close(&frames);
}

/* What is looked at and around it needs the other half of the room: some 25 pictures from the start on are there first. */
static void test_expect__leaves_half_of_the_room(void **state)
{
    (void)state;
    enum { N_LIKELY = 100, N_ROOM = 100 };
    double time_s[N_LIKELY];
    struct sm_job_frames *frames = open_frames(ROOM_BYTES);
    struct sm_text one = picture(frames, 200);
    sm_job_frames_close(&frames);
    for (size_t i = 0; i < N_LIKELY; i++) {
        time_s[i] = 20 + 0.1 * (double)i;
    }
    frames = open_frames(N_ROOM * one.length);
    expect(frames, time_s, N_LIKELY);
    wait_until_ready(frames, 200);
    for (int waited_ms = 0; waited_ms < 1000; waited_ms += LOOK_MS) {
        rest();
    }
    size_t n_ready = 0;
    for (size_t i = 200; i < 200 + N_LIKELY; i++) {
        n_ready += sm_job_frames_is_ready(frames, i);
    }
    printf("%zu of %d made ready in the room of %d\n", n_ready, N_LIKELY, N_ROOM);
    assert_true(n_ready >= 1 && n_ready < N_ROOM * 6 / 10);
    sm_text_release(&one);
    sm_job_frames_close(&frames);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_expect__ready_before_they_are_asked_for),
        cmocka_unit_test(test_expect__the_likeliest_first),
        cmocka_unit_test(test_expect__takes_the_place_of_earlier_ones),
        cmocka_unit_test(test_expect__leaves_half_of_the_room),
    };
    return cmocka_run_group_tests(tests, make_clip, remove_clip);
}
