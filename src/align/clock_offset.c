/* Log time -> video time: which way to settle the clock, and when not to trust the answer. */
#include "align_internal.h"

#include <math.h>

#define DAY_S 86400.0
/* Two places that agree can still be chance together with a third that does not: the rival rule sees to that.
 */
#define LEAST_AGREE 2
/* A rival with more than this share of the best one's votes fits alike. */
#define RIVAL_FRAC 0.8
/* Less than this share of the log behind the best offset is chance or a log of another survey. */
#define LEAST_FRAC 0.4
/* Standstills are weaker evidence: most entries must fall on one, and there must be some of both. */
#define LEAST_AGREE_STANDING 4
#define LEAST_FRAC_STANDING 0.7
#define RIVAL_FRAC_STANDING 0.76
/* Offsets within this much fit alike when the camera stood at everything for long. */
#define WIDEST_S 15.0
/* Most entries must lie in the video when the picture's clock is theirs, give or take the time it takes to write. */
#define LEAST_FRAC_PICTURE 0.6
#define PICTURE_CLOCK_AWAY_S 3.0

void sm_align__unwrap(double *time_s, size_t n)
{
    double day_s = 0;
    double last_s = SM_NAN;
    for (size_t i = 0; i < n; i++) {
        double here_s = time_s[i];
        if (!isnan(last_s) && here_s < last_s - DAY_S / 2) {
            day_s += DAY_S;
        } else if (day_s > 0 && !isnan(last_s) && here_s > last_s + DAY_S / 2) {
            day_s -= DAY_S; /* a row from before midnight after one from behind it */
        }
        time_s[i] = here_s + day_s;
        if (!isnan(here_s)) {
            last_s = here_s;
        }
    }
}

double sm_align__video_time(const struct sm_align__clock *clock, double log_time_s)
{
    switch (clock->method) {
    case SM_ALIGN__CLOCK_NONE:
    case SM_ALIGN__CLOCK_DOUBTFUL:
        return SM_NAN;
    case SM_ALIGN__CLOCK_AS_LOGGED:
    case SM_ALIGN__CLOCK_DISTANCES:
    case SM_ALIGN__CLOCK_STANDSTILLS:
    case SM_ALIGN__CLOCK_FIRST_ROW:
    case SM_ALIGN__CLOCK_PICTURE:
        break;
    }
    return (log_time_s - clock->offset_s) * clock->rate;
}

static bool is_sure(const struct sm_align__clock *clock, size_t least_agree, double least_frac,
                    double rival_frac, double rounding_s)
{
    double agree = (double)clock->n_agree;
    return clock->n_agree >= least_agree && agree >= least_frac * (double)clock->n_asked &&
           (double)clock->n_rival <= rival_frac * agree && clock->halfwidth_s <= fmax(WIDEST_S, rounding_s);
}

/* Of the days on which the picture's clock can stand at the video's start the one that has the most entries inside. */
static struct sm_align__clock by_picture(const double *log_time_s, size_t n, const struct sm_trace *trace)
{
    struct sm_align__clock best = {.method = SM_ALIGN__CLOCK_NONE};
    double end_s = sm_align__video_end_s(trace);
    for (int day = -1; trace->clock.is_known && day <= 1; day++) {
        struct sm_align__clock here = {.method = SM_ALIGN__CLOCK_PICTURE,
                                       .offset_s = trace->clock.at_zero_s + day * DAY_S,
                                       .rate = 1,
                                       .residual_s = SM_NAN,
                                       .halfwidth_s = trace->clock.error_s,
                                       .rival_s = SM_NAN};
        for (size_t i = 0; i < n; i++) {
            double at_s = log_time_s[i] - here.offset_s;
            here.n_asked += isnan(at_s) ? 0 : 1;
            here.n_agree += at_s >= -PICTURE_CLOCK_AWAY_S && at_s <= end_s + PICTURE_CLOCK_AWAY_S;
        }
        best = here.n_agree > best.n_agree ? here : best;
    }
    if ((double)best.n_agree < LEAST_FRAC_PICTURE * (double)best.n_asked) {
        best.method = SM_ALIGN__CLOCK_NONE;
    }
    return best;
}

