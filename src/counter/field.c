/*
 * Tokens of many pictures -> fields -> the one that is the distance counter.
 *
 * A counter is known by its laws: it is a number, usually with decimals and a unit of length; it changes, but
 * never faster than a camera travels; it is no clock (which runs on at one a second whatever happens), no
 * date (which stands still), no temperature or inclination (whose units give them away).
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- gathering
 * --------------------------------------------------------------------------------------------- */

static bool is_same_place(const struct sm_counter__field *field, const struct sm_counter__token *token)
{
    float shared = fminf(field->x1_px, token->x1_px) - fmaxf(field->x0_px, token->x0_px);
    float least = fminf(field->x1_px - field->x0_px, token->x1_px - token->x0_px);
    return shared > 0.5f * least;
}

static enum sm_status field_take(struct sm_counter__field *field, const struct sm_counter__token *token)
{
    if (field->n_tokens > 0 && field->token[field->n_tokens - 1].time_s >= token->time_s) {
        return SM_OK; /* a second token of the same picture at the same place: the first stays */
    }
    if (sm_grow(&field->token, field->n_tokens, &field->capacity, sizeof *field->token) != SM_OK) {
        return SM_E_NOMEM;
    }
    field->token[field->n_tokens++] = *token;
    field->x0_px = fminf(field->x0_px, token->x0_px);
    field->x1_px = fmaxf(field->x1_px, token->x1_px);
    return SM_OK;
}

enum sm_status sm_counter__fields_add(struct sm_counter__fields *fields, size_t line_idx,
                                      const struct sm_counter__token *tokens, size_t n_tokens,
                                      struct sm_error *err)
{
    for (size_t i = 0; i < n_tokens; i++) {
        size_t k = 0;
        while (k < fields->n &&
               (fields->item[k].line_idx != line_idx || !is_same_place(&fields->item[k], &tokens[i]))) {
            k++;
        }
        if (k == fields->n) {
            if (sm_grow(&fields->item, fields->n, &fields->capacity, sizeof *fields->item) != SM_OK) {
                return sm_error_set(err, SM_E_NOMEM, "no memory for text fields");
            }
            fields->item[fields->n++] = (struct sm_counter__field){
                .line_idx = line_idx, .x0_px = tokens[i].x0_px, .x1_px = tokens[i].x1_px, .verdict = ""};
        }
        if (field_take(&fields->item[k], &tokens[i]) != SM_OK) {
            return sm_error_set(err, SM_E_NOMEM, "no memory for text fields");
        }
    }
    return SM_OK;
}

void sm_counter__fields_release(struct sm_counter__fields *fields)
{
    for (size_t i = 0; i < fields->n; i++) {
        sm_free(fields->item[i].token);
    }
    sm_free(fields->item);
    memset(fields, 0, sizeof *fields);
}

#define WAVER_COUNTS 15
#define P_SEEN 0.5f     /* a character that is likelier than all others together */
#define P_CLEAR 0.65f   /* and one that is no guess */
#define SECONDS_MOST 64 /* numbers looked at to tell running seconds */

/* ---- judging
 * ----------------------------------------------------------------------------------------------- */

struct habits {
    size_t n_numbers, n_kinds[4], n_suffixes[SM_N_SUFFIXES], n_decimals[4], n_glued, n_padded;
    size_t n_steps, n_changes, n_wild;
    double net, total; /**< travel with and without regard to direction, in units of the number */
    int64_t least, largest;
};

static size_t most(const size_t *counts, size_t n)
{
    size_t best = 0;
    for (size_t i = 1; i < n; i++) {
        best = counts[i] > counts[best] ? i : best;
    }
    return best;
}

/** With zeros in front, as counters are shown and gauges are not. */
static bool is_padded(const struct sm_counter__token *t)
{
    int64_t least = 1;
    for (int32_t k = 1; k < t->n_digits; k++) {
        least *= 10;
    }
    return t->n_digits - t->decimals >= 3 && llabs(t->counts) < least;
}

static void count_kinds(struct habits *h, const struct sm_counter__field *field)
{
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        h->n_kinds[t->kind]++;
        if (t->kind == SM_TOKEN_NUMBER) {
            h->n_numbers++;
            h->n_suffixes[t->suffix]++;
            h->n_decimals[t->decimals > 3 ? 3 : t->decimals]++;
            h->n_glued += t->is_glued_left;
            h->n_padded += is_padded(t);
        }
    }
}

