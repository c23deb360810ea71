/**
 * @file scene.c
 * Order of events as in a survey: wall, overlay generator, recorder (size, blur, colour crawl, noise), coder.
 * Source pixels are those of the overlay generator; final pixels those of the file.
 */
#include "scene.h"

#include "ground.h"
#include "phrase.h"
#include "text_render.h"

#include <math.h>
#include <string.h>

#define MIN_DIGIT_PX 7.5
#define MAX_DIGIT_PX 46.0
#define SCENE_STRIP_PX 230.0 /* width of a scene, in strip pixels */
#define EDGE_ONLY 0.04       /* share of texts as bright as their ground */
#define EDGE_ONLY_BRIGHT 0.25
#define SCENE_LINES 3.6 /* height of a scene, in digit heights */

/** How the recorder spoils this scene. */
struct wear {
    double scale_x, scale_y; /* final px per source px */
    double blur_x_px, blur_y_px;
    float noise, smear, crawl;
    float step; /* of the coder, 0 = lossless */
};

static struct wear draw_wear(struct sm_test_random *rng, double digit_px)
{
    struct wear wear = {.scale_x = 1.0, .scale_y = 1.0};
    if (rng_chance(rng, 0.35)) {
        wear.scale_x = rng_log_between(rng, 0.5, 1.6);
        wear.scale_y = wear.scale_x * (rng_chance(rng, 0.5) ? 1.0 : rng_log_between(rng, 0.75, 1.33));
    }
    double blur_px = rng_chance(rng, 0.5) ? 0.0 : sm_test_uniform(rng, 0.2, fmin(1.6, 0.07 * digit_px));
    wear.blur_x_px = blur_px;
    wear.blur_y_px = rng_chance(rng, 0.4) ? 0.3 * blur_px : blur_px;
    wear.noise = rng_chance(rng, 0.35) ? 0.0F : (float)rng_log_between(rng, 0.7, 16.0);
    wear.smear = rng_chance(rng, 0.5) ? 0.0F : (float)sm_test_uniform(rng, 0.2, 0.8);
    wear.crawl = rng_chance(rng, 0.8) ? 0.0F : (float)sm_test_uniform(rng, 0.1, 0.8);
    wear.step = rng_chance(rng, 0.2) ? 0.0F : (float)rng_log_between(rng, 2.0, 48.0);
    return wear;
}

static struct sm_colour grey(double level)
{
    uint8_t v = (uint8_t)fmin(255.0, fmax(0.0, level));
    return (struct sm_colour){v, v, v, 255};
}

static struct sm_colour draw_fill(struct sm_test_random *rng, double ground)
{
    static const struct sm_colour vivid[] = {{255, 255, 0, 255}, {0, 255, 0, 255},   {255, 0, 0, 255},
                                             {0, 255, 255, 255}, {255, 160, 0, 255}, {220, 255, 80, 255},
                                             {255, 60, 60, 255}, {90, 255, 140, 255}};
    double kind = sm_test_uniform(rng, 0.0, 1.0);
    if (kind < 0.09) {
        return grey(ground + (rng_chance(rng, 0.7) ? 1.0 : -1.0) * sm_test_uniform(rng, 20.0, 70.0));
    }
    if (kind < 0.22) {
        return grey(sm_test_uniform(rng, 0.0, 50.0));
    }
    return kind < 0.42 ? vivid[rng_below(rng, 8)] : grey(sm_test_uniform(rng, 190.0, 265.0));
}

static double luma(struct sm_colour c)
{
    return 0.299 * c.r + 0.587 * c.g + 0.114 * c.b;
}

/** Nothing but a thin edge tells such text from its ground: white on white as a rule. */
static void edge_only(struct sm_caption_style *style, struct sm_test_random *rng, double ground)
{
    style->fill = grey(ground + sm_test_uniform(rng, -18.0, 18.0));
    struct sm_colour edge =
        ground < 60.0 ? grey(sm_test_uniform(rng, 150.0, 255.0)) : grey(sm_test_uniform(rng, 0.0, 50.0));
    if (rng_chance(rng, 0.75)) {
        style->outline = edge;
        style->outline_px = rng_chance(rng, 0.7) ? 1.0 : sm_test_uniform(rng, 0.6, 1.6);
    } else {
        style->shadow = edge;
        style->shadow_x_px = style->shadow_y_px = 1.0;
    }
}

