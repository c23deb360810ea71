/**
 * @file text_drawn_font.c
 * Faces that no font file holds, each drawn from its number alone: "cells:N" bitmap characters of 6 to 14
 * rows as overlay chips have them, "strokes:N" pen strokes of one width, "segments:N" seven-segment displays.
 * The number decides the shape of every digit (open or closed 4, slashed or dotted 0, 1 with or without a
 * foot, tails of 6, 7 and 9), the cell, the pen, the slant, fixed or proportional steps, and where the point
 * stands.
 */
#include "text_drawn_font.h"

#include "sm_random.h"
#include "text_render_internal.h"

#include <assert.h>
#include <cairo.h>
#include <math.h>
#include <string.h>

#define GRID_X 8.0 /* a character's box, in which its strokes are written down */
#define GRID_Y 12.0
#define MAX_POINTS 12
#define SEEN_ALPHA 64 /* least coverage that counts as ink: a display's dark segments are below it */

enum face_kind { FACE_CELLS, FACE_STROKES, FACE_SEGMENTS, FACE_KINDS };
static const char *const prefix[FACE_KINDS] = {"cells:", "strokes:", "segments:"};

struct face {
    enum face_kind kind;
    uint8_t form[10];     /* which drawing of each digit */
    double aspect;        /* width of a digit by its height */
    double pen;           /* width of a stroke, of the digit's height */
    double rounding;      /* 0..1, how far a corner is cut back */
    double slant, space;  /* of the digit's height */
    double waist;         /* height of the middle bar, 0..1 */
    bool is_proportional; /* characters take the room of their ink */
    bool is_point_in_gap; /* a point takes no room of its own */
    bool has_round_ends, has_round_dots;
    int32_t rows, columns, pen_px; /* cells only */
    double gap, dark;              /* segments only: between their ends; share at which dark ones shine */
    bool is_pointed;
};

/* ---- the face that belongs to a number ---- */

static enum face_kind kind_of(const char *font)
{
    int k = 0;
    while (k < FACE_KINDS && strncmp(font, prefix[k], strlen(prefix[k])) != 0) {
        k++;
    }
    return (enum face_kind)k;
}

static bool parse_number(int64_t *number, const char *font)
{
    enum face_kind kind = kind_of(font);
    return kind != FACE_KINDS && sm_parse_int(font + strlen(prefix[kind]), 0, INT32_MAX, number);
}

bool sm_text__is_drawn_font(const char *font)
{
    return kind_of(font) != FACE_KINDS;
}

bool sm_text__drawn_font_exists(const char *font)
{
    int64_t number;
    return parse_number(&number, font);
}

static bool chance(struct sm_test_random *rng, double probability)
{
    return sm_test_uniform(rng, 0.0, 1.0) < probability;
}

/** Bitmap cells: rows of a digit, and columns to go with them; two pixels of pen only where there is room. */
static void choose_cell(struct face *face, struct sm_test_random *rng)
{
    static const int8_t rows[] = {6, 7, 7, 7, 8, 8, 9, 9, 10, 10, 11, 12, 12, 14};
    face->rows = rows[sm_test_int(rng, 0, (int64_t)sizeof rows - 1)];
    face->columns = (int32_t)fmax(4.0, round(face->rows * sm_test_uniform(rng, 0.5, 0.78)));
    face->pen_px = face->rows >= 9 && face->columns >= 7 && chance(rng, 0.5) ? 2 : 1;
    face->rounding = chance(rng, 0.25) ? 0.0 : chance(rng, 0.7) ? 1.0 : 2.0; /* pixels */
    face->slant = 0.0;
    face->space = chance(rng, 0.75) ? 1.0 : 2.0; /* pixels */
    face->is_proportional = chance(rng, 0.15);
    face->is_point_in_gap = false;
    if (face->rows < 8 || face->columns < 5 + 2 * face->pen_px) {
        face->form[0] = 0; /* no room for a slash: it would be an 8 */
    }
}

