/*
 * Where the liners of a row lie best: the least slack as large as it can be, then the next, and so on.
 *
 * The slack of a liner is how far it may sit off its stop, the smaller way, the others at theirs, before
 *   - a target it ends shows (the first liner of a run ends its targets on one side, the last on the other),
 *   - a lap it has falls below the overlap, or liners that do not lap come to touch,
 *   - it reaches into a keep-clear stretch, or uncovers part of one that it covers whole.
 * An end of a liner that lies at the pipe's own end limits nothing: there the crew sees it. No slack counts
 * for more than the liner's own length.
 *
 * With the structure of the row fixed (which liners lap, on which side of each keep-clear stretch they lie)
 * every limit is a difference constraint: a bound on one start, or on the difference of two neighbours'
 * starts. Asked for slack t, each constraint tightens by t. The constraints form a path, so walking along it
 * with the interval of possible starts decides exactly whether t can be had. The largest t is found by
 * halving. Where t + 1 fails, the constraints that clash form a chain whose total play is used up; all liners
 * that touch a constraint of that chain can have no more, so their level is settled and the rest go on. Two
 * liners share the slack of what lies between them, so such a constraint asks for the larger of their levels.
 * All is in whole micrometres; a chain that cannot share its play evenly leaves less than a micrometre a
 * liner unused.
 */
#include "plan_internal.h"

#include <assert.h>

#define NOWHERE (INT64_MAX / 4)

/* Limits of one liner; without one: -NOWHERE or NOWHERE. */
struct limits {
    int64_t length;
    int64_t start_from, start_to; /* bounds of its start edge that ask for slack */
    int64_t end_from, end_to;     /* of its end edge */
    int64_t level;                /* slack asked for */
    bool is_settled;
};
/* Starts possible for a liner, and where the bounds come from: itself, or carried on from the liner before.
 */
struct reach {
    int64_t low, high;
    bool is_low_carried, is_high_carried;
};
struct spread {
    const struct sm_plan__problem *problem;
    struct sm_plan__row *row;
    struct limits *limits;
    struct reach *reach;
};

static const struct sm_plan__kit *kit_of(const struct spread *spread, size_t i)
{
    return &spread->problem->kit[spread->row->liner[i].kit_idx];
}

/* ---- the limits of a row */

static void limit_by_keep_clear(struct limits *limits, int64_t start, const struct sm_plan__problem *problem)
{
    int64_t end = start + limits->length;
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        int64_t from = sm_plan__max(0, problem->keep_clear[i].start_um);
        int64_t to = sm_plan__min(problem->length_um, problem->keep_clear[i].end_um);
        if (to <= start) {
            limits->start_from = sm_plan__max(limits->start_from, to);
        } else if (from >= end) {
            limits->end_to = sm_plan__min(limits->end_to, from);
        } else {
            limits->start_to = sm_plan__min(limits->start_to, from);
            limits->end_from = sm_plan__max(limits->end_from, to);
        }
    }
}

static size_t run_end(const struct sm_plan__row *row, size_t first)
{
    size_t last = first;
    while (last + 1 < row->n && row->liner[last + 1].is_lapping) {
        last++;
    }
    return last;
}

/* The runs are in order and do not meet, so a target belongs to the first run that reaches its end. */
static void limit_by_targets(struct spread *spread, struct sm_plan__targets targets)
{
    const struct sm_plan__row *row = spread->row;
    for (size_t i = 0; i < targets.n; i++) {
        struct sm_plan__stretch target = targets.target[i];
        size_t first = 0, last = run_end(row, 0);
        while (row->liner[last].start_um + spread->limits[last].length < target.end_um) {
            first = last + 1;
            last = run_end(row, first);
        }
        assert(row->liner[first].start_um <= target.start_um);
        spread->limits[first].start_to = sm_plan__min(spread->limits[first].start_to, target.start_um);
        spread->limits[last].end_from = sm_plan__max(spread->limits[last].end_from, target.end_um);
    }
}

