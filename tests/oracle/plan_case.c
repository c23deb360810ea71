/* Cases for the planner in grid units, and a checker of plans that shares nothing with the planner. */
#include "plan_case.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void plan_case_input(struct plan_input *input, const struct plan_case *problem)
{
    double grid_m = (double)problem->grid_um / 1e6;
    memset(input, 0, sizeof *input);
    input->alignment.length_m = (double)problem->length * grid_m;
    input->alignment.n_observations = problem->n_targets + problem->n_connections;
    input->alignment.observation = input->observation;
    for (size_t i = 0; i < input->alignment.n_observations; i++) {
        bool is_target = i < problem->n_targets;
        struct case_stretch place =
            is_target ? problem->target[i] : problem->connection[i - problem->n_targets];
        struct sm_observation *observation = &input->observation[i];
        snprintf(observation->id, sizeof observation->id, "O%u", (unsigned)(i + 1) % 10000);
        observation->code = is_target ? "BAC" : "BCA";
        observation->prepare = observation->reason = "";
        observation->entry_idx = (int32_t)i;
        observation->treatment = is_target ? SM_TREATMENT_LINE : SM_TREATMENT_CLEAR;
        observation->is_connection = !is_target;
        observation->start_m = (double)place.start * grid_m;
        observation->end_m = (double)place.end * grid_m;
        observation->distance_m = (observation->start_m + observation->end_m) / 2;
        observation->diameter_mm = is_target ? SM_NAN : (observation->end_m - observation->start_m) * 1e3;
    }
    input->sheet.segment.diameter_mm = 200;
    input->sheet.segment.length_m = input->alignment.length_m;
    input->sheet.rules = (struct sm_rules){
        .overlap_m = (double)problem->overlap * grid_m,
        .connection_diameter_mm = 150,
        .may_reopen = problem->may_reopen,
        .set_up_cost = (double)problem->set_up_cost,
        .reopen_cost = (double)problem->reopen_cost,
        .full_lining_rate_per_m = 100,
    };
    input->sheet.kit = input->kit;
    input->sheet.n_kits = problem->n_kits;
    for (size_t i = 0; i < problem->n_kits; i++) {
        input->kit[i] = (struct sm_kit){"kit",
                                        150,
                                        250,
                                        problem->kit[i].length * problem->grid_um,
                                        (double)problem->kit[i].cost,
                                        0,
                                        SM_NAN,
                                        SM_NAN,
                                        SM_NAN,
                                        NULL};
    }
}

void plan_case_random(struct plan_case *problem, struct sm_test_random *random)
{
    memset(problem, 0, sizeof *problem);
    problem->grid_um = 100000;
    problem->length = sm_test_int(random, 6, 40);
    problem->overlap = sm_test_int(random, 0, 3);
    problem->may_reopen = sm_test_int(random, 0, 2) == 0;
    problem->set_up_cost = sm_test_int(random, 0, 6);
    problem->reopen_cost = sm_test_int(random, 0, 6);
    problem->n_kits = (size_t)sm_test_int(random, 1, 3);
    for (size_t i = 0; i < problem->n_kits; i++) {
        int64_t length = sm_test_int(random, 2, sm_test_int(random, 0, 9) == 0 ? 45 : 10);
        problem->kit[i] = (struct case_kit){length, length / 2 + sm_test_int(random, 0, 5)};
    }
    problem->n_targets = (size_t)sm_test_int(random, 0, 6);
    for (size_t i = 0; i < problem->n_targets; i++) {
        int64_t start = sm_test_int(random, 0, problem->length);
        int64_t end =
            start + (sm_test_int(random, 0, 3) == 0 ? sm_test_int(random, 0, 14) : sm_test_int(random, 0, 4));
        problem->target[i] = (struct case_stretch){start, end < problem->length ? end : problem->length};
        if (i > 0 && sm_test_int(random, 0, 9) == 0) {
            problem->target[i] = problem->target[i - 1];
        }
    }
    problem->n_connections = (size_t)sm_test_int(random, 0, 3);
    for (size_t i = 0; i < problem->n_connections; i++) {
        int64_t start = sm_test_int(random, -1, problem->length), width = sm_test_int(random, 1, 3);
        bool is_on_target = false;
        for (size_t j = 0; j < problem->n_targets; j++) {
            is_on_target |= start < problem->target[j].end && start + width > problem->target[j].start;
        }
        if (is_on_target && !problem->may_reopen && sm_test_int(random, 0, 2) > 0) {
            start = problem->length - 1; /* most cases should be coverable */
        }
        problem->connection[i] = (struct case_stretch){start, start + width};
    }
}

