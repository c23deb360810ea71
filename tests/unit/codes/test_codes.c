/*
 * Code tables. Units and worst classes are checked against what the VSA guideline 2023, annex C, publishes;
 * treatments against the decision table in docs/formats/codes.md.
 */
#include "sm_test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "stopmark/codes.h"

static struct sm_codes *builtin(enum sm_code_system system)
{
    struct sm_codes *codes = NULL;
    struct sm_error err = {0};
    assert_ok(sm_codes_builtin(&codes, system, &err), &err);
    return codes;
}

/* An entry from "BAB B A q1=2 clock=12-3". */
struct asked {
    const char *code, *ch1, *ch2;
    double q1;
    int32_t from_h, to_h;
};

static struct sm_decision decide(const struct sm_codes *codes, struct asked asked, double diameter_mm,
                                 struct sm_arena *arena)
{
    struct sm_log_entry entry = {.code = asked.code,
                                 .ch1 = asked.ch1 ? asked.ch1 : "",
                                 .ch2 = asked.ch2 ? asked.ch2 : "",
                                 .q1 = "",
                                 .q2 = "",
                                 .q1_value = asked.q1 < 0 ? SM_NAN : asked.q1,
                                 .q2_value = SM_NAN,
                                 .clock_from_h = asked.from_h,
                                 .clock_to_h = asked.to_h,
                                 .diameter_mm = SM_NAN};
    struct sm_decision decision;
    struct sm_error err = {0};
    assert_ok(sm_codes_decide(codes, &entry, diameter_mm, arena, &decision, &err), &err);
    return decision;
}

struct expectation {
    struct asked asked;
    double diameter_mm;
    const char *treatment, *reason_part;
};

static void check(enum sm_code_system system, const struct expectation *cases, size_t n)
{
    struct sm_codes *codes = builtin(system);
    struct sm_arena *arena = NULL;
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    for (size_t k = 0; k < n; k++) {
        struct sm_decision got = decide(codes, cases[k].asked, cases[k].diameter_mm, arena);
        if (strcmp(sm_treatment_name(got.treatment), cases[k].treatment) != 0 ||
            !strstr(got.reason, cases[k].reason_part)) {
            fail_msg("%s %s %s q1 %g DN %g: %s (%s), expected %s (%s)", cases[k].asked.code,
                     cases[k].asked.ch1, cases[k].asked.ch2, cases[k].asked.q1, cases[k].diameter_mm,
                     sm_treatment_name(got.treatment), got.reason, cases[k].treatment, cases[k].reason_part);
        }
    }
    sm_arena_free(&arena);
    sm_codes_free(&codes);
}

