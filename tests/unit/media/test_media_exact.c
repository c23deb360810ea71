/*
 * Every container and codec: each frame, however it is asked for, equals bit for bit what the ffmpeg command
 * gives when it decodes the whole clip, and stands at the time at which it was made.
 */
#include "clips.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { WIDTH = 160, HEIGHT = 128, N_FRAMES = 100 };
#define RATE_HZ 25.0

struct kind {
    const char *name, *codec;
    bool is_full_range;
    const char *container, *codec_name;
};
/* Long groups, B-frames, timestamps that start anywhere: what survey recorders write. */
static const struct kind kinds[] = {
    {"mpeg2.mpg", "-c:v mpeg2video -g 12 -bf 2", false, "mpeg", "mpeg2video"},
    {"mpeg1.mpg", "-c:v mpeg1video -g 12 -bf 2", false, "mpeg", "mpeg1video"},
    /* Several pictures in one packet of the stream: only the first of them has a time. */
    {"mpeg1small.mpg", "-c:v mpeg1video -g 12 -b:v 60k", false, "mpeg", "mpeg1video"},
    {"mpeg2small.mpg", "-c:v mpeg2video -g 12 -b:v 60k", false, "mpeg", "mpeg2video"},
    {"vob.vob", "-c:v mpeg2video -g 15 -bf 2 -f dvd", false, "mpeg", "mpeg2video"},
    {"mpeg2.ts", "-c:v mpeg2video -g 12 -bf 2", false, "mpegts", "mpeg2video"},
    {"h264.ts", "-c:v libx264 -g 50 -bf 3", false, "mpegts", "h264"},
    {"asp.avi", "-c:v mpeg4 -g 30 -bf 2", false, "avi", "mpeg4"},
    {"sp.avi", "-c:v mpeg4 -g 250", false, "avi", "mpeg4"},
    {"mjpeg.avi", "-c:v mjpeg -q:v 6 -pix_fmt yuvj420p", true, "avi", "mjpeg"},
    {"h264.avi", "-c:v libx264 -g 30 -bf 3", false, "avi", "h264"},
    {"h264.mp4", "-c:v libx264 -g 250 -bf 3", false, "mp4", "h264"},
    {"h264open.mp4", "-c:v libx264 -bf 3 -x264-params keyint=20:min-keyint=20:scenecut=0:open-gop=1", false,
     "mp4", "h264"},
    {"fragments.mp4", "-c:v libx264 -g 25 -movflags +frag_keyframe+empty_moov", false, "mp4", "h264"},
    {"interlaced.mkv", "-c:v libx264 -g 40 -flags +ilme+ildct", false, "matroska", "h264"},
    {"mpeg4.mov", "-c:v mpeg4 -g 60 -bf 1", false, "mp4", "mpeg4"},
    {"hevc.mkv", "-c:v libx265 -x265-params log-level=none:keyint=40", false, "matroska", "hevc"},
    {"vp9.webm", "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -g 40", false, "matroska", "vp9"},
    {"wmv2.wmv", "-c:v wmv2 -g 40", false, "asf", "wmv2"},
    {"msmpeg4.asf", "-c:v msmpeg4 -g 40", false, "asf", "msmpeg4v3"},
    {"raw.h264", "-c:v libx264 -g 30 -bf 3", false, "h264", "h264"},
    {"raw.m2v", "-c:v mpeg2video -g 12 -bf 2", false, "mpegvideo", "mpeg2video"},
};
enum { N_KINDS = sizeof kinds / sizeof kinds[0] };

static char dir[256];
static struct clip_frames reference[N_KINDS];

/* One clip under test. */
struct probe {
    const struct kind *kind;
    const struct clip_frames *reference;
    struct sm_media *media;
    size_t n_seen;
    size_t at_idx;
    const double *asked;
    bool expects_all;
};

static int make_clips(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    struct sm_text command = {0};
    sm_text_addf(&command, "cd '%s' && ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=%dx%d:r=25:d=4 ", dir,
                 WIDTH, HEIGHT);
    for (size_t i = 0; i < N_KINDS; i++) {
        sm_text_addf(&command, "-map 0:v -pix_fmt yuv420p %s %s ", kinds[i].codec, kinds[i].name);
    }
    clip_run("%s", sm_text_str(&command));
    sm_text_release(&command);
    return 0;
}

static int remove_clips(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_KINDS; i++) {
        clip_frames_free(&reference[i]);
    }
    sm_test_dir_remove(dir);
    return 0;
}

static struct probe probe_open(const struct kind *kind)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", dir, kind->name);
    struct clip_frames *frames = &reference[kind - kinds];
    if (!frames->data) {
        *frames = clip_decode(dir, path, WIDTH, HEIGHT);
    }
    return (struct probe){.kind = kind, .reference = frames, .media = clip_open(path)};
}

static void probe_close(struct probe *probe)
{
    sm_media_close(&probe->media);
}

static void expect_frame(const struct probe *probe, const struct sm_frame *frame, size_t expected,
                         const char *how)
{
    size_t shown = clip_find_frame(probe->reference, expected, &frame->image, probe->kind->is_full_range);
    if (shown != expected || fabs(frame->time_s - (double)expected / RATE_HZ) > 0.002 || frame->is_damaged) {
        print_error("%s, %s: frame %zu expected, picture is frame %zu, stamped %.4f s\n", probe->kind->name,
                    how, expected, shown, frame->time_s);
        fail();
    }
}