/* Another clock than the picture's, or one that was set otherwise, wrote the log: where it put the distances says more. */
static bool is_other_clock(const struct sm_align__clock *picture, const struct sm_align__clock *distances)
{
    double away_s = fabs(picture->offset_s - distances->offset_s);
    return picture->method != SM_ALIGN__CLOCK_NONE &&
           away_s > PICTURE_CLOCK_AWAY_S + picture->halfwidth_s + distances->halfwidth_s;
}

/* The best there is; DOUBTFUL with its offset kept for the message when it does not stand out. */
static enum sm_status find_offset(struct sm_align__clock *out, const double *log_time_s, double rounding_s,
                                  const struct sm_obslog *log, const struct sm_trace *trace,
                                  struct sm_error *err)
{
    struct sm_align__clock picture = by_picture(log_time_s, log->n_entries, trace);
    struct sm_align__clock distances;
    struct sm_align__clock standstills;
    enum sm_status status = sm_align__clock_by_distances(&distances, log_time_s, rounding_s, log, trace, err);
    if (status != SM_OK) {
        return status;
    }
    bool is_settled = distances.method != SM_ALIGN__CLOCK_NONE &&
                      is_sure(&distances, LEAST_AGREE, LEAST_FRAC, RIVAL_FRAC, rounding_s);
    if (is_settled && (picture.method == SM_ALIGN__CLOCK_NONE || is_other_clock(&picture, &distances))) {
        *out = distances;
        out->picture_away_s =
            picture.method == SM_ALIGN__CLOCK_NONE ? 0 : distances.offset_s - picture.offset_s;
        return SM_OK;
    }
    if (picture.method != SM_ALIGN__CLOCK_NONE) {
        *out = picture;
        return SM_OK;
    }
    status = sm_align__clock_by_standstills(&standstills, log_time_s, log, trace, err);
    if (status != SM_OK) {
        return status;
    }
    if (standstills.method != SM_ALIGN__CLOCK_NONE &&
        is_sure(&standstills, LEAST_AGREE_STANDING, LEAST_FRAC_STANDING, RIVAL_FRAC_STANDING, 0)) {
        *out = standstills;
        return SM_OK;
    }
    *out = distances.n_agree >= LEAST_AGREE ? distances : standstills;
    if (out->n_asked > 0) {
        out->method = SM_ALIGN__CLOCK_DOUBTFUL;
    }
    return SM_OK;
}

static size_t count_inside(const double *time_s, size_t n, double duration_s)
{
    size_t n_inside = 0;
    for (size_t i = 0; i < n; i++) {
        n_inside += time_s[i] >= -SM_ALIGN__VIDEO_EDGE_S && time_s[i] <= duration_s + SM_ALIGN__VIDEO_EDGE_S;
    }
    return n_inside;
}

static size_t count_times(const double *time_s, size_t n, double *first_s)
{
    size_t n_times = 0;
    *first_s = SM_NAN;
    for (size_t i = 0; i < n; i++) {
        if (!isnan(time_s[i])) {
            *first_s = n_times == 0 ? time_s[i] : fmin(*first_s, time_s[i]);
            n_times++;
        }
    }
    return n_times;
}

/*
 * Do the distances differ from the picture's by one amount? Then it is the datum that differs: on an even
 * drive another offset would explain that too, and would be wrong at every stop.
 */
static enum sm_status is_shifted(bool *out, const double *log_time_s, const struct sm_obslog *log,
                                 const struct sm_trace *trace, struct sm_error *err)
{
    double *difference_m = sm_calloc(log->n_entries + 1, sizeof *difference_m);
    if (!difference_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", log->n_entries);
    }
    size_t n = 0;
    for (size_t i = 0; i < log->n_entries; i++) {
        struct sm_reading reading = sm_trace_at(trace, log_time_s[i]);
        if (reading.state != SM_READING_HIDDEN && !isnan(log->entry[i].distance_m)) {
            difference_m[n++] =
                log->entry[i].distance_m - (double)reading.counts * sm_last_digit_m(&trace->format);
        }
    }
    sm_align__sort(difference_m, n);
    size_t n_near = 0;
    for (size_t i = 0; i < n; i++) {
        n_near += fabs(difference_m[i] - difference_m[n / 2]) <= sm_align__agree_m(log, &trace->format);
    }
    *out = n_near >= 3 && 2 * n_near > n;
    sm_free(difference_m);
    return SM_OK;
}

