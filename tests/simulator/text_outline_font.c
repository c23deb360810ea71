/**
 * @file text_outline_font.c
 * Text in outline fonts through Pango and Cairo, and the seven-segment display, whose digits are polygons
 * drawn here and whose letters come from an ordinary font.
 */
#include "text_render_internal.h"

#include <math.h>
#include <pango/pangocairo.h>
#include <pthread.h>
#include <string.h>

#define LAYOUT_SIZE_PX 128.0  /* size at which fonts are measured, and laid out when they are not hinted */
#define HARD_SIZE_STEP_PX 0.5 /* hinted sizes, so that few fonts have to be loaded */

/** The height of the digits is that of a seven: flat on top, standing on the line, no overshoot. */
#define HEIGHT_SAMPLE "7"

/* Pango has a font map for each thread, but what lies below is shared: two threads drawing for long corrupted
 * the heap. */
static pthread_mutex_t font_lock = PTHREAD_MUTEX_INITIALIZER;

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

static void set_features(PangoLayout *layout, const struct sm_caption_style *style)
{
    PangoAttrList *list = pango_attr_list_new();
    pango_attr_list_insert(list,
                           pango_attr_font_features_new(style->has_slashed_zero
                                                            ? "liga=0, clig=0, calt=0, kern=0, lnum=1, zero=1"
                                                            : "liga=0, clig=0, calt=0, kern=0, lnum=1"));
    pango_layout_set_attributes(layout, list);
    pango_attr_list_unref(list);
}

