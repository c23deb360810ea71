/* Growable text: numbers without a locale, HTML escapes, failure that sticks. */
#include <float.h>
#include <locale.h>
#include <math.h>
#include <string.h>

#include "sm_test.h"

static void expect_fixed(double value, int decimals, const char *expected)
{
    struct sm_text text = {0};
    sm_text_add_fixed(&text, value, decimals);
    assert_string_equal(sm_text_str(&text), expected);
    sm_text_release(&text);
}

static void check_fixed(void)
{
    static const struct {
        double value;
        int decimals;
        const char *expected;
    } cases[] = {
        {0, 0, "0"},
        {0, 2, "0.00"},
        {-0.0, 2, "0.00"},
        {-0.001, 2, "0.00"},
        {-0.005001, 2, "-0.01"},
        {12.34, 2, "12.34"},
        {1234567.5, 1, "1234567.5"},
        {0.125, 2, "0.12"},
        {0.375, 2, "0.38"},
        {-43.8, 3, "-43.800"},
        {1e22, 0, "10000000000000000000000"},
        {5e-324, 3, "0.000"},
        {SM_NAN, 2, ""},
        {SM_INFINITY, 2, ""},
        {-SM_INFINITY, 0, ""},
        {0.1, 20, "0.10000000000000000555"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        expect_fixed(cases[i].value, cases[i].decimals, cases[i].expected);
    }
}

static void test_fixed__table(void **state)
{
    (void)state;
    check_fixed();
    struct sm_text text = {0};
    sm_text_add_fixed(&text, -DBL_MAX, 30);
    assert_int_equal(strlen(text.data), 1 + 309 + 1 + 30);
    sm_text_release(&text);
}

static void test_fixed__comma_locale(void **state)
{
    (void)state;
    static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "de_DE"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        if (setlocale(LC_ALL, names[i])) {
            check_fixed();
            double value;
            assert_true(sm_parse_number("12.5", &value));
            assert_close(value, 12.5, 0);
            setlocale(LC_ALL, "C");
            return;
        }
    }
    skip();
}

static void test_number__drops_zeros(void **state)
{
    (void)state;
    static const struct {
        double value;
        int least, most;
        const char *expected;
    } cases[] = {
        {12.5, 0, 3, "12.5"}, {12, 0, 3, "12"},          {12, 1, 3, "12.0"},   {120, 0, 0, "120"},
        {100, 0, 2, "100"},   {0.1, 0, 15, "0.1"},       {-0.0004, 0, 3, "0"}, {1.005, 2, 3, "1.005"},
        {SM_NAN, 0, 2, ""},      {2.0 / 3, 0, 4, "0.6667"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_text text = {0};
        sm_text_add_number(&text, cases[i].value, cases[i].least, cases[i].most);
        assert_string_equal(sm_text_str(&text), cases[i].expected);
        sm_text_release(&text);
    }
}

static void test_html__escapes(void **state)
{
    (void)state;
    struct sm_text text = {0};
    sm_text_add_html(&text, "<a href=\"x\">'&\t\n\x01\xff\xc3\xa9\x7f");
    assert_string_equal(
        text.data, "&lt;a href=&quot;x&quot;&gt;&#39;&amp;\t\n\xEF\xBF\xBD\xEF\xBF\xBD\xc3\xa9\xEF\xBF\xBD");
    sm_text_clear(&text);
    sm_text_add_html(&text, "\xef\xbf\xbf\xc2\x85\xef\xbf\xbc"); /* U+FFFF, U+0085, U+FFFC */
    assert_string_equal(text.data, "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbc");
    sm_text_release(&text);
}

static void test_text__grows_and_clears(void **state)
{
    (void)state;
    struct sm_text text = {0};
    assert_string_equal(sm_text_str(&text), "");
    for (int i = 0; i < 5000; i++) {
        sm_text_addf(&text, "%d,", i % 10);
    }
    assert_int_equal(text.length, 10000);
    assert_int_equal(strlen(text.data), 10000);
    sm_text_add_n(&text, "a\0b", 3);
    assert_int_equal(text.length, 10003);
    sm_text_clear(&text);
    assert_string_equal(text.data, "");
    assert_false(text.failed);
    sm_text_release(&text);
    assert_null(text.data);
}

static void test_text__failure_sticks(void **state)
{
    (void)state;
    struct sm_text text = {.failed = true};
    sm_text_add(&text, "x");
    sm_text_add_fixed(&text, 1, 2);
    assert_int_equal(text.length, 0);
    assert_true(text.failed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_fixed__table),           cmocka_unit_test(test_fixed__comma_locale),
        cmocka_unit_test(test_number__drops_zeros),    cmocka_unit_test(test_html__escapes),
        cmocka_unit_test(test_text__grows_and_clears), cmocka_unit_test(test_text__failure_sticks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
