/* Keys folded, near words, column heads. */
#include "sm_test.h"

#include <string.h>

static void test_key_fold(void **state)
{
    (void)state;
    static const struct {
        const char *text, *folded;
    } cases[] = {
        {"Set-Up  Cost", "set up cost"},
        {"set_up_cost ", "set up cost"},
        {"  K\xc3\xbcrzel", "kuerzel"},
        {"STRA\xc3\x9f"
         "E",
         "strasse"},
        {"\xc3\x84nderung", "aenderung"},
        {"\xc3\x89T\xc3\x89", "\xc3\xa9t\xc3\xa9"},
        {"", ""},
        {"-_ ", ""},
        {"\xc3", "\xc3"},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        char got[32];
        sm_key_fold(got, sizeof got, cases[k].text);
        assert_string_equal(got, cases[k].folded);
    }
    char small[6];
    sm_key_fold(small, sizeof small, "abc def");
    assert_string_equal(small, "abc d");
    sm_key_fold(small, 4, "ab\xc3\xa4");
    assert_string_equal(small, "ab");
}

static void test_nearest_word(void **state)
{
    (void)state;
    static const char *const list[] = {"diameter", "length", "overlap", "end cover", "id"};
    static const struct {
        const char *word, *near;
    } cases[] = {
        {"diamter", "diameter"},
        {"lenght", "length"},
        {"OVERLAP", "overlap"},
        {"endcover", "end cover"},
        {"wombat", NULL},
        {"x", NULL},
        {"", NULL},
        {"a very long word that is like nothing in the list at all, really nothing", NULL},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const char *near = sm_nearest_word(cases[k].word, list, 5);
        if (cases[k].near ? !near || strcmp(near, cases[k].near) != 0 : near != NULL) {
            fail_msg("\"%s\": %s", cases[k].word, near ? near : "none");
        }
    }
    assert_null(sm_nearest_word("length", NULL, 0));
}

static void test_column_split(void **state)
{
    (void)state;
    static const struct {
        const char *head, *name, *unit;
    } cases[] = {
        {"Distance [ft]", "distance", "ft"},
        {"length_mm", "length", "mm"},
        {"Station (m)", "station", "m"},
        {"clock_from", "clock from", ""},
        {"q1", "q1", ""},
        {"test_pressure_kpa", "test pressure", "kpa"},
        {"m", "m", ""},
        {"time [h:mm:ss]", "time", "h:mm:ss"},
        {"x [", "x [", ""},
        {"", "", ""},
        {"width []", "width", ""},
        {"length mm ", "length", "mm"},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        char name[32], unit[16];
        sm_column_split(cases[k].head, name, sizeof name, unit, sizeof unit);
        if (strcmp(name, cases[k].name) != 0 || strcmp(unit, cases[k].unit) != 0) {
            fail_msg("\"%s\": \"%s\" [%s]", cases[k].head, name, unit);
        }
    }
}

static void test_clean_line(void **state)
{
    (void)state;
    char text[] = "a\nb\x1b[2J gr\xc3\xb6\xc3 \xc2\x9b \xff";
    sm_clean_line(text);
    assert_string_equal(text, "a?b?[2J gr\xc3\xb6? ? ?");
}

static void check_decoded(const char *data, size_t n, const char *expected)
{
    struct sm_text text = {0};
    sm_text_add_decoded(&text, data, n);
    assert_string_equal(sm_text_str(&text), expected);
    sm_text_release(&text);
}

static void test_decoded(void **state)
{
    (void)state;
    check_decoded("\xef\xbb\xbf"
                  "a",
                  4, "a");
    check_decoded("gr\xc3\xb6\xc3\x9f", 6, "gr\xc3\xb6\xc3\x9f");
    check_decoded("gr\xf6\xdf \x80", 6, "gr\xc3\xb6\xc3\x9f \xe2\x82\xac");
    check_decoded("\xff\xfe"
                  "a\0\xe4\0",
                  6, "a\xc3\xa4");
    check_decoded("\xfe\xff"
                  "\0a\xd8\x3d\xde\x00",
                  8, "a\xf0\x9f\x98\x80"); /* U+1F600, RFC 2781 */
    check_decoded("\xff\xfe\x3d\xd8"
                  "a",
                  5, "\xef\xbf\xbd");
    check_decoded("", 0, "");
    struct sm_text text = {0};
    sm_text_add_decoded(&text, "\xff\xfe", 2);
    assert_non_null(text.data);
    sm_text_release(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_key_fold),     cmocka_unit_test(test_nearest_word),
        cmocka_unit_test(test_column_split), cmocka_unit_test(test_decoded),
        cmocka_unit_test(test_clean_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
