/*
 * What the field hands in: cut-off files, broken indexes, time stamps that jump, wrap or start anywhere,
 * damaged bytes, pictures that change size, lie on their side or have pixels that are not square. Frames that
 * are whole come out as the ffmpeg command decodes them from the clean clip; the rest is told.
 */
#include "clips.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 160, HEIGHT = 128, N_FRAMES = 100 };
#define RATE_HZ 25.0

static const char *const clips[] = {
    "-c:v mpeg2video -g 12 -bf 2 a.mpg",
    "-c:v mpeg2video -g 12 -bf 2 -output_ts_offset 5000 late.mpg",
    "-c:v mpeg2video -g 12 -bf 2 -output_ts_offset 95442 wrap.mpg",
    "-c:v libx264 -g 25 -bf 3 -output_ts_offset 95442 wrap.ts",
    "-c:v libx264 -g 25 -bf 3 -output_ts_offset 7 late.mkv",
    "-c:v mpeg2video -g 12 -s 80x64 small.mpg",
    "-c:v mpeg4 -g 25 -bf 2 asp.avi",
    "-c:v mpeg4 -g 25 -bf 1 -b_strategy 0 single-b.avi",
    "-c:v mjpeg -q:v 6 -pix_fmt yuvj420p mjpeg.avi",
    "-c:v libx264 -g 25 -bf 3 end.mp4",
    "-c:v libx264 -g 25 -bf 3 -movflags +faststart front.mp4",
    "-c:v libx264 -g 25 -bf 3 -movflags +frag_keyframe+empty_moov fragments.mp4",
    "-c:v libx264 -g 25 -bf 3 h264.mkv",
    "-c:v wmv2 -g 25 wmv2.wmv",
    "-vf select='lt(n\\,20)+not(mod(n\\,3))' -fps_mode vfr -c:v libx264 -bf 3 gaps.mp4",
    "-vf select='lt(n\\,20)+not(mod(n\\,3))' -fps_mode vfr -c:v libx264 -bf 3 gaps.mkv",
    "-vf select='lt(n\\,20)+not(mod(n\\,3))' -fps_mode vfr -c:v wmv2 gaps.wmv",
    "-vf setsar=16/15 -c:v libx264 wide.mp4",
    "-vf setsar=16/15 -c:v mpeg2video wide.mpg",
    "-vf setsar=16/15 -c:v libx264 -colorspace bt709 wide709.mp4",
    "-vf fade=in:d=2 -c:v libx264 -g 250 -bf 3 black.mp4",
};

static char dir[256];

static const char *in_dir(const char *name)
{
    static char path[4][512];
    static int i;
    i = (i + 1) % 4;
    snprintf(path[i], sizeof path[i], "%s/%s", dir, name);
    return path[i];
}

