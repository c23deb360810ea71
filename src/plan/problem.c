/*
 * Observations, rules and kits -> the problem in whole numbers. Whatever calls for a liner ends either as a
 * target or on the unrepaired list; nothing is dropped on the way.
 */
#include "plan_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define UM_PER_M 1e6
#define SNAP_UM 1e-3   /* 1e-9 m */
#define MAX_PIPE_M 1e5 /* keeps sums of liner lengths inside SM_PLAN__LENGTH_BITS */
#define MAX_MONEY 1e9
#define SAME_PLACE_M 0.1

int64_t sm_plan__floor_um(double length_m)
{
    double um = length_m * UM_PER_M, nearest = round(um);
    return (int64_t)(fabs(um - nearest) <= SNAP_UM ? nearest : floor(um));
}

int64_t sm_plan__ceil_um(double length_m)
{
    return -sm_plan__floor_um(-length_m);
}

bool sm_plan__is_keep_clear(const struct sm_observation *observation)
{
    return observation->treatment == SM_TREATMENT_CLEAR ||
           (observation->is_connection && observation->treatment != SM_TREATMENT_NONE);
}

static int by_place(const void *left, const void *right)
{
    const struct sm_plan__stretch *a = left, *b = right;
    if (a->start_um != b->start_um) {
        return a->start_um < b->start_um ? -1 : 1;
    }
    if (a->end_um != b->end_um) {
        return a->end_um < b->end_um ? -1 : 1;
    }
    return (a->observation_idx > b->observation_idx) - (a->observation_idx < b->observation_idx);
}

static int by_length(const void *left, const void *right)
{
    const struct sm_plan__kit *a = left, *b = right;
    if (a->length_um != b->length_um) {
        return a->length_um < b->length_um ? -1 : 1;
    }
    if (a->cost != b->cost) {
        return a->cost < b->cost ? -1 : 1;
    }
    return (a->kit_idx > b->kit_idx) - (a->kit_idx < b->kit_idx);
}

/* ---- rules and kits */

static enum sm_status whole_money(int64_t *out, double money, const char *what, struct sm_error *err)
{
    if (!(money >= 0 && money <= MAX_MONEY)) {
        sm_error_set(err, SM_E_RANGE, "the %s is not between 0 and 1,000,000,000", what);
        return sm_error_remedy(err, "correct it in the sheet or the kits file");
    }
    *out = llround(money * SM_PLAN__COST_SCALE);
    return SM_OK;
}

static enum sm_status check_length(double length_m, const char *what, struct sm_error *err)
{
    if (length_m >= 0 && length_m <= MAX_PIPE_M) {
        return SM_OK;
    }
    sm_error_set(err, SM_E_RANGE, "%s is not between 0 and 100 km", what);
    return sm_error_remedy(err, "correct it in the survey sheet");
}

static bool fits(const struct sm_kit *kit, double diameter_mm)
{
    return diameter_mm >= kit->diameter_min_mm && diameter_mm <= kit->diameter_max_mm;
}

/* Longer than the pipe: of no use. Of two of one length the cheaper will do. */
static void drop_useless_kits(struct sm_plan__problem *problem)
{
    size_t n = 0;
    qsort(problem->kit, problem->n_kits, sizeof *problem->kit, by_length);
    for (size_t i = 0; i < problem->n_kits; i++) {
        struct sm_plan__kit kit = problem->kit[i];
        bool is_new_length = n == 0 || problem->kit[n - 1].length_um != kit.length_um;
        if (is_new_length && kit.length_um <= problem->length_um) {
            problem->kit[n++] = kit;
        }
    }
    problem->n_kits = n;
    problem->longest_um = n ? problem->kit[n - 1].length_um : 0;
}

