/* From log rows and a trace to observations with a place: sources, ties, length, errors, flags. */
#include "align_scene.h"

#include <math.h>
#include <string.h>

#define N(array) (sizeof(array) / sizeof *(array))

/* 0 to 43.80 m with a stop at 12.40 m from 100 s to 112 s and one at 30 m from 260 s to 270 s. */
static const struct scene_leg drive[] = {{100, 12.40}, {112, 12.40}, {260, 30.0},
                                         {270, 30.0},  {390, 43.80}, {400, 43.80}};

static void test_log_alone__takes_logged_distances(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log(&scene, SM_NAN, 0, "BCD");
    scene_log(&scene, SM_NAN, 12.34, "BAB");
    scene_log(&scene, SM_NAN, 43.80, "BCE");
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 3);
    const struct sm_observation *crack = scene_observation(&scene, 1);
    assert_string_equal(crack->id, "O2");
    assert_int_equal(crack->entry_idx, 1);
    assert_close(crack->distance_m, 12.34, 1e-9);
    assert_close(crack->start_m, 12.34, 1e-9);
    assert_close(crack->end_m, 12.34, 1e-9);
    assert_int_equal(crack->source, SM_DISTANCE_LOG);
    assert_int_equal(crack->treatment, SM_TREATMENT_LINE);
    assert_int_equal(crack->flags, 0);
    assert_close(crack->error_m, 0.050 + 0.005, 1e-9); /* placement + half the last digit logged */
    assert_true(scene_observation(&scene, 0)->is_node);
    assert_close(scene.alignment->length_m, 43.80, 1e-9);
    assert_false(scene.alignment->is_length_assumed);
    assert_close(scene.alignment->misclosure_m, 0, 1e-9);
    assert_close(scene.alignment->clock_offset_s, SM_NAN, 0);
    scene_end(&scene);
}

static void test_decisions__overrule_the_code_table(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log(&scene, SM_NAN, 5.00, "BAB");
    scene_log(&scene, SM_NAN, 12.34, "BBA");
    scene_log(&scene, SM_NAN, 20.00, "BAB");
    const struct sm_sheet_decision decision[] = {
        {"O1", "", SM_TREATMENT_PREPARE, "mill the lip", 3, false},
        {"O2", "BBA", SM_TREATMENT_NONE, "cut already", 4, false},
        {"O3", "BAC", SM_TREATMENT_REFER, "the break has grown", 5, false},
        {"O9", "", SM_TREATMENT_REFER, "no such one", 6, false},
    };
    scene.sheet->decision = decision;
    scene.sheet->n_decisions = N(decision);
    scene_align(&scene);
    const struct sm_observation *first = scene_observation(&scene, 0);
    assert_int_equal(first->treatment, SM_TREATMENT_PREPARE);
    assert_string_equal(first->prepare, "jet clean; mill the lip");
    assert_non_null(strstr(first->reason, "decided in the sheet: mill the lip (code table: line"));
    assert_int_equal(scene_observation(&scene, 1)->treatment, SM_TREATMENT_NONE);
    assert_string_equal(scene_observation(&scene, 1)->prepare, "");
    assert_int_equal(scene_observation(&scene, 2)->treatment,
                     SM_TREATMENT_LINE); /* another code: not meant */
    assert_true(scene_says(&scene, "speaks of O3 as BAC, but it is BAB"));
    assert_true(scene_says(&scene, "speaks of O9, which is no observation"));
    scene_end(&scene);
}

static void test_picture__is_taken_over_the_log(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene_log(&scene, 105, 12.40, "BAB");
    scene_log(&scene, 105, 12.45, "BAB"); /* within the limit: the picture still decides */
    scene_log(&scene, 105, 21.40, "BAB"); /* beyond it */
    scene_log(&scene, 265, SM_NAN, "BAB");
    scene_log(&scene, 265, SM_NAN, "BAB")->distance_digit_m = SM_NAN;
    scene_align(&scene);
    for (size_t i = 0; i < 3; i++) {
        assert_close(scene_observation(&scene, i)->distance_m, 12.40, 1e-9);
        assert_int_equal(scene_observation(&scene, i)->source, SM_DISTANCE_PICTURE);
        assert_int_equal(scene_observation(&scene, i)->reading.counts, 1240);
    }
    assert_int_equal(scene_observation(&scene, 1)->flags, 0);
    assert_int_equal(scene_observation(&scene, 2)->flags, SM_FLAG_LOG_DISAGREES);
    assert_true(scene_says(&scene, "log says 21.40 m, picture shows 12.40 m at 00:01:45: digits swapped?"));
    assert_close(scene_observation(&scene, 3)->distance_m, 30.0, 1e-9);
    assert_close(scene_observation(&scene, 3)->error_m, 0.055, 1e-9);
    scene_end(&scene);
}

