/* Comparison, trimming, UTF-8 (examples of the Unicode Standard, section 3.9), bounded copies. */
#include <string.h>

#include "sm_test.h"

static void test_ieq__ascii_only(void **state)
{
    (void)state;
    assert_true(sm_ascii_ieq("BAB", "bab"));
    assert_true(sm_ascii_ieq("", ""));
    assert_false(sm_ascii_ieq("BAB", "BABA"));
    assert_false(sm_ascii_ieq("BABA", "BAB"));
    assert_false(sm_ascii_ieq("\xc3\x84", "\xc3\xa4"));
}

static void test_trim__both_ends(void **state)
{
    (void)state;
    char both[] = " \t a b \r\n";
    char none[] = " \n ";
    assert_string_equal(sm_trim(both), "a b");
    assert_string_equal(sm_trim(none), "");
}

static void test_utf8__table(void **state)
{
    (void)state;
    static const struct {
        const char *s;
        size_t n;
    } cases[] = {
        {"", 0},
        {"a", 1},
        {"\xc3\xa9", 2},
        {"\xe2\x82\xac", 3},
        {"\xf0\x9f\x94\xa7", 4},
        {"\x80", 0},
        {"\xc0\xaf", 0},
        {"\xc1\x81", 0},
        {"\xe0\x9f\x80", 0},
        {"\xed\xa0\x80", 0},
        {"\xf0\x80\x80\x80", 0},
        {"\xf4\x90\x80\x80", 0},
        {"\xf5\x80\x80\x80", 0},
        {"\xc3", 0},
        {"\xe2\x82", 0},
        {"\xf4\x8f\xbf\xbf", 4},
        {"\xee\x80\x80", 3},
        {"\xff", 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(sm_utf8_len(cases[i].s), cases[i].n);
    }
    assert_true(sm_utf8_valid("a\0b", 3));
    assert_true(sm_utf8_valid("\xe2\x82\xac", 3));
    assert_false(sm_utf8_valid("\xe2\x82\xac", 2)); /* cut by n, not by a NUL */
    assert_true(sm_utf8_valid("", 0));
}

static void test_strcopy__cuts_whole_characters(void **state)
{
    (void)state;
    char room[6];
    assert_true(sm_strcopy(room, sizeof room, "12345"));
    assert_string_equal(room, "12345");
    assert_false(sm_strcopy(room, sizeof room, "123456"));
    assert_string_equal(room, "12345");
    assert_false(sm_strcopy(room, sizeof room, "1234\xe2\x82\xac"));
    assert_string_equal(room, "1234");
    assert_false(sm_strcopy(room, 1, "x"));
    assert_string_equal(room, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ieq__ascii_only),
        cmocka_unit_test(test_trim__both_ends),
        cmocka_unit_test(test_utf8__table),
        cmocka_unit_test(test_strcopy__cuts_whole_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
