/* The strip and the report: well-formed for an independent XML parser (libxml2's xmllint), with what they
 * must say. */
#include <math.h>
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

/* How many paths the strip takes where an observation that is referred reaches so far along the pipe. */
static size_t n_paths(double reach_m)
{
    struct survey survey;
    struct sm_text text = {0};
    struct sm_error err;
    survey_build(&survey, SURVEY_METRES);
    struct sm_observation *observation = &survey.alignment.observation[4];
    observation->treatment = SM_TREATMENT_REFER;
    observation->start_m = observation->distance_m;
    observation->end_m = observation->distance_m + reach_m;
    assert_ok(sm_schedule_write_svg(&text, &survey.schedule, &err), &err);
    size_t n = count(text.data, "<path");
    sm_text_release(&text);
    survey_release(&survey);
    return n;
}

/* A hole as long as a hand does not stick out of its mark as a scrap of hatching; a long crack is drawn. */
static void test_svg__draws_no_reach_that_its_mark_hides(void **state)
{
    (void)state;
    assert_int_equal(n_paths(0.17), n_paths(0));
    assert_true(n_paths(1.5) > n_paths(0));
}

static void test_html__is_one_file_that_asks_for_nothing(void **state)
{
    (void)state;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0};
        written(&text, sm_schedule_write_html, (enum survey_kind)kind);
        assert_non_null(strstr(text.data, "default-src 'none'"));
        assert_null(strstr(text.data, "<script"));
        assert_null(strstr(text.data, " src=\"http"));
        assert_null(strstr(text.data, " href=\"http"));
        assert_null(strstr(text.data, "url("));
        assert_null(strstr(text.data, "nan"));
        sm_text_release(&text);
    }
}

/* The report is written so that it is XML too, but for the void elements and the doctype: mended here, then
 * parsed. */
static void test_html__is_well_formed(void **state)
{
    (void)state;
    static const char *const voids[] = {"<meta ", "<br>", "<img "};
    char dir[256];
    sm_test_dir_make(dir);
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0}, xml = {0};
        written(&text, sm_schedule_write_html, (enum survey_kind)kind);
        for (const char *s = strstr(text.data, "<html"); *s; s++) {
            bool is_void = false;
            for (size_t i = 0; i < 3; i++) {
                is_void |= strncmp(s, voids[i], strlen(voids[i])) == 0;
            }
            if (is_void) {
                const char *end = strchr(s, '>');
                sm_text_add_n(&xml, s, (size_t)(end - s));
                sm_text_add(&xml, "/>");
                s = end;
            } else {
                sm_text_add_n(&xml, s, 1);
            }
        }
        assert_well_formed(&xml, dir, "--huge");
        sm_text_release(&xml);
        sm_text_release(&text);
    }
    sm_test_dir_remove(dir);
}

static void test_html__says_it_all(void **state)
{
    (void)state;
    struct sm_text text = {0};
    written(&text, sm_schedule_write_html, SURVEY_METRES);
    static const char *const expected[] = {
        "<html lang=\"en\">",
        "<main id=\"main\">",
        "<nav aria-label",
        "<caption>",
        "scope=\"col\"",
        "scope=\"row\"",
        "12.34 m",
        "look at 2:03 of the video",
        "Repair <a href=\"#row-R3\">R3</a> rests on it",
        "no kit is long enough",
        "href=\"#row-O5\" aria-label=\"O5: 12.34 m",
        "Confined space",
        "Counter through the video",
        "18396",
        "short 600",
    };
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        if (!strstr(text.data, expected[i])) {
            fail_msg("not in the report: %s", expected[i]);
        }
    }
    assert_true(strstr(text.data, "id=\"first\"") < strstr(text.data, "id=\"repairs\""));
    sm_text_release(&text);
}

/* What the kit's layers give stands beside what the wall needs, and a wall too thin is said to be so. */
static void test_html__says_when_a_wall_is_too_thin(void **state)
{
    (void)state;
    for (int32_t layers = 1; layers <= 2; layers++) {
        struct survey survey;
        struct sm_text text = {0};
        struct sm_error err;
        survey_build(&survey, SURVEY_SHORT);
        struct sm_kit kit = survey.sheet.kit[0];
        kit.layers = layers;
        survey.sheet.kit = &kit;
        survey.sheet.n_kits = 1;
        assert_ok(sm_schedule_write_html(&text, &survey.schedule, &err), &err);
        assert_non_null(strstr(text.data, layers == 1 ? "wall of 1 layer 1.62 mm; needed 3 mm, 2 layers: TOO THIN"
                                                      : "wall of 2 layers 3.24 mm; needed 3 mm, 2 layers<"));
        sm_text_release(&text);
        survey_release(&survey);
    }
}

/* Plain geometry: 1.5 bar on a bore of 200 mm is 4712 N, the weight of 480.5 kg; rounded up. */
static void test_html__names_the_end_thrust(void **state)
{
    (void)state;
    struct survey survey;
    struct sm_text text = {0};
    struct sm_error err;
    survey_build(&survey, SURVEY_SHORT);
    struct sm_kit kit = survey.sheet.kit[0];
    kit.max_pressure_kpa = 150;
    survey.sheet.kit = &kit;
    survey.sheet.n_kits = 1;
    assert_ok(sm_schedule_write_html(&text, &survey.schedule, &err), &err);
    assert_non_null(strstr(text.data, "over an opening: at 1.5 bar its end pushes with the weight of 490 kg."));
    sm_text_release(&text);
    survey_release(&survey);
}