static enum sm_status take_kits(struct sm_plan__problem *problem, const struct sm_sheet *sheet,
                                struct sm_error *err)
{
    int64_t set_up = 0;
    enum sm_status status = whole_money(&set_up, sheet->rules.set_up_cost, "set-up cost", err);
    problem->kit = sm_calloc(sheet->n_kits + 1, sizeof *problem->kit);
    if (status != SM_OK || !problem->kit) {
        return status != SM_OK ? status : sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    for (size_t i = 0; i < sheet->n_kits && status == SM_OK; i++) {
        const struct sm_kit *kit = &sheet->kit[i];
        if (kit->length_um <= 0 || !fits(kit, sheet->segment.diameter_mm)) {
            continue;
        }
        struct sm_plan__kit *taken = &problem->kit[problem->n_kits++];
        status = whole_money(&taken->cost, kit->cost, "cost of a kit", err);
        taken->cost += set_up;
        taken->length_um = kit->length_um;
        taken->kit_idx = (int32_t)i;
    }
    problem->n_fitting = problem->n_kits;
    drop_useless_kits(problem);
    return status;
}

static enum sm_status take_rules(struct sm_plan__problem *problem, const struct sm_rules *rules,
                                 struct sm_error *err)
{
    enum sm_status status = check_length(rules->overlap_m, "the overlap", err);
    status = status != SM_OK ? status : check_length(rules->end_cover_m, "the end cover", err);
    status = status != SM_OK ? status : check_length(rules->keep_clear_m, "the keep-clear distance", err);
    status = status != SM_OK
                 ? status
                 : check_length(rules->connection_diameter_mm / 1e3, "the connection diameter", err);
    status =
        status != SM_OK ? status : whole_money(&problem->reopen_cost, rules->reopen_cost, "reopen cost", err);
    if (status == SM_OK) {
        problem->overlap_um = sm_plan__ceil_um(rules->overlap_m);
    }
    return status;
}

/* ---- targets and keep-clear stretches */

static enum sm_status set_aside(struct sm_plan *plan, struct sm_unrepaired *list, int32_t observation_idx,
                                const char *reason)
{
    list[plan->n_unrepaired++] = (struct sm_unrepaired){observation_idx, reason};
    return reason ? SM_OK : SM_E_NOMEM;
}

static bool has_place(const struct sm_observation *observation)
{
    return isfinite(observation->start_m) && isfinite(observation->end_m) &&
           fabs(observation->start_m) <= MAX_PIPE_M && fabs(observation->end_m) <= MAX_PIPE_M;
}

static const char *fault(struct sm_plan *plan, const struct sm_observation *observation, double length_m)
{
    if (observation->treatment == SM_TREATMENT_REFER) {
        const char *why =
            observation->reason && *observation->reason ? observation->reason : "not for a liner";
        return sm_arena_printf(plan->arena, "referred: %s", why);
    }
    if (!has_place(observation)) {
        return "its place along the pipe is not known";
    }
    if (!(observation->error_m >= 0 && observation->error_m <= MAX_PIPE_M)) {
        return "how well its place is known could not be settled";
    }
    if (!(length_m > 0)) {
        return "the length of the pipe is not known";
    }
    return NULL;
}

static bool make_target(struct sm_plan__stretch *target, const struct sm_observation *observation,
                        const struct sm_plan__problem *problem, const struct sm_rules *rules)
{
    double reach_m = rules->end_cover_m + observation->error_m;
    int64_t start_um = sm_plan__floor_um(fmin(observation->start_m, observation->end_m) - reach_m);
    int64_t end_um = sm_plan__ceil_um(fmax(observation->start_m, observation->end_m) + reach_m);
    target->start_um = sm_plan__max(start_um, 0);
    target->end_um = sm_plan__min(end_um, problem->length_um);
    return target->start_um <= target->end_um;
}

static enum sm_status take_target(struct sm_plan__problem *problem, struct sm_plan *plan,
                                  struct sm_unrepaired *list, const struct sm_alignment *alignment,
                                  const struct sm_rules *rules, size_t idx)
{
    const struct sm_observation *observation = &alignment->observation[idx];
    struct sm_plan__stretch target = {.observation_idx = (int32_t)idx};
    bool calls_for_liner =
        observation->treatment == SM_TREATMENT_LINE || observation->treatment == SM_TREATMENT_PREPARE;
    if (!calls_for_liner && observation->treatment != SM_TREATMENT_REFER) {
        return SM_OK;
    }
    const char *why = fault(plan, observation, alignment->length_m);
    if (!why && !make_target(&target, observation, problem, rules)) {
        why = "it lies outside the pipe";
    }
    if (why || observation->treatment == SM_TREATMENT_REFER) {
        return set_aside(plan, list, target.observation_idx, why);
    }
    problem->target[problem->n_targets++] = target;
    return SM_OK;
}

static enum sm_status note_unplaced(struct sm_plan *plan, const struct sm_observation *observation)
{
    return sm_findings_add(&plan->findings, 0, SM_SEVERITY_WARNING, NULL, 0, SM_NAN, observation->entry_idx,
                           "%s (%s) is to be kept clear, but its place is not known: no liner is kept off it",
                           observation->id, observation->code ? observation->code : "");
}

/*
 * A defect of a connection ("intruding", "defective") is logged beside the connection itself. Within a hand's
 * breadth and at the same hour of the clock it is the same one.
 */
static bool is_repeat(const struct sm_alignment *alignment, size_t idx)
{
    const struct sm_observation *defect = &alignment->observation[idx];
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *other = &alignment->observation[i];
        bool is_at = other->is_connection && other->treatment == SM_TREATMENT_CLEAR &&
                     fabs(other->distance_m - defect->distance_m) <= SAME_PLACE_M;
        bool is_hour =
            other->clock_from_h == defect->clock_from_h || !other->clock_from_h || !defect->clock_from_h;
        if (is_at && is_hour && defect->treatment != SM_TREATMENT_CLEAR) {
            return true;
        }
    }
    return false;
}

