/* Memory that runs out anywhere, and logs and traces that no honest machine writes. */
#include "align_scene.h"

#include <math.h>
#include <stdlib.h>

#include "sm_test_alloc.h"

#define N(array) (sizeof(array) / sizeof *(array))

static const struct scene_leg drive[] = {{60, 5.0},   {68, 5.0},   {130, 11.2}, {137, 11.2}, {150, 12.9},
                                         {161, 12.9}, {300, 29.7}, {308, 29.7}, {420, 43.5}, {430, 43.5}};

/* Everything at once: a clock, ties, a jump, a continuous defect, a wrong distance, an unknown code. */
static void start(struct scene *scene)
{
    static double jump_s[] = {305};
    scene_start(scene);
    scene->sheet->log_time = SM_LOG_TIME_CLOCK;
    scene_drive(scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene->trace->n_jumps = 1;
    scene->trace->jump_time_s = jump_s;
    scene_tie(scene, 0, 0);
    scene_tie(scene, 43.5, 43.8);
    scene_log(scene, 36000 + 1, 0, "BCD");
    scene_log(scene, 36000 + 64, 5.0, "BAB");
    scene_log_part(scene, 11.2, "BAB", SM_CONTINUOUS_START, 1)->time_s = 36000 + 133;
    scene_log_part(scene, 12.9, "BAB", SM_CONTINUOUS_END, 1)->time_s = 36000 + 155;
    scene_log(scene, 36000 + 156, 19.2, "BCA");
    scene_log(scene, 36000 + 200, SM_NAN, "QQQ");
    scene_log_part(scene, 30, "BBA", SM_CONTINUOUS_START, 2);
    scene_log(scene, 36000 + 426, 43.5, "BCE");
}

static void stop(struct scene *scene)
{
    scene->trace->jump_time_s = NULL; /* not of the heap */
    scene_end(scene);
}

static int align_once(void *user)
{
    const struct scene *scene = user;
    struct sm_alignment *alignment = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_align(&alignment, &scene->log, scene->trace, scene->sheet, scene->codes, &err);
    assert_true(status == SM_OK ? alignment != NULL : alignment == NULL);
    sm_alignment_free(&alignment);
    return status;
}

static int find_times_once(void *user)
{
    const struct scene *scene = user;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    return sm_align_times(time_s, &offset_s, &scene->log, scene->trace, scene->sheet, NULL);
}

static int join_once(void *user)
{
    const struct scene *scene = user;
    struct sm_run run[] = {{.alignment = scene->alignment}, {.alignment = scene->alignment, .is_reverse = true}, {.alignment = scene->alignment}};
    struct sm_joined *joined = NULL;
    enum sm_status status = sm_align_join(&joined, run, N(run), SM_NAN, SM_NAN, NULL);
    sm_joined_free(&joined);
    return status;
}

static int pick_once(void *user)
{
    const struct scene *scene = user;
    static const double at_s[] = {1, 2, 3};
    struct sm_trace *picked = NULL;
    enum sm_status status = sm_trace_pick(&picked, scene->trace, at_s, N(at_s), NULL);
    sm_trace_free(&picked);
    return status;
}

static void test_memory__may_run_out_anywhere(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene);
    sm_test_alloc_all(align_once, &scene);
    sm_test_alloc_all(find_times_once, &scene);
    sm_test_alloc_all(pick_once, &scene);
    scene_align(&scene);
    sm_test_alloc_all(join_once, &scene);
    stop(&scene);
}

static double odd_number(struct sm_test_random *random)
{
    static const double odd[] = {0, -0.0, 1e300, -1e300, 1e9, -1e9, 86399.9, 0.004999};
    int64_t which = sm_test_int(random, 0, (int64_t)N(odd) + 3);
    return which < (int64_t)N(odd)    ? odd[which]
           : which == (int64_t)N(odd) ? SM_NAN
                                      : sm_test_uniform(random, -50, 500);
}

