/* JSON, CSV and the terminal table: read back by jansson (an independent JSON reader) and by our own CSV
 * reader. */
#include <jansson.h>
#include <string.h>

#include "sm_test.h"
#include "survey_builder.h"

static json_t *written(struct survey *survey)
{
    struct sm_text text = {0};
    struct sm_error err;
    json_error_t at;
    assert_ok(sm_schedule_write_json(&text, &survey->schedule, &err), &err);
    assert_string_equal(text.data + text.length - 3, "\n}\n"); /* one line end, no empty line */
    json_t *root = json_loadb(text.data, text.length, JSON_REJECT_DUPLICATES, &at);
    if (!root) {
        fail_msg("line %d: %s", at.line, at.text);
    }
    sm_text_release(&text);
    return root;
}

static json_t *item(json_t *root, const char *list, size_t idx)
{
    json_t *found = json_array_get(json_object_get(root, list), idx);
    assert_non_null(found);
    return found;
}

static double number(json_t *object, const char *key)
{
    json_t *value = json_object_get(object, key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

static const char *string(json_t *object, const char *key)
{
    json_t *value = json_object_get(object, key);
    assert_true(json_is_string(value));
    return json_string_value(value);
}

static void test_json__says_what_the_stages_found(void **state)
{
    (void)state;
    struct survey survey;
    survey_build(&survey, SURVEY_METRES);
    json_t *root = written(&survey);
    assert_string_equal(string(root, "schema"), "stopmark.schedule/1");
    assert_string_equal(string(root, "unit"), "m");
    json_t *segment = json_object_get(root, "segment");
    assert_string_equal(string(segment, "flow"), "from-to");
    assert_close(number(segment, "length_m"), 43.8, 0);
    json_t *break_at = item(root, "observations", 4);
    assert_string_equal(string(break_at, "id"), "O5");
    assert_string_equal(string(break_at, "reading"), "12.34");
    assert_string_equal(string(break_at, "treatment"), "line");
    assert_string_equal(json_string_value(item(break_at, "flags", 0)), "log_disagrees");
    assert_string_equal(string(break_at, "meaning"), "break or collapse"); /* BAC, EN 13508-2 */
    assert_string_equal(string(break_at, "repair"), "R3");
    assert_close(number(json_object_get(break_at, "error_parts_m"), "placement"), 0.05, 0);
    assert_close(json_number_value(item(break_at, "target_m", 0)), 12.13, 1e-6);
    assert_close(json_number_value(item(break_at, "target_m", 1)), 12.55, 1e-6);
    assert_true(json_is_null(json_object_get(item(root, "observations", 10), "reading")));
    assert_true(json_is_null(json_object_get(item(root, "observations", 0), "target_m")));
    json_decref(root);
    survey_release(&survey);
}

static void test_json__repairs_add_up(void **state)
{
    (void)state;
    struct survey survey;
    survey_build(&survey, SURVEY_FEET);
    json_t *root = written(&survey);
    assert_string_equal(string(root, "unit"), "ft");
    double sum = 0;
    for (size_t i = 0; i < 5; i++) {
        json_t *repair = item(root, "repairs", i);
        double start_m = number(repair, "start_m"), length_m = number(repair, "length_m");
        assert_close(number(repair, "end_m"), start_m + length_m, 1e-9);
        assert_close(number(repair, "stop_m"), start_m + length_m / 2, 1e-9);
        assert_close(number(repair, "stop_from_far_m"), 43.8 - number(repair, "stop_m"), 1e-9);
        assert_close(number(repair, "mark_m"), number(repair, "stop_from_far_m") + 2.4, 1e-6);
        sum += number(repair, "cost");
    }
    assert_close(number(json_object_get(root, "cost"), "repairs"), sum, 1e-9);
    assert_string_equal(json_string_value(item(item(root, "repairs", 2), "reopens", 0)), "O6");
    assert_string_equal(json_string_value(item(item(root, "repairs", 3), "prepare", 1)), "jet clean");
    assert_string_equal(string(item(root, "unrepaired", 0), "observation"), "O11");
    json_decref(root);
    survey_release(&survey);
}

/* Mat, times, pressure and alternatives stand in the file; materials to load are the repairs' and one spare of the longest. */
static void test_json__says_what_the_work_takes(void **state)
{
    (void)state;
    struct survey survey;
    survey_build(&survey, SURVEY_METRES);
    survey.sheet.rules.dig_rate_per_m = 900;
    survey.sheet.rules.most_repairs = 4;
    survey.sheet.access.enters_at_to = true;
    survey.sheet.day.push_m_per_min = 3; /* R5 is 38 m in: over 12 min, and the mix is good for 19 with 10 of them used */
    json_t *root = written(&survey);
    double glass_kg = 0, longest_m = 0, longest_glass_kg = 0;
    for (size_t i = 0; i < 5; i++) {
        json_t *repair = item(root, "repairs", i), *materials = json_object_get(repair, "materials");
        glass_kg += number(materials, "glass_kg");
        assert_close(number(materials, "mat_width_m"), M_PI * 0.2 + 0.025, 1e-6);
        assert_close(number(materials, "part_a_l"), 2 * number(materials, "part_b_l"), 1e-5);
        if (number(repair, "length_m") > longest_m) {
            longest_m = number(repair, "length_m");
            longest_glass_kg = number(materials, "glass_kg");
        }
    }
    json_t *load = json_object_get(root, "materials"), *instead = json_object_get(root, "alternatives");
    assert_close(number(load, "glass_kg"), glass_kg + longest_glass_kg, 1e-5);
    assert_close(number(load, "sleeves"), 12, 0);
    assert_close(number(load, "ties"), 24, 0);
    assert_close(number(json_object_get(item(root, "repairs", 0), "cure"), "working_min"), 19, 0);
    assert_true(number(json_object_get(instead, "full_lining"), "total") >= 43.8 * 420);
    assert_true(number(json_object_get(instead, "digging"), "total") > 0);
    assert_true(json_is_true(json_object_get(json_object_get(instead, "owner_limits"), "too_many")));
    json_t *last = json_array_get(json_object_get(json_object_get(root, "day"), "repairs"), 4);
    assert_true(number(last, "margin_min") < 0);
    assert_non_null(strstr(string(root, "other_end"), "past its working time before the packer is inflated at"));
    json_decref(root);
    survey_release(&survey);
}

static void test_json__null_where_unknown(void **state)
{
    (void)state;
    struct survey survey;
    survey_build(&survey, SURVEY_EMPTY);
    survey.alignment.length_m = UNKNOWN;
    survey.alignment.observation[1].distance_m = UNKNOWN;
    json_t *root = written(&survey);
    json_t *segment = json_object_get(root, "segment");
    assert_true(json_is_null(json_object_get(segment, "length_m")));
    assert_true(json_is_null(json_object_get(segment, "flow")));
    assert_true(json_is_null(json_object_get(json_object_get(root, "cost"), "full_lining")));
    assert_true(json_is_null(json_object_get(json_object_get(root, "alignment"), "clock_offset_s")));
    assert_true(json_is_null(json_object_get(item(root, "observations", 1), "distance_m")));
    assert_int_equal(json_array_size(json_object_get(root, "repairs")), 0);
    json_decref(root);
    survey_release(&survey);
}

static void test_json__any_survey_parses(void **state)
{
    (void)state;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct survey survey;
        survey_build(&survey, (enum survey_kind)kind);
        json_decref(written(&survey));
        survey_release(&survey);
    }
}

static size_t column_of(struct sm_csv_row head, const char *name)
{
    for (size_t i = 0; i < head.n_fields; i++) {
        if (strcmp(head.field[i], name) == 0) {
            return i;
        }
    }
    fail_msg("no column %s", name);
    return 0;
}

static void test_csv__one_row_a_repair(void **state)
{
    (void)state;
    struct survey survey;
    survey_build(&survey, SURVEY_METRES);
    struct sm_text text = {0};
    struct sm_csv *csv = NULL;
    struct sm_error err;
    assert_ok(sm_schedule_write_csv(&text, &survey.schedule, &err), &err);
    assert_ok(sm_csv_parse(&csv, text.data, text.length, ',', "schedule.csv", &err), &err);
    assert_int_equal(sm_csv_n_rows(csv), 6);
    struct sm_csv_row head = sm_csv_row(csv, 0), row = sm_csv_row(csv, 4);
    assert_int_equal(row.n_fields, head.n_fields);
    assert_string_equal(row.field[column_of(head, "repair")], "R4");
    assert_string_equal(row.field[column_of(head, "stop_m")], "9.41");
    assert_string_equal(row.field[column_of(head, "covers")], "O4");
    assert_string_equal(row.field[column_of(head, "prepare")], "cut roots back to the wall; jet clean");
    sm_csv_free(&csv);
    sm_text_release(&text);
    survey_release(&survey);
}

static void test_csv__no_field_is_a_formula(void **state)
{
    (void)state;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct survey survey;
        struct sm_text text = {0};
        struct sm_csv *csv = NULL;
        struct sm_error err;
        survey_build(&survey, (enum survey_kind)kind);
        assert_ok(sm_schedule_write_csv(&text, &survey.schedule, &err), &err);
        assert_ok(sm_csv_parse(&csv, text.data, text.length, ',', "schedule.csv", &err), &err);
        for (size_t i = 0; i < sm_csv_n_rows(csv); i++) {
            struct sm_csv_row row = sm_csv_row(csv, i);
            for (size_t k = 0; k < row.n_fields; k++) {
                double value;
                assert_true(!strchr("=+-@", row.field[k][0]) || !row.field[k][0] ||
                            sm_parse_number(row.field[k], &value));
            }
        }
        sm_csv_free(&csv);
        sm_text_release(&text);
        survey_release(&survey);
    }
}