/** Outline, shadow, box or nothing, in the colours that make text stand out. */
static void decorate(struct sm_caption_style *style, struct sm_test_random *rng, double digit_px)
{
    static const struct sm_colour backs[] = {{0, 0, 0, 255},    {0, 0, 0, 160},  {0, 0, 130, 255},
                                             {60, 60, 60, 255}, {0, 60, 0, 255}, {20, 20, 60, 140}};
    bool is_dark = luma(style->fill) < 100.0;
    struct sm_colour opposite =
        is_dark ? grey(sm_test_uniform(rng, 180.0, 255.0)) : grey(sm_test_uniform(rng, 0.0, 50.0));
    double kind = sm_test_uniform(rng, 0.0, 1.0);
    if (kind < 0.30) {
        style->outline = opposite;
        style->outline_px =
            rng_chance(rng, 0.5) ? 1.0 : sm_test_uniform(rng, 0.5, fmax(0.8, 0.09 * digit_px));
    }
    if (kind > 0.26 && kind < 0.42) {
        style->shadow = opposite;
        style->shadow.a = (uint8_t)sm_test_uniform(rng, 120.0, 255.0);
        style->shadow_x_px = sm_test_uniform(rng, 0.6, fmax(1.0, 0.1 * digit_px));
        style->shadow_y_px = rng_chance(rng, 0.8) ? style->shadow_x_px : -style->shadow_x_px;
    }
    if (kind > 0.42 && kind < 0.60) {
        style->box = is_dark ? opposite : backs[rng_below(rng, 6)];
        style->box_padding_px = sm_test_uniform(rng, 0.0, 0.5 * digit_px);
    }
}

static struct sm_caption_style draw_style(struct sm_test_random *rng, const struct font *font,
                                          double digit_px, double ground)
{
    struct sm_caption_style style = {.font = font->name, .height_px = fmax(4.5, digit_px)};
    style.is_bold = rng_chance(rng, 0.35);
    style.has_slashed_zero = rng_chance(rng, 0.4);
    style.is_hard_edged = rng_chance(rng, digit_px < 18.0 ? 0.4 : 0.15);
    style.slant = rng_chance(rng, 0.15) ? sm_test_uniform(rng, 0.08, 0.32) : 0.0;
    style.x_stretch = rng_chance(rng, 0.5) ? 1.0 : rng_log_between(rng, 0.75, 1.35);
    style.letter_spacing_px = rng_chance(rng, 0.6) ? 0.0 : sm_test_uniform(rng, -0.04, 0.25) * digit_px;
    if (rng_chance(rng, ground > 180.0 ? EDGE_ONLY_BRIGHT : EDGE_ONLY)) {
        edge_only(&style, rng, ground);
    } else {
        style.fill = draw_fill(rng, ground);
        decorate(&style, rng, digit_px);
    }
    return style;
}

/** The picture as it is drawn upon. */
struct canvas {
    uint8_t *rgb;
    int32_t width_px, height_px;
};

static double mean_luma(const struct canvas *canvas, double left, double right, double top, double bottom)
{
    double sum = 0.0;
    int n = 0;
    for (int32_t y = (int32_t)fmax(0.0, top); y < canvas->height_px && y < bottom; y++) {
        for (int32_t x = (int32_t)fmax(0.0, left); x < canvas->width_px && x < right; x++, n++) {
            const uint8_t *p = canvas->rgb + 3 * ((ptrdiff_t)y * canvas->width_px + x);
            sum += 0.299 * p[0] + 0.587 * p[1] + 0.114 * p[2];
        }
    }
    return n > 0 ? sum / n : 128.0;
}

/** A view of the canvas that only reaches from left to right, to draw part of a caption. */
static void blend_part(const struct sm_caption *caption, const struct canvas *canvas, int32_t x_px,
                       int32_t y_px, double left, double right, double opacity)
{
    int32_t from = (int32_t)fmax(0.0, floor(left)), to = (int32_t)fmin(canvas->width_px, floor(right));
    if (to > from) {
        sm_caption_blend(caption, canvas->rgb + 3 * (ptrdiff_t)from, to - from, canvas->height_px,
                         3 * (ptrdiff_t)canvas->width_px, x_px - from, y_px, opacity);
    }
}