static void test_en_decisions(void **state)
{
    (void)state;
    static const struct expectation cases[] = {
        {{"BAB", "B", "A", 2, 12, 0}, 200, "line", "crack"},
        {{"bab", "c", "b", -1, 0, 0}, 200, "line", "crack"},
        {{"BAC", "A", "", 200, 10, 2}, 200, "line", "pieces in place"},
        {{"BAC", "B", "", 100, 10, 11}, 200, "prepare", "small hole"},
        {{"BAC", "B", "", 180, 10, 1}, 200, "refer", "hole 180 mm long reaches the limit of 150 mm"},
        {{"BAC", "B", "", -1, 10, 1}, 200, "refer", "3 hours"},
        {{"BAC", "B", "", -1, 12, 12}, 200, "refer", "12 hours"},
        {{"BAC", "C", "", -1, 0, 0}, 200, "refer", "collapse"},
        {{"BAA", "A", "", 4, 0, 0}, 200, "line", "deformation 4 % is below"},
        {{"BAA", "A", "", 10, 0, 0}, 200, "refer", "deformation 10 % reaches the limit of 10 %"},
        {{"BAA", "A", "", -1, 0, 0}, 200, "refer", "without a value"},
        /* joint limits: VSA 2023 annex C, BAJ: gap 70/80 mm, offset 30 mm, angle 12/6 degrees are class 0 */
        {{"BAJ", "A", "", 45, 0, 0}, 200, "line", "open joint"},
        {{"BAJ", "A", "", 50, 0, 0}, 200, "prepare", "50 mm"},
        {{"BAJ", "A", "", 70, 0, 0}, 400, "refer", "limit of 70 mm"},
        {{"BAJ", "A", "", 70, 0, 0}, 500, "prepare", "70 mm"},
        {{"BAJ", "A", "", 80, 0, 0}, 500, "refer", "limit of 80 mm"},
        {{"BAJ", "B", "", 15, 6, 0}, 250, "line", "offset 15 mm is small"},
        {{"BAJ", "B", "", 22, 6, 0}, 250, "prepare", "offset 22 mm"},
        {{"BAJ", "B", "", 35, 6, 0},
         250,
         "refer",
         "offset 35 mm reaches the limit of 30 mm, the packer may not pass"},
        {{"BAJ", "B", "", 35, 6, 0}, 600, "prepare", "offset 35 mm"},
        {{"BAJ", "B", "", 60, 6, 0}, 600, "refer", "offset 10 % of the diameter"},
        {{"BAJ", "B", "", 22, 6, 0}, 150, "refer", "limit of 20 mm"},
        {{"BAJ", "B", "", 22, 6, 0}, -1, "refer", "pipe diameter not known"},
        {{"BAJ", "B", "", -1, 6, 0}, 250, "prepare", "without a value"},
        {{"BAJ", "C", "", 12, 0, 0}, 200, "refer", "angle 12 deg"},
        {{"BAJ", "C", "", 10, 0, 0}, 200, "prepare", "angle 10 deg"},
        {{"BAJ", "C", "", 10, 0, 0}, 300, "refer", "limit of 6 deg"},
        {{"BAJ", "C", "", 3, 0, 0}, 300, "line", "angle 3 deg"},
        {{"BBA", "B", "", 10, 3, 9}, 200, "prepare", "roots"},
        {{"BBA", "C", "", 60, 3, 9}, 200, "refer", "limit is 50 %"},
        {{"BBB", "A", "", 10, 0, 0}, 200, "prepare", "encrustation"},
        {{"BBB", "B", "", 10, 0, 0}, 200, "refer", "cleaning"},
        {{"BBC", "C", "", 10, 0, 0}, 200, "refer", "cleaning"},
        {{"BBF", "B", "", -1, 0, 0}, 200, "line", "infiltration"},
        {{"BBF", "C", "", -1, 0, 0}, 200, "prepare", "injection"},
        {{"BBE", "D", "", 35, 0, 0}, 200, "refer", "owner"},
        {{"BAG", "", "", 30, 0, 0}, 200, "refer", "cut back flush"},
        {{"BAH", "D", "", -1, 0, 0}, 200, "refer", "connection"},
        {{"BAI", "A", "A", -1, 0, 0}, 200, "line", "not intruding"},
        {{"BAI", "A", "C", -1, 0, 0}, 200, "prepare", "cut off"},
        {{"BAO", "", "", -1, 0, 0}, 200, "prepare", "void behind"},
        {{"BAP", "", "", -1, 0, 0}, 200, "refer", "void"},
        {{"BCA", "A", "A", 150, 9, 0}, 200, "clear", "connection"},
        {{"BCB", "B", "", -1, 0, 0}, 200, "none", "existing repair"},
        {{"BCC", "A", "", 8, 0, 0}, 200, "none", "curve"},
        {{"BCC", "A", "", 45, 0, 0}, 200, "refer", "bend 45 deg"},
        {{"BCD", "XP", "", -1, 0, 0}, 200, "none", "start"},
        {{"BCE", "XP", "", -1, 0, 0}, 200, "none", "end"},
        {{"BDA", "", "", -1, 0, 0}, 200, "none", ""},
        {{"BDB", "", "", -1, 0, 0}, 200, "none", ""},
        {{"BDD", "A", "", 30, 0, 0}, 200, "none", "water level 30 %"},
        {{"AEC", "", "", 100, 0, 0}, 200, "none", "change"},
        {{"BQX", "", "", -1, 0, 0}, 200, "refer", "BQX is not in the code table"},
        {{"", "", "", -1, 0, 0}, 200, "refer", "not in the code table"},
    };
    check(SM_CODES_EN, cases, sizeof cases / sizeof cases[0]);
}