static void test_odd_numbers__break_nothing(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(11);
    static const char *const code[] = {"BAB", "BCA", "BCD", "BCE", "BDC", "", "BAC"};
    for (int round = 0; round < 300; round++) {
        struct scene scene;
        scene_start(&scene);
        scene.sheet->log_time = sm_test_int(&random, 0, 1) ? SM_LOG_TIME_CLOCK : SM_LOG_TIME_VIDEO;
        scene.sheet->segment.length_m = odd_number(&random);
        scene.sheet->rules.locate = sm_test_int(&random, 0, 1) ? SM_LOCATE_COUNTER : SM_LOCATE_MARK;
        if (sm_test_int(&random, 0, 3) > 0) {
            scene_drive(&scene, 0, drive, N(drive), 2, SM_UNIT_FT, (int32_t)sm_test_int(&random, 0, 3));
            scene.trace->duration_s = odd_number(&random);
        }
        for (int64_t i = sm_test_int(&random, 0, 3); i > 0; i--) {
            scene_tie(&scene, odd_number(&random), odd_number(&random));
        }
        for (int64_t i = sm_test_int(&random, 0, 20); i > 0; i--) {
            struct sm_log_entry *entry =
                scene_log(&scene, odd_number(&random), odd_number(&random), code[sm_test_int(&random, 0, 6)]);
            entry->q1_value = odd_number(&random);
            entry->diameter_mm = odd_number(&random);
            entry->continuous = (enum sm_continuous)sm_test_int(&random, 0, 3);
            entry->continuous_id = (int32_t)sm_test_int(&random, -1, 1);
        }
        scene_align(&scene);
        join_once(&scene);
        scene_end(&scene);
    }
}

/* A counter that flickers in every frame of an hour and a log of a whole network: long, but not for ever. */
static void test_large__stays_quick(void **state)
{
    (void)state;
    enum { n_readings = 90000, n_rows = 20000 };
    struct sm_test_random random = sm_test_seed(12);
    struct scene scene;
    scene_start(&scene);
    scene.sheet->log_time = SM_LOG_TIME_CLOCK;
    scene_drive(&scene, 0, drive, N(drive), 1, SM_UNIT_M, 2);
    sm_free(scene.trace->reading);
    scene.trace->reading = sm_calloc(n_readings, sizeof *scene.trace->reading);
    struct sm_log_entry *row = sm_calloc(n_rows, sizeof *row);
    assert_non_null(scene.trace->reading);
    assert_non_null(row);
    scene.trace->n_readings = n_readings;
    scene.trace->duration_s = n_readings / 25.0;
    for (int i = 0; i < n_readings; i++) {
        scene.trace->reading[i] =
            (struct sm_reading){i / 25.0, sm_test_int(&random, 0, 4000), 0.95F, SM_READING_READ};
    }
    struct sm_log_entry *model = scene_log(&scene, 0, 0, "BAB");
    for (int i = 0; i < n_rows; i++) {
        row[i] = *model;
        row[i].time_s = sm_test_uniform(&random, 0, 3600);
        row[i].distance_m = sm_test_uniform(&random, 0, 40);
        row[i].continuous = (enum sm_continuous)sm_test_int(&random, 0, 2);
        row[i].continuous_id = (int32_t)sm_test_int(&random, 0, n_rows);
    }
    scene.log.entry = row;
    scene.log.n_entries = n_rows;
    scene_align(&scene);
    struct sm_run run[] = {{.alignment = scene.alignment}, {.alignment = scene.alignment, .is_reverse = true}};
    struct sm_joined *joined = NULL;
    assert_int_equal(sm_align_join(&joined, run, 2, 40, SM_NAN, NULL),
                     SM_E_RANGE); /* more than it takes: it says so */
    sm_joined_free(&joined);
    sm_free(row);
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_memory__may_run_out_anywhere),
        cmocka_unit_test(test_odd_numbers__break_nothing),
        cmocka_unit_test(test_large__stays_quick),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
