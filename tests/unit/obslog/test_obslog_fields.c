/* Single fields: time, distance, clock, continuous marks, quantifications, as people and programs write them.
 */
#include "sm_test.h"

#include <math.h>
#include <string.h>

#include "obslog_internal.h"

static void test_time(void **state)
{
    (void)state;
    static const struct {
        const char *text, *unit;
        double time_s; /* NAN = refused */
    } cases[] = {
        {"0", "", 0},
        {"75", "", 75},
        {"75.5", "", 75.5},
        {"75,5", "", 75.5},
        {"75 s", "", 75},
        {"2 min", "", 120},
        {"1:15", "", 75},
        {"00.01.10", "", 70},
        {"9.30.15", "", 34215},
        {"1.5", "", 1.5},
        {"01:15", "", 75},
        {"75:10", "", 4510},
        {"0:01:15", "", 75},
        {"1:02:03", "", 3723},
        {"01:02:03.5", "", 3723.5},
        {"01:02:03,25", "", 3723.25},
        {"1:02:03:12", "", 3723},
        {"9:30:15 pm", "", 77415},
        {"12:30:15 AM", "", 1815},
        {"2031-03-14 09:30:15", "", 34215},
        {"2031-03-14T09:30:15", "", 34215},
        {"14.03.2031 09:30:15", "", 34215},
        {"538", "hmmss", 338},
        {"14808", "HMMSS", 6488},
        {"5", "min", 300},
        {"1:60", "", (double)NAN},
        {"1:60:00", "", (double)NAN},
        {"1:00:60", "", (double)NAN},
        {"1:", "", (double)NAN},
        {":15", "", (double)NAN},
        {"1:2:3:4:5", "", (double)NAN},
        {"1.5:10", "", (double)NAN},
        {"noon", "", (double)NAN},
        {"1e99", "", (double)NAN},
        {"99999999999", "", (double)NAN},
        {"575", "hmmss", (double)NAN},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_obslog_time time;
        bool ok = sm_obslog__parse_time(&time, cases[k].text, cases[k].unit);
        if (ok == isnan(cases[k].time_s) || (ok && fabs(time.time_s - cases[k].time_s) > 1e-9)) {
            fail_msg("\"%s\" [%s]: %d %.12g, expected %.12g", cases[k].text, cases[k].unit, ok, time.time_s,
                     cases[k].time_s);
        }
    }
}

static void test_time__what_else_it_could_mean(void **state)
{
    (void)state;
    static const struct {
        const char *text, *unit;
        bool may_be_hours, may_be_hmmss;
        int32_t frames;
    } cases[] = {
        {"09:30", "", true, false, 0},   {"23:59", "", true, false, 0},    {"24:10", "", false, false, 0},
        {"9:30.5", "", false, false, 0}, {"9:30 pm", "", false, false, 0}, {"9:30:00", "", false, false, 0},
        {"538", "", false, true, 0},     {"575", "", false, false, 0},     {"538", "s", false, false, 0},
        {"538.0", "", false, false, 0},  {"1:02:03:12", "", false, false, 12},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_obslog_time time;
        assert_true(sm_obslog__parse_time(&time, cases[k].text, cases[k].unit));
        if (time.may_be_hours != cases[k].may_be_hours || time.may_be_hmmss != cases[k].may_be_hmmss ||
            time.frames != cases[k].frames) {
            fail_msg("\"%s\": hours %d, hmmss %d, %d frames", cases[k].text, time.may_be_hours, time.may_be_hmmss,
                     (int)time.frames);
        }
    }
}

static void test_distance(void **state)
{
    (void)state;
    static const struct {
        const char *text, *unit;
        double distance_m, digit_m; /* NAN = refused */
        enum sm_unit written_in;
    } cases[] = {
        {"12.34", "m", 12.34, 0.01, SM_UNIT_M},
        {"12,3", "m", 12.3, 0.1, SM_UNIT_M},
        {"12", "m", 12, 1, SM_UNIT_M},
        {"-0.30", "m", -0.3, 0.01, SM_UNIT_M},
        {"40.5", "ft", 12.3444, 0.03048, SM_UNIT_FT},
        {"40.5 ft", "m", 12.3444, 0.03048, SM_UNIT_FT},
        {"40'", "m", 12.192, 0.3048, SM_UNIT_FT},
        {"12.34 m", "ft", 12.34, 0.01, SM_UNIT_M},
        {"1234 cm", "m", 12.34, 0.01, SM_UNIT_M},
        {"12 ft 6 in", "m", 3.81, 0.0254, SM_UNIT_FT},
        {"12.x", "m", (double)NAN, 0, SM_UNIT_UNKNOWN},
        {"1,234.5", "m", (double)NAN, 0, SM_UNIT_UNKNOWN},
        {"", "m", (double)NAN, 0, SM_UNIT_UNKNOWN},
        {"1e9", "m", (double)NAN, 0, SM_UNIT_UNKNOWN},
        {"999999999", "m", (double)NAN, 0, SM_UNIT_UNKNOWN},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_obslog_length got = {SM_NAN, SM_NAN, SM_UNIT_UNKNOWN};
        bool ok = sm_obslog__parse_distance(&got, cases[k].text, cases[k].unit);
        assert_int_equal(got.unit, cases[k].written_in);
        if (ok == isnan(cases[k].distance_m) || (ok && (fabs(got.length_m - cases[k].distance_m) > 1e-9 ||
                                                        fabs(got.digit_m - cases[k].digit_m) > 1e-12))) {
            fail_msg("\"%s\" [%s]: %d %.12g %.12g", cases[k].text, cases[k].unit, ok, got.length_m, got.digit_m);
        }
    }
}