static void test_na_decisions(void **state)
{
    (void)state;
    static const struct expectation cases[] = {
        {{"CL", "", "", -1, 12, 0}, 200, "line", "crack"},
        {{"fm", "", "", -1, 12, 3}, 200, "line", "fracture"},
        {{"FH3", "", "", -1, 12, 0}, 200, "refer", "hinged"},
        {{"B", "", "", -1, 10, 12}, 200, "line", "broken"},
        {{"B", "", "", -1, 10, 1}, 200, "refer", "3 hours"},
        {{"BSV", "", "", -1, 10, 11}, 200, "prepare", "soil"},
        {{"H", "", "", -1, 10, 0}, 200, "prepare", "hole"},
        {{"HVV", "", "", -1, 10, 0}, 200, "refer", "void"},
        {{"X", "", "", -1, 0, 0}, 200, "refer", "collapse"},
        {{"D", "", "", 5, 0, 0}, 200, "line", "5 %"},
        {{"DR", "", "", 12, 0, 0}, 200, "refer", "12 %"},
        {{"JOM", "", "", -1, 0, 0}, 200, "prepare", "offset"},
        {{"JOL", "", "", -1, 0, 0}, 200, "refer", "offset"},
        {{"JSM", "", "", -1, 0, 0}, 200, "line", "gap"},
        {{"RFJ", "", "", 5, 0, 0}, 200, "prepare", "roots"},
        {{"RBB", "", "", 70, 0, 0}, 200, "refer", "70 %"},
        {{"RFC", "", "", 5, 0, 0}, 200, "refer", "connection"},
        {{"ID", "", "", -1, 0, 0}, 200, "line", "infiltration"},
        {{"IGJ", "", "", -1, 0, 0}, 200, "prepare", "injection"},
        {{"ISJ", "", "", -1, 0, 0}, 200, "line", "infiltration"},
        {{"ISSR", "", "", -1, 0, 0}, 200, "prepare", "seal"},
        {{"DAE", "", "", 10, 0, 0}, 200, "prepare", "encrustation"},
        {{"DSC", "", "", 10, 0, 0}, 200, "refer", "cleaning"},
        {{"RPL", "", "", -1, 0, 0}, 200, "none", "existing repair"},
        {{"RPLD", "", "", -1, 0, 0}, 200, "refer", "earlier repair"},
        {{"TFA", "", "", 100, 9, 0}, 200, "clear", "tap"},
        {{"TBI", "", "", 20, 9, 0}, 200, "refer", "cut back flush"},
        {{"TSD", "", "", -1, 9, 0}, 200, "refer", "defective tap"},
        {{"AMH", "", "", -1, 0, 0}, 200, "none", "access"},
        {{"MWL", "", "", 20, 0, 0}, 200, "none", "20 %"},
        {{"MSA", "", "", -1, 0, 0}, 200, "none", "ends here"},
        {{"SSSM", "", "", -1, 0, 0}, 200, "line", "surface"},
        {{"OBP", "", "", 20, 0, 0}, 200, "refer", "owner"},
        {{"BAB", "B", "A", 2, 0, 0}, 200, "refer", "not in the code table"},
    };
    check(SM_CODES_NA, cases, sizeof cases / sizeof cases[0]);
}

