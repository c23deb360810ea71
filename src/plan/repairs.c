/*
 * A solved row of liners -> repairs as a crew takes them on: in order of work, with marks, what to prepare,
 * what they cost; and the totals beside those of lining the whole pipe.
 */
#include "plan_internal.h"

#include <math.h>
#include <stdlib.h>
#include <stdio.h>
#include <string.h>

#define UM_PER_M 1e6

/* What all parts of the description need. */
struct scene {
    struct sm_plan *plan;
    const struct sm_plan__problem *problem;
    const struct sm_plan__row *row;
    const bool *is_left_out;
    const struct sm_alignment *alignment;
    const struct sm_sheet *sheet;
};

static int64_t liner_end(const struct scene *scene, const struct sm_plan__liner *liner)
{
    return liner->start_um + scene->problem->kit[liner->kit_idx].length_um;
}

/* ---- covers and reopens */

static int by_index(const void *left, const void *right)
{
    int32_t a = *(const int32_t *)left, b = *(const int32_t *)right;
    return (a > b) - (a < b);
}

static bool shares_pipe(const struct scene *scene, const struct sm_plan__liner *liner,
                        struct sm_plan__stretch target)
{
    int64_t from = sm_plan__max(liner->start_um, target.start_um);
    int64_t to = sm_plan__min(liner_end(scene, liner), target.end_um);
    return from < to || (from == to && target.start_um == target.end_um);
}

static enum sm_status find_covers(struct sm_repair *repair, const struct scene *scene,
                                  const struct sm_plan__liner *liner)
{
    const struct sm_plan__problem *problem = scene->problem;
    size_t n = 0;
    for (size_t i = 0; i < problem->n_targets; i++) {
        n += !scene->is_left_out[i] && shares_pipe(scene, liner, problem->target[i]);
    }
    int32_t *covers = sm_arena_alloc(scene->plan->arena, (n + 1) * sizeof *covers);
    if (!covers) {
        return SM_E_NOMEM;
    }
    for (size_t i = 0; i < problem->n_targets; i++) {
        if (!scene->is_left_out[i] && shares_pipe(scene, liner, problem->target[i])) {
            covers[repair->n_covers++] = problem->target[i].observation_idx;
        }
    }
    qsort(covers, n, sizeof *covers, by_index);
    repair->covers = covers;
    return SM_OK;
}

static bool is_over(const struct scene *scene, const struct sm_plan__liner *liner,
                    struct sm_plan__stretch stretch)
{
    return stretch.may_cover && stretch.end_um > liner->start_um &&
           stretch.start_um < liner_end(scene, liner);
}

static enum sm_status find_reopens(struct sm_repair *repair, const struct scene *scene,
                                   const struct sm_plan__liner *liner)
{
    const struct sm_plan__problem *problem = scene->problem;
    int32_t *reopens = sm_arena_alloc(scene->plan->arena, (problem->n_keep_clear + 1) * sizeof *reopens);
    if (!reopens) {
        return SM_E_NOMEM;
    }
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        if (!problem->keep_clear[i].is_repeat && is_over(scene, liner, problem->keep_clear[i])) {
            reopens[repair->n_reopens++] = problem->keep_clear[i].observation_idx;
        }
    }
    qsort(reopens, repair->n_reopens, sizeof *reopens, by_index);
    repair->reopens = reopens;
    return SM_OK;
}

/* ---- preparation */

/* Order of the work: what is done first makes the next possible. */
static int rank_of(const char *item)
{
    static const struct {
        const char *word;
        int rank;
    } words[] = {
        {"clean", 0},     {"flush", 0},    {"jet", 0},    {"root", 1},    {"deposit", 2},
        {"mill", 2},      {"grind", 2},    {"scale", 2},  {"encrust", 2}, {"lip", 2},
        {"trim", 3},      {"cut back", 3}, {"intrud", 3}, {"seal", 3},    {"inject", 4},
        {"infiltrat", 4}, {"stop", 4},     {"void", 5},   {"fill", 5},
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (strstr(item, words[i].word)) {
            return words[i].rank;
        }
    }
    return 6;
}

struct items {
    const char **item;
    size_t n, capacity;
};

