/* One picture -> odds of every digit in every slot of the known layout. */
#include "counter_internal.h"

#include <math.h>
#include <string.h>

static uint8_t cost_of(float logp)
{
    float cost = -logp * SM_COUNTER_COST_SCALE;
    return cost <= 0 ? 0 : cost >= 255 ? 255 : (uint8_t)lrintf(cost);
}

/** The best a class does on the columns around x: a character's middle may be a column off. */
static float class_logp(const struct sm_counter__columns *columns, float x_px, int glyph)
{
    float c = (x_px - columns->x0_px) / columns->column_px;
    int32_t near = (int32_t)lrintf(c);
    float best = -30;
    for (int32_t k = near - 1; k <= near + 1; k++) {
        if (k >= 0 && k < columns->n) {
            best = fmaxf(best, columns->logp[(size_t)k * SM_GLYPH_COUNT + (size_t)glyph]);
        }
    }
    return best;
}

static void slot_sight(uint8_t cost[SM_COUNTER_N_MARKS], const struct sm_counter__columns *columns,
                       const struct sm_counter__faces *faces, float x_px)
{
    float digit[10], total = 0;
    for (int d = 0; d < 10; d++) {
        digit[d] = class_logp(columns, x_px, SM_GLYPH_0 + d);
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
    float minus = class_logp(columns, x_px, SM_GLYPH_MINUS);
    float none = 1 - fminf(total + expf(minus), 0.9999f);
    cost[SM_COUNTER_NO_DIGIT] = cost_of(logf(none));
    /* A short low minus passes for an underscore; where digits follow, it is none. */
    float low = class_logp(columns, x_px, SM_GLYPH_UNDERSCORE);
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
                       layout->anchor_px[a] + layout->slot_offset_px[k]);
        }
        separator_sight(sighting, a, &columns, layout->anchor_px[a] + layout->separator_offset_px);
    }
    return SM_OK;
}
