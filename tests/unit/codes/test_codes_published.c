/*
 * The EN 13508-2 table against a list of its own, copied out of published code tables and not out of the
 * program: code list (KWB research data, eucodes: letters of EN 13508-2:2003+A1:2011), units and severity
 * limits (VSA guideline on the condition of drainage systems, 2023, annex C, tables 7 to 32), official sample
 * data of ISYBAU XML 2013-02 (units of AEC, clock positions 12 to 12). And every row of either table says
 * where it comes from.
 */
#include "sm_test.h"

#include <math.h>
#include <string.h>

#include "stopmark/codes.h"

static struct sm_codes *table(enum sm_code_system system)
{
    struct sm_codes *codes = NULL;
    struct sm_error err = {0};
    assert_ok(sm_codes_builtin(&codes, system, &err), &err);
    return codes;
}

/* A code with the letters of both characterisations and the units: one for all, or "A:mm" for one first
 * letter. */
static const struct {
    const char *code, *ch1, *ch2, *units;
} published[] = {
    {"BAA", "AB", "", "%"},
    {"BAB", "ABC", "ABCDE", "A: B:mm C:mm"},
    {"BAC", "ABC", "", "mm"},
    {"BAD", "ABCD", "AB", "A: B: C:mm D:"},
    {"BAE", "", "", "mm"},
    {"BAF", "ABCDEFGHIJKZ", "ABCDEZ", ""},
    {"BAG", "", "", "%"},
    {"BAH", "ABCDEZ", "", ""},
    {"BAI", "AZ", "ABCD", "A: Z:%"},
    {"BAJ", "ABC", "", "A:mm B:mm C:deg"},
    {"BAK", "ABCDEFGHIJKLMNZ", "ABCD", "A:% D:% E:% Z:% F:mm I:mm J:mm B: C: G: H: K: L: M: N:"},
    {"BAL", "ABCDEFGZ", "ABCD", "A:mm B:mm D:mm F:mm G:mm C:% E:% Z:"},
    {"BAM", "ABC", "", ""},
    {"BAN", "", "", ""},
    {"BAO", "", "", ""},
    {"BAP", "", "", ""},
    {"BBA", "ABC", "", "%"},
    {"BBB", "ABCZ", "", "%"},
    {"BBC", "ABCZ", "", "%"},
    {"BBD", "ABCDZ", "", "%"},
    {"BBE", "ABCDEFGHZ", "", "%"},
    {"BBF", "ABCD", "", ""},
    {"BBG", "", "", ""},
    {"BBH", "ABZ", "ABCZ", "count"},
    {"BCA", "ABCDEFGZ", "AB", "mm"},
    {"BCB", "ABCDEFGZ", "", ""},
    {"BCC", "AB", "AB", "deg"},
    {"BDA", "", "", ""},
    {"BDB", "", "", ""},
    {"BDC", "ABCYZ", "ABCDEZ", ""}, /* Y by a national rule */
    {"BDD", "ABCD", "", "%"},
    {"BDE", "ABCD", "ABC", "%"},
    {"BDF", "ABC", "", ""},
    {"BDG", "ABC", "", ""},
    {"AEC", "", "", "mm"},
};

static void check_unit(const struct sm_codes *codes, const char *code, const char *ch1, const char *unit)
{
    struct sm_code_info info;
    if (!sm_codes_find(codes, code, ch1, &info) || strcmp(info.q1_unit, unit) != 0) {
        fail_msg("%s %s: unit \"%s\", published \"%s\"", code, ch1, info.q1_unit, unit);
    }
}

/* "A:mm B:%" or one unit for every letter. */
static void check_units(const struct sm_codes *codes, const char *code, const char *units)
{
    if (!strchr(units, ':')) {
        check_unit(codes, code, "", units);
        return;
    }
    for (const char *s = units; *s;) {
        char ch1[2] = {*s, '\0'}, unit[16] = "";
        size_t n = strcspn(s + 2, " ");
        memcpy(unit, s + 2, n);
        check_unit(codes, code, ch1, unit);
        s += 2 + n;
        s += *s == ' ';
    }
}

/* A letter is known when it adds words to the meaning. */
static bool knows_letter(const struct sm_codes *codes, const char *code, int which, char letter)
{
    char text[2] = {letter, '\0'};
    struct sm_text with = {0}, without = {0};
    sm_codes_describe(codes, code, which == 1 ? text : "", which == 2 ? text : "", &with);
    sm_codes_describe(codes, code, "", "", &without);
    const char *added = sm_text_str(&with) + strlen(sm_text_str(&without));
    bool is_known = with.length > without.length + 3; /* a letter not known stands there as it is */
    is_known = is_known && !strstr(added, "unknown");
    sm_text_release(&with);
    sm_text_release(&without);
    return is_known;
}

static void test_letters_and_units(void **state)
{
    (void)state;
    struct sm_codes *codes = table(SM_CODES_EN);
    for (size_t k = 0; k < sizeof published / sizeof published[0]; k++) {
        check_units(codes, published[k].code, published[k].units);
        for (char letter = 'A'; letter <= 'Z'; letter++) {
            bool has1 = strchr(published[k].ch1, letter) != NULL,
                 has2 = strchr(published[k].ch2, letter) != NULL;
            bool knows1 = knows_letter(codes, published[k].code, 1, letter);
            bool knows2 = knows_letter(codes, published[k].code, 2, letter);
            bool is_other = letter == 'Z'; /* "other" may stand with any code, its remark says what */
            if ((is_other ? knows1 < has1 : knows1 != has1) || (is_other ? knows2 < has2 : knows2 != has2)) {
                fail_msg("%s: letter %c differs from the published table", published[k].code, letter);
            }
        }
    }
    sm_codes_free(&codes);
}

