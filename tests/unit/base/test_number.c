/* Numbers in: tables, and round trips against the C library's exact printing. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"

static void test_scan__table(void **state)
{
    (void)state;
    static const struct {
        const char *s;
        bool comma, exponent;
        double value;
        size_t n_taken; /* 0 = no number */
    } cases[] = {
        {"-12.5", false, false, -12.5, 5},
        {"12,5", true, false, 12.5, 4},
        {"12,5", false, false, 12, 2},
        {".5", false, false, 0.5, 2},
        {"1e3", false, true, 1000, 3},
        {"1e3", false, false, 1, 1},
        {"1e", false, true, 1, 1},
        {"1e-2x", false, true, 0.01, 4},
        {"12.", false, false, 12, 3},
        {"12, 5", true, false, 12, 2},
        {".", false, false, 0, 0},
        {"-", false, false, 0, 0},
        {"", false, false, 0, 0},
        {"x1", false, false, 0, 0},
        {" 1", false, false, 0, 0},
        {"+7", false, false, 7, 2},
        {"\xE2\x88\x92"
         "3",
         false, false, -3, 4},
        {"1.2.3", false, false, 1.2, 3},
        {"00012.50", false, false, 12.5, 8},
        {"nan", false, true, 0, 0},
        {"inf", false, true, 0, 0},
        {"0x10", false, true, 0, 1},
        {",5", true, false, 0.5, 2},
        {"--1", false, false, 0, 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double value = 99;
        const char *end = cases[i].s;
        bool found = sm_scan_number(cases[i].s, cases[i].comma, cases[i].exponent, &value, &end);
        assert_int_equal(found, cases[i].n_taken > 0);
        assert_int_equal(end - cases[i].s, cases[i].n_taken);
        assert_close(value, found ? cases[i].value : 99, 0);
    }
}

static void test_scan__large_and_small(void **state)
{
    (void)state;
    double value;
    const char *end;
    char digits[700];
    memset(digits, '9', sizeof digits);
    digits[sizeof digits - 1] = '\0';
    assert_true(sm_scan_number(digits, false, true, &value, &end));
    assert_true(isinf(value));
    assert_true(sm_scan_number("1e999999999999", false, true, &value, &end) && isinf(value));
    assert_true(sm_scan_number("1e-999999999999", false, true, &value, &end));
    assert_close(value, 0, 0);
    assert_true(sm_scan_number("0e999999999", false, true, &value, &end));
    assert_close(value, 0, 0);
    assert_true(sm_scan_number("0.000000000000000000000000000000012345", false, true, &value, &end));
    assert_close(value, 1.2345e-32, 1e-46);
    assert_true(sm_scan_number("123456789012345678901234567890", false, true, &value, &end));
    assert_close(value, 123456789012345678901234567890.0, 1e14);
}

/* Outside check: the C library prints exactly; what it printed with up to 15 digits comes back the same
 * double. */
static void test_scan__round_trip(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(20310314);
    for (int i = 0; i < 20000; i++) {
        int decimals = (int)sm_test_int(&random, 0, 9);
        double number = sm_test_uniform(&random, -1e5, 1e5);
        char text[64];
        snprintf(text, sizeof text, "%.*f", decimals, number);
        double value;
        assert_true(sm_parse_number(text, &value));
        char again[64];
        snprintf(again, sizeof again, "%.*f", decimals, value);
        assert_string_equal(value == 0 && text[0] == '-' ? text : again, text);
        struct sm_text ours = {0};
        sm_text_add_fixed(&ours, value, decimals);
        assert_string_equal(ours.data, text[0] == '-' && value == 0 ? text + 1 : text);
        sm_text_release(&ours);
    }
}

static void test_parse_number__whole_string(void **state)
{
    (void)state;
    double value = 0;
    assert_true(sm_parse_number("  12,50\r\n", &value));
    assert_close(value, 12.5, 0);
    static const char *const bad[] = {"",    " ",   "12 m", "1.234,5", "1,234.5",
                                      "1e5", "nan", "1 2",  "12..",    "0x1"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_false(sm_parse_number(bad[i], &value));
    }
    assert_close(value, 12.5, 0);
}

static void test_parse_int__table(void **state)
{
    (void)state;
    static const struct {
        const char *s;
        int64_t least, greatest, value;
        bool is_good;
    } cases[] = {
        {"12", 1, 12, 12, true},
        {"0", 1, 12, 0, false},
        {"13", 1, 12, 0, false},
        {" -7 ", -10, 10, -7, true},
        {"1.0", 0, 9, 0, false},
        {"", 0, 9, 0, false},
        {"+", 0, 9, 0, false},
        {"012", 0, 99, 12, true},
        {"9223372036854775807", 0, INT64_MAX, INT64_MAX, true},
        {"9223372036854775808", 0, INT64_MAX, 0, false},
        {"99999999999999999999999", 0, INT64_MAX, 0, false},
        {"1x", 0, 9, 0, false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        int64_t value = 77;
        assert_int_equal(sm_parse_int(cases[i].s, cases[i].least, cases[i].greatest, &value),
                         cases[i].is_good);
        assert_true(value == (cases[i].is_good ? cases[i].value : 77));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scan__table),      cmocka_unit_test(test_scan__large_and_small),
        cmocka_unit_test(test_scan__round_trip), cmocka_unit_test(test_parse_number__whole_string),
        cmocka_unit_test(test_parse_int__table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
