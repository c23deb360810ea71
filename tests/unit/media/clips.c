/* Clips for the tests of media; the ffmpeg command is the reference for what a frame looks like. */
#include "clips.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void clip_run(const char *fmt, ...)
{
    char command[4096];
    va_list args;
    va_start(args, fmt);
    int n = vsnprintf(command, sizeof command, fmt, args);
    va_end(args);
    assert_true(n > 0 && (size_t)n < sizeof command);
    if (system(command) != 0) {
        fail_msg("command failed: %s", command);
    }
}

uint8_t *clip_read(const char *path, size_t *n)
{
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    *n = (size_t)ftell(file);
    rewind(file);
    uint8_t *data = malloc(*n ? *n : 1);
    assert_non_null(data);
    assert_int_equal(fread(data, 1, *n, file), *n);
    fclose(file);
    return data;
}

void clip_write(const char *path, const void *data, size_t n)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, n, file), n);
    assert_int_equal(fclose(file), 0);
}

void clip_cut(const char *to, const char *from, double share)
{
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    clip_write(to, data, (size_t)((double)n * share));
    free(data);
}

struct clip_frames clip_decode(const char *dir, const char *path, int32_t width_px, int32_t height_px)
{
    char raw[512];
    snprintf(raw, sizeof raw, "%s/reference.yuv", dir);
    clip_run(
        "ffmpeg -nostdin -v error -y -threads 1 -i '%s' -map 0:v:0 -fps_mode passthrough -f rawvideo '%s'",
        path, raw);
    size_t size = 0;
    struct clip_frames frames = {.width_px = width_px, .height_px = height_px, .data = clip_read(raw, &size)};
    size_t frame_bytes = (size_t)width_px * (size_t)height_px * 3 / 2;
    assert_int_equal(size % frame_bytes, 0);
    frames.n = size / frame_bytes;
    remove(raw);
    return frames;
}

void clip_frames_free(struct clip_frames *frames)
{
    free(frames->data);
    *frames = (struct clip_frames){0};
}

/* 16..235 to 0..255 with the rounding that media promises. */
static uint8_t stretched(uint8_t level)
{
    int above = level < 16 ? 0 : level > 235 ? 219 : level - 16;
    return (uint8_t)((above * 298 + 128) / 256);
}

static bool luma_equals(const uint8_t *expected, const struct sm_image *image, bool is_full_range)
{
    for (int32_t y = 0; y < image->height_px; y++) {
        const uint8_t *row = image->y + y * image->stride_y;
        const uint8_t *want = expected + (ptrdiff_t)y * image->width_px;
        for (int32_t x = 0; x < image->width_px; x++) {
            if (row[x] != (is_full_range ? want[x] : stretched(want[x]))) {
                return false;
            }
        }
    }
    return true;
}

static bool chroma_equals(const uint8_t *expected, const uint8_t *plane, ptrdiff_t stride, int32_t width,
                          int32_t height)
{
    for (int32_t y = 0; y < height; y++) {
        if (memcmp(plane + y * stride, expected + (ptrdiff_t)y * width, (size_t)width) != 0) {
            return false;
        }
    }
    return true;
}

bool clip_is_frame(const struct clip_frames *frames, size_t frame_idx, const struct sm_image *image,
                   bool is_full_range)
{
    size_t area = (size_t)frames->width_px * (size_t)frames->height_px;
    const uint8_t *expected = frames->data + frame_idx * (area * 3 / 2);
    int32_t width = frames->width_px / 2;
    int32_t height = frames->height_px / 2;
    return image->width_px == frames->width_px && image->height_px == frames->height_px &&
           image->chroma_shift_x == 1 && image->chroma_shift_y == 1 &&
           luma_equals(expected, image, is_full_range) &&
           chroma_equals(expected + area, image->u, image->stride_u, width, height) &&
           chroma_equals(expected + area + area / 4, image->v, image->stride_v, width, height);
}

size_t clip_find_frame(const struct clip_frames *frames, size_t guess, const struct sm_image *image,
                       bool is_full_range)
{
    if (guess < frames->n && clip_is_frame(frames, guess, image, is_full_range)) {
        return guess;
    }
    for (size_t i = 0; i < frames->n; i++) {
        if (clip_is_frame(frames, i, image, is_full_range)) {
            return i;
        }
    }
    return frames->n;
}

struct sm_media *clip_open(const char *path)
{
    struct sm_error err = {0};
    struct sm_media *media = NULL;
    assert_ok(sm_media_open(&media, &path, 1, &err), &err);
    return media;
}

bool clip_has_finding(const struct sm_media *media, const char *words)
{
    const struct sm_findings *findings = sm_media_get_findings(media);
    for (size_t i = 0; i < findings->n; i++) {
        if (strstr(findings->item[i].message, words)) {
            return true;
        }
    }
    return false;
}
