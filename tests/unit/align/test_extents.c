/* Continuous defects, connections and breaks: where an observation starts and ends. */
#include "align_scene.h"

#include <math.h>
#include <string.h>

static void check_extent(const struct scene *scene, size_t idx, double start_m, double end_m)
{
    const struct sm_observation *observation = scene_observation(scene, idx);
    assert_close(observation->start_m, start_m, 1e-9);
    assert_close(observation->end_m, end_m, 1e-9);
}

static void test_continuous__several_are_open_at_once(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 5, "BAB", SM_CONTINUOUS_START, 1);
    scene_log_part(&scene, 7, "BAF", SM_CONTINUOUS_START, 2);
    scene_log(&scene, SM_NAN, 8, "BAJ");
    scene_log_part(&scene, 9, "BAB", SM_CONTINUOUS_END, 1);
    scene_log_part(&scene, 12, "BAF", SM_CONTINUOUS_END, 2);
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 3);
    check_extent(&scene, 0, 5, 9);
    assert_int_equal(scene_observation(&scene, 0)->end_entry_idx, 3);
    assert_close(scene_observation(&scene, 0)->distance_m, 5, 1e-9);
    check_extent(&scene, 1, 7, 12);
    check_extent(&scene, 2, 8, 8);
    assert_string_equal(scene_observation(&scene, 2)->id, "O3");
    assert_int_equal(scene_observation(&scene, 2)->entry_idx, 2);
    scene_end(&scene);
}

static void test_continuous__one_number_twice_with_two_codes(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 5, "BAB", SM_CONTINUOUS_START, 1);
    scene_log_part(&scene, 6, "BBC", SM_CONTINUOUS_START, 1);
    scene_log_part(&scene, 9, "BBC", SM_CONTINUOUS_END, 1);
    scene_log_part(&scene, 11, "BAB", SM_CONTINUOUS_END, 1);
    scene_log_part(&scene, 20, "BAB", SM_CONTINUOUS_START, 1); /* the number is free again */
    scene_log_part(&scene, 22, "BAB", SM_CONTINUOUS_END, 1);
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 3);
    check_extent(&scene, 0, 5, 11);
    check_extent(&scene, 1, 6, 9);
    check_extent(&scene, 2, 20, 22);
    assert_int_equal(scene.alignment->findings.n, 1); /* that the run ends before the pipe does */
    scene_end(&scene);
}

static void test_continuous__change_rows_belong_to_it_and_the_worst_decides(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    struct sm_log_entry *start = scene_log_part(&scene, 5, "BAA", SM_CONTINUOUS_START, 1);
    struct sm_log_entry *change = scene_log_part(&scene, 6, "BAA", SM_CONTINUOUS_CHANGE, 1);
    scene_log_part(&scene, 7, "BAA", SM_CONTINUOUS_END, 1)->q1_value = 2;
    start->ch1 = "A";
    start->q1_value = 2;
    change->ch1 = "A";
    change->q1_value = 60; /* a deformation that no liner mends */
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 1);
    check_extent(&scene, 0, 5, 7);
    assert_int_equal(scene_observation(&scene, 0)->treatment, SM_TREATMENT_REFER);
    assert_close(scene_observation(&scene, 0)->q1_value, 2, 0); /* its own row stays as it was */
    scene_end(&scene);
}

static void test_continuous__without_end_goes_to_the_pipe_end(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 40, "BAB", SM_CONTINUOUS_START, 1);
    scene_log(&scene, SM_NAN, 43.7, "BCE");
    scene_align(&scene);
    check_extent(&scene, 0, 40, 43.8);
    assert_int_equal(scene_observation(&scene, 0)->flags, SM_FLAG_OPEN_CONTINUOUS);
    assert_true(scene_says(&scene, "continuous BAB has no end"));
    scene_end(&scene);
}

static void test_continuous__without_end_goes_to_the_last_reading(void **state)
{
    (void)state;
    static const struct scene_leg drive[] = {{300, 30}, {310, 30}, {400, 24}}; /* and back a little */
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, 3, 0.5, SM_UNIT_M, 2);
    scene_log_part(&scene, 12, "BAB", SM_CONTINUOUS_START, 1);
    scene_log(&scene, 305, 30, "BDC"); /* abandoned */
    scene_align(&scene);
    check_extent(&scene, 0, 12, 30);
    scene_end(&scene);
}

static void test_continuous__end_without_start_stays_and_says_so(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 12, "BAB", SM_CONTINUOUS_END, 3);
    scene_log_part(&scene, 13, "BAB", SM_CONTINUOUS_CHANGE, 4);
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 2);
    check_extent(&scene, 0, 12, 12);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_ROW_ODD);
    assert_true(scene_says(&scene, "end of continuous defect 3 (BAB) without a start"));
    assert_true(scene_says(&scene, "change of continuous defect 4"));
    scene_end(&scene);
}

static void test_continuous__other_code_at_the_end_is_taken_and_told(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 12, "BAB", SM_CONTINUOUS_START, 3);
    scene_log_part(&scene, 15, "BAC", SM_CONTINUOUS_END, 3);
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 1);
    check_extent(&scene, 0, 12, 15);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_ROW_ODD);
    assert_true(scene_says(&scene, "starts as BAB and goes on as BAC"));
    scene_end(&scene);
}

static void test_continuous__end_before_start_in_distance_is_turned(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 15, "BAB", SM_CONTINUOUS_START, 3);
    scene_log_part(&scene, 12, "BAB", SM_CONTINUOUS_END, 3);
    scene_align(&scene);
    check_extent(&scene, 0, 12, 15);
    scene_end(&scene);
}

