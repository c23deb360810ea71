/*
 * The position error u of an observation and its parts.
 *   locate = mark:     placement + half the last digit of the reading (of the logged distance where that is
 * what is used) locate = counter:  between ties placement + half the last digit + half the worst misfit of
 * the ties, elsewhere placement + the larger of the two distance errors A carried reading is no better than
 * the readings around it: half the range they leave stands for half a digit.
 */
#include "align_internal.h"

#include <math.h>

static double reading_error_m(const struct sm_observation *observation, const struct sm_align__work *work,
                              size_t entry_idx)
{
    const struct sm_align__place *place = &work->place[entry_idx];
    double half_digit_m = sm_last_digit_m(&work->format) / 2;
    if (observation->source == SM_DISTANCE_LOG) {
        double digit_m = work->log->entry[entry_idx].distance_digit_m;
        return isnan(digit_m) ? half_digit_m : digit_m / 2;
    }
    return fmax(half_digit_m, (place->high_m - place->low_m) / 2); /* fmax passes over a NAN */
}

/* A continuous defect is no better placed than the worse of its ends. */
static double worse_reading_error_m(const struct sm_observation *observation,
                                    const struct sm_align__work *work)
{
    double error_m = reading_error_m(observation, work, (size_t)observation->entry_idx);
    if (observation->end_entry_idx >= 0) {
        error_m = fmax(error_m, reading_error_m(observation, work, (size_t)observation->end_entry_idx));
    }
    return error_m;
}

void sm_align__position_error(struct sm_observation *observation, const struct sm_align__work *work)
{
    const struct sm_rules *rules = &work->sheet->rules;
    double count_m = work->place[observation->entry_idx].count_m;
    observation->error_placement_m = rules->placement_m;
    observation->error_reading_m = 0;
    observation->error_distance_m = 0;
    if (isnan(observation->distance_m)) {
        observation->error_reading_m = SM_NAN;
    } else if (rules->locate == SM_LOCATE_MARK) {
        observation->error_reading_m = worse_reading_error_m(observation, work);
    } else if (sm_align__axis_is_between(&work->axis, count_m)) {
        observation->error_reading_m = worse_reading_error_m(observation, work);
        observation->error_distance_m = sm_align__axis_misfit(&work->axis) / 2;
    } else {
        observation->error_distance_m =
            fmax(rules->distance_error_frac * fabs(observation->end_m), rules->distance_error_m);
    }
    observation->error_m =
        observation->error_placement_m + observation->error_reading_m + observation->error_distance_m;
}
