/* Reading lists of distances: texts, SubRip, tables, and what is refused. */
#include "sm_test.h"
#include "sm_test_alloc.h"

#include <math.h>
#include <string.h>

#include "stopmark/distances.h"

/* ---- one text ---- */

struct text_case {
    const char *text;
    bool is_distance;
    int64_t counts;
    int32_t decimals;
    enum sm_unit unit;
};

static const struct text_case texts[] = {
    {"12.34 m", true, 1234, 2, SM_UNIT_M},
    {"12.34", true, 1234, 2, SM_UNIT_UNKNOWN},
    {"0012,3m", true, 123, 1, SM_UNIT_M},
    {"+7 ft", true, 7, 0, SM_UNIT_FT},
    {"-0.30 m", true, -30, 2, SM_UNIT_M},
    {"\xe2\x88\x92"
     "0.30 m",
     true, -30, 2, SM_UNIT_M}, /* the minus sign of typography */
    {"45.8'", true, 458, 1, SM_UNIT_FT},
    {"<b>12.34</b> M", true, 1234, 2, SM_UNIT_M},
    {"<font color=\"#ffff00\">12.34 m</font>", true, 1234, 2, SM_UNIT_M},
    {"{\\an8}12.3 metres", true, 123, 1, SM_UNIT_M},
    {"DIST: 12.34 m\nINCL 2.1 %  14:03:22", true, 1234, 2, SM_UNIT_M},
    {"D:12.34m T 12 \xc2\xb0"
     "C 2031-03-14",
     true, 1234, 2, SM_UNIT_M},
    {"12.34m (0.2 m/s)", true, 1234, 2, SM_UNIT_M},
    {"T12-T13 4.50", true, 450, 2, SM_UNIT_UNKNOWN},
    /* what names no distance, or more than one */
    {"", false, 0, 0, 0},
    {"no distance", false, 0, 0, 0},
    {"14:03:22", false, 0, 0, 0},
    {"14.03.2031", false, 0, 0, 0},
    {"2031-03-14", false, 0, 0, 0},
    {"150 mm", false, 0, 0, 0},
    {"2.1 %", false, 0, 0, 0},
    {"12.34 m 15.00 m", false, 0, 0, 0},
    {"12.34 15.00", false, 0, 0, 0},
    {"12' 6\"", false, 0, 0, 0},
    {"1,234.5 m", false, 0, 0, 0},
    {".50 m", false, 0, 0, 0},
    {"T12", false, 0, 0, 0},
    {"0.2 m/s", false, 0, 0, 0},
    {"1234567890123 m", false, 0, 0, 0},
};

static void test_scan__takes_the_one_distance_of_a_text(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        int64_t counts = -1;
        int32_t decimals = -1;
        enum sm_unit unit = SM_UNIT_UNKNOWN;
        bool is_distance = sm_distances_scan(texts[i].text, &counts, &decimals, &unit);
        if (is_distance != texts[i].is_distance) {
            fail_msg("\"%s\" is %s distance", texts[i].text, is_distance ? "taken as a" : "taken as no");
        }
        if (is_distance) {
            assert_int_equal(counts, texts[i].counts);
            assert_int_equal(decimals, texts[i].decimals);
            assert_int_equal(unit, texts[i].unit);
        }
    }
}

/* ---- files ---- */

static struct sm_distances *parsed(const char *text)
{
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    assert_ok(sm_distances_new(&list, &err), &err);
    assert_ok(sm_distances_add_data(list, text, strlen(text), "list", 0, &err), &err);
    return list;
}

static void refused(const char *text, enum sm_status expected, const char *words)
{
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    assert_ok(sm_distances_new(&list, NULL), NULL);
    assert_int_equal(sm_distances_add_data(list, text, strlen(text), "list", 0, &err), expected);
    assert_non_null(strstr(err.text, words));
    assert_true(err.remedy[0] || expected == SM_E_RANGE);
    assert_int_equal(list->n, 0);
    assert_string_equal(list->source, "");
    sm_distances_free(&list);
    assert_null(list);
}

static void check_item(const struct sm_distances *list, size_t idx, double time_s, double end_s,
                       int64_t counts, uint32_t line)
{
    assert_true(idx < list->n);
    assert_close(list->item[idx].time_s, time_s, 1e-9);
    assert_close(list->item[idx].end_s, end_s, 1e-9);
    assert_int_equal(list->item[idx].counts, counts);
    assert_int_equal(list->item[idx].line, line);
}