/** How the value moves from one picture to the next. */
static void count_steps(struct habits *h, const struct sm_counter__field *field)
{
    const struct sm_counter__token *before = NULL;
    double scale = pow(10.0, -field->decimals), per_s = field->suffix == SM_SUFFIX_M ? 0.6 : 2.0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (t->kind != SM_TOKEN_NUMBER || t->decimals != field->decimals || t->has_hole) {
            continue;
        }
        h->least = before && h->least < t->counts ? h->least : t->counts;
        h->largest = before && h->largest > t->counts ? h->largest : t->counts;
        if (before) {
            double dt_s = t->time_s - before->time_s, dv = (double)(t->counts - before->counts) * scale;
            h->n_steps++;
            h->n_changes += dv != 0;
            h->net += dv;
            h->total += fabs(dv);
            h->n_wild += fabs(dv) > per_s * dt_s + 2 * scale;
        }
        before = t;
    }
}

static int double_order(const void *a, const void *b)
{
    double da = *(const double *)a, db = *(const double *)b;
    return da < db ? -1 : da > db;
}

/**
 * Do the numbers run with time: one more every second, whole, or in their last two digits from 59 on to 00?
 * A clock whose dots are taken for digits does.
 */
static bool is_running_seconds(const struct sm_counter__field *field, bool is_sexagesimal)
{
    double lag_s[SECONDS_MOST];
    size_t n = 0, n_same = 0;
    const struct sm_counter__token *first = NULL, *last = NULL;
    for (size_t i = 0; i < field->n_tokens && n < SECONDS_MOST; i++) {
        const struct sm_counter__token *t = &field->token[i];
        if (t->kind != SM_TOKEN_NUMBER || t->decimals != (is_sexagesimal ? 0 : field->decimals)) {
            continue;
        }
        first = first ? first : t;
        last = t;
        double shown = (double)(is_sexagesimal ? t->counts % 100 : t->counts) * pow(10.0, -t->decimals);
        lag_s[n] = shown - (t->time_s - first->time_s);
        lag_s[n] = is_sexagesimal && n > 0 ? lag_s[0] + remainder(lag_s[n] - lag_s[0], 60) : lag_s[n];
        n++;
    }
    if (n < 5 || last->time_s - first->time_s < 4) {
        return false;
    }
    qsort(lag_s, n, sizeof *lag_s, double_order);
    /* Whole seconds are cut off; a camera may do about a foot a second for a while, but not to a few tenths.
     */
    double most_s = !is_sexagesimal && field->decimals > 0 ? 0.35 : 1.05;
    for (size_t i = 0; i < n; i++) {
        n_same += fabs(lag_s[i] - lag_s[n / 2]) <= most_s;
    }
    return 10 * n_same >= 9 * n;
}

/** A few last digits up and down again: how warm it is, how steep, how hard the pump works. */
static bool is_wavering(const struct habits *h)
{
    return h->n_changes >= 3 && h->largest - h->least <= WAVER_COUNTS && fabs(h->net) < 0.5 * h->total;
}

/**
 * A mark high up behind the number may be degrees or a poor sign for feet: a survey goes one way. With zeros
 * in front it is hardly ever a gauge, and may turn back or be misread now and then.
 */
static bool is_travel(const struct habits *h, const struct sm_counter__field *field)
{
    double counts = fabs(h->net) * pow(10.0, field->decimals);
    bool is_padded_mostly = 2 * h->n_padded > h->n_numbers;
    return h->n_steps >= 6 && 4 * h->n_changes >= h->n_steps &&
           (is_padded_mostly ? 4 : 20) * h->n_wild <= h->n_steps &&
           fabs(h->net) >= (is_padded_mostly ? 0.2 : 0.9) * h->total && counts >= 15;
}

/** Share of the numbers that have the usual form and whose characters are all this likely. */
static double agreement(const struct sm_counter__field *field, size_t n_numbers, float p_least)
{
    size_t n = 0;
    for (size_t i = 0; i < field->n_tokens; i++) {
        const struct sm_counter__token *t = &field->token[i];
        n += t->kind == SM_TOKEN_NUMBER && t->decimals == field->decimals && t->p_least > p_least;
    }
    return (double)n / (double)n_numbers;
}

/**
 * A digit that passes for a stroke makes a date of a number, but not in every picture: what is a number in a
 * third of them is one, and the others speak against its form.
 */