static void table_of(struct sm_text *text, enum survey_kind kind, int columns, bool utf8)
{
    struct survey survey;
    struct sm_error err;
    survey_build(&survey, kind);
    assert_ok(sm_schedule_write_table(text, &survey.schedule, columns, utf8, &err), &err);
    survey_release(&survey);
}

static void test_table__shows_what_matters(void **state)
{
    (void)state;
    struct sm_text text = {0};
    table_of(&text, SURVEY_METRES, 160, true);
    assert_non_null(strstr(text.data, "Segment T12-T13, T12 \u2192 T13, length 43.80 m, diameter 200 mm"));
    assert_non_null(strstr(text.data, "\n!  R3"));
    assert_non_null(strstr(text.data, "\n   R4"));
    assert_non_null(strstr(text.data, "log and picture disagree"));
    assert_non_null(strstr(text.data, "Least sure: O5 at 12.34 m, \u00b1 0.06 m, from the picture, log and "
                                      "picture disagree; resting on it: R3"));
    assert_non_null(strstr(text.data, "Cost of the repairs 3360"));
    assert_non_null(strstr(text.data, "O11 at 37.05 m: no kit is long enough"));
    sm_text_release(&text);
    table_of(&text, SURVEY_FEET, 100, false);
    assert_non_null(strstr(text.data, "length 143' 8 1/2\", diameter 8 in"));
    sm_text_release(&text);
    table_of(&text, SURVEY_EMPTY, 100, false);
    assert_null(strstr(text.data, "not said"));
    assert_non_null(strstr(text.data, "No repairs."));
    assert_null(strstr(text.data, "Least sure"));
    sm_text_release(&text);
}

