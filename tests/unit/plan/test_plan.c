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
        .entry_idx = (int32_t)i,
        .code = "BAC",
        .prepare = "",
        .reason = "",
        .diameter_mm = SM_NAN,
        .distance_m = start_m,
        .start_m = start_m,
        .end_m = end_m,
        .error_m = 0.055,
        .treatment = treatment,
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
        .end_cover_m = 0.15,
        .placement_m = 0.05,
        .overlap_m = 0.1,
        .keep_clear_m = 0.1,
        .connection_diameter_mm = 150,
        .set_up_cost = 400,
        .reopen_cost = 250,
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
    scene.sheet.access = (struct sm_access){true, SM_REFERENCE_RIM, 2.4, SM_NAN, SM_NAN, SM_NAN};
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

/* ---- the same connection logged twice, referred places, order of input */

static void test_plan__connection_logged_twice_is_cut_open_once(void **state)
{
    (void)state;
    add(4.6, 5.5, SM_TREATMENT_LINE);
    add_connection(5.1)->clock_from_h = 3;
    struct sm_observation *defect = add_connection(5.12);
    defect->treatment = SM_TREATMENT_REFER;
    defect->reason = "defective connection";
    scene.sheet.rules.may_reopen = true;
    struct sm_plan *plan = make();
    assert_close(plan->cost, 180 + 300 + 800 + 250, 1e-9);
    sm_plan_free(&plan);
    defect->clock_from_h = 9; /* the other side of the pipe: another connection */
    plan = make();
    assert_close(plan->cost, 180 + 300 + 800 + 500, 1e-9);
    sm_plan_free(&plan);
}

static void test_plan__liner_over_a_referred_place_is_noted(void **state)
{
    (void)state;
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add(5.2, 5.2, SM_TREATMENT_REFER)->reason = "collapse";
    struct sm_plan *plan = make();
    assert_int_equal(plan->n_repairs, 1);
    assert_int_equal(plan->findings.n, 1);
    assert_string_equal(plan->findings.item[0].message,
                        "R1 lies over O2 (BAC), which is referred: settle that first");
    sm_plan_free(&plan);
}

static void fill_at_random(struct sm_test_random *random, size_t n)
{
    scene.alignment.n_observations = 0;
    for (size_t i = 0; i < n; i++) {
        double at_m = (double)sm_test_int(random, 0, 2000) / 100;
        if (sm_test_int(random, 0, 3) == 0) {
            add_connection(at_m);
        } else {
            add(at_m, fmin(20, at_m + (double)sm_test_int(random, 0, 80) / 100), SM_TREATMENT_LINE);
        }
    }
}

static void test_plan__order_of_input_does_not_matter(void **state)
{
    struct sm_test_random random = sm_test_seed(7);
    (void)state;
    for (int round = 0; round < 40; round++) {
        fill_at_random(&random, 25);
        struct sm_plan *plan = make(), *shuffled = NULL;
        for (size_t i = scene.alignment.n_observations - 1; i > 0; i--) {
            size_t j = (size_t)sm_test_int(&random, 0, (int64_t)i);
            struct sm_observation moved = scene.observation[i];
            scene.observation[i] = scene.observation[j];
            scene.observation[j] = moved;
        }
        struct sm_kit first = scene.kit[0];
        scene.kit[0] = scene.kit[1];
        scene.kit[1] = first;
        shuffled = make();
        assert_int_equal(plan->n_repairs, shuffled->n_repairs);
        assert_int_equal(plan->n_unrepaired, shuffled->n_unrepaired);
        for (size_t i = 0; i < plan->n_repairs; i++) {
            assert_int_equal(plan->repair[i].start_um, shuffled->repair[i].start_um);
            assert_int_equal(plan->repair[i].length_um, shuffled->repair[i].length_um);
            assert_int_equal(plan->repair[i].kit_idx, 1 - shuffled->repair[i].kit_idx);
        }
        sm_plan_free(&plan);
        sm_plan_free(&shuffled);
    }
}

/* Unrepaired observations that have a target. */
static int left_out_with_target(const struct sm_plan *plan)
{
    int n = 0;
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        for (size_t j = 0; j < plan->n_targets; j++) {
            n += plan->unrepaired[i].observation_idx == plan->target[j].observation_idx;
        }
    }
    return n;
}

