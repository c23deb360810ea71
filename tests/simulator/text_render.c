/**
 * @file text_render.c
 * From the bare mask of a text to a caption: box below, then shadow, outline and fill, all in premultiplied
 * colour.
 */
#include "text_drawn_font.h"
#include "text_render_internal.h"

#include <math.h>
#include <string.h>

#define MAX_MARGIN_PX 200.0
#define MAX_SIDE_PX 16000.0

struct sm_caption_style sm_caption_style_default(void)
{
    return (struct sm_caption_style){
        .font = "DejaVu Sans Mono",
        .height_px = 20.0,
        .x_stretch = 1.0,
        .fill = {255, 255, 255, 255},
    };
}

enum sm_status sm_text__mask_alloc(struct sm_text_mask *mask, double width_px, double height_px,
                                   struct sm_error *err)
{
    if (!(width_px >= 1.0 && height_px >= 1.0 && width_px <= MAX_SIDE_PX && height_px <= MAX_SIDE_PX)) {
        return sm_error_set(err, SM_E_RANGE, "the text would make a picture of an impossible size");
    }
    mask->width_px = (int32_t)ceil(width_px);
    mask->height_px = (int32_t)ceil(height_px);
    mask->alpha = sm_calloc((size_t)mask->width_px * (size_t)mask->height_px, 1);
    return mask->alpha ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory for a text picture");
}

static bool has_prefix(const char *s, const char *prefix)
{
    return strncmp(s, prefix, strlen(prefix)) == 0;
}

bool sm_caption_font_exists(const char *font)
{
    if (strcmp(font, SM_TEXT_SEVEN_SEGMENT) == 0) {
        return true;
    }
    if (sm_text__is_drawn_font(font)) {
        return sm_text__drawn_font_exists(font);
    }
    if (has_prefix(font, SM_TEXT_PSF_PREFIX)) {
        return sm_text__console_font_exists(font + strlen(SM_TEXT_PSF_PREFIX));
    }
    return sm_text__outline_font_exists(font);
}

static sm_text_draw_fn *drawer_of(const char *font)
{
    if (strcmp(font, SM_TEXT_SEVEN_SEGMENT) == 0) {
        return sm_text__draw_seven_segment;
    }
    if (sm_text__is_drawn_font(font)) {
        return sm_text__draw_drawn_font;
    }
    return has_prefix(font, SM_TEXT_PSF_PREFIX) ? sm_text__draw_console_font : sm_text__draw_outline_font;
}

static uint32_t decode(const char *s, size_t n)
{
    static const uint8_t lead_mask[5] = {0, 0x7f, 0x1f, 0x0f, 0x07};
    uint32_t code = (uint8_t)s[0] & lead_mask[n];
    for (size_t i = 1; i < n; i++) {
        code = (code << 6) | ((uint8_t)s[i] & 0x3f);
    }
    return code;
}

/** Split the text into its characters. glyph has room for SM_TEXT_MAX_CHARS. */
static enum sm_status split(struct sm_caption_glyph *glyph, size_t *n_glyphs, const char *text,
                            struct sm_error *err)
{
    size_t n = 0;
    for (size_t at = 0; text[at] != '\0'; n++) {
        size_t length = sm_utf8_len(text + at);
        if (length == 0 || (uint8_t)text[at] < 0x20) {
            return sm_error_set(err, SM_E_FORMAT, "the text is not one line of valid UTF-8");
        }
        if (n == SM_TEXT_MAX_CHARS) {
            return sm_error_set(err, SM_E_RANGE, "the text is longer than %d characters", SM_TEXT_MAX_CHARS);
        }
        glyph[n] = (struct sm_caption_glyph){.codepoint = decode(text + at, length), .offset_bytes = at};
        at += length;
    }
    *n_glyphs = n;
    return SM_OK;
}

static double margin_of(const struct sm_caption_style *style)
{
    double shadow = style->shadow.a ? fmax(fabs(style->shadow_x_px), fabs(style->shadow_y_px)) : 0.0;
    double outline = style->outline.a ? style->outline_px : 0.0;
    double box = style->box.a ? style->box_padding_px : 0.0;
    return ceil(fmax(outline + shadow, box)) + 1.0;
}