static void test_clock(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        int32_t from_h, to_h; /* -1 = refused */
        bool is_rounded;
    } cases[] = {
        {"12", 12, 0, false},
        {"03", 3, 0, false},
        {"00", 0, 0, false},
        {"12:00", 12, 0, false},
        {"12-3", 12, 3, false},
        {"12 - 3", 12, 3, false},
        {"9 Uhr", 9, 0, false},
        {"9 o'clock", 9, 0, false},
        {"12 to 3", 12, 3, false},
        {"10 bis 2", 10, 2, false},
        {"12:00-03:00", 12, 3, false},
        {"9/3", 9, 3, false},
        {"12\xe2\x80\x93"
         "3",
         12, 3, false},
        {"3:30", 3, 0, true},
        {"13", -1, 0, false},
        {"12-13", -1, 0, false},
        {"noon", -1, 0, false},
        {"", -1, 0, false},
        {"12-Mar", -1, 0, false},
        {"123", -1, 0, false},
        {"1-2-3", -1, 0, false},
        {"-3", -1, 0, false},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        int32_t from_h = 0, to_h = 0;
        bool is_rounded = false;
        bool ok = sm_obslog__parse_clock(cases[k].text, &from_h, &to_h, &is_rounded);
        if (ok != (cases[k].from_h >= 0) || (ok && (from_h != cases[k].from_h || to_h != cases[k].to_h ||
                                                    is_rounded != cases[k].is_rounded))) {
            fail_msg("\"%s\": %d %d %d %d", cases[k].text, ok, (int)from_h, (int)to_h, is_rounded);
        }
    }
}

/* Turned round, 2 to 4 is 8 to 10, and turning twice changes nothing. */
static void test_mirror(void **state)
{
    (void)state;
    int32_t from_h = 2, to_h = 4;
    sm_obslog_mirror_clock(&from_h, &to_h);
    assert_int_equal(from_h, 8);
    assert_int_equal(to_h, 10);
    for (int32_t a = 0; a <= 12; a++) {
        for (int32_t b = 0; b <= 12; b++) {
            if (a == 0 && b != 0) {
                continue;
            }
            from_h = a;
            to_h = b;
            sm_obslog_mirror_clock(&from_h, &to_h);
            if (a == 12 || a == 6) {
                assert_true(b != 0 || from_h == a);
            }
            assert_int_equal((b - a + 24) % 12, b ? (to_h - from_h + 24) % 12 : (b - a + 24) % 12);
            sm_obslog_mirror_clock(&from_h, &to_h);
            assert_int_equal(from_h, a);
            assert_int_equal(to_h, b);
        }
    }
}

static void test_continuous(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum sm_continuous continuous; /* none = refused */
        int32_t id;
    } cases[] = {
        {"A1", SM_CONTINUOUS_START, 1},
        {"B1", SM_CONTINUOUS_END, 1},
        {"C1", SM_CONTINUOUS_CHANGE, 1},
        {"a12", SM_CONTINUOUS_START, 12},
        {"S01", SM_CONTINUOUS_START, 1},
        {"F01", SM_CONTINUOUS_END, 1},
        {"S 2", SM_CONTINUOUS_START, 2},
        {"A", SM_CONTINUOUS_START, 0},
        {"Ende", SM_CONTINUOUS_END, 0},
        {"X1", SM_CONTINUOUS_NONE, 0},
        {"1", SM_CONTINUOUS_NONE, 0},
        {"A1x", SM_CONTINUOUS_NONE, 0},
        {"A99999999999", SM_CONTINUOUS_NONE, 0},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        enum sm_continuous continuous = SM_CONTINUOUS_NONE;
        int32_t id = 0;
        bool ok = sm_obslog__parse_continuous(cases[k].text, &continuous, &id);
        if (ok != (cases[k].continuous != SM_CONTINUOUS_NONE) ||
            (ok && (continuous != cases[k].continuous || id != cases[k].id))) {
            fail_msg("\"%s\": %d %d %d", cases[k].text, ok, (int)continuous, (int)id);
        }
    }
}

static void test_value(void **state)
{
    (void)state;
    static const struct {
        const char *text, *unit;
        double value; /* NAN = refused */
        bool is_bound;
    } cases[] = {
        {"2", "", 2, false},           {"2,5", "", 2.5, false},         {"10 %", "", 10, false},
        {"10%", "", 10, false},        {"15 mm", "", 15, false},        {"2 cm", "", 20, false},
        {"0.5 in", "", 12.7, false},   {"2", "cm", 20, false},          {"2", "mm", 2, false},
        {"8\xc2\xb0", "", 8, false},   {"8 deg", "", 8, false},         {">50", "", 50, true},
        {"~ 20", "", 20, true},        {"10-20", "", 20, true},         {"20 - 10 %", "", 20, true},
        {"M", "", (double)NAN, false}, {"T13", "", (double)NAN, false}, {"12..3", "", (double)NAN, false},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        double value = SM_NAN;
        bool is_bound = false;
        bool ok = sm_obslog__parse_value(cases[k].text, cases[k].unit, &value, &is_bound);
        if (ok == isnan(cases[k].value) ||
            (ok && (fabs(value - cases[k].value) > 1e-9 || is_bound != cases[k].is_bound))) {
            fail_msg("\"%s\" [%s]: %d %.12g %d", cases[k].text, cases[k].unit, ok, value, is_bound);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_time),
        cmocka_unit_test(test_time__what_else_it_could_mean),
        cmocka_unit_test(test_distance),   cmocka_unit_test(test_clock),
        cmocka_unit_test(test_mirror), cmocka_unit_test(test_continuous), cmocka_unit_test(test_value),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