static void find_limits(struct spread *spread, struct sm_plan__targets targets)
{
    for (size_t i = 0; i < spread->row->n; i++) {
        struct limits *limits = &spread->limits[i];
        *limits =
            (struct limits){kit_of(spread, i)->length_um, -NOWHERE, NOWHERE, -NOWHERE, NOWHERE, 0, false};
        limit_by_keep_clear(limits, spread->row->liner[i].start_um, spread->problem);
    }
    limit_by_targets(spread, targets);
}

/* ---- what the levels asked for leave */

static struct reach own_reach(const struct spread *spread, size_t i)
{
    const struct limits *limits = &spread->limits[i];
    int64_t pipe = spread->problem->length_um, level = limits->level, length = limits->length;
    struct reach reach = {0};
    reach.low = sm_plan__max(0, limits->start_from + level);
    reach.low = sm_plan__max(reach.low, sm_plan__min(pipe, limits->end_from + level) - length);
    reach.high = sm_plan__min(pipe - length, limits->end_to - level - length);
    reach.high = sm_plan__min(reach.high, sm_plan__max(0, limits->start_to - level));
    return reach;
}

/* How far liner i may begin after liner i - 1: [least, most]. Both starts and ends rise. */
static void link_of(const struct spread *spread, size_t i, int64_t *least, int64_t *most)
{
    int64_t before = spread->limits[i - 1].length, own = spread->limits[i].length;
    int64_t level = sm_plan__max(spread->limits[i - 1].level, spread->limits[i].level);
    *least = spread->row->liner[i].is_lapping ? sm_plan__max(1, before - own + 1) : before + level;
    *most = spread->row->liner[i].is_lapping ? before - spread->problem->overlap_um - level : NOWHERE;
}

/* Walk the path. @return the first liner with no place left, or n when all have one. */
static size_t walk(struct spread *spread)
{
    for (size_t i = 0; i < spread->row->n; i++) {
        struct reach *reach = &spread->reach[i];
        *reach = own_reach(spread, i);
        if (i > 0) {
            int64_t least, most;
            link_of(spread, i, &least, &most);
            reach->is_low_carried = spread->reach[i - 1].low + least > reach->low;
            reach->is_high_carried = sm_plan__min(spread->reach[i - 1].high + most, NOWHERE) < reach->high;
            reach->low = reach->is_low_carried ? spread->reach[i - 1].low + least : reach->low;
            reach->high = reach->is_high_carried ? spread->reach[i - 1].high + most : reach->high;
            if (least > most) {
                return i;
            }
        }
        if (reach->low > reach->high) {
            return i;
        }
    }
    return spread->row->n;
}

static void ask(struct spread *spread, int64_t level)
{
    for (size_t i = 0; i < spread->row->n; i++) {
        struct limits *limits = &spread->limits[i];
        if (!limits->is_settled) {
            limits->level = sm_plan__min(level, limits->length);
        }
    }
}

static bool can_have(struct spread *spread, int64_t level)
{
    ask(spread, level);
    return walk(spread) == spread->row->n;
}

/* ---- settling, level by level */

static void settle_one(struct spread *spread, size_t i, int64_t level)
{
    struct limits *limits = &spread->limits[i];
    if (!limits->is_settled) {
        limits->is_settled = true;
        limits->level = sm_plan__min(level, limits->length);
    }
}

/* The bound of its own that liner i runs into asks for slack (else it is the pipe's end, which gives none).
 */
static bool low_asks(const struct spread *spread, size_t i)
{
    int64_t low = own_reach(spread, i).low;
    return low > 0 && low != spread->problem->length_um - spread->limits[i].length;
}

static bool high_asks(const struct spread *spread, size_t i)
{
    int64_t high = own_reach(spread, i).high;
    return high != spread->problem->length_um - spread->limits[i].length &&
           !(high == 0 && spread->limits[i].start_to - spread->limits[i].level <= 0);
}

static void settle_pair(struct spread *spread, size_t i, int64_t level)
{
    settle_one(spread, i - 1, level);
    settle_one(spread, i, level);
}