static void choose_display(struct face *face, struct sm_test_random *rng)
{
    static const uint8_t tails[10] = {0, 4, 1, 2, 2, 1, 3, 1, 0, 3},
                         bare[10] = {0, 4, 1, 2, 2, 1, 2, 5, 0, 2};
    for (int digit = 0; digit < 10; digit++) {
        face->form[digit] = chance(rng, 0.7) ? tails[digit] : bare[digit];
    }
    face->form[1] = chance(rng, 0.85) ? 4 : 5; /* right, left */
    face->pen = sm_test_uniform(rng, 0.06, 0.19);
    face->aspect = sm_test_uniform(rng, 0.42, 0.68);
    face->slant = chance(rng, 0.3) ? 0.0 : sm_test_uniform(rng, 0.02, 0.17);
    face->space = sm_test_uniform(rng, 0.1, 0.42);
    face->gap = sm_test_uniform(rng, 0.0, 0.06);
    face->dark = chance(rng, 0.12) ? sm_test_uniform(rng, 0.04, 0.2) : 0.0;
    face->is_pointed = chance(rng, 0.7);
    face->is_point_in_gap = chance(rng, 0.6);
    face->is_proportional = chance(rng, 0.15); /* a thin 1 */
}

static struct face face_of(enum face_kind kind, int64_t number)
{
    struct sm_test_random rng = {0x5eedface00U + (uint64_t)number * FACE_KINDS + (uint64_t)kind};
    struct face face = {.kind = kind, .waist = sm_test_uniform(&rng, 0.42, 0.58)};
    for (int digit = 0; digit < 10; digit++) {
        face.form[digit] = (uint8_t)sm_test_int(&rng, 0, SM_TEXT_DIGIT_FORMS - 1);
    }
    face.aspect = sm_test_uniform(&rng, 0.42, 0.78);
    face.pen = sm_test_uniform(&rng, 0.06, 0.2);
    face.form[0] = face.pen > 0.15 ? 0 : face.form[0]; /* a slash would fill it */
    face.rounding = sm_test_uniform(&rng, 0.0, 1.0);
    face.slant = chance(&rng, 0.8) ? 0.0 : sm_test_uniform(&rng, -0.03, 0.2);
    face.space = sm_test_uniform(&rng, 0.08, 0.3);
    face.is_proportional = chance(&rng, 0.5);
    face.is_point_in_gap = chance(&rng, 0.1);
    face.has_round_ends = chance(&rng, 0.5);
    face.has_round_dots = chance(&rng, 0.5);
    if (kind == FACE_CELLS) {
        choose_cell(&face, &rng);
    } else if (kind == FACE_SEGMENTS) {
        choose_display(&face, &rng);
    }
    return face;
}

/* ---- from strokes to a path ---- */

static const char *strokes_of(const struct face *face, const struct sm_caption_style *style,
                              uint32_t codepoint)
{
    if (codepoint < '0' || codepoint > '9') {
        return sm_text__sign_strokes(codepoint);
    }
    int digit = (int)(codepoint - '0'), form = face->form[digit];
    bool is_slashed = digit == 0 && style->has_slashed_zero && form == 5 && face->pen < 0.14;
    return sm_text__digit_strokes(digit, is_slashed ? 1 : form);
}

static double value_of(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'c' ? c - 'a' + 10
                                  : -1.6; /* 'y': below the line */
}

/** How the grid of strokes falls on the picture; y downward from the baseline. */
struct scale {
    double width_px, height_px, pen_px, waist;
    bool is_on_grid; /* lines run through the middles of pixels */
};

struct point {
    double x, y;
};

static double snap(const struct scale *scale, double inner_px, double part)
{
    double at = inner_px * part;
    return 0.5 * scale->pen_px + (scale->is_on_grid ? round(at) : at);
}

static struct point point_of(const struct scale *scale, const char *text)
{
    double x = value_of(text[0]) / GRID_X, y = value_of(text[1]) / GRID_Y;
    double bent = y < 0.0    ? y
                  : y <= 0.5 ? 2.0 * y * scale->waist
                             : 1.0 - 2.0 * (1.0 - y) * (1.0 - scale->waist);
    return (struct point){snap(scale, scale->width_px - scale->pen_px, x),
                          -snap(scale, scale->height_px - scale->pen_px, bent)};
}

