/* From the network's columns to the odds of the slots: strange characters, digits of different widths. */
#include "counter_samples.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define N_COLUMNS 120
#define N_PICTURES 24

/** A line as the network would leave it, one px a column. */
struct line {
    float logp[N_COLUMNS * SM_GLYPH_COUNT];
    struct sm_counter__columns columns;
};

static void line_clear(struct line *line)
{
    for (size_t i = 0; i < N_COLUMNS * SM_GLYPH_COUNT; i++) {
        line->logp[i] = i % SM_GLYPH_COUNT == SM_GLYPH_BLANK ? logf(0.99f) : logf(0.0004f);
    }
    line->columns = (struct sm_counter__columns){.n = N_COLUMNS, .column_px = 1, .logp = line->logp};
}

/** A character's three columns say so with probability p. */
static void line_put(struct line *line, int32_t x, int glyph, float p)
{
    for (int32_t c = x - 1; c <= x + 1; c++) {
        line->logp[c * SM_GLYPH_COUNT + SM_GLYPH_BLANK] = logf(0.005f);
        line->logp[c * SM_GLYPH_COUNT + glyph] = logf(p);
    }
}

static int32_t width_of(char c)
{
    return c == '1' ? 6 : c == '.' ? 4 : 10;
}

/** A text set from x on in characters of their own widths; its middles go to x_px. @return their number. */
static size_t proportional(float *x_px, const char *text, int32_t x)
{
    size_t n = strlen(text);
    for (size_t i = 0; i < n; i++) {
        x_px[i] = (float)(x + width_of(text[i]) / 2);
        x += width_of(text[i]);
    }
    return n;
}

static void line_write(struct line *line, const char *text, int32_t x)
{
    float x_px[24];
    size_t n = proportional(x_px, text, x);
    line_clear(line);
    for (size_t i = 0; i < n; i++) {
        line_put(line, (int32_t)x_px[i], (int)sm_counter__glyph_of((uint8_t)text[i]), 0.97f);
    }
}

static void test_slot__strange_character_tells_no_digit(void **state)
{
    (void)state;
    struct line line;
    uint8_t cost[SM_COUNTER_N_MARKS];
    line_clear(&line);
    line_put(&line, 50, SM_GLYPH_OTHER, 0.95f);
    line_put(&line, 50, SM_GLYPH_0 + 7, 0.02f);
    struct sm_counter__slot slot = {.x_px = 50, .pitch_px = 10, .has_digit = true};
    sm_counter__slot_sight(cost, &line.columns, NULL, &slot);
    assert_true(cost[1] - cost[7] < SM_COUNTER_COST_SCALE); /* less than one nat */
    slot.has_digit = false;
    sm_counter__slot_sight(cost, &line.columns, NULL, &slot);
    assert_true(cost[SM_COUNTER_NO_DIGIT] < cost[7]);
    assert_true(cost[7] > 3 * SM_COUNTER_COST_SCALE);
}

/** "13 52.6": a name before the number, a blank between them. */
static void test_slots__a_number_ends_at_a_blank(void **state)
{
    (void)state;
    static const char text[] = "31 25"; /* from the right: 5, 2, nothing, 1, 3 */
    struct line line;
    uint8_t cost[5][SM_COUNTER_N_MARKS];
    line_clear(&line);
    for (int k = 0; k < 5; k++) {
        if (text[4 - k] != ' ') {
            line_put(&line, 90 - 10 * k, SM_GLYPH_0 + (text[4 - k] - '0'), 0.97f);
        }
    }
    for (int k = 0; k < 5; k++) {
        const struct sm_counter__slot slot = {
            .x_px = 90.0f - 10.0f * (float)k, .pitch_px = 10, .has_digit = k < 2};
        sm_counter__slot_sight(cost[k], &line.columns, NULL, &slot);
    }
    assert_true(cost[3][1] < cost[3][SM_COUNTER_NO_DIGIT]);
    sm_counter__end_at_blank(cost, 2, 5);
    for (int k = 3; k < 5; k++) {
        assert_true(cost[k][SM_COUNTER_NO_DIGIT] < SM_COUNTER_COST_SCALE / 4);
        assert_true(cost[k][text[4 - k] - '0'] > 3 * SM_COUNTER_COST_SCALE);
    }
    assert_true(cost[1][2] < SM_COUNTER_COST_SCALE / 2);
}

static void test_slot__known_digit_stays_sure(void **state)
{
    (void)state;
    struct line line;
    uint8_t cost[SM_COUNTER_N_MARKS];
    line_clear(&line);
    line_put(&line, 50, SM_GLYPH_0 + 4, 0.98f);
    const struct sm_counter__slot slot = {.x_px = 50, .pitch_px = 10, .has_digit = true};
    sm_counter__slot_sight(cost, &line.columns, NULL, &slot);
    for (int mark = 0; mark < SM_COUNTER_N_MARKS; mark++) {
        assert_true(mark == 4 ? cost[mark] <= 1 : cost[mark] > 3 * SM_COUNTER_COST_SCALE);
    }
}

