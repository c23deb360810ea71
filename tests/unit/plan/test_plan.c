/* The plan by hand: targets, marks, keep-clear stretches, reasons, order of work. */
#include "plan_case.h"

#include <math.h>
#include <string.h>

/* A 20 m pipe of 200 mm with kits of 0.6 and 1.2 m and the default rules. */
static struct plan_input scene;

static struct sm_observation *add(double start_m, double end_m, enum sm_treatment treatment)
{
    size_t i = scene.alignment.n_observations++;
    struct sm_observation *observation = &scene.observation[i];
    *observation = (struct sm_observation){
        .entry_idx = (int32_t)i, .code = "BAC", .prepare = "", .reason = "", .diameter_mm = SM_NAN,
        .distance_m = start_m, .start_m = start_m, .end_m = end_m, .error_m = 0.055, .treatment = treatment,
    };
    observation->id[0] = 'O';
    observation->id[1] = (char)('1' + i);
    return observation;
}

static struct sm_observation *add_connection(double distance_m)
{
    struct sm_observation *observation = add(distance_m, distance_m, SM_TREATMENT_CLEAR);
    observation->is_connection = true;
    return observation;
}

static int set_scene(void **state)
{
    (void)state;
    memset(&scene, 0, sizeof scene);
    scene.alignment.length_m = 20;
    scene.alignment.observation = scene.observation;
    scene.kit[0] = (struct sm_kit){"short", 150, 250, 600000, 180, 2, 1.2, 100, 200, NULL};
    scene.kit[1] = (struct sm_kit){"long", 150, 250, 1200000, 300, 2, 2.4, 100, 200, NULL};
    scene.sheet.kit = scene.kit;
    scene.sheet.n_kits = 2;
    scene.sheet.segment.diameter_mm = 200;
    scene.sheet.rules = (struct sm_rules){
        .end_cover_m = 0.15, .placement_m = 0.05, .overlap_m = 0.1, .keep_clear_m = 0.1,
        .connection_diameter_mm = 150, .set_up_cost = 400, .reopen_cost = 250,
        .full_lining_rate_per_m = SM_NAN,
    };
    return 0;
}

static struct sm_plan *make(void)
{
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    assert_ok(sm_plan_make(&plan, &scene.alignment, &scene.sheet, &err), &err);
    return plan;
}

static void test_plan__target_is_extent_cover_and_error(void **state)
{
    (void)state;
    add(5.0, 5.3, SM_TREATMENT_LINE);
    add(0.1, 0.1, SM_TREATMENT_LINE);
    add(19.95, 20.0, SM_TREATMENT_PREPARE);
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_targets, 3);
    assert_int_equal(plan->target[0].observation_idx, 1);
    assert_int_equal(plan->target[0].start_um, 0);
    assert_int_equal(plan->target[0].end_um, 305000);
    assert_int_equal(plan->target[1].start_um, 4795000);
    assert_int_equal(plan->target[1].end_um, 5505000);
    assert_int_equal(plan->target[2].start_um, 19745000);
    assert_int_equal(plan->target[2].end_um, 20000000);
    assert_int_equal(plan->n_unrepaired, 0);
    sm_plan_free(&plan);
}

static void test_plan__liner_is_centred_on_its_target(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 1);
    assert_int_equal(plan->repair[0].kit_idx, 0);
    assert_int_equal(plan->repair[0].start_um, 4700000);
    assert_close(plan->repair[0].slack_m, 0.095, 1e-9);
    assert_close(plan->repair[0].mark_m, 5.0, 1e-9);
    assert_close(plan->cost, 580, 1e-9);
    sm_plan_free(&plan);
}

static void test_plan__marks_count_from_the_crews_end(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add(12.0, 12.0, SM_TREATMENT_LINE);
    scene.sheet.access = (struct sm_access){true, SM_REFERENCE_RIM, 2.4, SM_NAN, SM_NAN};
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 2);
    assert_string_equal(plan->repair[0].id, "R1");
    assert_close(plan->repair[0].mark_m, 15 + 2.4, 1e-9); /* farthest from the far end first */
    assert_close(plan->repair[1].mark_m, 8 + 2.4, 1e-9);
    sm_plan_free(&plan);
    scene.alignment.is_length_assumed = true;
    plan = make();
    assert_true(isnan(plan->repair[0].mark_m)); /* nobody knows where the far end is */
    sm_plan_free(&plan);
    scene.sheet.access = (struct sm_access){0};
    plan = make();
    assert_close(plan->repair[0].mark_m, 12, 1e-9);
    sm_plan_free(&plan);
}