void plan_case_tell_kinds(struct case_kinds *kinds, const struct plan_case *problem)
{
    bool is_overlong = false, is_at_start = false, is_at_end = false, is_identical = false;
    for (size_t i = 0; i < problem->n_kits; i++) {
        is_overlong |= problem->kit[i].length > problem->length;
    }
    for (size_t i = 0; i < problem->n_targets; i++) {
        const struct case_stretch *target = &problem->target[i];
        is_at_start |= target->start == 0;
        is_at_end |= target->end == problem->length;
        for (size_t j = 0; j < i; j++) {
            is_identical |= target->start == problem->target[j].start && target->end == problem->target[j].end;
        }
    }
    kinds->overlong_kit += is_overlong && problem->n_targets > 0;
    kinds->both_ends += is_at_start && is_at_end;
    kinds->identical += is_identical;
    kinds->no_target += problem->n_targets == 0;
    kinds->reopening += problem->may_reopen && problem->n_connections > 0;
    kinds->keeping_clear += !problem->may_reopen && problem->n_connections > 0;
}

void plan_case_assert_kinds(const struct case_kinds *kinds)
{
    print_message("%zu with a kit longer than the pipe, %zu with targets at both ends, %zu with one twice, %zu without, "
                  "%zu with connections that may be covered, %zu with some that may not\n",
                  kinds->overlong_kit, kinds->both_ends, kinds->identical, kinds->no_target, kinds->reopening,
                  kinds->keeping_clear);
    assert_true(kinds->overlong_kit && kinds->both_ends && kinds->identical && kinds->no_target &&
                kinds->reopening && kinds->keeping_clear);
}

void plan_case_print(const struct plan_case *problem)
{
    print_error("length %lld overlap %lld reopen %d at %lld set-up %lld\n", (long long)problem->length,
                (long long)problem->overlap, problem->may_reopen, (long long)problem->reopen_cost,
                (long long)problem->set_up_cost);
    for (size_t i = 0; i < problem->n_kits; i++) {
        print_error("kit %lld cost %lld\n", (long long)problem->kit[i].length,
                    (long long)problem->kit[i].cost);
    }
    for (size_t i = 0; i < problem->n_targets; i++) {
        print_error("target %lld..%lld\n", (long long)problem->target[i].start,
                    (long long)problem->target[i].end);
    }
    for (size_t i = 0; i < problem->n_connections; i++) {
        print_error("connection %lld..%lld\n", (long long)problem->connection[i].start,
                    (long long)problem->connection[i].end);
    }
}

int case_worth_compare(const struct case_worth *a, const struct case_worth *b)
{
    const int64_t left[] = {a->left_out, a->cost, a->liners, a->length};
    const int64_t right[] = {b->left_out, b->cost, b->liners, b->length};
    for (size_t i = 0; i < 4; i++) {
        if (left[i] != right[i]) {
            return left[i] < right[i] ? -1 : 1;
        }
    }
    return 0;
}

/* ---- the checker */

static int by_start(const void *left, const void *right)
{
    const struct case_liner *a = left, *b = right;
    return (a->start_um > b->start_um) - (a->start_um < b->start_um);
}

static size_t liners_along(struct case_liner *liner, const struct sm_plan *plan)
{
    for (size_t i = 0; i < plan->n_repairs; i++) {
        liner[i] = (struct case_liner){plan->repair[i].start_um, plan->repair[i].length_um};
    }
    qsort(liner, plan->n_repairs, sizeof *liner, by_start);
    return plan->n_repairs;
}

/*
 * A liner inside its neighbour is pointless in a plan; where one was moved out of its place it may come to
 * that.
 */
static const char *check_neighbours(const struct plan_case *problem, const struct case_liner *liner, size_t n,
                                    bool may_nest)
{
    int64_t reach = 0;
    for (size_t i = 0; i < n; i++) {
        int64_t end = liner[i].start_um + liner[i].length_um;
        int64_t lap = reach - liner[i].start_um;
        if (i > 0 && lap > 0 && lap < problem->overlap * problem->grid_um) {
            return "neighbours lap by less than the overlap";
        }
        if (i > 0 && !may_nest && (end <= reach || liner[i].start_um == liner[i - 1].start_um)) {
            return "a liner lies inside its neighbour";
        }
        reach = end > reach ? end : reach;
    }
    return NULL;
}

static bool is_over(const struct case_liner *liner, int64_t start_um, int64_t end_um)
{
    return liner->start_um < end_um && liner->start_um + liner->length_um > start_um;
}

/*
 * Keep-clear stretches: clear of liners, or covered whole where that is allowed; reopened counts those
 * covered.
 */
