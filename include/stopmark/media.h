/**
 * @file media.h
 * Survey videos: local files of known containers, opened one after the other as one recording. Times count from the
 * first video frame of the first file. Sole user of FFmpeg's libraries.
 */
#ifndef STOPMARK_MEDIA_H
#define STOPMARK_MEDIA_H

#include "stopmark/model.h"

struct sm_media;
struct sm_media_info {
    int32_t width_px, height_px;
    double duration_s;    /**< from the first frame to the end of the last, best estimate */
    double frame_rate_hz; /**< average */
    double key_interval_s;/**< typical spacing of frames that decode alone; 0 = every frame */
    const char *container, *codec; /**< FFmpeg's short names */
    size_t n_files;
};
/**
 * Open files in order as one recording. No network, no playlists: a fixed list of containers.
 * @param out [new] close with sm_media_close().
 * @return SM_OK; SM_E_IO; SM_E_FORMAT (no video, damaged beyond use); SM_E_UNSUPPORTED (container, codec); SM_E_RANGE (picture too large).
 */
enum sm_status sm_media_open(struct sm_media **out, const char *const *path, size_t n_paths, struct sm_error *err) SM_CHECKED;
void sm_media_close(struct sm_media **media);
const struct sm_media_info *sm_media_get_info(const struct sm_media *media);

/** What is damaged or odd about the files, found so far. */
const struct sm_findings *sm_media_get_findings(const struct sm_media *media);

/** View of this recording as a frame source for counter and others; valid while media is open. */
struct sm_frame_source sm_media_source(struct sm_media *media);

/** JPEG of the frame on screen at time_s, chroma and all. @param out [inout] text that receives the bytes. @param quality 1..100. */
enum sm_status sm_media_still_jpeg(struct sm_media *media, double time_s, int quality, struct sm_text *out,
                                   struct sm_error *err) SM_CHECKED;

#endif
