/*
 * Pictures of every sample layout that decoders give, and stills: compared with what the ffmpeg command
 * converts to full-range planes, and with the JPEG decoded again.
 */
#include "clips.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 160, HEIGHT = 128 };

struct layout {
    const char *name, *codec, *format;
    int chroma_shift_x, chroma_shift_y; /* of what is delivered; -1 = grey */
};
static const struct layout layouts[] = {
    {"jpeg420.avi", "-c:v mjpeg -q:v 3", "yuvj420p", 1, 1},
    {"jpeg422.avi", "-c:v mjpeg -q:v 3", "yuvj422p", 1, 0},
    {"jpeg444.avi", "-c:v mjpeg -q:v 3", "yuvj444p", 0, 0},
    {"mpeg422.mpg", "-c:v mpeg2video -q:v 3", "yuv422p", 1, 0},
    {"ten.mkv", "-c:v libx264 -crf 10", "yuv420p10le", 1, 1},
    {"ten422.mkv", "-c:v libx264 -crf 10", "yuv422p10le", 1, 0},
    {"rgb.avi", "-c:v rawvideo", "bgr24", 0, 0},
    {"packed.avi", "-c:v rawvideo", "yuyv422", 1, 0},
    {"planes.avi", "-c:v rawvideo", "yuv420p", 1, 1},
    {"lossless.mkv", "-c:v ffv1", "yuv444p", 0, 0},
    {"grey.mkv", "-c:v ffv1", "gray", -1, -1},
    {"palette.mov", "-c:v qtrle", "rgb24", 0, 0},
    {"dv.dv", "-c:v dvvideo -s 720x576", "yuv420p", 1, 1},
    {"dv411.avi", "-c:v dvvideo -s 720x480 -r 30000/1001", "yuv411p", 2, 0},
};
enum { N_LAYOUTS = sizeof layouts / sizeof layouts[0] };

static char dir[256];

static const char *in_dir(const char *name)
{
    static char path[2][512];
    static int i;
    i = !i;
    snprintf(path[i], sizeof path[i], "%s/%s", dir, name);
    return path[i];
}

