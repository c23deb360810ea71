/* Facts that several writers look up in the results of the stages before. Nothing here decides anything anew.
 */
#include "schedule_internal.h"

#include <math.h>

double sm_schedule__um_to_m(int64_t length_um)
{
    return (double)length_um / SM_UM_PER_M;
}

double sm_schedule__repair_start_m(const struct sm_repair *repair)
{
    return sm_schedule__um_to_m(repair->start_um);
}

double sm_schedule__repair_end_m(const struct sm_repair *repair)
{
    return sm_schedule__um_to_m(repair->start_um + repair->length_um);
}

double sm_schedule__repair_stop_m(const struct sm_repair *repair)
{
    return ((double)repair->start_um + (double)repair->length_um / 2) / SM_UM_PER_M;
}

const struct sm_observation *sm_schedule__observation(const struct sm_schedule *s, size_t observation_idx)
{
    return observation_idx < s->alignment->n_observations ? &s->alignment->observation[observation_idx]
                                                          : NULL;
}

double sm_schedule__repair_error_m(const struct sm_schedule *s, const struct sm_repair *repair)
{
    double worst_m = (double)NAN;
    for (size_t i = 0; i < repair->n_covers; i++) {
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)repair->covers[i]);
        if (observation) {
            worst_m = fmax(worst_m, observation->error_m); /* fmax passes over NAN */
        }
    }
    return worst_m;
}

bool sm_schedule__repair_is_doubtful(const struct sm_schedule *s, const struct sm_repair *repair)
{
    for (size_t i = 0; i < repair->n_covers; i++) {
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)repair->covers[i]);
        if (observation && sm_schedule__is_doubtful(observation)) {
            return true;
        }
    }
    return false;
}

const struct sm_kit *sm_schedule__kit(const struct sm_schedule *s, const struct sm_repair *repair)
{
    size_t idx = (size_t)repair->kit_idx;
    return repair->kit_idx >= 0 && idx < s->sheet->n_kits ? &s->sheet->kit[idx] : NULL;
}

int sm_schedule__n_of_kit(const struct sm_schedule *s, size_t kit_idx)
{
    int n = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        n += s->plan->repair[i].kit_idx == (int32_t)kit_idx;
    }
    return n;
}

const struct sm_target *sm_schedule__target(const struct sm_schedule *s, size_t observation_idx)
{
    for (size_t i = 0; i < s->plan->n_targets; i++) {
        if ((size_t)s->plan->target[i].observation_idx == observation_idx) {
            return &s->plan->target[i];
        }
    }
    return NULL;
}

bool sm_schedule__is_opening(const struct sm_observation *observation)
{
    return observation->treatment == SM_TREATMENT_CLEAR ||
           (observation->is_connection && observation->treatment != SM_TREATMENT_NONE);
}

bool sm_schedule__has_extent(const struct sm_observation *observation)
{
    return !sm_schedule__is_opening(observation) && isfinite(observation->start_m) &&
           observation->end_m > observation->start_m;
}

bool sm_schedule__keep_clear(const struct sm_schedule *s, const struct sm_observation *observation,
                             double *start_m, double *end_m)
{
    if (!sm_schedule__is_opening(observation) || !isfinite(observation->distance_m)) {
        return false;
    }
    const struct sm_rules *rules = &s->sheet->rules;
    double diameter_mm =
        observation->diameter_mm > 0 ? observation->diameter_mm : rules->connection_diameter_mm;
    double reach_m = (observation->is_connection ? diameter_mm / 2000 : 0) + rules->keep_clear_m;
    *start_m = (observation->is_connection ? observation->distance_m : observation->start_m) - reach_m;
    *end_m = (observation->is_connection ? observation->distance_m : observation->end_m) + reach_m;
    return true;
}

const char *sm_schedule__unrepaired_reason(const struct sm_schedule *s, size_t observation_idx)
{
    for (size_t i = 0; i < s->plan->n_unrepaired; i++) {
        if ((size_t)s->plan->unrepaired[i].observation_idx == observation_idx) {
            return s->plan->unrepaired[i].reason;
        }
    }
    return NULL;
}

const struct sm_repair *sm_schedule__repair_of(const struct sm_schedule *s, size_t observation_idx)
{
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        const struct sm_repair *repair = &s->plan->repair[i];
        for (size_t k = 0; k < repair->n_covers; k++) {
            if ((size_t)repair->covers[k] == observation_idx) {
                return repair;
            }
        }
    }
    return NULL;
}

