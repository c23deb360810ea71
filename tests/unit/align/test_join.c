/* Runs of one segment from both ends on one axis. */
#include "align_scene.h"

#include <math.h>

static void start(struct scene *scene, double length_m)
{
    scene_start(scene);
    scene->sheet->segment.length_m = length_m;
}

static struct sm_joined *join(const struct scene *there, const struct scene *back, double tolerance_m)
{
    struct sm_run run[] = {{.alignment = there->alignment}, {.alignment = back->alignment, .is_reverse = true}};
    struct sm_joined *joined = NULL;
    struct sm_error err = {0};
    assert_ok(sm_align_join(&joined, run, 2, SM_NAN, tolerance_m, &err), &err);
    return joined;
}

/*
 * A foreign duct at 9.75 m and 2 to 4 o'clock ends the run; the run from the other end meets it at 21.9 m and
 * 8 to 10 o'clock. The pipe is 31.8 m: 31.8 - 21.9 = 9.9. An invented pair of runs, worked by hand.
 */
static void test_reverse_run__worked_example(void **state)
{
    (void)state;
    struct scene there;
    struct scene back;
    start(&there, 31.8);
    start(&back, 31.8);
    scene_log(&there, SM_NAN, 0, "BCD");
    struct sm_log_entry *duct = scene_log(&there, SM_NAN, 9.75, "BBE");
    duct->clock_from_h = 2;
    duct->clock_to_h = 4;
    scene_log(&there, SM_NAN, 9.75, "BDC");
    scene_log(&back, SM_NAN, 0, "BCD");
    scene_log(&back, SM_NAN, 11.3, "BAJ");
    duct = scene_log(&back, SM_NAN, 21.9, "BBE");
    duct->clock_from_h = 8;
    duct->clock_to_h = 10;
    scene_log(&back, SM_NAN, 21.95, "BDC");
    scene_align(&there);
    scene_align(&back);
    struct sm_joined *joined = join(&there, &back, SM_NAN);
    assert_int_equal(joined->n_defects, 3); /* that both runs were abandoned there is one thing as well */
    assert_int_equal(joined->n_shared, 2);
    const struct sm_joined_defect *defect = &joined->defect[1];
    assert_string_equal(defect->code, "BBE");
    assert_int_equal(defect->n_sightings, 2);
    assert_close(defect->sighting[0].distance_m, 9.75, 1e-9);
    assert_close(defect->sighting[1].distance_m, 9.9, 1e-9);
    assert_int_equal(defect->sighting[1].clock_from_h, 2);
    assert_int_equal(defect->sighting[1].clock_to_h, 4);
    assert_close(defect->difference_m, 0.15, 1e-9);
    assert_close(defect->distance_m, 9.825, 1e-9);
    assert_close(joined->defect[2].distance_m, 20.5, 1e-9);
    sm_joined_free(&joined);
    scene_end(&there);
    scene_end(&back);
}

static void test_join__nearest_pairs_first_and_none_lost(void **state)
{
    (void)state;
    struct scene there;
    struct scene back;
    start(&there, 40);
    start(&back, 40);
    scene_log(&there, SM_NAN, 10.0, "BAB");
    scene_log(&there, SM_NAN, 10.4, "BAB");
    scene_log(&there, SM_NAN, 20.0, "BAJ");
    scene_log(&there, SM_NAN, SM_NAN, "BAB"); /* no place */
    scene_log(&back, SM_NAN, 29.65, "BAB");   /* 10.35: the second one, though the first is within reach */
    scene_log(&back, SM_NAN, 20.0, "BBA");    /* another code */
    scene_log(&back, SM_NAN, 5.0, "BAB");     /* 35.0, not reached from the other end */
    scene_align(&there);
    scene_align(&back);
    struct sm_joined *joined = join(&there, &back, SM_NAN);
    assert_int_equal(joined->n_defects, 6);
    assert_int_equal(joined->n_shared, 1);
    assert_close(joined->defect[0].distance_m, 10.0, 1e-9);
    assert_int_equal(joined->defect[0].n_sightings, 1);
    assert_close(joined->defect[0].difference_m, SM_NAN, 0);
    assert_int_equal(joined->defect[1].n_sightings, 2);
    assert_close(joined->defect[1].start_m, 10.35, 1e-9);
    assert_close(joined->defect[1].end_m, 10.4, 1e-9);
    assert_close(joined->defect[4].distance_m, 35, 1e-9);
    assert_close(joined->defect[5].distance_m, SM_NAN, 0);
    sm_joined_free(&joined);
    scene_end(&there);
    scene_end(&back);
}