static struct point towards(struct point from, struct point to, double reach_px)
{
    double length = hypot(to.x - from.x, to.y - from.y),
           part = length > 0.0 ? fmin(0.5, reach_px / length) : 0.0;
    return (struct point){from.x + part * (to.x - from.x), from.y + part * (to.y - from.y)};
}

/** A line through the points with its corners cut back: straight on a grid of pixels, else round. */
static void trace(cairo_t *cairo, const struct point *p, int n, double cut_px, bool is_straight)
{
    bool is_closed = n > 2 && p[0].x == p[n - 1].x && p[0].y == p[n - 1].y;
    struct point start = is_closed ? towards(p[0], p[1], cut_px) : p[0];
    cairo_move_to(cairo, start.x, start.y);
    for (int i = 1; i < n - (is_closed ? 0 : 1); i++) {
        struct point next = i + 1 < n ? p[i + 1] : p[1];
        struct point from = towards(p[i], p[i - 1], cut_px), to = towards(p[i], next, cut_px);
        cairo_line_to(cairo, from.x, from.y);
        if (is_straight) {
            cairo_line_to(cairo, to.x, to.y);
        } else {
            cairo_curve_to(cairo, (from.x + 2 * p[i].x) / 3, (from.y + 2 * p[i].y) / 3,
                           (to.x + 2 * p[i].x) / 3, (to.y + 2 * p[i].y) / 3, to.x, to.y);
        }
    }
    if (is_closed) {
        cairo_close_path(cairo);
    } else {
        cairo_line_to(cairo, p[n - 1].x, p[n - 1].y);
    }
}

static void draw_dot(cairo_t *cairo, struct point at, double size_px, bool is_round)
{
    if (is_round) {
        cairo_arc(cairo, at.x, at.y, 0.5 * size_px, 0.0, 6.2832);
    } else {
        cairo_rectangle(cairo, at.x - 0.5 * size_px, at.y - 0.5 * size_px, size_px, size_px);
    }
    cairo_fill(cairo);
}

/** One character's strokes, the origin on the baseline at the left edge of its box. */
static void draw_strokes(cairo_t *cairo, const char *strokes, const struct scale *scale, double cut_px,
                         const struct face *face)
{
    cairo_set_line_width(cairo, scale->pen_px);
    cairo_set_line_cap(cairo, face->has_round_ends && !scale->is_on_grid ? CAIRO_LINE_CAP_ROUND
                                                                         : CAIRO_LINE_CAP_SQUARE);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_MITER);
    for (const char *at = strokes; *at; at += *at == '|') {
        struct point p[MAX_POINTS] = {{0.0, 0.0}};
        int n = 0;
        if (*at == '.') {
            draw_dot(cairo, point_of(scale, at + 1), scale->is_on_grid ? scale->pen_px : 1.25 * scale->pen_px,
                     face->has_round_dots && !scale->is_on_grid);
            at += 3;
            continue;
        }
        for (; *at && *at != '|'; at += 2 + (at[2] == ' ')) {
            assert(n < MAX_POINTS);
            p[n++] = point_of(scale, at);
        }
        trace(cairo, p, n, cut_px, scale->is_on_grid);
        cairo_stroke(cairo);
    }
}

/* ---- segments ---- */

/** Bits: top, upper right, lower right, bottom, lower left, upper left, middle. @return -1 not for a display.
 */
static int segments_of(const struct face *face, uint32_t codepoint)
{
    static const uint8_t lit[10] = {0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f};
    if (codepoint < '0' || codepoint > '9') {
        return codepoint == '-' ? 0x40 : codepoint == '_' ? 0x08 : -1;
    }
    int segments = lit[codepoint - '0'];
    switch (codepoint) {
    case '1':
        return face->form[1] == 5 ? 0x30 : segments;
    case '6':
        return face->form[6] == 2 ? 0x7c : segments;
    case '7':
        return face->form[7] == 5 ? 0x27 : segments;
    case '9':
        return face->form[9] == 2 ? 0x67 : segments;
    default:
        return segments;
    }
}