static int make_clips(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    struct sm_text command = {0};
    sm_text_addf(&command, "cd '%s' && ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=%dx%d:r=25:d=4 ", dir,
                 WIDTH, HEIGHT);
    for (size_t i = 0; i < sizeof clips / sizeof clips[0]; i++) {
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

/* What a pass over a clip saw, against the frames of a whole one. */
struct sight {
    const struct clip_frames *reference;
    size_t first; /* frame of the reference that should come first */
    bool is_full_range;
    size_t n, n_exact, n_damaged, n_damaged_exact, n_off_time;
    double last_s;
    double time_s[4 * N_FRAMES];
};

static enum sm_status see(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct sight *sight = user;
    assert_true(sight->n == 0 || frame->time_s > sight->last_s);
    sight->last_s = frame->time_s;
    if (sight->n < 4 * N_FRAMES) {
        sight->time_s[sight->n] = frame->time_s;
    }
    size_t expected = sight->first + (size_t)lround(frame->time_s * RATE_HZ);
    bool is_exact = sight->reference && expected < sight->reference->n &&
                    clip_is_frame(sight->reference, expected, &frame->image, sight->is_full_range);
    sight->n++;
    sight->n_exact += is_exact;
    sight->n_damaged += frame->is_damaged;
    sight->n_damaged_exact += frame->is_damaged && is_exact;
    sight->n_off_time += fabs(frame->time_s * RATE_HZ - round(frame->time_s * RATE_HZ)) > 0.05;
    return SM_OK;
}

static void scan_all(struct sm_media *media, struct sight *sight)
{
    struct sm_error err = {0};
    assert_ok(sm_media_scan(media, 0, SM_INFINITY, 0, false, see, sight, &err), &err);
}

/* ---- cut off ---- */

struct cut {
    const char *name;
    bool is_full_range, is_told;
};

/* The last group may lack frames that others refer to; all before must be exact, and at must find them too.
 */
static void check_cut(const struct cut *cut)
{
    struct clip_frames reference = clip_decode(dir, in_dir(cut->name), WIDTH, HEIGHT);
    char name[64];
    snprintf(name, sizeof name, "cut-%s", cut->name);
    clip_cut(in_dir(name), in_dir(cut->name), 0.6);
    struct sm_media *media = clip_open(in_dir(name));
    struct sight all = {.reference = &reference, .is_full_range = cut->is_full_range};
    scan_all(media, &all);
    size_t n_frames = sm_media_get_info(media)->n_frames;
    if (all.n_exact + 4 < all.n || all.n < 40 || all.n > 75 || n_frames > all.n + 3 || all.n_off_time ||
        clip_has_finding(media, "cut off") != cut->is_told) {
        print_error("%s: %zu listed, %zu seen, %zu exact, %zu damaged, told %d\n", name, n_frames, all.n,
                    all.n_exact, all.n_damaged, clip_has_finding(media, "cut off"));
        fail();
    }
    const double asked[] = {1.5, 0.1, 1.22, 0.9};
    struct sight some = {.reference = &reference, .is_full_range = cut->is_full_range};
    struct sm_error err = {0};
    assert_ok(sm_media_at(media, asked, 4, NULL, see, &some, &err), &err);
    assert_int_equal(some.n, 4);
    assert_int_equal(some.n_exact, 4);
    sm_media_close(&media);
    clip_frames_free(&reference);
}

static void test_cut_off__reads_to_the_cut(void **state)
{
    (void)state;
    const struct cut cuts[] = {{"a.mpg", false, false},    {"wrap.ts", false, false},
                               {"asp.avi", false, true},   {"mjpeg.avi", true, true},
                               {"front.mp4", false, true}, {"fragments.mp4", false, false},
                               {"h264.mkv", false, true},  {"wmv2.wmv", false, false}};
    for (size_t i = 0; i < sizeof cuts / sizeof cuts[0]; i++) {
        check_cut(&cuts[i]);
    }
}

static void test_headless__time_starts_with_the_first_frame_that_decodes(void **state)
{
    (void)state;
    struct clip_frames reference = clip_decode(dir, in_dir("a.mpg"), WIDTH, HEIGHT);
    size_t n = 0;
    uint8_t *data = clip_read(in_dir("a.mpg"), &n);
    clip_write(in_dir("headless.mpg"), data + n / 3, n - n / 3);
    free(data);
    struct sm_media *media = clip_open(in_dir("headless.mpg"));
    struct sight sight = {.reference = &reference, .first = N_FRAMES - sm_media_get_info(media)->n_frames};
    scan_all(media, &sight);
    assert_in_range(sight.n, 55, 80);
    assert_int_equal(sight.n_exact, sight.n);
    assert_true(clip_has_finding(media, "cannot be decoded"));
    sm_media_close(&media);
    clip_frames_free(&reference);
}

/* ---- broken index ---- */

/* Turn what offset field byte selects of each entry of an AVI's idx1 into rubbish. */
static void spoil_avi_index(const char *to, const char *from, size_t field, uint8_t value)
{
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    size_t at = n - 8;
    while (at > 0 && memcmp(data + at, "idx1", 4) != 0) {
        at--;
    }
    assert_true(at > 0);
    for (size_t entry = at + 8; entry + 16 <= n; entry += 16) {
        data[entry + field] = value;
    }
    clip_write(to, data, n);
    free(data);
}

static void check_exact_at(const char *name, const struct clip_frames *reference, bool is_full_range)
{
    struct sm_media *media = clip_open(in_dir(name));
    const double asked[] = {3.3, 2.02, 0.5, 3.94, 1.5, 0};
    struct sm_error err = {0};
    for (size_t i = 0; i < 6; i++) {
        struct sight sight = {.reference = reference, .is_full_range = is_full_range};
        assert_ok(sm_media_at(media, &asked[i], 1, NULL, see, &sight, &err), &err);
        assert_int_equal(sight.n, 1);
        assert_int_equal(sight.n_exact, 1);
    }
    sm_media_close(&media);
}

static void test_broken_index__is_not_believed(void **state)
{
    (void)state;
    struct clip_frames reference = clip_decode(dir, in_dir("asp.avi"), WIDTH, HEIGHT);
    spoil_avi_index(in_dir("offsets.avi"), in_dir("asp.avi"), 9, 0);
    check_exact_at("offsets.avi", &reference, false);
    spoil_avi_index(in_dir("flags.avi"), in_dir("asp.avi"), 4, 0x10); /* every frame claims to be a key */
    check_exact_at("flags.avi", &reference, false);
    clip_frames_free(&reference);
    reference = clip_decode(dir, in_dir("mjpeg.avi"), WIDTH, HEIGHT);
    spoil_avi_index(in_dir("tags.avi"), in_dir("mjpeg.avi"), 2, 'x');
    check_exact_at("tags.avi", &reference, true);
    clip_frames_free(&reference);
}

/* ---- packed B-frames ---- */

static uint32_t le32(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void put_le32(uint8_t *at, size_t value)
{
    for (int i = 0; i < 4; i++) {
        at[i] = (uint8_t)(value >> (8 * i));
    }
}

static void add_chunk(struct sm_text *out, const uint8_t *first, size_t n_first, const uint8_t *second,
                      size_t n_second)
{
    uint8_t head[8] = "00dc";
    put_le32(head + 4, n_first + n_second);
    sm_text_add_n(out, (const char *)head, 8);
    sm_text_add_n(out, (const char *)first, n_first);
    sm_text_add_n(out, (const char *)second, n_second);
    if ((n_first + n_second) % 2) {
        sm_text_add_n(out, "", 1);
    }
}

/* Whether an MPEG-4 picture is a B-VOP: the two bits behind the VOP start code (ISO/IEC 14496-2, 6.3.5, from
 * memory). */
static bool is_b_picture(const uint8_t *data, size_t n)
{
    static const uint8_t vop[] = {0, 0, 1, 0xb6};
    for (size_t i = 0; i + 5 <= n; i++) {
        if (memcmp(data + i, vop, 4) == 0) {
            return data[i + 4] >> 6 == 2;
        }
    }
    return false;
}

/* Rewrite an MPEG-4 AVI as DivX wrote it: a P- and its B-frame in one chunk, then an empty picture. */
static void pack_b_frames(const char *to, const char *from)
{
    static const uint8_t empty_picture[] = {0, 0, 1, 0xb6, 0x50, 0x7f};
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    size_t movi = 0;
    while (memcmp(data + movi, "movi", 4) != 0) {
        movi++;
    }
    size_t end = movi + le32(data + movi - 4);
    struct sm_text out = {0};
    sm_text_add_n(&out, (const char *)data, movi + 4);
    size_t n_packed = 0;
    for (size_t at = movi + 4; at + 8 <= end;) {
        size_t size = le32(data + at + 4);
        size_t next = at + 8 + size + size % 2;
        size_t next_size = next + 8 <= end ? le32(data + next + 4) : 0;
        if (next_size && is_b_picture(data + next + 8, next_size)) {
            add_chunk(&out, data + at + 8, size, data + next + 8, next_size);
            add_chunk(&out, empty_picture, sizeof empty_picture, NULL, 0);
            next += 8 + next_size + next_size % 2;
            n_packed++;
        } else {
            add_chunk(&out, data + at + 8, size, NULL, 0);
        }
        at = next;
    }
    assert_true(n_packed > 30);
    put_le32((uint8_t *)out.data + movi - 4, out.length - movi);
    put_le32((uint8_t *)out.data + 4, out.length - 8);
    clip_write(to, out.data, out.length);
    sm_text_release(&out);
    free(data);
}

static void test_packed_b_frames__are_frames_like_others(void **state)
{
    (void)state;
    struct clip_frames reference = clip_decode(dir, in_dir("single-b.avi"), WIDTH, HEIGHT);
    pack_b_frames(in_dir("packed.avi"), in_dir("single-b.avi"));
    struct sm_media *media = clip_open(in_dir("packed.avi"));
    struct sight sight = {.reference = &reference};
    scan_all(media, &sight);
    assert_int_equal(sight.n, N_FRAMES);
    assert_int_equal(sight.n_exact, N_FRAMES);
    sm_media_close(&media);
    check_exact_at("packed.avi", &reference, false);
    clip_frames_free(&reference);
}

/* ---- time stamps ---- */

static void append(const char *to, const char *first, const char *second)
{
    clip_run("cat '%s' '%s' > '%s'", in_dir(first), in_dir(second), in_dir(to));
}

static void check_steady(const char *name, size_t n_expected, bool is_told)
{
    struct sm_media *media = clip_open(in_dir(name));
    struct sight sight = {0};
    scan_all(media, &sight);
    if (sight.n != n_expected || sight.n_off_time ||
        fabs(sight.last_s - (double)(n_expected - 1) / RATE_HZ) > 0.002 ||
        clip_has_finding(media, "jump") != is_told) {
        print_error("%s: %zu frames, last at %.3f s\n", name, sight.n, sight.last_s);
        fail();
    }
    sm_media_close(&media);
}

static void test_time_stamps__jumps_and_wraps_are_counted_over(void **state)
{
    (void)state;
    check_steady("late.mpg", N_FRAMES, false);
    check_steady("late.mkv", N_FRAMES, false);
    check_steady("wrap.mpg", N_FRAMES, false);
    check_steady("wrap.ts", N_FRAMES, false);
    append("back.mpg", "a.mpg", "a.mpg");
    check_steady("back.mpg", 2 * N_FRAMES, true);
    append("ahead.mpg", "a.mpg", "late.mpg");
    check_steady("ahead.mpg", 2 * N_FRAMES, true);
}

static void test_time_stamps__uneven_frame_rate_is_kept(void **state)
{
    (void)state;
    const char *const names[] = {"gaps.mp4", "gaps.mkv", "gaps.wmv"};
    for (size_t i = 0; i < 3; i++) {
        struct sm_media *media = clip_open(in_dir(names[i]));
        struct sight sight = {0};
        scan_all(media, &sight);
        assert_int_equal(sight.n, 47);
        for (size_t k = 0, frame = 0; frame < N_FRAMES; frame++) {
            if (frame < 20 || frame % 3 == 0) {
                assert_close(sight.time_s[k++], (double)frame / RATE_HZ, 0.002);
            }
        }
        sm_media_close(&media);
    }
}

/* ---- several files ---- */

static void test_files__go_on_where_the_one_before_ended(void **state)
{
    (void)state;
    const char *const path[] = {in_dir("a.mpg"), in_dir("end.mp4"), in_dir("asp.avi")};
    struct sm_error err = {0};
    struct sm_media *media = NULL;
    assert_ok(sm_media_open(&media, path, 3, &err), &err);
    assert_int_equal(sm_media_get_info(media)->n_files, 3);
    assert_close(sm_media_get_info(media)->duration_s, 12.0, 0.01);
    struct sight sight = {0};
    scan_all(media, &sight);
    assert_int_equal(sight.n, 3 * N_FRAMES);
    for (size_t i = 0; i < 3 * N_FRAMES; i++) {
        assert_close(sight.time_s[i], (double)i / RATE_HZ, 0.002);
        assert_close(sm_media_get_packet(media, i).time_s, (double)i / RATE_HZ, 0.002);
    }
    struct clip_frames reference = clip_decode(dir, path[1], WIDTH, HEIGHT);
    const double asked[] = {9.0, 5.0, 7.98, 1.0};
    struct sight some = {.reference = &reference};
    assert_ok(sm_media_at(media, asked, 4, NULL, see, &some, &err), &err);
    assert_int_equal(some.n, 4);
    assert_close(some.time_s[0], 1.0, 0.001);
    assert_close(some.time_s[3], 9.0, 0.001);
    clip_frames_free(&reference);
    sm_media_close(&media);
}

/* ---- damage ---- */

/* Overwrite bytes from share a to share b of a file with noise. */
static void spoil(const char *to, const char *from, double a, double b)
{
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    struct sm_test_random random = {77};
    for (size_t i = (size_t)(a * (double)n); i < (size_t)(b * (double)n); i++) {
        data[i] = (uint8_t)sm_test_next(&random);
    }
    clip_write(to, data, n);
    free(data);
}

static void test_damage__is_told_and_stays_in_its_place(void **state)
{
    (void)state;
    const char *const names[] = {"a.mpg", "wrap.ts", "asp.avi", "front.mp4", "h264.mkv", "wmv2.wmv"};
    size_t n_bad = 0;
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        struct clip_frames reference = clip_decode(dir, in_dir(names[i]), WIDTH, HEIGHT);
        spoil(in_dir("spoilt"), in_dir(names[i]), 0.50, 0.52);
        struct sm_media *media = clip_open(in_dir("spoilt"));
        struct sight sight = {.reference = &reference};
        scan_all(media, &sight);
        size_t n_silent = sight.n - sight.n_exact - (sight.n_damaged - sight.n_damaged_exact);
        if (sight.n < 70 || sight.n_exact < 65 || n_silent > 0 || !clip_has_finding(media, "damaged")) {
            print_error("%s: %zu seen, %zu exact, %zu damaged, %zu wrong and not told\n", names[i], sight.n,
                        sight.n_exact, sight.n_damaged, n_silent);
            n_bad++;
        }
        sm_media_close(&media);
        clip_frames_free(&reference);
    }
    assert_int_equal(n_bad, 0);
}

/* ---- the picture's form ---- */

static enum sm_status check_size(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    ++*(size_t *)user;
    assert_int_equal(frame->image.width_px, WIDTH);
    assert_int_equal(frame->image.height_px, HEIGHT);
    return SM_OK;
}

static void test_size_change__is_scaled_and_told(void **state)
{
    (void)state;
    append("sizes.mpg", "a.mpg", "small.mpg");
    struct sm_media *media = clip_open(in_dir("sizes.mpg"));
    size_t n = 0;
    struct sm_error err = {0};
    assert_ok(sm_media_scan(media, 0, SM_INFINITY, 0, false, check_size, &n, &err), &err);
    assert_in_range(n, 2 * N_FRAMES - 2, 2 * N_FRAMES);
    assert_true(clip_has_finding(media, "changes its size at 4"));
    sm_media_close(&media);
    const char *const path[] = {in_dir("a.mpg"), in_dir("small.mpg")};
    assert_ok(sm_media_open(&media, path, 2, &err), &err);
    n = 0;
    assert_ok(sm_media_scan(media, 0, SM_INFINITY, 0, false, check_size, &n, &err), &err);
    assert_int_equal(n, 2 * N_FRAMES);
    assert_true(clip_has_finding(media, "80 x 64"));
    sm_media_close(&media);
}

static void check_still_size(const char *name, double time_s, int width, int height)
{
    struct sm_media *media = clip_open(in_dir(name));
    struct sm_text jpeg = {0};
    struct sm_error err = {0};
    assert_ok(sm_media_still_jpeg(media, time_s, 85, &jpeg, &err), &err);
    clip_write(in_dir("still.jpg"), jpeg.data, jpeg.length);
    clip_run("test \"$(ffprobe -v error -show_entries stream=width,height -of csv=p=0 '%s')\" = %d,%d",
             in_dir("still.jpg"), width, height);
    sm_text_release(&jpeg);
    sm_media_close(&media);
}

static void test_anamorphic__stills_have_square_pixels(void **state)
{
    (void)state;
    struct sm_media *media = clip_open(in_dir("wide.mp4"));
    assert_close(sm_media_get_info(media)->pixel_aspect, 16.0 / 15.0, 1e-9);
    assert_int_equal(sm_media_get_info(media)->width_px, WIDTH);
    sm_media_close(&media);
    check_still_size("wide.mp4", 1, 171, HEIGHT);
    check_still_size("wide.mpg", 1, 171, HEIGHT);
    check_still_size("wide709.mp4", 1, 171, HEIGHT);
}

/* The ffmpeg command turns the picture upright by itself; so must we. */
static void test_rotated__frames_and_stills_are_upright(void **state)
{
    (void)state;
    const int degrees[] = {90, 180, 270};
    for (size_t i = 0; i < 3; i++) {
        clip_run("ffmpeg -nostdin -v error -y -i '%s' -c copy -metadata:s:v rotate=%d '%s'",
                 in_dir("end.mp4"), degrees[i], in_dir("turned.mp4"));
        bool is_sideways = degrees[i] != 180;
        struct clip_frames reference = clip_decode(dir, in_dir("turned.mp4"), is_sideways ? HEIGHT : WIDTH,
                                                   is_sideways ? WIDTH : HEIGHT);
        struct sm_media *media = clip_open(in_dir("turned.mp4"));
        assert_int_equal(sm_media_get_info(media)->width_px, reference.width_px);
        struct sight sight = {.reference = &reference};
        scan_all(media, &sight);
        assert_int_equal(sight.n_exact, N_FRAMES);
        sm_media_close(&media);
        check_still_size("turned.mp4", 1, reference.width_px, reference.height_px);
        clip_frames_free(&reference);
    }
}

static void test_black_start__counts(void **state)
{
    (void)state;
    check_steady("black.mp4", N_FRAMES, false);
}

/* Bytes that this process has read so far. */
static long long bytes_read(void)
{
    long long n = -1;
    FILE *io = fopen("/proc/self/io", "r");
    if (io) {
        (void)fscanf(io, "rchar: %lld", &n);
        fclose(io);
    }
    return n;
}

/* A recording put together from copies holds every packet several times: each is found at its own place, by a seek. */
static void test_dirty__packets_alike_are_told_apart(void **state)
{
    (void)state;
    char path[512];
    snprintf(path, sizeof path, "%s/alike.mpg", dir);
    clip_run("cd '%s' && ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=320x240:r=25:d=8 -c:v mpeg2video -g 12 -bf 2 -b:v 2M one.mpg && "
             "for i in 1 2 3 4 5 6; do printf \"file one.mpg\\nduration 8\\n\"; done >alike.txt && "
             "ffmpeg -nostdin -v error -f concat -i alike.txt -c copy -f vob alike.mpg", dir);
    setenv("SM_DECODER", "here", 1); /* whose reading is counted */
    struct sm_media *media = clip_open(path);
    unsetenv("SM_DECODER");
    size_t n = 0;
    free(clip_read(path, &n));
    long long before = bytes_read();
    struct sm_error err = {0};
    for (int i = 0; i < 30; i++) {
        double at_s = 1.3 + 1.5 * ((i * 11) % 30);
        struct sm_text still = {0};
        assert_ok(sm_media_still_jpeg(media, at_s, 50, &still, &err), &err);
        sm_text_release(&still);
    }
    if (before >= 0) {
        assert_true(bytes_read() - before < (long long)(4 * n));
    }
    sm_media_close(&media);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_dirty__packets_alike_are_told_apart),
        cmocka_unit_test(test_cut_off__reads_to_the_cut),
        cmocka_unit_test(test_headless__time_starts_with_the_first_frame_that_decodes),
        cmocka_unit_test(test_broken_index__is_not_believed),
        cmocka_unit_test(test_packed_b_frames__are_frames_like_others),
        cmocka_unit_test(test_time_stamps__jumps_and_wraps_are_counted_over),
        cmocka_unit_test(test_time_stamps__uneven_frame_rate_is_kept),
        cmocka_unit_test(test_files__go_on_where_the_one_before_ended),
        cmocka_unit_test(test_damage__is_told_and_stays_in_its_place),
        cmocka_unit_test(test_size_change__is_scaled_and_told),
        cmocka_unit_test(test_anamorphic__stills_have_square_pixels),
        cmocka_unit_test(test_rotated__frames_and_stills_are_upright),
        cmocka_unit_test(test_black_start__counts),
    };
    return cmocka_run_group_tests(tests, make_clips, remove_clips);
}