static void test_what_codes_are(void **state)
{
    (void)state;
    static const struct {
        enum sm_code_system system;
        const char *code, *ch1, *q1_unit;
        bool is_start, is_finish, is_connection, is_abandoned;
    } cases[] = {
        {SM_CODES_EN, "BAB", "B", "mm", false, false, false, false},
        {SM_CODES_EN, "BAJ", "A", "mm", false, false, false, false},
        {SM_CODES_EN, "BAJ", "C", "deg", false, false, false, false},
        {SM_CODES_EN, "BAK", "A", "%", false, false, false, false},
        {SM_CODES_EN, "BAK", "F", "mm", false, false, false, false},
        {SM_CODES_EN, "BAL", "E", "%", false, false, false, false},
        {SM_CODES_EN, "BCA", "A", "mm", false, false, true, false},
        {SM_CODES_EN, "BCD", "XP", "", true, false, false, false},
        {SM_CODES_EN, "BCE", NULL, "", false, true, false, false},
        {SM_CODES_EN, "BDC", "A", "", false, false, false, true},
        {SM_CODES_NA, "AMH", "", "", true, true, false, false},
        {SM_CODES_NA, "AEP", "", "", false, true, false, false},
        {SM_CODES_NA, "TFA", "", "mm", false, false, true, false},
        {SM_CODES_NA, "MSA", "", "", false, false, false, true},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_codes *codes = builtin(cases[k].system);
        struct sm_code_info info;
        assert_true(sm_codes_find(codes, cases[k].code, cases[k].ch1, &info));
        if (strcmp(info.q1_unit, cases[k].q1_unit) != 0 || info.is_start_node != cases[k].is_start ||
            info.is_finish_node != cases[k].is_finish || info.is_connection != cases[k].is_connection ||
            info.is_abandoned != cases[k].is_abandoned || !*info.source) {
            fail_msg("%s %s: unit %s start %d finish %d connection %d abandoned %d", cases[k].code,
                     cases[k].ch1, info.q1_unit, info.is_start_node, info.is_finish_node, info.is_connection,
                     info.is_abandoned);
        }
        assert_false(sm_codes_find(codes, "QQQ", "", &info));
        sm_codes_free(&codes);
    }
}

static void test_describe(void **state)
{
    (void)state;
    struct sm_codes *codes = builtin(SM_CODES_EN);
    struct sm_text text = {0};
    sm_codes_describe(codes, "BAB", "C", "A", &text);
    assert_string_equal(sm_text_str(&text), "fissure, fracture, longitudinal");
    sm_text_clear(&text);
    sm_codes_describe(codes, "BQX", "C", NULL, &text);
    assert_string_equal(sm_text_str(&text), "BQX, C");
    sm_text_release(&text);
    sm_codes_free(&codes);
}

/* Every code has a rule that takes whatever the others leave: no entry falls through the table. */
static void test_tables_are_whole(void **state)
{
    (void)state;
    for (int system = SM_CODES_EN; system <= SM_CODES_NA; system++) {
        struct sm_codes *codes = builtin((enum sm_code_system)system);
        struct sm_code_info info;
        size_t n_rows = 0;
        for (; sm_codes_row(codes, n_rows, &info); n_rows++) {
            struct sm_code_rule rule;
            bool is_caught = false;
            for (size_t k = 0; sm_codes_rule(codes, k, &rule) && !is_caught; k++) {
                is_caught = sm_codes_rule_fits(&rule, info.code) && !*rule.ch1 && !*rule.ch2 &&
                            rule.measure == SM_MEASURE_NONE && rule.over_mm <= 0 && !isfinite(rule.up_to_mm);
            }
            if (!is_caught || !*info.meaning || !*info.source) {
                fail_msg("%s has no last rule, meaning or source", info.code);
            }
        }
        struct sm_code_rule rule;
        for (size_t k = 0; sm_codes_rule(codes, k, &rule); k++) {
            assert_true(*rule.source && *rule.reason);
            bool has_work = rule.treatment == SM_TREATMENT_PREPARE;
            if (has_work && !*rule.prepare) {
                fail_msg("%s %s: prepare without work", rule.code, rule.ch1);
            }
        }
        assert_true(n_rows > 40);
        sm_codes_free(&codes);
    }
}

