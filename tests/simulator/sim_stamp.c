/*
 * sim_stamp.c - drawn texts on pictures: colours turned to Y, U, V once, laid over any number of frames, and
 * how well the strokes stand out afterwards.
 */
#include "sim_overlay_internal.h"

#include <math.h>
#include <string.h>

static uint8_t byte_of(double value)
{
    return (uint8_t)fmin(fmax(value + 0.5, 0), 255);
}

/* ITU-R BT.601, video range; premultiplied in, premultiplied out: the offsets 16 and 128 count in proportion
 * to alpha. */
static void convert(struct sm_sim_stamp *stamp, double opacity)
{
    size_t n = (size_t)stamp->caption.width_px * (size_t)stamp->caption.height_px;
    for (size_t i = 0; i < n; i++) {
        const uint8_t *p = stamp->caption.rgba + 4 * i;
        double r = p[0] * opacity, g = p[1] * opacity, b = p[2] * opacity, a = p[3] * opacity;
        stamp->y[i] = byte_of(16 * a / 255 + 0.2568 * r + 0.5041 * g + 0.0979 * b);
        stamp->u[i] = byte_of(128 * a / 255 - 0.1482 * r - 0.2910 * g + 0.4392 * b);
        stamp->v[i] = byte_of(128 * a / 255 + 0.4392 * r - 0.3678 * g - 0.0714 * b);
        stamp->a[i] = byte_of(a);
    }
}

enum sm_status sm_sim__stamp_make(struct sm_sim_stamp *out, const struct sm_caption_style *style,
                                  const char *text, double opacity, struct sm_error *err)
{
    struct sm_sim_stamp made = {0};
    enum sm_status status = sm_caption_render(&made.caption, style, text, err);
    if (status != SM_OK) {
        return status;
    }
    size_t n = (size_t)made.caption.width_px * (size_t)made.caption.height_px;
    made.y = sm_calloc(n > 0 ? n : 1, 4);
    if (!made.y) {
        sm_caption_release(&made.caption);
        return sm_error_set(err, SM_E_NOMEM, "no memory for a text");
    }
    made.u = made.y + n;
    made.v = made.u + n;
    made.a = made.v + n;
    convert(&made, opacity);
    sm_sim__stamp_release(out);
    *out = made;
    return SM_OK;
}

void sm_sim__stamp_release(struct sm_sim_stamp *stamp)
{
    sm_caption_release(&stamp->caption);
    sm_free(stamp->y);
    *stamp = (struct sm_sim_stamp){0};
}