static void test_continuous__end_without_a_place_leaves_it_open(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 15, "BAB", SM_CONTINUOUS_START, 3);
    scene_log_part(&scene, SM_NAN, "BAB", SM_CONTINUOUS_END, 3);
    scene_log(&scene, SM_NAN, 43.8, "BCE");
    scene_align(&scene);
    check_extent(&scene, 0, 15, 43.8);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_OPEN_CONTINUOUS);
    scene_end(&scene);
}

static void test_continuous__disagreement_at_its_end_shows_on_it(void **state)
{
    (void)state;
    static const struct scene_leg drive[] = {{100, 10}, {110, 10}, {200, 20}, {210, 20}};
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, 4, 0.5, SM_UNIT_M, 2);
    scene_log_part(&scene, 10, "BAB", SM_CONTINUOUS_START, 1)->time_s = 105;
    scene_log_part(&scene, 2, "BAB", SM_CONTINUOUS_END, 1)->time_s = 205;
    scene_align(&scene);
    check_extent(&scene, 0, 10, 20);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_LOG_DISAGREES);
    scene_end(&scene);
}

static void test_connection__extent_is_its_diameter(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log(&scene, SM_NAN, 10, "BCA")->diameter_mm = 125;
    scene_log(&scene, SM_NAN, 11, "BCA")->q1_value = 100; /* EN: height in mm */
    scene_log(&scene, SM_NAN, 12, "BCA");
    scene.row[0].ch1 = scene.row[1].ch1 = scene.row[2].ch1 = "A";
    scene_align(&scene);
    check_extent(&scene, 0, 9.9375, 10.0625);
    check_extent(&scene, 1, 10.95, 11.05);
    check_extent(&scene, 2, 11.925, 12.075); /* what the sheet assumes: 150 mm */
    assert_close(scene_observation(&scene, 2)->diameter_mm, 150, 0);
    assert_close(scene_observation(&scene, 2)->distance_m, 12, 1e-9);
    assert_true(scene_observation(&scene, 0)->is_connection);
    scene_end(&scene);
}

static void test_break__length_runs_on_from_its_row(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    struct sm_log_entry *entry = scene_log(&scene, SM_NAN, 10, "BAC");
    entry->ch1 = "B";
    entry->q1_value = 350;
    struct sm_log_entry *crack = scene_log(&scene, SM_NAN, 20, "BAB");
    crack->ch1 = "B";
    crack->q1_value = 5; /* a width, not a length */
    scene_align(&scene);
    check_extent(&scene, 0, 10, 10.35);
    check_extent(&scene, 1, 20, 20);
    scene_end(&scene);
}

/* Every row is in exactly one observation, whatever a log says. */
static void test_rows__none_is_lost_and_none_counts_twice(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(4);
    static const char *const code[] = {"BAB", "BAC", "BBA", "QQQ"};
    for (int round = 0; round < 100; round++) {
        struct scene scene;
        int32_t owner[SCENE_MOST_ROWS] = {0};
        scene_start(&scene);
        for (int i = 0; i < 40; i++) {
            double distance_m = sm_test_int(&random, 0, 9) == 0 ? SM_NAN : sm_test_uniform(&random, -2, 50);
            scene_log_part(&scene, distance_m, code[sm_test_int(&random, 0, 3)],
                           (enum sm_continuous)sm_test_int(&random, 0, 3),
                           (int32_t)sm_test_int(&random, 0, 3));
        }
        scene_align(&scene);
        size_t n_rows = 0;
        for (size_t i = 0; i < scene.alignment->n_observations; i++) {
            const struct sm_observation *observation = scene_observation(&scene, i);
            owner[observation->entry_idx]++;
            n_rows++;
            assert_true(i == 0 || observation->entry_idx > scene_observation(&scene, i - 1)->entry_idx);
            assert_true(isnan(observation->start_m) || observation->start_m <= observation->end_m);
            if (observation->end_entry_idx >= 0) {
                owner[observation->end_entry_idx]++;
                n_rows++;
            }
        }
        for (int i = 0; i < 40; i++) {
            assert_true(owner[i] <= 1);
            bool is_change = scene.row[i].continuous == SM_CONTINUOUS_CHANGE;
            assert_true(owner[i] == 1 || is_change);
            n_rows += owner[i] == 0;
        }
        assert_int_equal(n_rows, 40);
        scene_end(&scene);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_continuous__several_are_open_at_once),
        cmocka_unit_test(test_continuous__one_number_twice_with_two_codes),
        cmocka_unit_test(test_continuous__change_rows_belong_to_it_and_the_worst_decides),
        cmocka_unit_test(test_continuous__without_end_goes_to_the_pipe_end),
        cmocka_unit_test(test_continuous__without_end_goes_to_the_last_reading),
        cmocka_unit_test(test_continuous__end_without_start_stays_and_says_so),
        cmocka_unit_test(test_continuous__other_code_at_the_end_is_taken_and_told),
        cmocka_unit_test(test_continuous__end_before_start_in_distance_is_turned),
        cmocka_unit_test(test_continuous__end_without_a_place_leaves_it_open),
        cmocka_unit_test(test_continuous__disagreement_at_its_end_shows_on_it),
        cmocka_unit_test(test_connection__extent_is_its_diameter),
        cmocka_unit_test(test_break__length_runs_on_from_its_row),
        cmocka_unit_test(test_rows__none_is_lost_and_none_counts_twice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