/** Each character black or white, whichever its ground is not. */
static enum sm_status blend_flipping(const struct sm_caption *caption, struct sm_caption_style style,
                                     const char *text, const struct canvas *canvas, int32_t x_px,
                                     int32_t y_px, struct sm_error *err)
{
    struct sm_caption dark = {0};
    style.fill = grey(10.0);
    enum sm_status status = sm_caption_render(&dark, &style, text, err);
    for (size_t i = 0; status == SM_OK && i < caption->n_glyphs; i++) {
        double left = x_px + caption->glyph[i].cell_left_px, right = x_px + caption->glyph[i].cell_right_px;
        bool is_bright =
            mean_luma(canvas, left, right, y_px + caption->top_px, y_px + caption->baseline_px) > 128.0;
        blend_part(is_bright ? &dark : caption, canvas, x_px, y_px, left, right, 1.0);
    }
    sm_caption_release(&dark);
    return status;
}

/** The caption with a stretch in which the overlay fades; the characters there are marked lost. */
static void blend_failing(const struct sm_caption *caption, const struct canvas *canvas, int32_t x_px,
                          int32_t y_px, struct sm_test_random *rng, struct scene *scene)
{
    double from = sm_test_uniform(rng, 0.0, canvas->width_px),
           to = from + sm_test_uniform(rng, 0.02, 0.3) * canvas->width_px;
    double left_over = sm_test_uniform(rng, 0.0, 0.35);
    blend_part(caption, canvas, x_px, y_px, 0.0, from, 1.0);
    blend_part(caption, canvas, x_px, y_px, from, to, left_over);
    blend_part(caption, canvas, x_px, y_px, to, canvas->width_px, 1.0);
    for (size_t i = 0; i < scene->n_glyphs; i++) {
        struct scene_glyph *g = &scene->glyph[i];
        g->is_lost = g->right_px > from && g->left_px < to;
    }
}

/** The caption's truth in source px of the canvas. */
static enum sm_status note_truth(struct scene *scene, const struct sm_caption *caption, int32_t x_px,
                                 int32_t y_px, struct sm_error *err)
{
    scene->glyph = sm_calloc(caption->n_glyphs + 1, sizeof *scene->glyph);
    if (!scene->glyph) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a line of text");
    }
    for (size_t i = 0; i < caption->n_glyphs; i++) {
        const struct sm_caption_glyph *g = &caption->glyph[i];
        enum sm_glyph glyph = sm_counter__glyph_of(g->codepoint);
        if (g->has_ink && glyph != SM_GLYPH_BLANK) {
            scene->glyph[scene->n_glyphs++] = (struct scene_glyph){x_px + g->left_px, x_px + g->right_px,
                                                                   x_px + g->centre_px, glyph, false};
        }
    }
    scene->top_px = y_px + caption->top_px;
    scene->baseline_px = y_px + caption->baseline_px;
    return SM_OK;
}

static enum sm_status write_phrase(struct sm_text *text, struct sm_test_random *rng, const struct font *font,
                                   struct sm_error *err)
{
    phrase_make(text, rng, 16);
    if (text->failed) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a line of text");
    }
    if (font->kind == FONT_SEGMENT && strcmp(font->name, "seven-segment") != 0) {
        phrase_only_segments(text->data);
    }
    return SM_OK;
}

