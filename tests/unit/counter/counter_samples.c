#include "counter_samples.h"

#include <math.h>
#include <stdlib.h>

size_t sample_glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS], const char *text,
                     float x0_px, float pitch_px)
{
    size_t n = 0;
    for (size_t i = 0; text[i]; i++) {
        if (text[i] != ' ') {
            uint8_t glyph = (uint8_t)sm_counter__glyph_of((unsigned char)text[i]);
            glyphs[n++] = (struct sm_counter__glyph_seen){x0_px + pitch_px * (float)i, glyph, 0.95f};
        }
    }
    return n;
}

struct sm_counter__layout sample_layout(int32_t n_slots, int32_t decimals, int32_t fixed_digits,
                                        enum sm_unit unit)
{
    struct sm_counter__layout layout = {
        .decimals = decimals, .n_slots = n_slots, .n_anchors = 1, .fixed_digits = fixed_digits, .unit = unit};
    return layout;
}

static uint8_t cost(double p)
{
    double c = -log(p) * (double)SM_COUNTER_COST_SCALE;
    return (uint8_t)(c > 255 ? 255 : lrint(c));
}

static void slot_set(uint8_t marks[SM_COUNTER_N_MARKS], int32_t right, double p)
{
    for (int32_t k = 0; k < SM_COUNTER_N_MARKS; k++) {
        marks[k] = cost(k == right ? p : (1 - p) / (SM_COUNTER_N_MARKS - 1));
    }
}

struct sm_counter__sighting sample_sighting(const struct sm_counter__layout *layout, double time_s,
                                            int64_t counts, double p)
{
    struct sm_counter__sighting s = {.time_s = time_s};
    int64_t rest = llabs(counts);
    int32_t least = layout->fixed_digits > layout->decimals + 1 ? layout->fixed_digits : layout->decimals + 1;
    int32_t k = 0;
    for (; k < layout->n_slots && (k < least || rest > 0); k++, rest /= 10) {
        slot_set(s.cost[0][k], (int32_t)(rest % 10), p);
    }
    for (int32_t first = k; k < layout->n_slots; k++) {
        slot_set(s.cost[0][k], counts < 0 && k == first ? SM_COUNTER_MINUS : SM_COUNTER_NO_DIGIT, p);
    }
    s.separator_cost[0] = cost(p);
    s.no_separator_cost[0] = cost(1 - p);
    return s;
}

void sample_misread(struct sm_counter__sighting *sighting, int32_t slot, int32_t digit, double p)
{
    slot_set(sighting->cost[0][slot], digit, p);
}

struct sm_counter__sighting sample_hidden(const struct sm_counter__layout *layout, double time_s)
{
    struct sm_counter__sighting s = {.time_s = time_s};
    for (int32_t k = 0; k < layout->n_slots; k++) {
        slot_set(s.cost[0][k], SM_COUNTER_NO_DIGIT, 0.97);
    }
    s.separator_cost[0] = cost(0.03);
    s.no_separator_cost[0] = cost(0.97);
    return s;
}
