/*
 * What the picture and the log say about each entry, side by side, and which of the two is taken. The
 * picture's word counts where it was read with confidence on the frame itself; a carried reading only bounds
 * the place.
 */
#include "align_internal.h"

#include <math.h>

/* Log and picture may differ by the larger of this and two last digits. */
#define AGREE_M 0.1
#define AGREE_DIGITS 2.0
/* An estimated offset is no better than this, so a reading this near in time is as good as one at the time
 * itself. */
#define NEAR_S 0.1
/* Times of day are written in whole seconds. */
#define LEAST_BLUR_S 0.5

double sm_align__log_digit_m(const struct sm_obslog *log)
{
    double finest_m = SM_NAN;
    for (size_t i = 0; i < log->n_entries; i++) {
        if (!isnan(log->entry[i].distance_m)) {
            finest_m = fmin(finest_m, log->entry[i].distance_digit_m); /* fmin passes over a NAN */
        }
    }
    return finest_m;
}

double sm_align__agree_m(const struct sm_obslog *log, const struct sm_counter_format *format)
{
    double digit_m = fmax(sm_last_digit_m(format), sm_align__log_digit_m(log));
    return fmax(AGREE_M, AGREE_DIGITS * digit_m) +
           1e-9; /* the limit itself agrees, whatever binary makes of it */
}

double sm_align__video_end_s(const struct sm_trace *trace)
{
    double last_s = trace->n_readings ? trace->reading[trace->n_readings - 1].time_s : 0;
    return fmax(trace->duration_s, last_s); /* fmax passes over a NAN */
}

/* The nearest reading seen on a frame close by. @return false when there is none. */
static bool seen_near(struct sm_reading *out, const struct sm_trace *trace, double time_s)
{
    bool is_found = false;
    for (size_t i = sm_trace_first_after(trace, time_s - NEAR_S);
         i < trace->n_readings && trace->reading[i].time_s <= time_s + NEAR_S; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        double away_s = fabs(reading->time_s - time_s);
        bool is_nearer = !is_found || away_s < fabs(out->time_s - time_s);
        if (reading->state == SM_READING_READ && away_s <= NEAR_S && is_nearer) {
            *out = *reading;
            is_found = true;
        }
    }
    return is_found;
}

static bool is_sure(const struct sm_reading *reading)
{
    return reading->state == SM_READING_READ && (double)reading->confidence >= SM_ALIGN__SURE_CONFIDENCE;
}

/* An even drive between the readings around a time. */
static int64_t carried_counts(const struct sm_trace_bracket *around, double time_s)
{
    double gap_s = around->after.time_s - around->before.time_s;
    double frac = gap_s > 0 ? (time_s - around->before.time_s) / gap_s : 0;
    return around->before.counts + llround(frac * (double)(around->after.counts - around->before.counts));
}

/* What the sure readings before and after allow. A doubtful reading outside of that is taken for a misread
 * one. */
static void bound(struct sm_align__place *place, const struct sm_align__work *work)
{
    struct sm_trace_bracket around;
    double digit_m = sm_last_digit_m(&work->format);
    if (!sm_trace_bracket_at(&around, work->trace, place->reading.time_s, SM_ALIGN__SURE_CONFIDENCE)) {
        return;
    }
    bool is_rising = around.before.counts < around.after.counts;
    int64_t low = is_rising ? around.before.counts : around.after.counts;
    int64_t high = is_rising ? around.after.counts : around.before.counts;
    place->low_m = (double)low * digit_m;
    place->high_m = (double)high * digit_m;
    if (place->reading.counts < low || place->reading.counts > high) {
        place->reading.counts = carried_counts(&around, place->reading.time_s);
        place->reading.state = SM_READING_CARRIED;
        place->flags |= SM_FLAG_COUNTER_UNREAD;
    }
}

/*
 * An estimated time is not exact. Unless the logged distance confirms the reading, what the counter showed a
 * little before and after is just as possible.
 */
static void blur(struct sm_align__place *place, const struct sm_align__work *work)
{
    double digit_m = sm_last_digit_m(&work->format);
    double tight_m = (digit_m + sm_align__log_digit_m(work->log)) / 2 + 1e-9;
    if (!sm_align__is_estimated(&work->clock) || fabs(place->logged_m - place->reading_m) <= tight_m) {
        return;
    }
    for (int side = -1; side <= 1; side += 2) {
        double blur_s = fmax(work->clock.halfwidth_s, work->clock.form.rounding_s);
        double time_s = place->time_s + side * fmax(blur_s, LEAST_BLUR_S);
        struct sm_trace_bracket around;
        if (sm_trace_bracket_at(&around, work->trace, time_s, SM_ALIGN__SURE_CONFIDENCE) &&
            sm_trace_stretch_at(work->trace, time_s) == place->stretch) {
            double count_m = (double)carried_counts(&around, time_s) * digit_m;
            place->low_m = fmin(place->low_m, count_m);
            place->high_m = fmax(place->high_m, count_m);
        }
    }
    if (place->high_m - place->low_m > work->agree_m) {
        place->flags |= SM_FLAG_UNSURE;
    }
}

