/**
 * @file trace.h
 * The trace: time in the video -> counter reading. Looking up, standstills, jumps, and its files.
 */
#ifndef STOPMARK_TRACE_H
#define STOPMARK_TRACE_H

#include "stopmark/model.h"

void sm_trace_free(struct sm_trace **trace);

/**
 * Reading at a time: the stored one when there is one there (within half a millisecond), else carried between
 * the visible readings before and after.
 *
 * Between equal readings the counter is taken to have stood; between different ones the counts are
 * interpolated linearly and rounded, and confidence falls with the distance from both and the change across
 * the gap, because no camera drives evenly. Hidden before the first and after the last visible reading, and
 * between readings with a jump in between. A hidden reading that is stored counts as none.
 * @param trace [borrow] may have no readings. @thread pure.
 */
struct sm_reading sm_trace_at(const struct sm_trace *trace, double time_s);

/** The visible readings around a time: what the picture proves about it when it shows nothing there itself.
 */
struct sm_trace_bracket {
    struct sm_reading before, after; /**< the last at or before the time, the first at or after it */
};
/**
 * @param least_confidence readings below it are passed over.
 * @return false when there is none on one side, or a jump of the counter lies between the two.
 */
bool sm_trace_bracket_at(struct sm_trace_bracket *out, const struct sm_trace *trace, double time_s,
                         double least_confidence);

/** Index of the first reading later than a time; n_readings when none is. @cost O(log n). */
size_t sm_trace_first_after(const struct sm_trace *trace, double time_s);

/** Number of jumps at or before a time: which stretch of even counting it belongs to, 0 = the first. */
size_t sm_trace_stretch_at(const struct sm_trace *trace, double time_s);

/** A stretch during which the counter stands. */
struct sm_standstill {
    double start_s, end_s;
    int64_t counts;
};
/**
 * Standstills of at least least_s seconds, in time order. Seen ones only: from the first to the last reading
 * with the same counts; a single doubtful reading (confidence < 0.9) in between or a gap of up to 20 s
 * without any does not end one, a jump does.
 * @param out [new] array, free with sm_free(); NULL when there are none.
 */
enum sm_status sm_trace_standstills(struct sm_standstill **out, size_t *n, const struct sm_trace *trace,
                                    double least_s, struct sm_error *err) SM_CHECKED;

/**
 * A trace of just the asked times, one reading each and in the order asked: for writing. Times outside give
 * hidden readings. @param out [new] free with sm_trace_free().
 */
enum sm_status sm_trace_pick(struct sm_trace **out, const struct sm_trace *trace, const double *at_s,
                             size_t n_at, struct sm_error *err) SM_CHECKED;

/** `time_s,reading,unit,confidence,state` with a header row; reading empty where hidden. */
enum sm_status sm_trace_write_csv(struct sm_text *out, const struct sm_trace *trace,
                                  struct sm_error *err) SM_CHECKED;
/** stopmark.trace/1; readings as text so that every decimal stays, null where hidden. */
enum sm_status sm_trace_write_json(struct sm_text *out, const struct sm_trace *trace,
                                   struct sm_error *err) SM_CHECKED;

#endif
