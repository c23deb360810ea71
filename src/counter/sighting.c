/* One picture -> odds of every digit in every slot of the known layout. */
#include "counter_internal.h"

#include <math.h>
#include <string.h>

#define STRANGER_IN_NUMBER                                                                                   \
    0.3f                      /* share of a strange character's probability that all digits have together    \
                               */
#define BLANK_DOUBT 0.02f     /* least probability that a number goes on beyond an empty slot */
#define STRANGER_BESIDE 0.03f /* where it may as well belong to the words beside the number */

static uint8_t cost_of(float logp)
{
    float cost = -logp * SM_COUNTER_COST_SCALE;
    return cost <= 0 ? 0 : cost >= 255 ? 255 : (uint8_t)lrintf(cost);
}

static float probability_of(uint8_t cost)
{
    return expf(-(float)cost / SM_COUNTER_COST_SCALE);
}

/** The best a class does from x0 to x1 and one column more on each side: a character's middle may be a column
 * off. */
static float class_between(const struct sm_counter__columns *columns, float x0_px, float x1_px, int glyph)
{
    int32_t first = (int32_t)lrintf((x0_px - columns->x0_px) / columns->column_px) - 1;
    int32_t last = (int32_t)lrintf((x1_px - columns->x0_px) / columns->column_px) + 1;
    float best = -30;
    for (int32_t k = first < 0 ? 0 : first; k <= last && k < columns->n; k++) {
        best = fmaxf(best, columns->logp[(size_t)k * SM_GLYPH_COUNT + (size_t)glyph]);
    }
    return best;
}

static float class_logp(const struct sm_counter__columns *columns, float x_px, int glyph)
{
    return class_between(columns, x_px, x_px, glyph);
}

/** What is there but no digit the network knows: a face it has not seen, or a letter of the words before the
 * number. */
static float stranger(const struct sm_counter__columns *columns, float x_px)
{
    static const uint8_t glyph[] = {SM_GLYPH_OTHER, SM_GLYPH_PLUS, SM_GLYPH_SLASH,
                                    SM_GLYPH_M,     SM_GLYPH_F,    SM_GLYPH_T};
    float sum = 0;
    for (size_t i = 0; i < sizeof glyph; i++) {
        sum += expf(class_logp(columns, x_px, glyph[i]));
    }
    return fminf(sum, 1);
}

void sm_counter__slot_sight(uint8_t cost[SM_COUNTER_N_MARKS], const struct sm_counter__columns *columns,
                            const struct sm_counter__faces *faces, const struct sm_counter__slot *slot)
{
    float sign_px = slot->x_px + 0.4f * slot->pitch_px;
    float digit[10], total = 0;
    for (int d = 0; d < 10; d++) {
        float x_px = slot->x_px + (d == 1 ? slot->one_shift_px : 0);
        digit[d] = class_between(columns, x_px - slot->reach_px, x_px + slot->reach_px, SM_GLYPH_0 + d);
        total += expf(digit[d]);
    }
    /* Taking the best of three columns can make the ten add up to more than one. */
    float excess = total > 1 ? logf(total) : 0;
    /* Any digit may look strange: which one cannot be told from what little of it looks like this or that
     * digit. */
    float any =
        (slot->has_digit ? STRANGER_IN_NUMBER : STRANGER_BESIDE) * 0.1f * stranger(columns, slot->x_px);
    for (int d = 0; d < 10; d++) {
        digit[d] = logf(expf(digit[d] - excess) + any);
    }
    if (faces && faces->is_ready) {
        sm_counter__faces_judge(digit, faces, columns, slot->x_px);
    }
    for (int d = 0; d < 10; d++) {
        cost[d] = cost_of(digit[d]);
    }
    float minus = class_between(columns, slot->x_px, sign_px, SM_GLYPH_MINUS);
    float none = 1 - fminf(total + expf(minus), 0.9999f);
    cost[SM_COUNTER_NO_DIGIT] = cost_of(logf(none));
    /* A short low minus passes for an underscore; where digits follow, it is none. */
    float low = class_between(columns, slot->x_px, sign_px, SM_GLYPH_UNDERSCORE);
    cost[SM_COUNTER_MINUS] = cost_of(logf(fminf(0.9999f, expf(minus) + 0.9f * expf(low))));
}

/**
 * A number has no blanks in it: what stands to the left of a slot that is surely empty are other words, T13
 * before 53.0. Not beyond all doubt, since a digit can drown in glare.
 */
void sm_counter__end_at_blank(uint8_t cost[][SM_COUNTER_N_MARKS], int32_t n_required, int32_t n_slots)
{
    float reach = 1; /* that the number goes on to this slot */
    for (int32_t k = n_required; k < n_slots; k++) {
        float here = 0;
        for (int d = 0; d < 10; d++) {
            here += probability_of(cost[k][d]);
            cost[k][d] = cost_of(logf(fmaxf(reach * probability_of(cost[k][d]), 1e-8f)));
        }
        float something = 1 - probability_of(cost[k][SM_COUNTER_NO_DIGIT]);
        cost[k][SM_COUNTER_NO_DIGIT] = cost_of(logf(fmaxf(1 - reach * something, 1e-4f)));
        reach = fmaxf(reach * fminf(here, 1), BLANK_DOUBT);
    }
}

void sm_counter__separator_sight(struct sm_counter__sighting *s, int32_t anchor,
                                 const struct sm_counter__columns *columns, float x_px)
{
    float point = class_logp(columns, x_px, SM_GLYPH_POINT),
          comma = class_logp(columns, x_px, SM_GLYPH_COMMA),
          low_bar = class_logp(columns, x_px, SM_GLYPH_UNDERSCORE); /* a point in cells wider than high */
    float either = fminf(0.9999f, expf(point) + expf(comma) + expf(low_bar));
    s->separator_cost[anchor] = cost_of(logf(fmaxf(either, 1e-7f)));
    s->no_separator_cost[anchor] = cost_of(logf(1 - either));
}

/** Slots that hold a digit in every number. */
static int32_t required_slots(const struct sm_counter__layout *layout)
{
    return layout->fixed_digits > layout->decimals ? layout->fixed_digits : layout->decimals + 1;
}

enum sm_status sm_counter__sight(struct sm_counter__sighting *sighting, struct sm_counter__reader *reader,
                                 const struct sm_image *image, const struct sm_counter__layout *layout,
                                 const struct sm_counter__faces *faces, double time_s, struct sm_error *err)
{
    struct sm_counter__columns columns;
    enum sm_status status = sm_counter__reader_columns(&columns, reader, image, &layout->read_line, err);
    if (status != SM_OK) {
        return status;
    }
    memset(sighting, 0, sizeof *sighting);
    sighting->time_s = time_s;
    if (layout->is_loose) {
        sm_counter__sight_loose(sighting, &columns, layout);
        return SM_OK;
    }
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        for (int32_t k = 0; k < layout->n_slots; k++) {
            const struct sm_counter__slot slot = {
                .x_px = layout->anchor_px[a] + layout->slot_offset_px[k],
                .one_shift_px = layout->one_shift_px,
                .pitch_px = k > 0 ? layout->slot_offset_px[k - 1] - layout->slot_offset_px[k] : 0,
                .has_digit = k < required_slots(layout),
            };
            sm_counter__slot_sight(sighting->cost[a][k], &columns, faces, &slot);
        }
        sm_counter__end_at_blank(sighting->cost[a], required_slots(layout), layout->n_slots);
        sm_counter__separator_sight(sighting, a, &columns,
                                    layout->anchor_px[a] + layout->separator_offset_px);
    }
    return SM_OK;
}