/** The line that is to be read, with its truth. */
static enum sm_status draw_line(struct scene *scene, const struct canvas *canvas,
                                const struct sm_caption_style *style, struct sm_test_random *rng,
                                struct sm_error *err)
{
    struct sm_text text = {0};
    struct sm_caption caption = {0};
    enum sm_status status = write_phrase(&text, rng, &scene->font, err);
    if (status == SM_OK) {
        status = sm_caption_render(&caption, style, sm_text_str(&text), err);
    }
    if (status == SM_OK) {
        double slack = canvas->width_px - (caption.text_right_px - caption.text_left_px);
        int32_t x_px = (int32_t)lround(slack > 0.0 ? sm_test_uniform(rng, 0.0, slack) - caption.text_left_px
                                                   : sm_test_uniform(rng, slack, 0.0));
        double digit_px = caption.baseline_px - caption.top_px;
        int32_t y_px = (int32_t)lround(0.5 * (canvas->height_px - digit_px) +
                                       sm_test_uniform(rng, -2.0, 2.0) - caption.top_px);
        scene->contrast =
            fabs(luma(style->fill) -
                 mean_luma(canvas, 0.0, canvas->width_px, y_px + caption.top_px, y_px + caption.baseline_px));
        status = note_truth(scene, &caption, x_px, y_px, err);
        double manner = sm_test_uniform(rng, 0.0, 1.0);
        if (status == SM_OK && manner < 0.04) {
            status = blend_flipping(&caption, *style, sm_text_str(&text), canvas, x_px, y_px, err);
        } else if (status == SM_OK && manner < 0.10) {
            blend_failing(&caption, canvas, x_px, y_px, rng, scene);
        } else if (status == SM_OK) {
            sm_caption_blend(&caption, canvas->rgb, canvas->width_px, canvas->height_px,
                             3 * (ptrdiff_t)canvas->width_px, x_px, y_px,
                             rng_chance(rng, 0.8) ? 1.0 : sm_test_uniform(rng, 0.5, 1.0));
        }
    }
    sm_caption_release(&caption);
    sm_text_release(&text);
    return status;
}

/** Other lines of the overlay above and below, which reach into the strip. */
static enum sm_status draw_neighbour(const struct scene *scene, const struct canvas *canvas,
                                     const struct sm_caption_style *style, struct sm_test_random *rng,
                                     double direction, struct sm_error *err)
{
    struct sm_text text = {0};
    struct sm_caption caption = {0};
    enum sm_status status = write_phrase(&text, rng, &scene->font, err);
    if (status == SM_OK) {
        status = sm_caption_render(&caption, style, sm_text_str(&text), err);
    }
    if (status == SM_OK) {
        double digit_px = scene->baseline_px - scene->top_px;
        double baseline = scene->baseline_px + direction * sm_test_uniform(rng, 1.3, 2.2) * digit_px;
        sm_caption_blend(&caption, canvas->rgb, canvas->width_px, canvas->height_px,
                         3 * (ptrdiff_t)canvas->width_px,
                         (int32_t)sm_test_uniform(rng, -4.0 * digit_px, 0.5 * canvas->width_px),
                         (int32_t)lround(baseline - caption.baseline_px), 1.0);
    }
    sm_caption_release(&caption);
    sm_text_release(&text);
    return status;
}

/** Y, Cb, Cr planes of full range out of RGB. @source ITU-R BT.601, luma weights; JFIF full range. */
static enum sm_status split_planes(struct raster plane[3], const struct canvas *canvas, struct sm_error *err)
{
    for (int c = 0; c < 3; c++) {
        enum sm_status status = raster_new(&plane[c], canvas->width_px, canvas->height_px, err);
        if (status != SM_OK) {
            return status;
        }
    }
    for (ptrdiff_t i = 0; i < (ptrdiff_t)canvas->width_px * canvas->height_px; i++) {
        const uint8_t *p = canvas->rgb + 3 * i;
        float y = 0.299F * p[0] + 0.587F * p[1] + 0.114F * p[2];
        plane[0].px[i] = y;
        plane[1].px[i] = 0.564F * (p[2] - y);
        plane[2].px[i] = 0.713F * (p[0] - y);
    }
    return SM_OK;
}

/**
 * Composite video takes sharp edges of brightness for colour and colour for fine patterns of brightness; the
 * carrier turns by half from row to row.
 */
