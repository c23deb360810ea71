/* Rating summaries: the published reading of the quick rating, a worked example, what fits a row, what is refused. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"
#include "stopmark/audit.h"

static struct sm_audit_grades *read_text(const char *text)
{
    struct sm_audit_grades *grades = NULL;
    struct sm_error err = {0};
    assert_ok(sm_audit_grades_read(&grades, text, strlen(text), "grades.csv", &err), &err);
    return grades;
}

static struct sm_audit_grades *read_fixture(const char *name)
{
    struct sm_audit_grades *grades = NULL;
    struct sm_error err = {0};
    char path[600];
    char *data = NULL;
    size_t n = 0;
    snprintf(path, sizeof path, "%s/fixtures/grades/%s", getenv("SM_SOURCE_DIR"), name);
    assert_ok(sm_file_read(&data, &n, path, 1 << 20, &err), &err);
    assert_ok(sm_audit_grades_read(&grades, data, n, name, &err), &err);
    sm_free(data);
    return grades;
}

static struct sm_observation seen(const char *code, double at_ft)
{
    double at_m = at_ft * SM_M_PER_FT;
    return (struct sm_observation){.end_entry_idx = -1, .code = code, .ch1 = "", .ch2 = "", .q1_value = SM_NAN,
                                   .distance_m = at_m, .start_m = at_m, .end_m = at_m};
}

static const char *quick_of(const struct sm_audit_rating *rating)
{
    static char quick[5];
    sm_audit_rating_quick(quick, rating);
    return quick;
}

/* A public owner's reading: 5236 is two defects of grade 5 and six of grade 3. */
static void test_quick__published_reading(void **state)
{
    (void)state;
    struct sm_audit_rating rating = {0};
    assert_string_equal(quick_of(&rating), "0000");
    sm_audit_rating_add(&rating, 3, 6);
    sm_audit_rating_add(&rating, 5, 2);
    sm_audit_rating_add(&rating, 1, 4); /* the third worst is not shown */
    assert_string_equal(quick_of(&rating), "5236");
    assert_int_equal(rating.sum, 2 * 5 + 6 * 3 + 4);
}

/* From memory: letters stand for ten and more, 00 for no second grade. */
static void test_quick__letters(void **state)
{
    (void)state;
    static const struct {
        int64_t n;
        const char *quick;
    } cases[] = {{1, "4100"}, {9, "4900"}, {10, "4A00"}, {14, "4A00"}, {15, "4B00"}, {19, "4B00"}, {20, "4C00"}, {999999, "4Z00"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_audit_rating rating = {0};
        sm_audit_rating_add(&rating, 4, cases[i].n);
        assert_string_equal(quick_of(&rating), cases[i].quick);
    }
}

/*
 * Worked by hand, grades and 5 ft rule from memory. Structural: 5 (hole, void visible) + 4 (multiple fracture) + 4 times 3
 * (18 ft of longitudinal fracture) + 3 (broken, one hour) + 2 (longitudinal crack) = 26 over 8; operational 3 times 3.
 */
static void test_rate__worked_example(void **state)
{
    (void)state;
    struct sm_audit_grades *grades = read_fixture("na-from-memory.csv");
    struct sm_observation o[] = {seen("AMH", 0),  seen("CL", 20),   seen("RMJ", 33),  seen("FM", 55),  seen("FL", 80),
                                 seen("DAE", 120), seen("B", 150), seen("HVV", 210), seen("ID", 211), seen("AMH", 300)};
    o[4].end_m = 98 * SM_M_PER_FT;
    o[4].end_entry_idx = 5;
    o[5].q1_value = 15;
    o[6].clock_from_h = 3;
    struct sm_alignment alignment = {.n_observations = sizeof o / sizeof *o, .observation = o};
    struct sm_audit_ratings r;
    sm_audit_rate(&r, grades, &alignment);
    assert_int_equal(r.of[SM_AUDIT_STRUCTURAL].sum, 26);
    assert_int_equal(r.of[SM_AUDIT_STRUCTURAL].n, 8);
    assert_close(sm_audit_rating_index(&r.of[SM_AUDIT_STRUCTURAL]), 3.25, 1e-12);
    assert_string_equal(quick_of(&r.of[SM_AUDIT_STRUCTURAL]), "5141");
    assert_int_equal(r.of[SM_AUDIT_OPERATIONAL].sum, 9);
    assert_close(sm_audit_rating_index(&r.of[SM_AUDIT_OPERATIONAL]), 3.0, 1e-12);
    assert_string_equal(quick_of(&r.of[SM_AUDIT_OPERATIONAL]), "3300");
    assert_int_equal(r.of[SM_AUDIT_OVERALL].sum, 35);
    assert_int_equal(r.of[SM_AUDIT_OVERALL].n, 11);
    assert_close(sm_audit_rating_index(&r.of[SM_AUDIT_OVERALL]), 35.0 / 11, 1e-12);
    assert_string_equal(quick_of(&r.of[SM_AUDIT_OVERALL]), "5141");
    assert_int_equal(r.n_not_graded, 0);
    assert_non_null(strstr(grades->sources, "from memory"));
    sm_audit_grades_free(&grades);
}

static void test_occurrences(void **state)
{
    (void)state;
    static const struct {
        double length_ft;
        bool is_continuous;
        int64_t n;
    } cases[] = {{0, true, 1}, {2, true, 1}, {7.4, true, 1}, {7.6, true, 2}, {18, true, 4}, {18, false, 1}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_observation o = seen("FL", 10);
        o.end_m = o.start_m + cases[i].length_ft * SM_M_PER_FT;
        o.end_entry_idx = cases[i].is_continuous ? 3 : -1;
        assert_int_equal(sm_audit_occurrences(&o), cases[i].n);
    }
}

static void test_grade_of__first_row_that_fits(void **state)
{
    (void)state;
    struct sm_audit_grades *grades = read_text("code;ch1;over;up to;hours over;kind;grade\n"
                                               "BAB;B;;2;;structural;2\nBAB;B;2;;;Structural;3\nBAB;;;;;structural;1\n"
                                               "BAC;;;;2;structural;5\nBAC;;;;;structural;4\nBBA;;;10;;operational;2\n");
    struct sm_observation o = seen("bab", 0);
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 1);
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_OPERATIONAL), 0);
    o.ch1 = "B"; /* of no known width: the limits fit nothing */
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 1);
    o.q1_value = 2;
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 2);
    o.q1_value = 2.1;
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 3);
    o.code = "BAC";
    o.clock_from_h = 11;
    o.clock_to_h = 2; /* over the crown: three hours */
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 5);
    o.clock_to_h = 12;
    assert_int_equal(sm_audit_grade_of(grades, &o, SM_AUDIT_STRUCTURAL), 4);
    assert_string_equal(grades->sources, "source not said");
    sm_audit_grades_free(&grades);
}

