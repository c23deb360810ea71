/* What is done about rows that speak about one physical defect: settled together, by the place they were
 * given. */
#include "align_scene.h"

#include <math.h>
#include <string.h>

static void check(const struct scene *scene, size_t idx, enum sm_treatment treatment, int32_t group)
{
    const struct sm_observation *observation = scene_observation(scene, idx);
    if (observation->treatment != treatment || observation->group != group) {
        fail_msg("%s (%s): %s, group %d; expected %s, group %d", observation->id, observation->code,
                 sm_treatment_name(observation->treatment), (int)observation->group,
                 sm_treatment_name(treatment), (int)group);
    }
}

static struct sm_log_entry *log_hole(struct scene *scene, double time_s, double distance_m, double length_mm)
{
    struct sm_log_entry *hole = scene_log(scene, time_s, distance_m, "BAC");
    hole->ch1 = "B";
    hole->q1_value = length_mm;
    return hole;
}

/* EN 13508-2 practice: soil seen behind a hole is coded in addition to it (DWA code catalogue, code 4). */
static void test_decide__soil_beside_a_referred_hole_gets_no_liner(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    log_hole(&scene, SM_NAN, 27.15, 180)->clock_from_h = 10;
    scene_log(&scene, SM_NAN, 27.15, "BAO")->clock_from_h = 10;
    scene_log(&scene, SM_NAN, 31, "BAO");
    scene_align(&scene);
    check(&scene, 0, SM_TREATMENT_REFER, 1);
    check(&scene, 1, SM_TREATMENT_REFER, 1);
    assert_non_null(strstr(scene_observation(&scene, 1)->reason, "one defect with BAC"));
    assert_int_equal(scene_observation(&scene, 2)->group, 0);
    assert_int_not_equal(scene_observation(&scene, 2)->treatment, SM_TREATMENT_REFER);
    scene_end(&scene);
}

static void test_decide__all_work_before_the_liner_is_on_each_row(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    log_hole(&scene, SM_NAN, 12, 80);
    scene_log(&scene, SM_NAN, 12, "BAO");
    scene_log(&scene, SM_NAN, 12, "BBF")->ch1 = "C"; /* flowing: sealed by injection first */
    scene_align(&scene);
    for (size_t i = 0; i < 3; i++) {
        check(&scene, i, SM_TREATMENT_PREPARE, 1);
        assert_non_null(strstr(scene_observation(&scene, i)->prepare, "injection"));
        assert_non_null(strstr(scene_observation(&scene, i)->prepare, "fill"));
    }
    scene_end(&scene);
}

/* Typed 21.75 for 27.15: the picture shows both rows at one place. */
static void test_decide__a_mistyped_row_belongs_where_the_picture_shows_it(void **state)
{
    (void)state;
    static const struct scene_leg drive[] = {{120, 27.15}, {150, 27.15}, {220, 43.80}};
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, 3, 0.5, SM_UNIT_M, 2);
    log_hole(&scene, 130, 27.15, 180);
    scene_log(&scene, 137, 21.75, "BAO");
    scene_align(&scene);
    check(&scene, 0, SM_TREATMENT_REFER, 1);
    check(&scene, 1, SM_TREATMENT_REFER, 1);
    scene_end(&scene);
}

/* Read at one stop and written down alike, while the counter crept on by two digits. */
static void test_decide__a_creeping_counter_does_not_part_them(void **state)
{
    (void)state;
    static const struct scene_leg drive[] = {{120, 27.15}, {150, 27.17}, {220, 43.80}};
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, 3, 0.5, SM_UNIT_M, 2);
    log_hole(&scene, 121, 27.15, 180);
    scene_log(&scene, 149, 27.15, "BAO");
    scene_align(&scene);
    check(&scene, 1, SM_TREATMENT_REFER, 1);
    scene_end(&scene);
}

/* The counter was zeroed at 10 m: 5.00 before it and 5.00 after it are 10 m apart. */
static void test_decide__equal_numbers_on_both_sides_of_a_zeroed_counter(void **state)
{
    (void)state;
    static const struct scene_leg drive[] = {{100, 10}, {200, 20}};
    static double jump_s[] = {100.5};
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, 2, 0.5, SM_UNIT_M, 2);
    for (size_t i = 0; i < scene.trace->n_readings; i++) {
        scene.trace->reading[i].counts -= scene.trace->reading[i].time_s > 100 ? 1000 : 0;
    }
    scene.trace->n_jumps = 1;
    scene.trace->jump_time_s = jump_s;
    log_hole(&scene, 50, 5, 180);
    scene_log(&scene, 150, 5, "BAO");
    scene_align(&scene);
    scene.trace->jump_time_s = NULL;
    scene.trace->n_jumps = 0;
    assert_close(scene_observation(&scene, 1)->distance_m, 15, 0.1);
    assert_int_equal(scene_observation(&scene, 1)->group, 0);
    assert_int_not_equal(scene_observation(&scene, 1)->treatment, SM_TREATMENT_REFER);
    scene_end(&scene);
}

/* An open end row in the log's own group must not count the defect twice. */
static void test_decide__rows_of_one_continuous_defect_are_no_group(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log_part(&scene, 5, "BAB", SM_CONTINUOUS_START, 1)->group = 4;
    scene_log_part(&scene, 9, "BAB", SM_CONTINUOUS_END, 1)->group = 4;
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 1);
    assert_int_equal(scene_observation(&scene, 0)->group, 0);
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_decide__soil_beside_a_referred_hole_gets_no_liner),
        cmocka_unit_test(test_decide__all_work_before_the_liner_is_on_each_row),
        cmocka_unit_test(test_decide__a_mistyped_row_belongs_where_the_picture_shows_it),
        cmocka_unit_test(test_decide__a_creeping_counter_does_not_part_them),
        cmocka_unit_test(test_decide__equal_numbers_on_both_sides_of_a_zeroed_counter),
        cmocka_unit_test(test_decide__rows_of_one_continuous_defect_are_no_group),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
