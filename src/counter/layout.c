/*
 * The chosen field -> where its digits stand.
 *
 * Digits of nearly every face are equally wide, so the places of a number are those of its last digit (an
 * anchor), plus fixed offsets to the left. A number that is set flush left moves its last digit when it
 * grows: then there are several anchors, one a pitch apart.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ONES_LEAST 3     /* that tell how far a 1 stands from the middle of its cell */
#define LOOSE_LEAST 10   /* distances that tell whether digits keep them */
#define LOOSE_OFF 0.2f   /* of the pitch, by which one that is kept never fails */
#define LOOSE_SHARE 0.2f /* of them that fail */

static int float_order(const void *a, const void *b)
{
    float fa = *(const float *)a, fb = *(const float *)b;
    return fa < fb ? -1 : fa > fb;
}

static float median(float *values, size_t n)
{
    qsort(values, n, sizeof *values, float_order);
    return n % 2 ? values[n / 2] : 0.5f * (values[n / 2 - 1] + values[n / 2]);
}

static bool is_usable(const struct sm_counter__token *t, const struct sm_counter__field *field)
{
    return t->kind == SM_TOKEN_NUMBER && t->decimals == field->decimals && t->p_least > 0.4f;
}

static int32_t digit_of(const struct sm_counter__token *t, int32_t slot)
{
    int64_t rest = llabs(t->counts);
    for (int32_t k = 0; k < slot; k++) {
        rest /= 10;
    }
    return (int32_t)(rest % 10);
}

/** A 1 may stand off the middle of its cell or be narrower than it: where other digits tell a place, it does
 * not count. */
static bool is_placed(const struct sm_counter__token *t, int32_t slot, bool takes_ones)
{
    return t->n_digits > slot && (takes_ones || digit_of(t, slot) != 1);
}

/** Median over the tokens of digit_px[slot] - digit_px[0]; NAN when fewer than two tokens have that slot. */
static float slot_offset_of(const struct sm_counter__field *field, int32_t slot, bool takes_ones, float *work)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field) && is_placed(t, slot, takes_ones) && is_placed(t, 0, takes_ones)) {
            work[n++] = t->digit_px[slot] - t->digit_px[0];
        }
    }
    return n >= 2 ? median(work, n) : NAN;
}

static float slot_offset(const struct sm_counter__field *field, int32_t slot, float *work)
{
    float offset = slot_offset_of(field, slot, false, work);
    return isnan(offset) ? slot_offset_of(field, slot, true, work) : offset;
}

static float separator_offset_of(const struct sm_counter__field *field, bool takes_ones, float *work)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field) && t->decimals > 0 && is_placed(t, 0, takes_ones)) {
            work[n++] = t->separator_px - t->digit_px[0];
        }
    }
    return n ? median(work, n) : NAN;
}

static float separator_offset(const struct sm_counter__field *field, float *work)
{
    float offset = separator_offset_of(field, false, work);
    return isnan(offset) ? separator_offset_of(field, true, work) : offset;
}

/** Distance between neighbouring digits on one side of the decimal sign. */
static float digit_pitch_of(const struct sm_counter__field *field, bool takes_ones, float *work,
                            size_t capacity)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        for (int32_t k = 1; is_usable(t, field) && k < t->n_digits && n < capacity; k++) {
            if (k != t->decimals && is_placed(t, k, takes_ones) && is_placed(t, k - 1, takes_ones)) {
                work[n++] = t->digit_px[k - 1] - t->digit_px[k];
            }
        }
    }
    return n ? median(work, n) : NAN;
}

static float digit_pitch(const struct sm_counter__field *field, float *work, size_t capacity)
{
    float pitch_px = digit_pitch_of(field, false, work, capacity);
    return isnan(pitch_px) ? digit_pitch_of(field, true, work, capacity) : pitch_px;
}

static int32_t digits_seen(const struct sm_counter__field *field)
{
    size_t count[SM_COUNTER_MAX_SLOTS + 1] = {0};
    int32_t most = 1;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field)) {
            count[t->n_digits]++;
            most = t->n_digits > most ? t->n_digits : most;
        }
    }
    /* One picture alone may have read the prefix as a digit. */
    while (most > 1 && count[most] < 2 && count[most - 1] >= 4) {
        most--;
    }
    return most;
}

