/*
 * The lanes of the planner's searches and the field they are swept over. See lanes.h.
 *
 * With slack t every target and keep-clear stretch grows by t on both sides, cut at the pipe ends, which are
 * no limit to slack; the overlap grows by t. Kits are given as lists of intervals in which a liner may begin:
 * inside the field, and at each keep-clear stretch either beside it or, where allowed, over the whole of it.
 */
#include "lanes.h"

#include <stdlib.h>

struct sm_plan__weight sm_plan__kit_weight(const struct sm_plan__kit *kit)
{
    return (struct sm_plan__weight){0, kit->cost, ((int64_t)1 << SM_PLAN__LENGTH_BITS) + kit->length_um};
}

int64_t sm_plan__deepest_lap(const struct sm_plan__problem *problem, size_t kit, size_t other)
{
    return sm_plan__min(problem->kit[kit].length_um, problem->kit[other].length_um) - 1;
}

enum sm_status sm_plan__too_many(struct sm_error *err)
{
    sm_error_set(err, SM_E_UNSUPPORTED, "the kits can be combined in too many ways that are worth the same");
    return sm_error_remedy(err, "leave out kits whose lengths hardly differ or hardly exceed the overlap");
}

/* ---- lanes */

bool sm_plan__lane_set(struct sm_plan__lane *lane, int64_t place, struct sm_plan__weight lap, int64_t tolls,
                       bool must_break)
{
    struct sm_plan__weight full = sm_plan__plus(lap, (struct sm_plan__weight){0, tolls, 0});
    struct sm_plan__piece *open = lane->n ? &lane->piece[lane->n - 1] : NULL;
    if (open && open->last == SM_PLAN__NEVER) {
        if (!must_break && sm_plan__compare(open->lap, lap) == 0 && sm_plan__compare(open->full, full) == 0) {
            return true;
        }
        open->last = place - 1;
    }
    if (!sm_plan__is_finite(lap)) {
        return true;
    }
    if (sm_grow(&lane->piece, lane->n, &lane->capacity, sizeof *lane->piece) != SM_OK) {
        return false;
    }
    lane->piece[lane->n++] = (struct sm_plan__piece){place, SM_PLAN__NEVER, lap, full};
    return true;
}

