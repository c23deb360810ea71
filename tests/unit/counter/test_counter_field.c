#include "counter_samples.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define N_PICTURES 24

/** What a line shows in picture i, seconds i * 5. */
typedef void line_fn(char text[64], int i);

static enum sm_status add_line(struct sm_counter__fields *fields, size_t line_idx, line_fn *line)
{
    for (int i = 0; i < N_PICTURES; i++) {
        struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
        struct sm_counter__token tokens[8];
        char text[64];
        line(text, i);
        size_t n = sample_glyphs(glyphs, text, 20, 12);
        size_t n_tokens = sm_counter__tokens(tokens, 8, glyphs, n, 12, i * 5.0);
        enum sm_status status = sm_counter__fields_add(fields, line_idx, tokens, n_tokens, NULL);
        if (status != SM_OK) {
            return status;
        }
    }
    return SM_OK;
}

/** Two seconds of travel, three of standstill. */
static double travelled_m(int i)
{
    return 0.2 * i + (i % 3 == 0 ? 0.04 : 0);
}
static void counter_m(char text[64], int i)
{
    snprintf(text, 64, "%05.2f m", travelled_m(i));
}
static void counter_bare(char text[64], int i)
{
    snprintf(text, 64, "%06.1f", travelled_m(i) / 0.3048);
}
static void clock_line(char text[64], int i)
{
    snprintf(text, 64, "09:%02d:%02d", 41 + i * 5 / 60, i * 5 % 60);
}
static void date_line(char text[64], int i)
{
    (void)i;
    snprintf(text, 64, "2031-03-14");
}
static void temperature_line(char text[64], int i)
{
    snprintf(text, 64, "12.%d%%", i % 4);
}
static void seconds_line(char text[64], int i)
{
    snprintf(text, 64, "%04d", 100 + i * 5);
}
static void tenths_line(char text[64], int i)
{
    snprintf(text, 64, "%06.1f", 2.3 + i * 5.0);
}
static void diameter_line(char text[64], int i)
{
    (void)i;
    snprintf(text, 64, "300 mm");
}
static void noise_line(char text[64], int i)
{
    snprintf(text, 64, "%d.%d", (i * i * 7919) % 83 + 10, (i * 31) % 10);
}

/** A clock on a bright wall, its dots taken for digits: 10:58:50 and on. */
static void clock_as_digits(char text[64], int i)
{
    int s = 58 * 60 + 50 + i * 5;
    snprintf(text, 64, "10%d%02d8%02d", s / 3600 ? 1 : 8, s / 60 % 60, s % 60);
}
/** Feet whose stroke is taken for a ring. */
static void counter_ringed(char text[64], int i)
{
    snprintf(text, 64, "%06.1f\xb0", travelled_m(i) / 0.3048);
}
static void slope_line(char text[64], int i)
{
    snprintf(text, 64, "%.1f\xb0", 0.2 * (i < 12 ? i : 24 - i));
}
static void warmth_line(char text[64], int i)
{
    snprintf(text, 64,
             "%.1f\xb0"
             "C",
             11.0 + 0.1 * i);
}

static void gauge_line(char text[64], int i)
{
    snprintf(text, 64, "12.%d C", 5 + (i % 8 < 4 ? i % 4 : 4 - i % 4));
}
static void pressure_line(char text[64], int i)
{
    snprintf(text, 64, "0.%d", 3 + (i % 6 < 3 ? i % 3 : 3 - i % 3));
}

/** An open 4 that passes for a plus, from 38 m on. */
static void counter_open_four(char text[64], int i)
{
    snprintf(text, 64, "%06.2f m", 38 + travelled_m(i));
    for (char *c = text; *c; c++) {
        *c = *c == '4' ? '+' : *c;
    }
}
/** A date whose strokes now and then pass for 1s. */
static void date_of_ones(char text[64], int i)
{
    snprintf(text, 64, i % 2 ? "24/06/31" : "24106131");
}

static void check_score(line_fn *line, double low, double high, enum sm_counter__suffix suffix)
{
    struct sm_counter__fields fields = {0};
    assert_int_equal(add_line(&fields, 0, line), SM_OK);
    sm_counter__fields_judge(&fields, N_PICTURES);
    assert_true(fields.n > 0);
    print_message("%s: %.2f, %s\n", fields.item[0].token[0].text, fields.item[0].score,
                  fields.item[0].verdict);
    assert_true(fields.item[0].score > low && fields.item[0].score < high);
    assert_int_equal(fields.item[0].suffix, suffix);
    sm_counter__fields_release(&fields);
}

static void test_judge__time_running_on_is_no_counter(void **state)
{
    (void)state;
    check_score(clock_as_digits, -20, 2.5, SM_SUFFIX_NONE);
    check_score(tenths_line, -20, 2.5, SM_SUFFIX_NONE);
}

static void test_judge__ring_behind_a_number_that_travels_means_feet(void **state)
{
    (void)state;
    check_score(counter_ringed, 6, 20, SM_SUFFIX_FT);
    check_score(slope_line, -20, 2, SM_SUFFIX_DEGREE);
    check_score(warmth_line, -20, 2.5, SM_SUFFIX_DEGREE);
}