static void test_rate__says_what_has_no_grade(void **state)
{
    (void)state;
    struct sm_audit_grades *grades = read_text("code,kind,grade\nBAB,structural,2\n");
    struct sm_observation o[2] = {seen("BAB", 0), seen("BAC", 1)};
    o[0].treatment = o[1].treatment = SM_TREATMENT_LINE;
    struct sm_alignment alignment = {.n_observations = 2, .observation = o};
    struct sm_audit_ratings r;
    sm_audit_rate(&r, grades, &alignment);
    assert_int_equal(r.n_not_graded, 1);
    assert_true(isnan(sm_audit_rating_index(&r.of[SM_AUDIT_OPERATIONAL])));
    sm_audit_grades_free(&grades);
}

static void test_read__refuses(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line;
    } cases[] = {
        {"", 1},
        {"code,kind,grade\n", 1},
        {"code,grade\nBAB,2\n", 1},
        {"code,kind,grade\nBAB,structural,6\n", 2},
        {"code,kind,grade\nBAB,structural,2\nBAC,structural,\n", 3},
        {"code,kind,grade\nBAB,overall,2\n", 2},
        {"code,kind,grade,over\nBAB,structural,2,wide\n", 2},
        {"code,kind,grade\n,structural,2\n", 2},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_audit_grades *grades = NULL;
        struct sm_error err = {0};
        assert_int_equal(sm_audit_grades_read(&grades, cases[i].text, strlen(cases[i].text), "g.csv", &err), SM_E_FORMAT);
        assert_null(grades);
        assert_int_equal(err.line, cases[i].line);
        assert_true(err.remedy[0] != '\0');
    }
}

static void test_fixtures__are_read(void **state)
{
    (void)state;
    struct sm_audit_grades *grades = read_fixture("invented-en.csv");
    assert_string_equal(grades->sources, "invented for the demo");
    sm_audit_grades_free(&grades);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_quick__published_reading),
        cmocka_unit_test(test_quick__letters),
        cmocka_unit_test(test_rate__worked_example),
        cmocka_unit_test(test_occurrences),
        cmocka_unit_test(test_grade_of__first_row_that_fits),
        cmocka_unit_test(test_rate__says_what_has_no_grade),
        cmocka_unit_test(test_read__refuses),
        cmocka_unit_test(test_fixtures__are_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
