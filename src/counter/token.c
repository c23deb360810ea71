/*
 * Characters of one line in one picture -> tokens: numbers, clocks, dates, placeholders, each with what
 * stands around it.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GAP_WITHIN 1.42f /* neighbouring characters of one token, in pitches */
#define GAP_HOLE 1.25f   /* and to a digit that passes for a letter */
#define P_HOLE 0.3f      /* what such a digit is worth */
#define GAP_SUFFIX 2.8f  /* from the last digit to its unit, a blank between them allowed */

static bool is_digit(uint8_t glyph)
{
    return glyph >= SM_GLYPH_0 && glyph <= SM_GLYPH_9;
}

static bool is_separator(uint8_t glyph)
{
    return glyph == SM_GLYPH_POINT || glyph == SM_GLYPH_COMMA;
}

/** Characters that can stand inside a token. */
static bool is_inner(uint8_t glyph)
{
    return is_digit(glyph) || is_separator(glyph) || glyph == SM_GLYPH_COLON || glyph == SM_GLYPH_SLASH ||
           glyph == SM_GLYPH_MINUS || glyph == SM_GLYPH_PLUS || glyph == SM_GLYPH_UNDERSCORE;
}

static int float_order(const void *a, const void *b)
{
    float fa = *(const float *)a, fb = *(const float *)b;
    return fa < fb ? -1 : fa > fb;
}

/** Gaps between digits, wanted: neighbours, or with a decimal sign between them. @return their number. */
static size_t digit_gaps(float *gaps, size_t capacity, bool across_separator,
                         const struct sm_counter__glyph_seen *glyphs, const size_t *n_glyphs,
                         size_t n_pictures)
{
    size_t n = 0, reach = across_separator ? 2 : 1;
    for (size_t i = 0; i < n_pictures; i++) {
        const struct sm_counter__glyph_seen *line = glyphs + i * SM_COUNTER_MAX_GLYPHS;
        for (size_t k = reach; k < n_glyphs[i] && n < capacity; k++) {
            bool between = !across_separator || is_separator(line[k - 1].glyph);
            if (is_digit(line[k].glyph) && is_digit(line[k - reach].glyph) && between) {
                gaps[n++] = line[k].x_px - line[k - reach].x_px;
            }
        }
    }
    return n;
}

float sm_counter__pitch(const struct sm_counter__glyph_seen *glyphs, const size_t *n_glyphs,
                        size_t n_pictures)
{
    float gaps[1024];
    size_t n = digit_gaps(gaps, sizeof gaps / sizeof *gaps, false, glyphs, n_glyphs, n_pictures);
    float share = 1;
    if (n < 3) {
        /* Only numbers like 0.7 so far. A decimal sign is as wide as a digit, or half as wide. */
        n = digit_gaps(gaps, sizeof gaps / sizeof *gaps, true, glyphs, n_glyphs, n_pictures);
        share = 0.6f;
    }
    if (n == 0) {
        return 0;
    }
    /* Blanks between words stretch some gaps, nothing shrinks one: the lower third is safe. */
    qsort(gaps, n, sizeof *gaps, float_order);
    return share * gaps[n / 3];
}

/** Distance of digits around i: a line can hold fields of different sizes, and pitch_px is the smallest of
 * them. */
static float pitch_here(const struct sm_counter__glyph_seen *g, size_t n, size_t i, float pitch_px)
{
    float least = 0;
    for (size_t k = i + 1; k < n && k <= i + 6; k++) {
        float gap = g[k].x_px - g[k - 1].x_px;
        if (is_digit(g[k].glyph) && is_digit(g[k - 1].glyph) && (least == 0 || gap < least)) {
            least = gap;
        }
    }
    return least > pitch_px && least < 1.8f * pitch_px ? least : pitch_px;
}

/** End (one past) of the run of inner characters that starts at i. */
static size_t run_end(const struct sm_counter__glyph_seen *g, size_t n, size_t i, float pitch_px)
{
    size_t k = i + 1;
    while (k < n && is_inner(g[k].glyph) && g[k].x_px - g[k - 1].x_px < GAP_WITHIN * pitch_px) {
        k++;
    }
    return k;
}

static enum sm_counter__token_kind run_kind(const struct sm_counter__glyph_seen *g, size_t begin, size_t end)
{
    int digits = 0, colons = 0, points = 0, strokes = 0, blanks = 0;
    for (size_t k = begin; k < end; k++) {
        uint8_t c = g[k].glyph;
        digits += is_digit(c);
        colons += c == SM_GLYPH_COLON && k > begin && k + 1 < end;
        points += is_separator(c) && k > begin;
        strokes +=
            (c == SM_GLYPH_SLASH || c == SM_GLYPH_MINUS || c == SM_GLYPH_PLUS) && k > begin && k + 1 < end;
        blanks += c == SM_GLYPH_UNDERSCORE;
    }
    if (blanks >= 2 && blanks >= digits) {
        return SM_TOKEN_PLACEHOLDER;
    }
    if (colons > 0 && digits >= 2) {
        return SM_TOKEN_CLOCK;
    }
    return strokes > 0 || points > 1 ? SM_TOKEN_DATE : SM_TOKEN_NUMBER;
}

