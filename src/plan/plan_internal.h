/*
 * What the parts of the planner share. From here on a plan is a problem in whole numbers: places in
 * micrometres from the datum, money in ten-thousandths of the sheet's currency, so that every comparison is
 * exact.
 *
 *   problem.c   observations, rules and kits -> targets, keep-clear stretches, usable kits
 *   solve.c     splits the problem into components and finds what has to be left out
 *   lanes.c     piecewise constant functions of a place, and the field the searches go over
 *   sweep.c     cheapest row of liners for one component, with a given slack
 *   leave_out.c fewest targets to leave out where not all can be covered together
 *   slack.c     where the liners of a row lie best
 *   reasons.c   why a target cannot be covered
 *   explain.c   a repair in words; passage.c what lies in its way; compare.c two plans
 *   advice.c    totals beside lining the whole length and digging, the owner's limits
 *   repairs.c   the row of liners -> repairs with marks, preparation, costs and advice
 */
#ifndef SM_PLAN_INTERNAL_H
#define SM_PLAN_INTERNAL_H

#include "stopmark/plan.h"

/** Money of the sheet times this is a whole number; finer amounts are rounded. */
#define SM_PLAN__COST_SCALE 10000.0

/** A stretch of pipe that belongs to an observation: a target, or a keep-clear stretch. */
struct sm_plan__stretch {
    int64_t start_um, end_um;
    int32_t observation_idx;
    bool may_cover;  /**< of a keep-clear stretch: a liner may cover it whole and is cut open there */
    bool is_opening; /**< a keep-clear stretch round a connection */
    bool is_repeat;  /**< of a keep-clear stretch: a connection logged once more, paid for only once */
};

/** A kit that fits the pipe. */
struct sm_plan__kit {
    int64_t length_um;
    int64_t cost; /**< kit and set-up */
    int32_t kit_idx;
};

/**
 * All that decides a plan. Targets are sorted by start, then end, then observation; keep-clear stretches
 * likewise and only those that share more than a point with the pipe, not cut at its ends; kits by length,
 * one of each length.
 */
struct sm_plan__problem {
    int64_t length_um;
    int64_t overlap_um;
    int64_t reopen_cost;
    size_t n_targets;
    struct sm_plan__stretch *target;
    size_t n_keep_clear;
    struct sm_plan__stretch *keep_clear;
    size_t n_kits;
    struct sm_plan__kit *kit;
    size_t n_fitting;   /**< kits whose diameter range holds the pipe, longer than the segment or not */
    int64_t longest_um; /**< of the usable kits, 0 = none */
    int32_t banned_kit; /**< this kit (into kit) may not touch the banned stretch; -1 = none */
    struct sm_plan__stretch banned;
};

/**
 * What a row of liners is judged by, in this order: targets left out, money, number of liners, their total
 * length.
 */
struct sm_plan__weight {
    int64_t left_out; /**< 0 wherever all targets are to be covered */
    int64_t cost;
    int64_t tie; /**< number of liners << SM_PLAN__LENGTH_BITS | total length */
};
#define SM_PLAN__LENGTH_BITS 43 /* 8,796 km of liner in micrometres */

/** One liner of a row. */
struct sm_plan__liner {
    int64_t start_um;
    int64_t slack_um;
    int32_t kit_idx; /**< into the problem's kits */
    bool is_lapping; /**< laps the liner before it; else it begins a run of its own */
};

/** Liners in order along the pipe. Starts and ends both rise. */
struct sm_plan__row {
    size_t n, capacity;
    struct sm_plan__liner *liner;
    struct sm_plan__weight weight;
};

/** Some of a problem's targets, sorted as there. */
struct sm_plan__targets {
    size_t n;
    const struct sm_plan__stretch *target;
};

static inline int sm_plan__compare(struct sm_plan__weight a, struct sm_plan__weight b)
{
    if (a.left_out != b.left_out) {
        return a.left_out < b.left_out ? -1 : 1;
    }
    if (a.cost != b.cost) {
        return a.cost < b.cost ? -1 : 1;
    }
    return a.tie < b.tie ? -1 : a.tie > b.tie;
}