/* ---- the page
 * ---------------------------------------------------------------------------------------------- */

static void tell_limits(struct sm_text *out, const struct sm_code_rule *rule)
{
    if (rule->measure != SM_MEASURE_NONE && isnan(rule->least)) {
        sm_text_add(out, "not logged");
    } else if (rule->measure != SM_MEASURE_NONE) {
        sm_text_add(out, ">= ");
        sm_text_add_number(out, rule->least, 0, 2);
        sm_text_add(out, rule->measure == SM_MEASURE_CLOCK_H     ? " clock hours"
                         : rule->measure == SM_MEASURE_Q1_DN_PCT ? " % of DN"
                                                                 : "");
    }
    if (rule->over_mm > 0) {
        sm_text_add(out, ", DN over ");
        sm_text_add_number(out, rule->over_mm, 0, 0);
    }
    if (isfinite(rule->up_to_mm)) {
        sm_text_add(out, ", DN up to ");
        sm_text_add_number(out, rule->up_to_mm, 0, 0);
    }
}

static void tell_rules(struct sm_text *out, enum sm_code_system system)
{
    struct sm_codes *codes = builtin(system);
    struct sm_code_rule rule;
    sm_text_add(out, "| code | ch1 | ch2 | limit | treatment | work first | why | source |\n| --- | --- | "
                     "--- | --- | --- | --- | --- | --- |\n");
    for (size_t k = 0; sm_codes_rule(codes, k, &rule); k++) {
        sm_text_addf(out, "| `%s` | %s | %s | ", rule.code, rule.ch1, rule.ch2);
        tell_limits(out, &rule);
        sm_text_addf(out, " | %s | %s | %s | %s |\n", sm_treatment_name(rule.treatment), rule.prepare,
                     rule.reason, rule.source);
    }
    sm_codes_free(&codes);
}

static void check_part(struct sm_text *page, const char *mark, enum sm_code_system system)
{
    struct sm_text part = {0}, whole = {0};
    tell_rules(&part, system);
    for (char *s = part.data; *s; s++) {
        if (*s == '|' && s > part.data && s[-1] != ' ' && s[-1] != '\n') {
            *s = '/'; /* alternatives of a characterisation */
        }
    }
    char *start = strstr(page->data, mark);
    assert_non_null(start);
    start += strlen(mark);
    char *end = strstr(start, "<!-- end -->");
    assert_non_null(end);
    sm_text_add_n(&whole, page->data, (size_t)(start - page->data));
    sm_text_add(&whole, sm_text_str(&part));
    sm_text_add(&whole, end);
    sm_text_release(page);
    sm_text_release(&part);
    *page = whole;
}

/* docs/formats/codes.md shows the tables as they are (SM_UPDATE=1 rewrites them). */
static void test_page(void **state)
{
    (void)state;
    char path[1024], *data = NULL;
    size_t n;
    struct sm_error err = {0};
    struct sm_text page = {0};
    snprintf(path, sizeof path, "%s", sm_test_source("docs/formats/codes.md"));
    assert_ok(sm_file_read(&data, &n, path, 1 << 22, &err), &err);
    sm_text_add(&page, data);
    check_part(&page, "<!-- EN -->\n", SM_CODES_EN);
    check_part(&page, "<!-- NA -->\n", SM_CODES_NA);
    if (getenv("SM_UPDATE")) {
        assert_ok(sm_file_write(path, page.data, page.length, &err), &err);
    } else if (strcmp(page.data, data) != 0) {
        fail_msg("docs/formats/codes.md does not show the tables as they are; SM_UPDATE=1 rewrites it");
    }
    sm_text_release(&page);
    sm_free(data);
}

