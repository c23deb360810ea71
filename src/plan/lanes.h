/*
 * Piecewise constant functions of a place along the pipe, and the ground they are swept over: what the two
 * searches, sweep.c and leave_out.c, have in common.
 */
#ifndef SM_PLAN_LANES_H
#define SM_PLAN_LANES_H

#include "plan_internal.h"

#define SM_PLAN__NEVER INT64_MAX

struct sm_plan__piece {
    int64_t first, last; /* last = SM_PLAN__NEVER while it goes on */
    struct sm_plan__weight lap, full;
};
/* A piecewise constant function; between pieces it is infinite. */
struct sm_plan__lane {
    size_t n, capacity;
    struct sm_plan__piece *piece;
};
struct sm_plan__interval {
    int64_t first, last;
};
/* Where a liner of a kit may begin, in order. */
struct sm_plan__allowed {
    size_t n, at; /* at: the interval a sweep is in or before */
    struct sm_plan__interval *interval;
};
/* A component's targets and keep-clear stretches, grown by the slack asked for. */
struct sm_plan__field {
    const struct sm_plan__problem *problem;
    int64_t slack, overlap; /* the overlap is grown too */
    int64_t low, high;      /* no liner leaves this stretch */
    size_t n_targets;
    struct sm_plan__stretch *target;
    int64_t *reach; /* furthest end of targets 0..i */
    size_t n_stretches;
    struct sm_plan__stretch *stretch;
    size_t n_tolls;
    int64_t *toll;                    /* ends of coverable stretches, rising */
    struct sm_plan__allowed *allowed; /* one a kit */
};

static inline bool sm_plan__is_finite(struct sm_plan__weight weight)
{
    return weight.cost != INT64_MAX;
}

static inline struct sm_plan__weight sm_plan__infinite(void)
{
    return (struct sm_plan__weight){INT64_MAX, INT64_MAX, INT64_MAX};
}

/* b added to a, which may be infinite. */
static inline struct sm_plan__weight sm_plan__plus(struct sm_plan__weight a, struct sm_plan__weight b)
{
    return sm_plan__is_finite(a)
               ? (struct sm_plan__weight){a.left_out + b.left_out, a.cost + b.cost, a.tie + b.tie}
               : a;
}

static inline struct sm_plan__weight sm_plan__lesser(struct sm_plan__weight a, struct sm_plan__weight b)
{
    return sm_plan__compare(b, a) < 0 ? b : a;
}

/* Rows of more liners are given up: their weights would run out of bits. */
#define SM_PLAN__MOST_LINERS ((int64_t)500000)

static inline bool sm_plan__is_too_many(struct sm_plan__weight weight)
{
    return sm_plan__is_finite(weight) && weight.tie >> SM_PLAN__LENGTH_BITS > SM_PLAN__MOST_LINERS;
}

/* Says that the search was given up. */
enum sm_status sm_plan__too_many(struct sm_error *err);

/* What one liner of the kit adds to a row. */
struct sm_plan__weight sm_plan__kit_weight(const struct sm_plan__kit *kit);
/*
 * Most that a liner of kit can reach into one of other, both starts and ends rising; below the overlap:
 * they cannot lap.
 */
int64_t sm_plan__deepest_lap(const struct sm_plan__problem *problem, size_t kit, size_t other);

/*
 * Grow and sort what the component needs. Release it whatever the outcome. @return false when memory runs
 * out.
 */
bool sm_plan__field_new(struct sm_plan__field *field, const struct sm_plan__problem *problem,
                        struct sm_plan__targets targets, int64_t slack_um);
void sm_plan__field_release(struct sm_plan__field *field);

/*
 * From place on the lane's value is lap, which leaves out what reopening costs up to there (tolls). A piece
 * that goes on unchanged is broken only when must_break. @return false when memory runs out.
 */
bool sm_plan__lane_set(struct sm_plan__lane *lane, int64_t place, struct sm_plan__weight lap, int64_t tolls,
                       bool must_break);
/* First piece that does not end before place; lane->n when there is none. */
size_t sm_plan__lane_find(const struct sm_plan__lane *lane, int64_t place);
/* The piece that holds place, NULL when none does. */
const struct sm_plan__piece *sm_plan__lane_at(const struct sm_plan__lane *lane, int64_t place);

#endif