static const char *check_keep_clear(const struct plan_case *problem, const struct case_liner *liner, size_t n,
                                    int64_t *reopened)
{
    *reopened = 0;
    for (size_t i = 0; i < problem->n_connections; i++) {
        int64_t start = problem->connection[i].start * problem->grid_um;
        int64_t end = problem->connection[i].end * problem->grid_um;
        bool is_covered = false;
        start = start > 0 ? start : 0;
        end = end < problem->length * problem->grid_um ? end : problem->length * problem->grid_um;
        for (size_t j = 0; j < n && start < end; j++) {
            if (!is_over(&liner[j], start, end)) {
                continue;
            }
            if (!problem->may_reopen || liner[j].start_um > start ||
                liner[j].start_um + liner[j].length_um < end) {
                return "a liner reaches into a keep-clear stretch";
            }
            is_covered = true;
        }
        *reopened += is_covered;
    }
    return NULL;
}

static bool is_covered(const struct plan_case *problem, const struct case_liner *liner, size_t n,
                       const struct case_stretch *target)
{
    int64_t run_start = 0, run_end = -1;
    for (size_t i = 0; i < n; i++) {
        bool continues = i > 0 && run_end - liner[i].start_um >= problem->overlap * problem->grid_um;
        run_start = continues ? run_start : liner[i].start_um;
        int64_t end = liner[i].start_um + liner[i].length_um;
        run_end = continues && end < run_end ? run_end : end;
        if (run_start <= target->start * problem->grid_um && run_end >= target->end * problem->grid_um) {
            return true;
        }
    }
    return false;
}

static bool is_unrepaired(const struct sm_plan *plan, size_t observation)
{
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        if (plan->unrepaired[i].observation_idx == (int32_t)observation && *plan->unrepaired[i].reason) {
            return true;
        }
    }
    return false;
}

static const char *check_kits(const struct plan_case *problem, const struct sm_plan *plan, int64_t *cost)
{
    double sum = 0;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        const struct sm_repair *repair = &plan->repair[i];
        const struct case_kit *kit = &problem->kit[repair->kit_idx];
        if (repair->length_um != kit->length * problem->grid_um) {
            return "a liner is not as long as its kit";
        }
        *cost += kit->cost + problem->set_up_cost;
        sum += repair->cost;
        if (i > 0 && repair->start_um >= plan->repair[i - 1].start_um) {
            return "repairs are not in order of work";
        }
    }
    return fabs(sum - plan->cost) > 1e-6 ? "the repairs' costs do not add up" : NULL;
}

static const char *check_liners(const struct plan_case *problem, const struct sm_plan *plan,
                                const struct case_liner *liner, bool may_nest, int64_t *reopened)
{
    size_t n = plan->n_repairs;
    for (size_t i = 0; i < n; i++) {
        if (liner[i].start_um < 0 ||
            liner[i].start_um + liner[i].length_um > problem->length * problem->grid_um) {
            return "a liner leaves the pipe";
        }
    }
    const char *wrong = check_neighbours(problem, liner, n, may_nest);
    wrong = wrong ? wrong : check_keep_clear(problem, liner, n, reopened);
    for (size_t i = 0; i < problem->n_targets && !wrong; i++) {
        wrong = !is_unrepaired(plan, i) && !is_covered(problem, liner, n, &problem->target[i])
                    ? "a target shows"
                    : NULL;
    }
    return wrong;
}

const char *plan_check_moved(const struct plan_case *problem, const struct sm_plan *plan, size_t repair,
                             int64_t by_um)
{
    struct case_liner *liner = sm_calloc(plan->n_repairs + 1, sizeof *liner);
    int64_t reopened = 0;
    liners_along(liner, plan);
    for (size_t i = 0; i < plan->n_repairs; i++) {
        liner[i].start_um += liner[i].start_um == plan->repair[repair].start_um ? by_um : 0;
    }
    qsort(liner, plan->n_repairs, sizeof *liner, by_start);
    const char *wrong = check_liners(problem, plan, liner, true, &reopened);
    sm_free(liner);
    return wrong;
}

const char *plan_check(const struct plan_case *problem, const struct sm_plan *plan, struct case_worth *worth)
{
    struct case_liner *liner = sm_calloc(plan->n_repairs + 1, sizeof *liner);
    size_t n = liners_along(liner, plan);
    int64_t reopened = 0;
    *worth = (struct case_worth){0, 0, (int64_t)n, 0};
    const char *wrong = check_kits(problem, plan, &worth->cost);
    wrong = wrong ? wrong : check_liners(problem, plan, liner, false, &reopened);
    worth->cost += reopened * problem->reopen_cost;
    for (size_t i = 0; i < n; i++) {
        worth->length += liner[i].length_um / problem->grid_um;
    }
    for (size_t i = 0; i < problem->n_targets; i++) {
        worth->left_out += is_unrepaired(plan, i);
    }
    if (!wrong && fabs(plan->cost - (double)worth->cost) > 1e-6) {
        wrong = "the plan's cost is not that of its kits, set-ups and reopenings";
    }
    sm_free(liner);
    return wrong;
}