/* ---- rows that are one defect
 * ------------------------------------------------------------------------------ */

static struct sm_log_entry row_at(const char *code, double distance_m, int32_t from_h, int32_t to_h)
{
    return (struct sm_log_entry){.code = code,
                                 .ch1 = "",
                                 .ch2 = "",
                                 .q1 = "",
                                 .q2 = "",
                                 .time_s = SM_NAN,
                                 .distance_m = distance_m,
                                 .distance_digit_m = 0.01,
                                 .q1_value = SM_NAN,
                                 .q2_value = SM_NAN,
                                 .clock_from_h = from_h,
                                 .clock_to_h = to_h,
                                 .diameter_mm = SM_NAN};
}

static void test_groups(void **state)
{
    (void)state;
    struct sm_codes *codes = builtin(SM_CODES_EN);
    struct sm_error err = {0};
    struct sm_log_entry rows[] = {
        row_at("BAB", 5.00, 12, 0),  /* alone */
        row_at("BAC", 27.15, 10, 1), /* hole with soil and water */
        row_at("BAO", 27.15, 10, 1),  row_at("BBF", 27.15, 11, 0),
        row_at("BBF", 27.15, 5, 7), /* water on the other side */
        row_at("BCA", 27.15, 9, 0), /* no defect */
        row_at("BAJ", 30.00, 12, 12), row_at("BBA", 30.00, 6, 0),
        row_at("BAB", 30.00, 6, 0),  /* a crack is no sign of the joint, but the roots come through both */
        row_at("BBA", 30.01, 6, 0),  /* one digit on */
        row_at("BAB", 40.00, 12, 0), /* put together by the log only */
        row_at("BCA", 40.20, 3, 0),   row_at("BAP", SM_NAN, 0, 0),
    };
    static const int32_t expected[] = {0, 1, 1, 1, 0, 0, 2, 2, 2, 0, 3, 3, 0};
    int32_t group[13];
    rows[10].group = rows[11].group = 7;
    assert_ok(sm_codes_group(group, codes, rows, 13, &err), &err);
    for (size_t k = 0; k < 13; k++) {
        if (group[k] != expected[k]) {
            fail_msg("row %zu is in group %d, expected %d", k, (int)group[k], (int)expected[k]);
        }
    }
    assert_ok(sm_codes_group(group, codes, rows, 0, &err), &err);
    sm_codes_free(&codes);
}

static void test_combine(void **state)
{
    (void)state;
    struct sm_arena *arena = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    static const char *const code[] = {"BAC", "BBF", "BCA"};
    struct sm_decision work[] = {{SM_TREATMENT_LINE, "broken", "jet clean"},
                                 {SM_TREATMENT_PREPARE, "water", "stop the water;jet clean"},
                                 {SM_TREATMENT_CLEAR, "tap", ""}};
    assert_ok(sm_codes_combine(work, code, 3, arena, &err), &err);
    assert_int_equal(work[0].treatment, SM_TREATMENT_PREPARE);
    assert_string_equal(work[0].prepare, "jet clean;stop the water");
    assert_string_equal(work[0].reason, "broken; one defect with BBF here: water");
    assert_string_equal(work[1].reason, "water");
    assert_int_equal(work[2].treatment, SM_TREATMENT_CLEAR);
    struct sm_decision stop[] = {{SM_TREATMENT_REFER, "hole", ""}, {SM_TREATMENT_LINE, "water", "jet clean"}};
    assert_ok(sm_codes_combine(stop, code, 2, arena, &err), &err);
    assert_int_equal(stop[1].treatment, SM_TREATMENT_REFER);
    assert_string_equal(stop[1].prepare, "");
    assert_ok(sm_codes_combine(NULL, NULL, 0, arena, &err), &err);
    sm_arena_free(&arena);
}

/* ---- a user's table
 * ---------------------------------------------------------------------------------------- */

