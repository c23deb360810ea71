/**
 * @file counter.h
 * Find the distance counter burned into a survey video and read it. Pictures come through sm_frame_source; nothing here
 * knows a codec. What is read becomes a trace in trace.h.
 */
#ifndef STOPMARK_COUNTER_H
#define STOPMARK_COUNTER_H

#include "stopmark/model.h"

struct sm_counter; /**< a found counter: where it stands and how its characters look in this video */

/** How much of the recording is looked at. Asked times are looked at in any case. */
enum sm_counter_effort {
    SM_COUNTER_EFFORT_AUTO,   /**< all pictures of a recording of up to a minute, of longer ones what is needed */
    SM_COUNTER_EFFORT_SPARSE, /**< what is needed: a few pictures far apart, more where they leave something open */
    SM_COUNTER_EFFORT_FULL,   /**< every picture */
};

/** A text that the search looked at, for showing to a person. */
struct sm_counter_seen_text {
    struct sm_box box;
    char example[32];    /**< as last read, "" = no number was made out in it */
    const char *verdict; /**< static: why it is or is not the counter */
    bool is_counter;
};
#define SM_COUNTER_MOST_SEEN 9
/** What the search looked at, the likeliest first. */
struct sm_counter_seen {
    size_t n;
    struct sm_counter_seen_text text[SM_COUNTER_MOST_SEEN];
};

struct sm_counter_opts {
    struct sm_box box;    /**< where to look; width 0 = anywhere */
    enum sm_unit unit;    /**< SM_UNIT_UNKNOWN = read it off the picture */
    sm_progress_fn *progress;
    void *progress_user;
    enum sm_counter_effort effort;
    size_t n_helpers; /**< more threads to read with */
    const struct sm_frame_source *helper; /**< [borrow] one each: the same recording, used from that thread alone */
    struct sm_counter_seen *seen; /**< [inout] filled by sm_counter_find() whether it finds the counter or not; may be NULL */
};

/** A text field of the picture that was looked at as a possible counter. */
struct sm_counter_candidate {
    struct sm_box box;
    const char *example; /**< text as last read */
    const char *verdict; /**< why it is or is not the counter */
    double score;        /**< larger is better */
};

/**
 * Find the counter.
 * @param out [new] free with sm_counter_free().
 * @return SM_OK; SM_E_NOTFOUND with the reason in err (no steady text, too small, nothing that moves as a counter does).
 */
enum sm_status sm_counter_find(struct sm_counter **out, const struct sm_frame_source *source,
                               const struct sm_counter_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_counter_free(struct sm_counter **counter);
const struct sm_counter_format *sm_counter_get_format(const struct sm_counter *counter);
/** Candidates best first; borrowed. */
size_t sm_counter_candidates(const struct sm_counter *counter, const struct sm_counter_candidate **out);
/** Another field that could as well be the counter, borrowed; NULL when there is none. Confidences are lowered then. */
const struct sm_counter_candidate *sm_counter_get_rival(const struct sm_counter *counter);

/**
 * Read the whole recording into a trace.
 * @param at_s n_at times at which the frame on screen must be looked at itself (its reading stands in the trace at
 *        exactly that time); may be NULL.
 * @param out [new] free with sm_trace_free().
 */
enum sm_status sm_counter_read(struct sm_trace **out, struct sm_counter *counter, const struct sm_frame_source *source,
                               const double *at_s, size_t n_at, const struct sm_counter_opts *opts,
                               struct sm_error *err) SM_CHECKED;

/**
 * The same with more asked times, after sm_counter_read() of the same recording: only these are looked at, what was
 * seen before is kept. Without a reading before, like sm_counter_read().
 */
enum sm_status sm_counter_read_more(struct sm_trace **out, struct sm_counter *counter,
                                    const struct sm_frame_source *source, const double *at_s, size_t n_at,
                                    const struct sm_counter_opts *opts, struct sm_error *err) SM_CHECKED;

#endif
