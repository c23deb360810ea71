/*
 * The planner against integer programs solved by glpsol. The same test is put to mutants, planners with a
 * flaw; one that passed would mean the test sees nothing.
 */
#include "plan_ip.h"

#include "stopmark/plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#if defined __SANITIZE_ADDRESS__
#define N_CASES 100
#else
#define N_CASES 500
#endif

typedef enum sm_status planner_fn(struct sm_plan **out, const struct sm_alignment *alignment,
                                  const struct sm_sheet *sheet, struct sm_error *err);

/* ---- mutants */

/*
 * Greedy: each target that shows gets the cheapest single kit that covers it where it may lie; else it is
 * left out.
 */
struct greedy {
    struct sm_plan *plan;
    const struct sm_alignment *alignment;
    const struct sm_sheet *sheet;
    struct sm_repair *repair;
    struct sm_unrepaired *unrepaired;
};

static int64_t um(double length_m)
{
    return llround(length_m * 1e6);
}

static bool is_free(const struct greedy *greedy, int64_t start, int64_t end)
{
    for (size_t i = 0; i < greedy->alignment->n_observations; i++) {
        const struct sm_observation *observation = &greedy->alignment->observation[i];
        if (observation->is_connection && start < um(observation->end_m) && end > um(observation->start_m)) {
            return false;
        }
    }
    for (size_t i = 0; i < greedy->plan->n_repairs; i++) {
        if (start < greedy->repair[i].start_um + greedy->repair[i].length_um) {
            return false;
        }
    }
    return start >= 0 && end <= um(greedy->alignment->length_m);
}

static void greedy_cover(struct greedy *greedy, int32_t idx)
{
    const struct sm_observation *observation = &greedy->alignment->observation[idx];
    int64_t start = um(observation->start_m), end = um(observation->end_m),
            pipe = um(greedy->alignment->length_m);
    const struct sm_kit *best = NULL;
    for (size_t i = 0; i < greedy->plan->n_repairs; i++) {
        int64_t from = greedy->repair[i].start_um;
        if (from <= start && from + greedy->repair[i].length_um >= end) {
            return;
        }
    }
    for (size_t i = 0; i < greedy->sheet->n_kits; i++) {
        const struct sm_kit *kit = &greedy->sheet->kit[i];
        int64_t from = start + kit->length_um > pipe ? pipe - kit->length_um : start;
        if (kit->length_um >= end - start && is_free(greedy, from, from + kit->length_um) &&
            (!best || kit->cost < best->cost)) {
            best = kit;
        }
    }
    if (!best) {
        greedy->unrepaired[greedy->plan->n_unrepaired++] = (struct sm_unrepaired){idx, "greedy"};
        return;
    }
    struct sm_repair *repair = &greedy->repair[greedy->plan->n_repairs++];
    repair->kit_idx = (int32_t)(best - greedy->sheet->kit);
    repair->length_um = best->length_um;
    repair->start_um = start + best->length_um > pipe ? pipe - best->length_um : start;
    repair->cost = best->cost + greedy->sheet->rules.set_up_cost;
    greedy->plan->cost += repair->cost;
}

static void turn_round(struct sm_repair *repair, size_t n)
{
    for (size_t i = 0; i < n / 2; i++) {
        struct sm_repair first = repair[i];
        repair[i] = repair[n - 1 - i];
        repair[n - 1 - i] = first;
    }
}

static enum sm_status greedy_make(struct sm_plan **out, const struct sm_alignment *alignment,
                                  const struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_plan *plan = sm_calloc(1, sizeof *plan);
    struct greedy greedy = {.plan = plan, .alignment = alignment, .sheet = sheet};
    bool is_done[CASE_MAX] = {false};
    (void)err;
    assert_int_equal(sm_arena_new(&plan->arena), SM_OK);
    greedy.repair = sm_arena_alloc(plan->arena, CASE_MAX * sizeof *greedy.repair);
    greedy.unrepaired = sm_arena_alloc(plan->arena, CASE_MAX * sizeof *greedy.unrepaired);
    plan->repair = greedy.repair;
    plan->unrepaired = greedy.unrepaired;
    for (;;) {
        size_t next = CASE_MAX;
        for (size_t i = 0; i < alignment->n_observations; i++) {
            bool is_open = !is_done[i] && alignment->observation[i].treatment == SM_TREATMENT_LINE;
            if (is_open && (next == CASE_MAX ||
                            alignment->observation[i].start_m < alignment->observation[next].start_m)) {
                next = i;
            }
        }
        if (next == CASE_MAX) {
            break;
        }
        is_done[next] = true;
        greedy_cover(&greedy, (int32_t)next);
    }
    turn_round(greedy.repair, plan->n_repairs);
    *out = plan;
    return SM_OK;
}