/* Where a limit is said to be that of a published class, it is that of the class: at it the treatment
 * changes, just below not yet. 'R' referred, 'P' work before the liner, 'L' lined. */
static const struct {
    const char *code, *ch1;
    double limit, diameter_mm;
    char below, at;
} limits[] = {
    {"BAJ", "A", 70, 400, 'P', 'R'}, /* class 0, to DN 400 */
    {"BAJ", "A", 50, 400, 'L', 'P'}, /* class 1 */
    {"BAJ", "A", 80, 500, 'P', 'R'}, /* class 0, above DN 400 */
    {"BAJ", "A", 60, 500, 'L', 'P'}, {"BAJ", "B", 30, 300, 'P', 'R'}, {"BAJ", "B", 20, 300, 'L', 'P'},
    {"BAJ", "C", 12, 200, 'P', 'R'}, /* class 0, to DN 200 */
    {"BAJ", "C", 9, 200, 'L', 'P'},  {"BAJ", "C", 6, 300, 'P', 'R'},  {"BAJ", "C", 4, 300, 'L', 'P'},
};

static char decide(const struct sm_codes *codes, const char *code, const char *ch1, double q1,
                   double diameter_mm)
{
    struct sm_arena *arena = NULL;
    struct sm_decision decision;
    struct sm_error err = {0};
    struct sm_log_entry entry = {
        .code = code, .ch1 = ch1, .ch2 = "", .q1 = "", .q2 = "", .q1_value = q1, .q2_value = SM_NAN};
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    assert_ok(sm_codes_decide(codes, &entry, diameter_mm, arena, &decision, &err), &err);
    char letter = decision.treatment == SM_TREATMENT_REFER     ? 'R'
                  : decision.treatment == SM_TREATMENT_PREPARE ? 'P'
                  : decision.treatment == SM_TREATMENT_LINE    ? 'L'
                                                               : '-';
    sm_arena_free(&arena);
    return letter;
}

static void test_limits(void **state)
{
    (void)state;
    struct sm_codes *codes = table(SM_CODES_EN);
    for (size_t k = 0; k < sizeof limits / sizeof limits[0]; k++) {
        char below =
            decide(codes, limits[k].code, limits[k].ch1, limits[k].limit - 0.1, limits[k].diameter_mm);
        char at = decide(codes, limits[k].code, limits[k].ch1, limits[k].limit, limits[k].diameter_mm);
        if (below != limits[k].below || at != limits[k].at) {
            fail_msg("%s %s at %d in DN %d: %c then %c", limits[k].code, limits[k].ch1, (int)limits[k].limit,
                     (int)limits[k].diameter_mm, below, at);
        }
    }
    assert_int_equal(decide(codes, "BAC", "C", SM_NAN, 200),
                     'R'); /* collapse: class 0; ASTM F1743-22 cl. 6.1.3 */
    assert_int_not_equal(decide(codes, "BAP", "", SM_NAN, 200), 'L'); /* void behind: class 0 */
    sm_codes_free(&codes);
}

static void test_clock_rule(void **state)
{
    (void)state;
    const char *rule, *source;
    struct sm_codes *codes = table(SM_CODES_EN);
    sm_codes_clock_rule(codes, &rule, &source);
    assert_non_null(strstr(rule, "1 to 12"));
    assert_non_null(strstr(rule, "12 at the crown"));
    assert_non_null(strstr(rule, "12 to 12 is all round"));
    assert_non_null(strstr(source, "sample data"));
    sm_codes_free(&codes);
}

/* A source is a clause of an edition or a table, or says that there is none. */
static bool is_source(const char *source)
{
    static const char *const known[] = {
        "EN 13508-2:2003+A1:2011 cl. 8.",    "EN 13508-2:2003+A1:2011 annex C",
        "VSA guideline 2023 annex C, class", "ASTM F1743-22 cl. 6.1.3",
        "common practice, no source",        "from memory"};
    for (size_t k = 0; k < sizeof known / sizeof known[0]; k++) {
        if (strstr(source, known[k])) {
            return true;
        }
    }
    return false;
}

static void check_sources(enum sm_code_system system)
{
    struct sm_codes *codes = table(system);
    struct sm_code_info info;
    struct sm_code_rule rule;
    size_t n_rows = 0, n_rules = 0;
    for (; sm_codes_row(codes, n_rows, &info); n_rows++) {
        if (!is_source(info.source)) {
            fail_msg("the meaning of %s has no source: %s", info.code, info.source);
        }
    }
    for (; sm_codes_rule(codes, n_rules, &rule); n_rules++) {
        if (!is_source(rule.source)) {
            fail_msg("rule %zu (%s) has no source: %s", n_rules, rule.code, rule.source);
        }
    }
    assert_true(n_rows > 40 && n_rules > 40);
    sm_codes_free(&codes);
}

static void test_every_row_has_its_source(void **state)
{
    (void)state;
    check_sources(SM_CODES_EN);
    check_sources(SM_CODES_NA);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_letters_and_units),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_clock_rule),
        cmocka_unit_test(test_every_row_has_its_source),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