static void test_subrip__cues_with_their_lines(void **state)
{
    (void)state;
    struct sm_distances *list = parsed("1\n00:00:01,000 --> 00:00:02,500\n12.3 m\n\n"
                                       "2\n00:00:02,500 --> 00:00:04,000 X1:0 X2:9\n<i>12.34 m</i>\n\n"
                                       "3\n01:00:05,250 --> 01:00:06,000\n13 m\n");
    assert_string_equal(list->format, "subrip");
    assert_int_equal(list->unit, SM_UNIT_M);
    assert_int_equal(list->decimals, 2); /* the most that any was written with */
    assert_int_equal(list->n, 3);
    check_item(list, 0, 1, 2.5, 1230, 2);
    check_item(list, 1, 2.5, 4, 1234, 6);
    check_item(list, 2, 3605.25, 3606, 1300, 10);
    sm_distances_free(&list);
}

static void test_subrip__what_recorders_make_of_it(void **state)
{
    (void)state;
    /* CRLF, a byte order mark, no blank lines, a point for the comma, no numbers, an empty text, a broken cue
     */
    struct sm_distances *list =
        parsed("\xef\xbb\xbf"
               "1\r\n00:00:00,000 --> 00:00:01,000\r\n0.00\r\n2\r\n"
               "00:00:01.000 --> 00:00:02.000\r\n0.10\r\n00:00:02,000 --> 00:00:03,000\r\n\r\n"
               "00:00:03,000 --> what\r\n0.20\r\n\r\n"
               "00:00:04,000 --> 00:00:05,000\r\nsee note\r\n\r\n"
               "00:00:03,500 --> 00:00:03,600\r\n0.30\r\n\r\n"
               "00:00:00,500 --> 00:00:00,600\r\n0.25\r\n\r\n"
               "00:05,000 --> 00:06,000\r\n0.50");
    assert_int_equal(list->n, 4);
    check_item(list, 1, 1, 2, 10, 5);
    check_item(list, 2, 3.5, 3.6, 30, 15);
    check_item(list, 3, 5, 6, 50, 21);
    assert_int_equal(list->n_passed_over, 3);
    assert_int_equal(list->findings.n, 3);
    assert_int_equal(list->findings.item[0].line, 9);
    assert_non_null(strstr(list->findings.item[1].message, "see note"));
    assert_non_null(strstr(list->findings.item[2].message, "runs back"));
    sm_distances_free(&list);
}

static void test_subrip__cues_of_webvtt_too(void **state)
{
    (void)state;
    struct sm_distances *list = parsed("WEBVTT\n\nfirst\n00:01.000 --> 00:02.000 align:start\n1.5 ft\n");
    assert_int_equal(list->n, 1);
    check_item(list, 0, 1, 2, 15, 4);
    assert_int_equal(list->unit, SM_UNIT_FT);
    sm_distances_free(&list);
}

static void test_csv__columns_by_name_and_unit(void **state)
{
    (void)state;
    struct sm_distances *list =
        parsed("made by hand\nDistance [ft];Time\n1,5;0:00:01.5\n;2\n2,25;0:00:03\nx;4\n3,0;never\n");
    assert_string_equal(list->format, "csv");
    assert_int_equal(list->unit, SM_UNIT_FT);
    assert_int_equal(list->n, 2);
    check_item(list, 0, 1.5, SM_NAN, 150, 3);
    check_item(list, 1, 3, SM_NAN, 225, 5);
    assert_int_equal(list->n_passed_over, 2);
    assert_int_equal(list->findings.item[0].line, 6);
    assert_non_null(strstr(list->findings.item[1].message, "never"));
    assert_false(list->is_own_trace);
    sm_distances_free(&list);
}

static void test_csv__of_a_trace_only_what_was_read(void **state)
{
    (void)state;
    struct sm_distances *list =
        parsed("time_s,reading,unit,confidence,state\n0.000,1.00,m,0.999,read\n"
               "1.000,1.05,m,0.700,carried\n2.000,,m,0.000,hidden\n3.000,1.10,m,0.999,read\n");
    assert_true(list->is_own_trace);
    assert_int_equal(list->n, 2);
    check_item(list, 1, 3, SM_NAN, 110, 5);
    assert_int_equal(list->unit, SM_UNIT_M);
    sm_distances_free(&list);
}

static void test_list__several_files_one_after_the_other(void **state)
{
    (void)state;
    struct sm_distances *list = parsed("time,distance\n0,1.0 m\n1,1.1 m\n");
    static const char more[] = "time,distance\n0,1.25\n";
    static const char feet[] = "time,distance\n5,1 ft\n";
    struct sm_error err = {0};
    assert_ok(sm_distances_add_data(list, more, sizeof more - 1, "second", 60, &err), &err);
    assert_int_equal(list->n, 3);
    check_item(list, 1, 1, SM_NAN, 110, 3); /* widened to two decimals */
    check_item(list, 2, 60, SM_NAN, 125, 2);
    assert_int_equal(sm_distances_add_data(list, feet, sizeof feet - 1, "third", 120, &err), SM_E_CONFLICT);
    assert_int_equal(err.line, 2);
    assert_int_equal(list->n, 3);
    sm_distances_free(&list);
}