static enum sm_status check_style(const struct sm_caption_style *style, struct sm_error *err)
{
    bool is_sane = style->height_px >= 4.0 && style->height_px <= SM_TEXT_MAX_HEIGHT_PX &&
                   style->outline_px >= 0.0 && style->box_padding_px >= 0.0 && style->x_stretch >= 0.0 &&
                   style->x_stretch <= 8.0 && fabs(style->letter_spacing_px) <= SM_TEXT_MAX_HEIGHT_PX &&
                   margin_of(style) <= MAX_MARGIN_PX;
    return is_sane ? SM_OK : sm_error_set(err, SM_E_RANGE, "a size in the caption style is out of range");
}

/** Coverage of the mask grown by radius_px: each pixel takes the strongest pixel whose disc reaches it. */
static void grow(uint8_t *out, const struct sm_text_mask *mask, double radius_px)
{
    int32_t reach = (int32_t)ceil(radius_px);
    memset(out, 0, (size_t)mask->width_px * (size_t)mask->height_px);
    for (int32_t dy = -reach; dy <= reach; dy++) {
        for (int32_t dx = -reach; dx <= reach; dx++) {
            double part = radius_px + 0.5 - hypot(dx, dy);
            uint32_t weight = (uint32_t)(256.0 * fmin(1.0, fmax(0.0, part)));
            if (weight == 0) {
                continue;
            }
            for (int32_t y = reach; y < mask->height_px - reach; y++) {
                const uint8_t *from = mask->alpha + (ptrdiff_t)y * mask->width_px;
                uint8_t *to = out + (ptrdiff_t)(y + dy) * mask->width_px + dx;
                for (int32_t x = reach; x < mask->width_px - reach; x++) {
                    uint8_t value = (uint8_t)((from[x] * weight) >> 8);
                    to[x] = value > to[x] ? value : to[x];
                }
            }
        }
    }
}

/** One pixel of colour at this coverage over what is there. */
static void put(uint8_t *pixel, struct sm_colour colour, uint32_t coverage)
{
    uint32_t alpha = (coverage * colour.a + 127) / 255;
    uint32_t rest = 255 - alpha;
    pixel[0] = (uint8_t)((colour.r * alpha + pixel[0] * rest + 127) / 255);
    pixel[1] = (uint8_t)((colour.g * alpha + pixel[1] * rest + 127) / 255);
    pixel[2] = (uint8_t)((colour.b * alpha + pixel[2] * rest + 127) / 255);
    pixel[3] = (uint8_t)((255 * alpha + pixel[3] * rest + 127) / 255);
}

/** The coverage map in one colour, moved by whole pixels. */
static void lay(struct sm_caption *caption, const uint8_t *coverage, struct sm_colour colour, int32_t dx,
                int32_t dy)
{
    for (int32_t y = 0; colour.a > 0 && y < caption->height_px; y++) {
        for (int32_t x = 0; x < caption->width_px; x++) {
            int32_t from_x = x - dx, from_y = y - dy;
            if (from_x >= 0 && from_x < caption->width_px && from_y >= 0 && from_y < caption->height_px) {
                ptrdiff_t at = (ptrdiff_t)y * caption->width_px + x;
                put(caption->rgba + 4 * at, colour, coverage[(ptrdiff_t)from_y * caption->width_px + from_x]);
            }
        }
    }
}

static void lay_box(struct sm_caption *caption, const struct sm_caption_style *style)
{
    int32_t padding = (int32_t)lround(style->box_padding_px);
    int32_t left = (int32_t)lround(caption->text_left_px) - padding;
    int32_t right = (int32_t)lround(caption->text_right_px) + padding;
    int32_t top = (int32_t)lround(caption->top_px) - padding;
    int32_t bottom = (int32_t)lround(caption->baseline_px) + padding;
    for (int32_t y = top < 0 ? 0 : top; y < bottom && y < caption->height_px; y++) {
        for (int32_t x = left < 0 ? 0 : left; x < right && x < caption->width_px; x++) {
            put(caption->rgba + 4 * ((ptrdiff_t)y * caption->width_px + x), style->box, 255);
        }
    }
}