/** A bar along one axis, thick on both sides of its line, blunt or pointed. */
static void draw_bar(cairo_t *cairo, struct point a, struct point b, double thick, bool is_pointed)
{
    double half = 0.5 * thick, tip = is_pointed ? half : 0.0;
    bool is_flat = fabs(b.x - a.x) > fabs(b.y - a.y);
    const double along[6] = {0, tip, -tip, 0, -tip, tip}, across[6] = {0, -half, -half, 0, half, half};
    for (int i = 0; i < 6; i++) {
        const struct point *end = i >= 2 && i <= 4 ? &b : &a;
        double x = end->x + (is_flat ? along[i] : across[i]), y = end->y + (is_flat ? across[i] : along[i]);
        if (i == 0) {
            cairo_move_to(cairo, x, y);
        } else {
            cairo_line_to(cairo, x, y);
        }
    }
    cairo_close_path(cairo);
    cairo_fill(cairo);
}

static void draw_segments(cairo_t *cairo, const struct face *face, int segments, double width_px,
                          double height_px)
{
    const double thick = face->pen * height_px, edge = 0.5 * thick, gap = face->gap * height_px;
    const double left = edge, right = width_px - edge, top = edge - height_px, low = -edge,
                 mid = -face->waist * height_px;
    const struct point end[7][2] = {{{left, top}, {right, top}},  {{right, top}, {right, mid}},
                                    {{right, mid}, {right, low}}, {{left, low}, {right, low}},
                                    {{left, mid}, {left, low}},   {{left, top}, {left, mid}},
                                    {{left, mid}, {right, mid}}};
    const double inset = gap + (face->is_pointed ? 0.0 : edge);
    for (int i = 0; i < 7; i++) {
        struct point a = end[i][0], b = end[i][1];
        bool is_flat = b.x > a.x;
        double shine = segments & (1 << i) ? 1.0 : face->dark;
        a.x += is_flat ? inset : 0.0, b.x -= is_flat ? inset : 0.0;
        a.y += is_flat ? 0.0 : inset, b.y -= is_flat ? 0.0 : inset;
        if (shine > 0.0) {
            cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, shine);
            draw_bar(cairo, a, b, thick, face->is_pointed);
        }
    }
    cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, 1.0);
}

/* ---- a character, and a line of them ---- */

/** Measures of the line, px of the picture before whole-pixel magnification. */
struct measure {
    struct scale scale;
    double cut_px, space_px, slant;
    int32_t zoom_x, zoom_y; /* cells are drawn small and magnified */
};

static struct measure measure_of(const struct face *face, const struct sm_caption_style *style)
{
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    if (face->kind == FACE_CELLS) {
        int32_t zoom = (int32_t)fmax(1.0, round(style->height_px / face->rows));
        return (struct measure){{face->columns, face->rows, face->pen_px, face->waist, true},
                                face->rounding,
                                face->space,
                                0.0,
                                (int32_t)fmax(1.0, round(zoom * stretch)),
                                zoom};
    }
    double height = style->height_px, pen = fmax(1.0, (style->is_bold ? 1.4 : 1.0) * face->pen * height);
    double width = fmax(2.5 * pen, face->aspect * height * stretch);
    return (struct measure){{width, height, pen, face->waist, false},
                            0.5 * face->rounding * width,
                            face->space * height,
                            face->slant,
                            1,
                            1};
}

/** What a character looks like on its own, with where its ink lies. */
struct stamp {
    cairo_surface_t *surface;
    int32_t width_px, height_px, origin_px,
        baseline_px;          /* of the picture; where the character's box begins in it */
    int32_t first_px, end_px; /* columns of ink, from the box's edge */
};

static void find_ink(struct stamp *stamp)
{
    const uint8_t *data = cairo_image_surface_get_data(stamp->surface);
    ptrdiff_t stride = cairo_image_surface_get_stride(stamp->surface);
    stamp->first_px = stamp->end_px = 0;
    bool is_empty = true;
    for (int32_t x = 0; x < stamp->width_px; x++) {
        for (int32_t y = 0; y < stamp->height_px; y++) {
            if (data[y * stride + x] >= SEEN_ALPHA) {
                stamp->first_px = is_empty ? x - stamp->origin_px : stamp->first_px;
                stamp->end_px = x + 1 - stamp->origin_px;
                is_empty = false;
                break;
            }
        }
    }
}