/* Widths as a terminal counts them for the Latin text of these surveys: one column a character. */
static size_t longest_line(const char *s)
{
    size_t longest = 0, used = 0;
    for (; *s; s++) {
        used = *s == '\n' ? 0 : used + (((unsigned char)*s & 0xc0U) != 0x80);
        longest = used > longest ? used : longest;
    }
    return longest;
}

static void test_table__keeps_to_the_width(void **state)
{
    (void)state;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0};
        table_of(&text, (enum survey_kind)kind, 120, true);
        assert_in_range(longest_line(text.data), 1, 120);
        sm_text_release(&text);
    }
}

static void test_table__passes_no_control_characters(void **state)
{
    (void)state;
    struct sm_text text = {0};
    table_of(&text, SURVEY_HOSTILE, 100, false);
    for (size_t i = 0; i < text.length; i++) {
        unsigned char c = (unsigned char)text.data[i];
        assert_true(c == '\n' || (c >= 0x20 && c < 0x7f));
    }
    sm_text_release(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_json__says_what_the_stages_found),
        cmocka_unit_test(test_json__repairs_add_up),
        cmocka_unit_test(test_json__says_what_the_work_takes),
        cmocka_unit_test(test_json__null_where_unknown),
        cmocka_unit_test(test_json__any_survey_parses),
        cmocka_unit_test(test_csv__one_row_a_repair),
        cmocka_unit_test(test_csv__no_field_is_a_formula),
        cmocka_unit_test(test_table__shows_what_matters),
        cmocka_unit_test(test_table__keeps_to_the_width),
        cmocka_unit_test(test_table__passes_no_control_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