static PangoLayout *new_layout(const struct sm_caption_style *style, const char *family, double size_px,
                               const char *text)
{
    PangoContext *context = pango_font_map_create_context(pango_cairo_font_map_get_default());
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_antialias(options,
                                     style->is_hard_edged ? CAIRO_ANTIALIAS_NONE : CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(options,
                                      style->is_hard_edged ? CAIRO_HINT_STYLE_FULL : CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, style->is_hard_edged ? CAIRO_HINT_METRICS_ON
                                                                      : CAIRO_HINT_METRICS_OFF);
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
    set_features(layout, style);
    pango_layout_set_text(layout, text, -1);
    g_object_unref(context);
    return layout;
}

static PangoRectangle ink_of(const struct sm_caption_style *style, const char *family, double size_px,
                             const char *text, int *baseline)
{
    PangoRectangle ink;
    PangoLayout *layout = new_layout(style, family, size_px, text);
    pango_layout_get_extents(layout, &ink, NULL);
    *baseline = pango_layout_get_baseline(layout);
    g_object_unref(layout);
    return ink;
}

/**
 * Size of the layout and what to multiply it by. Smooth text is laid out at one size and scaled as a drawing;
 * hard-edged text is laid out at its own size, so that the font's hints meet the pixels.
 */
struct fit {
    double size_px;
    double scale_x, scale_y;
    double digit_height_px; /* as drawn */
};

static enum sm_status fit_size(struct fit *fit, const struct sm_caption_style *style, const char *family,
                               struct sm_error *err)
{
    int baseline = 0;
    double stretch = style->x_stretch > 0.0 ? style->x_stretch : 1.0;
    PangoRectangle ink = ink_of(style, family, LAYOUT_SIZE_PX, HEIGHT_SAMPLE, &baseline);
    double height_px = (double)(baseline - ink.y) / PANGO_SCALE;
    if (height_px <= 0.0) {
        return sm_error_set(err, SM_E_FORMAT, "font \"%s\" has no digits", family);
    }
    if (!style->is_hard_edged) {
        double scale = style->height_px / height_px;
        *fit = (struct fit){LAYOUT_SIZE_PX, stretch * scale, scale, style->height_px};
        return SM_OK;
    }
    double size_px = fmax(4.0, HARD_SIZE_STEP_PX *
                                   round(LAYOUT_SIZE_PX * style->height_px / height_px / HARD_SIZE_STEP_PX));
    ink = ink_of(style, family, size_px, HEIGHT_SAMPLE, &baseline);
    *fit = (struct fit){size_px, stretch, 1.0, (double)(baseline - ink.y) / PANGO_SCALE};
    return SM_OK;
}

/** One glyph of a layout; x in layout px from the text's start, letter spacing included. */
struct placed {
    PangoFont *font; /* [borrow] of the layout */
    PangoGlyphInfo info;
    double x;
    size_t offset_bytes; /* of its character in the text */
};

/** All glyphs of a one-line layout. Spacing is added here and not by Pango, whose extents leave part of it
 * out. @return how many. */
static size_t collect_glyphs(struct placed *placed, size_t room, PangoLayout *layout, const struct fit *fit,
                             double spacing_px, bool is_hard_edged)
{
    size_t n = 0;
    double x = 0.0;
    const PangoLayoutLine *line = pango_layout_get_line_readonly(layout, 0);
    for (const GSList *at = line ? line->runs : NULL; at; at = at->next) {
        const PangoGlyphItem *run = at->data;
        for (int i = 0; i < run->glyphs->num_glyphs && n < room; i++) {
            PangoGlyphInfo info = run->glyphs->glyphs[i];
            size_t offset = (size_t)(run->item->offset + run->glyphs->log_clusters[i]);
            double place = is_hard_edged ? round(x * fit->scale_x) / fit->scale_x : x;
            placed[n++] = (struct placed){run->item->analysis.font, info, place, offset};
            x += (double)info.geometry.width / PANGO_SCALE + spacing_px / fit->scale_x;
        }
    }
    return n;
}

/** Show or outline one glyph with its baseline point at x. */
static void draw_placed(cairo_t *cairo, const struct placed *placed, bool is_hard_edged)
{
    PangoGlyphInfo info = placed->info;
    gint cluster = 0;
    PangoGlyphString one = {.num_glyphs = 1, .glyphs = &info, .log_clusters = &cluster};
    cairo_move_to(cairo, placed->x, 0.0);
    if (is_hard_edged) {
        pango_cairo_show_glyph_string(cairo, placed->font, &one);
    } else {
        /* As a path: glyph pictures would be put on whole pixels. */
        pango_cairo_glyph_string_path(cairo, placed->font, &one);
        cairo_fill(cairo);
    }
}

static PangoRectangle placed_ink(const struct placed *placed)
{
    PangoGlyphInfo info = placed->info;
    gint cluster = 0;
    PangoRectangle ink;
    PangoGlyphString one = {.num_glyphs = 1, .glyphs = &info, .log_clusters = &cluster};
    pango_glyph_string_extents(&one, placed->font, &ink, NULL);
    return ink;
}

/** Slanted ink leans as far out as it reaches above the line, in px. */
static double lean_px(double slant, int above, double scale_y)
{
    return slant * scale_y * (double)above / PANGO_SCALE;
}

/** The first of the given glyphs gives a character its place; further ones only widen it. */
static void place_glyphs(struct sm_caption_glyph *glyph, size_t n_glyphs, const struct placed *placed,
                         size_t n_placed, double left_px, const struct fit *fit, double slant,
                         double spacing_px)
{
    const double scale_x = fit->scale_x;
    size_t i = 0;
    for (size_t k = 0; k < n_placed; k++) {
        while (i < n_glyphs && glyph[i].offset_bytes < placed[k].offset_bytes) {
            i++;
        }
        if (i == n_glyphs) {
            return;
        }
        struct sm_caption_glyph *g = &glyph[i];
        PangoRectangle ink = placed_ink(&placed[k]);
        bool has_ink = ink.width > 0 && ink.height > 0;
        double origin = left_px + scale_x * placed[k].x;
        if (g->cell_right_px <= g->cell_left_px) {
            g->has_ink = has_ink;
            g->cell_left_px = origin;
            g->left_px = has_ink ? origin + scale_x * ink.x / PANGO_SCALE +
                                       lean_px(slant, -(ink.y + ink.height), fit->scale_y)
                                 : origin;
        }
        g->cell_right_px = origin + scale_x * placed[k].info.geometry.width / PANGO_SCALE + spacing_px;
        g->right_px = has_ink ? origin + scale_x * (ink.x + ink.width) / PANGO_SCALE +
                                    lean_px(slant, -ink.y, fit->scale_y)
                              : g->cell_right_px;
    }
}

/** Room that glyphs need around the text's start on the line, in layout px. */
struct extent {
    double left, right, above, below;
};

static struct extent extent_of(const struct placed *placed, size_t n, double spacing)
{
    struct extent e = {0};
    for (size_t i = 0; i < n; i++) {
        PangoRectangle ink = placed_ink(&placed[i]);
        e.left = fmax(e.left, -(placed[i].x + (double)ink.x / PANGO_SCALE));
        e.right = fmax(e.right, placed[i].x + (double)(ink.x + ink.width) / PANGO_SCALE);
        e.right = fmax(e.right, placed[i].x + (double)placed[i].info.geometry.width / PANGO_SCALE + spacing);
        e.above = fmax(e.above, -(double)ink.y / PANGO_SCALE);
        e.below = fmax(e.below, (double)(ink.y + ink.height) / PANGO_SCALE);
    }
    return e;
}

static enum sm_status draw_all(struct sm_text_mask *mask, const struct placed *placed, size_t n,
                               const struct fit *fit, const struct sm_caption_style *style, int32_t margin_px,
                               struct sm_error *err)
{
    struct pen pen;
    struct extent extent = extent_of(placed, n, style->letter_spacing_px / fit->scale_x);
    /* Whole pixels on the line and at the start, so that hard edges meet the grid. */
    double slant = style->is_hard_edged ? 0.0 : style->slant;
    double left = margin_px + ceil(fit->scale_x * extent.left + fabs(slant) * fit->scale_y * extent.below);
    double baseline = margin_px + ceil(fmax(fit->digit_height_px, fit->scale_y * extent.above));
    double right = left + fit->scale_x * extent.right + fabs(slant) * fit->scale_y * extent.above;
    enum sm_status status = sm_text__mask_alloc(
        mask, right + margin_px + 1.0, baseline + ceil(fit->scale_y * extent.below) + margin_px, err);
    if (status != SM_OK) {
        return status;
    }
    if (open_pen(&pen, mask->width_px, mask->height_px)) {
        const cairo_matrix_t lean = {.xx = 1.0, .xy = -slant, .yy = 1.0};
        cairo_translate(pen.cairo, left, baseline);
        cairo_transform(pen.cairo, &lean);
        cairo_scale(pen.cairo, fit->scale_x, fit->scale_y);
        for (size_t i = 0; i < n; i++) {
            draw_placed(pen.cairo, &placed[i], style->is_hard_edged);
        }
        copy_out(mask, &pen);
    }
    close_pen(&pen);
    mask->baseline_px = baseline;
    mask->top_px = baseline - fit->digit_height_px;
    mask->text_left_px = left;
    mask->text_right_px = right;
    return SM_OK;
}

bool sm_text__outline_font_exists(const char *family)
{
    pthread_mutex_lock(&font_lock);
    bool exists = pango_font_map_get_family(pango_cairo_font_map_get_default(), family) != NULL;
    pthread_mutex_unlock(&font_lock);
    return exists;
}

static enum sm_status draw_outline_font(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                        size_t n_glyphs, const struct sm_caption_style *style,
                                        const char *text, int32_t margin_px, struct sm_error *err)
{
    struct fit fit;
    enum sm_status status = fit_size(&fit, style, style->font, err);
    if (status != SM_OK) {
        return status;
    }
    PangoLayout *layout = new_layout(style, style->font, fit.size_px, text);
    struct placed placed[2 * SM_TEXT_MAX_CHARS];
    size_t n_placed = collect_glyphs(placed, sizeof placed / sizeof placed[0], layout, &fit,
                                     style->letter_spacing_px, style->is_hard_edged);
    status = draw_all(mask, placed, n_placed, &fit, style, margin_px, err);
    if (status == SM_OK) {
        place_glyphs(glyph, n_glyphs, placed, n_placed, mask->text_left_px, &fit,
                     style->is_hard_edged ? 0.0 : style->slant, style->letter_spacing_px);
    }
    g_object_unref(layout);
    return status;
}

/* ---- seven segments
 * ------------------------------------------------------------------------------------------ */

#define SEGMENT_WIDTH 0.52     /* of the digit's height, outer edge to outer edge */
#define SEGMENT_THICKNESS 0.13 /* of the digit's height */
#define SEGMENT_GAP 0.02       /* between the ends of neighbouring segments */
#define SEGMENT_SPACE 0.20     /* between digits */
#define SEGMENT_SLANT 0.10     /* rightward per unit of height */
#define SEGMENT_LETTERS "DejaVu Sans"
#define SEEN_ALPHA 64 /* least coverage that counts as ink */

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
    const double place[7][4] = {{left, rows[0], right, rows[0]},  {right, rows[0], right, rows[1]},
                                {right, rows[1], right, rows[2]}, {left, rows[2], right, rows[2]},
                                {left, rows[1], left, rows[2]},   {left, rows[0], left, rows[1]},
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

static PangoLayout *letter_layout(const struct sm_caption_style *style, const struct fit *fit,
                                  const char *text)
{
    char one[5] = {0};
    memcpy(one, text, sm_utf8_len(text));
    return new_layout(style, SEGMENT_LETTERS, fit->size_px, one);
}

/** Ink and advance of one character whose cell starts at left_px. */
static void place_segment_glyph(struct sm_caption_glyph *g, const struct sm_caption_style *style,
                                const char *text, const struct fit *letters, double left_px)
{
    double unit_x = style->height_px * letters->scale_x / letters->scale_y;
    g->cell_left_px = g->left_px = left_px;
    g->has_ink = true;
    if (is_dots(g->codepoint)) {
        g->right_px = left_px + SEGMENT_THICKNESS * unit_x;
    } else if (segments_of(g->codepoint) >= 0) {
        g->right_px = left_px + SEGMENT_WIDTH * unit_x; /* its ink is found when it is drawn */
    } else {
        PangoRectangle ink, logical;
        PangoLayout *layout = letter_layout(style, letters, text + g->offset_bytes);
        pango_layout_get_extents(layout, &ink, &logical);
        g->left_px = left_px + letters->scale_x * ink.x / PANGO_SCALE;
        g->right_px = g->left_px + letters->scale_x * ink.width / PANGO_SCALE;
        g_object_unref(layout);
    }
    g->cell_right_px = fmax(g->right_px, g->left_px) + SEGMENT_SPACE * unit_x + style->letter_spacing_px;
}

static void draw_segment_glyph(cairo_t *cairo, const struct sm_caption_glyph *g,
                               const struct sm_caption_style *style, const char *text,
                               const struct fit *letters, double baseline_px)
{
    cairo_save(cairo);
    cairo_translate(cairo, g->cell_left_px, baseline_px);
    double unit_px = style->height_px;
    if (is_dots(g->codepoint) || segments_of(g->codepoint) >= 0) {
        const cairo_matrix_t slant = {.xx = unit_px, .xy = -SEGMENT_SLANT * unit_px, .yy = unit_px};
        cairo_scale(cairo, letters->scale_x / letters->scale_y, 1.0);
        cairo_transform(cairo, &slant);
        if (is_dots(g->codepoint)) {
            draw_dots(cairo, g->codepoint);
        } else {
            draw_segments(cairo, segments_of(g->codepoint));
        }
    } else {
        PangoLayout *layout = letter_layout(style, letters, text + g->offset_bytes);
        struct placed placed;
        cairo_scale(cairo, letters->scale_x, letters->scale_y);
        if (collect_glyphs(&placed, 1, layout, letters, 0.0, false) == 1) {
            draw_placed(cairo, &placed, style->is_hard_edged);
        }
        g_object_unref(layout);
    }
    cairo_restore(cairo);
}

/** Ink of a drawn character, looked for where its cell is; the slant reaches into the space after it. */
static void find_ink(struct sm_caption_glyph *g, const struct sm_text_mask *mask, double reach_px)
{
    int32_t first = mask->width_px, last = -1;
    int32_t end = (int32_t)fmin(mask->width_px, ceil(g->cell_left_px + reach_px));
    for (int32_t x = (int32_t)floor(g->cell_left_px); x < end; x++) {
        for (int32_t y = 0; y < mask->height_px; y++) {
            if (mask->alpha[(ptrdiff_t)y * mask->width_px + x] >= SEEN_ALPHA) {
                first = x < first ? x : first;
                last = x;
            }
        }
    }
    g->has_ink = last >= first;
    g->left_px = g->has_ink ? first : g->cell_left_px;
    g->right_px = g->has_ink ? last + 1 : g->cell_right_px;
}

static enum sm_status draw_seven_segment(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                         size_t n_glyphs, const struct sm_caption_style *style,
                                         const char *text, int32_t margin_px, struct sm_error *err)
{
    struct fit letters;
    double unit_px = style->height_px, at_px = margin_px;
    struct pen pen;
    enum sm_status status = fit_size(&letters, style, SEGMENT_LETTERS, err);
    if (status != SM_OK) {
        return status;
    }
    for (size_t i = 0; i < n_glyphs; i++) {
        place_segment_glyph(&glyph[i], style, text, &letters, at_px);
        at_px = glyph[i].cell_right_px;
    }
    double above = ceil(1.3 * unit_px), below = ceil(0.4 * unit_px);
    double baseline_px = margin_px + above;
    status = sm_text__mask_alloc(mask, at_px + margin_px + SEGMENT_SLANT * unit_px,
                                 baseline_px + below + margin_px, err);
    if (status != SM_OK) {
        return status;
    }
    if (open_pen(&pen, mask->width_px, mask->height_px)) {
        cairo_set_antialias(pen.cairo, style->is_hard_edged ? CAIRO_ANTIALIAS_NONE : CAIRO_ANTIALIAS_DEFAULT);
        for (size_t i = 0; i < n_glyphs; i++) {
            draw_segment_glyph(pen.cairo, &glyph[i], style, text, &letters, baseline_px);
        }
        copy_out(mask, &pen);
    }
    close_pen(&pen);
    for (size_t i = 0; i < n_glyphs; i++) {
        if (segments_of(glyph[i].codepoint) >= 0) {
            find_ink(&glyph[i], mask,
                     (SEGMENT_WIDTH + SEGMENT_SLANT) * unit_px * letters.scale_x / letters.scale_y);
        }
    }
    mask->baseline_px = baseline_px;
    mask->top_px = baseline_px - unit_px;
    mask->text_left_px = margin_px;
    mask->text_right_px = at_px;
    return SM_OK;
}

/* ---- one at a time
 * --------------------------------------------------------------------------------------------- */

enum sm_status sm_text__draw_outline_font(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                          size_t n_glyphs, const struct sm_caption_style *style,
                                          const char *text, int32_t margin_px, struct sm_error *err)
{
    bool exists = sm_text__outline_font_exists(style->font);
    pthread_mutex_lock(&font_lock);
    enum sm_status status = SM_E_NOTFOUND;
    if (exists) {
        status = draw_outline_font(mask, glyph, n_glyphs, style, text, margin_px, err);
    } else {
        (void)sm_error_set(err, SM_E_NOTFOUND, "font \"%s\" is not installed", style->font);
        (void)sm_error_remedy(err, "install its package; tests/trainer/fonts.txt names them");
    }
    pthread_mutex_unlock(&font_lock);
    return status;
}

enum sm_status sm_text__draw_seven_segment(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                           size_t n_glyphs, const struct sm_caption_style *style,
                                           const char *text, int32_t margin_px, struct sm_error *err)
{
    pthread_mutex_lock(&font_lock);
    enum sm_status status = draw_seven_segment(mask, glyph, n_glyphs, style, text, margin_px, err);
    pthread_mutex_unlock(&font_lock);
    return status;
}

/* ---- leak checker
 * ---------------------------------------------------------------------------------------------- */

/* The font library keeps its patterns for the life of the process, and the HEVC encoder that the simulator
 * calls loses its parameters' names: neither is ours to free. */
#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define HAS_LEAK_CHECKER 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(HAS_LEAK_CHECKER)
const char *__lsan_default_suppressions(
    void); /* NOLINT(bugprone-reserved-identifier): the checker's own name */
__attribute__((weak)) const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\nleak:libpango\nleak:libx265\n";
}
#endif
