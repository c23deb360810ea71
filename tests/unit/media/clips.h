/* Clips made at test time with the ffmpeg command, and what that command itself decodes from them. */
#ifndef CLIPS_H
#define CLIPS_H

#include "sm_test.h"

#include "stopmark/media.h"

/* Run a shell command; the test fails when it does. */
void clip_run(const char *fmt, ...) SM_PRINTF(1, 2);

/* Frames of a clip as the ffmpeg command decodes them: 8-bit 4:2:0, limited range, one after the other. */
struct clip_frames {
    int32_t width_px, height_px;
    size_t n;
    uint8_t *data; /* n x width x height x 3/2 */
};
/* Decode all of path. full_range: ask for full-range samples (of sources that are full range). */
struct clip_frames clip_decode(const char *dir, const char *path, int32_t width_px, int32_t height_px);
void clip_frames_free(struct clip_frames *frames);
/* Whether image shows frame frame_idx: chroma the same, luma the same after stretching 16..235 to 0..255. */
bool clip_is_frame(const struct clip_frames *frames, size_t frame_idx, const struct sm_image *image,
                   bool is_full_range);
/* Frame that image shows, nearest to guess first; frames->n = none. */
size_t clip_find_frame(const struct clip_frames *frames, size_t guess, const struct sm_image *image,
                       bool is_full_range);

/* Bytes of a file, and a file of bytes. data is freed by the caller with free(). */
uint8_t *clip_read(const char *path, size_t *n);
void clip_write(const char *path, const void *data, size_t n);
/* Copy of the first share (0..1) of a file. */
void clip_cut(const char *to, const char *from, double share);

/* Open files that must open. */
struct sm_media *clip_open(const char *path);
/* Whether a finding says something that contains words. */
bool clip_has_finding(const struct sm_media *media, const char *words);

#endif