/* Insert behind the last item of the same or a lower rank, unless it is there. */
static enum sm_status add_item(struct items *items, struct sm_arena *arena, const char *text, size_t length)
{
    char *item = sm_arena_strndup(arena, text, length);
    if (!item) {
        return SM_E_NOMEM;
    }
    item = sm_trim(item);
    for (size_t i = 0; i < items->n; i++) {
        if (sm_ascii_ieq(items->item[i], item)) {
            return SM_OK;
        }
    }
    if (!*item) {
        return SM_OK;
    }
    enum sm_status status = sm_grow(&items->item, items->n, &items->capacity, sizeof *items->item);
    if (status != SM_OK) {
        return status;
    }
    size_t at = items->n++;
    for (; at > 0 && rank_of(items->item[at - 1]) > rank_of(item); at--) {
        items->item[at] = items->item[at - 1];
    }
    items->item[at] = item;
    return SM_OK;
}

static enum sm_status add_items(struct items *items, struct sm_arena *arena, const char *list)
{
    enum sm_status status = SM_OK;
    while (list && *list && status == SM_OK) {
        size_t length = strcspn(list, ";");
        status = add_item(items, arena, list, length);
        list += length + (list[length] == ';');
    }
    return status;
}

static enum sm_status find_prepare(struct sm_repair *repair, const struct scene *scene)
{
    struct sm_arena *arena = scene->plan->arena;
    struct items items = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < repair->n_covers && status == SM_OK; i++) {
        status = add_items(&items, arena, scene->alignment->observation[repair->covers[i]].prepare);
    }
    const char **copy = status == SM_OK ? sm_arena_alloc(arena, (items.n + 1) * sizeof *copy) : NULL;
    if (copy && items.n) {
        memcpy(copy, items.item, items.n * sizeof *copy);
    }
    sm_free(items.item);
    repair->prepare = copy;
    repair->n_prepare = items.n;
    return copy ? SM_OK : SM_E_NOMEM;
}

/* ---- marks and order */

/* The far end's place is as good as known when a node of the log stands there. */
static bool is_length_known(const struct sm_alignment *alignment)
{
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *observation = &alignment->observation[i];
        if (observation->is_node && fabs(observation->distance_m - alignment->length_m) < 1e-3) {
            return true;
        }
    }
    return !alignment->is_length_assumed;
}

/* From the crew's end of the pipe to the stop. */
static double push_m(const struct scene *scene, const struct sm_plan__liner *liner)
{
    double stop_m = ((double)liner->start_um + (double)liner_end(scene, liner)) / 2 / UM_PER_M;
    double length_m = (double)scene->problem->length_um / UM_PER_M;
    return scene->sheet->access.enters_at_to ? length_m - stop_m : stop_m;
}

static double mark_m(const struct scene *scene, const struct sm_plan__liner *liner)
{
    const struct sm_access *access = &scene->sheet->access;
    if (access->enters_at_to && !is_length_known(scene->alignment)) {
        return SM_NAN;
    }
    return push_m(scene, liner) + (access->reference == SM_REFERENCE_RIM ? access->rim_to_pipe_edge_m : 0);
}

/*
 * Liners rise along the pipe, starts and ends, so their middles do: farthest first is one direction or the
 * other.
 */
static const struct sm_plan__liner *in_order_of_work(const struct scene *scene, size_t i)
{
    bool is_backward = !scene->sheet->access.enters_at_to;
    return &scene->row->liner[is_backward ? scene->row->n - 1 - i : i];
}

/* ---- money */

/* A connection under two liners is cut open after the second: the later repair pays for it. */
static double repair_cost(const struct scene *scene, size_t i, const struct sm_repair *repair)
{
    const struct sm_plan__liner *liner = in_order_of_work(scene, i);
    int64_t cost = scene->problem->kit[liner->kit_idx].cost;
    const struct sm_plan__liner *later = i + 1 < scene->row->n ? in_order_of_work(scene, i + 1) : NULL;
    for (size_t j = 0; j < scene->problem->n_keep_clear && repair->n_reopens; j++) {
        struct sm_plan__stretch stretch = scene->problem->keep_clear[j];
        if (!stretch.is_repeat && is_over(scene, liner, stretch) &&
            !(later && is_over(scene, later, stretch))) {
            cost += scene->problem->reopen_cost;
        }
    }
    return (double)cost / SM_PLAN__COST_SCALE;
}

/* ---- the plan */

