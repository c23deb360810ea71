/* One line of one picture -> characters, through the network. */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PEAK_LEAST 0.30f /* a character must be at least this likely */

struct sm_counter__reader {
    struct sm_counter__net *net;
    float *strip, *logp;
};

enum sm_status sm_counter__reader_new(struct sm_counter__reader **out, struct sm_error *err)
{
    struct sm_counter__reader *reader = sm_calloc(1, sizeof *reader);
    if (!reader) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the character reader");
    }
    size_t n_columns = (size_t)sm_counter__net_columns(SM_STRIP_MAX_WIDTH);
    reader->strip = sm_calloc((size_t)SM_STRIP_HEIGHT * SM_STRIP_MAX_WIDTH, sizeof *reader->strip);
    reader->logp = sm_calloc(n_columns * SM_GLYPH_COUNT, sizeof *reader->logp);
    enum sm_status status = reader->strip && reader->logp
                                ? sm_counter__net_new(&reader->net, &sm_counter__trained_weights, err)
                                : sm_error_set(err, SM_E_NOMEM, "no memory for the character reader");
    if (status != SM_OK) {
        sm_counter__reader_free(&reader);
        return status;
    }
    *out = reader;
    return SM_OK;
}

void sm_counter__reader_free(struct sm_counter__reader **reader)
{
    if (reader && *reader) {
        sm_counter__net_free(&(*reader)->net);
        sm_free((*reader)->strip);
        sm_free((*reader)->logp);
        sm_free(*reader);
        *reader = NULL;
    }
}

enum sm_status sm_counter__reader_columns(struct sm_counter__columns *out, struct sm_counter__reader *reader,
                                          const struct sm_image *image,
                                          const struct sm_counter__text_line *line, struct sm_error *err)
{
    struct sm_counter__line cut = {
        .left_px = (double)line->x0_px,
        .right_px = (double)line->x1_px,
        .top_px = (double)line->top_px,
        .baseline_px = (double)line->baseline_px,
        .weight_y = line->weight_y,
        .weight_u = line->weight_u,
        .weight_v = line->weight_v,
    };
    double scale = sm_counter__strip_scale(&cut);
    *out = (struct sm_counter__columns){0};
    if (!(scale > 0)) {
        return SM_OK;
    }
    cut.right_px = fmin(cut.right_px, cut.left_px + (SM_STRIP_MAX_WIDTH - 2) / scale);
    int32_t width_px = sm_counter__strip_width(&cut);
    if (width_px <= 0) {
        return SM_OK;
    }
    enum sm_status status = sm_counter__strip_make(reader->strip, width_px, image, &cut, err);
    if (status == SM_OK) {
        status = sm_counter__net_run(reader->net, reader->strip, width_px, reader->logp, err);
    }
    if (status != SM_OK) {
        return status;
    }
    *out = (struct sm_counter__columns){
        .n = sm_counter__net_columns(width_px),
        .x0_px = (float)(cut.left_px + 0.5 * SM_NET_COLUMN_PX / scale),
        .column_px = (float)(SM_NET_COLUMN_PX / scale),
        .logp = reader->logp,
        .strip = reader->strip,
        .strip_width_px = width_px,
    };
    return SM_OK;
}

/** Probability of a class around column c: a character holds about three columns. */
static float class_support(const struct sm_counter__columns *columns, int32_t c, int glyph)
{
    float sum = 0;
    for (int32_t k = c - 1; k <= c + 1; k++) {
        if (k >= 0 && k < columns->n) {
            sum += expf(columns->logp[(size_t)k * SM_GLYPH_COUNT + (size_t)glyph]);
        }
    }
    return sum / 3;
}

struct peak {
    int32_t column;
    uint8_t glyph;
    float support;
};

static struct peak column_best(const struct sm_counter__columns *columns, int32_t c)
{
    struct peak best = {c, SM_GLYPH_BLANK, 0};
    for (int g = SM_GLYPH_BLANK + 1; g < SM_GLYPH_COUNT; g++) {
        float support = class_support(columns, c, g);
        if (support > best.support) {
            best.support = support;
            best.glyph = (uint8_t)g;
        }
    }
    return best;
}

static bool is_narrow(uint8_t glyph)
{
    return glyph == SM_GLYPH_POINT || glyph == SM_GLYPH_COMMA || glyph == SM_GLYPH_COLON ||
           glyph == SM_GLYPH_APOSTROPHE;
}

/** Two characters stand at least this many columns apart: digits are some six columns wide. */
static int32_t columns_apart(uint8_t a, uint8_t b)
{
    if (a == b) {
        return is_narrow(a) ? 4 : 5;
    }
    return is_narrow(a) || is_narrow(b) ? 2 : 3;
}

/** Middle of a peak, in columns: its neighbours pull it by their own support. */
static float peak_middle(const struct sm_counter__columns *columns, const struct peak *p)
{
    float weight = 0, moment = 0;
    for (int32_t k = p->column - 2; k <= p->column + 2; k++) {
        if (k >= 0 && k < columns->n) {
            float w = expf(columns->logp[(size_t)k * SM_GLYPH_COUNT + p->glyph]);
            weight += w;
            moment += w * (float)k;
        }
    }
    return weight > 0 ? moment / weight : (float)p->column;
}

size_t sm_counter__columns_glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS],
                                  const struct sm_counter__columns *columns)
{
    size_t n = 0;
    struct peak last = {-100, SM_GLYPH_BLANK, 0};
    for (int32_t c = 0; c < columns->n; c++) {
        struct peak here = column_best(columns, c);
        if (here.support < PEAK_LEAST) {
            continue;
        }
        int32_t apart = columns_apart(here.glyph, last.glyph);
        if (here.column - last.column < apart) {
            if (here.support <= last.support) {
                continue;
            }
            n--; /* the same character, seen better from here */
        }
        if (n == SM_COUNTER_MAX_GLYPHS) {
            break;
        }
        struct sm_counter__glyph_seen *seen = &glyphs[n++];
        seen->glyph = here.glyph;
        seen->p = fminf(1, here.support * 1.05f);
        seen->x_px = columns->x0_px + columns->column_px * peak_middle(columns, &here);
        last = here;
    }
    return n;
}

enum sm_status sm_counter__glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS],
                                  size_t *n_glyphs, struct sm_counter__reader *reader,
                                  const struct sm_image *image, const struct sm_counter__text_line *line,
                                  struct sm_error *err)
{
    struct sm_counter__columns columns;
    enum sm_status status = sm_counter__reader_columns(&columns, reader, image, line, err);
    *n_glyphs = status == SM_OK ? sm_counter__columns_glyphs(glyphs, &columns) : 0;
    return status;
}
