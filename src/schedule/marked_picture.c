/* A frame with numbered boxes and their list, as PNG: by cairo, with the crew sheet's font. */
#include <cairo.h>
#include <math.h>
#include <pango/pangocairo.h>
#include <string.h>

#include "schedule_internal.h"

#define LEAST_WIDTH 960 /* small pictures are enlarged, so that the words beside them can be read */
#define TEXT 15.0
#define ROW 22.0
#define MARGIN 12.0
#define MOST_SIDE_PX 8192

struct sheet_of {
    cairo_t *cr;
    PangoLayout *layout;
    int scale; /* of the picture */
};

static uint8_t clip(double value)
{
    return value < 0 ? 0 : value > 255 ? 255 : (uint8_t)lrint(value);
}

/* Full-range YCbCr to RGB. @source ITU-T T.871 (JFIF), clause 7. */
static uint32_t colour_at(const struct sm_image *image, int32_t x, int32_t y)
{
    double luma = image->y[y * image->stride_y + x], cb = 0, cr = 0;
    if (image->u && image->v) {
        int32_t cx = x >> image->chroma_shift_x, cy = y >> image->chroma_shift_y;
        cb = (double)image->u[cy * image->stride_u + cx] - 128;
        cr = (double)image->v[cy * image->stride_v + cx] - 128;
    }
    return 0xff000000U | (uint32_t)clip(luma + 1.402 * cr) << 16 |
           (uint32_t)clip(luma - 0.344136 * cb - 0.714136 * cr) << 8 | clip(luma + 1.772 * cb);
}

static cairo_surface_t *surface_of(const struct sm_image *image)
{
    cairo_surface_t *surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, image->width_px, image->height_px);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS) {
        return surface;
    }
    unsigned char *data = cairo_image_surface_get_data(surface);
    int stride = cairo_image_surface_get_stride(surface);
    for (int32_t y = 0; y < image->height_px; y++) {
        for (int32_t x = 0; x < image->width_px; x++) {
            uint32_t pixel = colour_at(image, x, y);
            memcpy(data + (ptrdiff_t)y * stride + (ptrdiff_t)x * 4, &pixel, sizeof pixel);
        }
    }
    cairo_surface_mark_dirty(surface);
    return surface;
}

static void put_words(const struct sheet_of *sheet, double x, double y, const char *words)
{
    pango_layout_set_text(sheet->layout, words, -1);
    cairo_move_to(sheet->cr, x, y);
    pango_cairo_show_layout(sheet->cr, sheet->layout);
}

/* A number on a ground of its own, so that it shows on any picture. */
static void put_number(const struct sheet_of *sheet, double x, double y, size_t number)
{
    char words[8] = {(char)('0' + number % 10), '\0'};
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_rectangle(sheet->cr, x, y, TEXT + 2, ROW - 2);
    cairo_fill(sheet->cr);
    cairo_set_source_rgb(sheet->cr, 1, 1, 1);
    put_words(sheet, x + 4, y + 1, words);
}

/* White on black, full or dashed: seen on any ground. */
static void put_box(const struct sheet_of *sheet, const struct sm_picture_mark *mark, size_t number)
{
    static const double dash[] = {7, 5};
    const double x = mark->box.x_px * sheet->scale, y = mark->box.y_px * sheet->scale;
    const double width = mark->box.width_px * sheet->scale, height = mark->box.height_px * sheet->scale;
    cairo_set_dash(sheet->cr, NULL, 0, 0);
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_set_line_width(sheet->cr, 5);
    cairo_rectangle(sheet->cr, x, y, width, height);
    cairo_stroke_preserve(sheet->cr);
    cairo_set_dash(sheet->cr, dash, mark->is_chosen ? 0 : 2, 0);
    cairo_set_source_rgb(sheet->cr, 1, 1, 1);
    cairo_set_line_width(sheet->cr, 2.5);
    cairo_stroke(sheet->cr);
    put_number(sheet, x, y >= ROW ? y - ROW : y + height + 2, number);
}

static void draw(const struct sheet_of *sheet, const struct sm_image *image, cairo_surface_t *picture,
                 const struct sm_picture_mark *mark, size_t n_marks, const char *title)
{
    cairo_t *cr = sheet->cr;
    double y = (double)image->height_px * sheet->scale + MARGIN;
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_paint(cr);
    cairo_save(cr);
    cairo_scale(cr, sheet->scale, sheet->scale);
    cairo_set_source_surface(cr, picture, 0, 0);
    cairo_pattern_set_filter(cairo_get_source(cr), CAIRO_FILTER_NEAREST);
    cairo_paint(cr);
    cairo_restore(cr);
    for (size_t i = n_marks; i-- > 0;) {
        put_box(sheet, &mark[i], i + 1);
    }
    cairo_set_source_rgb(cr, 0, 0, 0);
    put_words(sheet, MARGIN, y, title);
    for (size_t i = 0; i < n_marks; i++) {
        y += ROW + 4;
        put_number(sheet, MARGIN, y, i + 1);
        cairo_set_source_rgb(cr, 0, 0, 0);
        put_words(sheet, MARGIN + TEXT + 12, y, mark[i].words);
    }
}

static cairo_status_t take_bytes(void *user, const unsigned char *data, unsigned n)
{
    struct sm_text *out = user;
    sm_text_add_n(out, (const char *)data, n);
    return out->failed ? CAIRO_STATUS_NO_MEMORY : CAIRO_STATUS_SUCCESS;
}

static PangoLayout *layout_new(cairo_t *cr)
{
    PangoLayout *layout = pango_cairo_create_layout(cr);
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, "DejaVu Sans");
    pango_font_description_set_absolute_size(font, TEXT * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    return layout;
}

enum sm_status sm_schedule_write_marked_picture(struct sm_text *png, const struct sm_image *image,
                                                const struct sm_picture_mark *mark, size_t n_marks,
                                                const char *title, struct sm_error *err)
{
    int scale = (LEAST_WIDTH + image->width_px - 1) / image->width_px;
    scale = scale * image->height_px <= MOST_SIDE_PX ? scale : 1;
    double height = (double)image->height_px * scale + 2 * MARGIN + ROW + (ROW + 4) * (double)n_marks;
    cairo_surface_t *picture = surface_of(image);
    cairo_surface_t *page =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, image->width_px * scale, (int)ceil(height));
    struct sheet_of sheet = {.cr = cairo_create(page), .scale = scale};
    sheet.layout = layout_new(sheet.cr);
    draw(&sheet, image, picture, mark, n_marks, title);
    cairo_status_t status = cairo_surface_status(picture);
    status = status == CAIRO_STATUS_SUCCESS ? cairo_status(sheet.cr) : status;
    g_object_unref(sheet.layout);
    cairo_destroy(sheet.cr);
    size_t length = png->length;
    status =
        status == CAIRO_STATUS_SUCCESS ? cairo_surface_write_to_png_stream(page, take_bytes, png) : status;
    cairo_surface_destroy(page);
    cairo_surface_destroy(picture);
    if (status != CAIRO_STATUS_SUCCESS) {
        png->length = length;
        return sm_error_set(err, SM_E_NOMEM, "the picture could not be drawn: %s",
                            cairo_status_to_string(status));
    }
    return SM_OK;
}
