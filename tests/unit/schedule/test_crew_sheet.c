/* The crew sheet, read back by poppler's pdftotext and pdfinfo: content, nothing clipped, same bytes each
 * time. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"
#include "survey_builder.h"

static void run(const char *command)
{
    if (system(command) != 0) {
        fail_msg("failed: %s", command);
    }
}

static char dir[256]; /* one sheet of each kind of survey, KIND.pdf: written once, read by all tests */

static int write_sheets(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct survey survey;
        struct sm_text pdf = {0};
        struct sm_error err;
        char path[300];
        survey_build(&survey, (enum survey_kind)kind);
        if (kind == SURVEY_METRES) {
            survey_add_stills(&survey, dir);
        }
        assert_ok(sm_schedule_write_pdf(&pdf, &survey.schedule, &err), &err);
        survey_release(&survey);
        snprintf(path, sizeof path, "%s/%d.pdf", dir, kind);
        assert_ok(sm_file_write(path, pdf.data, pdf.length, &err), &err);
        sm_text_release(&pdf);
    }
    return 0;
}

static int remove_sheets(void **state)
{
    (void)state;
    sm_test_dir_remove(dir);
    return 0;
}

/* What a poppler tool says of a sheet. */
static void read_back(struct sm_text *text, enum survey_kind kind, const char *tool)
{
    struct sm_error err;
    char path[300], command[900], *data = NULL;
    size_t n;
    snprintf(command, sizeof command, "%s %s/%d.pdf %s/text", tool, dir, (int)kind, dir);
    run(command);
    snprintf(path, sizeof path, "%s/text", dir);
    assert_ok(sm_file_read(&data, &n, path, (size_t)1 << 24, &err), &err);
    for (size_t i = 0; i < n; i++) { /* line breaks are where the page breaks them: of no meaning here */
        bool is_blank = strchr(" \n\f", data[i]) != NULL;
        if (!is_blank || (text->length && text->data[text->length - 1] != ' ')) {
            sm_text_add_n(text, is_blank ? " " : &data[i], 1);
        }
    }
    sm_free(data);
}

static void assert_says(const struct sm_text *text, const char *what)
{
    if (!strstr(text->data, what)) {
        fail_msg("not on the sheet: %s", what);
    }
}

static const struct {
    enum survey_kind kind;
    const char *words[24];
} expected[] = {
    {SURVEY_METRES,
     {"T12-T13",
      "Repairs in the order of work",
      "43.50 m",
      "12.34 m",
      "PLACE IN DOUBT",
      "First: cut roots back to the wall",
      "4 \u00d7 short 600",
      "resin 6.4 l in all",
      "Confined space",
      "1.24 bar",
      "Inflate to 1.39 bar or more, never above 2 bar; no later than 19 min from mixing",
      "R2 cannot be timed",
      "Pipe at 12 \u00b0C: work within 19 min, cure 128 min",
      "Cut open again: O6",
      "test pressure",
      "mixed at",
      "inflated at",
      "deflated at",
      "initials",
      "remarks",
      "the camera is right"}},
    {SURVEY_FEET,
     {"111' 1\"", "40' 5 3/4\"", "8 in", "manhole rim", "18 psi", "Pipe at 53.6 \u00b0F", "103' 2 1/2\"",
      "left and right change places"}},
    {SURVEY_EMPTY, {"No repairs in this segment", "43.80 m (assumed)", "not known", "Confined space"}},
};

static void test_sheet__says_what_the_crew_needs(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        struct sm_text text = {0};
        read_back(&text, expected[i].kind, "pdftotext -raw -enc UTF-8 -q");
        for (const char *const *words = expected[i].words; *words; words++) {
            assert_says(&text, *words);
        }
        sm_text_release(&text);
    }
}

/* Attribute of the tag that starts at s, as pdftotext -bbox writes it: xMin="34.0". */
static double attribute(const char *s, const char *name)
{
    char tag[200]; /* a copy: a search in the whole text would run to its end each time */
    double value = 0;
    const char *end;
    snprintf(tag, sizeof tag, "%.199s", s);
    const char *at = strstr(tag, name);
    assert_non_null(at);
    assert_true(sm_scan_number(at + strlen(name) + 2, false, false, &value, &end));
    return value;
}

