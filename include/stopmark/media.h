/**
 * @file media.h
 * Survey videos: local files of known containers, opened one after the other as one recording. Times count from the
 * first video frame of the first file. Sole user of FFmpeg's libraries.
 *
 * A handle is used by one thread at a time; handles are independent of each other.
 *
 * Files are demultiplexed and decoded in a process of its own for each handle, locked in so that it reaches nothing but
 * them (docs/media.md). When it crashes, hangs or lies, the call that notices gives SM_E_IO with the file's name, and so
 * do all later calls on the handle. SM_DECODER=here in the environment decodes in the calling process.
 */
#ifndef STOPMARK_MEDIA_H
#define STOPMARK_MEDIA_H

#include "stopmark/model.h"

struct sm_media;
struct sm_media_info {
    int32_t width_px, height_px; /**< of the delivered picture: upright, pixels as stored (perhaps not square) */
    double duration_s;    /**< from the first frame to the end of the last; counted from what is in the files, not from their headers */
    double frame_rate_hz; /**< average */
    double key_interval_s;/**< typical spacing of frames that decode alone; 0 = every frame */
    const char *container, *codec; /**< FFmpeg's short names */
    size_t n_files;
    size_t n_frames;         /**< frames that should come out of all files */
    double pixel_aspect;     /**< width of a pixel over its height, 1 = square; stills are written with square pixels */
    int32_t rotation_deg;    /**< 0, 90, 180, 270: clockwise turn asked for by the first file; frames and stills have it applied */
};

/**
 * Open files in order as one recording. No network, no playlists, no second file reached from the first: a fixed list
 * of containers told apart by content. Reads every file once, without decoding it, to list its frames: what a header
 * says about length and frame count is not believed.
 *
 * @param out [new] close with sm_media_close().
 * @return SM_OK; SM_E_IO (missing, a folder, unreadable); SM_E_FORMAT (no video, damaged beyond use); SM_E_UNSUPPORTED
 *         (container, codec); SM_E_RANGE (picture or number of frames too large); SM_E_NOMEM.
 * @cost about 0.01 to 0.04 of decoding the files once; 36 bytes of memory a frame.
 */
enum sm_status sm_media_open(struct sm_media **out, const char *const *path, size_t n_paths, struct sm_error *err) SM_CHECKED;
/**
 * Another handle on the same recording, for another thread: the list of frames is copied, not made anew. A handle may
 * be used while the other is.
 * @param out [new] close with sm_media_close(). @cost 36 bytes of memory a frame; a decoder once it is used.
 */
enum sm_status sm_media_open_again(struct sm_media **out, const struct sm_media *media, struct sm_error *err) SM_CHECKED;
/** Add to the findings of media what the decoder of another handle on the same recording met. */
enum sm_status sm_media_take_findings(struct sm_media *media, const struct sm_media *other, struct sm_error *err) SM_CHECKED;
void sm_media_close(struct sm_media **media);
const struct sm_media_info *sm_media_get_info(const struct sm_media *media);

/** What is damaged or odd about the files, found so far; grows as frames are decoded. Borrowed until the next call. */
const struct sm_findings *sm_media_get_findings(const struct sm_media *media);

/**
 * Stretches of damaged pictures met so far, from their first to their last frame; grows as frames are decoded, at most 64.
 * @return false when there is no stretch_idx-th.
 */
bool sm_media_get_damage(const struct sm_media *media, size_t stretch_idx, double *start_s, double *end_s);

/**
 * Have the work given up in between: goes_on is asked before every packet that is decoded, also on the way to a frame; once it
 * says no, the call under way returns SM_E_CANCELLED, and the next one goes on from there. NULL = it always goes on.
 */
void sm_media_set_goes_on(struct sm_media *media, bool (*goes_on)(void *user), void *user);

/** View of this recording as a frame source for counter and others; valid while media is open. */
struct sm_frame_source sm_media_source(struct sm_media *media);

/**
 * Frames in time order whose time lies in [start_s, end_s], about step_s apart (0 = every frame).
 * @param cheap_only only frames that decode alone; costs nothing for those left out.
 * @return SM_OK; what fn returned when it ended the scan; SM_E_CONFLICT called from inside a callback; SM_E_IO; SM_E_NOMEM.
 */
enum sm_status sm_media_scan(struct sm_media *media, double start_s, double end_s, double step_s, bool cheap_only,
                             sm_frame_fn *fn, void *fn_user, struct sm_error *err) SM_CHECKED;

/**
 * The frame on screen at each of n times: the last frame that starts at or before it (a frame that starts up to half a
 * millisecond later counts, so that times written with three decimals hit); the first frame for times before it.
 *
 * Called in rising time order; equal to what decoding the whole recording gives there. A time that is not finite, lies
 * after the end of the recording or where nothing decodes is left out: fn is not called for it.
 *
 * @param time_s any order, repeats allowed. @param at_idx [out] index into time_s, set before each call of fn; may be NULL.
 * @cost decodes from the key frame before each time, or runs on from the time before where that is cheaper.
 */
enum sm_status sm_media_at(struct sm_media *media, const double *time_s, size_t n, size_t *at_idx, sm_frame_fn *fn,
                           void *fn_user, struct sm_error *err) SM_CHECKED;

/**
 * JPEG of the frame on screen at time_s, upright, with square pixels, chroma and all. Same frame, same bytes.
 * @param out [inout] text that receives the bytes. @param quality 1..100.
 * @return SM_OK; SM_E_NOTFOUND no frame there; SM_E_RANGE quality; SM_E_NOMEM. On failure out is unchanged.
 */
enum sm_status sm_media_still_jpeg(struct sm_media *media, double time_s, int quality, struct sm_text *out,
                                   struct sm_error *err) SM_CHECKED;

/**
 * Texts of the recording's text tracks (subtitles as text, 3GPP timed text, WebVTT, ASS), by file and track, in time order; none where no
 * file has such a track. The first call reads files that have one once more.
 * @param out [borrow] valid until media is closed.
 * @return SM_OK; SM_E_IO; SM_E_RANGE more than a million texts or 64 MiB of them; SM_E_NOMEM.
 */
enum sm_status sm_media_texts(struct sm_media *media, const struct sm_timed_text **out, size_t *n,
                              struct sm_error *err) SM_CHECKED;

/** Where file file_idx (0 .. info n_files - 1) starts in the recording. */
double sm_media_file_start_s(const struct sm_media *media, size_t file_idx);

/**
 * As sm_media_still_jpeg() for the frame that a callback of this recording is being given: only to be called from inside one.
 */
enum sm_status sm_media_frame_jpeg(struct sm_media *media, int quality, struct sm_text *out, struct sm_error *err) SM_CHECKED;

/** Size of one coded frame. Sizes over time tell travel from standstill without decoding anything. */
struct sm_media_packet {
    double time_s;
    uint32_t size_bytes;
    bool is_key;
};
/** Coded frame frame_idx (0 .. info n_frames - 1), in time order over all files. */
struct sm_media_packet sm_media_get_packet(const struct sm_media *media, size_t frame_idx);

#endif