static void test_picture__trust_log_turns_it_round(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene.sheet->trust = SM_TRUST_LOG;
    scene_log(&scene, 105, 21.40, "BAB");
    scene_log(&scene, 265, SM_NAN, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 21.40, 1e-9);
    assert_int_equal(scene_observation(&scene, 0)->flags, SM_FLAG_LOG_DISAGREES);
    assert_close(scene_observation(&scene, 1)->distance_m, 30.0, 1e-9);
    scene_end(&scene);
}

static void test_disagreement__limit_is_the_larger_of_both(void **state)
{
    (void)state;
    static const struct {
        int32_t decimals;
        double logged_m;
        bool disagrees;
    } row[] = {
        {2, 12.50, false}, {2, 12.51, true},
        {2, 12.30, false}, {2, 12.29, true}, /* 0.1 m */
        {1, 12.60, false}, {1, 12.70, true},
        {1, 12.20, false}, {1, 12.10, true}, /* two last digits of 0.1 m */
    };
    for (size_t i = 0; i < N(row); i++) {
        struct scene scene;
        scene_start(&scene);
        scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, row[i].decimals);
        scene_log(&scene, 105, row[i].logged_m, "BAB");
        scene_align(&scene);
        assert_int_equal(scene_observation(&scene, 0)->flags & SM_FLAG_LOG_DISAGREES,
                         row[i].disagrees ? SM_FLAG_LOG_DISAGREES : 0);
        scene_end(&scene);
    }
}

static void test_feet__are_turned_to_metres(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_FT, 1);
    scene_log(&scene, 105, 40.7 * SM_M_PER_FT, "BAB")->distance_digit_m = 0.1 * SM_M_PER_FT;
    scene_log(&scene, 105, 40.7, "BAB")->distance_digit_m = 0.1; /* feet written down as metres */
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 40.7 * SM_M_PER_FT, 1e-9);
    assert_int_equal(scene_observation(&scene, 0)->flags, 0);
    assert_close(scene_observation(&scene, 0)->error_reading_m, 0.05 * SM_M_PER_FT, 1e-9);
    assert_true(scene_observation(&scene, 1)->flags & SM_FLAG_LOG_DISAGREES);
    assert_true(scene_says(&scene, "metres and feet mixed up?"));
    scene_end(&scene);
}

static void test_unread__log_is_used_and_both_say_so(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene_hide(&scene, 150, 170);          /* 16.92 .. 19.30 */
    scene_log(&scene, 160, 18.11, "BAB");  /* inside of what the readings around allow */
    scene_log(&scene, 160, 28.11, "BAB");  /* outside */
    scene_log(&scene, 160, SM_NAN, "BAB"); /* nothing but what is carried */
    scene_log(&scene, 430, 43.0, "BAB");   /* after the video */
    scene_log(&scene, 430, SM_NAN, "BAB");
    scene_align(&scene);
    const struct sm_observation *inside = scene_observation(&scene, 0);
    assert_int_equal(inside->source, SM_DISTANCE_LOG);
    assert_close(inside->distance_m, 18.11, 1e-9);
    assert_int_equal(inside->flags, SM_FLAG_COUNTER_UNREAD | SM_FLAG_UNSURE);
    const struct sm_observation *outside = scene_observation(&scene, 1);
    assert_int_equal(outside->source, SM_DISTANCE_PICTURE);
    assert_true(outside->flags & SM_FLAG_LOG_DISAGREES);
    const struct sm_observation *carried = scene_observation(&scene, 2);
    assert_close(carried->distance_m, 18.11, 0.02);
    assert_true(carried->error_m > 1.2); /* the readings around leave 2.5 m */
    assert_int_equal(carried->reading.state, SM_READING_CARRIED);
    assert_int_equal(scene_observation(&scene, 3)->flags, SM_FLAG_TIME_OUTSIDE_VIDEO);
    assert_close(scene_observation(&scene, 3)->distance_m, 43.0, 1e-9);
    assert_int_equal(scene_observation(&scene, 4)->flags, SM_FLAG_TIME_OUTSIDE_VIDEO | SM_FLAG_NO_DISTANCE);
    assert_close(scene_observation(&scene, 4)->distance_m, SM_NAN, 0);
    assert_close(scene_observation(&scene, 4)->error_m, SM_NAN, 0);
    scene_end(&scene);
}

