/* Two thousand observations on two kilometres: planned whole, whatever the rules. How long it takes:
 * scripts/bench-plan. */
#include "plan_large.h"

#include <math.h>

static struct plan_large large;

/* Every target is wholly under liners (the planner's own tests look at laps and stretches on small cases). */
static size_t count_shown(const struct sm_plan *plan)
{
    size_t n = 0;
    for (size_t i = 0; i < plan->n_targets; i++) {
        int64_t at_um = plan->target[i].start_um;
        for (size_t j = plan->n_repairs;
             j-- > 0;) { /* work goes from the far end, so backward is along the pipe */
            const struct sm_repair *repair = &plan->repair[j];
            int64_t end_um = repair->start_um + repair->length_um;
            at_um = repair->start_um <= at_um && end_um > at_um ? end_um : at_um;
        }
        n += at_um < plan->target[i].end_um;
    }
    return n;
}

static void run(double share_of_connections, bool may_reopen, size_t n_kits)
{
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    plan_large_make(&large, LARGE_N, share_of_connections, may_reopen, n_kits);
    assert_ok(sm_plan_make(&plan, &large.alignment, &large.sheet, &err), &err);
    print_message("%zu repairs, %zu unrepaired\n", plan->n_repairs, plan->n_unrepaired);
    assert_true(plan->n_repairs > 100);
    assert_true(count_shown(plan) <= plan->n_unrepaired);
    sm_plan_free(&plan);
}

static void test_plan__two_kilometres(void **state)
{
    (void)state;
    run(0, false, 4);
    run(0.3, false, 5);
    run(0.3, true, 6);
}

/* One defect from end to end: nothing but a chain, 1,500 liners long. */
static void test_plan__one_long_defect(void **state)
{
    (void)state;
    struct sm_observation whole;
    struct sm_alignment alignment = {.length_m = LARGE_LENGTH_M, .n_observations = 1, .observation = &whole};
    struct sm_kit kits[] = {{"a", 150, 250, 1219200, 300, 2, 1, 100, 200, NULL},
                            {"b", 150, 250, 914400, 210, 2, 1, 100, 200, NULL},
                            {"c", 150, 250, 1000000, 240, 2, 1, 100, 200, NULL}};
    struct sm_sheet sheet = {.kit = kits, .n_kits = 3, .segment = {.diameter_mm = 200}};
    sheet.rules = (struct sm_rules){.overlap_m = 0.1, .set_up_cost = 50, .full_lining_rate_per_m = SM_NAN};
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    plan_large_make(&large, 1, 0, false, 1);
    whole = large.observation[0];
    whole.start_m = 0;
    whole.end_m = LARGE_LENGTH_M;
    assert_ok(sm_plan_make(&plan, &alignment, &sheet, &err), &err);
    assert_int_equal(plan->n_unrepaired, 0);
    assert_int_equal(count_shown(plan), 0);
    /* No mix can be cheaper than metres of gain at the best kit's price for one: the chain's last liner is
     * the slack. */
    double best_per_m = fmin(350 / 1.1192, fmin(260 / 0.8144, 290 / 0.9));
    assert_true(plan->cost >= best_per_m * (LARGE_LENGTH_M - 0.1) - 1e-6);
    assert_true(plan->cost <= best_per_m * LARGE_LENGTH_M + 350);
    sm_plan_free(&plan);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_plan__two_kilometres),
        cmocka_unit_test(test_plan__one_long_defect),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