static void test_join__clock_tells_two_defects_apart(void **state)
{
    (void)state;
    struct scene there;
    struct scene back;
    start(&there, 40);
    start(&back, 40);
    scene_log(&there, SM_NAN, 10.0, "BAB")->clock_from_h = 3;
    scene_log(&back, SM_NAN, 30.0, "BAB")->clock_from_h = 3; /* the other wall, seen from there */
    scene_align(&there);
    scene_align(&back);
    struct sm_joined *joined = join(&there, &back, SM_NAN);
    assert_int_equal(joined->n_defects, 2);
    sm_joined_free(&joined);
    scene_end(&there);
    scene_end(&back);
}

static void test_join__continuous_extents_are_mirrored(void **state)
{
    (void)state;
    struct scene there;
    struct scene back;
    start(&there, 40);
    start(&back, 40);
    scene_log_part(&there, 10.0, "BAF", SM_CONTINUOUS_START, 1);
    scene_log_part(&there, 12.0, "BAF", SM_CONTINUOUS_END, 1);
    scene_log_part(&back, 27.9, "BAF", SM_CONTINUOUS_START, 1); /* 12.1 .. 10.1 */
    scene_log_part(&back, 29.9, "BAF", SM_CONTINUOUS_END, 1);
    scene_align(&there);
    scene_align(&back);
    struct sm_joined *joined = join(&there, &back, 5);
    assert_int_equal(joined->n_defects, 1);
    assert_close(joined->defect[0].start_m, 10.0, 1e-9);
    assert_close(joined->defect[0].end_m, 12.1, 1e-9);
    assert_close(joined->defect[0].difference_m, 0.1, 1e-9);
    sm_joined_free(&joined);
    scene_end(&there);
    scene_end(&back);
}

static void test_join__constant_difference_is_told(void **state)
{
    (void)state;
    struct scene there;
    struct scene back;
    start(&there, 40);
    start(&back, 40);
    for (int i = 1; i < 6; i++) {
        scene_log(&there, SM_NAN, 6.0 * i, "BAB");
        scene_log(&back, SM_NAN, 40 - 6.0 * i - 0.4, "BAB"); /* length given 0.4 m too long */
    }
    scene_align(&there);
    scene_align(&back);
    struct sm_joined *joined = join(&there, &back, SM_NAN);
    assert_int_equal(joined->n_shared, 5);
    assert_close(joined->shift_m, 0.4, 1e-9);
    assert_close(joined->spread_m, 0, 1e-9);
    assert_int_equal(joined->findings.n, 1);
    sm_joined_free(&joined);
    scene_end(&there);
    scene_end(&back);
}

static void test_join__needs_a_length_for_a_reverse_run(void **state)
{
    (void)state;
    struct scene there;
    start(&there, SM_NAN);
    scene_log(&there, SM_NAN, 9.75, "BAC");
    scene_align(&there);
    struct sm_run run[] = {{.alignment = there.alignment}, {.alignment = there.alignment, .is_reverse = true}};
    struct sm_joined *joined = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_align_join(&joined, run, 2, SM_NAN, SM_NAN, &err), SM_E_RANGE);
    assert_null(joined);
    assert_ok(sm_align_join(&joined, run, 1, SM_NAN, SM_NAN, &err), &err); /* from one end it needs none */
    sm_joined_free(&joined);
    assert_ok(sm_align_join(&joined, NULL, 0, SM_NAN, SM_NAN, &err), &err);
    assert_int_equal(joined->n_defects, 0);
    sm_joined_free(&joined);
    scene_end(&there);
}

static void test_mirror_clock__left_and_right_change(void **state)
{
    (void)state;
    static const int32_t row[][4] = {{12, 0, 12, 0}, {6, 0, 6, 0},     {3, 0, 9, 0},   {1, 0, 11, 0},
                                     {2, 5, 7, 10},  {12, 12, 12, 12}, {11, 1, 11, 1}, {0, 0, 0, 0}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        int32_t from_h = row[i][0];
        int32_t to_h = row[i][1];
        sm_align_mirror_clock(&from_h, &to_h);
        assert_int_equal(from_h, row[i][2]);
        assert_int_equal(to_h, row[i][3]);
        sm_align_mirror_clock(&from_h, &to_h); /* twice is never */
        assert_int_equal(from_h, row[i][0]);
        assert_int_equal(to_h, row[i][1]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reverse_run__worked_example),
        cmocka_unit_test(test_join__nearest_pairs_first_and_none_lost),
        cmocka_unit_test(test_join__clock_tells_two_defects_apart),
        cmocka_unit_test(test_join__continuous_extents_are_mirrored),
        cmocka_unit_test(test_join__constant_difference_is_told),
        cmocka_unit_test(test_join__needs_a_length_for_a_reverse_run),
        cmocka_unit_test(test_mirror_clock__left_and_right_change),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
