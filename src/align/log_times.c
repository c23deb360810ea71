/*
 * What a log's times are. Most forms say so themselves; two do not: 09:30 can be minutes and seconds or hours and
 * minutes, and 538 can be seconds or a running number MMSS. Evidence, in this order: how long the video is, how fast a
 * camera can be, whether some number cannot be a time at all, and where the picture shows the logged distances.
 */
#include "align_internal.h"

#include <math.h>
#include <string.h>

/* Faster than any camera is driven through a pipe; common practice, no source (published runs stay below 0.25 m/s). */
#define FASTEST_M_PER_S 1.0
/* A row is keyed some time before or after the camera is there. */
#define KEYED_WITHIN_S 5.0
#define MINUTE_S 60.0
#define DAY_S 86400.0
/* Six in ten numbers could be (H)MMSS by chance; of this many one that could not would have turned up. */
#define LEAST_NUMBERS 8
/* Fewer agreeing places than this more say nothing. */
#define LEAST_LEAD 2

/* A reading of all the times. */
struct guess {
    double *time_s;
    double low_s, high_s;
    size_t n, n_changes; /* times, and times unlike the one before */
};

static void measure(struct guess *guess, size_t n_entries)
{
    double last_s = SM_NAN;
    guess->low_s = guess->high_s = SM_NAN;
    for (size_t i = 0; i < n_entries; i++) {
        double here_s = guess->time_s[i];
        if (isnan(here_s)) {
            continue;
        }
        guess->n++;
        guess->n_changes += here_s != last_s;
        guess->low_s = fmin(guess->low_s, here_s);
        guess->high_s = fmax(guess->high_s, here_s);
        last_s = here_s;
    }
}

/* The way the log tells of, without its farthest rows on either side: single slips do not make it longer. */
static enum sm_status measure_way(double *way_m, const struct sm_obslog *log, struct sm_error *err)
{
    double *distance_m = sm_calloc(log->n_entries + 1, sizeof *distance_m);
    if (!distance_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu distances", log->n_entries);
    }
    size_t n = 0;
    for (size_t i = 0; i < log->n_entries; i++) {
        if (!isnan(log->entry[i].distance_m) && !isnan(log->entry[i].time_s)) {
            distance_m[n++] = log->entry[i].distance_m;
        }
    }
    sm_align__sort(distance_m, n);
    *way_m = n >= 3 ? distance_m[n - 1 - n / 10 - (n < 10)] - distance_m[n / 10 + (n < 10)] : 0;
    sm_free(distance_m);
    return SM_OK;
}

/* Does the log go on for no longer than the video, and as long as a camera takes for the way? */
static bool fits(const struct guess *guess, const struct sm_trace *trace, double way_m, double rounding_s)
{
    double room_s = 2 * rounding_s + KEYED_WITHIN_S;
    double span_s = guess->high_s - guess->low_s;
    return span_s <= sm_align__video_end_s(trace) + room_s && guess->high_s < DAY_S &&
           way_m <= FASTEST_M_PER_S * (span_s + room_s);
}

/* HH:MM where MM:SS was read: the middle of the minute. */
static void as_hours(double *to_s, const double *from_s, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        to_s[i] = from_s[i] * MINUTE_S + MINUTE_S / 2;
    }
}

/* (H)MMSS where seconds were read. */
static void as_hmmss(double *to_s, const double *from_s, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double number = from_s[i];
        to_s[i] = number - 40 * floor(number / 100) - 2400 * floor(number / 10000);
    }
}

static enum sm_status count_fits(size_t *n_agree, const struct guess *guess, const struct sm_obslog *log,
                                 const struct sm_trace *trace, struct sm_error *err)
{
    size_t n_asked;
    return sm_align__clock_fit_at(n_agree, &n_asked, 0, guess->time_s, log, trace, err);
}