/** Leading zeros: most small values are shown with as many digits as the largest. */
static int32_t fixed_digits(const struct sm_counter__field *field, int32_t n_digits)
{
    size_t small = 0, padded = 0;
    int64_t limit = 1;
    for (int32_t k = 1; k < n_digits; k++) {
        limit *= 10;
    }
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field) && llabs(t->counts) < limit) {
            small++;
            padded += t->n_digits == n_digits;
        }
    }
    return n_digits > field->decimals + 1 && small > 0 && 2 * padded > small ? n_digits : 0;
}

/** Places of the last digit, unsorted. @return their number. */
static size_t last_digits(const struct sm_counter__field *field, bool takes_ones, float *work)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        if (is_usable(&field->token[i], field) && is_placed(&field->token[i], 0, takes_ones)) {
            work[n++] = field->token[i].digit_px[0];
        }
    }
    return n;
}

/** Cluster the places of the last digit. */
static void anchors_learn(struct sm_counter__layout *layout, const struct sm_counter__field *field,
                          float pitch_px, float *work)
{
    size_t n = last_digits(field, false, work), total = 0;
    n = n >= 2 ? n : last_digits(field, true, work);
    qsort(work, n, sizeof *work, float_order);
    size_t weight[SM_COUNTER_MAX_ANCHORS] = {0};
    for (size_t i = 0; i < n && layout->n_anchors < SM_COUNTER_MAX_ANCHORS;) {
        size_t k = i;
        while (k < n && work[k] - work[i] < 0.25f * pitch_px) {
            k++;
        }
        if (k - i >= 2 || n < 6) {
            layout->anchor_px[layout->n_anchors] = median(work + i, k - i);
            weight[layout->n_anchors++] = k - i;
            total += k - i;
        }
        i = k;
    }
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        layout->anchor_logprior[a] = 0.5f * logf((float)weight[a] / (float)total);
    }
}

/** A flush-left number will move on by whole pitches: places not seen yet, with little trust. */
static void anchors_extend(struct sm_counter__layout *layout, float pitch_px)
{
    if (layout->fixed_digits > 0) {
        return;
    }
    int32_t seen = layout->n_anchors;
    for (int32_t side = -1; side <= 1; side += 2) {
        float edge = layout->anchor_px[side < 0 ? 0 : seen - 1];
        if (layout->n_anchors < SM_COUNTER_MAX_ANCHORS) {
            layout->anchor_px[layout->n_anchors] = edge + (float)side * pitch_px;
            layout->anchor_logprior[layout->n_anchors++] = -5.0f;
        }
    }
}

static void slots_learn(struct sm_counter__layout *layout, const struct sm_counter__field *field,
                        float pitch_px, float *work)
{
    float sep = layout->decimals > 0 ? separator_offset(field, work) : 0;
    layout->separator_offset_px = sep;
    for (int32_t k = 0; k < layout->n_slots; k++) {
        float seen = slot_offset(field, k, work);
        if (k == 0) {
            layout->slot_offset_px[k] = 0;
        } else if (!isnan(seen)) {
            layout->slot_offset_px[k] = seen;
        } else if (k == layout->decimals) {
            layout->slot_offset_px[k] = 2 * sep - layout->slot_offset_px[k - 1];
        } else {
            layout->slot_offset_px[k] = layout->slot_offset_px[k - 1] - pitch_px;
        }
    }
}

/** Where a token's last digit stands, told by all its digits but the 1s; NAN when it has no other. */
static float token_anchor(const struct sm_counter__token *t, const struct sm_counter__layout *layout)
{
    float sum = 0, n = 0;
    for (int32_t k = 0; k < t->n_digits && k < layout->n_slots; k++) {
        if (is_placed(t, k, false)) {
            sum += t->digit_px[k] - layout->slot_offset_px[k];
            n++;
        }
    }
    return n > 0 ? sum / n : NAN;
}

/** How far the 1s stand from the middles of their cells. */
static void one_shift_learn(struct sm_counter__layout *layout, const struct sm_counter__field *field,
                            float pitch_px, float *work)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        float anchor_px = is_usable(t, field) ? token_anchor(t, layout) : NAN;
        for (int32_t k = 0; !isnan(anchor_px) && k < t->n_digits && k < layout->n_slots; k++) {
            if (!is_placed(t, k, false)) {
                work[n++] = t->digit_px[k] - anchor_px - layout->slot_offset_px[k];
            }
        }
    }
    float shift_px = n >= ONES_LEAST ? median(work, n) : 0;
    bool is_small = fabsf(shift_px) < 0.08f * pitch_px || fabsf(shift_px) > 0.45f * pitch_px;
    layout->one_shift_px = is_small ? 0 : shift_px;
}

