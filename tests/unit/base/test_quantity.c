/* Quantities against the conversion factors of NIST SP 811 (2008), appendix B.8, as printed there to seven
 * digits. */
#include <math.h>
#include <string.h>

#include "sm_test.h"

struct quantity_case {
    const char *s;
    enum sm_quantity kind;
    const char *default_unit;
    double value, tol;
};

static void check(const struct quantity_case *cases, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double value = SM_NAN;
        struct sm_error err = {0};
        enum sm_status status =
            sm_parse_quantity(cases[i].s, cases[i].kind, cases[i].default_unit, &value, &err);
        if (status != SM_OK) {
            fail_msg("\"%s\": %s", cases[i].s, err.text);
        }
        sm_test_close(value, cases[i].value, cases[i].tol, cases[i].s, __FILE__, __LINE__);
    }
}
#define CHECK(cases) check((cases), sizeof(cases) / sizeof *(cases))

static void test_length__table(void **state)
{
    (void)state;
    static const struct quantity_case cases[] = {
        {"43.80 m", SM_LENGTH, NULL, 43.8, 1e-12},
        {"43,80 m", SM_LENGTH, NULL, 43.8, 1e-12},
        {"150 mm", SM_LENGTH, NULL, 0.15, 1e-12},
        {"150MM", SM_LENGTH, NULL, 0.15, 1e-12},
        {"12.5", SM_LENGTH, "", 12.5, 0},
        {"12.5", SM_LENGTH, "ft", 3.81, 1e-12},
        {"48in", SM_LENGTH, NULL, 1.2192, 1e-12},
        {"12 ft 6 in", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12' 6\"", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12'-6\"", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12' 6 3/8\"", SM_LENGTH, NULL, 3.819525, 1e-12},
        {"6-3/8 in", SM_LENGTH, NULL, 0.161925, 1e-12},
        {"3/8 in", SM_LENGTH, NULL, 0.009525, 1e-12},
        {"-3' 6\"", SM_LENGTH, NULL, -1.0668, 1e-12},
        {"12\xE2\x80\xB2 6\xE2\x80\xB3", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12\xE2\x80\x99 6\xE2\x80\x9D", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12' 6''", SM_LENGTH, NULL, 3.81, 1e-12},
        {"12 \xC2\xB5m", SM_LENGTH, NULL, 12e-6, 1e-18},
        {"1 yd 2 ft", SM_LENGTH, NULL, 1.524, 1e-12},
        {"240 mil", SM_LENGTH, NULL, 0.006096, 1e-12},
        {" 5\xC2\xA0m ", SM_LENGTH, NULL, 5, 0},
        {"0.3 km", SM_LENGTH, NULL, 300, 1e-9},
        {"4 Meters", SM_LENGTH, NULL, 4, 0},
        {"5 feet", SM_LENGTH, NULL, 1.524, 1e-12},
        {"1 m 20 cm", SM_LENGTH, NULL, 1.2, 1e-12},
        {"-0' 6\"", SM_LENGTH, NULL, -0.1524, 1e-12},
    };
    CHECK(cases);
}

static void test_time__table(void **state)
{
    (void)state;
    static const struct quantity_case cases[] = {
        {"0:12:07.5", SM_TIME, NULL, 727.5, 1e-9},
        {"12:07", SM_TIME, NULL, 727, 0},
        {"75:30", SM_TIME, NULL, 4530, 0},
        {"1:00:00", SM_TIME, NULL, 3600, 0},
        {"90", SM_TIME, "", 90, 0},
        {"1 h 20 min", SM_TIME, NULL, 4800, 0},
        {"30 min", SM_TIME, NULL, 1800, 0},
        {"20", SM_TIME, "min", 1200, 0},
        {"00:00:12,25", SM_TIME, NULL, 12.25, 1e-12},
        {" 9:05 ", SM_TIME, NULL, 545, 0},
    };
    CHECK(cases);
}

static void test_other_kinds__table(void **state)
{
    (void)state;
    static const struct quantity_case cases[] = {
        {"12 C", SM_TEMPERATURE, NULL, 12, 0},
        {"12\xC2\xB0"
         "C",
         SM_TEMPERATURE, NULL, 12, 0},
        {"54 F", SM_TEMPERATURE, NULL, 12.2222222, 1e-6},
        {"-40 F", SM_TEMPERATURE, NULL, -40, 1e-12},
        {"285.15 K", SM_TEMPERATURE, NULL, 12, 1e-9},
        {"32 \xC2\xB0 F", SM_TEMPERATURE, NULL, 0, 1e-12},
        {"1 psi", SM_PRESSURE, NULL, 6.894757, 5e-7},
        {"250000psi", SM_PRESSURE, NULL, 1723689, 1},
        {"0.5 bar", SM_PRESSURE, NULL, 50, 1e-12},
        {"1 ft water", SM_PRESSURE, NULL, 2.98907, 1e-5},
        {"1.5 m water", SM_PRESSURE, NULL, 14.70998, 1e-5},
        {"1 ksi", SM_PRESSURE, NULL, 6894.757, 5e-4},
        {"2 GPa", SM_PRESSURE, NULL, 2e6, 0},
        {"100 Pa", SM_PRESSURE, NULL, 0.1, 1e-15},
        {"1 lb", SM_MASS, NULL, 0.4535924, 5e-8},
        {"1 oz", SM_MASS, NULL, 0.02834952, 5e-9},
        {"5 lb 3 oz", SM_MASS, NULL, 2.35301, 1e-5},
        {"1 gal", SM_VOLUME, NULL, 3.785412, 5e-7},
        {"1 qt", SM_VOLUME, NULL, 0.9463529, 5e-8},
        {"1 fl oz", SM_VOLUME, NULL, 0.02957353, 5e-9},
        {"120pcf", SM_DENSITY, NULL, 120 * 16.01846, 1e-3},
        {"18 kN/m3", SM_DENSITY, NULL, 1835.489, 1e-3},
        {"1 g/cm3", SM_DENSITY, NULL, 1000, 0},
        {"1 oz/yd2", SM_AREA_MASS, NULL, 0.03390575, 5e-9},
        {"1 oz/ft2", SM_AREA_MASS, NULL, 0.3051517, 5e-8},
        {"450 g/m\xC2\xB2", SM_AREA_MASS, NULL, 0.45, 1e-12},
        {"30 ft/min", SM_SPEED, NULL, 0.1524, 1e-12},
        {"9 m/min", SM_SPEED, NULL, 0.15, 1e-12},
        {"45\xC2\xB0", SM_ANGLE, NULL, 45, 0},
        {"0.5 %", SM_FRACTION, NULL, 0.005, 1e-15},
        {"0.05", SM_FRACTION, "", 0.05, 0},
        {"7", SM_PLAIN, "", 7, 0},
    };
    CHECK(cases);
}

static void test_refused__table(void **state)
{
    (void)state;
    static const struct {
        const char *s;
        enum sm_quantity kind;
        const char *default_unit;
        enum sm_status status;
    } cases[] = {
        {"", SM_LENGTH, "", SM_E_FORMAT},
        {"x", SM_LENGTH, "", SM_E_FORMAT},
        {"5 kg", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"5", SM_LENGTH, NULL, SM_E_UNSUPPORTED},
        {"5 m/s", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"5 mx", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"5 m 3 m", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"6 in 2 ft", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"12' 6", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"5 m -3 cm", SM_LENGTH, "", SM_E_FORMAT},
        {"5 m and more", SM_LENGTH, "", SM_E_FORMAT},
        {"1e3 m", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"1,234.5 m", SM_LENGTH, "", SM_E_UNSUPPORTED},
        {"1:60", SM_TIME, "", SM_E_FORMAT},
        {"1:2:3:4", SM_TIME, "", SM_E_FORMAT},
        {"1.5:20", SM_TIME, "", SM_E_FORMAT},
        {"12:", SM_TIME, "", SM_E_FORMAT},
        {"-1:20", SM_TIME, "", SM_E_UNSUPPORTED},
        {"7 %", SM_PLAIN, "", SM_E_UNSUPPORTED},
        {"12 C 5 C", SM_TEMPERATURE, "", SM_E_FORMAT},
        {"1/0 in", SM_LENGTH, "", SM_E_UNSUPPORTED},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double value = 99;
        struct sm_error err = {0};
        enum sm_status status =
            sm_parse_quantity(cases[i].s, cases[i].kind, cases[i].default_unit, &value, &err);
        if (status != cases[i].status) {
            fail_msg("\"%s\" gave %d (%s), expected %d", cases[i].s, status, err.text, cases[i].status);
        }
        assert_close(value, 99, 0);
        assert_true(err.text[0] && err.remedy[0]);
    }
}

static void test_refused__too_large(void **state)
{
    (void)state;
    char digits[402];
    memset(digits, '9', 400);
    memcpy(digits + 400, "m", 2);
    double value = 1;
    assert_int_equal(sm_parse_quantity(digits, SM_LENGTH, NULL, &value, NULL), SM_E_RANGE);
    assert_close(value, 1, 0);
}

static void test_feet_inches__table(void **state)
{
    (void)state;
    static const struct {
        double length_m;
        int denominator;
        const char *expected;
    } cases[] = {
        {3.819525, 8, "12' 6 3/8\""},
        {3.81, 8, "12' 6\""},
        {0, 8, "0' 0\""},
        {-0.001, 8, "0' 0\""},
        {-1.0668, 8, "-3' 6\""},
        {0.3048, 16, "1' 0\""},
        {0.30479, 8, "1' 0\""},
        {0.0127, 1, "0' 1\""},
        {0.0127, 2, "0' 0 1/2\""},
        {0.1524 + 0.0127, 4, "0' 6 1/2\""},
        {30.48, 16, "100' 0\""},
        {SM_NAN, 8, ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_text text = {0};
        sm_text_add_feet_inches(&text, cases[i].length_m, cases[i].denominator);
        assert_string_equal(sm_text_str(&text), cases[i].expected);
        sm_text_release(&text);
    }
}

static void test_feet_inches__round_trip(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(12);
    for (int i = 0; i < 2000; i++) {
        double length_m = sm_test_uniform(&random, -100, 100);
        struct sm_text text = {0};
        sm_text_add_feet_inches(&text, length_m, 16);
        double back;
        assert_ok(sm_parse_quantity(text.data, SM_LENGTH, NULL, &back, NULL), NULL);
        assert_close(back, length_m, 0.0254 / 32 + 1e-9);
        sm_text_release(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_length__table),           cmocka_unit_test(test_time__table),
        cmocka_unit_test(test_other_kinds__table),      cmocka_unit_test(test_refused__table),
        cmocka_unit_test(test_refused__too_large),      cmocka_unit_test(test_feet_inches__table),
        cmocka_unit_test(test_feet_inches__round_trip),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
