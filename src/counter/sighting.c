/* One picture -> odds of every digit in every slot of the known layout. */
#include "counter_internal.h"

#include <math.h>
#include <string.h>

static uint8_t cost_of(float logp)
{
    float cost = -logp * SM_COUNTER_COST_SCALE;
    return cost <= 0 ? 0 : cost >= 255 ? 255 : (uint8_t)lrintf(cost);
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

/**
 * @param one_shift_px of a 1 from the middle of its cell.
 * @param pitch_px a sign is narrower than a digit and stands up to so much of it nearer to the number.
 */
static void slot_sight(uint8_t cost[SM_COUNTER_N_MARKS], const struct sm_counter__columns *columns,
                       const struct sm_counter__faces *faces, float x_px, float one_shift_px, float pitch_px)
{
    float sign_px = x_px + 0.4f * pitch_px;
    float digit[10], total = 0;
    for (int d = 0; d < 10; d++) {
        digit[d] = class_logp(columns, d == 1 ? x_px + one_shift_px : x_px, SM_GLYPH_0 + d);
        total += expf(digit[d]);
    }
    /* Taking the best of three columns can make the ten add up to more than one. */
    float excess = total > 1 ? logf(total) : 0;
    for (int d = 0; d < 10; d++) {
        digit[d] -= excess;
    }
    if (faces && faces->is_ready) {
        sm_counter__faces_judge(digit, faces, columns, x_px);
    }
    for (int d = 0; d < 10; d++) {
        cost[d] = cost_of(digit[d]);
    }
    float minus = class_between(columns, x_px, sign_px, SM_GLYPH_MINUS);
    float none = 1 - fminf(total + expf(minus), 0.9999f);
    cost[SM_COUNTER_NO_DIGIT] = cost_of(logf(none));
    /* A short low minus passes for an underscore; where digits follow, it is none. */
    float low = class_between(columns, x_px, sign_px, SM_GLYPH_UNDERSCORE);
    cost[SM_COUNTER_MINUS] = cost_of(logf(fminf(0.9999f, expf(minus) + 0.9f * expf(low))));
}

static void separator_sight(struct sm_counter__sighting *s, int32_t anchor,
                            const struct sm_counter__columns *columns, float x_px)
{
    float point = class_logp(columns, x_px, SM_GLYPH_POINT),
          comma = class_logp(columns, x_px, SM_GLYPH_COMMA);
    float either = fminf(0.9999f, expf(point) + expf(comma));
    s->separator_cost[anchor] = cost_of(logf(fmaxf(either, 1e-7f)));
    s->no_separator_cost[anchor] = cost_of(logf(1 - either));
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
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        for (int32_t k = 0; k < layout->n_slots; k++) {
            slot_sight(sighting->cost[a][k], &columns, faces,
                       layout->anchor_px[a] + layout->slot_offset_px[k], layout->one_shift_px,
                       k > 0 ? layout->slot_offset_px[k - 1] - layout->slot_offset_px[k] : 0);
        }
        separator_sight(sighting, a, &columns, layout->anchor_px[a] + layout->separator_offset_px);
    }
    return SM_OK;
}
