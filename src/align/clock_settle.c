/*
 * An estimated offset is good to a second or so, and times are written in whole seconds. Where the picture
 * shows the logged distance within that much of the estimated time, the entry was made then: on the move a
 * second is worth more than the difference that would be called a disagreement.
 */
#include "align_internal.h"

#include <math.h>

/* Whole seconds, and the hand of the operator; common practice, no source. */
#define LEAST_SLACK_S 1.0
#define MOST_SLACK_S 2.5
/* Times known no better than this say little about whether the camera stood. */
#define COARSE_S 5.0
#define LEAST_STANDSTILL_S 2.0
/* Far enough to find a sure reading before the time in question. */
#define REACH_BACK_S 5.0

bool sm_align__shown_between(double *low_s, double *high_s, const struct sm_trace *trace,
                             const struct sm_reading *a, const struct sm_reading *b, double goal_m,
                             double tol_m)
{
    double digit_m = sm_last_digit_m(&trace->format);
    double from_m = (double)a->counts * digit_m;
    double change_m = (double)(b->counts - a->counts) * digit_m;
    if (sm_trace_stretch_at(trace, a->time_s) != sm_trace_stretch_at(trace, b->time_s)) {
        return false;
    }
    *low_s = a->time_s;
    *high_s = b->time_s;
    if (a->counts == b->counts) {
        return fabs(from_m - goal_m) <= tol_m;
    }
    double first = (goal_m - copysign(tol_m, change_m) - from_m) / change_m;
    double last = (goal_m + copysign(tol_m, change_m) - from_m) / change_m;
    *low_s = a->time_s + fmax(0, first) * (b->time_s - a->time_s);
    *high_s = a->time_s + fmin(1, last) * (b->time_s - a->time_s);
    return first <= 1 && last >= 0;
}

/* The time nearest to time_s, and no farther than slack_s, at which the picture shows goal_m; time_s when
 * none. */
static double nearest_shown(const struct sm_trace *trace, double time_s, double slack_s, double goal_m,
                            double tol_m)
{
    double best_s = time_s;
    double least_s = slack_s;
    const struct sm_reading *last = NULL;
    size_t first = sm_trace_first_after(trace, time_s - slack_s - REACH_BACK_S);
    for (size_t i = first; i < trace->n_readings; i++) {
        const struct sm_reading *here = &trace->reading[i];
        bool is_sure =
            here->state != SM_READING_HIDDEN && (double)here->confidence >= SM_ALIGN__SURE_CONFIDENCE;
        if (!is_sure) {
            continue;
        }
        double low_s;
        double high_s;
        if (last && sm_align__shown_between(&low_s, &high_s, trace, last, here, goal_m, tol_m)) {
            double nearest_s = fmin(fmax(time_s, low_s), high_s);
            if (fabs(nearest_s - time_s) < least_s) {
                best_s = nearest_s;
                least_s = fabs(nearest_s - time_s);
            }
        }
        if (here->time_s > time_s + slack_s) {
            break;
        }
        last = here;
    }
    return best_s;
}

/* Could the camera have stood at a time that is known to slack_s? */
static bool may_stand(const struct sm_standstill *standstill, size_t n, double time_s, double slack_s)
{
    for (size_t i = 0; i < n; i++) {
        if (time_s >= standstill[i].start_s - slack_s && time_s <= standstill[i].end_s + slack_s) {
            return true;
        }
    }
    return false;
}

/* Who wrote while the camera stood wrote about what he saw: those times stay, and a distance that differs is
 * wrong. */
static enum sm_status settle_times(double *time_s, const struct sm_align__clock *clock,
                                   const struct sm_obslog *log, const struct sm_trace *trace,
                                   struct sm_error *err)
{
    struct sm_standstill *standstill = NULL;
    size_t n = 0;
    enum sm_status status = sm_trace_standstills(&standstill, &n, trace, LEAST_STANDSTILL_S, err);
    double tol_m = (sm_align__log_digit_m(log) + sm_last_digit_m(&trace->format)) / 2 + 1e-9;
    double rounding_s = clock->form.rounding_s;
    bool is_coarse = rounding_s > COARSE_S;
    double slack_s = is_coarse ? rounding_s + clock->halfwidth_s : fmin(LEAST_SLACK_S + clock->halfwidth_s, MOST_SLACK_S);
    for (size_t i = 0; status == SM_OK && i < log->n_entries; i++) {
        double logged_m = log->entry[i].distance_m;
        if (!isnan(time_s[i]) && !isnan(logged_m) &&
            (is_coarse || !may_stand(standstill, n, time_s[i], slack_s))) {
            time_s[i] = nearest_shown(trace, time_s[i], slack_s, logged_m, tol_m);
        }
    }
    sm_free(standstill);
    return status;
}

enum sm_status sm_align__find_times(double *time_s, struct sm_align__clock *clock,
                                    const struct sm_obslog *log, const struct sm_trace *trace,
                                    const struct sm_sheet *sheet, struct sm_error *err)
{
    double *log_time_s = sm_calloc(log->n_entries + 1, sizeof *log_time_s);
    if (!log_time_s) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log times", log->n_entries);
    }
    struct sm_align__time_form form;
    enum sm_status status = sm_align__log_times(log_time_s, &form, log, trace, err);
    if (status == SM_OK) {
        sm_align__unwrap(log_time_s, log->n_entries);
        status = sm_align__clock_find(clock, log_time_s, &form, log, trace, sheet, err);
    }
    for (size_t i = 0; status == SM_OK && i < log->n_entries; i++) {
        time_s[i] = sm_align__video_time(clock, log_time_s[i]);
    }
    if (status == SM_OK && sm_align__is_estimated(clock)) {
        status = settle_times(time_s, clock, log, trace, err);
    }
    sm_free(log_time_s);
    return status;
}

enum sm_status sm_align_times(double *time_s, double *clock_offset_s, const struct sm_obslog *log,
                              const struct sm_trace *trace, const struct sm_sheet *sheet,
                              struct sm_error *err)
{
    struct sm_align__clock clock;
    enum sm_status status = sm_align__find_times(time_s, &clock, log, trace, sheet, err);
    if (status == SM_OK) {
        *clock_offset_s = sm_align__reported_offset(&clock);
    }
    return status;
}
