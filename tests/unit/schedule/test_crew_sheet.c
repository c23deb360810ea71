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

/* Write the sheet of a survey into dir/sheet.pdf and run a poppler tool on it; its output is the result. */
static void read_back(struct sm_text *text, const char *dir, enum survey_kind kind, const char *tool)
{
    struct survey survey;
    struct sm_text pdf = {0};
    struct sm_error err;
    char path[300], command[900], *data = NULL;
    size_t n;
    survey_build(&survey, kind);
    assert_ok(sm_schedule_write_pdf(&pdf, &survey.schedule, &err), &err);
    survey_release(&survey);
    snprintf(path, sizeof path, "%s/sheet.pdf", dir);
    assert_ok(sm_file_write(path, pdf.data, pdf.length, &err), &err);
    sm_text_release(&pdf);
    snprintf(command, sizeof command, "%s %s/sheet.pdf %s/text", tool, dir, dir);
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

static void test_sheet__says_what_the_crew_needs(void **state)
{
    (void)state;
    static const char *const expected[] = {
        "T12-T13",
        "Repairs in the order of work",
        "43.50 m",
        "12.34 m",
        "PLACE IN DOUBT",
        "cut roots back to the wall",
        "4 \u00d7 short 600",
        "resin 6.4 l in all",
        "Confined space",
        "1.24 bar",
        "15 / 70 min at 23 \u00b0C",
        "Cut open again: O6",
        "test pressure",
        "mixed at",
        "inflated at",
        "deflated at",
        "initials",
        "remarks",
        "the camera is right",
    };
    char dir[256];
    struct sm_text text = {0};
    sm_test_dir_make(dir);
    read_back(&text, dir, SURVEY_METRES, "pdftotext -raw -enc UTF-8 -q");
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        assert_says(&text, expected[i]);
    }
    sm_text_release(&text);
    sm_test_dir_remove(dir);
}

static void test_sheet__speaks_the_crews_unit(void **state)
{
    (void)state;
    static const char *const expected[] = {"111' 1\"", "40' 5 3/4\"",  "8 in",        "manhole rim",
                                           "18 psi",   "73.4 \u00b0F", "103' 2 1/2\""};
    char dir[256];
    struct sm_text text = {0};
    sm_test_dir_make(dir);
    read_back(&text, dir, SURVEY_FEET, "pdftotext -raw -enc UTF-8 -q");
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        assert_says(&text, expected[i]);
    }
    sm_text_release(&text);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sheet__says_what_the_crew_needs),
        cmocka_unit_test(test_sheet__speaks_the_crews_unit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