static void draw_character(cairo_t *cairo, const struct face *face, const struct sm_caption_style *style,
                           const struct measure *m, uint32_t codepoint)
{
    int segments = face->kind == FACE_SEGMENTS ? segments_of(face, codepoint) : -1;
    if (codepoint == ' ') {
        return;
    }
    if (segments >= 0) {
        draw_segments(cairo, face, segments, m->scale.width_px, m->scale.height_px);
    } else {
        draw_strokes(cairo, strokes_of(face, style, codepoint), &m->scale, m->cut_px, face);
    }
}

/** Draw one character on a surface of its own; fraction_px moves it right by part of a pixel. */
static bool make_stamp(struct stamp *stamp, const struct face *face, const struct sm_caption_style *style,
                       const struct measure *m, uint32_t codepoint, double fraction_px)
{
    int32_t room = (int32_t)ceil(m->scale.pen_px + 0.3 * m->scale.height_px) + 1;
    stamp->origin_px = room;
    stamp->width_px = (int32_t)ceil(m->scale.width_px) + 2 * room + 1;
    stamp->baseline_px = (int32_t)ceil(m->scale.height_px) + room;
    stamp->height_px = stamp->baseline_px + room;
    stamp->surface = cairo_image_surface_create(CAIRO_FORMAT_A8, stamp->width_px, stamp->height_px);
    cairo_t *cairo = cairo_create(stamp->surface);
    bool is_good = cairo_status(cairo) == CAIRO_STATUS_SUCCESS;
    if (is_good) {
        const cairo_matrix_t slant = {.xx = 1.0, .xy = -m->slant, .yy = 1.0};
        cairo_set_antialias(cairo, face->kind == FACE_CELLS || style->is_hard_edged ? CAIRO_ANTIALIAS_NONE
                                                                                    : CAIRO_ANTIALIAS_GRAY);
        cairo_translate(cairo, stamp->origin_px + fraction_px, stamp->baseline_px);
        cairo_transform(cairo, &slant);
        draw_character(cairo, face, style, m, codepoint);
        cairo_surface_flush(stamp->surface);
        find_ink(stamp);
    }
    cairo_destroy(cairo);
    return is_good;
}

/** Room a character takes, and how far its box lies left of where the pen stands, before magnification. */
static void advance_of(double *step_px, double *shift_px, const struct face *face, const struct measure *m,
                       const struct stamp *ink, uint32_t codepoint)
{
    bool is_dot = codepoint == '.' || codepoint == ',' || codepoint == ':' || codepoint == '\'';
    double width = ink->end_px - ink->first_px;
    *shift_px = 0.0;
    *step_px = m->scale.width_px + m->space_px;
    if (is_dot && face->is_point_in_gap && codepoint != '\'') {
        *shift_px = ink->first_px + 0.5 * (width + m->space_px);
        *step_px = 0.0;
    } else if (width > 0.0 && (face->is_proportional || (is_dot && face->kind == FACE_SEGMENTS))) {
        *shift_px = ink->first_px;
        *step_px = width + m->space_px;
    }
    *shift_px = face->kind == FACE_CELLS ? round(*shift_px) : *shift_px;
}

/** Lay a stamp into the mask, each of its pixels a block. */
static void print(struct sm_text_mask *mask, const struct stamp *stamp, int32_t left_px, int32_t baseline_px,
                  const struct measure *m)
{
    const uint8_t *data = cairo_image_surface_get_data(stamp->surface);
    ptrdiff_t stride = cairo_image_surface_get_stride(stamp->surface);
    for (int32_t y = 0; y < stamp->height_px * m->zoom_y; y++) {
        int32_t to_y = baseline_px + y - stamp->baseline_px * m->zoom_y;
        for (int32_t x = 0; x < stamp->width_px * m->zoom_x && to_y >= 0 && to_y < mask->height_px; x++) {
            int32_t to_x = left_px + x - stamp->origin_px * m->zoom_x;
            uint8_t value = data[y / m->zoom_y * stride + x / m->zoom_x];
            if (value > 0 && to_x >= 0 && to_x < mask->width_px) {
                uint8_t *to = mask->alpha + (ptrdiff_t)to_y * mask->width_px + to_x;
                *to = value > *to ? value : *to;
            }
        }
    }
}