static void test_plan__connection_pushes_the_liner_aside(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add_connection(5.4); /* keeps 5.225 to 5.575 clear: the target ends at 5.205 */
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 1);
    assert_int_equal(plan->repair[0].start_um + plan->repair[0].length_um, 5215000);
    assert_close(plan->repair[0].slack_m, 0.010, 1e-9);
    sm_plan_free(&plan);
}

static void test_plan__says_why_not(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add_connection(5.1);
    add(9.0, 9.0, SM_TREATMENT_REFER)->reason = "collapse";
    add(SM_NAN, SM_NAN, SM_TREATMENT_LINE);
    add(25.0, 25.0, SM_TREATMENT_LINE);
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 0);
    assert_int_equal(plan->n_unrepaired, 4);
    assert_string_equal(plan->unrepaired[0].reason, "its target reaches into the keep-clear stretch of O2");
    assert_string_equal(plan->unrepaired[1].reason, "referred: collapse");
    assert_string_equal(plan->unrepaired[2].reason, "its place along the pipe is not known");
    assert_string_equal(plan->unrepaired[3].reason, "it lies outside the pipe");
    sm_plan_free(&plan);
    scene.sheet.segment.diameter_mm = 300;
    plan = make();
    assert_string_equal(plan->unrepaired[0].reason, "no kit fits a pipe of 300 mm");
    sm_plan_free(&plan);
}

static void test_plan__reopening_is_paid_once(void **state)
{
    (void)state;
    add(4.6, 5.5, SM_TREATMENT_LINE);
    add_connection(5.1);
    scene.sheet.rules.may_reopen = true;
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 2);
    assert_close(plan->cost, plan->repair[0].cost + plan->repair[1].cost, 1e-9);
    assert_close(plan->cost, 180 + 300 + 800 + 250, 1e-9);
    sm_plan_free(&plan);
}

static void test_plan__preparation_in_order_and_once(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_PREPARE)->prepare = "cut roots; clean the pipe";
    add(5.02, 5.02, SM_TREATMENT_PREPARE)->prepare = "stop flowing water by injection;cut roots";
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 1);
    assert_int_equal(plan->repair[0].n_covers, 2);
    assert_int_equal(plan->repair[0].n_prepare, 3);
    assert_string_equal(plan->repair[0].prepare[0], "clean the pipe");
    assert_string_equal(plan->repair[0].prepare[1], "cut roots");
    assert_string_equal(plan->repair[0].prepare[2], "stop flowing water by injection");
    sm_plan_free(&plan);
}

static void test_plan__nothing_to_do(void **state)
{
    (void)state;
    scene.sheet.rules.full_lining_rate_per_m = 420;
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 0);
    assert_close(plan->full_lining_cost, 8400, 1e-9);
    sm_plan_free(&plan);
    sm_plan_free(&plan); /* NULL is fine */
}

static void test_plan__advice_sets_totals_side_by_side(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    scene.sheet.rules.full_lining_rate_per_m = 420;
    struct sm_plan *plan = make();
    assert_string_equal(plan->advice, "1 repair costs 580, lining all 20.00 m at 420 a metre costs 8400; "
                                      "at 580 a repair both cost the same at 14.5 repairs");
    sm_plan_free(&plan);
}

static void test_plan__refuses_rules_that_make_no_sense(void **state)
{
    (void)state;
    struct sm_plan *plan = NULL;
    struct sm_error err = {0};
    scene.sheet.rules.overlap_m = -0.1;
    assert_int_equal(sm_plan_make(&plan, &scene.alignment, &scene.sheet, &err), SM_E_RANGE);
    assert_null(plan);
    assert_true(err.remedy[0]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_plan__target_is_extent_cover_and_error, set_scene),
        cmocka_unit_test_setup(test_plan__liner_is_centred_on_its_target, set_scene),
        cmocka_unit_test_setup(test_plan__marks_count_from_the_crews_end, set_scene),
        cmocka_unit_test_setup(test_plan__connection_pushes_the_liner_aside, set_scene),
        cmocka_unit_test_setup(test_plan__says_why_not, set_scene),
        cmocka_unit_test_setup(test_plan__reopening_is_paid_once, set_scene),
        cmocka_unit_test_setup(test_plan__preparation_in_order_and_once, set_scene),
        cmocka_unit_test_setup(test_plan__nothing_to_do, set_scene),
        cmocka_unit_test_setup(test_plan__advice_sets_totals_side_by_side, set_scene),
        cmocka_unit_test_setup(test_plan__refuses_rules_that_make_no_sense, set_scene),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
