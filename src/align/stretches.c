/*
 * Counters that are re-zeroed or set while the run goes on. Between two jumps the counter counts evenly; a
 * shift brings each such stretch to the count of the main one, so that one axis serves the whole run. First
 * guess: the camera did not move while the counter jumped. Logged distances (here) and ties (ties.c) overrule
 * it.
 */
#include "align_internal.h"

#include <math.h>

/* A stretch with less travel is the counter being zeroed before the run. */
#define LEAST_TRAVEL_M 1.0

static double metres(const struct sm_align__work *work, const struct sm_reading *reading)
{
    return (double)reading->counts * sm_last_digit_m(&work->format);
}

/* Range of each stretch, and shifts by continuity with the first at 0. */
static void walk_trace(struct sm_align__work *work)
{
    const struct sm_trace *trace = work->trace;
    size_t current = 0;
    double last_count_m = SM_NAN;
    for (size_t i = 0; i < trace->n_readings; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        if (reading->state == SM_READING_HIDDEN || (double)reading->confidence < SM_ALIGN__SURE_CONFIDENCE) {
            continue;
        }
        size_t at = sm_trace_stretch_at(trace, reading->time_s);
        struct sm_align__stretch *stretch = &work->stretch[at];
        if (at != current && !isnan(last_count_m)) {
            stretch->shift_m = last_count_m - metres(work, reading);
        }
        current = at;
        stretch->low_m = fmin(stretch->low_m, metres(work, reading));
        stretch->high_m = fmax(stretch->high_m, metres(work, reading));
        last_count_m = metres(work, reading) + stretch->shift_m;
    }
}

static size_t main_stretch(const struct sm_align__work *work)
{
    for (size_t i = 0; i < work->n_stretches; i++) {
        if (work->stretch[i].high_m - work->stretch[i].low_m >= LEAST_TRAVEL_M) {
            return i;
        }
    }
    return 0;
}

static size_t count_near(const double *value, size_t n, double goal, double tol)
{
    size_t n_near = 0;
    for (size_t i = 0; i < n; i++) {
        n_near += fabs(value[i] - goal) <= tol;
    }
    return n_near;
}

/* What the logged distances of a stretch say; difference_m is scratch for all entries. */
static void ask_log(struct sm_align__work *work, size_t at, double *difference_m)
{
    struct sm_align__stretch *stretch = &work->stretch[at];
    size_t n = 0;
    for (size_t i = 0; i < work->log->n_entries; i++) {
        const struct sm_align__place *place = &work->place[i];
        double difference = place->logged_m - place->reading_m;
        bool is_read = place->reading.state == SM_READING_READ;
        if (place->stretch == at && is_read && !isnan(difference)) {
            difference_m[n++] = difference;
        }
    }
    if (n == 0) {
        return;
    }
    sm_align__sort(difference_m, n);
    size_t n_shown = count_near(difference_m, n, 0, work->agree_m);
    double middle_m = difference_m[n / 2];
    size_t n_even = count_near(difference_m, n, middle_m, work->agree_m);
    if (2 * n_shown >= n) {
        stretch->log_shift_m = stretch->shift_m; /* the operator wrote down what was shown */
    } else if (n_even >= 2 && 2 * n_even > n) {
        stretch->shift_m = middle_m; /* he went on counting from before the jump */
        stretch->is_settled = true;
    }
}

static enum sm_status report_jump(struct sm_align__work *work, size_t at, struct sm_error *err)
{
    const struct sm_align__stretch *stretch = &work->stretch[at];
    struct sm_text text = {0};
    sm_text_add(&text, "the counter was set anew at ");
    sm_align__add_time(&text, stretch->start_s);
    sm_text_add(&text, stretch->is_main ? ", before the run; what it showed earlier is not counted" : "; ");
    if (!stretch->is_main) {
        sm_align__add_length(&text, work, fabs(stretch->shift_m));
        sm_text_add(&text, stretch->shift_m < 0 ? " taken off" : " added");
        sm_text_add(
            &text,
            stretch->is_settled
                ? " to what it shows afterwards, as the logged distances say"
                : " to what it shows afterwards, as if the camera stood still meanwhile: check the place "
                  "of what follows, or give ties on both sides");
    }
    enum sm_severity severity =
        stretch->is_settled || stretch->is_main ? SM_SEVERITY_NOTE : SM_SEVERITY_WARNING;
    return sm_align__report(work, SM_FLAG_COUNTER_JUMP, severity, -1, &text, err);
}

static enum sm_status settle_stretches(struct sm_align__work *work, struct sm_error *err)
{
    size_t main_idx = main_stretch(work);
    double main_shift_m = work->stretch[main_idx].shift_m;
    work->stretch[main_idx].is_main = true;
    double *difference_m = sm_calloc(work->log->n_entries + 1, sizeof *difference_m);
    if (!difference_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", work->log->n_entries);
    }
    for (size_t i = 0; i < work->n_stretches; i++) {
        work->stretch[i].shift_m -= main_shift_m;
        if (i != main_idx) {
            ask_log(work, i, difference_m);
        }
    }
    sm_free(difference_m);
    enum sm_status status = SM_OK;
    for (size_t i = 1; status == SM_OK && i < work->n_stretches; i++) {
        status = report_jump(work, i, err);
    }
    return status;
}

enum sm_status sm_align__find_stretches(struct sm_align__work *work, struct sm_error *err)
{
    work->n_stretches = work->trace ? work->trace->n_jumps + 1 : 1;
    work->stretch = sm_calloc(work->n_stretches, sizeof *work->stretch);
    if (!work->stretch) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu counter jumps", work->n_stretches);
    }
    for (size_t i = 0; i < work->n_stretches; i++) {
        work->stretch[i].low_m = SM_NAN;
        work->stretch[i].high_m = SM_NAN;
        work->stretch[i].start_s = i > 0 ? work->trace->jump_time_s[i - 1] : 0;
    }
    if (work->n_stretches == 1) {
        work->stretch[0].is_main = true;
        return SM_OK;
    }
    walk_trace(work);
    return settle_stretches(work, err);
}