/* Liner i has no place: settle all that touch a constraint of the chain that clashes there. */
static void settle_clash(struct spread *spread, size_t i, int64_t level)
{
    const struct reach *reach = spread->reach;
    size_t low_from = i, high_from = i;
    if (reach[i].low <= reach[i].high) { /* the lap alone is the clash */
        settle_pair(spread, i, level);
        return;
    }
    while (reach[low_from].is_low_carried) {
        low_from--;
    }
    while (reach[high_from].is_high_carried) {
        high_from--;
    }
    bool does_low_ask = low_asks(spread, low_from), does_high_ask = high_asks(spread, high_from);
    for (size_t j = i; j > low_from; j--) {
        if (!spread->row->liner[j].is_lapping) {
            settle_pair(spread, j, level);
        }
    }
    for (size_t j = i; j > high_from; j--) {
        settle_pair(spread, j, level);
    }
    if (does_low_ask) {
        settle_one(spread, low_from, level);
    }
    if (does_high_ask) {
        settle_one(spread, high_from, level);
    }
}

static bool settle_full(struct spread *spread, int64_t level)
{
    bool is_any_left = false;
    for (size_t i = 0; i < spread->row->n; i++) {
        if (spread->limits[i].length <= level) {
            settle_one(spread, i, level);
        }
        is_any_left = is_any_left || !spread->limits[i].is_settled;
    }
    return is_any_left;
}

static void settle_all(struct spread *spread)
{
    int64_t level = 0;
    while (settle_full(spread, level)) {
        int64_t fails = spread->problem->longest_um + 1;
        while (fails - level > 1) {
            int64_t middle = level + (fails - level) / 2;
            if (can_have(spread, middle)) {
                level = middle;
            } else {
                fails = middle;
            }
        }
        if (!settle_full(spread, level)) {
            return;
        }
        ask(spread, level + 1);
        size_t clash = walk(spread);
        assert(clash < spread->row->n);
        settle_clash(spread, clash, level);
    }
}

/* ---- the places that come of it */

/* Of all places that give every liner its level, the ones nearest the datum. */
static void take_places(struct spread *spread)
{
    struct sm_plan__row *row = spread->row;
    size_t clash = walk(spread);
    assert(clash == row->n);
    (void)clash;
    row->liner[row->n - 1].start_um = spread->reach[row->n - 1].low;
    for (size_t i = row->n - 1; i > 0; i--) {
        int64_t least, most;
        link_of(spread, i, &least, &most);
        row->liner[i - 1].start_um = sm_plan__max(spread->reach[i - 1].low, row->liner[i].start_um - most);
    }
}

static int64_t play_between(const struct spread *spread, size_t i)
{
    const struct sm_plan__liner *liner = spread->row->liner;
    int64_t lap = liner[i - 1].start_um + spread->limits[i - 1].length - liner[i].start_um;
    return liner[i].is_lapping ? lap - spread->problem->overlap_um : -lap;
}

static int64_t slack_of(const struct spread *spread, size_t i)
{
    const struct limits *limits = &spread->limits[i];
    int64_t start = spread->row->liner[i].start_um, end = start + limits->length, slack = limits->length;
    if (start > 0) {
        slack = sm_plan__min(slack, sm_plan__min(start - limits->start_from, limits->start_to - start));
    }
    if (end < spread->problem->length_um) {
        slack = sm_plan__min(slack, sm_plan__min(end - limits->end_from, limits->end_to - end));
    }
    slack = i > 0 ? sm_plan__min(slack, play_between(spread, i)) : slack;
    return i + 1 < spread->row->n ? sm_plan__min(slack, play_between(spread, i + 1)) : slack;
}

enum sm_status sm_plan__place(struct sm_plan__row *row, const struct sm_plan__problem *problem,
                              struct sm_plan__targets targets, struct sm_error *err)
{
    struct spread spread = {.problem = problem, .row = row};
    enum sm_status status = SM_OK;
    spread.limits = sm_calloc(row->n, sizeof *spread.limits);
    spread.reach = sm_calloc(row->n, sizeof *spread.reach);
    if (!spread.limits || !spread.reach) {
        status = sm_error_set(err, SM_E_NOMEM, "out of memory");
    } else {
        find_limits(&spread, targets);
        settle_all(&spread);
        take_places(&spread);
        for (size_t i = 0; i < row->n; i++) {
            row->liner[i].slack_um = slack_of(&spread, i);
        }
    }
    sm_free(spread.limits);
    sm_free(spread.reach);
    return status;
}