static void paint(struct sm_caption *caption, const struct sm_caption_style *style,
                  const struct sm_text_mask *mask, uint8_t *grown)
{
    bool has_outline = style->outline.a > 0 && style->outline_px > 0.0;
    if (has_outline) {
        grow(grown, mask, style->outline_px);
    }
    if (style->box.a > 0) {
        lay_box(caption, style);
    }
    lay(caption, has_outline ? grown : mask->alpha, style->shadow, (int32_t)lround(style->shadow_x_px),
        (int32_t)lround(style->shadow_y_px));
    if (has_outline) {
        lay(caption, grown, style->outline, 0, 0);
    }
    lay(caption, mask->alpha, style->fill, 0, 0);
}

/** A caption of the mask's size around glyphs that it takes over. */
static enum sm_status make_caption(struct sm_caption *out, struct sm_caption_glyph *glyph, size_t n_glyphs,
                                   const struct sm_caption_style *style, const struct sm_text_mask *mask,
                                   struct sm_error *err)
{
    size_t n_pixels = (size_t)mask->width_px * (size_t)mask->height_px;
    uint8_t *grown = sm_calloc(n_pixels, 1);
    uint8_t *rgba = sm_calloc(n_pixels, 4);
    if (!grown || !rgba) {
        sm_free(grown);
        sm_free(rgba);
        return sm_error_set(err, SM_E_NOMEM, "no memory for a text picture");
    }
    *out = (struct sm_caption){.width_px = mask->width_px,
                               .height_px = mask->height_px,
                               .rgba = rgba,
                               .top_px = mask->top_px,
                               .baseline_px = mask->baseline_px,
                               .text_left_px = mask->text_left_px,
                               .text_right_px = mask->text_right_px,
                               .n_glyphs = n_glyphs,
                               .glyph = glyph};
    paint(out, style, mask, grown);
    sm_free(grown);
    return SM_OK;
}

enum sm_status sm_caption_render(struct sm_caption *out, const struct sm_caption_style *style,
                                 const char *text, struct sm_error *err)
{
    struct sm_text_mask mask = {0};
    size_t n_glyphs = 0;
    struct sm_caption_glyph *glyph = sm_calloc(SM_TEXT_MAX_CHARS, sizeof *glyph);
    enum sm_status status =
        glyph ? check_style(style, err) : sm_error_set(err, SM_E_NOMEM, "no memory for a text");
    if (status == SM_OK) {
        status = split(glyph, &n_glyphs, text, err);
    }
    if (status == SM_OK) {
        status = drawer_of(style->font)(&mask, glyph, n_glyphs, style, text, (int32_t)margin_of(style), err);
    }
    for (size_t i = 0; status == SM_OK && i < n_glyphs; i++) {
        glyph[i].centre_px = 0.5 * (glyph[i].left_px + glyph[i].right_px);
    }
    if (status == SM_OK) {
        status = make_caption(out, glyph, n_glyphs, style, &mask, err);
    }
    if (status != SM_OK) {
        sm_free(glyph);
    }
    sm_free(mask.alpha);
    return status;
}

void sm_caption_release(struct sm_caption *caption)
{
    sm_free(caption->rgba);
    sm_free(caption->glyph);
    *caption = (struct sm_caption){0};
}

void sm_caption_blend(const struct sm_caption *caption, uint8_t *rgb, int32_t width_px, int32_t height_px,
                      ptrdiff_t stride_bytes, int32_t x_px, int32_t y_px, double opacity)
{
    uint32_t strength = (uint32_t)lround(256.0 * fmin(1.0, fmax(0.0, opacity)));
    for (int32_t y = y_px < 0 ? -y_px : 0; y < caption->height_px && y + y_px < height_px; y++) {
        for (int32_t x = x_px < 0 ? -x_px : 0; x < caption->width_px && x + x_px < width_px; x++) {
            const uint8_t *from = caption->rgba + 4 * ((ptrdiff_t)y * caption->width_px + x);
            uint8_t *to = rgb + (y + y_px) * stride_bytes + 3 * (ptrdiff_t)(x + x_px);
            uint32_t rest = 255 * 256 - from[3] * strength;
            for (int c = 0; c < 3; c++) {
                to[c] = (uint8_t)((from[c] * strength * 255 + to[c] * rest + 255 * 128) / (255 * 256));
            }
        }
    }
}
