/* The planner against every possible plan of tiny cases: worth and least slack must be the best there is. */
#include "plan_brute.h"

#include "stopmark/plan.h"

#include <stdlib.h>
#include <string.h>

#if defined __SANITIZE_ADDRESS__
#define N_CASES 2000
#else
#define N_CASES 3000
#endif

static void shrink(struct plan_case *problem, struct sm_test_random *random)
{
    problem->length = sm_test_int(random, 3, problem->n_kits > 2 ? 9 : 11);
    problem->n_targets = problem->n_targets > 4 ? 4 : problem->n_targets;
    problem->n_connections = problem->n_connections > 2 ? 2 : problem->n_connections;
    for (size_t i = 0; i < problem->n_targets; i++) {
        int64_t start = problem->target[i].start % problem->length;
        int64_t end = start + (problem->target[i].end - problem->target[i].start);
        problem->target[i] = (struct case_stretch){start, end < problem->length ? end : problem->length};
    }
    for (size_t i = 0; i < problem->n_connections; i++) {
        int64_t width = problem->connection[i].end - problem->connection[i].start;
        problem->connection[i].start = problem->connection[i].start % problem->length;
        problem->connection[i].end = problem->connection[i].start + width;
    }
    for (size_t i = 0; i < problem->n_kits; i++) {
        problem->kit[i].length = sm_test_int(random, 1, 7);
    }
}

static int64_t least_slack(const struct sm_plan *plan)
{
    int64_t least = INT64_MAX;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        int64_t slack = (int64_t)(plan->repair[i].slack_m * 1e6 + 0.5);
        least = slack < least ? slack : least;
    }
    return least;
}

/* Off its stop by its slack a liner still does its work; a hair more, one way or the other, and it does not.
 */
static const char *check_slack(const struct plan_case *problem, const struct sm_plan *plan)
{
    for (size_t i = 0; i < plan->n_repairs; i++) {
        const struct sm_repair *repair = &plan->repair[i];
        int64_t slack = (int64_t)(repair->slack_m * 1e6 + 0.5), end = repair->start_um + repair->length_um;
        if (repair->start_um == 0 || end == problem->length * problem->grid_um) {
            continue; /* there the crew sees the pipe's end */
        }
        const char *near = plan_check_moved(problem, plan, i, slack),
                   *far = plan_check_moved(problem, plan, i, -slack);
        if (near || far) {
            bool is_end = strcmp(near ? near : far, "a liner leaves the pipe") == 0;
            return is_end ? NULL : "a liner off its stop by its slack fails";
        }
        bool holds =
            !plan_check_moved(problem, plan, i, slack + 1) && !plan_check_moved(problem, plan, i, -slack - 1);
        if (holds && problem->overlap > 0 && slack < repair->length_um) {
            return "a liner has more slack than is said";
        }
    }
    return NULL;
}

static void check_case(const struct plan_case *problem, size_t *n_left_out)
{
    static struct plan_input input;
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    struct case_worth worth, best;
    int64_t slack_um;
    plan_case_input(&input, problem);
    assert_ok(sm_plan_make(&plan, &input.alignment, &input.sheet, &err), &err);
    plan_brute(problem, &best, &slack_um);
    const char *wrong = plan_check(problem, plan, &worth);
    if (!wrong && case_worth_compare(&worth, &best) != 0) {
        wrong = "not the best plan";
    }
    if (!wrong && best.left_out == 0 && least_slack(plan) != slack_um) {
        wrong = "not the largest least slack";
    }
    wrong = wrong ? wrong : check_slack(problem, plan);
    if (wrong) {
        plan_case_print(problem);
        for (size_t i = 0; i < plan->n_repairs; i++) {
            print_error("liner at %lld of %lld, slack %.6f\n", (long long)plan->repair[i].start_um,
                        (long long)plan->repair[i].length_um, plan->repair[i].slack_m);
        }
        print_error("left out %lld/%lld cost %lld/%lld liners %lld/%lld length %lld/%lld slack %lld/%lld\n",
                    (long long)worth.left_out, (long long)best.left_out, (long long)worth.cost,
                    (long long)best.cost, (long long)worth.liners, (long long)best.liners,
                    (long long)worth.length, (long long)best.length, (long long)least_slack(plan),
                    (long long)slack_um);
        fail_msg("%s", wrong);
    }
    *n_left_out += worth.left_out > 0;
    sm_plan_free(&plan);
}

static void test_plan__best_of_all(void **state)
{
    struct sm_test_random random = sm_test_seed(20310314);
    const char *asked = getenv("SM_CASES");
    size_t n_cases = asked ? (size_t)atol(asked) : N_CASES, n_left_out = 0;
    struct case_kinds kinds = {0};
    (void)state;
    for (size_t i = 0; i < n_cases; i++) {
        struct plan_case problem;
        plan_case_random(&problem, &random);
        shrink(&problem, &random);
        plan_case_tell_kinds(&kinds, &problem);
        check_case(&problem, &n_left_out);
    }
    print_message("%zu cases, %zu with targets that cannot be covered\n", n_cases, n_left_out);
    plan_case_assert_kinds(&kinds);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_plan__best_of_all)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