/* The real planner told a smaller overlap. */
static enum sm_status short_lap_make(struct sm_plan **out, const struct sm_alignment *alignment,
                                     const struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_sheet flawed = *sheet;
    flawed.rules.overlap_m = sheet->rules.overlap_m / 2;
    return sm_plan_make(out, alignment, &flawed, err);
}

/* The real planner that does not know of connections. */
static enum sm_status blind_make(struct sm_plan **out, const struct sm_alignment *alignment,
                                 const struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_alignment flawed = *alignment;
    while (flawed.n_observations && flawed.observation[flawed.n_observations - 1].is_connection) {
        flawed.n_observations--;
    }
    return sm_plan_make(out, &flawed, sheet, err);
}

/* The real planner that thinks the pipe a little longer. */
static enum sm_status overlong_make(struct sm_plan **out, const struct sm_alignment *alignment,
                                    const struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_alignment flawed = *alignment;
    flawed.length_m += 0.1;
    return sm_plan_make(out, &flawed, sheet, err);
}

static const struct {
    const char *name;
    planner_fn *make;
} mutants[] = {{"greedy", greedy_make},
               {"short laps", short_lap_make},
               {"blind to connections", blind_make},
               {"overlong pipe", overlong_make}};
#define N_MUTANTS (sizeof mutants / sizeof *mutants)

/* ---- the test that all are put to */

/* NULL = as good as the integer program and by the rules. */
static const char *fault_of(planner_fn *make, const struct plan_case *problem, const struct case_worth *best,
                            struct case_worth *worth)
{
    static struct plan_input input;
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    plan_case_input(&input, problem);
    assert_ok(make(&plan, &input.alignment, &input.sheet, &err), &err);
    const char *fault = plan_check(problem, plan, worth);
    if (!fault && case_worth_compare(worth, best) != 0) {
        fault = "not the worth of the integer program's plan";
    }
    sm_plan_free(&plan);
    return fault;
}

static void report(const struct plan_case *problem, const struct case_worth *worth,
                   const struct case_worth *best)
{
    plan_case_print(problem);
    print_error("left out %lld/%lld cost %lld/%lld liners %lld/%lld length %lld/%lld\n",
                (long long)worth->left_out, (long long)best->left_out, (long long)worth->cost,
                (long long)best->cost, (long long)worth->liners, (long long)best->liners,
                (long long)worth->length, (long long)best->length);
}

/* What kinds of case came up, so that a generator gone dull is noticed. */
struct tally {
    struct case_kinds kinds;
    size_t left_out, chained, empty, faults[N_MUTANTS];
};

static void tell_kinds(struct tally *tally, const struct plan_case *problem, const struct case_worth *best)
{
    int64_t kits = 0;
    for (size_t i = 0; i < problem->n_kits; i++) {
        kits = problem->kit[i].length > kits ? problem->kit[i].length : kits;
    }
    bool is_long = false;
    for (size_t i = 0; i < problem->n_targets; i++) {
        is_long |= problem->target[i].end - problem->target[i].start > kits;
    }
    tally->left_out += best->left_out > 0;
    tally->chained += is_long && best->left_out == 0;
    plan_case_tell_kinds(&tally->kinds, problem);
    tally->empty += best->liners == 0;
}

static void check_case(const struct plan_case *problem, const char *dir, struct tally *tally)
{
    struct case_worth best, worth = {0};
    if (!plan_ip(problem, dir, &best)) {
        plan_case_print(problem);
        fail_msg("glpsol gave no answer (package glpk-utils)");
    }
    const char *fault = fault_of(sm_plan_make, problem, &best, &worth);
    if (fault) {
        report(problem, &worth, &best);
        fail_msg("%s", fault);
    }
    tell_kinds(tally, problem, &best);
    for (size_t i = 0; i < N_MUTANTS; i++) {
        tally->faults[i] += fault_of(mutants[i].make, problem, &best, &worth) != NULL;
    }
}

static void test_plan__as_good_as_the_integer_program(void **state)
{
    struct sm_test_random random = sm_test_seed(20310315);
    const char *asked = getenv("SM_CASES");
    size_t n_cases = asked ? (size_t)atol(asked) : N_CASES;
    struct tally tally = {0};
    char dir[256];
    (void)state;
    sm_test_dir_make(dir);
    for (size_t i = 0; i < n_cases; i++) {
        struct plan_case problem;
        plan_case_random(&problem, &random);
        check_case(&problem, dir, &tally);
    }
    sm_test_dir_remove(dir);
    print_message("%zu cases: %zu cannot be covered whole, %zu with a target longer than any kit, %zu without liners\n",
                  n_cases, tally.left_out, tally.chained, tally.empty);
    plan_case_assert_kinds(&tally.kinds);
    assert_true(tally.left_out && tally.chained && tally.empty);
    for (size_t i = 0; i < N_MUTANTS; i++) {
        print_message("mutant \"%s\" found out in %zu cases\n", mutants[i].name, tally.faults[i]);
        assert_true(tally.faults[i] > 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_plan__as_good_as_the_integer_program)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