static void test_sheet__keeps_inside_the_page(void **state)
{
    (void)state;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0};
        read_back(&text, (enum survey_kind)kind, "pdftotext -bbox -l 8 -q");
        double width = 0, height = 0;
        size_t n_words = 0;
        for (const char *s = text.data; (s = strchr(s, '<')) != NULL; s++) {
            if (strncmp(s, "<page ", 6) == 0) {
                width = attribute(s, "width");
                height = attribute(s, "height");
            } else if (strncmp(s, "<word ", 6) == 0) {
                n_words++;
                assert_true(attribute(s, "xMin") >= 28 && attribute(s, "xMax") <= width - 28);
                assert_true(attribute(s, "yMin") >= 18 && attribute(s, "yMax") <= height - 12);
            }
        }
        assert_true(n_words > 100);
        assert_true(kind != SURVEY_MANY || (strstr(text.data, ">full<") && strstr(text.data, ">R60<")));
        sm_text_release(&text);
    }
}

/* Type size from a word's box: ascent and descent of DejaVu Sans are 0.928 and 0.236 of it (its own hhea
 * table). */
static void test_sheet__numbers_are_large(void **state)
{
    (void)state;
    static const struct {
        enum survey_kind kind;
        const char *word;
    } numbers[] = {{SURVEY_METRES, ">12.34<"}, {SURVEY_FEET, ">3/4&quot;<"}};
    for (size_t i = 0; i < 2; i++) {
        struct sm_text text = {0};
        size_t n_large = 0;
        read_back(&text, numbers[i].kind, "pdftotext -bbox -q");
        for (const char *s = text.data; (s = strstr(s, "<word ")) != NULL; s++) {
            const char *content = strchr(s, '>');
            bool is_large = attribute(s, "yMax") - attribute(s, "yMin") >= 36 * (0.928 + 0.236) - 0.1;
            n_large += is_large && strncmp(content, numbers[i].word, strlen(numbers[i].word)) == 0;
        }
        assert_true(n_large >= 2);
        sm_text_release(&text);
    }
}

static void test_sheet__one_page_a_repair(void **state)
{
    (void)state;
    static const struct {
        enum survey_kind kind;
        const char *pages, *size;
    } sheets[] = {{SURVEY_METRES, "Pages: 6", "(A4)"},
                  {SURVEY_FEET, "Pages: 6", "(letter)"},
                  {SURVEY_EMPTY, "Pages: 1", "(A4)"}};
    for (size_t i = 0; i < sizeof sheets / sizeof sheets[0]; i++) {
        struct sm_text text = {0};
        read_back(&text, sheets[i].kind, "sh -c 'pdfinfo -isodates \"$0\" > \"$1\"'");
        assert_says(&text, sheets[i].pages);
        assert_says(&text, sheets[i].size);
        assert_says(&text, "Title: Crew sheet T12-T13");
        assert_says(&text, "CreationDate: 2031-03-14T00:00:00Z"); /* the survey's day, not today */
        sm_text_release(&text);
    }
}

static void test_sheet__same_input_same_bytes(void **state)
{
    (void)state;
    struct survey survey;
    struct sm_text again = {0};
    struct sm_error err;
    char path[300], *first = NULL;
    size_t n;
    survey_build(&survey, SURVEY_FEET);
    assert_ok(sm_schedule_write_pdf(&again, &survey.schedule, &err), &err);
    snprintf(path, sizeof path, "%s/%d.pdf", dir, (int)SURVEY_FEET);
    assert_ok(sm_file_read(&first, &n, path, (size_t)1 << 24, &err), &err);
    assert_int_equal(again.length, n);
    assert_memory_equal(again.data, first, n);
    sm_free(first);
    sm_text_release(&again);
    survey_release(&survey);
}

static void test_sheet__carries_the_stills_as_they_are(void **state)
{
    (void)state;
    struct sm_text list = {0};
    read_back(&list, SURVEY_METRES, "sh -c 'pdfimages -list \"$0\" > \"$1\"'");
    assert_non_null(strstr(list.data, "image 720 576 rgb 3 8 jpeg"));
    assert_null(strstr(list.data, "rgb 3 8 image"));
    sm_text_release(&list);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sheet__says_what_the_crew_needs),
        cmocka_unit_test(test_sheet__keeps_inside_the_page),
        cmocka_unit_test(test_sheet__numbers_are_large),
        cmocka_unit_test(test_sheet__one_page_a_repair),
        cmocka_unit_test(test_sheet__same_input_same_bytes),
        cmocka_unit_test(test_sheet__carries_the_stills_as_they_are),
    };
    return cmocka_run_group_tests(tests, write_sheets, remove_sheets);
}