static void add_crawl(struct raster plane[3], float strength, struct sm_test_random *rng)
{
    int32_t width = plane[0].width_px;
    float turn = (float)sm_test_uniform(rng, 0.0, 6.2832), rate = (float)sm_test_uniform(rng, 1.2, 2.2);
    for (int32_t y = 0; y < plane[0].height_px; y++) {
        float *luma_row = plane[0].px + (ptrdiff_t)y * width, *u = plane[1].px + (ptrdiff_t)y * width,
              *v = plane[2].px + (ptrdiff_t)y * width;
        float before = luma_row[0];
        for (int32_t x = 0; x + 1 < width; x++) {
            float phase = rate * (float)x + turn + (y & 1 ? 3.1416F : 0.0F), here = luma_row[x];
            float edge = here - 0.5F * (before + luma_row[x + 1]);
            luma_row[x] += 0.35F * strength * (u[x] * sinf(phase) + v[x] * cosf(phase));
            u[x] += strength * edge * sinf(phase);
            v[x] += strength * edge * cosf(phase);
            before = here;
        }
    }
}

static enum sm_status record(struct raster plane[3], const struct wear *wear, struct sm_test_random *rng,
                             struct sm_error *err)
{
    int32_t width = (int32_t)fmax(16.0, round(plane[0].width_px * wear->scale_x)) & ~1;
    int32_t height = (int32_t)fmax(16.0, round(plane[0].height_px * wear->scale_y)) & ~1;
    enum sm_status status = SM_OK;
    if (wear->crawl > 0.0F) {
        add_crawl(plane, wear->crawl, rng);
    }
    for (int c = 0; c < 3 && status == SM_OK; c++) {
        status = raster_resize(&plane[c], width, height, err);
        if (status == SM_OK) {
            status = raster_blur(&plane[c], wear->blur_x_px + (c > 0 ? 0.8 : 0.0), wear->blur_y_px, err);
        }
        if (status == SM_OK && wear->noise > 0.0F) {
            raster_noise(&plane[c], rng, c > 0 ? 0.5F * wear->noise : wear->noise, wear->smear);
        }
        if (status == SM_OK && c > 0) {
            status = raster_resize(&plane[c], width / 2, height / 2, err);
        }
    }
    return status;
}

static enum sm_status encode(struct raster plane[3], const struct wear *wear, struct sm_test_random *rng,
                             struct sm_error *err)
{
    int phase_x = rng_below(rng, 8), phase_y = rng_below(rng, 8);
    if (wear->step <= 0.0F) {
        return SM_OK;
    }
    for (int c = 0; c < 3; c++) {
        raster_quantise(&plane[c], wear->step, phase_x, phase_y);
    }
    /* Predicted pictures lay their own grid over an old one; loop filters soften it. */
    if (rng_chance(rng, 0.3)) {
        raster_quantise(&plane[0], 0.6F * wear->step, rng_below(rng, 8), rng_below(rng, 8));
    }
    return rng_chance(rng, 0.2) ? raster_blur(&plane[0], 0.35, 0.35, err) : SM_OK;
}

static void store_plane(uint8_t *to, const struct raster *plane, float offset)
{
    for (ptrdiff_t i = 0; i < (ptrdiff_t)plane->width_px * plane->height_px; i++) {
        float value = plane->px[i] + offset + 0.5F;
        to[i] = (uint8_t)(value < 0.0F ? 0.0F : value > 255.0F ? 255.0F : value);
    }
}

/** Planes to 8 bits, truth to final px. */
static enum sm_status finish(struct scene *scene, struct raster plane[3], const struct canvas *canvas,
                             struct sm_error *err)
{
    int32_t width = plane[0].width_px, height = plane[0].height_px;
    size_t n = (size_t)width * (size_t)height,
           n_chroma = (size_t)plane[1].width_px * (size_t)plane[1].height_px;
    scene->planes = sm_calloc(n + 2 * n_chroma, 1);
    if (!scene->planes) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    }
    store_plane(scene->planes, &plane[0], 0.0F);
    store_plane(scene->planes + n, &plane[1], 128.0F);
    store_plane(scene->planes + n + n_chroma, &plane[2], 128.0F);
    scene->image = (struct sm_image){.width_px = width,
                                     .height_px = height,
                                     .y = scene->planes,
                                     .u = scene->planes + n,
                                     .v = scene->planes + n + n_chroma,
                                     .stride_y = width,
                                     .stride_u = plane[1].width_px,
                                     .stride_v = plane[2].width_px,
                                     .chroma_shift_x = 1,
                                     .chroma_shift_y = 1};
    double scale_x = (double)width / canvas->width_px, scale_y = (double)height / canvas->height_px;
    scene->top_px *= scale_y;
    scene->baseline_px *= scale_y;
    for (size_t i = 0; i < scene->n_glyphs; i++) {
        scene->glyph[i].left_px *= scale_x;
        scene->glyph[i].right_px *= scale_x;
        scene->glyph[i].centre_px *= scale_x;
    }
    return SM_OK;
}