/* Values no reader should let through; a plan or a refusal must come of them, never a crash or a hang. */
static void test_plan__hostile_values(void **state)
{
    static const double odd[] = {0, -1, 1e-9, 1e300, -1e300, 19.999999999, (double)INFINITY, SM_NAN};
    struct sm_test_random random = sm_test_seed(13);
    (void)state;
    for (int round = 0; round < 500; round++) {
        set_scene(NULL);
        fill_at_random(&random, 4);
        struct sm_observation *first = &scene.observation[0];
        double *place[] = {&first->start_m,
                           &first->end_m,
                           &first->distance_m,
                           &first->error_m,
                           &first->diameter_mm,
                           &scene.alignment.length_m,
                           &scene.sheet.segment.diameter_mm,
                           &scene.kit[0].cost,
                           &scene.kit[0].diameter_min_mm,
                           &scene.sheet.rules.overlap_m,
                           &scene.sheet.rules.end_cover_m,
                           &scene.sheet.rules.keep_clear_m,
                           &scene.sheet.rules.set_up_cost,
                           &scene.sheet.rules.reopen_cost,
                           &scene.sheet.rules.connection_diameter_mm,
                           &scene.sheet.rules.full_lining_rate_per_m};
        static const int64_t lengths[] = {0, -5, 1, 100000, 100001, INT64_MAX};
        for (int i = 0; i < 2; i++) {
            *place[sm_test_int(&random, 0, sizeof place / sizeof *place - 1)] =
                odd[sm_test_int(&random, 0, 7)];
        }
        if (sm_test_int(&random, 0, 3) == 0) {
            scene.kit[1].length_um = lengths[sm_test_int(&random, 0, 5)];
        }
        scene.sheet.rules.may_reopen = sm_test_int(&random, 0, 1);
        struct sm_plan *plan = NULL;
        struct sm_error err = {0};
        if (sm_plan_make(&plan, &scene.alignment, &scene.sheet, &err) != SM_OK) {
            assert_null(plan);
            assert_true(err.text[0]);
            continue;
        }
        size_t n_called = 0;
        for (size_t i = 0; i < scene.alignment.n_observations; i++) {
            n_called += scene.observation[i].treatment == SM_TREATMENT_LINE;
        }
        assert_int_equal(n_called, plan->n_targets + plan->n_unrepaired - (size_t)left_out_with_target(plan));
        sm_plan_free(&plan);
    }
}

/* ---- in words */

static void expect_words(const struct sm_text *text, const char *const *words, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (!strstr(sm_text_str(text), words[i])) {
            fail_msg("\"%s\" is not in:\n%s", words[i], sm_text_str(text));
        }
    }
}

static void test_explain__why_this_liner(void **state)
{
    (void)state;
    static const char *const words[] = {
        "R1: kit short, from 4.615 m to 5.215 m, stop at 4.915 m, cost 580.\n",
        "It covers O1 (BAC): 4.795 m to 5.205 m, which is the defect with 150 mm of end cover",
        "and 55 mm of position error each side.\n",
        "2 kits are to be had for this pipe: short of 0.600 m at 580, long of 1.200 m at 700 with set-up.\n",
        "10 mm off its stop is not too much.\n",
        "Toward the datum 10 mm before the target of O1 shows.\n",
        "Away from the datum 10 mm before the keep-clear stretch of O2 is reached.\n",
        "Without this kit here the cheapest plan costs 700, 120 more.\n",
    };
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add_connection(5.4);
    struct sm_plan *plan = make();
    struct sm_text text = {0};
    struct sm_error err = {0};
    assert_ok(sm_plan_explain(&text, plan, &scene.alignment, &scene.sheet, 0, &err), &err);
    expect_words(&text, words, sizeof words / sizeof *words);
    sm_text_release(&text);
    sm_plan_free(&plan);
}

static void test_explain__chain_and_pipe_end(void **state)
{
    (void)state;
    static const char *const first[] = {
        "It ends flush with the pipe",
        "Toward the datum 48 mm before the lap with R1 falls below the overlap.",
        "Away from the datum nothing but the pipe's end limits it.",
    };
    static const char *const alone[] = {
        "Without this kit here not all that the plan covers could be covered."};
    add(0.1, 2.0, SM_TREATMENT_LINE);
    struct sm_plan *plan = make();
    struct sm_text text = {0};
    struct sm_error err = {0};
    assert_int_equal(plan->n_repairs, 2);
    assert_ok(sm_plan_explain(&text, plan, &scene.alignment, &scene.sheet, 1, &err), &err);
    expect_words(&text, first, 3);
    sm_text_clear(&text);
    scene.sheet.n_kits = 1;
    sm_plan_free(&plan);
    plan = make();
    assert_ok(sm_plan_explain(&text, plan, &scene.alignment, &scene.sheet, 1, &err), &err);
    expect_words(&text, alone, 1);
    sm_text_release(&text);
    sm_plan_free(&plan);
}

