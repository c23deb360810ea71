/* The crew sheet, read back by poppler's pdftotext and pdfinfo: content, nothing clipped, same bytes each
 * time. */
#include <math.h>
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
static void read_back(struct sm_text *text, int kind, const char *tool)
{
    struct sm_error err;
    char path[300], command[900], *data = NULL;
    size_t n;
    snprintf(command, sizeof command, "%s %s/%d.pdf %s/text", tool, dir, kind, dir);
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
        fail_msg("not on the sheet: %s\nbut: %s", what, text->data);
    }
}

static const struct {
    enum survey_kind kind;
    const char *words[32];
} expected[] = {
    {SURVEY_METRES,
     {"T12-T13",
      "Repairs in the order of work",
      "43.50 m",
      "12.34 m",
      "PLACE IN DOUBT",
      "First: cut roots back to the wall",
      "4 \u00d7 short 600",
      "CUT 2 mats of 0.60 m",
      "MIX A ",
      "In all, spares counted: glass mat ",
      "Inflate by",
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
        read_back(&text, (int)expected[i].kind, "pdftotext -raw -enc UTF-8 -q");
        for (const char *const *words = expected[i].words; *words; words++) {
            assert_says(&text, *words);
        }
        sm_text_release(&text);
    }
}

/* What the trade does at every liner (common practice, no source), in the words of the checklist. */
static void test_sheet__has_the_steps_of_the_trade(void **state)
{
    (void)state;
    static const char *const steps[] = {
        "Camera under the defect's middle; tape the rod at the manhole rim.",
        "lens at the packer's middle; move the tape over",
        "Packer tried inside a piece of this pipe (kit says 18 psi)",
        "Rod couplings taped over so that they cannot catch",
        "Slits of 1/4 in in the sleeve's folded fins to let the air out, none anywhere else",
        "Rehearsal with a dry sleeve to the mark",
        "two thirds on the first, rough face of the mat, one third on the other, no dry spot",
        "Fold in from both sides round the packer, lap 1 in, inside the outline marks",
        "Four ties, two close together at the leading end, few twists: they break when it fills",
        "from mixing",
        "no earlier than",
        "A short push, then pull back by the cable, never by the air line",
        "Camera, filmed: both ends covered",
    };
    struct sm_text text = {0};
    read_back(&text, SURVEY_FEET, "pdftotext -raw -enc UTF-8 -q");
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        assert_says(&text, steps[i]);
    }
    sm_text_release(&text);
}

/* More water outside than the kit may be inflated against: no pressure is printed, whoever asks for the reason or not. */
static void test_sheet__says_not_to_inflate(void **state)
{
    (void)state;
    struct survey survey;
    struct sm_text pdf = {0}, text = {0};
    struct sm_error err;
    char path[300];
    survey_build(&survey, SURVEY_SHORT);
    survey.sheet.access.groundwater_head_m = 30;
    assert_ok(sm_schedule_write_pdf(&pdf, &survey.schedule, &err), &err);
    snprintf(path, sizeof path, "%s/%d.pdf", dir, N_SURVEY_KINDS);
    assert_ok(sm_file_write(path, pdf.data, pdf.length, &err), &err);
    read_back(&text, N_SURVEY_KINDS, "pdftotext -raw -enc UTF-8 -q");
    assert_says(&text, "DO NOT INFLATE");
    assert_null(strstr(text.data, "Inflate to"));
    sm_text_release(&pdf);
    sm_text_release(&text);
    survey_release(&survey);
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

#define MOST_WORDS 4000
#define TOUCHING_PT 0.5
#define ABOVE_CAPITALS 0.17 /* of a box's height: DejaVu Sans, ascent 0.928 and capitals 0.729 of 1.164 */
#define BELOW_BASELINE 0.20 /* likewise, descent 0.236 */

struct word {
    double x1, y1, x2, y2;
    const char *tag;
};
struct page {
    double width, height;
    size_t n;
    struct word word[MOST_WORDS];
};

static void add_word(struct page *page, const char *tag)
{
    struct word word = {attribute(tag, "xMin"), attribute(tag, "yMin"), attribute(tag, "xMax"),
                        attribute(tag, "yMax"), tag};
    bool is_inside = word.x1 >= 28 && word.x2 <= page->width - 28 && word.y1 >= 18 && word.y2 <= page->height - 12;
    if (!is_inside) {
        fail_msg("beyond the margin: %.120s", tag);
    }
    double height = word.y2 - word.y1;
    word.y1 += ABOVE_CAPITALS * height;
    word.y2 -= BELOW_BASELINE * height;
    for (size_t i = 0; i < page->n; i++) {
        const struct word *other = &page->word[i];
        if (fmin(word.x2, other->x2) - fmax(word.x1, other->x1) > TOUCHING_PT &&
            fmin(word.y2, other->y2) - fmax(word.y1, other->y1) > TOUCHING_PT) {
            fail_msg("one over the other: %.100s and %.100s", other->tag, tag);
        }
    }
    assert_true(page->n < MOST_WORDS);
    page->word[page->n++] = word;
}

static void test_sheet__keeps_inside_the_page_and_words_apart(void **state)
{
    (void)state;
    static struct page page;
    for (int kind = 0; kind < N_SURVEY_KINDS; kind++) {
        struct sm_text text = {0};
        size_t n_words = 0;
        read_back(&text, kind, "pdftotext -bbox -l 8 -q");
        for (const char *s = text.data; (s = strchr(s, '<')) != NULL; s++) {
            if (strncmp(s, "<page ", 6) == 0) {
                page.width = attribute(s, "width");
                page.height = attribute(s, "height");
                page.n = 0;
            } else if (strncmp(s, "<word ", 6) == 0) {
                n_words++;
                add_word(&page, s);
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
        read_back(&text, (int)numbers[i].kind, "pdftotext -bbox -q");
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
                  {SURVEY_FEET, "Pages: 7", "(letter)"},
                  {SURVEY_EMPTY, "Pages: 1", "(A4)"}};
    for (size_t i = 0; i < sizeof sheets / sizeof sheets[0]; i++) {
        struct sm_text text = {0};
        read_back(&text, (int)sheets[i].kind, "sh -c 'pdfinfo -isodates \"$0\" > \"$1\"'");
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
        cmocka_unit_test(test_sheet__has_the_steps_of_the_trade),
        cmocka_unit_test(test_sheet__says_not_to_inflate),
        cmocka_unit_test(test_sheet__keeps_inside_the_page_and_words_apart),
        cmocka_unit_test(test_sheet__numbers_are_large),
        cmocka_unit_test(test_sheet__one_page_a_repair),
        cmocka_unit_test(test_sheet__same_input_same_bytes),
        cmocka_unit_test(test_sheet__carries_the_stills_as_they_are),
    };
    return cmocka_run_group_tests(tests, write_sheets, remove_sheets);
}