static bool comes_in_whole_pixels(const struct font *font)
{
    return font->kind == FONT_PIXEL || strncmp(font->name, "cells:", strlen("cells:")) == 0;
}

/** Height that the font's digits really get: bitmap fonts come in whole multiples only. */
static enum sm_status fit_height(double *digit_px, const struct font *font, struct sm_error *err)
{
    struct sm_caption probe = {0};
    const struct sm_caption_style style = {
        .font = font->name, .height_px = fmax(4.5, *digit_px), .fill = grey(255.0)};
    enum sm_status status = sm_caption_render(&probe, &style, "0", err);
    if (status == SM_OK) {
        *digit_px = probe.baseline_px - probe.top_px;
    }
    sm_caption_release(&probe);
    return status;
}

static enum sm_status draw(struct scene *scene, const struct canvas *canvas, double digit_px,
                           double pattern_share, struct sm_test_random *rng, struct sm_error *err)
{
    enum sm_status status =
        ground_paint(canvas->rgb, canvas->width_px, canvas->height_px, digit_px, pattern_share, rng, err);
    double ground =
        mean_luma(canvas, 0.0, canvas->width_px, 0.3 * canvas->height_px, 0.7 * canvas->height_px);
    struct sm_caption_style style = draw_style(rng, &scene->font, digit_px, ground);
    if (status == SM_OK) {
        status = draw_line(scene, canvas, &style, rng, err);
    }
    style.box.a = 0; /* a neighbour's box would cover the line */
    for (int side = -1; side <= 1 && status == SM_OK; side += 2) {
        status = rng_chance(rng, 0.35) ? draw_neighbour(scene, canvas, &style, rng, side, err) : SM_OK;
    }
    return status;
}

enum sm_status scene_make(struct scene *out, const struct font_list *fonts, bool is_held,
                          double pattern_share, struct sm_test_random *rng, struct sm_error *err)
{
    struct scene scene = {.font = font_list_pick(fonts, is_held, rng)};
    double final_px = rng_chance(rng, 0.6) ? rng_log_between(rng, MIN_DIGIT_PX, 16.0)
                                           : rng_log_between(rng, 12.0, MAX_DIGIT_PX);
    struct wear wear = draw_wear(rng, final_px);
    double digit_px = fmin(60.0, final_px / wear.scale_y);
    enum sm_status status =
        comes_in_whole_pixels(&scene.font) ? fit_height(&digit_px, &scene.font, err) : SM_OK;
    struct canvas canvas = {.width_px =
                                (int32_t)lround(SCENE_STRIP_PX / 20.0 * digit_px *
                                                sm_test_uniform(rng, 0.8, 1.2) * wear.scale_y / wear.scale_x),
                            .height_px = (int32_t)ceil(SCENE_LINES * digit_px)};
    struct raster plane[3] = {{0}};
    canvas.rgb = sm_calloc((size_t)canvas.width_px * (size_t)canvas.height_px, 3);
    if (status == SM_OK && !canvas.rgb) {
        status = sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    }
    if (status == SM_OK) {
        status = draw(&scene, &canvas, digit_px, pattern_share, rng, err);
    }
    if (status == SM_OK) {
        status = split_planes(plane, &canvas, err);
    }
    if (status == SM_OK) {
        status = record(plane, &wear, rng, err);
    }
    if (status == SM_OK) {
        status = encode(plane, &wear, rng, err);
    }
    if (status == SM_OK) {
        status = finish(&scene, plane, &canvas, err);
    }
    for (int c = 0; c < 3; c++) {
        raster_release(&plane[c]);
    }
    sm_free(canvas.rgb);
    if (status != SM_OK) {
        scene_release(&scene);
        return status;
    }
    *out = scene;
    return SM_OK;
}

void scene_release(struct scene *scene)
{
    sm_free(scene->planes);
    sm_free(scene->glyph);
    *scene = (struct scene){0};
}
