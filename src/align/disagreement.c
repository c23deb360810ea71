/*
 * Log against picture, entry by entry, in words a reviewer acts on. The picture's own doubt counts: where it
 * was not read with confidence at the time, the log is only wrong when it lies outside what the readings
 * around it allow.
 */
#include "align_internal.h"

#include <math.h>

/* A difference that this many entries and more than half of all compared ones share is no typing error. */
#define LEAST_SHARED 3

static bool is_visible(const struct sm_align__place *place)
{
    return !isnan(place->reading_m) && !isnan(place->logged_m);
}

static bool is_sure(const struct sm_align__place *place)
{
    return place->reading.state == SM_READING_READ &&
           (double)place->reading.confidence >= SM_ALIGN__SURE_CONFIDENCE;
}

static bool disagrees(const struct sm_align__work *work, const struct sm_align__place *place)
{
    if (!is_visible(place)) {
        return false;
    }
    if (is_sure(place)) {
        return fabs(sm_align__difference_m(work, place)) > work->agree_m;
    }
    double logged_m = place->reading_m + sm_align__difference_m(work, place);
    return logged_m < place->low_m - work->agree_m ||
           logged_m > place->high_m + work->agree_m; /* false for NAN */
}

/* A difference that most of the log shares; NAN when there is none. */
static enum sm_status find_shared(double *shared_m, const struct sm_align__work *work, struct sm_error *err)
{
    size_t n = 0;
    size_t n_near = 0;
    *shared_m = SM_NAN;
    double *difference_m = sm_calloc(work->log->n_entries + 1, sizeof *difference_m);
    if (!difference_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", work->log->n_entries);
    }
    for (size_t i = 0; i < work->log->n_entries; i++) {
        if (is_visible(&work->place[i]) && is_sure(&work->place[i])) {
            difference_m[n++] = sm_align__difference_m(work, &work->place[i]);
        }
    }
    sm_align__sort(difference_m, n);
    double middle_m = n ? difference_m[n / 2] : 0;
    for (size_t i = 0; i < n; i++) {
        n_near += fabs(difference_m[i] - middle_m) <= work->agree_m;
    }
    if (n_near >= LEAST_SHARED && 2 * n_near > n && fabs(middle_m) > work->agree_m) {
        *shared_m = middle_m;
    }
    sm_free(difference_m);
    return SM_OK;
}

static enum sm_status report_shared(struct sm_align__work *work, double shared_m, struct sm_error *err)
{
    if (isnan(shared_m)) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, "most logged distances are ");
    sm_align__add_length(&text, work, fabs(shared_m));
    sm_text_add(&text, shared_m > 0 ? " more" : " less");
    sm_text_add(&text, " than the picture's: counted from another datum, or the counter was preset?");
    return sm_align__report(work, SM_FLAG_LOG_DISAGREES, SM_SEVERITY_WARNING, -1, &text, err);
}

static bool says(const struct sm_align__work *work, size_t log_idx, size_t picture_idx)
{
    return fabs(work->place[log_idx].logged_m - work->place[picture_idx].reading_m) <= work->agree_m;
}

/* The neighbouring row whose distance this one carries, and the other way round; -1 = none. */
static int32_t swapped_with(const struct sm_align__work *work, size_t idx)
{
    size_t low = idx > 2 ? idx - 2 : 0;
    for (size_t i = low; i <= idx + 2 && i < work->log->n_entries; i++) {
        if (i != idx && says(work, i, idx) && says(work, idx, i)) {
            return (int32_t)i;
        }
    }
    return -1;
}

/* Beyond this a log is not one inspection, and looking every row up in the trace would take too long. */
#define MOST_LOOKED_UP 2000

/* The nearest time at which the picture shows a distance; NAN when it never does. */
static double time_shown(const struct sm_align__work *work, double distance_m, double near_s)
{
    const struct sm_trace *trace = work->trace;
    double digit_m = sm_last_digit_m(&work->format);
    double best_s = SM_NAN;
    if (work->log->n_entries > MOST_LOOKED_UP) {
        return SM_NAN;
    }
    for (size_t i = 0; i < trace->n_readings; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        bool is_there = reading->state == SM_READING_READ &&
                        (double)reading->confidence >= SM_ALIGN__SURE_CONFIDENCE &&
                        fabs((double)reading->counts * digit_m - distance_m) <= work->agree_m / 2;
        if (is_there && !(fabs(reading->time_s - near_s) >= fabs(best_s - near_s))) {
            best_s = reading->time_s;
        }
    }
    return best_s;
}

static void add_cause(struct sm_text *text, const struct sm_align__work *work, size_t idx, double shared_m)
{
    const struct sm_align__place *place = &work->place[idx];
    const struct sm_log_entry *entry = &work->log->entry[idx];
    if (fabs(sm_align__difference_m(work, place) - shared_m) <= work->agree_m) {
        sm_text_add(text, ": off by as much as most of the log");
        return;
    }
    enum sm_align__slip slip = sm_align__slip_of(place->logged_m, entry->distance_digit_m, place->reading_m,
                                                 sm_last_digit_m(&work->format));
    int32_t other = swapped_with(work, idx);
    if (other >= 0) {
        sm_text_addf(text, ": distances of lines %u and %u swapped?", (unsigned)entry->line,
                     (unsigned)work->log->entry[other].line);
    } else if (idx > 0 && says(work, idx, idx - 1)) {
        sm_text_addf(text, ": the distance of line %u copied?", (unsigned)work->log->entry[idx - 1].line);
    } else if (slip != SM_ALIGN__SLIP_NONE) {
        sm_text_addf(text, ": %s", sm_align__slip_words(slip));
    } else if (!isnan(time_shown(work, place->logged_m, place->time_s))) {
        sm_text_add(text, ", which it shows at ");
        sm_align__add_time(text, time_shown(work, place->logged_m, place->time_s));
        sm_text_add(text, ": is the time wrong?");
    }
}

static enum sm_status report_entry(struct sm_align__work *work, size_t idx, double shared_m,
                                   struct sm_error *err)
{
    const struct sm_align__place *place = &work->place[idx];
    struct sm_text text = {0};
    sm_text_add(&text, "log says ");
    sm_align__add_length(&text, work, place->logged_m);
    sm_text_add(&text, ", picture shows ");
    sm_align__add_length(&text, work, place->reading_m);
    sm_text_add(&text, " at ");
    sm_align__add_time(&text, place->time_s);
    add_cause(&text, work, idx, shared_m);
    return sm_align__report(work, SM_FLAG_LOG_DISAGREES, SM_SEVERITY_WARNING, (int32_t)idx, &text, err);
}

enum sm_status sm_align__compare(struct sm_align__work *work, struct sm_error *err)
{
    double shared_m;
    enum sm_status status = find_shared(&shared_m, work, err);
    if (status == SM_OK) {
        status = report_shared(work, shared_m, err);
    }
    for (size_t i = 0; status == SM_OK && i < work->log->n_entries; i++) {
        if (disagrees(work, &work->place[i])) {
            work->place[i].flags |= SM_FLAG_LOG_DISAGREES;
            status = report_entry(work, i, shared_m, err);
        }
    }
    return status;
}