static enum sm_status take_keep_clear(struct sm_plan__problem *problem, struct sm_plan *plan,
                                      const struct sm_alignment *alignment, const struct sm_rules *rules,
                                      size_t idx)
{
    const struct sm_observation *observation = &alignment->observation[idx];
    double start_m = observation->start_m, end_m = observation->end_m, half_m = 0;
    if (observation->is_connection) {
        double diameter_mm =
            observation->diameter_mm > 0 ? observation->diameter_mm : rules->connection_diameter_mm;
        start_m = end_m = observation->distance_m;
        half_m = diameter_mm / 2e3;
    }
    if (!(fabs(start_m) <= MAX_PIPE_M && fabs(end_m) <= MAX_PIPE_M && half_m <= MAX_PIPE_M)) {
        return note_unplaced(plan, observation);
    }
    struct sm_plan__stretch stretch = {
        .start_um = sm_plan__floor_um(start_m - half_m - rules->keep_clear_m),
        .end_um = sm_plan__ceil_um(end_m + half_m + rules->keep_clear_m),
        .observation_idx = (int32_t)idx,
        .may_cover = rules->may_reopen && observation->is_connection,
        .is_opening = observation->is_connection,
        .is_repeat = is_repeat(alignment, idx),
    };
    if (stretch.end_um > 0 && stretch.start_um < problem->length_um) {
        problem->keep_clear[problem->n_keep_clear++] = stretch;
    }
    return SM_OK;
}

static enum sm_status take_observations(struct sm_plan__problem *problem, struct sm_plan *plan,
                                        const struct sm_alignment *alignment, const struct sm_rules *rules)
{
    size_t n = alignment->n_observations;
    enum sm_status status = SM_OK;
    struct sm_unrepaired *list = sm_arena_alloc(plan->arena, (n + 1) * sizeof *list);
    problem->target = sm_calloc(n + 1, sizeof *problem->target);
    problem->keep_clear = sm_calloc(n + 1, sizeof *problem->keep_clear);
    if (!list || !problem->target || !problem->keep_clear) {
        return SM_E_NOMEM;
    }
    plan->unrepaired = list;
    for (size_t i = 0; i < n && status == SM_OK; i++) {
        status = take_target(problem, plan, list, alignment, rules, i);
        if (status == SM_OK && sm_plan__is_keep_clear(&alignment->observation[i])) {
            status = take_keep_clear(problem, plan, alignment, rules, i);
        }
    }
    qsort(problem->target, problem->n_targets, sizeof *problem->target, by_place);
    qsort(problem->keep_clear, problem->n_keep_clear, sizeof *problem->keep_clear, by_place);
    return status;
}

enum sm_status sm_plan__problem_new(struct sm_plan__problem *problem, struct sm_plan *plan,
                                    const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                    struct sm_error *err)
{
    *problem = (struct sm_plan__problem){.banned_kit = -1};
    if (alignment->length_m > MAX_PIPE_M) {
        sm_error_set(err, SM_E_RANGE, "a segment longer than 100 km");
        return sm_error_remedy(err, "correct the segment's length in the survey sheet");
    }
    problem->length_um = alignment->length_m > 0 ? sm_plan__floor_um(alignment->length_m) : 0;
    enum sm_status status = take_rules(problem, &sheet->rules, err);
    status = status != SM_OK ? status : take_kits(problem, sheet, err);
    if (status == SM_OK && take_observations(problem, plan, alignment, &sheet->rules) != SM_OK) {
        status = sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    if (status != SM_OK) {
        sm_plan__problem_release(problem);
    }
    return status;
}

void sm_plan__problem_reduce(struct sm_plan__problem *problem, const struct sm_plan *plan)
{
    size_t n = 0;
    for (size_t i = 0; i < problem->n_targets; i++) {
        if (sm_plan__is_repaired(plan, problem->target[i].observation_idx)) {
            problem->target[n++] = problem->target[i];
        }
    }
    problem->n_targets = n;
}

void sm_plan__problem_release(struct sm_plan__problem *problem)
{
    sm_free(problem->target);
    sm_free(problem->keep_clear);
    sm_free(problem->kit);
    *problem = (struct sm_plan__problem){0};
}