/* Spares of one pipe size are those of the segment that asks for most, not of every segment again. */
static void test_load__sums_segments_but_not_spares(void **state)
{
    (void)state;
    struct survey survey;
    struct sm_load *load = NULL;
    struct sm_text text = {0};
    struct sm_error err;
    survey_build(&survey, SURVEY_SHORT);
    survey.sheet.rules.n_spares = 2;
    assert_ok(sm_schedule_load_new(&load, &err), &err);
    for (int i = 0; i < 3; i++) {
        assert_ok(sm_schedule_load_add(load, &survey.schedule, &err), &err);
    }
    sm_schedule_load_write(&text, load);
    assert_non_null(strstr(text.data, "3 repairs in all"));
    assert_non_null(strstr(text.data, "  3 \u00d7 "));
    assert_non_null(strstr(text.data, " and 2 spare"));
    assert_non_null(strstr(text.data, "10 sleeves, 20 ties")); /* of five liners */
    sm_text_release(&text);
    sm_schedule_load_write_json(&text, load);
    assert_non_null(strstr(text.data, "\"stopmark.load/1\""));
    assert_int_equal(count(text.data, "\"repairs\": 1"), 3);
    sm_text_release(&text);
    sm_schedule_load_free(&load);
    survey_release(&survey);
}

/* Number of an attribute of the element that starts here, as ` x="12.5"`. */
static double number_in(const char *element, const char *name)
{
    double value = 0;
    const char *at = strstr(element, name), *end;
    assert_non_null(at);
    assert_true(sm_scan_number(at + strlen(name), false, false, &value, &end));
    return value;
}

struct label {
    double x, y;
};

/* The place of every label of a drawing that is centred on it. @return how many there are. */
static size_t find_labels(struct label *label, size_t most, const char *drawing)
{
    size_t n = 0;
    const char *end = strstr(drawing, "</svg>");
    assert_non_null(end);
    for (const char *s = strstr(drawing, "<text"); s && s < end; s = strstr(s + 1, "<text")) {
        const char *words = strchr(s, '>'), *middle = strstr(s, "\"middle\"");
        if (middle && middle < words) {
            assert_true(n < most);
            label[n++] = (struct label){number_in(s, " x=\""), number_in(s, " y=\"")};
        }
    }
    return n;
}

/* A camera that stands still at each observation, as one does: reading and name both want to stand there. */
static void stand_at_observations(struct survey *survey)
{
    struct sm_reading *reading = survey->trace.reading;
    size_t every = survey->trace.n_readings / survey->alignment.n_observations;
    for (size_t i = 0; i < survey->trace.n_readings; i++) {
        size_t turn = i / every, step = i % every;
        reading[i].state = SM_READING_READ;
        reading[i].counts =
            (int64_t)(turn * 300 + (step < every / 2 ? step * 600 / every : 300));
    }
    for (size_t i = 0; i < survey->alignment.n_observations; i++) {
        struct sm_observation *observation = &survey->alignment.observation[i];
        observation->reading = reading[i * every + every * 3 / 4];
        observation->time_s = observation->reading.time_s;
    }
}

/* Two letters wide and one high is the least any label takes. */
static void test_html__no_label_of_the_trace_lies_on_another(void **state)
{
    (void)state;
    struct sm_text text = {0};
    struct label label[200];
    struct survey survey;
    struct sm_error err;
    survey_build(&survey, SURVEY_METRES);
    stand_at_observations(&survey);
    assert_ok(sm_schedule_write_html(&text, &survey.schedule, &err), &err);
    const char *trace = strstr(text.data, "<section id=\"trace\"");
    assert_non_null(trace);
    size_t n = find_labels(label, 200, trace);
    assert_true(n > 10);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++) {
            if (fabs(label[i].x - label[k].x) < 16 && fabs(label[i].y - label[k].y) < 10) {
                fail_msg("two labels at %.1f,%.1f and %.1f,%.1f", label[k].x, label[k].y, label[i].x,
                         label[i].y);
            }
        }
    }
    sm_text_release(&text);
    survey_release(&survey);
}

static void test_html__embeds_stills(void **state)
{
    (void)state;
    struct survey survey;
    struct sm_text text = {0};
    struct sm_error err;
    char dir[256], path[300];
    sm_test_dir_make(dir);
    survey_build(&survey, SURVEY_METRES);
    survey_add_stills(&survey, dir);
    snprintf(path, sizeof path, "%s/stills/S2.jpg", dir);
    assert_ok(sm_file_write(path, "\xff\xd8\xff\xe0\x00\x00", 6, NULL), NULL); /* a cut-off one */
    assert_ok(sm_schedule_write_html(&text, &survey.schedule, &err), &err);
    assert_int_equal(count(text.data, "src=\"data:image/jpeg;base64,/9j/"), 7);
    assert_int_equal(count(text.data, "width=\"720\" height=\"576\" alt=\"Still of O"), 7);
    assert_int_equal(count(text.data, "no picture"), 6);
    sm_text_release(&text);
    survey_release(&survey);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_svg__is_well_formed_for_any_survey),
        cmocka_unit_test(test_svg__names_every_item),
        cmocka_unit_test(test_svg__draws_no_reach_that_its_mark_hides),
        cmocka_unit_test(test_html__is_one_file_that_asks_for_nothing),
        cmocka_unit_test(test_html__is_well_formed),
        cmocka_unit_test(test_html__says_it_all),
        cmocka_unit_test(test_html__no_label_of_the_trace_lies_on_another),
        cmocka_unit_test(test_html__embeds_stills),
        cmocka_unit_test(test_html__says_when_a_wall_is_too_thin),
        cmocka_unit_test(test_html__names_the_end_thrust),
        cmocka_unit_test(test_load__sums_segments_but_not_spares),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
