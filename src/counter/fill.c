/*
 * Readings far apart -> a trace in which the nearest row is never far off: between two readings with a
 * straight stretch between them stand carried ones. How sure a carried reading is, is a judgement, not
 * counted (docs/reading.md): on a standstill nearly as sure as the readings beside it; on the move the last
 * digit is a matter of when exactly it turned.
 */
#include "counter_internal.h"

#include <math.h>

#define ROW_STEP_S 0.2
#define STILL_SHARE 0.99f
#define STRAIGHT_SHARE 0.6f

static bool has_jump(const struct sm_trace *trace, double from_s, double to_s)
{
    for (size_t i = 0; i < trace->n_jumps; i++) {
        if (trace->jump_time_s[i] > from_s && trace->jump_time_s[i] < to_s) {
            return true;
        }
    }
    return false;
}

static struct sm_reading between(const struct sm_reading *a, const struct sm_reading *b,
                                 const struct sm_counter__span *moving, double time_s)
{
    float least = fminf(a->confidence, b->confidence);
    return (struct sm_reading){.time_s = time_s,
                               .counts = sm_counter__between(a, b, moving, time_s),
                               .confidence = least * (a->counts == b->counts ? STILL_SHARE : STRAIGHT_SHARE),
                               .state = SM_READING_CARRIED};
}

/** Whole steps strictly between two times, in rising order; step k stands at k * ROW_STEP_S. */
static int64_t first_step(double time_s)
{
    return (int64_t)floor(time_s / ROW_STEP_S + 0.25) + 1;
}
static int64_t end_step(double time_s)
{
    return (int64_t)ceil(time_s / ROW_STEP_S - 0.25);
}

static bool is_filled(const struct sm_trace *trace, const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = &trace->reading[i], *b = &trace->reading[i + 1];
    return watch->is_straight[i] && a->state == SM_READING_READ && b->state == SM_READING_READ &&
           b->time_s - a->time_s > 1.5 * ROW_STEP_S && !has_jump(trace, a->time_s, b->time_s);
}

enum sm_status sm_counter__fill(struct sm_trace *trace, const struct sm_counter__watch *watch,
                                struct sm_error *err)
{
    struct sm_reading *rows = NULL;
    size_t n = 0, capacity = 0;
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < trace->n_readings; i++) {
        status = sm_grow(&rows, n, &capacity, sizeof *rows);
        if (status == SM_OK) {
            rows[n++] = trace->reading[i];
        }
        bool fills = i + 1 < trace->n_readings && is_filled(trace, watch, i);
        int64_t end = fills ? end_step(trace->reading[i + 1].time_s) : 0;
        for (int64_t k = first_step(trace->reading[i].time_s); status == SM_OK && k < end; k++) {
            status = sm_grow(&rows, n, &capacity, sizeof *rows);
            if (status == SM_OK) {
                rows[n++] = between(&trace->reading[i], &trace->reading[i + 1], &watch->moving[i],
                                    (double)k * ROW_STEP_S);
            }
        }
    }
    if (status != SM_OK) {
        sm_free(rows);
        return sm_error_set(err, status, "no memory for the trace");
    }
    if (rows) {
        sm_free(trace->reading);
        trace->reading = rows;
        trace->n_readings = n;
    }
    return SM_OK;
}