/* Both meanings are possible: columns first, then where the picture shows the distances. */
static enum sm_status decide_hmmss(struct sm_align__time_form *form, const struct guess *seconds,
                                   const struct guess *hmmss, const struct sm_obslog *log,
                                   const struct sm_trace *trace, struct sm_error *err)
{
    size_t n_seconds = 0, n_hmmss = 0;
    enum sm_status status = count_fits(&n_seconds, seconds, log, trace, err);
    if (status == SM_OK) {
        status = count_fits(&n_hmmss, hmmss, log, trace, err);
    }
    bool is_lead = n_hmmss >= n_seconds + LEAST_LEAD || n_seconds >= n_hmmss + LEAST_LEAD;
    form->is_hmmss = is_lead ? n_hmmss > n_seconds : seconds->n_changes >= LEAST_NUMBERS;
    form->is_open = !is_lead && seconds->n_changes < LEAST_NUMBERS;
    return status;
}

static enum sm_status settle(struct sm_align__time_form *form, struct guess *read, struct guess *other,
                             const struct sm_obslog *log, const struct sm_trace *trace, struct sm_error *err)
{
    size_t n = log->n_entries;
    (log->may_be_hours ? as_hours : as_hmmss)(other->time_s, read->time_s, n);
    measure(read, n);
    measure(other, n);
    double way_m = 0;
    enum sm_status status = measure_way(&way_m, log, err);
    bool is_read_possible = fits(read, trace, way_m, form->rounding_s);
    bool is_other_possible = fits(other, trace, way_m, log->may_be_hours ? MINUTE_S / 2 : form->rounding_s);
    if (status != SM_OK || read->n < 2 || !is_other_possible) {
        return status;
    }
    if (!log->may_be_hours && is_read_possible) {
        return decide_hmmss(form, read, other, log, trace, err);
    }
    form->is_open = is_read_possible;
    form->is_hours = log->may_be_hours && !is_read_possible;
    form->is_hmmss = log->may_be_hmmss && !is_read_possible;
    return SM_OK;
}

/* Half the digit that times are written with: whole seconds, or finer when any is. */
static double rounding_of(const double *time_s, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (fabs(time_s[i] - round(time_s[i])) > 1e-6) {
            return 0.05;
        }
    }
    return 0.5;
}

/* Frames count up to the film's rate, which the log seldom names. */
static double frame_rate(const struct sm_obslog *log, const struct sm_trace *trace)
{
    static const double usual_hz[] = {25, 30, 50, 60, 100, 120};
    int32_t most = 0;
    for (size_t i = 0; i < log->n_entries; i++) {
        most = log->entry[i].time_frames > most ? log->entry[i].time_frames : most;
    }
    double rate_hz = trace ? round(trace->frame_rate_hz) : 0;
    for (size_t i = 0; rate_hz <= most && i < sizeof usual_hz / sizeof *usual_hz; i++) {
        rate_hz = usual_hz[i];
    }
    return fmax(rate_hz, most + 1);
}

static void as_written(double *time_s, const struct sm_obslog *log, const struct sm_trace *trace)
{
    double rate_hz = frame_rate(log, trace);
    for (size_t i = 0; i < log->n_entries; i++) {
        time_s[i] = log->entry[i].time_s + log->entry[i].time_frames / rate_hz;
    }
}

enum sm_status sm_align__log_times(double *time_s, struct sm_align__time_form *form, const struct sm_obslog *log,
                                   const struct sm_trace *trace, struct sm_error *err)
{
    size_t n = log->n_entries;
    as_written(time_s, log, trace);
    *form = (struct sm_align__time_form){.rounding_s = rounding_of(time_s, n)};
    if (!trace || (!log->may_be_hours && !log->may_be_hmmss)) {
        return SM_OK;
    }
    struct guess read = {.time_s = time_s};
    struct guess other = {.time_s = sm_calloc(n + 1, sizeof(double))};
    if (!other.time_s) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log times", n);
    }
    enum sm_status status = settle(form, &read, &other, log, trace, err);
    if (status == SM_OK && (form->is_hours || form->is_hmmss)) {
        memcpy(time_s, other.time_s, n * sizeof *time_s);
        form->rounding_s = form->is_hours ? MINUTE_S / 2 : form->rounding_s;
    }
    sm_free(other.time_s);
    return status;
}
