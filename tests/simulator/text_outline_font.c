/**
 * @file text_outline_font.c
 * Text in outline fonts through Pango and Cairo, and the seven-segment display, whose digits are polygons drawn here and
 * whose letters come from an ordinary font.
 */
#include "text_render_internal.h"

#include <math.h>
#include <pango/pangocairo.h>
#include <string.h>

#define PROBE_SIZE_PX 128.0 /* size at which a font's digit height is measured */

/** The height of the digits is that of a seven: flat on top, standing on the line, no overshoot. */
#define HEIGHT_SAMPLE "7"

struct pen {
    cairo_surface_t *surface;
    cairo_t *cairo;
};

static bool open_pen(struct pen *pen, int32_t width_px, int32_t height_px)
{
    pen->surface = cairo_image_surface_create(CAIRO_FORMAT_A8, width_px, height_px);
    pen->cairo = cairo_create(pen->surface);
    return cairo_status(pen->cairo) == CAIRO_STATUS_SUCCESS;
}

static void close_pen(struct pen *pen)
{
    cairo_destroy(pen->cairo);
    cairo_surface_destroy(pen->surface);
}

static void copy_out(struct sm_text_mask *mask, struct pen *pen)
{
    cairo_surface_flush(pen->surface);
    const uint8_t *from = cairo_image_surface_get_data(pen->surface);
    ptrdiff_t stride = cairo_image_surface_get_stride(pen->surface);
    for (int32_t y = 0; y < mask->height_px; y++) {
        memcpy(mask->alpha + (ptrdiff_t)y * mask->width_px, from + y * stride, (size_t)mask->width_px);
    }
}

static void set_attributes(PangoLayout *layout, const struct sm_caption_style *style, double spacing_px)
{
    PangoAttrList *list = pango_attr_list_new();
    pango_attr_list_insert(list, pango_attr_font_features_new(style->has_slashed_zero
                                                                  ? "liga=0, clig=0, calt=0, kern=0, lnum=1, zero=1"
                                                                  : "liga=0, clig=0, calt=0, kern=0, lnum=1"));
    pango_attr_list_insert(list, pango_attr_letter_spacing_new((int)lround(spacing_px * PANGO_SCALE)));
    pango_layout_set_attributes(layout, list);
    pango_attr_list_unref(list);
}

