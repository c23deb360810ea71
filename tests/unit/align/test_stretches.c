/* Counters re-zeroed or set while the run goes on. */
#include "align_scene.h"

#include <math.h>

#define N(array) (sizeof(array) / sizeof *(array))

/* To 20 m, a stop from 200 s to 220 s during which the counter is set to zero, on to 32 m shown as 12 m. */
static const struct scene_leg drive[] = {{200, 20}, {220, 20}, {340, 32}, {350, 32}};

static void zero_at(struct scene *scene, double time_s, double shown_m)
{
    struct sm_trace *trace = scene->trace;
    int64_t before = 0;
    for (size_t i = 0; i < trace->n_readings; i++) {
        before = trace->reading[i].time_s < time_s ? trace->reading[i].counts : before;
    }
    for (size_t i = 0; i < trace->n_readings; i++) {
        if (trace->reading[i].time_s >= time_s) {
            trace->reading[i].counts += llround(shown_m * 100) - before;
        }
    }
    trace->jump_time_s = sm_calloc(1, sizeof *trace->jump_time_s);
    assert_non_null(trace->jump_time_s);
    trace->jump_time_s[0] = time_s;
    trace->n_jumps = 1;
}

static void start(struct scene *scene)
{
    scene_start(scene);
    scene_drive(scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    zero_at(scene, 210, 0);
}

static void test_rezero__goes_on_where_it_stood(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    scene_log(&scene, 100, 10, "BAB");
    scene_log(&scene, 280, SM_NAN, "BAB"); /* shown as 6 m */
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 10, 1e-9);
    assert_int_equal(scene_observation(&scene, 0)->flags, 0);
    assert_close(scene_observation(&scene, 1)->distance_m, 26, 1e-9);
    assert_int_equal(scene_observation(&scene, 1)->flags, SM_FLAG_COUNTER_JUMP);
    assert_int_equal(scene_observation(&scene, 1)->reading.counts, 600);
    assert_true(scene_says(&scene, "the counter was set anew at 00:03:30; 20.00 m added"));
    scene_end(&scene);
}

static void test_rezero__operator_wrote_what_was_shown(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    scene_log(&scene, 280, 6, "BAB");
    scene_log(&scene, 345, 12, "BAB");
    scene_log(&scene, SM_NAN, 9, "BAB"); /* no time: written between or after these */
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 26, 1e-9);
    assert_close(scene_observation(&scene, 2)->distance_m, 29, 1e-9);
    assert_int_equal(scene_observation(&scene, 0)->flags & SM_FLAG_LOG_DISAGREES, 0);
    assert_int_equal(scene_observation(&scene, 2)->flags & SM_FLAG_COUNTER_JUMP, SM_FLAG_COUNTER_JUMP);
    scene_end(&scene);
}

static void test_rezero__operator_went_on_counting(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    /* moved 0.4 m while the counter was dark: his distances know it */
    scene_log(&scene, 280, 26.4, "BAB");
    scene_log(&scene, 345, 32.4, "BAB");
    scene_log(&scene, 300, SM_NAN, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 26.4, 1e-9);
    assert_close(scene_observation(&scene, 2)->distance_m, 28.4, 1e-9);
    assert_int_equal(scene_observation(&scene, 0)->flags, SM_FLAG_COUNTER_JUMP);
    assert_true(scene_says(&scene, "as the logged distances say"));
    scene_end(&scene);
}

static void test_rezero__ties_behind_it_settle_it(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 18, 18);
    scene_tie(&scene, 11.5, 32); /* shown on both sides of the jump: behind it it fits within half a metre */
    scene_log(&scene, 100, SM_NAN, "BAB");
    scene_log(&scene, 335, SM_NAN, "BAB"); /* shown as 11.5 */
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 10, 1e-9);
    assert_close(scene_observation(&scene, 1)->distance_m, 32, 1e-9);
    scene_end(&scene);
}

static void test_zeroing_before_the_run__is_not_counted(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 37.2, (const struct scene_leg[]){{10, 37.2}, {210, 57.2}}, 2, 0.5, SM_UNIT_M, 2);
    zero_at(&scene, 5, 0); /* still the last pipe's counter until then */
    scene_log(&scene, 0, 0, "BCD");
    scene_log(&scene, 110, SM_NAN, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 1)->distance_m, 10, 1e-9);
    assert_int_equal(scene_observation(&scene, 1)->flags, 0);
    assert_true(scene_says(&scene, "before the run"));
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rezero__goes_on_where_it_stood),
        cmocka_unit_test(test_rezero__operator_wrote_what_was_shown),
        cmocka_unit_test(test_rezero__operator_went_on_counting),
        cmocka_unit_test(test_rezero__ties_behind_it_settle_it),
        cmocka_unit_test(test_zeroing_before_the_run__is_not_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