/* A liner over something an engineer has still to decide about: the plan stands only when that is settled. */
static enum sm_status note_referred(const struct scene *scene, const struct sm_repair *repair,
                                    const struct sm_plan__liner *liner)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < scene->alignment->n_observations && status == SM_OK; i++) {
        const struct sm_observation *observation = &scene->alignment->observation[i];
        bool is_under = observation->treatment == SM_TREATMENT_REFER && !observation->is_connection &&
                        observation->end_m * UM_PER_M >= (double)liner->start_um &&
                        observation->start_m * UM_PER_M <= (double)liner_end(scene, liner);
        if (is_under) {
            status = sm_findings_add(&scene->plan->findings, 0, SM_SEVERITY_WARNING, NULL, 0,
                                     observation->time_s, observation->entry_idx,
                                     "%s lies over %s (%s), which is referred: settle that first", repair->id,
                                     observation->id, observation->code ? observation->code : "");
        }
    }
    return status;
}

static enum sm_status describe_repair(struct sm_repair *repair, const struct scene *scene, size_t i)
{
    const struct sm_plan__liner *liner = in_order_of_work(scene, i);
    const struct sm_plan__kit *kit = &scene->problem->kit[liner->kit_idx];
    snprintf(repair->id, sizeof repair->id, "R%u", (unsigned)(i + 1));
    repair->kit_idx = kit->kit_idx;
    repair->start_um = liner->start_um;
    repair->length_um = kit->length_um;
    repair->mark_m = mark_m(scene, liner);
    repair->slack_m = (double)liner->slack_um / UM_PER_M;
    enum sm_status status = find_covers(repair, scene, liner);
    status = status == SM_OK ? find_reopens(repair, scene, liner) : status;
    status = status == SM_OK ? find_prepare(repair, scene) : status;
    status = status == SM_OK ? note_referred(scene, repair, liner) : status;
    repair->cost = repair_cost(scene, i, repair);
    return status;
}

static enum sm_status describe_repairs(const struct scene *scene)
{
    struct sm_plan *plan = scene->plan;
    size_t n = scene->row->n;
    struct sm_repair *repair = sm_arena_alloc(plan->arena, (n + 1) * sizeof *repair);
    enum sm_status status = repair ? SM_OK : SM_E_NOMEM;
    for (size_t i = 0; i < n && status == SM_OK; i++) {
        status = describe_repair(&repair[i], scene, i);
    }
    plan->repair = repair;
    plan->n_repairs = n;
    plan->cost = (double)scene->row->weight.cost / SM_PLAN__COST_SCALE;
    return status;
}

static int unrepaired_by_index(const void *left, const void *right)
{
    const struct sm_unrepaired *a = left, *b = right;
    return (a->observation_idx > b->observation_idx) - (a->observation_idx < b->observation_idx);
}

static enum sm_status describe_targets(const struct scene *scene)
{
    const struct sm_plan__problem *problem = scene->problem;
    struct sm_plan *plan = scene->plan;
    size_t n = plan->n_unrepaired;
    struct sm_target *target = sm_arena_alloc(plan->arena, (problem->n_targets + 1) * sizeof *target);
    struct sm_unrepaired *list = sm_arena_alloc(plan->arena, (n + problem->n_targets + 1) * sizeof *list);
    if (!target || !list) {
        return SM_E_NOMEM;
    }
    memcpy(list, plan->unrepaired, n * sizeof *list);
    for (size_t i = 0; i < problem->n_targets; i++) {
        struct sm_plan__stretch stretch = problem->target[i];
        target[i] = (struct sm_target){stretch.observation_idx, stretch.start_um, stretch.end_um};
        if (scene->is_left_out[i]) {
            const char *reason = sm_plan__reason(plan, problem, i, scene->alignment, scene->sheet);
            list[n++] = (struct sm_unrepaired){stretch.observation_idx, reason};
            if (!reason) {
                return SM_E_NOMEM;
            }
        }
    }
    qsort(list, n, sizeof *list, unrepaired_by_index);
    plan->target = target;
    plan->n_targets = problem->n_targets;
    plan->unrepaired = list;
    plan->n_unrepaired = n;
    return SM_OK;
}

enum sm_status sm_plan__describe(struct sm_plan *plan, const struct sm_plan__problem *problem,
                                 const struct sm_plan__row *row, const bool *is_left_out,
                                 const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                 struct sm_error *err)
{
    struct scene scene = {plan, problem, row, is_left_out, alignment, sheet};
    enum sm_status status = describe_repairs(&scene);
    status = status == SM_OK ? describe_targets(&scene) : status;
    status = status == SM_OK ? sm_plan__advise(plan, problem, sheet) : status;
    return status == SM_OK ? SM_OK : sm_error_set(err, status, "out of memory");
}