static void test_doubtful_reading__gives_way_to_its_neighbours(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene.trace->reading[210] = (struct sm_reading){105, 1740, 0.4F, SM_READING_READ}; /* 12.40 misread */
    scene_log(&scene, 105, 12.40, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 12.40, 1e-9);
    assert_false(scene_observation(&scene, 0)->flags & SM_FLAG_LOG_DISAGREES);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_UNSURE);
    scene_end(&scene);
}

static void test_reaction__entry_goes_back_to_its_standstill(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_M, 2);
    scene_log(&scene, 118, 12.40, "BAB"); /* at 13.11 by then */
    scene_log(&scene, 140, 12.40, "BAB"); /* too late to be a reaction: the log is wrong, or the time */
    scene_align(&scene);
    const struct sm_observation *moved = scene_observation(&scene, 0);
    assert_int_equal(moved->flags, SM_FLAG_MOVED_TO_STANDSTILL);
    assert_close(moved->time_s, 112, 1e-9);
    assert_int_equal(moved->reading.counts, 1240);
    assert_close(moved->distance_m, 12.40, 1e-9);
    assert_int_equal(scene_observation(&scene, 1)->flags, SM_FLAG_LOG_DISAGREES);
    scene_end(&scene);
}

static void test_datum_and_view__shift_what_is_not_tied(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene.sheet->datum = SM_DATUM_MANHOLE_CENTRE;
    scene.sheet->datum_offset_m = 0.60; /* the pipe begins 0.60 m after the counter's zero */
    scene.sheet->view_ahead_m = 0.25;
    scene_log(&scene, SM_NAN, 10.00, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 9.65, 1e-9);
    scene_end(&scene);
}

static void test_ties__one_shifts_and_replaces_the_datum(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene.sheet->datum_offset_m = 0.60;
    scene_tie(&scene, 20.00, 19.70);
    scene_log(&scene, SM_NAN, 10.00, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 9.70, 1e-9);
    assert_close(scene.alignment->tie_misfit_m, 0, 0);
    scene_end(&scene);
}

/* A log alone, in feet, and no unit in the sheet: the ties' readings are feet too, or every liner lies
 * elsewhere. */
static void test_ties__are_in_the_unit_of_the_log(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene.sheet->counter_unit = SM_UNIT_UNKNOWN;
    scene.log.unit = SM_UNIT_FT;
    scene_log(&scene, SM_NAN, 50 * SM_M_PER_FT, "BAB");
    scene_log(&scene, SM_NAN, 100 * SM_M_PER_FT, "BCE");
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 100, 31.0);
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 15.5, 1e-9);
    scene_end(&scene);
}

static void test_ties__are_piecewise_linear(void **state)
{
    (void)state;
    static const struct {
        double logged_m, true_m;
    } row[] = {{0, 0}, {10, 10.5}, {20, 21}, {30, 30.5}, {40, 40}, {50, 50}, {-1, -1}};
    struct scene scene;
    scene_start(&scene);
    scene.sheet->segment.length_m = 60;
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 20, 21);
    scene_tie(&scene, 40, 40);
    for (size_t i = 0; i < N(row); i++) {
        scene_log(&scene, SM_NAN, row[i].logged_m, "BAB");
    }
    scene_align(&scene);
    for (size_t i = 0; i < N(row); i++) {
        assert_close(scene_observation(&scene, i)->distance_m, row[i].true_m, 1e-9);
    }
    assert_close(scene.alignment->tie_misfit_m, 1.0, 1e-9);
    assert_int_equal(scene.alignment->n_ties, 3);
    scene_end(&scene);
}

