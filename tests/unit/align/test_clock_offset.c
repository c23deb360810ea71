/* Clock offset: from distances, from standstills, of a log volume, across midnight; and when not to answer.
 */
#include "align_scene.h"

#include <math.h>
#include <string.h>

#define N(array) (sizeof(array) / sizeof *(array))

static const struct scene_leg drive[] = {{60, 5.0},   {68, 5.0},   {130, 11.2}, {137, 11.2}, {150, 12.9},
                                         {161, 12.9}, {300, 29.7}, {308, 29.7}, {420, 43.5}, {430, 43.5}};

/* Rows at the stops, logged on a clock that shows offset_s at video time zero. */
static void log_stops(struct scene *scene, double offset_s, bool has_distance)
{
    static const struct {
        double time_s, place_m;
    } stop[] = {{0.5, 0}, {64, 5.0}, {133, 11.2}, {155, 12.9}, {304, 29.7}, {426, 43.5}};
    for (size_t i = 0; i < N(stop); i++) {
        double time_s = fmod(stop[i].time_s + offset_s, 86400);
        scene_log(scene, time_s, has_distance ? stop[i].place_m : SM_NAN,
                  i == 0   ? "BCD"
                  : i == 5 ? "BCE"
                           : "BAB");
    }
}

static void find(const struct scene *scene, double *time_s, double *offset_s)
{
    struct sm_error err = {0};
    assert_ok(sm_align_times(time_s, offset_s, &scene->log, scene->trace, scene->sheet, &err), &err);
}

static void start(struct scene *scene, enum sm_log_time log_time)
{
    scene_start(scene);
    scene->sheet->log_time = log_time;
    scene_drive(scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
}

static void test_clock__offset_from_distances(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_CLOCK);
    log_stops(&scene, 36000, true);
    scene_log(&scene, 36000 + 200, 17.6, "BCA"); /* in passing, at 17.61 */
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, 36000, 1);
    assert_close(time_s[6], 200, 1);
    scene_look(&scene);
    scene_align(&scene);
    assert_close(scene.alignment->clock_offset_s, offset_s, 0.1);
    for (size_t i = 0; i < 7; i++) {
        assert_int_equal(scene_observation(&scene, i)->flags, 0);
        assert_int_equal(scene_observation(&scene, i)->reading.state, SM_READING_READ);
    }
    assert_close(scene_observation(&scene, 2)->distance_m, 11.2, 1e-9);
    scene_end(&scene);
}

static void test_clock__outvotes_wrong_distances(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_CLOCK);
    log_stops(&scene, 50000, true);
    scene.row[3].distance_m = 19.2; /* 12.9 it was */
    scene.row[4].distance_m = 2.97;
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, 50000, 1);
    scene_align(&scene);
    assert_true(scene_observation(&scene, 3)->flags & SM_FLAG_LOG_DISAGREES);
    assert_close(scene_observation(&scene, 3)->distance_m, 12.9, 1e-9);
    assert_true(scene_says(&scene, "decimal point slipped?"));
    scene_end(&scene);
}

static void test_clock__midnight_is_one_run(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_CLOCK);
    log_stops(&scene, 86400 - 140, true); /* rows on both sides of midnight */
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, 86400 - 140, 1);
    assert_close(time_s[5], 426, 1.5);
    scene_end(&scene);
}

static void test_clock__standstills_do_without_distances(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_CLOCK);
    log_stops(&scene, 36000, false);
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, 36000, 5);
    scene_align(&scene);
    assert_close(scene_observation(&scene, 3)->distance_m, 12.9, 1e-9);
    assert_non_null(scene.alignment->method);
    scene_end(&scene);
}