static inline int64_t sm_plan__min(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static inline int64_t sm_plan__max(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

/* ---- plan.c */

/** An empty plan. Free with sm_plan_free(). */
enum sm_status sm_plan__new(struct sm_plan **out, struct sm_error *err) SM_CHECKED;

/** Length for people, in the crew's unit: metres with decimals, or feet and inches to the quarter. */
void sm_plan__add_length(struct sm_text *text, const struct sm_sheet *sheet, double length_um, int decimals);
/** Is an observation with a target among those the plan covers? */
bool sm_plan__is_repaired(const struct sm_plan *plan, int32_t observation_idx);

/* ---- advice.c */

/** The plan's one line of totals side by side, "" when none is asked for. plan's repairs and unrepaired are
 * set. */
enum sm_status sm_plan__advise(struct sm_plan *plan, const struct sm_plan__problem *problem,
                               const struct sm_sheet *sheet) SM_CHECKED;

/* ---- problem.c */

/**
 * State the problem. Observations that call for a liner and have none of their own fault get a target; those
 * without a place, outside the pipe, or referred are put on the plan's unrepaired list at once.
 */
enum sm_status sm_plan__problem_new(struct sm_plan__problem *problem, struct sm_plan *plan,
                                    const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                    struct sm_error *err) SM_CHECKED;
void sm_plan__problem_release(struct sm_plan__problem *problem);
/** Metres to whole micrometres, downward or upward; what lies within 1e-9 m of one counts as that one. */
int64_t sm_plan__floor_um(double length_m);
int64_t sm_plan__ceil_um(double length_m);
/** Does the observation keep liners off? */
bool sm_plan__is_keep_clear(const struct sm_observation *observation);

/** Leave out of the problem the targets that the plan does not cover. */
void sm_plan__problem_reduce(struct sm_plan__problem *problem, const struct sm_plan *plan);

/* ---- sweep.c */

/**
 * The best row of liners that covers all targets with slack_um to spare everywhere.
 * @param row [inout] replaced; n = 0 with is_found false when there is none. Its places are valid but not yet
 * the best.
 */
enum sm_status sm_plan__sweep(struct sm_plan__row *row, bool *is_found,
                              const struct sm_plan__problem *problem, struct sm_plan__targets targets,
                              int64_t slack_um, struct sm_error *err) SM_CHECKED;

/* ---- slack.c */

/**
 * Move the liners of a valid row, its structure kept, to where the least slack is largest, then the next,
 * and so on.
 */
enum sm_status sm_plan__place(struct sm_plan__row *row, const struct sm_plan__problem *problem,
                              struct sm_plan__targets targets, struct sm_error *err) SM_CHECKED;

/* ---- solve.c */

/** Row for the whole pipe. @param is_left_out [out] one for each of the problem's targets. */
enum sm_status sm_plan__solve(struct sm_plan__row *row, bool *is_left_out,
                              const struct sm_plan__problem *problem, struct sm_error *err) SM_CHECKED;
void sm_plan__row_release(struct sm_plan__row *row);
/**
 * Cost of the cheapest row that covers every target of the problem. @param is_found false when there is
 * none.
 */
enum sm_status sm_plan__least_cost(int64_t *cost, bool *is_found, const struct sm_plan__problem *problem,
                                   struct sm_error *err) SM_CHECKED;

/* ---- leave_out.c */

/**
 * Of targets that cannot all be covered together, the fewest to leave out. @param is_out [out] one for
 * each target.
 */
enum sm_status sm_plan__leave_out(bool *is_out, const struct sm_plan__problem *problem,
                                  struct sm_plan__targets targets, struct sm_error *err) SM_CHECKED;

/* ---- reasons.c */

/** Why target_idx cannot be covered, in words. NULL when memory runs out. */
const char *sm_plan__reason(struct sm_plan *plan, const struct sm_plan__problem *problem, size_t target_idx,
                            const struct sm_alignment *alignment, const struct sm_sheet *sheet);

/* ---- repairs.c */

/** Turn the solved row into the plan's repairs, unrepaired targets, costs and advice. */
enum sm_status sm_plan__describe(struct sm_plan *plan, const struct sm_plan__problem *problem,
                                 const struct sm_plan__row *row, const bool *is_left_out,
                                 const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                 struct sm_error *err) SM_CHECKED;

#endif