/** Distances of slot k's digit from the last one, over the tokens in which it is a 1, or those in which it is
 * none. */
static size_t distances(const struct sm_counter__field *field, int32_t k, bool is_one, float *work)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field) && is_placed(t, 0, false) && is_placed(t, k, true) &&
            is_placed(t, k, false) != is_one) {
            work[n++] = t->digit_px[k] - t->digit_px[0];
        }
    }
    return n;
}

/**
 * Digits of one width keep their distances from the last digit, 1s and others each. Where those of one slot
 * do not, by more than the network is ever off and too often for misreadings, they are of different widths.
 */
static bool is_loose(const struct sm_counter__field *field, const struct sm_counter__layout *layout,
                     float pitch_px, float *work)
{
    for (int32_t k = 1; k < layout->n_slots; k++) {
        for (int is_one = 0; is_one < 2; is_one++) {
            size_t n = distances(field, k, is_one, work), n_off = 0;
            float usual = n > 0 ? median(work, n) : 0;
            for (size_t i = 0; i < n; i++) {
                n_off += fabsf(work[i] - usual) > LOOSE_OFF * pitch_px;
            }
            if (n >= LOOSE_LEAST && (float)n_off > LOOSE_SHARE * (float)n) {
                return true;
            }
        }
    }
    return false;
}

static enum sm_unit unit_of(enum sm_counter__suffix suffix)
{
    return suffix == SM_SUFFIX_M ? SM_UNIT_M : suffix == SM_SUFFIX_FT ? SM_UNIT_FT : SM_UNIT_UNKNOWN;
}

static void extent_learn(struct sm_counter__layout *layout, const struct sm_counter__field *field)
{
    size_t commas = 0, n = 0;
    float x0 = 1e9f, x1 = -1e9f;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (is_usable(t, field)) {
            x0 = fminf(x0, t->x0_px);
            x1 = fmaxf(x1, t->x1_px);
            commas += t->has_comma;
            n++;
        }
    }
    layout->line.x0_px = x0;
    layout->line.x1_px = x1;
    layout->has_decimal_comma = 2 * commas > n;
}

/** The stretch that is cut out for reading: every slot of every anchor and half a character more. */
static void read_line_set(struct sm_counter__layout *layout, float pitch_px)
{
    float first = layout->anchor_px[0], last = first;
    for (int32_t a = 1; a < layout->n_anchors; a++) {
        first = fminf(first, layout->anchor_px[a]);
        last = fmaxf(last, layout->anchor_px[a]);
    }
    layout->read_line = layout->line;
    layout->read_line.x0_px = first + layout->slot_offset_px[layout->n_slots - 1] - pitch_px;
    layout->read_line.x1_px = last + 1.5f * pitch_px;
}

enum sm_status sm_counter__layout_learn(struct sm_counter__layout *layout,
                                        const struct sm_counter__field *field,
                                        const struct sm_counter__text_line *line, struct sm_error *err)
{
    size_t capacity = field->n_tokens * SM_COUNTER_MAX_SLOTS + 1;
    float *work = sm_calloc(capacity, sizeof *work);
    if (!work) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the counter's layout");
    }
    float height_px = line->baseline_px - line->top_px;
    float pitch_px = digit_pitch(field, work, capacity);
    pitch_px = isnan(pitch_px) ? 0.8f * height_px : pitch_px;
    *layout = (struct sm_counter__layout){.line = *line, .decimals = field->decimals, .pitch_px = pitch_px};
    int32_t seen = digits_seen(field);
    seen = seen < field->decimals + 1 ? field->decimals + 1 : seen;
    layout->unit = unit_of(field->suffix);
    layout->fixed_digits = fixed_digits(field, seen);
    /* Room for one digit more than was seen, and for the sign. */
    layout->n_slots = seen + 2 < SM_COUNTER_MAX_SLOTS ? seen + 2 : SM_COUNTER_MAX_SLOTS;
    anchors_learn(layout, field, pitch_px, work);
    slots_learn(layout, field, pitch_px, work);
    one_shift_learn(layout, field, pitch_px, work);
    layout->is_loose = is_loose(field, layout, pitch_px, work);
    extent_learn(layout, field);
    sm_free(work);
    if (layout->n_anchors == 0) {
        return sm_error_set(err, SM_E_NOTFOUND, "the counter's digits could not be made out");
    }
    anchors_extend(layout, pitch_px);
    read_line_set(layout, pitch_px);
    if (layout->is_loose) {
        layout->n_anchors = 1;
        layout->anchor_logprior[0] = 0;
    }
    return SM_OK;
}
