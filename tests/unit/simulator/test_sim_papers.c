/* The log and the sheet: right where nothing was asked for, wrong exactly where it was. */
#include "sim_check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Papers do not depend on the pictures: tiny ones do. */
#define FAST "width=128", "height=96", "digit_px=7", "limit=0.2", "length=12", "observations=9"

static double logged_seconds(const char *text)
{
    double seconds = 0;
    struct sm_error err = {0};
    assert_ok(sm_parse_quantity(text, SM_TIME, "s", &seconds, &err), &err);
    return seconds;
}

static size_t count_errors(const struct sm_csv *truth, const char *name)
{
    size_t n = 0;
    for (size_t i = 0; i + 1 < sm_csv_n_rows(truth); i++) {
        n += strcmp(sim_check_field(truth, i, "error"), name) == 0;
    }
    return n;
}

static void test_sim_papers__a_clean_log_agrees_with_the_truth(void **state)
{
    (void)state;
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts, (const char *const[]){FAST, "counter_scale=1.01", NULL}, dir);
    struct sm_csv *log = sim_check_table(dir, "log.csv"), *truth = sim_check_table(dir, "log_truth.csv");
    size_t n = sm_csv_n_rows(log) - 1;
    assert_true(n > 6);
    assert_int_equal(n, sm_csv_n_rows(truth) - 1);
    for (size_t i = 0; i < n; i++) {
        double logged_s = logged_seconds(sim_check_field(log, i, "time")),
               video_s = sim_check_number(truth, i, "video_s");
        assert_true(logged_s <= video_s && logged_s > video_s - 1.01);
        assert_close(sim_check_number(log, i, "distance"), sim_check_number(truth, i, "true_m") * 1.01,
                     0.0052);
        assert_string_equal(sim_check_field(truth, i, "error"), "");
    }
    assert_string_equal(sim_check_field(log, 0, "code"), "BCD");
    assert_string_equal(sim_check_field(log, n - 1, "code"), "BCE");
    sm_csv_free(&log);
    sm_csv_free(&truth);
    sm_test_dir_remove(dir);
}

static void test_sim_papers__clock_time_has_its_offset_and_drift(void **state)
{
    (void)state;
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts,
                   (const char *const[]){FAST, "log_time=clock", "clock_offset=-95", "clock_drift=0.01",
                                         "clock_start=36000", NULL},
                   dir);
    struct sm_csv *log = sim_check_table(dir, "log.csv"), *truth = sim_check_table(dir, "log_truth.csv");
    for (size_t i = 0; i + 1 < sm_csv_n_rows(log); i++) {
        double expected_s = 36000 - 95 + sim_check_number(truth, i, "video_s") * 1.01;
        assert_close(logged_seconds(sim_check_field(log, i, "time")), floor(expected_s), 1e-6);
    }
    sm_csv_free(&log);
    sm_csv_free(&truth);
    sm_test_dir_remove(dir);
}

/* One row's spoilt field against what it should be. */
static void check_row(const struct sm_csv *log, const struct sm_csv *truth, size_t i)
{
    const char *error = sim_check_field(truth, i, "error"), *distance = sim_check_field(log, i, "distance");
    double true_m = sim_check_number(truth, i, "true_m"), logged = true_m;
    bool has_distance = sm_parse_number(distance, &logged);
    if (strcmp(error, "no_distance") == 0) {
        assert_false(has_distance);
    } else if (strcmp(error, "point") == 0) {
        assert_close(logged, true_m * 10, 0.06);
    } else if (strcmp(error, "digits") == 0) {
        assert_true(fabs(logged - true_m) > 0.0052);
    } else if (strcmp(error, "unit") == 0) {
        assert_close(logged, true_m / 0.3048, 0.03);
    } else {
        assert_close(logged, true_m, 0.0052);
    }
    assert_int_equal(sim_check_field(log, i, "time")[0] == '\0', strcmp(error, "no_time") == 0);
    assert_int_equal(strcmp(sim_check_field(log, i, "code"), "QQX") == 0, strcmp(error, "code") == 0);
}

static void test_sim_papers__errors_are_those_asked_for(void **state)
{
    (void)state;
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts,
                   (const char *const[]){FAST, "seed=7", "typing=2", "unit_errors=1", "no_time=2",
                                         "no_distance=1", "unknown_codes=1", NULL},
                   dir);
    struct sm_csv *log = sim_check_table(dir, "log.csv"), *truth = sim_check_table(dir, "log_truth.csv");
    assert_int_equal(count_errors(truth, "digits") + count_errors(truth, "point"), 2);
    assert_int_equal(count_errors(truth, "unit"), 1);
    assert_int_equal(count_errors(truth, "no_time"), 2);
    assert_int_equal(count_errors(truth, "no_distance"), 1);
    assert_int_equal(count_errors(truth, "code"), 1);
    for (size_t i = 0; i + 1 < sm_csv_n_rows(log); i++) {
        check_row(log, truth, i);
    }
    sm_csv_free(&log);
    sm_csv_free(&truth);
    sm_test_dir_remove(dir);
}

static size_t count_marks(const char *dir, const char *mark)
{
    struct sm_csv *log = sim_check_table(dir, "log.csv");
    size_t n = 0;
    for (size_t i = 0; i + 1 < sm_csv_n_rows(log); i++) {
        n += strcmp(sim_check_field(log, i, "continuous"), mark) == 0;
    }
    sm_csv_free(&log);
    return n;
}

static void test_sim_papers__continuous_ones_open_and_close(void **state)
{
    (void)state;
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts, (const char *const[]){FAST, "plan=long_crack:3-4@2", NULL}, dir);
    assert_int_equal(count_marks(dir, "A1"), 1);
    assert_int_equal(count_marks(dir, "B1"), 1);
    sim_check_make(&opts, (const char *const[]){FAST, "plan=long_crack:3-4@2", "open_continuous=yes", NULL},
                   dir);
    assert_int_equal(count_marks(dir, "A1"), 1);
    assert_int_equal(count_marks(dir, "B1"), 0);
    sim_check_make(&opts, (const char *const[]){FAST, "plan=long_crack:3-4@2", "north_american=yes", NULL},
                   dir);
    assert_int_equal(count_marks(dir, "S01"), 1);
    assert_int_equal(count_marks(dir, "F01"), 1);
    sm_test_dir_remove(dir);
}

static void test_sim_papers__the_sheet_ties_both_ends(void **state)
{
    (void)state;
    char dir[256], path[512], *text = NULL;
    size_t n = 0;
    struct sm_sim_opts opts;
    struct sm_error err = {0};
    sm_test_dir_make(dir);
    sim_check_make(&opts, (const char *const[]){FAST, "counter_offset=-0.5", "counter_scale=0.98", NULL},
                   dir);
    snprintf(path, sizeof path, "%s/sheet.ini", dir);
    assert_ok(sm_file_read(&text, &n, path, 1 << 20, &err), &err);
    assert_non_null(strstr(text, "0.49 = 0.00 m\n12.25 = 12.00 m\n")); /* (12 + 0.5) * 0.98 */
    assert_non_null(strstr(text, "video = run.mp4\n"));
    sm_free(text);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_papers__a_clean_log_agrees_with_the_truth),
        cmocka_unit_test(test_sim_papers__clock_time_has_its_offset_and_drift),
        cmocka_unit_test(test_sim_papers__errors_are_those_asked_for),
        cmocka_unit_test(test_sim_papers__continuous_ones_open_and_close),
        cmocka_unit_test(test_sim_papers__the_sheet_ties_both_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
