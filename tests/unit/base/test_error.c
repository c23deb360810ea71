/* The error record: place, cutting, and nothing in it that drives a terminal. */
#include <stdio.h>
#include <string.h>

#include "sm_test.h"

static void test_error__place_and_remedy(void **state)
{
    (void)state;
    struct sm_error err;
    assert_int_equal(sm_error_at(&err, SM_E_RANGE, "a/b.csv", 7, 3, "%d rows", 4), SM_E_RANGE);
    assert_int_equal(sm_error_remedy(&err, "use %s", "less"), SM_E_RANGE);
    assert_string_equal(err.source, "a/b.csv");
    assert_string_equal(err.text, "4 rows");
    assert_string_equal(err.remedy, "use less");
    assert_int_equal(err.line, 7);
    assert_int_equal(err.column, 3);
}

static void test_error__may_be_null(void **state)
{
    (void)state;
    assert_int_equal(sm_error_set(NULL, SM_E_IO, "x"), SM_E_IO);
    assert_int_equal(sm_error_at(NULL, SM_E_IO, NULL, 0, 0, "x"), SM_E_IO);
    assert_int_equal(sm_error_remedy(NULL, "x"), SM_E_FORMAT);
    sm_error_source(NULL, "x");
}

static void test_error__source_keeps_first_and_tail(void **state)
{
    (void)state;
    struct sm_error err;
    char path[600];
    memset(path, 'd', sizeof path);
    memcpy(path + sizeof path - 7, "/x.csv", 7);
    sm_error_set(&err, SM_E_IO, "x");
    sm_error_source(&err, path);
    assert_int_equal(strlen(err.source), sizeof err.source - 1);
    assert_string_equal(err.source + strlen(err.source) - 6, "/x.csv");
    sm_error_source(&err, "other");
    assert_string_not_equal(err.source, "other");
}

static void test_error__text_is_one_clean_line(void **state)
{
    (void)state;
    struct sm_error err;
    sm_error_set(&err, SM_E_FORMAT, "a\nb\x1b[31mc\xff\xc3\xa9");
    assert_string_equal(err.text, "a?b?[31mc?\xc3\xa9");
}

static void test_error__text_cut_at_a_character(void **state)
{
    (void)state;
    for (size_t lead = 0; lead < 4; lead++) {
        char text[2000];
        size_t n = 0;
        for (; n < lead; n++) {
            text[n] = 'x';
        }
        for (; n + 4 < sizeof text; n += 4) {
            memcpy(text + n, "\xF0\x9F\x94\xA7", 4);
        }
        text[n] = '\0';
        struct sm_error err;
        sm_error_set(&err, SM_E_FORMAT, "%s", text);
        assert_true(strlen(err.text) > sizeof err.text - 5);
        assert_true(sm_utf8_valid(err.text, strlen(err.text)));
        assert_null(strchr(err.text, '?'));
    }
}

static void test_status__every_one_has_words(void **state)
{
    (void)state;
    for (int status = SM_E_INFEASIBLE; status <= SM_OK; status++) {
        assert_string_not_equal(sm_status_text((enum sm_status)status), "unknown status");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_error__place_and_remedy),
        cmocka_unit_test(test_error__may_be_null),
        cmocka_unit_test(test_error__source_keeps_first_and_tail),
        cmocka_unit_test(test_error__text_is_one_clean_line),
        cmocka_unit_test(test_error__text_cut_at_a_character),
        cmocka_unit_test(test_status__every_one_has_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
