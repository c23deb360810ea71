#include "counter_samples.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *text;
    size_t n_tokens;
    enum sm_counter__token_kind kind; /* of the first */
    enum sm_counter__suffix suffix;
    int64_t counts;
    int32_t decimals;
} cases[] = {
    {"12.34 m", 1, SM_TOKEN_NUMBER, SM_SUFFIX_M, 1234, 2},
    {"0045.8'", 1, SM_TOKEN_NUMBER, SM_SUFFIX_FT, 458, 1},
    {"D: 41,42m", 1, SM_TOKEN_NUMBER, SM_SUFFIX_M, 4142, 2},
    {"-0.30 m", 1, SM_TOKEN_NUMBER, SM_SUFFIX_M, -30, 2},
    {"0123.4 FT", 1, SM_TOKEN_NUMBER, SM_SUFFIX_FT, 1234, 1},
    {"09:41:07", 1, SM_TOKEN_CLOCK, SM_SUFFIX_NONE, 94107, 0},
    {"2031-03-14", 1, SM_TOKEN_DATE, SM_SUFFIX_NONE, 20310314, 0},
    {"14.03.2031", 1, SM_TOKEN_DATE, SM_SUFFIX_NONE, 14032031, 4},
    {"06/24/10", 1, SM_TOKEN_DATE, SM_SUFFIX_NONE, 62410, 0},
    {"0.2%", 1, SM_TOKEN_NUMBER, SM_SUFFIX_PERCENT, 2, 1},
    {"0.12m/s", 1, SM_TOKEN_NUMBER, SM_SUFFIX_LETTER, 12, 2},
    {"12.6 C", 1, SM_TOKEN_NUMBER, SM_SUFFIX_LETTER, 126, 1},
    {"18\xb0"
     "C",
     1, SM_TOKEN_NUMBER, SM_SUFFIX_DEGREE, 18, 0},
    {"1.4\xb0  A", 1, SM_TOKEN_NUMBER, SM_SUFFIX_RING, 14, 1},
    {"300 mm", 1, SM_TOKEN_NUMBER, SM_SUFFIX_MM, 300, 0},
    {"064_39 m", 1, SM_TOKEN_NUMBER, SM_SUFFIX_M, 6439, 2}, /* a point in wide cells */
    {"D:__.__M", 1, SM_TOKEN_PLACEHOLDER, SM_SUFFIX_M, 0, 0},
    {"A B C", 0, SM_TOKEN_NUMBER, SM_SUFFIX_NONE, 0, 0},
    {"12.3 m   09:41", 2, SM_TOKEN_NUMBER, SM_SUFFIX_M, 123, 1},
    {"ends at 7.", 1, SM_TOKEN_NUMBER, SM_SUFFIX_NONE, 7, 0},
};

static void test_tokens__table(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
        struct sm_counter__token tokens[8];
        size_t n = sample_glyphs(glyphs, cases[i].text, 100, 14);
        size_t n_tokens = sm_counter__tokens(tokens, 8, glyphs, n, 14, 1.0);
        print_message("%s\n", cases[i].text);
        assert_int_equal(n_tokens, cases[i].n_tokens);
        if (n_tokens == 0) {
            continue;
        }
        assert_int_equal(tokens[0].kind, cases[i].kind);
        if (cases[i].kind == SM_TOKEN_NUMBER) {
            assert_int_equal(tokens[0].suffix, cases[i].suffix);
            assert_int_equal(tokens[0].counts, cases[i].counts);
            assert_int_equal(tokens[0].decimals, cases[i].decimals);
        }
    }
}

/** A digit that passes for a letter keeps its place; a letter before or behind a number stays one. */
static void test_tokens__hole_in_a_number(void **state)
{
    (void)state;
    struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
    struct sm_counter__token tokens[8];
    size_t n = sample_glyphs(glyphs, "0A8.83 m", 100, 14);
    assert_int_equal(sm_counter__tokens(tokens, 8, glyphs, n, 14, 1.0), 1);
    assert_true(tokens[0].has_hole);
    assert_int_equal(tokens[0].n_digits, 5);
    assert_int_equal(tokens[0].decimals, 2);
    assert_true(tokens[0].p_least < 0.4f);
    n = sample_glyphs(glyphs, "A18.83C", 100, 14);
    assert_int_equal(sm_counter__tokens(tokens, 8, glyphs, n, 14, 1.0), 1);
    assert_false(tokens[0].has_hole);
    assert_int_equal(tokens[0].counts, 1883);
}

static void test_pitch__blanks_do_not_stretch_it(void **state)
{
    (void)state;
    static struct sm_counter__glyph_seen glyphs[2 * SM_COUNTER_MAX_GLYPHS];
    size_t n[2];
    n[0] = sample_glyphs(glyphs, "12.34 m  1  2  09:41", 0, 10);
    n[1] = sample_glyphs(glyphs + SM_COUNTER_MAX_GLYPHS, "no digits", 0, 10);
    assert_close((double)sm_counter__pitch(glyphs, n, 2), 10, 0.01);
    assert_close((double)sm_counter__pitch(glyphs + SM_COUNTER_MAX_GLYPHS, n + 1, 1), 0, 0);
    n[0] = sample_glyphs(glyphs, "D: 0.7 m", 0, 10);
    assert_close((double)sm_counter__pitch(glyphs, n, 1), 12, 0.01);
}

/** A small clock beside a large counter on one line must not tear the counter apart. */
static void test_tokens__fields_of_two_sizes(void **state)
{
    (void)state;
    struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
    struct sm_counter__token tokens[8];
    size_t n = sample_glyphs(glyphs, "000.46", 25, 12);
    n += sample_glyphs(glyphs + n, "15:31:29", 150, 7);
    size_t n_tokens = sm_counter__tokens(tokens, 8, glyphs, n, 7, 1.0);
    assert_int_equal(n_tokens, 2);
    assert_int_equal(tokens[0].counts, 46);
    assert_int_equal(tokens[0].n_digits, 5);
    assert_int_equal(tokens[1].kind, SM_TOKEN_CLOCK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_tokens__table),
        cmocka_unit_test(test_tokens__hole_in_a_number),
        cmocka_unit_test(test_tokens__fields_of_two_sizes),
        cmocka_unit_test(test_pitch__blanks_do_not_stretch_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