/** Steps of all characters; cell edges in mask px. */
static enum sm_status place_all(struct sm_caption_glyph *glyph, size_t n_glyphs, double *shift_px,
                                const struct face *face, const struct sm_caption_style *style,
                                const struct measure *m, double *at_px, struct sm_error *err)
{
    for (size_t i = 0; i < n_glyphs; i++) {
        struct stamp stamp;
        double step_px;
        bool is_drawn = make_stamp(&stamp, face, style, m, glyph[i].codepoint, 0.0);
        advance_of(&step_px, &shift_px[i], face, m, &stamp, glyph[i].codepoint);
        cairo_surface_destroy(stamp.surface);
        if (!is_drawn) {
            return sm_error_set(err, SM_E_NOMEM, "no memory for a character");
        }
        glyph[i].cell_left_px = *at_px;
        *at_px += step_px * m->zoom_x + (step_px > 0.0 ? style->letter_spacing_px : 0.0);
        *at_px = face->kind == FACE_CELLS ? round(*at_px) : *at_px;
        glyph[i].cell_right_px = fmax(*at_px, glyph[i].cell_left_px + 1.0);
    }
    return SM_OK;
}

static enum sm_status print_all(struct sm_text_mask *mask, struct sm_caption_glyph *glyph, size_t n_glyphs,
                                const double *shift_px, const struct face *face,
                                const struct sm_caption_style *style, const struct measure *m,
                                struct sm_error *err)
{
    for (size_t i = 0; i < n_glyphs; i++) {
        struct stamp stamp;
        double left = glyph[i].cell_left_px - shift_px[i] * m->zoom_x, whole = floor(left);
        bool is_split = face->kind != FACE_CELLS && !style->is_hard_edged;
        if (!make_stamp(&stamp, face, style, m, glyph[i].codepoint, is_split ? left - whole : 0.0)) {
            cairo_surface_destroy(stamp.surface);
            return sm_error_set(err, SM_E_NOMEM, "no memory for a character");
        }
        print(mask, &stamp, (int32_t)whole, (int32_t)mask->baseline_px, m);
        glyph[i].has_ink = stamp.end_px > stamp.first_px;
        glyph[i].left_px = glyph[i].has_ink ? whole + stamp.first_px * m->zoom_x : glyph[i].cell_left_px;
        glyph[i].right_px = glyph[i].has_ink ? whole + stamp.end_px * m->zoom_x : glyph[i].cell_right_px;
        cairo_surface_destroy(stamp.surface);
    }
    return SM_OK;
}

enum sm_status sm_text__draw_drawn_font(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                        size_t n_glyphs, const struct sm_caption_style *style,
                                        const char *text, int32_t margin_px, struct sm_error *err)
{
    (void)text;
    int64_t number = 0;
    double shift_px[SM_TEXT_MAX_CHARS];
    if (!parse_number(&number, style->font)) {
        return sm_error_set(err, SM_E_NOTFOUND, "\"%s\" is no number of a drawn face", style->font);
    }
    const struct face face = face_of(kind_of(style->font), number);
    const struct measure m = measure_of(&face, style);
    double height_px = m.scale.height_px * m.zoom_y;
    double left_px = margin_px + ceil(0.5 * height_px),
           at_px = left_px; /* shifted and slanted ink reaches out */
    enum sm_status status = place_all(glyph, n_glyphs, shift_px, &face, style, &m, &at_px, err);
    if (status == SM_OK) {
        status = sm_text__mask_alloc(mask, at_px + ceil(0.5 * height_px) + margin_px,
                                     ceil(1.7 * height_px) + 2 * margin_px, err);
    }
    if (status == SM_OK) {
        mask->baseline_px = margin_px + ceil(1.3 * height_px);
        mask->top_px = mask->baseline_px - height_px;
        mask->text_left_px = left_px;
        mask->text_right_px = at_px;
        status = print_all(mask, glyph, n_glyphs, shift_px, &face, style, &m, err);
        if (status != SM_OK) {
            sm_free(mask->alpha);
        }
    }
    return status;
}