static PangoLayout *new_layout(const struct sm_caption_style *style, const char *family, double size_px,
                               const char *text)
{
    PangoContext *context = pango_font_map_create_context(pango_cairo_font_map_get_default());
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_antialias(options, style->is_hard_edged ? CAIRO_ANTIALIAS_NONE : CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(options, style->is_hard_edged ? CAIRO_HINT_STYLE_FULL : CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, style->is_hard_edged ? CAIRO_HINT_METRICS_ON : CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, options);
    pango_context_set_round_glyph_positions(context, style->is_hard_edged);
    cairo_font_options_destroy(options);

    PangoLayout *layout = pango_layout_new(context);
    PangoFontDescription *face = pango_font_description_new();
    pango_font_description_set_family(face, family);
    pango_font_description_set_weight(face, style->is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(face, size_px * PANGO_SCALE);
    pango_layout_set_font_description(layout, face);
    pango_font_description_free(face);
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    set_attributes(layout, style, style->letter_spacing_px / stretch);
    pango_layout_set_text(layout, text, -1);
    g_object_unref(context);
    return layout;
}

static PangoRectangle ink_of(const struct sm_caption_style *style, const char *family, double size_px, const char *text,
                             int *baseline)
{
    PangoRectangle ink;
    PangoLayout *layout = new_layout(style, family, size_px, text);
    pango_layout_get_extents(layout, &ink, NULL);
    *baseline = pango_layout_get_baseline(layout);
    g_object_unref(layout);
    return ink;
}

/** Font size at which the digits have the wanted height, and that height as the font then really has it. */
static enum sm_status fit_size(double *size_px, double *digit_height_px, const struct sm_caption_style *style,
                               const char *family, struct sm_error *err)
{
    int baseline = 0;
    PangoRectangle ink = ink_of(style, family, PROBE_SIZE_PX, HEIGHT_SAMPLE, &baseline);
    if (ink.height <= 0) {
        return sm_error_set(err, SM_E_FORMAT, "font \"%s\" has no digits", family);
    }
    *size_px = PROBE_SIZE_PX * style->height_px * PANGO_SCALE / (double)ink.height;
    ink = ink_of(style, family, *size_px, HEIGHT_SAMPLE, &baseline);
    *digit_height_px = (double)(baseline - ink.y) / PANGO_SCALE;
    return SM_OK;
}

/** Places of the characters, from the layout's left edge; a cluster of several characters shares its place. */
static void place_glyphs(struct sm_caption_glyph *glyph, size_t n_glyphs, PangoLayout *layout, double left_px,
                         double stretch)
{
    size_t i = 0;
    PangoLayoutIter *iter = pango_layout_get_iter(layout);
    do {
        PangoRectangle ink, logical;
        size_t index = (size_t)pango_layout_iter_get_index(iter);
        pango_layout_iter_get_cluster_extents(iter, &ink, &logical);
        if (!pango_layout_iter_get_run_readonly(iter)) {
            break; /* the end of the line */
        }
        while (i < n_glyphs && glyph[i].offset_bytes < index) {
            i++;
        }
        if (i == n_glyphs) {
            break;
        }
        struct sm_caption_glyph *g = &glyph[i];
        g->has_ink = ink.width > 0 && ink.height > 0;
        g->cell_left_px = left_px + stretch * logical.x / PANGO_SCALE;
        g->cell_right_px = left_px + stretch * (logical.x + logical.width) / PANGO_SCALE;
        g->left_px = g->has_ink ? left_px + stretch * ink.x / PANGO_SCALE : g->cell_left_px;
        g->right_px = g->has_ink ? left_px + stretch * (ink.x + ink.width) / PANGO_SCALE : g->cell_right_px;
    } while (pango_layout_iter_next_cluster(iter));
    pango_layout_iter_free(iter);
}

static enum sm_status draw_layout(struct sm_text_mask *mask, PangoLayout *layout, double stretch, int32_t margin_px,
                                  double digit_height_px, struct sm_error *err)
{
    PangoRectangle ink, logical;
    struct pen pen;
    pango_layout_get_extents(layout, &ink, &logical);
    /* Whole pixels on the line and at the start, so that hard edges meet the grid. */
    double overhang = ceil(fmax(0.0, -stretch * ink.x / PANGO_SCALE));
    double right = fmax(ink.x + ink.width, logical.x + logical.width) * stretch / PANGO_SCALE;
    double above = ceil(fmax(digit_height_px, (double)(pango_layout_get_baseline(layout) - ink.y) / PANGO_SCALE));
    double below = ceil(fmax(0.0, (double)(ink.y + ink.height - pango_layout_get_baseline(layout)) / PANGO_SCALE));
    double left = margin_px + overhang;
    double baseline = margin_px + above;

    enum sm_status status = sm_text__mask_alloc(mask, left + right + margin_px + 1.0, baseline + below + margin_px, err);
    if (status != SM_OK) {
        return status;
    }
    if (open_pen(&pen, mask->width_px, mask->height_px)) {
        cairo_translate(pen.cairo, left, baseline - (double)pango_layout_get_baseline(layout) / PANGO_SCALE);
        cairo_scale(pen.cairo, stretch, 1.0);
        pango_cairo_show_layout(pen.cairo, layout);
        copy_out(mask, &pen);
    }
    close_pen(&pen);
    mask->baseline_px = baseline;
    mask->top_px = baseline - digit_height_px;
    mask->text_left_px = left;
    mask->text_right_px = left + stretch * (logical.x + logical.width) / PANGO_SCALE;
    return SM_OK;
}

bool sm_text__outline_font_exists(const char *family)
{
    return pango_font_map_get_family(pango_cairo_font_map_get_default(), family) != NULL;
}

enum sm_status sm_text__draw_outline_font(struct sm_text_mask *mask, struct sm_caption_glyph *glyph, size_t n_glyphs,
                                          const struct sm_caption_style *style, const char *text, int32_t margin_px,
                                          struct sm_error *err)
{
    double size_px, digit_height_px;
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    if (!sm_text__outline_font_exists(style->font)) {
        (void)sm_error_set(err, SM_E_NOTFOUND, "font \"%s\" is not installed", style->font);
        return err ? sm_error_remedy(err, "install its package; tests/trainer/fonts.txt names them") : SM_E_NOTFOUND;
    }
    enum sm_status status = fit_size(&size_px, &digit_height_px, style, style->font, err);
    if (status != SM_OK) {
        return status;
    }
    PangoLayout *layout = new_layout(style, style->font, size_px, text);
    status = draw_layout(mask, layout, stretch, margin_px, digit_height_px, err);
    if (status == SM_OK) {
        place_glyphs(glyph, n_glyphs, layout, mask->text_left_px, stretch);
    }
    g_object_unref(layout);
    return status;
}

/* ---- seven segments ------------------------------------------------------------------------------------------ */

#define SEGMENT_WIDTH 0.52     /* of the digit's height, outer edge to outer edge */
#define SEGMENT_THICKNESS 0.13 /* of the digit's height */
#define SEGMENT_GAP 0.02       /* between the ends of neighbouring segments */
#define SEGMENT_SPACE 0.20     /* between digits */
#define SEGMENT_SLANT 0.10     /* rightward per unit of height */
#define SEGMENT_LETTERS "DejaVu Sans"

/** Bits a..g of the display: top, upper right, lower right, bottom, lower left, upper left, middle. */
static int segments_of(uint32_t codepoint)
{
    static const uint8_t digit[10] = {0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f};
    if (codepoint >= '0' && codepoint <= '9') {
        return digit[codepoint - '0'];
    }
    return codepoint == '-' ? 0x40 : codepoint == '_' ? 0x08 : codepoint == ' ' ? 0x00 : -1;
}

/** One bar with pointed ends from (x0,y0) to (x1,y1), along an axis. */
static void bar(cairo_t *cairo, double x0, double y0, double x1, double y1, double thickness)
{
    double half = 0.5 * thickness;
    if (fabs(x1 - x0) > fabs(y1 - y0)) {
        cairo_move_to(cairo, x0, y0);
        cairo_line_to(cairo, x0 + half, y0 - half);
        cairo_line_to(cairo, x1 - half, y1 - half);
        cairo_line_to(cairo, x1, y1);
        cairo_line_to(cairo, x1 - half, y1 + half);
        cairo_line_to(cairo, x0 + half, y0 + half);
    } else {
        cairo_move_to(cairo, x0, y0);
        cairo_line_to(cairo, x0 + half, y0 + half);
        cairo_line_to(cairo, x1 + half, y1 - half);
        cairo_line_to(cairo, x1, y1);
        cairo_line_to(cairo, x1 - half, y1 - half);
        cairo_line_to(cairo, x0 - half, y0 + half);
    }
    cairo_close_path(cairo);
    cairo_fill(cairo);
}

/** A digit of height 1 with its lower left corner at the origin, y downward, slanted by the caller. */
static void draw_segments(cairo_t *cairo, int segments)
{
    const double left = 0.5 * SEGMENT_THICKNESS, right = SEGMENT_WIDTH - left;
    const double rows[3] = {-1.0 + left, -0.5, -left};
    const double place[7][4] = {{left, rows[0], right, rows[0]}, {right, rows[0], right, rows[1]},
                                {right, rows[1], right, rows[2]}, {left, rows[2], right, rows[2]},
                                {left, rows[1], left, rows[2]}, {left, rows[0], left, rows[1]},
                                {left, rows[1], right, rows[1]}};
    for (int i = 0; i < 7; i++) {
        if (segments & (1 << i)) {
            double x_gap = place[i][0] < place[i][2] ? SEGMENT_GAP : 0.0;
            double y_gap = place[i][1] < place[i][3] ? SEGMENT_GAP : 0.0;
            bar(cairo, place[i][0] + x_gap, place[i][1] + y_gap, place[i][2] - x_gap, place[i][3] - y_gap,
                SEGMENT_THICKNESS);
        }
    }
}

/** Dots of point, comma and colon, in units of the digit's height. */
static void draw_dots(cairo_t *cairo, uint32_t codepoint)
{
    double y = codepoint == ':' ? -0.3 : -SEGMENT_THICKNESS;
    cairo_rectangle(cairo, 0.0, y, SEGMENT_THICKNESS, SEGMENT_THICKNESS);
    if (codepoint == ':') {
        cairo_rectangle(cairo, 0.0, -0.7 - SEGMENT_THICKNESS, SEGMENT_THICKNESS, SEGMENT_THICKNESS);
    } else if (codepoint == ',') {
        cairo_rectangle(cairo, 0.0, 0.0, 0.6 * SEGMENT_THICKNESS, SEGMENT_THICKNESS);
    }
    cairo_fill(cairo);
}

static bool is_dots(uint32_t codepoint)
{
    return codepoint == '.' || codepoint == ',' || codepoint == ':';
}

static PangoLayout *letter_layout(const struct sm_caption_style *style, double size_px, const char *text)
{
    char one[5] = {0};
    memcpy(one, text, sm_utf8_len(text));
    return new_layout(style, SEGMENT_LETTERS, size_px, one);
}

/** Ink and advance of one character whose cell starts at left_px. */
static void place_segment_glyph(struct sm_caption_glyph *g, const struct sm_caption_style *style, const char *text,
                                double letter_size_px, double left_px, double unit_px, double stretch)
{
    double unit_x = unit_px * stretch;
    g->cell_left_px = g->left_px = left_px;
    g->has_ink = true;
    if (is_dots(g->codepoint)) {
        g->right_px = left_px + SEGMENT_THICKNESS * unit_x;
    } else if (segments_of(g->codepoint) >= 0) {
        bool is_one = g->codepoint == '1';
        g->has_ink = g->codepoint != ' ';
        g->left_px = left_px + (is_one ? SEGMENT_WIDTH - SEGMENT_THICKNESS : 0.0) * unit_x;
        g->right_px = left_px + (SEGMENT_WIDTH + (g->codepoint == '_' || !g->has_ink ? 0.0 : SEGMENT_SLANT)) * unit_x;
    } else {
        PangoRectangle ink, logical;
        PangoLayout *layout = letter_layout(style, letter_size_px, text + g->offset_bytes);
        pango_layout_get_extents(layout, &ink, &logical);
        g->left_px = left_px + stretch * ink.x / PANGO_SCALE;
        g->right_px = g->left_px + stretch * ink.width / PANGO_SCALE;
        g_object_unref(layout);
    }
    g->cell_right_px = fmax(g->right_px, g->left_px) + SEGMENT_SPACE * unit_x + style->letter_spacing_px;
}

static void draw_segment_glyph(cairo_t *cairo, const struct sm_caption_glyph *g, const struct sm_caption_style *style,
                               const char *text, double letter_size_px, double baseline_px, double unit_px,
                               double stretch)
{
    cairo_save(cairo);
    cairo_translate(cairo, g->cell_left_px, baseline_px);
    cairo_scale(cairo, stretch, 1.0);
    if (is_dots(g->codepoint) || segments_of(g->codepoint) >= 0) {
        const cairo_matrix_t slant = {.xx = unit_px, .xy = -SEGMENT_SLANT * unit_px, .yy = unit_px};
        cairo_transform(cairo, &slant);
        if (is_dots(g->codepoint)) {
            draw_dots(cairo, g->codepoint);
        } else {
            draw_segments(cairo, segments_of(g->codepoint));
        }
    } else {
        PangoLayout *layout = letter_layout(style, letter_size_px, text + g->offset_bytes);
        cairo_move_to(cairo, 0.0, -(double)pango_layout_get_baseline(layout) / PANGO_SCALE);
        pango_cairo_show_layout(cairo, layout);
        g_object_unref(layout);
    }
    cairo_restore(cairo);
}

enum sm_status sm_text__draw_seven_segment(struct sm_text_mask *mask, struct sm_caption_glyph *glyph, size_t n_glyphs,
                                           const struct sm_caption_style *style, const char *text, int32_t margin_px,
                                           struct sm_error *err)
{
    double letter_size_px, letter_height_px;
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    double unit_px = style->height_px, at_px = margin_px;
    struct pen pen;
    enum sm_status status = fit_size(&letter_size_px, &letter_height_px, style, SEGMENT_LETTERS, err);
    if (status != SM_OK) {
        return status;
    }
    for (size_t i = 0; i < n_glyphs; i++) {
        place_segment_glyph(&glyph[i], style, text, letter_size_px, at_px, unit_px, stretch);
        at_px = glyph[i].cell_right_px;
    }
    double above = ceil(1.3 * unit_px), below = ceil(0.4 * unit_px);
    double baseline_px = margin_px + above;
    status = sm_text__mask_alloc(mask, at_px + margin_px + SEGMENT_SLANT * unit_px, baseline_px + below + margin_px, err);
    if (status != SM_OK) {
        return status;
    }
    if (open_pen(&pen, mask->width_px, mask->height_px)) {
        cairo_set_antialias(pen.cairo, style->is_hard_edged ? CAIRO_ANTIALIAS_NONE : CAIRO_ANTIALIAS_DEFAULT);
        for (size_t i = 0; i < n_glyphs; i++) {
            draw_segment_glyph(pen.cairo, &glyph[i], style, text, letter_size_px, baseline_px, unit_px, stretch);
        }
        copy_out(mask, &pen);
    }
    close_pen(&pen);
    mask->baseline_px = baseline_px;
    mask->top_px = baseline_px - unit_px;
    mask->text_left_px = margin_px;
    mask->text_right_px = at_px;
    return SM_OK;
}
