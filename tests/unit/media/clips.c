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

struct clip_frames clip_decode(const char *dir, const char *path, int32_t width_px, int32_t height_px)
{
    char raw[512];
    snprintf(raw, sizeof raw, "%s/reference.yuv", dir);
    clip_run(
        "ffmpeg -nostdin -v error -y -threads 1 -i '%s' -map 0:v:0 -fps_mode passthrough -f rawvideo '%s'",
        path, raw);
    FILE *file = fopen(raw, "rb");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    size_t size = (size_t)ftell(file);
    rewind(file);
    struct clip_frames frames = {.width_px = width_px, .height_px = height_px};
    size_t frame_bytes = (size_t)width_px * (size_t)height_px * 3 / 2;
    assert_int_equal(size % frame_bytes, 0);
    frames.n = size / frame_bytes;
    frames.data = malloc(size ? size : 1);
    assert_non_null(frames.data);
    assert_int_equal(fread(frames.data, 1, size, file), size);
    fclose(file);
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
