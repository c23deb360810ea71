/* When a recheck's camera was at a place: for the picture after the work beside the one before. */
#include "audit_internal.h"

/* The counter passed a place when it showed it to within this. */
#define AT_PLACE_M 0.05

/* The entry with a reading that is nearest to a place. */
static const struct sm_observation *nearest_reading(const struct sm_audit_survey *recheck, const struct sm_audit_axis *axis,
                                                    double distance_m, double *at_m)
{
    const struct sm_observation *found = NULL;
    for (size_t i = 0; i < recheck->alignment->n_observations; i++) {
        const struct sm_observation *o = &recheck->alignment->observation[i];
        double place_m = axis->sighting[i].start_m;
        if (o->reading.state != SM_READING_HIDDEN && isfinite(place_m) &&
            (!found || fabs(place_m - distance_m) < fabs(*at_m - distance_m))) {
            found = o;
            *at_m = place_m;
        }
    }
    return found;
}

double sm_audit_time_at(const struct sm_audit *audit, size_t first_idx, size_t recheck_idx, double distance_m)
{
    const struct sm_audit_survey *recheck = &audit->about->recheck[recheck_idx];
    const struct sm_audit_axis *axis = sm_audit_get_axis(audit, first_idx, recheck_idx);
    double at_m = SM_NAN;
    const struct sm_observation *o = nearest_reading(recheck, axis, distance_m, &at_m);
    if (!recheck->trace || !o || isnan(distance_m)) {
        return SM_NAN;
    }
    const struct sm_trace *trace = recheck->trace;
    double unit_m = sm_unit_to_m(trace->format.unit);
    double way_m = axis->is_reverse ? at_m - distance_m : distance_m - at_m;
    double wanted_m = sm_reading_value(&o->reading, trace->format.decimals) * unit_m + way_m;
    double best_m = AT_PLACE_M;
    double time_s = SM_NAN;
    for (size_t i = 0; i < trace->n_readings; i++) {
        double off_m = fabs(sm_reading_value(&trace->reading[i], trace->format.decimals) * unit_m - wanted_m);
        if (trace->reading[i].state != SM_READING_HIDDEN && off_m < best_m) {
            best_m = off_m;
            time_s = trace->reading[i].time_s;
        }
    }
    return time_s;
}

double sm_audit_after_time(const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    if (d->recheck_idx < 0) {
        return SM_NAN;
    }
    const struct sm_audit_survey *recheck = &audit->about->recheck[d->recheck_idx];
    int32_t idx = d->recheck_observation_idx;
    for (size_t i = 0; idx < 0 && i < d->n_liners; i++) {
        const struct sm_audit_liner *liner = &audit->liner[d->liner[i]];
        idx = liner->recheck_idx == d->recheck_idx ? liner->recheck_observation_idx : -1;
    }
    double time_s = idx >= 0 ? recheck->alignment->observation[idx].time_s : SM_NAN;
    const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
    return isfinite(time_s) ? time_s : sm_audit_time_at(audit, (size_t)d->first_idx, (size_t)d->recheck_idx, o->distance_m);
}