/*
 * Times of a log volume often do not start at zero with the segment. Believe the log's own word unless the
 * picture speaks clearly against it: nearly no entry fits as logged, nearly all at another offset.
 */
static enum sm_status check_video_time(struct sm_align__clock *out, const double *log_time_s, double rounding_s,
                                       const struct sm_obslog *log, const struct sm_trace *trace,
                                       struct sm_error *err)
{
    double first_s;
    size_t n_times = count_times(log_time_s, log->n_entries, &first_s);
    size_t n_inside = count_inside(log_time_s, log->n_entries, sm_align__video_end_s(trace));
    bool is_other_datum = false;
    size_t n_fit = 0;
    size_t n_asked = 0;
    enum sm_status status = sm_align__clock_fit_at(&n_fit, &n_asked, 0, log_time_s, log, trace, err);
    bool is_mostly_inside = 2 * n_inside >= n_times;
    if (status != SM_OK || n_times == 0 || (is_mostly_inside && (n_asked < 4 || 10 * n_fit > 3 * n_asked))) {
        return status;
    }
    struct sm_align__clock found = {.method = SM_ALIGN__CLOCK_NONE};
    status = is_shifted(&is_other_datum, log_time_s, log, trace, err);
    if (status != SM_OK || is_other_datum) {
        return status;
    }
    status = find_offset(&found, log_time_s, rounding_s, log, trace, err);
    if (status != SM_OK) {
        return status;
    }
    if (found.method == SM_ALIGN__CLOCK_PICTURE && !is_mostly_inside) {
        *out = found;
    } else if (sm_align__is_estimated(&found) && (!is_mostly_inside || (found.method == SM_ALIGN__CLOCK_DISTANCES &&
                                                                 10 * found.n_agree >= 7 * found.n_asked))) {
        *out = found;
        out->is_volume = true;
    } else if (!is_mostly_inside && n_inside <= 1) {
        *out = (struct sm_align__clock){.method = SM_ALIGN__CLOCK_FIRST_ROW,
                                        .offset_s = first_s,
                                        .rate = 1,
                                        .residual_s = SM_NAN,
                                        .halfwidth_s = SM_NAN,
                                        .rival_s = SM_NAN,
                                        .is_volume = true};
    }
    return SM_OK;
}

enum sm_status sm_align__clock_find(struct sm_align__clock *out, const double *log_time_s,
                                    const struct sm_align__time_form *form, const struct sm_obslog *log,
                                    const struct sm_trace *trace, const struct sm_sheet *sheet,
                                    struct sm_error *err)
{
    bool is_clock = sheet->log_time == SM_LOG_TIME_CLOCK || form->is_hours;
    enum sm_status status = SM_OK;
    *out = (struct sm_align__clock){.method = is_clock ? SM_ALIGN__CLOCK_NONE : SM_ALIGN__CLOCK_AS_LOGGED,
                                    .rate = 1,
                                    .residual_s = SM_NAN,
                                    .halfwidth_s = SM_NAN,
                                    .rival_s = SM_NAN};
    if (trace && trace->n_readings > 0) {
        status = is_clock ? find_offset(out, log_time_s, form->rounding_s, log, trace, err)
                          : check_video_time(out, log_time_s, form->rounding_s, log, trace, err);
    }
    out->form = *form;
    return status;
}

bool sm_align__is_estimated(const struct sm_align__clock *clock)
{
    return clock->method == SM_ALIGN__CLOCK_DISTANCES || clock->method == SM_ALIGN__CLOCK_STANDSTILLS ||
           clock->method == SM_ALIGN__CLOCK_PICTURE;
}

double sm_align__reported_offset(const struct sm_align__clock *clock)
{
    if (!sm_align__is_estimated(clock) && clock->method != SM_ALIGN__CLOCK_FIRST_ROW) {
        return SM_NAN;
    }
    double offset_s = fmod(clock->offset_s, DAY_S);
    return offset_s < 0 && !clock->is_volume ? offset_s + DAY_S : offset_s;
}
