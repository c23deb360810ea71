/**
 * @file text_console_font.c
 * Text in the bitmap fonts of the Linux console (PC Screen Font versions 1 and 2, as a rule compressed with
 * gzip): thin hard-edged characters in fixed cells, as overlay chips draw them. Source: the PSF format as
 * laid down in the kbd package's psf.h, from memory; checked against the fonts of Debian's
 * console-setup-linux.
 */
#include "text_render_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <zlib.h>

#define FONT_FOLDER "/usr/share/consolefonts/"
#define MAX_FONT_BYTES (1 << 20)

struct psf {
    uint8_t *data; /* the whole file; owned */
    size_t n_bytes;
    const uint8_t *bitmap;
    uint32_t n_glyphs, glyph_bytes, width_px, height_px;
    size_t table_offset; /* of the Unicode table, 0 = none */
    bool is_version_2;
};

static gzFile open_font(const char *name)
{
    static const char *const ending[] = {"", ".psf.gz", ".psf", ".psfu.gz", ".gz"};
    char path[300];
    if (strchr(name, '/')) {
        return NULL;
    }
    for (size_t i = 0; i < sizeof ending / sizeof ending[0]; i++) {
        int n = snprintf(path, sizeof path, FONT_FOLDER "%s%s", name, ending[i]);
        gzFile file = n > 0 && (size_t)n < sizeof path ? gzopen(path, "rb") : NULL;
        if (file) {
            return file;
        }
    }
    return NULL;
}

bool sm_text__console_font_exists(const char *name)
{
    gzFile file = open_font(name);
    if (file) {
        gzclose(file);
    }
    return file != NULL;
}

static uint32_t le32(const uint8_t *p)
{
    return p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

/** Make sense of the header. @return false when the file is no such font or is cut short. */
static bool parse_header(struct psf *psf)
{
    const uint8_t *d = psf->data;
    uint32_t header_bytes;
    bool has_table;
    if (psf->n_bytes >= 4 && d[0] == 0x36 && d[1] == 0x04) {
        header_bytes = 4;
        psf->n_glyphs = d[2] & 1 ? 512 : 256;
        has_table = d[2] & 2;
        psf->glyph_bytes = psf->height_px = d[3];
        psf->width_px = 8;
    } else if (psf->n_bytes >= 32 && le32(d) == 0x864ab572) {
        psf->is_version_2 = true;
        header_bytes = le32(d + 8);
        has_table = le32(d + 12) & 1;
        psf->n_glyphs = le32(d + 16);
        psf->glyph_bytes = le32(d + 20);
        psf->height_px = le32(d + 24);
        psf->width_px = le32(d + 28);
    } else {
        return false;
    }
    bool is_sane = psf->width_px >= 1 && psf->width_px <= 64 && psf->height_px >= 1 &&
                   psf->height_px <= 128 && psf->glyph_bytes == psf->height_px * ((psf->width_px + 7) / 8) &&
                   psf->n_glyphs <= 4096 && header_bytes <= psf->n_bytes &&
                   psf->n_glyphs * psf->glyph_bytes <= psf->n_bytes - header_bytes;
    psf->bitmap = d + (is_sane ? header_bytes : 0);
    psf->table_offset = is_sane && has_table ? header_bytes + psf->n_glyphs * psf->glyph_bytes : 0;
    return is_sane;
}

static enum sm_status load_font(struct psf *psf, const char *name, struct sm_error *err)
{
    gzFile file = open_font(name);
    if (!file) {
        (void)sm_error_set(err, SM_E_NOTFOUND, "console font \"%s\" is not installed", name);
        return err ? sm_error_remedy(err, "install the package console-setup-linux") : SM_E_NOTFOUND;
    }
    psf->data = sm_calloc(MAX_FONT_BYTES, 1);
    int n = psf->data ? gzread(file, psf->data, MAX_FONT_BYTES) : 0;
    gzclose(file);
    if (!psf->data) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a console font");
    }
    psf->n_bytes = n > 0 ? (size_t)n : 0;
    if (!parse_header(psf)) {
        sm_free(psf->data);
        return sm_error_set(err, SM_E_FORMAT, "\"%s\" is no console font", name);
    }
    return SM_OK;
}

/** Version 1: lists of 16-bit codes, 0xffff ends a glyph's list, 0xfffe starts sequences (not wanted here).
 */
static bool find_in_table_1(uint32_t *found, const struct psf *psf, uint32_t codepoint)
{
    uint32_t glyph = 0;
    bool is_sequence = false;
    for (size_t at = psf->table_offset; at + 2 <= psf->n_bytes && glyph < psf->n_glyphs; at += 2) {
        uint32_t code = psf->data[at] | (uint32_t)psf->data[at + 1] << 8;
        if (code == 0xffff) {
            glyph++;
            is_sequence = false;
        } else if (code == 0xfffe) {
            is_sequence = true;
        } else if (code == codepoint && !is_sequence) {
            *found = glyph;
            return true;
        }
    }
    return false;
}

/** Version 2: the same in UTF-8, with 0xff and 0xfe. Only ASCII and two-byte codes are looked for. */
static bool find_in_table_2(uint32_t *found, const struct psf *psf, uint32_t codepoint)
{
    uint32_t glyph = 0;
    bool is_sequence = false;
    for (size_t at = psf->table_offset; at < psf->n_bytes && glyph < psf->n_glyphs; at++) {
        uint32_t code = psf->data[at];
        if ((code & 0xe0) == 0xc0 && at + 1 < psf->n_bytes) {
            code = (code & 0x1f) << 6 | (psf->data[at + 1] & 0x3f);
        } else if (code >= 0x80 && code < 0xfe) {
            continue; /* later bytes of a code, and codes of three or more */
        }
        if (psf->data[at] == 0xff) {
            glyph++;
            is_sequence = false;
        } else if (psf->data[at] == 0xfe) {
            is_sequence = true;
        } else if (code == codepoint && !is_sequence) {
            *found = glyph;
            return true;
        }
    }
    return false;
}