static void test_clock__refuses_when_two_offsets_fit_alike(void **state)
{
    (void)state;
    /* out to 10 m, back to 5 m and out again: two visits to each place, the same time apart */
    static const struct scene_leg twice[] = {{50, 5},  {60, 5},   {110, 10}, {120, 10}, {170, 5},
                                             {180, 5}, {230, 10}, {240, 10}, {300, 16}};
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    scene_start(&scene);
    scene.sheet->log_time = SM_LOG_TIME_CLOCK;
    scene_drive(&scene, 0, twice, N(twice), 0.5, SM_UNIT_M, 2);
    scene_log(&scene, 36000 + 55, 5.0, "BAB");
    scene_log(&scene, 36000 + 115, 10.0, "BAB");
    scene_log(&scene, 36000 + 115, SM_NAN, "BAB");
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, SM_NAN, 0);
    assert_close(time_s[0], SM_NAN, 0);
    scene_align(&scene);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_CLOCK_DOUBTFUL);
    assert_close(scene_observation(&scene, 0)->distance_m, 5.0, 1e-9); /* the log is all there is */
    assert_true(scene_observation(&scene, 2)->flags & SM_FLAG_NO_DISTANCE);
    assert_true(scene_says(&scene, "could not be settled"));
    scene_end(&scene);
}

static void test_clock__without_a_picture_times_mean_nothing(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    scene_start(&scene);
    scene.sheet->log_time = SM_LOG_TIME_CLOCK;
    log_stops(&scene, 36000, true);
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, SM_NAN, 0);
    assert_close(time_s[1], SM_NAN, 0);
    scene_align(&scene);
    assert_close(scene_observation(&scene, 1)->distance_m, 5.0, 1e-9);
    assert_int_equal(scene_observation(&scene, 1)->flags, 0);
    scene_end(&scene);
}

static void test_video_time__is_believed_as_logged(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_VIDEO);
    log_stops(&scene, 0, true);
    scene.row[2].distance_m = 21.1; /* one wrong row does not shake it */
    find(&scene, time_s, &offset_s);
    assert_close(offset_s, SM_NAN, 0);
    for (size_t i = 0; i < scene.log.n_entries; i++) {
        assert_close(time_s[i], scene.row[i].time_s, 0);
    }
    scene_end(&scene);
}

/* Runs of an official sample begin at 46:17, 1:48:08, 03:32:47 of their volume. */
static void test_video_time__of_a_volume_that_started_earlier(void **state)
{
    (void)state;
    for (int has_distance = 0; has_distance < 2; has_distance++) {
        struct scene scene;
        double time_s[SCENE_MOST_ROWS];
        double offset_s;
        start(&scene, SM_LOG_TIME_VIDEO);
        log_stops(&scene, 2777, has_distance);
        find(&scene, time_s, &offset_s);
        assert_close(offset_s, 2777, has_distance ? 1 : 5);
        assert_close(time_s[3], 155, has_distance ? 1 : 5);
        scene_align(&scene);
        assert_true(scene_says(&scene, "times do not start with the video"));
        scene_end(&scene);
    }
}

static void test_video_time__falls_back_to_the_first_row(void **state)
{
    (void)state;
    struct scene scene;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    start(&scene, SM_LOG_TIME_VIDEO);
    scene_log(&scene, 6488, SM_NAN, "BCD");
    scene_log(&scene, 6588, SM_NAN, "BAB");
    find(&scene, time_s, &offset_s);
    assert_close(time_s[0], 0, 0);
    assert_close(time_s[1], 100, 0);
    scene_align(&scene);
    assert_true(scene_says(&scene, "the time of its first row"));
    scene_end(&scene);
}

/* 09:30 .. 09:37 read as minutes and seconds would be 43 m in seven seconds. */
static void test_form__hours_and_minutes_are_told_from_minutes_and_seconds(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_CLOCK);
    scene.log.may_be_hours = true;
    log_stops(&scene, 34200, true);
    for (size_t i = 0; i < scene.log.n_entries; i++) {
        scene.row[i].time_s = floor(scene.row[i].time_s / 60); /* as the reader takes 9:30: nine minutes and a half */
    }
    scene_align(&scene);
    assert_true(scene_says(&scene, "read as hours and minutes"));
    assert_close(scene.alignment->clock_offset_s, 34200, 30);
    for (size_t i = 0; i < scene.log.n_entries; i++) {
        assert_close(scene_observation(&scene, i)->distance_m, scene.row[i].distance_m, 0.02);
    }
    scene_end(&scene);
}

