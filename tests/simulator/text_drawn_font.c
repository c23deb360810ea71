/**
 * @file text_drawn_font.c
 * Faces that no font file holds, each drawn from its number alone: "cells:N" bitmap characters of 6 to 14
 * rows as overlay chips have them, "dots:N" such characters whose dots or rows stand apart, "strokes:N" pen
 * strokes of one width, "segments:N" seven-segment displays, "bursts:N" displays of fourteen segments.
 * The number decides the shape of every digit (open or closed 4, slashed or dotted 0, 1 with or without a
 * foot, tails of 6, 7 and 9), the cell, the pen, the slant, fixed or proportional steps, and where the point
 * stands.
 */
#include "text_drawn_internal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define SEEN_ALPHA 64 /* least coverage that counts as ink: a display's dark segments are below it */

/** Measures of the line, px of the picture before whole-pixel magnification. */
struct measure {
    struct scale scale;
    double cut_px, space_px, slant;
    double zoom_x, zoom_y; /* cells and dots are drawn small and magnified, cells by whole numbers */
};

/** Drawn small, one pixel a dot. */
static bool is_gridded(const struct face *face)
{
    return face->kind == FACE_CELLS || face->kind == FACE_DOTS;
}

static struct measure measure_of(const struct face *face, const struct sm_caption_style *style)
{
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    if (is_gridded(face)) {
        double zoom = fmax(1.0, style->height_px / face->rows);
        zoom = face->kind == FACE_CELLS ? round(zoom) : zoom;
        double zoom_x = fmax(1.0, zoom * stretch);
        return (struct measure){{face->columns, face->rows, face->pen_px, face->waist, true},
                                face->rounding,
                                face->space,
                                0.0,
                                face->kind == FACE_CELLS ? round(zoom_x) : zoom_x,
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
    if (codepoint != ' ' &&
        !sm_text__draw_display(cairo, face, codepoint, m->scale.width_px, m->scale.height_px)) {
        sm_text__draw_strokes(cairo, face, style, codepoint, &m->scale, m->cut_px);
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
        cairo_set_antialias(cairo, is_gridded(face) || style->is_hard_edged ? CAIRO_ANTIALIAS_NONE
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
    } else if (width > 0.0 && (face->is_proportional ||
                               (is_dot && (face->kind == FACE_SEGMENTS || face->kind == FACE_BURSTS)))) {
        *shift_px = ink->first_px;
        *step_px = width + m->space_px;
    }
    *shift_px = is_gridded(face) ? round(*shift_px) : *shift_px;
}

static void ink(struct sm_text_mask *mask, int32_t x, int32_t y, double value)
{
    if (value > 0 && x >= 0 && x < mask->width_px && y >= 0 && y < mask->height_px) {
        uint8_t *to = mask->alpha + (ptrdiff_t)y * mask->width_px + x;
        *to = value > *to ? (uint8_t)value : *to;
    }
}

/** Lay a stamp into the mask, each of its pixels a block. */
static void print_blocks(struct sm_text_mask *mask, const struct stamp *stamp, double left_px,
                         double baseline_px, const struct measure *m)
{
    const uint8_t *data = cairo_image_surface_get_data(stamp->surface);
    ptrdiff_t stride = cairo_image_surface_get_stride(stamp->surface);
    int32_t zoom_x = (int32_t)m->zoom_x, zoom_y = (int32_t)m->zoom_y;
    for (int32_t y = 0; y < stamp->height_px * zoom_y; y++) {
        for (int32_t x = 0; x < stamp->width_px * zoom_x; x++) {
            ink(mask, (int32_t)left_px + x - stamp->origin_px * zoom_x,
                (int32_t)baseline_px + y - stamp->baseline_px * zoom_y,
                data[y / zoom_y * stride + x / zoom_x]);
        }
    }
}

/** Share of one picture pixel that a stretch from a to b covers. */
static double covered(double a, double b, int32_t pixel)
{
    return fmax(0.0, fmin(b, pixel + 1.0) - fmax(a, pixel));
}

/** One dot, its middle at (x, y): a box with soft edges, or an oval. */
static void print_dot(struct sm_text_mask *mask, double x, double y, double width_px, double height_px,
                      bool is_round)
{
    double left = x - 0.5 * width_px, top = y - 0.5 * height_px;
    for (int32_t py = (int32_t)floor(top); py < top + height_px; py++) {
        for (int32_t px = (int32_t)floor(left); px < left + width_px; px++) {
            double share = covered(left, left + width_px, px) * covered(top, top + height_px, py);
            double off = hypot((px + 0.5 - x) / fmax(1.0, width_px), (py + 0.5 - y) / fmax(1.0, height_px));
            ink(mask, px, py, 255 * (is_round ? fmin(share, fmax(0.0, 4.0 * (0.65 - off))) : share));
        }
    }
}

/** Lay a stamp into the mask, each of its pixels a dot by itself. */
static void print_dots(struct sm_text_mask *mask, const struct stamp *stamp, double left_px,
                       double baseline_px, const struct measure *m, const struct face *face)
{
    const uint8_t *data = cairo_image_surface_get_data(stamp->surface);
    ptrdiff_t stride = cairo_image_surface_get_stride(stamp->surface);
    double width_px = fmax(1.0, face->dot_width * m->zoom_x),
           height_px = fmax(1.0, face->dot_height * m->zoom_y);
    for (int32_t y = 0; y < stamp->height_px; y++) {
        for (int32_t x = 0; x < stamp->width_px; x++) {
            if (data[y * stride + x] >= SEEN_ALPHA) {
                print_dot(mask, left_px + (x + 0.5 - stamp->origin_px) * m->zoom_x,
                          baseline_px + (y + 0.5 - stamp->baseline_px) * m->zoom_y, width_px, height_px,
                          face->has_round_dots && face->dot_width < 1.0);
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
        bool is_split = !is_gridded(face) && !style->is_hard_edged;
        if (!make_stamp(&stamp, face, style, m, glyph[i].codepoint, is_split ? left - whole : 0.0)) {
            cairo_surface_destroy(stamp.surface);
            return sm_error_set(err, SM_E_NOMEM, "no memory for a character");
        }
        if (face->kind == FACE_DOTS) {
            print_dots(mask, &stamp, left, mask->baseline_px, m, face);
        } else {
            print_blocks(mask, &stamp, whole, mask->baseline_px, m);
        }
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
    if (!sm_text__face_number(&number, style->font)) {
        return sm_error_set(err, SM_E_NOTFOUND, "\"%s\" is no number of a drawn face", style->font);
    }
    const struct face face = sm_text__face_of(sm_text__face_kind(style->font), number);
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