static void look(struct sm_align__place *place, const struct sm_align__work *work)
{
    place->reading = sm_trace_at(work->trace, place->time_s);
    struct sm_reading near;
    if (sm_align__is_estimated(&work->clock) && place->reading.state != SM_READING_READ &&
        seen_near(&near, work->trace, place->time_s)) {
        place->reading = near;
    }
    place->stretch = sm_trace_stretch_at(work->trace, place->time_s);
    if (place->reading.state != SM_READING_READ) {
        place->flags |= SM_FLAG_COUNTER_UNREAD;
    }
    if (place->reading.state == SM_READING_HIDDEN) {
        return;
    }
    if ((double)place->reading.confidence < SM_ALIGN__SURE_CONFIDENCE) {
        place->flags |= SM_FLAG_UNSURE;
    }
    bool was_seen = is_sure(&place->reading);
    if (!was_seen) {
        bound(place, work);
    }
    place->reading_m = (double)place->reading.counts * sm_last_digit_m(&work->format);
    if (was_seen) {
        place->low_m = place->reading_m;
        place->high_m = place->reading_m;
    }
    blur(place, work);
}

static void read_place(struct sm_align__place *place, const struct sm_align__work *work)
{
    if (isnan(place->time_s) || !work->trace) {
        return;
    }
    double start_s = fmax(0, work->sheet->video_start_s);
    double end_s = fmin(sm_align__video_end_s(work->trace), work->sheet->video_end_s);
    if (place->time_s < start_s - SM_ALIGN__VIDEO_EDGE_S || place->time_s > end_s + SM_ALIGN__VIDEO_EDGE_S) {
        place->flags |= SM_FLAG_TIME_OUTSIDE_VIDEO;
        return;
    }
    place->time_s = fmin(fmax(place->time_s, start_s), end_s);
    look(place, work);
}

enum sm_status sm_align__read_places(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_obslog *log = work->log;
    double *time_s = sm_calloc(log->n_entries + 1, sizeof *time_s);
    if (!time_s) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log times", log->n_entries);
    }
    enum sm_status status = sm_align__find_times(time_s, &work->clock, log, work->trace, work->sheet, err);
    size_t stretch = 0;
    for (size_t i = 0; status == SM_OK && i < log->n_entries; i++) {
        struct sm_align__place *place = &work->place[i];
        *place = (struct sm_align__place){.time_s = time_s[i],
                                          .reading_m = SM_NAN,
                                          .low_m = SM_NAN,
                                          .high_m = SM_NAN,
                                          .logged_m = log->entry[i].distance_m,
                                          .count_m = SM_NAN,
                                          .stretch = stretch};
        if (work->clock.method == SM_ALIGN__CLOCK_DOUBTFUL && !isnan(log->entry[i].time_s)) {
            place->flags |= SM_FLAG_CLOCK_DOUBTFUL;
        }
        read_place(place, work);
        stretch = place->stretch; /* an entry without a time was made where the one before it was */
    }
    sm_free(time_s);
    return status;
}

double sm_align__difference_m(const struct sm_align__work *work, const struct sm_align__place *place)
{
    const struct sm_align__stretch *stretch = &work->stretch[place->stretch];
    double as_shown_m = place->logged_m - place->reading_m;
    double as_counted_m = as_shown_m - stretch->shift_m;
    return fabs(as_counted_m) < fabs(as_shown_m) ? as_counted_m : as_shown_m;
}

/* Is the picture's reading the better word on where this entry is? */
static bool takes_picture(const struct sm_align__work *work, size_t entry_idx)
{
    const struct sm_align__place *place = &work->place[entry_idx];
    if (isnan(place->reading_m) || isnan(place->logged_m)) {
        return !isnan(place->reading_m);
    }
    if (work->log->entry[entry_idx].prefer != SM_DISTANCE_UNKNOWN) {
        return work->log->entry[entry_idx].prefer == SM_DISTANCE_PICTURE;
    }
    if (work->sheet->trust == SM_TRUST_LOG) {
        return false;
    }
    bool is_bounded = place->high_m - place->low_m <= 1e-9; /* false for NAN */
    return is_sure(&place->reading) || is_bounded || (place->flags & SM_FLAG_LOG_DISAGREES);
}

enum sm_status sm_align__choose(struct sm_align__work *work, struct sm_error *err)
{
    for (size_t i = 0; i < work->log->n_entries; i++) {
        struct sm_align__place *place = &work->place[i];
        const struct sm_align__stretch *stretch = &work->stretch[place->stretch];
        if (takes_picture(work, i)) {
            place->source = SM_DISTANCE_PICTURE;
            place->count_m = place->reading_m + stretch->shift_m;
        } else if (!isnan(place->logged_m)) {
            place->source = SM_DISTANCE_LOG;
            place->count_m = place->logged_m + stretch->log_shift_m;
        }
        if (!stretch->is_main && place->source != SM_DISTANCE_UNKNOWN) {
            place->flags |= SM_FLAG_COUNTER_JUMP;
        }
    }
    (void)err; /* one of a chain whose others can fail */
    return SM_OK;
}
