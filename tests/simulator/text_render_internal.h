/**
 * @file text_render_internal.h
 * What the three ways of drawing text share: each fills a struct sm_text_mask, text_render.c makes the
 * caption of it.
 */
#ifndef SM_TEXT_RENDER_INTERNAL_H
#define SM_TEXT_RENDER_INTERNAL_H

#include "text_render.h"

/** Coverage of the bare glyphs, and where they stand. */
struct sm_text_mask {
    int32_t width_px, height_px;
    uint8_t *alpha;             /**< width_px * height_px; owned */
    double top_px, baseline_px; /**< edges of the digits */
    double text_left_px, text_right_px;
};

/**
 * Draw with margin_px free pixels on all sides. glyph[] comes with codepoint and offset set, the rest is
 * filled here. On failure mask is untouched.
 */
typedef enum sm_status sm_text_draw_fn(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                       size_t n_glyphs, const struct sm_caption_style *style,
                                       const char *text, int32_t margin_px, struct sm_error *err);
sm_text_draw_fn sm_text__draw_outline_font;
sm_text_draw_fn sm_text__draw_console_font;
sm_text_draw_fn sm_text__draw_seven_segment;
sm_text_draw_fn sm_text__draw_drawn_font;

bool sm_text__outline_font_exists(const char *family);
bool sm_text__console_font_exists(const char *name);

/** Give the mask its memory, zeroed. */
enum sm_status sm_text__mask_alloc(struct sm_text_mask *mask, double width_px, double height_px,
                                   struct sm_error *err) SM_CHECKED;

#define SM_TEXT_PSF_PREFIX "psf:"
#define SM_TEXT_SEVEN_SEGMENT "seven-segment"
#define SM_TEXT_MAX_CHARS 200
#define SM_TEXT_MAX_HEIGHT_PX 400.0

#endif