size_t sm_plan__lane_find(const struct sm_plan__lane *lane, int64_t place)
{
    size_t low = 0, high = lane->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (lane->piece[middle].last < place) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

const struct sm_plan__piece *sm_plan__lane_at(const struct sm_plan__lane *lane, int64_t place)
{
    size_t i = sm_plan__lane_find(lane, place);
    return i < lane->n && lane->piece[i].first <= place ? &lane->piece[i] : NULL;
}

/* ---- the field */

static int by_first(const void *left, const void *right)
{
    const struct sm_plan__interval *a = left, *b = right;
    return a->first != b->first ? (a->first < b->first ? -1 : 1) : (a->last > b->last) - (a->last < b->last);
}

/* Open intervals (first, last) in which a liner of the kit must not begin. */
static size_t forbidden(const struct sm_plan__field *field, size_t kit, struct sm_plan__interval *out)
{
    const struct sm_plan__problem *problem = field->problem;
    int64_t length = problem->kit[kit].length_um;
    size_t n = 0;
    if (problem->banned_kit == (int32_t)kit) {
        out[n++] = (struct sm_plan__interval){problem->banned.start_um - length, problem->banned.end_um};
    }
    for (size_t i = 0; i < field->n_stretches; i++) {
        struct sm_plan__stretch stretch = field->stretch[i];
        if (stretch.may_cover) {
            out[n++] = (struct sm_plan__interval){stretch.start_um, stretch.end_um};
            out[n++] = (struct sm_plan__interval){stretch.start_um - length, stretch.end_um - length};
        } else {
            out[n++] = (struct sm_plan__interval){stretch.start_um - length, stretch.end_um};
        }
    }
    qsort(out, n, sizeof *out, by_first);
    return n;
}

static void find_allowed(struct sm_plan__field *field, size_t kit, struct sm_plan__interval *scratch)
{
    int64_t length = field->problem->kit[kit].length_um;
    int64_t from = field->low, last = field->high - length;
    struct sm_plan__allowed *allowed = &field->allowed[kit];
    size_t n = forbidden(field, kit, scratch);
    for (size_t i = 0; i < n && from <= last; i++) {
        if (scratch[i].first >= from) {
            allowed->interval[allowed->n++] =
                (struct sm_plan__interval){from, sm_plan__min(scratch[i].first, last)};
        }
        from = sm_plan__max(from, scratch[i].last);
    }
    if (from <= last) {
        allowed->interval[allowed->n++] = (struct sm_plan__interval){from, last};
    }
}

/* A stretch of the pipe grown by the slack; the pipe's own ends are no limit. */
static struct sm_plan__stretch grown(const struct sm_plan__field *field, struct sm_plan__stretch stretch)
{
    stretch.start_um = sm_plan__max(0, stretch.start_um - field->slack);
    stretch.end_um = sm_plan__min(field->problem->length_um, stretch.end_um + field->slack);
    return stretch;
}

static bool grow_targets(struct sm_plan__field *field, struct sm_plan__targets targets)
{
    const struct sm_plan__problem *problem = field->problem;
    field->target = sm_calloc(targets.n + 1, sizeof *field->target);
    field->reach = sm_calloc(targets.n + 1, sizeof *field->reach);
    if (!field->target || !field->reach) {
        return false;
    }
    field->n_targets = targets.n;
    for (size_t i = 0; i < targets.n; i++) {
        field->target[i] = grown(field, targets.target[i]);
        field->reach[i] = sm_plan__max(field->target[i].end_um, i ? field->reach[i - 1] : 0);
    }
    /* Whatever lies further off than one liner serves none of these targets. */
    field->low = sm_plan__max(0, field->target[0].start_um - problem->longest_um);
    field->high = sm_plan__min(problem->length_um, field->reach[targets.n - 1] + problem->longest_um);
    return true;
}

static int by_value(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left, b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static bool grow_stretches(struct sm_plan__field *field)
{
    const struct sm_plan__problem *problem = field->problem;
    field->stretch = sm_calloc(problem->n_keep_clear + 1, sizeof *field->stretch);
    field->toll = sm_calloc(problem->n_keep_clear + 1, sizeof *field->toll);
    if (!field->stretch || !field->toll) {
        return false;
    }
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        struct sm_plan__stretch stretch = grown(field, problem->keep_clear[i]);
        if (stretch.end_um < field->low || stretch.start_um > field->high) {
            continue;
        }
        field->stretch[field->n_stretches++] = stretch;
        if (stretch.may_cover && !stretch.is_repeat) {
            field->toll[field->n_tolls++] = stretch.end_um;
        }
    }
    qsort(field->toll, field->n_tolls, sizeof *field->toll, by_value);
    return true;
}

static bool list_allowed(struct sm_plan__field *field)
{
    size_t most = 2 * field->n_stretches + 3;
    struct sm_plan__interval *scratch = sm_calloc(most, sizeof *scratch);
    bool is_ok = scratch != NULL;
    for (size_t kit = 0; kit < field->problem->n_kits && is_ok; kit++) {
        field->allowed[kit].interval = sm_calloc(most, sizeof *scratch);
        is_ok = field->allowed[kit].interval != NULL;
        if (is_ok) {
            find_allowed(field, kit, scratch);
        }
    }
    sm_free(scratch);
    return is_ok;
}

bool sm_plan__field_new(struct sm_plan__field *field, const struct sm_plan__problem *problem,
                        struct sm_plan__targets targets, int64_t slack_um)
{
    *field = (struct sm_plan__field){
        .problem = problem, .slack = slack_um, .overlap = problem->overlap_um + slack_um};
    field->allowed = sm_calloc(problem->n_kits, sizeof *field->allowed);
    return field->allowed && grow_targets(field, targets) && grow_stretches(field) && list_allowed(field);
}

void sm_plan__field_release(struct sm_plan__field *field)
{
    for (size_t kit = 0; field->allowed && kit < field->problem->n_kits; kit++) {
        sm_free(field->allowed[kit].interval);
    }
    sm_free(field->allowed);
    sm_free(field->target);
    sm_free(field->reach);
    sm_free(field->stretch);
    sm_free(field->toll);
}
