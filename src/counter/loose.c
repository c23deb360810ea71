/*
 * One picture -> odds of every digit, where digits are of different widths: a narrow 1 moves all that stands
 * left or right of it. So the number is looked for in each picture, and its own digits say where they stand.
 */
#include "counter_internal.h"

#include <math.h>
#include <string.h>

#define MAX_TOKENS 12
#define NARROW_SHARE 0.35f /* of the pitch, by which a narrow digit stands nearer or farther */

/** Nothing of a counter: no digit and no decimal sign anywhere. */
static void show_nothing(struct sm_counter__sighting *sighting, const struct sm_counter__layout *layout)
{
    for (int32_t k = 0; k < layout->n_slots; k++) {
        memset(sighting->cost[0][k], 255, SM_COUNTER_N_MARKS);
        sighting->cost[0][k][SM_COUNTER_NO_DIGIT] = 0;
    }
    sighting->separator_cost[0] = 255;
    sighting->no_separator_cost[0] = 0;
}

/** How well a token fits: its share of the counter's stretch; 0 for another form or place. */
static float fit_of(const struct sm_counter__token *token, const struct sm_counter__layout *layout)
{
    if (token->kind != SM_TOKEN_NUMBER || token->decimals != layout->decimals ||
        token->n_digits > layout->n_slots) {
        return 0;
    }
    float shared = fminf(token->x1_px, layout->line.x1_px) - fmaxf(token->x0_px, layout->line.x0_px);
    return shared > 0.5f * (token->x1_px - token->x0_px) ? shared : 0;
}

/** Slots left of the number: a digit of any width may stand there unseen. */
static void sight_left_of(struct sm_counter__sighting *sighting, const struct sm_counter__columns *columns,
                          const struct sm_counter__token *token, const struct sm_counter__layout *layout)
{
    float x_px = token->digit_px[token->n_digits - 1];
    for (int32_t k = token->n_digits; k < layout->n_slots; k++) {
        x_px -= layout->pitch_px;
        const struct sm_counter__slot slot = {
            .x_px = x_px, .pitch_px = layout->pitch_px, .reach_px = NARROW_SHARE * layout->pitch_px};
        sm_counter__slot_sight(sighting->cost[0][k], columns, NULL, &slot);
    }
    sm_counter__end_at_blank(sighting->cost[0], token->n_digits, layout->n_slots);
}

void sm_counter__sight_loose(struct sm_counter__sighting *sighting, const struct sm_counter__columns *columns,
                             const struct sm_counter__layout *layout)
{
    struct sm_counter__glyph_seen glyph[SM_COUNTER_MAX_GLYPHS];
    struct sm_counter__token token[MAX_TOKENS];
    size_t n_glyphs = sm_counter__columns_glyphs(glyph, columns), best = 0;
    size_t n = sm_counter__tokens(token, MAX_TOKENS, glyph, n_glyphs, layout->pitch_px, sighting->time_s);
    for (size_t i = 1; i < n; i++) {
        best = fit_of(&token[i], layout) > fit_of(&token[best], layout) ? i : best;
    }
    if (n == 0 || fit_of(&token[best], layout) <= 0) {
        show_nothing(sighting, layout);
        return;
    }
    for (int32_t k = 0; k < token[best].n_digits; k++) {
        const struct sm_counter__slot slot = {.x_px = token[best].digit_px[k], .has_digit = true};
        sm_counter__slot_sight(sighting->cost[0][k], columns, NULL, &slot);
    }
    sight_left_of(sighting, columns, &token[best], layout);
    if (layout->decimals > 0) {
        sm_counter__separator_sight(sighting, 0, columns, token[best].separator_px);
    }
}