/** Bitmap of a character, NULL when the font lacks it. */
static const uint8_t *bitmap_of(const struct psf *psf, uint32_t codepoint)
{
    uint32_t glyph = codepoint;
    bool is_there = psf->table_offset == 0 ? codepoint < psf->n_glyphs
                    : psf->is_version_2    ? find_in_table_2(&glyph, psf, codepoint)
                                           : find_in_table_1(&glyph, psf, codepoint);
    return is_there ? psf->bitmap + (size_t)glyph * psf->glyph_bytes : NULL;
}

static bool is_set(const struct psf *psf, const uint8_t *bitmap, uint32_t x, uint32_t y)
{
    return bitmap[y * ((psf->width_px + 7) / 8) + x / 8] & (0x80 >> (x % 8));
}

/** First and last+1 row with ink of the digits. */
static bool digit_rows(const struct psf *psf, uint32_t *first, uint32_t *end)
{
    *first = psf->height_px;
    *end = 0;
    for (uint32_t digit = '0'; digit <= '9'; digit++) {
        const uint8_t *bitmap = bitmap_of(psf, digit);
        for (uint32_t y = 0; bitmap && y < psf->height_px; y++) {
            for (uint32_t x = 0; x < psf->width_px; x++) {
                if (is_set(psf, bitmap, x, y)) {
                    *first = y < *first ? y : *first;
                    *end = y + 1 > *end ? y + 1 : *end;
                }
            }
        }
    }
    return *end > *first;
}

/** Draw a glyph's bits as blocks and find its ink. */
static void draw_glyph(struct sm_text_mask *mask, struct sm_caption_glyph *g, const struct psf *psf,
                       int32_t left_px, int32_t top_px, int32_t scale_x, int32_t scale_y)
{
    const uint8_t *bitmap = bitmap_of(psf, g->codepoint);
    uint32_t ink_left = psf->width_px, ink_right = 0;
    for (uint32_t y = 0; bitmap && y < psf->height_px; y++) {
        for (uint32_t x = 0; x < psf->width_px; x++) {
            if (!is_set(psf, bitmap, x, y)) {
                continue;
            }
            ink_left = x < ink_left ? x : ink_left;
            ink_right = x + 1 > ink_right ? x + 1 : ink_right;
            for (int32_t row = 0; row < scale_y; row++) {
                ptrdiff_t at = (ptrdiff_t)(top_px + (int32_t)y * scale_y + row) * mask->width_px;
                memset(mask->alpha + at + left_px + (int32_t)x * scale_x, 255, (size_t)scale_x);
            }
        }
    }
    g->has_ink = ink_right > ink_left;
    g->left_px = g->has_ink ? left_px + (int32_t)ink_left * scale_x : g->cell_left_px;
    g->right_px = g->has_ink ? left_px + (int32_t)ink_right * scale_x : g->cell_right_px;
}

static int32_t at_least(double value, int32_t least)
{
    int32_t rounded = (int32_t)lround(value);
    return rounded < least ? least : rounded;
}

static enum sm_status draw_text(struct sm_text_mask *mask, struct sm_caption_glyph *glyph, size_t n_glyphs,
                                const struct sm_caption_style *style, const struct psf *psf,
                                int32_t margin_px, struct sm_error *err)
{
    uint32_t first_row, end_row;
    if (!digit_rows(psf, &first_row, &end_row)) {
        return sm_error_set(err, SM_E_FORMAT, "console font \"%s\" has no digits", style->font);
    }
    int32_t scale_y = at_least(style->height_px / (end_row - first_row), 1);
    int32_t scale_x = at_least(scale_y * (style->x_stretch > 0.0 ? style->x_stretch : 1.0), 1);
    int32_t cell_px = at_least((int32_t)psf->width_px * scale_x + style->letter_spacing_px, 1);
    int32_t text_px = cell_px * (int32_t)n_glyphs;
    int32_t room_px = (int32_t)psf->width_px * scale_x; /* the last glyph may be wider than its cell */
    enum sm_status status = sm_text__mask_alloc(mask, text_px + room_px + 2 * margin_px,
                                                (int32_t)psf->height_px * scale_y + 2 * margin_px, err);
    if (status != SM_OK) {
        return status;
    }
    for (size_t i = 0; i < n_glyphs; i++) {
        int32_t left_px = margin_px + cell_px * (int32_t)i;
        glyph[i].cell_left_px = left_px;
        glyph[i].cell_right_px = left_px + cell_px;
        draw_glyph(mask, &glyph[i], psf, left_px, margin_px, scale_x, scale_y);
    }
    mask->top_px = margin_px + (int32_t)first_row * scale_y;
    mask->baseline_px = margin_px + (int32_t)end_row * scale_y;
    mask->text_left_px = margin_px;
    mask->text_right_px = margin_px + text_px;
    return SM_OK;
}

enum sm_status sm_text__draw_console_font(struct sm_text_mask *mask, struct sm_caption_glyph *glyph,
                                          size_t n_glyphs, const struct sm_caption_style *style,
                                          const char *text, int32_t margin_px, struct sm_error *err)
{
    (void)text;
    struct psf psf = {0};
    enum sm_status status = load_font(&psf, style->font + strlen(SM_TEXT_PSF_PREFIX), err);
    if (status == SM_OK) {
        status = draw_text(mask, glyph, n_glyphs, style, &psf, margin_px, err);
        sm_free(psf.data);
    }
    return status;
}