static void test_ties__in_feet_are_readings_of_the_counter(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_drive(&scene, 0, drive, N(drive), 0.5, SM_UNIT_FT, 1);
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 143.7, 44.30);
    scene_log(&scene, 400, SM_NAN, "BCE");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->distance_m, 44.30, 1e-9);
    scene_end(&scene);
}

static void test_ties__that_fall_are_reported_and_left_out(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 20, 30);
    scene_tie(&scene, 40, 29);
    scene_log(&scene, SM_NAN, 40, "BAB");
    scene_align(&scene);
    assert_true(scene_says(&scene, "contradicts the tie before it"));
    assert_true(scene_says(&scene, "more than 20 %"));
    assert_close(scene_observation(&scene, 0)->distance_m, 60, 1e-9);
    scene_end(&scene);
}

/*
 * Tolerance of a municipal specification: within 0.5 % of the length of the reach or 1 foot, whichever is
 * greater.
 * @source City of Sunny Isles Beach, Florida, specification section 02762, 3.2 (distance measurement)
 */
static void test_misclosure__is_judged_by_half_a_percent_or_a_foot(void **state)
{
    (void)state;
    static const struct {
        double length_ft, finish_ft;
        bool is_reported;
    } row[] = {{100, 101.0, false}, {100, 101.1, true}, {100, 98.9, true},  {200, 201.0, false},
               {400, 402.0, false}, {400, 402.1, true}, {400, 398.0, false}};
    for (size_t i = 0; i < N(row); i++) {
        struct scene scene;
        scene_start(&scene);
        scene.sheet->rules.distance_error_m = SM_M_PER_FT;
        scene.sheet->segment.length_m = row[i].length_ft * SM_M_PER_FT;
        scene_log(&scene, SM_NAN, row[i].finish_ft * SM_M_PER_FT, "BCE");
        scene_align(&scene);
        assert_close(scene.alignment->misclosure_m, (row[i].finish_ft - row[i].length_ft) * SM_M_PER_FT,
                     1e-9);
        assert_int_equal(scene_says(&scene, "off by"), row[i].is_reported);
        scene_end(&scene);
    }
}

static void test_error__of_the_counter_alone(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene.sheet->segment.length_m = 120;
    scene.sheet->rules.locate = SM_LOCATE_COUNTER;
    scene_log(&scene, SM_NAN, 20, "BAB");
    scene_log(&scene, SM_NAN, 100, "BAB");
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->error_m, 0.05 + 0.3, 1e-9);
    assert_close(scene_observation(&scene, 1)->error_m, 0.05 + 0.5, 1e-9);
    scene_tie(&scene, 0, 0);
    scene_tie(&scene, 50, 50.4);
    scene_align(&scene);
    assert_close(scene_observation(&scene, 0)->error_m, 0.05 + 0.005 + 0.2, 1e-9); /* between ties */
    assert_close(scene_observation(&scene, 0)->error_distance_m, 0.2, 1e-9);
    assert_close(scene_observation(&scene, 1)->error_distance_m, 0.005 * 100.8, 1e-9); /* beyond them */
    scene_end(&scene);
}

static void test_length__comes_from_the_finish_node_or_the_last_distance(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene.sheet->segment.length_m = SM_NAN;
    scene_tie(&scene, 0, 0.5);
    scene_log(&scene, SM_NAN, 12, "BAB");
    scene_log(&scene, SM_NAN, 30, "BCE");
    scene_log(&scene, SM_NAN, 29, "BDB");
    scene_align(&scene);
    assert_close(scene.alignment->length_m, 30.5, 1e-9);
    assert_true(scene.alignment->is_length_assumed);
    assert_true(scene_says(&scene, "no length given: taken as 30.50 m, the distance of the finish node"));
    scene.row[1].code = "BDC"; /* abandoned instead */
    scene_align(&scene);
    assert_close(scene.alignment->length_m, 30.5, 1e-9);
    assert_true(scene_says(&scene, "abandoned"));
    scene_end(&scene);
}

