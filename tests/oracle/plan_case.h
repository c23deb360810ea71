/**
 * A planning problem in whole grid units, for tests: says the same thing as an alignment and a sheet, in few
 * words, so that checkers, brute force and integer programs can work on plain numbers that share no code with
 * the planner.
 */
#ifndef PLAN_CASE_H
#define PLAN_CASE_H

#include "stopmark/plan.h"
#include "sm_test.h"

#define CASE_MAX 64

struct case_stretch {
    int64_t start, end;
};
struct case_kit {
    int64_t length, cost;
};
/** Grid unit: 0.1 m unless grid_um says otherwise. Targets stand as they are (no end cover, no error). */
struct plan_case {
    int64_t grid_um;
    int64_t length, overlap;
    bool may_reopen;
    int64_t reopen_cost, set_up_cost;
    size_t n_targets, n_connections, n_kits;
    struct case_stretch target[CASE_MAX];
    struct case_stretch connection[CASE_MAX]; /**< keep-clear stretches; may stick out of the pipe */
    struct case_kit kit[CASE_MAX];
};

/** The case as the planner takes it. Observation i is target i, then come the connections. */
struct plan_input {
    struct sm_alignment alignment;
    struct sm_sheet sheet;
    struct sm_observation observation[2 * CASE_MAX];
    struct sm_kit kit[CASE_MAX];
};
void plan_case_input(struct plan_input *input, const struct plan_case *problem);

/** A random small case; what kinds of trouble it has depends on the generator. */
void plan_case_random(struct plan_case *problem, struct sm_test_random *random);
/** What came up so far, so that a generator gone dull is noticed. */
struct case_kinds {
    size_t overlong_kit; /**< a kit longer than the pipe */
    size_t both_ends;    /**< a target at the pipe's start and one at its end */
    size_t identical;    /**< a target twice */
    size_t no_target;
    size_t reopening, keeping_clear; /**< connections that may be, and may not be, covered */
};
void plan_case_tell_kinds(struct case_kinds *kinds, const struct plan_case *problem);
/** Fails the test when a kind never came up. */
void plan_case_assert_kinds(const struct case_kinds *kinds);
void plan_case_print(const struct plan_case *problem);

/** One liner of an answer, in micrometres. */
struct case_liner {
    int64_t start_um, length_um;
};
/** What an answer is worth. Compared in this order. */
struct case_worth {
    int64_t left_out, cost, liners, length; /**< length in grid units */
};
int case_worth_compare(const struct case_worth *a, const struct case_worth *b);

/**
 * Check a plan against the rules, from the outside: coverage, bounds, laps, keep-clear stretches, costs,
 * marks' order.
 * @return NULL when it keeps them all, else what is wrong (static text).
 */
const char *plan_check(const struct plan_case *problem, const struct sm_plan *plan, struct case_worth *worth);
/** As plan_check(), places only, with one repair moved along the pipe. */
const char *plan_check_moved(const struct plan_case *problem, const struct sm_plan *plan, size_t repair,
                             int64_t by_um);

#endif