/** 98.7, 99.1, ... 108: the text starts at the same place and every 1 draws what follows to the left. */
static enum sm_status add_proportional(struct sm_counter__fields *fields)
{
    for (int i = 0; i < N_PICTURES; i++) {
        struct sm_counter__glyph_seen glyph[SM_COUNTER_MAX_GLYPHS];
        struct sm_counter__token token[8];
        char text[16];
        float x_px[24];
        snprintf(text, sizeof text, "%.1f", 104.5 + 0.4 * i);
        size_t n = proportional(x_px, text, 30);
        for (size_t k = 0; k < n; k++) {
            glyph[k] = (struct sm_counter__glyph_seen){
                x_px[k], (uint8_t)sm_counter__glyph_of((uint8_t)text[k]), 0.97f};
        }
        size_t n_tokens = sm_counter__tokens(token, 8, glyph, n, 9, i * 5.0);
        enum sm_status status = sm_counter__fields_add(fields, 0, token, n_tokens, NULL);
        if (status != SM_OK) {
            return status;
        }
    }
    return SM_OK;
}

static void test_loose__digits_are_found_where_they_stand(void **state)
{
    (void)state;
    struct sm_counter__fields fields = {0};
    struct sm_counter__layout layout;
    struct sm_counter__text_line text_line = {
        .x1_px = N_COLUMNS, .top_px = 30, .baseline_px = 48, .weight_y = 1};
    assert_int_equal(add_proportional(&fields), SM_OK);
    sm_counter__fields_judge(&fields, N_PICTURES);
    assert_int_equal(sm_counter__layout_learn(&layout, &fields.item[0], &text_line, NULL), SM_OK);
    assert_true(layout.is_loose);
    static const struct {
        const char *text;
        int64_t counts;
    } seen[] = {{"111.1", 1111}, {"104.8", 1048}, {"110.9", 1109}, {"99.7", 997}, {"-0.3", -3}};
    for (size_t i = 0; i < sizeof seen / sizeof *seen; i++) {
        struct line line;
        struct sm_counter__sighting sighting = {.time_s = 1};
        int64_t counts = 0;
        double margin_nats = 0;
        line_write(&line, seen[i].text, 30);
        sm_counter__sight_loose(&sighting, &line.columns, &layout);
        assert_true(sm_counter__alone(&counts, &margin_nats, &sighting, &layout));
        assert_int_equal(counts, seen[i].counts);
        assert_true(margin_nats > 2);
    }
    sm_counter__fields_release(&fields);
}

/** A narrow leading 1 that is but half seen is no part of the number found, but its absence is not sure
 * either. */
static void test_loose__half_seen_leading_digit_leaves_doubt(void **state)
{
    (void)state;
    struct sm_counter__layout layout = sample_layout(5, 1, 0, SM_UNIT_M);
    layout.is_loose = true;
    layout.pitch_px = 10;
    layout.line = (struct sm_counter__text_line){.x0_px = 25, .x1_px = 70};
    struct line line;
    struct sm_counter__sighting sighting = {.time_s = 1};
    int64_t counts = 0;
    double margin_nats = 0;
    line_write(&line, "22.3", 40);
    line_put(&line, 37, SM_GLYPH_0 + 1, 0.28f);
    sm_counter__sight_loose(&sighting, &line.columns, &layout);
    assert_true(sm_counter__alone(&counts, &margin_nats, &sighting, &layout));
    assert_int_equal(counts, 223);
    assert_true(margin_nats < 2);
}

static void test_loose__picture_without_the_number_shows_nothing(void **state)
{
    (void)state;
    struct sm_counter__layout layout = sample_layout(5, 1, 0, SM_UNIT_M);
    layout.is_loose = true;
    layout.pitch_px = 9;
    layout.line = (struct sm_counter__text_line){.x0_px = 25, .x1_px = 70};
    static const char *const text[] = {"", "AZ", "12", "9.87"};
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        struct line line;
        struct sm_counter__sighting sighting = {.time_s = 1};
        int64_t counts;
        double margin_nats;
        line_write(&line, text[i], 30);
        sm_counter__sight_loose(&sighting, &line.columns, &layout);
        assert_false(sm_counter__alone(&counts, &margin_nats, &sighting, &layout));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_slot__strange_character_tells_no_digit),
        cmocka_unit_test(test_slots__a_number_ends_at_a_blank),
        cmocka_unit_test(test_slot__known_digit_stays_sure),
        cmocka_unit_test(test_loose__digits_are_found_where_they_stand),
        cmocka_unit_test(test_loose__half_seen_leading_digit_leaves_doubt),
        cmocka_unit_test(test_loose__picture_without_the_number_shows_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