static void test_file(void **state)
{
    (void)state;
    static const char text[] = "system;code;ch1;meaning;q1_unit;kind;measure;at_least;below;diameter_up_to_"
                               "mm;treatment;prepare;reason;source\n"
                               "EN;BAB;A;;;;;;;;none;;surface cracks are left;owner\n"
                               ";BAB;;;;;q1;0;0,5;;none;;crack {v} is below 0.5 mm;owner\n"
                               ";QQ*;;house code;mm;connection;;;;;clear;;;owner\n"
                               ";BAJ;B;;;;q1;25;;250;refer;;offset {v} at {limit};owner\n";
    struct sm_codes *codes = NULL;
    struct sm_arena *arena = NULL;
    struct sm_error err = {0};
    assert_ok(sm_codes_parse(&codes, text, sizeof text - 1, "own.csv", &err), &err);
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    assert_string_equal(
        sm_treatment_name(decide(codes, (struct asked){"BAB", "A", "", 2, 0, 0}, 200, arena).treatment),
        "none");
    assert_string_equal(decide(codes, (struct asked){"BAB", "B", "", 0.3, 0, 0}, 200, arena).reason,
                        "crack 0.3 mm is below 0.5 mm");
    assert_string_equal(
        sm_treatment_name(decide(codes, (struct asked){"BAB", "B", "", 2, 0, 0}, 200, arena).treatment),
        "line");
    assert_string_equal(decide(codes, (struct asked){"BAJ", "B", "", 26, 0, 0}, 250, arena).reason,
                        "offset 26 mm at 25 mm");
    assert_string_equal(
        sm_treatment_name(decide(codes, (struct asked){"BAJ", "B", "", 26, 0, 0}, 300, arena).treatment),
        "prepare");
    struct sm_code_info info;
    assert_true(sm_codes_find(codes, "QQ7", "", &info));
    assert_true(info.is_connection);
    assert_string_equal(
        sm_treatment_name(decide(codes, (struct asked){"QQ7", "", "", -1, 0, 0}, 300, arena).treatment),
        "clear");
    sm_arena_free(&arena);
    sm_codes_free(&codes);
}

static void test_file_errors(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line;
    } cases[] = {
        {"", 1},
        {"meaning,treatment\nx,line\n", 1},
        {"code,tretment\nBAB,line\n", 1},
        {"code,treatment\nBAB,mend\n", 2},
        {"code,treatment\n,line\n", 2},
        {"code,meaning\nBAB,\n", 2},
        {"code,treatment,at_least\nBAB,line,3\n", 2},
        {"code,treatment,measure,at_least\nBAB,line,q1,x\n", 2},
        {"code,treatment,measure,at_least,below\nBAB,line,q1,3,2\n", 2},
        {"code,treatment,measure\nBAB,line,width\n", 2},
        {"code,treatment,diameter_over_mm,diameter_up_to_mm\nBAB,line,300,200\n", 2},
        {"system,code,treatment\nEN,BAB,line\nNA,BAB,line\n", 3},
        {"system,code,treatment\nXX,BAB,line\n", 2},
        {"code,treatment,kind\nBAB,line,wombat\n", 2},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_codes *codes = NULL;
        struct sm_error err = {0};
        enum sm_status status = sm_codes_parse(&codes, cases[k].text, strlen(cases[k].text), "own.csv", &err);
        if (status == SM_OK || err.line != cases[k].line || !err.remedy[0]) {
            fail_msg("case %zu: status %d line %u: %s", k, status, (unsigned)err.line, err.text);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_en_decisions),
        cmocka_unit_test(test_na_decisions),
        cmocka_unit_test(test_what_codes_are),
        cmocka_unit_test(test_describe),
        cmocka_unit_test(test_tables_are_whole),
        cmocka_unit_test(test_page),
        cmocka_unit_test(test_groups),
        cmocka_unit_test(test_combine),
        cmocka_unit_test(test_file),
        cmocka_unit_test(test_file_errors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