static void test_passage__what_lies_in_the_way(void **state)
{
    (void)state;
    add(3.0, 3.0, SM_TREATMENT_NONE)->code = "BCC";
    add(2.0, 2.0, SM_TREATMENT_REFER)->code = "BAJ";
    add(1.0, 1.0, SM_TREATMENT_LINE)->code = "BAB"; /* a crack is in nobody's way */
    add(6.0, 6.0, SM_TREATMENT_LINE);
    add(9.0, 9.0, SM_TREATMENT_PREPARE)->code = "BBA";
    struct sm_plan *plan = make();
    const struct sm_passage *passage = NULL;
    size_t n = 0, at_six = 1; /* R1 is at 9 m, R2 at 6 m, R3 at 1 m */
    struct sm_error err = {0};
    assert_close((double)plan->repair[at_six].start_um, 5700000, 1);
    assert_ok(sm_plan_passage(&passage, &n, plan->arena, plan, &scene.alignment, &scene.sheet, at_six, &err),
              &err);
    assert_int_equal(n, 3); /* and the break at 6 m itself */
    assert_string_equal(passage[0].what, "offset");
    assert_true(passage[0].is_doubtful);
    assert_close(passage[0].way_m, 2, 1e-9);
    assert_string_equal(passage[1].what, "bend");
    assert_false(passage[1].is_doubtful);
    sm_plan_free(&plan);
    scene.sheet.access.enters_at_to = true;
    plan = make();
    assert_ok(sm_plan_passage(&passage, &n, plan->arena, plan, &scene.alignment, &scene.sheet, at_six, &err),
              &err);
    assert_int_equal(n, 2);
    assert_string_equal(passage[0].what, "roots");
    assert_close(passage[0].way_m, 11, 1e-9);
    sm_plan_free(&plan);
}

static void test_passage__other_end(void **state)
{
    (void)state;
    struct sm_text text = {0};
    struct sm_error err = {0};
    add(2.0, 2.0, SM_TREATMENT_REFER)->code = "BAJ";
    add(12.0, 12.0, SM_TREATMENT_LINE);
    scene.sheet.segment.to = "T13";
    struct sm_plan *plan = make();
    assert_ok(sm_plan_other_end(&text, plan, &scene.alignment, &scene.sheet, &err), &err);
    assert_string_equal(sm_text_str(&text),
                        "From the other end (T13) 0 instead of 1 referred place lies in the way, and the "
                        "longest push is 8.00 m instead of 12.00 m.");
    sm_text_clear(&text);
    scene.sheet.access.enters_at_to = true;
    assert_ok(sm_plan_other_end(&text, plan, &scene.alignment, &scene.sheet, &err), &err);
    assert_string_equal(sm_text_str(&text), "");
    sm_text_release(&text);
    sm_plan_free(&plan);
}

static void test_compare__side_by_side(void **state)
{
    (void)state;
    struct sm_text text = {0};
    struct sm_error err = {0};
    add(5.0, 5.0, SM_TREATMENT_LINE);
    add(12.0, 12.0, SM_TREATMENT_LINE);
    struct sm_plan *plan = make();
    struct sm_sheet wide = scene.sheet;
    wide.rules.end_cover_m = 0.3;
    struct sm_plan *other = NULL;
    assert_ok(sm_plan_make(&other, &scene.alignment, &wide, &err), &err);
    struct sm_plan_case before = {"as it is", plan, &scene.alignment, &scene.sheet};
    struct sm_plan_case after = {"more cover", other, &scene.alignment, &wide};
    assert_ok(sm_plan_compare(&text, &before, &after, &err), &err);
    assert_string_equal(sm_text_str(&text),
                        "as it is: 2 repairs, 1.20 m of liner, cost 1160, 0 not repaired\n"
                        "more cover: 2 repairs, 2.40 m of liner, cost 1400, 0 not repaired\n"
                        "difference in cost 240\n"
                        "- R1 short, stop at 12.000 m\n"
                        "- R2 short, stop at 5.000 m\n"
                        "+ R1 long, stop at 12.000 m\n"
                        "+ R2 long, stop at 5.000 m\n");
    sm_text_clear(&text);
    after = before;
    assert_ok(sm_plan_compare(&text, &before, &after, &err), &err);
    assert_non_null(strstr(sm_text_str(&text), "= R2 short, stop at 5.000 m -> R2\n"));
    sm_text_release(&text);
    sm_plan_free(&plan);
    sm_plan_free(&other);
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
        cmocka_unit_test_setup(test_plan__connection_logged_twice_is_cut_open_once, set_scene),
        cmocka_unit_test_setup(test_plan__liner_over_a_referred_place_is_noted, set_scene),
        cmocka_unit_test_setup(test_plan__order_of_input_does_not_matter, set_scene),
        cmocka_unit_test_setup(test_plan__hostile_values, set_scene),
        cmocka_unit_test_setup(test_explain__why_this_liner, set_scene),
        cmocka_unit_test_setup(test_explain__chain_and_pipe_end, set_scene),
        cmocka_unit_test_setup(test_passage__what_lies_in_the_way, set_scene),
        cmocka_unit_test_setup(test_passage__other_end, set_scene),
        cmocka_unit_test_setup(test_compare__side_by_side, set_scene),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
