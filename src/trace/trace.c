/* Looking a time up in the trace. Readings stand in rising time; hidden ones are passed over, jumps are
 * walls. */
#include "stopmark/trace.h"

#include <math.h>

/* Two times this close are the same frame: half the shortest frame duration in use is far above it. */
#define SAME_FRAME_S 0.0005
/* Between equal readings confidence halves in this time: a camera that leaves and comes back to the very
 * digit is rare. */
#define STANDING_HALF_LIFE_S 60.0

void sm_trace_free(struct sm_trace **trace)
{
    if (!trace || !*trace) {
        return;
    }
    sm_free((*trace)->reading);
    sm_free((*trace)->jump_time_s);
    sm_free(*trace);
    *trace = NULL;
}

size_t sm_trace_first_after(const struct sm_trace *trace, double time_s)
{
    size_t low = 0;
    size_t high = trace->n_readings;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (trace->reading[mid].time_s > time_s) {
            high = mid;
        } else {
            low = mid + 1;
        }
    }
    return low;
}

size_t sm_trace_stretch_at(const struct sm_trace *trace, double time_s)
{
    size_t n = 0;
    while (n < trace->n_jumps && trace->jump_time_s[n] <= time_s) {
        n++;
    }
    return n;
}

static bool is_visible(const struct sm_reading *reading, double least_confidence)
{
    return reading->state != SM_READING_HIDDEN && (double)reading->confidence >= least_confidence;
}

bool sm_trace_bracket_at(struct sm_trace_bracket *out, const struct sm_trace *trace, double time_s,
                         double least_confidence)
{
    if (isnan(time_s)) {
        return false;
    }
    size_t after = sm_trace_first_after(trace, time_s);
    size_t before = after;
    while (before > 0 && !is_visible(&trace->reading[before - 1], least_confidence)) {
        before--;
    }
    if (before == 0) {
        return false;
    }
    const struct sm_reading *first = &trace->reading[before - 1];
    if (first->time_s == time_s) {
        *out = (struct sm_trace_bracket){*first, *first};
        return true;
    }
    while (after < trace->n_readings && !is_visible(&trace->reading[after], least_confidence)) {
        after++;
    }
    if (after == trace->n_readings) {
        return false;
    }
    const struct sm_reading *second = &trace->reading[after];
    if (sm_trace_stretch_at(trace, first->time_s) != sm_trace_stretch_at(trace, second->time_s)) {
        return false;
    }
    *out = (struct sm_trace_bracket){*first, *second};
    return true;
}

static const struct sm_reading *stored_at(const struct sm_trace *trace, double time_s)
{
    size_t after = sm_trace_first_after(trace, time_s + SAME_FRAME_S);
    const struct sm_reading *best = NULL;
    for (size_t i = after; i > 0 && trace->reading[i - 1].time_s >= time_s - SAME_FRAME_S; i--) {
        const struct sm_reading *reading = &trace->reading[i - 1];
        bool is_nearer = !best || fabs(reading->time_s - time_s) < fabs(best->time_s - time_s);
        if (reading->state != SM_READING_HIDDEN && is_nearer) {
            best = reading;
        }
    }
    return best;
}

/*
 * Chance that the carried value is the one that was on screen. For a change of one digit somewhere between
 * the readings it is at worst 1/2, half way between them; for larger changes it falls as the count that must
 * be hit gets smaller beside the count driven through.
 */
static double carried_confidence(const struct sm_trace_bracket *around, double frac)
{
    double weaker = fmin((double)around->before.confidence, (double)around->after.confidence);
    double change = fabs((double)(around->after.counts - around->before.counts));
    double gap_s = around->after.time_s - around->before.time_s;
    return weaker * exp2(-gap_s / STANDING_HALF_LIFE_S) / (1.0 + 4.0 * change * frac * (1.0 - frac));
}

static struct sm_reading carry(const struct sm_trace_bracket *around, double time_s)
{
    double gap_s = around->after.time_s - around->before.time_s;
    double frac = gap_s > 0 ? (time_s - around->before.time_s) / gap_s : 0;
    double change = (double)(around->after.counts - around->before.counts);
    return (struct sm_reading){.time_s = time_s,
                               .counts = around->before.counts + llround(frac * change),
                               .confidence = (float)carried_confidence(around, frac),
                               .state = SM_READING_CARRIED};
}

struct sm_reading sm_trace_at(const struct sm_trace *trace, double time_s)
{
    struct sm_reading hidden = {.time_s = time_s, .state = SM_READING_HIDDEN};
    if (isnan(time_s)) {
        return hidden;
    }
    const struct sm_reading *stored = stored_at(trace, time_s);
    if (stored) {
        struct sm_reading reading = *stored;
        reading.time_s = time_s;
        return reading;
    }
    struct sm_trace_bracket around;
    return sm_trace_bracket_at(&around, trace, time_s, 0) ? carry(&around, time_s) : hidden;
}

enum sm_status sm_trace_pick(struct sm_trace **out, const struct sm_trace *trace, const double *at_s,
                             size_t n_at, struct sm_error *err)
{
    struct sm_trace *picked = sm_calloc(1, sizeof *picked);
    struct sm_reading *reading = sm_calloc(n_at ? n_at : 1, sizeof *reading);
    if (!picked || !reading) {
        sm_free(picked);
        sm_free(reading);
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu readings", n_at);
    }
    for (size_t i = 0; i < n_at; i++) {
        reading[i] = sm_trace_at(trace, at_s[i]);
    }
    picked->format = trace->format;
    picked->n_readings = n_at;
    picked->reading = reading;
    picked->duration_s = trace->duration_s;
    *out = picked;
    return SM_OK;
}