/** A wide m is seen in two pieces, one of which looks like any letter: closer together than two characters
 * can stand. */
static bool is_wide_m(const struct sm_counter__glyph_seen *g, size_t n, size_t k, float pitch_px)
{
    if (k + 1 >= n || g[k + 1].x_px - g[k].x_px > 0.95f * pitch_px) {
        return false;
    }
    bool first =
        g[k].glyph == SM_GLYPH_M && (g[k + 1].glyph == SM_GLYPH_OTHER || g[k + 1].glyph == SM_GLYPH_M);
    return first || (g[k].glyph == SM_GLYPH_OTHER && g[k + 1].glyph == SM_GLYPH_M);
}

static enum sm_counter__suffix suffix_at(const struct sm_counter__glyph_seen *g, size_t n, size_t end,
                                         float pitch_px, float *x1_px)
{
    if (end >= n || g[end].x_px - g[end - 1].x_px > GAP_SUFFIX * pitch_px) {
        return SM_SUFFIX_NONE;
    }
    bool is_close = g[end].x_px - g[end - 1].x_px < GAP_WITHIN * pitch_px;
    bool has_next = end + 1 < n && g[end + 1].x_px - g[end].x_px < GAP_WITHIN * pitch_px;
    uint8_t next = has_next ? g[end + 1].glyph : (uint8_t)SM_GLYPH_BLANK;
    enum sm_counter__suffix suffix = SM_SUFFIX_NONE;
    size_t last = end;
    if (is_wide_m(g, n, end, pitch_px)) {
        bool is_mm = end + 2 < n && g[end + 2].x_px - g[end + 1].x_px < GAP_WITHIN * pitch_px &&
                     (g[end + 2].glyph == SM_GLYPH_M || is_wide_m(g, n, end + 2, pitch_px));
        *x1_px = g[end + 1].x_px + 0.5f * pitch_px;
        return is_mm ? SM_SUFFIX_MM : SM_SUFFIX_M;
    }
    switch (g[end].glyph) {
    case SM_GLYPH_M:
        suffix = next == SM_GLYPH_M ? SM_SUFFIX_MM : next == SM_GLYPH_OTHER ? SM_SUFFIX_LETTER : SM_SUFFIX_M;
        last += next == SM_GLYPH_M;
        break;
    case SM_GLYPH_F:
        suffix = next == SM_GLYPH_T ? SM_SUFFIX_FT : SM_SUFFIX_LETTER;
        last += next == SM_GLYPH_T;
        break;
    case SM_GLYPH_APOSTROPHE:
        suffix = SM_SUFFIX_FT;
        break;
    case SM_GLYPH_PERCENT:
        suffix = SM_SUFFIX_PERCENT;
        break;
    case SM_GLYPH_DEGREE:
        suffix = has_next ? SM_SUFFIX_DEGREE : SM_SUFFIX_RING;
        break;
    default: /* stuck to the number, or a letter by itself: a unit that is no length, C or V */
        return (is_close || !has_next) && !is_inner(g[end].glyph) ? SM_SUFFIX_LETTER : SM_SUFFIX_NONE;
    }
    *x1_px = g[last].x_px + 0.5f * pitch_px;
    bool is_rate = last + 1 < n && g[last + 1].glyph == SM_GLYPH_SLASH &&
                   g[last + 1].x_px - g[last].x_px < GAP_WITHIN * pitch_px; /* 0.12 m/s */
    return is_rate ? SM_SUFFIX_LETTER : suffix;
}

static void number_take(struct sm_counter__token *token, const struct sm_counter__glyph_seen *g, size_t begin,
                        size_t end)
{
    size_t at_separator = end;
    for (size_t k = begin; k < end; k++) {
        if (is_separator(g[k].glyph)) {
            at_separator = k;
        }
    }
    int64_t power = 1;
    for (size_t k = end; k-- > begin;) {
        if (is_digit(g[k].glyph) && token->n_digits < SM_COUNTER_MAX_SLOTS) {
            token->counts += (g[k].glyph - SM_GLYPH_0) * power;
            token->digit_px[token->n_digits++] = g[k].x_px;
            token->decimals += at_separator < end && k > at_separator;
            power *= 10;
        }
    }
    if (at_separator < end) {
        token->separator_px = g[at_separator].x_px;
        token->has_comma = g[at_separator].glyph == SM_GLYPH_COMMA;
    }
    /* A short low minus passes for an underscore. */
    token->is_negative = g[begin].glyph == SM_GLYPH_MINUS || g[begin].glyph == SM_GLYPH_UNDERSCORE;
    token->counts = token->is_negative ? -token->counts : token->counts;
}

