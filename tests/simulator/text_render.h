/**
 * @file text_render.h
 * Draws the text of simulated survey overlays: a string in one style becomes a picture with alpha, and with
 * it the truth about where each character stands. Shared by the survey simulator and the trainer of the
 * character reader. Outline fonts come from the system's font files (fontconfig), bitmap fonts from the Linux
 * console; a seven-segment display and any number of made-up faces are drawn here.
 */
#ifndef SM_TEXT_RENDER_H
#define SM_TEXT_RENDER_H

#include "stopmark/base.h"

struct sm_colour {
    uint8_t r, g, b, a; /**< a: 255 = opaque, 0 = not drawn */
};

/** How a caption looks. Zero means "none" everywhere but where said otherwise; start from
 * sm_caption_style_default(). */
struct sm_caption_style {
    /** Family name known to fontconfig ("DejaVu Sans Mono"), "psf:NAME" for
     * /usr/share/consolefonts/NAME(.psf)(.gz), "seven-segment", or a face drawn from its number N: "cells:N",
     * "dots:N", "strokes:N", "segments:N", "bursts:N". [borrow] */
    const char *font;
    bool is_bold;          /**< bold face where the family has one; ignored by bitmap fonts */
    bool has_slashed_zero; /**< the font's own slashed zero where it has one (OpenType "zero"); else nothing
                              changes */
    bool is_hard_edged;    /**< no anti-aliasing. Bitmap fonts always are */
    double height_px; /**< height of the digits, > 0. Bitmap fonts take the nearest whole multiple of their
                         own height */
    double x_stretch; /**< width factor, 0 = 1. Bitmap fonts round it to whole pixels */
    double slant; /**< rightward per height, of smooth outline fonts; drawn and bitmap faces keep their own */
    double letter_spacing_px;
    struct sm_colour fill;
    struct sm_colour outline;
    double outline_px; /**< width outside the glyph's edge */
    struct sm_colour shadow;
    double shadow_x_px, shadow_y_px;
    struct sm_colour box; /**< drawn when a > 0, around the advance box of the whole text */
    double box_padding_px;
};

/** White DejaVu Sans Mono, digits 20 px high, nothing around it. */
struct sm_caption_style sm_caption_style_default(void);

/** One character of a caption, in pixels from the left edge of its picture. */
struct sm_caption_glyph {
    uint32_t codepoint;
    size_t offset_bytes;                /**< of its first byte in the text */
    double left_px, right_px;           /**< of its ink; of its cell when it has none */
    double centre_px;                   /**< middle of left_px and right_px */
    double cell_left_px, cell_right_px; /**< of its advance width */
    bool has_ink;
};

/** A drawn text. Rows and columns are measured at pixel edges: the first pixel spans 0..1. */
struct sm_caption {
    int32_t width_px, height_px;
    uint8_t *rgba; /**< width_px * height_px * 4, rows without gaps, colour premultiplied by alpha */
    double top_px, baseline_px;         /**< upper and lower edge of the digits */
    double text_left_px, text_right_px; /**< advance box of the whole text */
    size_t n_glyphs;
    struct sm_caption_glyph *glyph; /**< left to right, one per character of the text */
};

/**
 * Draw a text.
 * @param out [new] filled on success, untouched on failure. Release with sm_caption_release().
 * @param text UTF-8, one line, at most 200 characters; may be empty or blank.
 * @return SM_OK; SM_E_NOTFOUND the font is not installed (remedy names how to get it); SM_E_FORMAT broken
 * UTF-8 or font file; SM_E_RANGE sizes; SM_E_NOMEM. A character that the font lacks is drawn as the font's
 * own substitute (outline fonts: from another font; bitmap fonts: blank).
 * @thread safe as long as each thread draws its own captions.
 */
enum sm_status sm_caption_render(struct sm_caption *out, const struct sm_caption_style *style,
                                 const char *text, struct sm_error *err) SM_CHECKED;
void sm_caption_release(struct sm_caption *caption);

/**
 * Lay a caption over an 8-bit RGB picture; what falls outside is cut off.
 * @param rgb [inout] width_px * height_px * 3, rows stride_bytes apart. @param x_px,y_px where the caption's
 * upper left corner goes, may be negative. @param opacity 0..1 times the caption's own alpha.
 */
void sm_caption_blend(const struct sm_caption *caption, uint8_t *rgb, int32_t width_px, int32_t height_px,
                      ptrdiff_t stride_bytes, int32_t x_px, int32_t y_px, double opacity);

/** Whether the style's font can be had on this machine. */
bool sm_caption_font_exists(const char *font);

#endif