static enum sm_counter__token_kind usual_kind(const struct habits *h)
{
    enum sm_counter__token_kind kind = (enum sm_counter__token_kind)most(h->n_kinds, 4);
    size_t n_both = h->n_kinds[SM_TOKEN_DATE] + h->n_kinds[SM_TOKEN_NUMBER];
    return kind == SM_TOKEN_DATE && 3 * h->n_numbers >= n_both ? SM_TOKEN_NUMBER : kind;
}

static void judge(struct sm_counter__field *field, size_t n_pictures)
{
    struct habits h = {0};
    count_kinds(&h, field);
    field->kind = usual_kind(&h);
    if (field->kind == SM_TOKEN_CLOCK) {
        field->score = -10;
        field->verdict = "a clock: two dots between its digits";
        return;
    }
    if (field->kind == SM_TOKEN_DATE) {
        field->score = -10;
        field->verdict = "a date or a name: strokes or several points between its digits";
        return;
    }
    if (h.n_numbers == 0) {
        field->score = -10;
        field->verdict = "a placeholder that never showed a number";
        return;
    }
    h.n_suffixes[SM_SUFFIX_NONE] =
        h.n_suffixes[SM_SUFFIX_NONE] / 3; /* a unit is easily missed, rarely invented */
    field->suffix = (enum sm_counter__suffix)most(h.n_suffixes, SM_N_SUFFIXES);
    h.n_decimals[0] /= 2; /* so is a decimal sign */
    field->decimals = (int32_t)most(h.n_decimals, 4);
    size_t n_both = h.n_numbers + h.n_kinds[SM_TOKEN_DATE];
    field->agreement = agreement(field, n_both, P_SEEN);
    field->clarity = agreement(field, n_both, P_CLEAR);
    count_steps(&h, field);
    double seen = (double)h.n_numbers / (double)n_pictures;
    double wild = h.n_steps ? (double)h.n_wild / (double)h.n_steps : 0;
    bool is_marked = field->suffix == SM_SUFFIX_RING;
    if (is_marked) {
        field->suffix = is_travel(&h, field) ? SM_SUFFIX_FT : SM_SUFFIX_DEGREE;
    }
    bool has_length_unit = field->suffix == SM_SUFFIX_M || field->suffix == SM_SUFFIX_FT;
    double score = 2 * fmin(1.0, 1.5 * seen) + (field->decimals > 0 ? 1.5 : 0);
    score += !has_length_unit ? 0 : is_marked ? 2 : 3;
    score += 3 * fmin(1.0, (double)h.n_changes / 3.0) * (1 - fmin(1.0, 2 * wild)) - 4 * wild;
    score += h.total > 0 ? 1.5 * fabs(h.net) / h.total : 0; /* surveys go one way, temperatures wander */
    score -= (double)h.n_glued > 0.5 * (double)h.n_numbers && field->decimals == 0 ? 3 : 0;
    score -= field->suffix == SM_SUFFIX_LETTER ? 3 : 0;
    score -= 4 * (1 - field->agreement); /* a number that changes its form is a wall that looks like one */
    field->verdict = h.n_changes ? "a number that moves as a counter does" : "a number that stands still";
    if (field->suffix == SM_SUFFIX_PERCENT || field->suffix == SM_SUFFIX_DEGREE ||
        field->suffix == SM_SUFFIX_MM) {
        score -= 7;
        field->verdict = "a number with a unit that is no distance";
    } else if (!has_length_unit && (is_running_seconds(field, false) || is_running_seconds(field, true))) {
        score -= 6;
        field->verdict = "running seconds: one more every second";
    } else if (!has_length_unit && is_wavering(&h)) {
        score -= 5;
        field->verdict = "a number that goes up and down a little, as a gauge does";
    } else if (wild > 0.4) {
        field->verdict = "a number that jumps about";
    }
    field->score = score;
}

static int score_order(const void *a, const void *b)
{
    const struct sm_counter__field *fa = a, *fb = b;
    if (fa->score != fb->score) {
        return fa->score < fb->score ? 1 : -1;
    }
    if (fa->line_idx != fb->line_idx) {
        return fa->line_idx < fb->line_idx ? -1 : 1;
    }
    return fa->x0_px < fb->x0_px ? -1 : fa->x0_px > fb->x0_px;
}

void sm_counter__fields_judge(struct sm_counter__fields *fields, size_t n_pictures)
{
    for (size_t i = 0; i < fields->n; i++) {
        judge(&fields->item[i], n_pictures);
    }
    if (fields->n) {
        qsort(fields->item, fields->n, sizeof *fields->item, score_order);
    }
}