const struct sm_finding *sm_schedule__finding(const struct sm_schedule *s, size_t finding_idx)
{
    const struct sm_findings *lists[] = {&s->sheet->findings, s->log ? &s->log->findings : NULL,
                                         s->video_findings, &s->alignment->findings, &s->plan->findings};
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        size_t n = lists[i] ? lists[i]->n : 0;
        if (finding_idx < n) {
            return &lists[i]->item[finding_idx];
        }
        finding_idx -= n;
    }
    return NULL;
}

bool sm_schedule__is_about(const struct sm_finding *finding, const struct sm_observation *observation)
{
    return finding->entry_idx >= 0 &&
           (finding->entry_idx == observation->entry_idx || finding->entry_idx == observation->end_entry_idx);
}

const struct sm_observation *sm_schedule__finding_observation(const struct sm_schedule *s,
                                                              const struct sm_finding *finding)
{
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        if (sm_schedule__is_about(finding, &s->alignment->observation[i])) {
            return &s->alignment->observation[i];
        }
    }
    return NULL;
}

/* A doubt outweighs any computed error: the number behind it may be wrong altogether. */
static bool is_less_sure(const struct sm_observation *a, const struct sm_observation *b)
{
    bool is_a_doubtful = sm_schedule__is_doubtful(a), is_b_doubtful = sm_schedule__is_doubtful(b);
    return is_a_doubtful != is_b_doubtful ? is_a_doubtful : a->error_m > b->error_m;
}

const struct sm_observation *sm_schedule__least_sure(const struct sm_schedule *s)
{
    const struct sm_observation *worst = NULL;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        const struct sm_repair *repair = &s->plan->repair[i];
        for (size_t k = 0; k < repair->n_covers; k++) {
            const struct sm_observation *observation = sm_schedule__observation(s, (size_t)repair->covers[k]);
            if (observation && isfinite(observation->error_m) &&
                (!worst || is_less_sure(observation, worst))) {
                worst = observation;
            }
        }
    }
    return worst;
}

bool sm_schedule__is_doubtful(const struct sm_observation *observation)
{
    const unsigned doubts = SM_FLAG_LOG_DISAGREES | SM_FLAG_COUNTER_UNREAD | SM_FLAG_TIME_OUTSIDE_VIDEO |
                            SM_FLAG_COUNTER_JUMP | SM_FLAG_OPEN_CONTINUOUS | SM_FLAG_BEYOND_SEGMENT |
                            SM_FLAG_CLOCK_DOUBTFUL | SM_FLAG_UNSURE | SM_FLAG_NO_DISTANCE;
    return (observation->flags & doubts) != 0;
}

bool sm_schedule__is_flagged(const struct sm_observation *observation)
{
    return (observation->flags & ~(unsigned)SM_FLAG_MOVED_TO_STANDSTILL) != 0;
}

enum sm_unit sm_schedule__counter_unit(const struct sm_schedule *s)
{
    enum sm_unit unit = s->trace ? s->trace->format.unit : SM_UNIT_UNKNOWN;
    unit = unit == SM_UNIT_UNKNOWN ? s->sheet->counter_unit : unit;
    unit = unit == SM_UNIT_UNKNOWN ? s->people_unit : unit;
    return unit == SM_UNIT_UNKNOWN ? SM_UNIT_M : unit;
}

const char *sm_schedule__flow_name(enum sm_flow flow)
{
    return flow == SM_FLOW_FROM_TO ? "from-to" : flow == SM_FLOW_TO_FROM ? "to-from" : NULL;
}

const char *sm_schedule__end_name(const struct sm_schedule *s, bool is_to)
{
    const char *name = is_to ? s->segment->to : s->segment->from;
    return name && *name ? name : is_to ? "the far access point" : "the near access point";
}

void sm_schedule__add_run(struct sm_text *text, const struct sm_schedule *s)
{
    bool has_from = s->segment->from && *s->segment->from, has_to = s->segment->to && *s->segment->to;
    if (has_from || has_to) {
        sm_text_addf(text, "%s \u2192 %s", sm_schedule__end_name(s, false), sm_schedule__end_name(s, true));
    }
}

const char *sm_schedule__crew_end(const struct sm_schedule *s)
{
    return sm_schedule__end_name(s, s->sheet->access.enters_at_to);
}

const char *sm_schedule__far_end(const struct sm_schedule *s)
{
    return sm_schedule__end_name(s, !s->sheet->access.enters_at_to);
}

double sm_schedule__from_crew_m(const struct sm_schedule *s, double distance_m)
{
    return s->sheet->access.enters_at_to ? s->alignment->length_m - distance_m : distance_m;
}
