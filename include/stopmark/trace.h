/**
 * @file trace.h
 * The trace: time in the video -> counter reading. Looking up, standstills, jumps, and its files.
 */
#ifndef STOPMARK_TRACE_H
#define STOPMARK_TRACE_H

#include "stopmark/model.h"

void sm_trace_free(struct sm_trace **trace);

/**
 * Reading at a time: the stored one when there is one there, else carried between its neighbours (linear, confidence
 * falls with the gap and the change across it). Hidden outside the trace and across jumps.
 */
struct sm_reading sm_trace_at(const struct sm_trace *trace, double time_s);

/** A stretch during which the counter stands. */
struct sm_standstill {
    double start_s, end_s;
    int64_t counts;
};
/** Standstills of at least least_s seconds, in time order. @param out [new] array, free with sm_free(). */
enum sm_status sm_trace_standstills(struct sm_standstill **out, size_t *n, const struct sm_trace *trace, double least_s,
                                    struct sm_error *err) SM_CHECKED;

/** `time_s,reading,unit,confidence,state` with a header row. */
enum sm_status sm_trace_write_csv(struct sm_text *out, const struct sm_trace *trace, struct sm_error *err) SM_CHECKED;
/** stopmark.trace/1 */
enum sm_status sm_trace_write_json(struct sm_text *out, const struct sm_trace *trace, struct sm_error *err) SM_CHECKED;

#endif