static int32_t at_least(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static int32_t at_most(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

void sm_sim__box_add(struct sm_sim_box *box, const struct sm_sim_box *more)
{
    if (more->right_px <= more->left_px) {
        return;
    }
    if (box->right_px <= box->left_px) {
        *box = *more;
        return;
    }
    box->left_px = at_most(box->left_px, more->left_px);
    box->top_px = at_most(box->top_px, more->top_px);
    box->right_px = at_least(box->right_px, more->right_px);
    box->bottom_px = at_least(box->bottom_px, more->bottom_px);
}

static uint8_t over(uint8_t ground, uint8_t colour, uint8_t alpha)
{
    int32_t value = colour + (ground * (255 - alpha) + 127) / 255;
    return (uint8_t)at_most(value, 255);
}

static void blend_luma(const struct sm_sim_stamp *stamp, struct sm_sim_picture *picture,
                       struct sm_sim_box box, int32_t left_px, int32_t top_px)
{
    for (int32_t y = box.top_px; y < box.bottom_px; y++) {
        ptrdiff_t in = (ptrdiff_t)(y - top_px) * stamp->caption.width_px - left_px;
        uint8_t *out = picture->y + (ptrdiff_t)y * picture->width_px;
        for (int32_t x = box.left_px; x < box.right_px; x++) {
            out[x] = over(out[x], stamp->y[in + x], stamp->a[in + x]);
        }
    }
}

/* A chroma pixel takes the mean of the four luma pixels it covers, as far as the stamp covers them. */
static void blend_chroma_px(const struct sm_sim_stamp *stamp, struct sm_sim_picture *picture,
                            struct sm_sim_box box, int32_t left_px, int32_t top_px, int32_t x, int32_t y)
{
    int32_t u = 0, v = 0, a = 0;
    for (int32_t i = 0; i < 4; i++) {
        int32_t at_x = 2 * x + (i & 1), at_y = 2 * y + (i >> 1);
        if (at_x >= box.left_px && at_x < box.right_px && at_y >= box.top_px && at_y < box.bottom_px) {
            ptrdiff_t in = (ptrdiff_t)(at_y - top_px) * stamp->caption.width_px + at_x - left_px;
            u += stamp->u[in];
            v += stamp->v[in];
            a += stamp->a[in];
        }
    }
    ptrdiff_t out = (ptrdiff_t)y * (picture->width_px / 2) + x;
    picture->u[out] = over(picture->u[out], (uint8_t)(u / 4), (uint8_t)(a / 4));
    picture->v[out] = over(picture->v[out], (uint8_t)(v / 4), (uint8_t)(a / 4));
}

void sm_sim__stamp_blend(const struct sm_sim_stamp *stamp, struct sm_sim_picture *picture, int32_t left_px,
                         int32_t top_px, int32_t from_column, int32_t to_column)
{
    struct sm_sim_box box = {
        .left_px = at_least(left_px + at_least(from_column, 0), 0),
        .top_px = at_least(top_px, 0),
        .right_px = at_most(left_px + at_most(to_column, stamp->caption.width_px), picture->width_px),
        .bottom_px = at_most(top_px + stamp->caption.height_px, picture->height_px),
    };
    if (box.left_px >= box.right_px || box.top_px >= box.bottom_px) {
        return;
    }
    blend_luma(stamp, picture, box, left_px, top_px);
    for (int32_t y = box.top_px / 2; y <= (box.bottom_px - 1) / 2; y++) {
        for (int32_t x = box.left_px / 2; x <= (box.right_px - 1) / 2; x++) {
            blend_chroma_px(stamp, picture, box, left_px, top_px, x, y);
        }
    }
}

static void fill_plane(uint8_t *plane, int32_t width_px, struct sm_sim_box box, double level, double alpha)
{
    for (int32_t y = box.top_px; y < box.bottom_px; y++) {
        for (int32_t x = box.left_px; x < box.right_px; x++) {
            uint8_t *out = plane + (ptrdiff_t)y * width_px + x;
            *out = byte_of(*out * (1 - alpha) + level * alpha);
        }
    }
}

void sm_sim__fill_box(struct sm_sim_picture *picture, struct sm_sim_box box, int64_t rgb, double alpha)
{
    double r = (double)(rgb >> 16 & 255), g = (double)(rgb >> 8 & 255), b = (double)(rgb & 255);
    box.left_px = at_least(box.left_px, 0) & ~1;
    box.top_px = at_least(box.top_px, 0) & ~1;
    box.right_px = at_most(box.right_px, picture->width_px);
    box.bottom_px = at_most(box.bottom_px, picture->height_px);
    struct sm_sim_box half = {box.left_px / 2, box.top_px / 2, (box.right_px + 1) / 2,
                              (box.bottom_px + 1) / 2};
    fill_plane(picture->y, picture->width_px, box, 16 + 0.2568 * r + 0.5041 * g + 0.0979 * b, alpha);
    fill_plane(picture->u, picture->width_px / 2, half, 128 - 0.1482 * r - 0.2910 * g + 0.4392 * b, alpha);
    fill_plane(picture->v, picture->width_px / 2, half, 128 + 0.4392 * r - 0.3678 * g - 0.0714 * b, alpha);
}

/* ---- measuring -------------------------------------------------------------------------------------------
 */

/* Sums over the pixels of a cell: x = what was drawn, y = what is seen. */
struct sums {
    double n, x, y, xx, yy, xy;
};

/* Mean of what is seen where the stamp leaves the ground alone; mid grey where it covers the cell. */
static double ground_level(const struct sm_sim_stamp *stamp, struct sm_sim_box cell, const uint8_t *luma,
                           ptrdiff_t stride, int32_t left_px, int32_t top_px)
{
    double sum = 0, n = 0;
    for (int32_t y = cell.top_px; y < cell.bottom_px; y++) {
        for (int32_t x = cell.left_px; x < cell.right_px; x++) {
            if (stamp->a[(ptrdiff_t)(y - top_px) * stamp->caption.width_px + x - left_px] < 32) {
                sum += luma[y * stride + x];
                n += 1;
            }
        }
    }
    return n > 0 ? sum / n : 128;
}

static struct sums add_up(const struct sm_sim_stamp *stamp, struct sm_sim_box cell, const uint8_t *luma,
                          ptrdiff_t stride, int32_t left_px, int32_t top_px)
{
    struct sums sums = {0};
    double ground = ground_level(stamp, cell, luma, stride, left_px, top_px);
    for (int32_t y = cell.top_px; y < cell.bottom_px; y++) {
        for (int32_t x = cell.left_px; x < cell.right_px; x++) {
            ptrdiff_t at = (ptrdiff_t)(y - top_px) * stamp->caption.width_px + x - left_px;
            double drawn = stamp->y[at] + ground * (255 - stamp->a[at]) / 255, seen = luma[y * stride + x];
            sums.n += 1;
            sums.x += drawn;
            sums.y += seen;
            sums.xx += drawn * drawn;
            sums.yy += seen * seen;
            sums.xy += drawn * seen;
        }
    }
    return sums;
}

struct sm_sim_match sm_sim__stamp_match(const struct sm_sim_stamp *stamp, size_t glyph_idx,
                                        const uint8_t *luma, ptrdiff_t stride, int32_t width_px,
                                        int32_t height_px, int32_t left_px, int32_t top_px)
{
    const struct sm_caption_glyph *glyph = &stamp->caption.glyph[glyph_idx];
    struct sm_sim_box cell = {
        .left_px = at_least(left_px + at_least((int32_t)floor(glyph->left_px) - 2, 0), 0),
        .top_px = at_least(top_px + at_least((int32_t)floor(stamp->caption.top_px) - 2, 0), 0),
        .right_px =
            at_most(left_px + at_most((int32_t)ceil(glyph->right_px) + 2, stamp->caption.width_px), width_px),
        .bottom_px =
            at_most(top_px + at_most((int32_t)ceil(stamp->caption.baseline_px) + 2, stamp->caption.height_px),
                    height_px),
    };
    if (cell.right_px - cell.left_px < 2 || cell.bottom_px - cell.top_px < 3) {
        return (struct sm_sim_match){0};
    }
    struct sums sums = add_up(stamp, cell, luma, stride, left_px, top_px);
    double both = sums.xy - sums.x * sums.y / sums.n;
    double drawn = sums.xx - sums.x * sums.x / sums.n, seen = sums.yy - sums.y * sums.y / sums.n;
    if (drawn < sums.n || seen < sums.n / 4) { /* as good as flat */
        return (struct sm_sim_match){0};
    }
    return (struct sm_sim_match){.likeness = fabs(both) / sqrt(drawn * seen),
                                 .contrast = 2 * fabs(both) / sqrt(drawn * sums.n)};
}