static void test_form__minutes_and_seconds_stay(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_VIDEO);
    scene.log.may_be_hours = true;
    log_stops(&scene, 0, true);
    scene_align(&scene);
    assert_string_equal(scene.alignment->method, "video time as logged");
    assert_close(scene_observation(&scene, 5)->time_s, 426, 0.1);
    scene_end(&scene);
}

/* Two rows five seconds and half a metre apart: nothing tells 5 s from 5 min. */
static void test_form__both_fit_and_it_says_so(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_VIDEO);
    scene.log.may_be_hours = true;
    scene_log(&scene, 70, 5.1, "BAB");
    scene_log(&scene, 75, 5.6, "BAB");
    scene_align(&scene);
    assert_true(scene_says(&scene, "both fit the video: taken as minutes and seconds"));
    assert_close(scene_observation(&scene, 0)->time_s, 70, 0.1);
    scene_end(&scene);
}

static void test_form__running_numbers_are_told_from_seconds(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_VIDEO);
    scene.log.may_be_hmmss = true;
    log_stops(&scene, 0, true);
    for (size_t i = 0; i < scene.log.n_entries; i++) {
        double time_s = floor(scene.row[i].time_s);
        scene.row[i].time_s = floor(time_s / 60) * 100 + fmod(time_s, 60); /* 426 s: 706 */
    }
    scene_align(&scene);
    assert_true(scene_says(&scene, "running numbers HMMSS"));
    assert_close(scene_observation(&scene, 5)->time_s, 426, 0.1);
    scene_end(&scene);
}

static void test_form__frames_count(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_VIDEO);
    scene.trace->frame_rate_hz = 30;
    scene_log(&scene, 100, SM_NAN, "BAB")->time_frames = 15;
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->time_s, 100.5, 1e-9);
    scene_end(&scene);
}

static void test_picture_clock__is_the_offset(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_CLOCK);
    scene.trace->clock = (struct sm_picture_clock){true, 36000.2, 0.3, 9};
    scene_log(&scene, 36000 + 64, SM_NAN, "BAB");
    scene_log(&scene, 36000 + 304, SM_NAN, "BAB");
    scene_align(&scene);
    assert_true(strncmp(scene.alignment->method, "picture clock", 13) == 0);
    assert_close(scene.alignment->clock_offset_s, 36000.2, 1e-9);
    assert_close(scene_observation(&scene, 1)->distance_m, 29.7, 1e-9);
    scene_end(&scene);
}

/* The log was written on another clock, 100 s ahead: its distances say so. */
static void test_picture_clock__gives_way_to_distances(void **state)
{
    (void)state;
    struct scene scene;
    start(&scene, SM_LOG_TIME_CLOCK);
    scene.trace->clock = (struct sm_picture_clock){true, 36000, 0.3, 9};
    log_stops(&scene, 36100, true);
    scene_align(&scene);
    assert_close(scene.alignment->clock_offset_s, 36100, 1);
    assert_true(scene_says(&scene, "ahead of the clock in the picture by 100 s"));
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_clock__offset_from_distances),
        cmocka_unit_test(test_clock__outvotes_wrong_distances),
        cmocka_unit_test(test_clock__midnight_is_one_run),
        cmocka_unit_test(test_clock__standstills_do_without_distances),
        cmocka_unit_test(test_clock__refuses_when_two_offsets_fit_alike),
        cmocka_unit_test(test_clock__without_a_picture_times_mean_nothing),
        cmocka_unit_test(test_video_time__is_believed_as_logged),
        cmocka_unit_test(test_video_time__of_a_volume_that_started_earlier),
        cmocka_unit_test(test_video_time__falls_back_to_the_first_row),
        cmocka_unit_test(test_form__hours_and_minutes_are_told_from_minutes_and_seconds),
        cmocka_unit_test(test_form__minutes_and_seconds_stay),
        cmocka_unit_test(test_form__both_fit_and_it_says_so),
        cmocka_unit_test(test_form__running_numbers_are_told_from_seconds),
        cmocka_unit_test(test_form__frames_count),
        cmocka_unit_test(test_picture_clock__is_the_offset),
        cmocka_unit_test(test_picture_clock__gives_way_to_distances),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