static enum sm_status see_scanned(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct probe *probe = user;
    expect_frame(probe, frame, probe->n_seen++, "scan");
    return SM_OK;
}

static enum sm_status see_sample(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct probe *probe = user;
    expect_frame(probe, frame, (size_t)lround(frame->time_s * RATE_HZ), "samples");
    probe->n_seen++;
    return SM_OK;
}

static enum sm_status see_asked(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct probe *probe = user;
    double asked = probe->asked[probe->at_idx];
    size_t expected = asked < 0 ? 0 : (size_t)floor((asked + 0.0005) * RATE_HZ);
    expect_frame(probe, frame, expected < N_FRAMES ? expected : N_FRAMES - 1, "at");
    probe->n_seen++;
    return SM_OK;
}

static void check_info(const struct probe *probe)
{
    const struct sm_media_info *info = sm_media_get_info(probe->media);
    assert_string_equal(info->container, probe->kind->container);
    assert_string_equal(info->codec, probe->kind->codec_name);
    assert_int_equal(info->width_px, WIDTH);
    assert_int_equal(info->height_px, HEIGHT);
    assert_int_equal(info->n_frames, N_FRAMES);
    assert_close(info->duration_s, N_FRAMES / RATE_HZ, 0.003);
    assert_close(info->frame_rate_hz, RATE_HZ, 0.05);
}

static void test_scan__gives_every_frame_as_a_full_decode_does(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_KINDS; i++) {
        struct probe probe = probe_open(&kinds[i]);
        assert_int_equal(probe.reference->n, N_FRAMES);
        check_info(&probe);
        struct sm_error err = {0};
        assert_ok(sm_media_scan(probe.media, 0, SM_INFINITY, 0, false, see_scanned, &probe, &err), &err);
        assert_int_equal(probe.n_seen, N_FRAMES);
        assert_int_equal(sm_media_get_findings(probe.media)->n, 0);
        probe_close(&probe);
    }
}

static size_t count_samples(struct probe *probe, double start_s, double end_s, double step_s, bool cheap_only)
{
    struct sm_error err = {0};
    probe->n_seen = 0;
    assert_ok(sm_media_scan(probe->media, start_s, end_s, step_s, cheap_only, see_sample, probe, &err), &err);
    return probe->n_seen;
}

static void test_scan__samples_are_exact_frames(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_KINDS; i++) {
        struct probe probe = probe_open(&kinds[i]);
        double interval_s = sm_media_get_info(probe.media)->key_interval_s;
        size_t n_keys = count_samples(&probe, 0, SM_INFINITY, 0, true);
        size_t least = interval_s > 0 ? (size_t)(3.9 / interval_s) : N_FRAMES;
        assert_in_range(n_keys, least > 1 ? least : 1, N_FRAMES);
        assert_int_equal(count_samples(&probe, 0, SM_INFINITY, 0.2, false), 20);
        assert_int_equal(count_samples(&probe, 1.0, 2.0, 0, false), 26);
        size_t n_sparse = count_samples(&probe, 0, SM_INFINITY, 1.0, true);
        assert_in_range(n_sparse, 1, 4);
        probe_close(&probe);
    }
}

/* Two long passes in time order, then single times back and forth. */
static void check_at(struct probe *probe, struct sm_test_random *random)
{
    enum { N = 25 };
    double asked[N];
    for (size_t k = 0; k < N; k++) {
        asked[k] = sm_test_uniform(random, -0.1, N_FRAMES / RATE_HZ);
    }
    asked[3] = 0;
    asked[4] = (N_FRAMES - 1) / RATE_HZ;
    asked[5] = 1.04; /* as a log would write the start of a frame */
    probe->asked = asked;
    struct sm_error err = {0};
    probe->n_seen = 0;
    assert_ok(sm_media_at(probe->media, asked, N, &probe->at_idx, see_asked, probe, &err), &err);
    assert_int_equal(probe->n_seen, N);
    for (size_t k = 0; k < 8; k++) {
        probe->asked = &asked[k];
        assert_ok(sm_media_at(probe->media, &asked[k], 1, &probe->at_idx, see_asked, probe, &err), &err);
    }
    assert_int_equal(probe->n_seen, N + 8);
}

static void test_at__gives_the_frame_on_screen(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(20310314);
    for (size_t i = 0; i < N_KINDS; i++) {
        struct probe probe = probe_open(&kinds[i]);
        check_at(&probe, &random);
        probe_close(&probe);
    }
}

static enum sm_status count_only(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    (void)frame;
    ++*(size_t *)user;
    return SM_OK;
}

static void test_at__leaves_out_times_behind_the_end(void **state)
{
    (void)state;
    struct probe probe = probe_open(&kinds[0]);
    const double asked[] = {4.5, SM_NAN, 3.99, SM_INFINITY, -7, 1e300};
    size_t n = 0;
    struct sm_error err = {0};
    assert_ok(sm_media_at(probe.media, asked, 6, NULL, count_only, &n, &err), &err);
    assert_int_equal(n, 2);
    probe_close(&probe);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scan__gives_every_frame_as_a_full_decode_does),
        cmocka_unit_test(test_scan__samples_are_exact_frames),
        cmocka_unit_test(test_at__gives_the_frame_on_screen),
        cmocka_unit_test(test_at__leaves_out_times_behind_the_end),
    };
    return cmocka_run_group_tests(tests, make_clips, remove_clips);
}