static int make_clips(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    struct sm_text command = {0};
    sm_text_addf(&command, "cd '%s' && ffmpeg -nostdin -v error -f lavfi -i testsrc2=s=%dx%d:r=25:d=0.4 ",
                 dir, WIDTH, HEIGHT);
    for (size_t i = 0; i < N_LAYOUTS; i++) {
        sm_text_addf(&command, "-map 0:v -pix_fmt %s %s %s ", layouts[i].format, layouts[i].codec,
                     layouts[i].name);
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

/* Frame 5 of a clip, copied to tight planes. */
struct copy {
    int32_t width_px, height_px, chroma_shift_x, chroma_shift_y;
    bool has_chroma;
    uint8_t *y, *u, *v;
};

static uint8_t *copy_plane(const uint8_t *plane, ptrdiff_t stride, int32_t width, int32_t height)
{
    uint8_t *out = malloc((size_t)width * (size_t)height);
    assert_non_null(out);
    for (int32_t row = 0; row < height; row++) {
        memcpy(out + (ptrdiff_t)row * width, plane + row * stride, (size_t)width);
    }
    return out;
}

static enum sm_status take(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct copy *copy = user;
    const struct sm_image *image = &frame->image;
    *copy = (struct copy){image->width_px,
                          image->height_px,
                          image->chroma_shift_x,
                          image->chroma_shift_y,
                          image->u != NULL,
                          NULL,
                          NULL,
                          NULL};
    copy->y = copy_plane(image->y, image->stride_y, image->width_px, image->height_px);
    if (image->u) {
        int32_t width = -(-image->width_px >> image->chroma_shift_x);
        int32_t height = -(-image->height_px >> image->chroma_shift_y);
        copy->u = copy_plane(image->u, image->stride_u, width, height);
        copy->v = copy_plane(image->v, image->stride_v, width, height);
    }
    return SM_OK;
}

static void copy_free(struct copy *copy)
{
    free(copy->y);
    free(copy->u);
    free(copy->v);
}

/* Mean absolute difference and the largest. */
static double difference(const uint8_t *a, const uint8_t *b, size_t n, int *largest)
{
    double sum = 0;
    *largest = 0;
    for (size_t i = 0; i < n; i++) {
        int apart = abs(a[i] - b[i]);
        sum += apart;
        *largest = apart > *largest ? apart : *largest;
    }
    return sum / (double)n;
}

/* Full-range grey of frame frame_idx as the ffmpeg command converts it. */
static uint8_t *reference_grey(const char *path, int frame_idx, size_t n_expected)
{
    clip_run(
        "ffmpeg -nostdin -v error -y -i '%s' -vf \"select=eq(n\\,%d)\" -frames:v 1"
        " -sws_flags accurate_rnd+full_chroma_int -pix_fmt gray -color_range pc -f rawvideo '%s/grey.raw'",
        path, frame_idx, dir);
    size_t n = 0;
    uint8_t *data = clip_read(in_dir("grey.raw"), &n);
    assert_int_equal(n, n_expected);
    return data;
}

static void test_picture__every_layout_becomes_full_range_planes(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_LAYOUTS; i++) {
        struct sm_media *media = clip_open(in_dir(layouts[i].name));
        double time_s = sm_media_get_packet(media, 5).time_s;
        struct copy copy = {0};
        struct sm_error err = {0};
        assert_ok(sm_media_at(media, &time_s, 1, NULL, take, &copy, &err), &err);
        assert_non_null(copy.y);
        size_t n = (size_t)copy.width_px * (size_t)copy.height_px;
        uint8_t *grey = reference_grey(in_dir(layouts[i].name), 5, n);
        int largest = 0;
        double mean = difference(copy.y, grey, n, &largest);
        bool is_layout = copy.has_chroma ? copy.chroma_shift_x == layouts[i].chroma_shift_x &&
                                               copy.chroma_shift_y == layouts[i].chroma_shift_y
                                         : layouts[i].chroma_shift_x < 0;
        if (mean > 1.0 || largest > 4 || !is_layout) {
            print_error("%s: luma off by %.2f, at most %d; chroma shifts %d %d\n", layouts[i].name, mean,
                        largest, copy.chroma_shift_x, copy.chroma_shift_y);
            fail();
        }
        free(grey);
        copy_free(&copy);
        sm_media_close(&media);
    }
}

static void make_still(struct sm_media *media, double time_s, int quality, struct sm_text *jpeg)
{
    struct sm_error err = {0};
    assert_ok(sm_media_still_jpeg(media, time_s, quality, jpeg, &err), &err);
}

static void test_still__decodes_to_the_frame(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_LAYOUTS; i++) {
        struct sm_media *media = clip_open(in_dir(layouts[i].name));
        const struct sm_media_info *info = sm_media_get_info(media);
        double time_s = sm_media_get_packet(media, 5).time_s;
        struct sm_text jpeg = {0};
        make_still(media, time_s, 95, &jpeg);
        clip_write(in_dir("still.jpg"), jpeg.data, jpeg.length);
        long width = lround(info->width_px * info->pixel_aspect);
        size_t n = (size_t)width * (size_t)info->height_px;
        uint8_t *shown = reference_grey(in_dir("still.jpg"), 0, n);
        if (width == info->width_px) {
            uint8_t *grey = reference_grey(in_dir(layouts[i].name), 5, n);
            int largest = 0;
            double mean = difference(shown, grey, n, &largest);
            if (mean > 3.0) {
                print_error("%s: still off by %.2f\n", layouts[i].name, mean);
                fail();
            }
            free(grey);
        }
        free(shown);
        sm_text_release(&jpeg);
        sm_media_close(&media);
    }
}

static bool holds(const struct sm_text *text, const char *needle)
{
    size_t n = strlen(needle);
    for (size_t i = 0; i + n <= text->length; i++) {
        if (memcmp(text->data + i, needle, n) == 0) {
            return true;
        }
    }
    return false;
}

static void test_still__same_frame_same_bytes(void **state)
{
    (void)state;
    struct sm_media *media = clip_open(in_dir("ten.mkv"));
    struct sm_text first = {0};
    struct sm_text second = {0};
    struct sm_text coarse = {0};
    make_still(media, 0.2, 80, &first);
    make_still(media, 0.36, 80, &second);
    sm_text_clear(&second);
    make_still(media, 0.21, 80, &second); /* the same frame, a moment later */
    make_still(media, 0.2, 20, &coarse);
    assert_int_equal(first.length, second.length);
    assert_memory_equal(first.data, second.data, first.length);
    assert_true(coarse.length < first.length);
    assert_false(holds(&first, "Lav"));
    struct sm_error err = {0};
    assert_int_equal(sm_media_still_jpeg(media, 99, 80, &coarse, &err), SM_E_NOTFOUND);
    assert_int_equal(sm_media_still_jpeg(media, 0, 0, &coarse, &err), SM_E_RANGE);
    sm_text_release(&first);
    sm_text_release(&second);
    sm_text_release(&coarse);
    sm_media_close(&media);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_picture__every_layout_becomes_full_range_planes),
        cmocka_unit_test(test_still__decodes_to_the_frame),
        cmocka_unit_test(test_still__same_frame_same_bytes),
    };
    return cmocka_run_group_tests(tests, make_clips, remove_clips);
}