static void token_take(struct sm_counter__token *token, const struct sm_counter__glyph_seen *g, size_t n,
                       size_t begin, size_t end, float pitch_px, double time_s)
{
    memset(token, 0, sizeof *token);
    token->time_s = time_s;
    token->kind = run_kind(g, begin, end);
    token->x0_px = g[begin].x_px - 0.5f * pitch_px;
    token->x1_px = g[end - 1].x_px + 0.5f * pitch_px;
    token->p_least = 1;
    size_t length = 0;
    for (size_t k = begin; k < end; k++) {
        token->p_least = fminf(token->p_least, g[k].p);
        token->has_hole = token->has_hole || (is_digit(g[k].glyph) && g[k].p <= P_HOLE);
        if (length + 1 < sizeof token->text) {
            token->text[length++] = sm_counter__glyph_char((enum sm_glyph)g[k].glyph);
        }
    }
    token->is_glued_left = begin > 0 && g[begin].x_px - g[begin - 1].x_px < GAP_WITHIN * pitch_px;
    token->suffix = suffix_at(g, n, end, pitch_px, &token->x1_px);
    number_take(token, g, begin, end);
}

/** A digit stands here that the network takes for a letter: digits or a decimal sign close by on both sides.
 */
static bool is_hole(const struct sm_counter__glyph_seen *g, size_t n, size_t k, float pitch_px)
{
    if (k == 0 || k + 1 >= n || g[k].glyph != SM_GLYPH_OTHER || !is_digit(g[k - 1].glyph)) {
        return false;
    }
    float before_px = g[k].x_px - g[k - 1].x_px, after_px = g[k + 1].x_px - g[k].x_px;
    bool is_number =
        is_digit(g[k + 1].glyph) || (is_separator(g[k + 1].glyph) && k + 2 < n && is_digit(g[k + 2].glyph));
    return is_number && before_px < GAP_HOLE * pitch_px && after_px < GAP_HOLE * pitch_px;
}

/** Holes become a digit that nobody relies on. */
static void holes_fill(struct sm_counter__glyph_seen *g, size_t n, float pitch_px)
{
    for (size_t k = 1; k + 1 < n; k++) {
        if (is_hole(g, n, k, pitch_px)) {
            g[k].glyph = SM_GLYPH_0 + 1;
            g[k].p = P_HOLE;
        }
    }
}

/** In cells much wider than high a point is a low bar: one between two digits is no placeholder. */
static void points_mend(struct sm_counter__glyph_seen *g, size_t n, float pitch_px)
{
    for (size_t k = 1; k + 1 < n; k++) {
        bool is_between = is_digit(g[k - 1].glyph) && is_digit(g[k + 1].glyph) &&
                          g[k].x_px - g[k - 1].x_px < GAP_WITHIN * pitch_px &&
                          g[k + 1].x_px - g[k].x_px < GAP_WITHIN * pitch_px;
        if (g[k].glyph == SM_GLYPH_UNDERSCORE && is_between) {
            g[k].glyph = SM_GLYPH_POINT;
        }
    }
}

size_t sm_counter__tokens(struct sm_counter__token *tokens, size_t capacity,
                          const struct sm_counter__glyph_seen *seen, size_t n_glyphs, float pitch_px,
                          double time_s)
{
    struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS];
    size_t n = 0;
    memcpy(glyphs, seen, n_glyphs * sizeof *glyphs);
    holes_fill(glyphs, n_glyphs, pitch_px);
    points_mend(glyphs, n_glyphs, pitch_px);
    for (size_t i = 0; i < n_glyphs && n < capacity;) {
        if (!is_inner(glyphs[i].glyph)) {
            i++;
            continue;
        }
        float here_px = pitch_here(glyphs, n_glyphs, i, pitch_px);
        size_t end = run_end(glyphs, n_glyphs, i, here_px);
        size_t begin = i, last = end;
        /* A colon or point in front belongs to the words before ("D:", "Dist."); a point behind ends a
         * sentence. */
        while (begin < last && (glyphs[begin].glyph == SM_GLYPH_COLON ||
                                glyphs[begin].glyph == SM_GLYPH_SLASH || is_separator(glyphs[begin].glyph))) {
            begin++;
        }
        while (last > begin && !is_digit(glyphs[last - 1].glyph) &&
               glyphs[last - 1].glyph != SM_GLYPH_UNDERSCORE) {
            last--;
        }
        if (last > begin) {
            token_take(&tokens[n], glyphs, n_glyphs, begin, last, here_px, time_s);
            n += tokens[n].n_digits > 0 || tokens[n].kind == SM_TOKEN_PLACEHOLDER;
        }
        i = end;
    }
    return n;
}
