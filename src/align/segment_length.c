/* How long the pipe is, how far the camera got, and whether the counter agrees with what is known about it.
 */
#include "align_internal.h"

#include <math.h>

/* A reading this far from the next one is a misread digit, not travel; readings stand seconds apart at most.
 */
#define LARGEST_STEP_M 2.0

/* Farthest place the picture shows, at two readings in a row; NAN when none. */
static double farthest_seen_m(const struct sm_align__work *work)
{
    double farthest_m = SM_NAN;
    double last_m = SM_NAN;
    for (size_t i = 0; work->trace && i < work->trace->n_readings; i++) {
        const struct sm_reading *reading = &work->trace->reading[i];
        if (reading->state != SM_READING_READ || (double)reading->confidence < SM_ALIGN__SURE_CONFIDENCE) {
            continue;
        }
        size_t stretch = sm_trace_stretch_at(work->trace, reading->time_s);
        double count_m =
            (double)reading->counts * sm_last_digit_m(&work->format) + work->stretch[stretch].shift_m;
        double here_m = sm_align__axis_at(&work->axis, count_m);
        if (fabs(here_m - last_m) <= LARGEST_STEP_M) {
            farthest_m = fmax(farthest_m, fmin(here_m, last_m));
        }
        last_m = here_m;
    }
    return farthest_m;
}

/* Farthest observation; one placed by a logged distance only counts where there is no picture to ask. */
static double farthest_observed_m(const struct sm_align__work *work, bool has_picture)
{
    double farthest_m = SM_NAN;
    for (size_t i = 0; i < work->out->n_observations; i++) {
        const struct sm_observation *observation = &work->out->observation[i];
        if (!has_picture || observation->source == SM_DISTANCE_PICTURE) {
            farthest_m = fmax(farthest_m, observation->distance_m);
            farthest_m = fmax(farthest_m, observation->end_entry_idx >= 0 ? observation->end_m : SM_NAN);
        }
    }
    return farthest_m;
}

static double find_farthest_m(const struct sm_align__work *work)
{
    double seen_m = farthest_seen_m(work);
    double observed_m = farthest_observed_m(work, !isnan(seen_m));
    return fmax(seen_m, observed_m);
}

static double finish_m(const struct sm_align__work *work)
{
    return work->finish_idx >= 0 ? work->out->observation[work->finish_idx].distance_m : SM_NAN;
}

double sm_align__seen_end_m(const struct sm_align__work *work)
{
    double length_m = work->out->length_m;
    if (work->finish_idx >= 0 && !work->is_abandoned) {
        return length_m;
    }
    return fmin(length_m, work->farthest_m); /* fmin passes over a NAN */
}

static enum sm_status assume_length(struct sm_align__work *work, struct sm_error *err)
{
    struct sm_alignment *out = work->out;
    struct sm_text text = {0};
    out->is_length_assumed = true;
    out->length_m = finish_m(work);
    const char *from = "the distance of the finish node";
    if (isnan(out->length_m) && work->log->inspection_length_m >= work->farthest_m) {
        out->length_m = work->log->inspection_length_m;
        from = "the inspection length the log was written for: it may run between other places than the pipe edges";
    }
    if (isnan(out->length_m)) {
        out->length_m = work->farthest_m;
        from = work->is_abandoned ? "where the survey was abandoned: the pipe beyond was not seen"
                                  : "the last distance: the pipe may go on";
    }
    if (isnan(out->length_m)) {
        sm_text_add(&text, "the length of the pipe is not known; give [segment] length");
    } else {
        sm_text_add(&text, "no length given: taken as ");
        sm_align__add_length(&text, work, out->length_m);
        sm_text_addf(&text, ", %s", from);
    }
    return sm_align__report(work, (enum sm_flag)0, SM_SEVERITY_WARNING, -1, &text, err);
}

/* The last distance against the known length, judged by the larger of the two distance errors. */
static enum sm_status judge_misclosure(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_rules *rules = &work->sheet->rules;
    bool has_finish = work->finish_idx >= 0;
    double last_m = has_finish ? finish_m(work) : work->farthest_m;
    work->out->misclosure_m = last_m - work->out->length_m;
    double allowed_m = fmax(rules->distance_error_frac * work->out->length_m, rules->distance_error_m);
    if (!(fabs(work->out->misclosure_m) > allowed_m + 1e-9) ||
        (work->is_abandoned && work->out->misclosure_m < 0)) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, has_finish ? "the finish node is at " : "the last distance is ");
    sm_align__add_length(&text, work, last_m);
    sm_text_add(&text, ", the pipe is ");
    sm_align__add_length(&text, work, work->out->length_m);
    sm_text_add(&text, " long: off by ");
    sm_align__add_length(&text, work, fabs(work->out->misclosure_m));
    sm_text_add(&text, " where ");
    sm_align__add_length(&text, work, allowed_m);
    sm_text_add(
        &text, has_finish ? " are allowed; give ties, or check whether the length runs between pipe edges"
                          : " are allowed; did the run stop early, or is the length not between pipe edges?");
    return sm_align__report(work, (enum sm_flag)0, SM_SEVERITY_WARNING, -1, &text, err);
}

enum sm_status sm_align__settle_length(struct sm_align__work *work, struct sm_error *err)
{
    struct sm_alignment *out = work->out;
    work->farthest_m = find_farthest_m(work);
    out->misclosure_m = SM_NAN;
    out->length_m = work->sheet->segment.length_m;
    if (isnan(out->length_m) && work->log->segment.length_m > 0) {
        out->length_m = work->log->segment.length_m;
    }
    return isnan(out->length_m) ? assume_length(work, err) : judge_misclosure(work, err);
}