static void test_access_points__finish_is_the_last_one(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    sm_codes_free(&scene.codes);
    assert_ok(sm_codes_builtin(&scene.codes, SM_CODES_NA, NULL), NULL);
    scene.sheet->segment.length_m = SM_NAN;
    scene_log(&scene, SM_NAN, 0, "AMH");
    scene_log(&scene, SM_NAN, 31, "CL");
    scene_log(&scene, SM_NAN, 30, "AMH");
    scene_align(&scene);
    assert_close(scene.alignment->length_m, 30, 1e-9);
    scene.log.n_entries = 2; /* only the start is left */
    scene_align(&scene);
    assert_close(scene.alignment->length_m, 31, 1e-9);
    scene.log.n_entries = 3;
    scene_log(&scene, SM_NAN, 33, "MSA"); /* abandoned beyond an access point on the way */
    scene_align(&scene);
    assert_close(scene.alignment->length_m, 33, 1e-9);
    scene_end(&scene);
}

static void test_beyond__is_flagged_outside_of_the_pipe(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log(&scene, SM_NAN, -0.5, "BAB");
    scene_log(&scene, SM_NAN, -0.05, "BAB");
    scene_log(&scene, SM_NAN, 43.85, "BAB");
    scene_log(&scene, SM_NAN, 44.5, "BAB");
    scene_align(&scene);
    assert_true(scene_observation(&scene, 0)->flags & SM_FLAG_BEYOND_SEGMENT);
    assert_false(scene_observation(&scene, 1)->flags & SM_FLAG_BEYOND_SEGMENT);
    assert_false(scene_observation(&scene, 2)->flags & SM_FLAG_BEYOND_SEGMENT);
    assert_true(scene_observation(&scene, 3)->flags & SM_FLAG_BEYOND_SEGMENT);
    assert_close(scene_observation(&scene, 3)->distance_m, 44.5, 1e-9); /* flagged, not changed */
    scene_end(&scene);
}

static void test_unknown_code__stays_and_is_flagged(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_log(&scene, SM_NAN, 5, "QQQ");
    scene_align(&scene);
    assert_int_equal(scene_observation(&scene, 0)->flags, SM_FLAG_UNKNOWN_CODE);
    assert_close(scene_observation(&scene, 0)->distance_m, 5, 1e-9);
    scene_end(&scene);
}

static void test_empty_log__is_no_error(void **state)
{
    (void)state;
    struct scene scene;
    scene_start(&scene);
    scene_align(&scene);
    assert_int_equal(scene.alignment->n_observations, 0);
    scene.sheet->segment.length_m = SM_NAN;
    scene_align(&scene);
    assert_close(scene.alignment->length_m, SM_NAN, 0);
    assert_true(scene_says(&scene, "length of the pipe is not known"));
    scene_end(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_log_alone__takes_logged_distances),
        cmocka_unit_test(test_decisions__overrule_the_code_table),
        cmocka_unit_test(test_picture__is_taken_over_the_log),
        cmocka_unit_test(test_picture__trust_log_turns_it_round),
        cmocka_unit_test(test_disagreement__limit_is_the_larger_of_both),
        cmocka_unit_test(test_feet__are_turned_to_metres),
        cmocka_unit_test(test_unread__log_is_used_and_both_say_so),
        cmocka_unit_test(test_doubtful_reading__gives_way_to_its_neighbours),
        cmocka_unit_test(test_reaction__entry_goes_back_to_its_standstill),
        cmocka_unit_test(test_datum_and_view__shift_what_is_not_tied),
        cmocka_unit_test(test_ties__one_shifts_and_replaces_the_datum),
        cmocka_unit_test(test_ties__are_in_the_unit_of_the_log),
        cmocka_unit_test(test_ties__are_piecewise_linear),
        cmocka_unit_test(test_ties__in_feet_are_readings_of_the_counter),
        cmocka_unit_test(test_ties__that_fall_are_reported_and_left_out),
        cmocka_unit_test(test_misclosure__is_judged_by_half_a_percent_or_a_foot),
        cmocka_unit_test(test_error__of_the_counter_alone),
        cmocka_unit_test(test_length__comes_from_the_finish_node_or_the_last_distance),
        cmocka_unit_test(test_access_points__finish_is_the_last_one),
        cmocka_unit_test(test_beyond__is_flagged_outside_of_the_pipe),
        cmocka_unit_test(test_unknown_code__stays_and_is_flagged),
        cmocka_unit_test(test_empty_log__is_no_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
