/* What a reviewer is told where log and picture differ. */
#include "align_scene.h"

#include <math.h>
#include <stdlib.h>

#define N(array) (sizeof(array) / sizeof *(array))

static const struct scene_leg drive[] = {{60, 5.0},    {70, 5.0},    {120, 12.4}, {130, 12.4},
                                         {200, 21.75}, {210, 21.75}, {300, 35.6}, {310, 35.6}};
static const double stop_s[] = {65, 125, 205, 305};
static const double stop_m[] = {5.0, 12.4, 21.75, 35.6};

static void start(struct scene *scene)
{
    scene_start(scene);
    scene_drive(scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    for (size_t i = 0; i < N(stop_s); i++) {
        scene_log(scene, stop_s[i], stop_m[i], "BAB");
    }
}

static void test_causes__are_named(void **state)
{
    (void)state;
    static const struct {
        size_t row;
        double logged_m;
        const char *words;
    } wrong[] = {
        {1, 21.4, "digits swapped?"},
        {2, 27.15, "digits swapped?"},
        {1, 1.24, "decimal point slipped?"},
        {1, 124.0, "decimal point slipped?"},
        {2, 217.5, "decimal point slipped?"},
        {3, 356.0, "decimal point slipped?"},
        {2, 71.36, "metres and feet mixed up?"},
        {2, 6.63, "metres and feet mixed up?"},
        {1, -12.4, "sign wrong?"},
        {3, 38.6, "one digit wrong?"},
        {2, 12.4, "the distance of line 3 copied?"},
        {1, 8.5, "which it shows at 00:01:34: is the time wrong?"},
    };
    for (size_t i = 0; i < N(wrong); i++) {
        struct scene scene;
        start(&scene);
        scene.row[wrong[i].row].distance_m = wrong[i].logged_m;
        scene_align(&scene);
        if (!scene_says(&scene, wrong[i].words)) {
            fail_msg("logged %.2f for %.2f: not told \"%s\"", wrong[i].logged_m, stop_m[wrong[i].row],
                     wrong[i].words);
        }
        for (size_t k = 0; k < N(stop_s); k++) {
            assert_int_equal(scene_observation(&scene, k)->flags,
                             k == wrong[i].row ? SM_FLAG_LOG_DISAGREES : 0);
            assert_close(scene_observation(&scene, k)->distance_m, stop_m[k], 1e-9);
        }
        scene_end(&scene);
    }
}

static void test_swapped_rows__are_told_as_such(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    scene.row[1].distance_m = 21.75;
    scene.row[2].distance_m = 12.4;
    scene_align(&scene);
    assert_true(scene_says(&scene, "distances of lines 3 and 4 swapped?"));
    assert_true(scene_says(&scene, "distances of lines 4 and 3 swapped?"));
    scene_end(&scene);
}

static void test_constant_offset__is_one_cause_for_all(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    for (size_t i = 0; i < N(stop_s); i++) {
        scene.row[i].distance_m += 0.60;
    }
    scene_align(&scene);
    assert_true(scene_says(&scene, "most logged distances are 0.60 m more than the picture's"));
    assert_true(scene_says(&scene, "off by as much as most of the log"));
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_LOG_DISAGREES);
    scene_end(&scene);
}

static void test_coarse_log__is_not_blamed_for_its_rounding(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    for (size_t i = 0; i < N(stop_s); i++) {
        scene.row[i].distance_m = round(stop_m[i]);
        scene.row[i].distance_digit_m = 1;
    }
    scene_align(&scene);
    for (size_t i = 0; i < N(stop_s); i++) {
        assert_int_equal(scene_observation(&scene, i)->flags, 0);
    }
    scene_end(&scene);
}

/* A spreadsheet drops trailing zeros: 5 for 5.00 beside 12.4 and 21.75 is as exact as they are. */
static void test_dropped_zeros__do_not_loosen_the_limit(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    scene.row[0].distance_m = 6;
    scene.row[0].distance_digit_m = 1;
    scene_align(&scene);
    assert_int_equal(scene_observation(&scene, 0)->flags, SM_FLAG_LOG_DISAGREES);
    scene_end(&scene);
}

static void test_feet_log__digits_are_compared_in_feet(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_FT, 1); /* 12.4 m is 40.7 ft */
    scene_log(&scene, 125, 47.0 * SM_M_PER_FT, "BAB")->distance_digit_m = 0.1 * SM_M_PER_FT;
    scene_align(&scene);
    assert_true(scene_says(&scene, "log says 47.0 ft, picture shows 40.7 ft at 00:02:05: digits swapped?"));
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_causes__are_named),
        cmocka_unit_test(test_swapped_rows__are_told_as_such),
        cmocka_unit_test(test_constant_offset__is_one_cause_for_all),
        cmocka_unit_test(test_coarse_log__is_not_blamed_for_its_rounding),
        cmocka_unit_test(test_dropped_zeros__do_not_loosen_the_limit),
        cmocka_unit_test(test_feet_log__digits_are_compared_in_feet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