static void test_list__refuses_what_is_none(void **state)
{
    (void)state;
    refused("", SM_E_FORMAT, "no list");
    refused("nothing at all", SM_E_FORMAT, "no list");
    refused("a,b\n1,2\n", SM_E_FORMAT, "no header row");
    refused("time,distance\n", SM_E_FORMAT, "not one entry");
    refused("time,distance\nx,y\n", SM_E_FORMAT, "not one entry");
    refused("time,distance,code\n1,2,BAB\n", SM_E_UNSUPPORTED, "operator's log");
    refused("1\n00:00:01,000 --> 00:00:02,000\nhello\n", SM_E_FORMAT, "not one entry");
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    assert_ok(sm_distances_new(&list, NULL), NULL);
    assert_int_equal(sm_distances_add_data(list, "\x01\0\2x", 4, "bytes", 0, &err), SM_E_FORMAT);
    assert_int_equal(sm_distances_add_file(list, "/nowhere/list.srt", 0, &err), SM_E_IO);
    assert_int_equal(list->n_files, 0);
    sm_distances_free(&list);
}

static void test_list__bad_entries_without_end_are_counted(void **state)
{
    (void)state;
    struct sm_text text = {0};
    sm_text_add(&text, "time,distance\n1,1.0\n");
    for (int i = 0; i < 1000; i++) {
        sm_text_add(&text, "2,?\n");
    }
    struct sm_distances *list = parsed(sm_text_str(&text));
    assert_int_equal(list->n_passed_over, 1000);
    assert_int_equal(list->findings.n, 13);
    assert_non_null(strstr(list->findings.item[12].message, "988 more"));
    sm_distances_free(&list);
    sm_text_release(&text);
}

/* ---- tracks ---- */

static void test_texts__a_track_must_be_about_distances(void **state)
{
    (void)state;
    struct sm_timed_text text[] = {{0, 1, "1.00 m", 0, 0},
                                   {1, SM_NAN, "1.10 m", 0, 0},
                                   {2, 3, "1.20 m", 0, 0},
                                   {3, 4, "1.30 m", 0, 0},
                                   {4, 5, "-", 0, 0}};
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    assert_ok(sm_distances_new(&list, NULL), NULL);
    assert_ok(sm_distances_add_texts(list, text, 5, "track", &err), &err);
    assert_int_equal(list->n, 4);
    assert_string_equal(list->format, "track");
    sm_distances_free(&list);
    text[0].text = text[1].text = "spoken words";
    assert_ok(sm_distances_new(&list, NULL), NULL);
    assert_int_equal(sm_distances_add_texts(list, text, 5, "track", &err), SM_E_FORMAT);
    assert_int_equal(list->n, 0);
    sm_distances_free(&list);
}

/* ---- memory ---- */

static int read_both(void *user)
{
    static const char srt[] =
        "1\n00:00:00,000 --> 00:00:01,000\n1.0 m\n\n2\n00:00:01,000 --> 00:00:02,000\nx\n";
    static const char csv[] = "time,distance\n3,1.25 m\n4,?\n";
    struct sm_distances *list = NULL;
    (void)user;
    enum sm_status status = sm_distances_new(&list, NULL);
    if (status == SM_OK) {
        status = sm_distances_add_data(list, srt, sizeof srt - 1, "a", 0, NULL);
    }
    if (status == SM_OK) {
        status = sm_distances_add_data(list, csv, sizeof csv - 1, "b", 0, NULL);
    }
    sm_distances_free(&list);
    return status;
}

static void test_memory__every_allocation_failed_in_turn(void **state)
{
    (void)state;
    sm_test_alloc_all(read_both, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scan__takes_the_one_distance_of_a_text),
        cmocka_unit_test(test_subrip__cues_with_their_lines),
        cmocka_unit_test(test_subrip__what_recorders_make_of_it),
        cmocka_unit_test(test_subrip__cues_of_webvtt_too),
        cmocka_unit_test(test_csv__columns_by_name_and_unit),
        cmocka_unit_test(test_csv__of_a_trace_only_what_was_read),
        cmocka_unit_test(test_list__several_files_one_after_the_other),
        cmocka_unit_test(test_list__refuses_what_is_none),
        cmocka_unit_test(test_list__bad_entries_without_end_are_counted),
        cmocka_unit_test(test_texts__a_track_must_be_about_distances),
        cmocka_unit_test(test_memory__every_allocation_failed_in_turn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
