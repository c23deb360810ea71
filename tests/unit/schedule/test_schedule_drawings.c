/* The strip and the report: well-formed for an independent XML parser (libxml2's xmllint), with what they
 * must say. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"
#include "survey_builder.h"

typedef enum sm_status write_fn(struct sm_text *out, const struct sm_schedule *schedule,
                                struct sm_error *err);

static void written(struct sm_text *text, write_fn *write, enum survey_kind kind)
{
    struct survey survey;
    struct sm_error err;
    survey_build(&survey, kind);
    assert_ok(write(text, &survey.schedule, &err), &err);
    survey_release(&survey);
}

static void assert_well_formed(const struct sm_text *text, const char *dir, const char *options)
{
    char path[300], command[600];
    snprintf(path, sizeof path, "%s/document", dir);
    assert_ok(sm_file_write(path, text->data, text->length, NULL), NULL);
    snprintf(command, sizeof command, "xmllint --noout --nonet %s %s", options, path);
    assert_int_equal(system(command), 0);
}

static size_t count(const char *text, const char *what)
{
    size_t n = 0;
    for (const char *s = strstr(text, what); s; s = strstr(s + 1, what)) {
        n++;
    }
    return n;
}

static void test_svg__is_well_formed_for_any_survey(void **state)
{
    (void)state;
    char dir[256];
    sm_test_dir_make(dir);
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0};
        written(&text, sm_schedule_write_svg, (enum survey_kind)kind);
        assert_well_formed(&text, dir, "");
        assert_null(strstr(text.data, "nan"));
        sm_text_release(&text);
    }
    sm_test_dir_remove(dir);
}

static void test_svg__names_every_item(void **state)
{
    (void)state;
    struct sm_text text = {0};
    written(&text, sm_schedule_write_svg, SURVEY_METRES);
    assert_non_null(strstr(
        text.data,
        "<title>R3: stop 12.34 m, mark 12.34 m, short 600, liner from 12.04 m to 12.64 m, for O5</title>"));
    assert_non_null(strstr(text.data, "log and picture disagree</title>"));
    assert_int_equal(count(text.data, "tabindex=\"0\""), 5 + 11);
    sm_text_release(&text);
    written(&text, sm_schedule_write_svg, SURVEY_MANY);
    for (int i = 1; i <= 60; i++) {
        char name[32];
        snprintf(name, sizeof name, ">R%d<", i);
        if (!strstr(text.data, name)) {
            snprintf(name, sizeof name, ">R%d ?<", i);
        }
        assert_non_null(strstr(text.data, name));
    }
    sm_text_release(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_svg__is_well_formed_for_any_survey),
        cmocka_unit_test(test_svg__names_every_item),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