static void test_judge__number_that_wavers_is_a_gauge(void **state)
{
    (void)state;
    check_score(gauge_line, -20, 2, SM_SUFFIX_LETTER);
    check_score(pressure_line, -20, 2, SM_SUFFIX_NONE);
}

static void test_judge__misread_digit_makes_no_date_of_a_counter(void **state)
{
    (void)state;
    check_score(counter_open_four, 4, 20, SM_SUFFIX_M);
    check_score(date_of_ones, -20, 2.5, SM_SUFFIX_NONE);
}

static void check_chosen(line_fn *counter)
{
    struct sm_counter__fields fields = {0};
    line_fn *lines[] = {clock_line, date_line,     temperature_line, seconds_line,
                        counter,    diameter_line, noise_line};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        assert_int_equal(add_line(&fields, i, lines[i]), SM_OK);
    }
    sm_counter__fields_judge(&fields, N_PICTURES);
    for (size_t i = 0; i < fields.n; i++) {
        print_message("line %zu %-12s %6.2f %s\n", fields.item[i].line_idx, fields.item[i].token[0].text,
                      fields.item[i].score, fields.item[i].verdict);
    }
    assert_int_equal(fields.item[0].line_idx, 4);
    assert_true(fields.item[0].score - fields.item[1].score > 1.5);
    sm_counter__fields_release(&fields);
}

static void test_judge__counter_with_unit(void **state)
{
    (void)state;
    check_chosen(counter_m);
}

static void test_judge__counter_without_unit(void **state)
{
    (void)state;
    check_chosen(counter_bare);
}

static void test_layout__slots_decimals_and_leading_zeros(void **state)
{
    (void)state;
    struct sm_counter__fields fields = {0};
    struct sm_counter__layout layout;
    struct sm_counter__text_line line = {.top_px = 30, .baseline_px = 48, .weight_y = 1};
    struct sm_error err;
    assert_int_equal(add_line(&fields, 0, counter_bare), SM_OK);
    sm_counter__fields_judge(&fields, N_PICTURES);
    assert_ok(sm_counter__layout_learn(&layout, &fields.item[0], &line, &err), &err);
    assert_int_equal(layout.decimals, 1);
    assert_int_equal(layout.fixed_digits, 5);
    assert_close((double)layout.anchor_px[0], 20 + 5 * 12, 0.01);
    assert_close((double)layout.separator_offset_px, -12, 0.01);
    assert_close((double)layout.slot_offset_px[1], -24, 0.01);
    assert_close((double)layout.slot_offset_px[4], -60, 0.01);
    sm_counter__fields_release(&fields);
}

/** As counter_bare, its 1s a third of a cell to the right, as on segment displays. */
static enum sm_status add_leaning_ones(struct sm_counter__fields *fields)
{
    for (int i = 0; i < N_PICTURES; i++) {
        struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
        struct sm_counter__token tokens[8];
        char text[64];
        counter_bare(text, i);
        size_t n = sample_glyphs(glyphs, text, 20, 12);
        for (size_t k = 0; k < n; k++) {
            glyphs[k].x_px += glyphs[k].glyph == SM_GLYPH_0 + 1 ? 4 : 0;
        }
        size_t n_tokens = sm_counter__tokens(tokens, 8, glyphs, n, 12, i * 5.0);
        enum sm_status status = sm_counter__fields_add(fields, 0, tokens, n_tokens, NULL);
        if (status != SM_OK) {
            return status;
        }
    }
    return SM_OK;
}

static void test_layout__ones_that_lean_right_do_not_shift_their_cells(void **state)
{
    (void)state;
    struct sm_counter__fields fields = {0};
    struct sm_counter__layout layout;
    struct sm_counter__text_line line = {.top_px = 30, .baseline_px = 48, .weight_y = 1};
    struct sm_error err;
    assert_int_equal(add_leaning_ones(&fields), SM_OK);
    sm_counter__fields_judge(&fields, N_PICTURES);
    assert_ok(sm_counter__layout_learn(&layout, &fields.item[0], &line, &err), &err);
    assert_int_equal(layout.n_anchors, 1);
    assert_close((double)layout.anchor_px[0], 20 + 5 * 12, 0.01);
    assert_close((double)layout.one_shift_px, 4, 0.01);
    for (int k = 1; k < 5; k++) {
        assert_close((double)layout.slot_offset_px[k], -12 * (k + 1), 0.01);
    }
    sm_counter__fields_release(&fields);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_judge__counter_with_unit),
        cmocka_unit_test(test_judge__counter_without_unit),
        cmocka_unit_test(test_judge__time_running_on_is_no_counter),
        cmocka_unit_test(test_judge__ring_behind_a_number_that_travels_means_feet),
        cmocka_unit_test(test_judge__misread_digit_makes_no_date_of_a_counter),
        cmocka_unit_test(test_judge__number_that_wavers_is_a_gauge),
        cmocka_unit_test(test_layout__slots_decimals_and_leading_zeros),
        cmocka_unit_test(test_layout__ones_that_lean_right_do_not_shift_their_cells),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
