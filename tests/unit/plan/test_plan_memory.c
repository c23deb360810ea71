/* Every allocation of the planner failed in turn: each failure is told and nothing leaks. */
#include "plan_case.h"
#include "sm_test_alloc.h"

/* Targets that cannot be covered together (no two liners of 2 can lap by 3), and some that can beside a
 * connection. */
static const struct plan_case clash = {
    .grid_um = 100000,
    .length = 60,
    .overlap = 3,
    .may_reopen = true,
    .reopen_cost = 5,
    .set_up_cost = 1,
    .n_targets = 4,
    .n_connections = 2,
    .n_kits = 1,
    .target = {{0, 1}, {1, 3}, {20, 21}, {40, 49}},
    .connection = {{22, 23}, {55, 57}},
    .kit = {{2, 7}},
};

static struct plan_input input;

static int make(void *user)
{
    struct sm_plan *plan = NULL;
    (void)user;
    enum sm_status status = sm_plan_make(&plan, &input.alignment, &input.sheet, NULL);
    sm_plan_free(&plan);
    return status;
}

static int put_in_words(void *user)
{
    struct sm_plan *plan = user;
    struct sm_text text = {0};
    struct sm_plan_case side = {"plan", plan, &input.alignment, &input.sheet};
    enum sm_status status = sm_plan_explain(&text, plan, &input.alignment, &input.sheet, 0, NULL);
    status = status == SM_OK ? sm_plan_compare(&text, &side, &side, NULL) : status;
    status = status == SM_OK ? sm_plan_other_end(&text, plan, &input.alignment, &input.sheet, NULL) : status;
    sm_text_release(&text);
    return status;
}

static void test_plan__tells_every_failure(void **state)
{
    struct sm_plan *plan = NULL;
    (void)state;
    plan_case_input(&input, &clash);
    input.observation[2].prepare = "cut roots;clean";
    assert_ok(sm_plan_make(&plan, &input.alignment, &input.sheet, NULL), NULL);
    assert_int_equal(plan->n_repairs, 2);
    assert_int_equal(plan->n_unrepaired, 2);
    sm_test_alloc_all(make, NULL);
    sm_test_alloc_all(put_in_words, plan);
    sm_plan_free(&plan);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_plan__tells_every_failure)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
