/*
 * What a recording's decoder, in a process of its own, and the process that asks it say to each other.
 *
 *   asks                       the decoder
 *   ----                       -----------
 *                              (list of frames, OPENED)       once, where the recording is new
 *   SCAN, AT ............ ->   FRAME, picture in shared memory   for each frame
 *   GO | STOP | JPEG    -> <-  (BYTES to a JPEG)
 *   GO | STOP .......... <->   ASK                            before each packet, where somebody may want it stopped
 *                         <-   DONE
 *   STILL, TEXTS ........ ->   BYTES, DONE
 *
 * Both ends run the same program, so what is sent are structs as they lie in memory. The decoder reads hostile
 * files and is not trusted: everything from it passes one of the checks below before it is used. Pictures are
 * bytes of any value; where they lie and how large they are is checked.
 */
#ifndef STOPMARK_MEDIA_WIRE_H
#define STOPMARK_MEDIA_WIRE_H

#include "media_internal.h"

enum media_op { OP_SCAN = 1, OP_AT, OP_STILL, OP_TEXTS, OP_GO, OP_STOP, OP_JPEG };
struct media_request {
    enum media_op op;
    int32_t quality;
    double start_s, end_s, step_s; /* of a scan; start_s of a still */
    bool cheap_only, asks; /* asks: whether to go on, before each packet */
    uint64_t n_times; /* of OP_AT, which follow */
};

enum media_kind { KIND_FRAME = 1, KIND_BYTES, KIND_DONE, KIND_ASK };

/* A picture in shared memory: its planes at offset, in bytes. */
struct media_shown {
    double time_s, duration_s;
    uint32_t is_key, is_damaged, has_chroma; /* no bool: any bit may be set */
    int32_t width_px, height_px, chroma_shift_x, chroma_shift_y;
    uint64_t offset[3], stride[3];
    uint64_t at_idx;
};
struct media_message {
    enum media_kind kind;
    enum sm_status status;
    uint64_t n_bytes; /* that follow */
    struct media_shown shown;
};

/* Follows DONE: what went wrong, and what was met so far. For each file one double more: where another size was met. */
struct media_state {
    struct sm_error err;
    uint64_t n_damages;
    uint32_t has_more_damage;
    struct damage damage[MAX_DAMAGES];
};

/* Follow the DONE of opening: for each file this and its entries, order and keys; then the lasting findings. */
struct media_told_file {
    char container[32], codec[32];
    double tick_s, start_s, duration_s, pixel_aspect;
    int32_t width_px, height_px, rotation_deg;
    uint32_t has_texts, ignores_index, is_pos_sorted;
    uint64_t n_packets, n_frames, n_keys;
    int64_t frame_ticks;
};
struct media_told_finding {
    enum sm_severity severity;
    int32_t file_idx; /* -1 = none */
    double time_s;
    char message[384];
};
/* A text of a text track; follows BYTES, its n_bytes of text behind it. */
struct media_told_text {
    double start_s, end_s;
    int32_t track, file;
    uint64_t n_bytes;
};

#define MOST_TOLD_FINDINGS 4096U
#define MOST_TOLD_BYTES ((uint64_t)256 * 1024 * 1024)
#define SHARED_HEADER_BYTES 64U /* uint32_t: the file that is worked on */
#define SHARED_BYTES ((size_t)3 * SM_MEDIA_MAX_PIXELS + SHARED_HEADER_BYTES)

/* ---- what is believed; all are free of side effects but for what they mend ---- */

/* A picture of the recording's size whose planes lie inside the shared memory. Fills image with pointers into it. */
bool sm_media__shown_image(struct sm_image *image, const struct media_shown *shown, const uint8_t *shared,
                           size_t shared_bytes, const struct sm_media_info *info);
/* Ends its texts, takes control characters out of them and unknown values back to known ones. */
void sm_media__state_mend(struct media_state *state, enum sm_status status);
void sm_media__line_mend(char *text, size_t size);
/* A file's description with numbers that can be. Strings are ended. */
bool sm_media__told_file_check(struct media_told_file *told);
/* Order and ranks name each other, keys are packets: no index leads outside the lists. */
bool sm_media__index_check(const struct media_index *index);

#endif
