/*
 * Lines that look like burned-in text.
 *
 * Characters are dense in vertical strokes and stand still while the wall moves past. The mean strength of
 * horizontal contrast over pictures spread through the recording is therefore high along a text line and
 * nowhere else for long. A line filter (a bar as tall as the digits, less what stands directly above and
 * below it) is run at all text heights; its maxima, each stretched along its row as far as it goes, are the
 * lines. They are proposals: the network decides.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONTRAST_CLIP 90
#define MAX_SAMPLES 64
#define STEADY_RANK 0.3f /* a stroke that stands still has contrast in all but this share of the pictures */
#define HEIGHT_LEAST_PX 6.0f
#define HEIGHT_RATIO 1.19f
#define N_HEIGHTS 14

/** Steady contrast of the samples, as an integral image: sum[y][x] is the sum over rows < y and columns < x.
 */
struct contrast_map {
    int32_t width_px, height_px;
    float *sum;
};

/** Contrast of one chroma row's neighbours, given to the luma columns that share them where it is the larger.
 */
static void row_chroma(uint8_t *contrast, const uint8_t *row, int32_t width_px, int32_t shift)
{
    int32_t n = (width_px + (1 << shift) - 1) >> shift;
    for (int32_t c = 1; c + 1 < n; c++) {
        int d = abs(row[c + 1] - row[c - 1]);
        for (int32_t x = c << shift; x < ((c + 1) << shift) && x < width_px; x++) {
            contrast[x] = d > contrast[x] ? (uint8_t)d : contrast[x];
        }
    }
}

/** Horizontal contrast of one row, the larger of brightness and colour, cut at CONTRAST_CLIP. */
static void row_contrast(uint8_t *contrast, const struct sm_image *image, int32_t y)
{
    const uint8_t *row = image->y + y * image->stride_y;
    contrast[0] = contrast[image->width_px - 1] = 0;
    for (int32_t x = 1; x + 1 < image->width_px; x++) {
        contrast[x] = (uint8_t)abs(row[x + 1] - row[x - 1]);
    }
    if (image->u && image->v) {
        int32_t cy = y >> image->chroma_shift_y;
        row_chroma(contrast, image->u + cy * image->stride_u, image->width_px, image->chroma_shift_x);
        row_chroma(contrast, image->v + cy * image->stride_v, image->width_px, image->chroma_shift_x);
    }
    for (int32_t x = 0; x < image->width_px; x++) {
        contrast[x] = contrast[x] > CONTRAST_CLIP ? CONTRAST_CLIP : contrast[x];
    }
}

/** Contrast of one place through the samples, as two strengths. */
struct strength {
    float mean;
    float steady; /**< half the mean and what all but STEADY_RANK of them reach */
};

/** Sorts the values. */
static struct strength strength_of(uint8_t *value, size_t n)
{
    uint32_t sum = 0;
    for (size_t i = 0; i < n; i++) {
        uint8_t v = value[i];
        size_t k = i;
        for (; k > 0 && value[k - 1] > v; k--) {
            value[k] = value[k - 1];
        }
        value[k] = v;
        sum += v;
    }
    float mean = (float)sum / (float)n;
    return (struct strength){mean, 0.5f * mean + (float)value[(size_t)(STEADY_RANK * (float)(n - 1))]};
}

/** The two maps: of lasting strokes, and of strokes that may be missing for a while. */
struct contrast_maps {
    struct contrast_map steady, mean;
};

/** Row y of both maps. rows: n_samples x width bytes of work space. */
static void maps_row(struct contrast_maps *maps, uint8_t *rows, const struct sm_counter__samples *samples,
                     int32_t y)
{
    int32_t w = maps->mean.width_px;
    size_t pitch = (size_t)w + 1, above = (size_t)y * pitch, here = above + pitch;
    size_t n = samples->n < MAX_SAMPLES ? samples->n : MAX_SAMPLES;
    float *steady = maps->steady.sum, *mean = maps->mean.sum;
    float run_steady = 0, run_mean = 0;
    uint8_t column[MAX_SAMPLES];
    for (size_t i = 0; i < n; i++) {
        row_contrast(rows + i * (size_t)w, &samples->frame[i].image, y);
    }
    for (size_t x = 0; x < (size_t)w; x++) {
        for (size_t i = 0; i < n; i++) {
            column[i] = rows[i * (size_t)w + x];
        }
        struct strength s = strength_of(column, n);
        run_steady += s.steady;
        run_mean += s.mean;
        steady[here + x + 1] = steady[above + x + 1] + run_steady;
        mean[here + x + 1] = mean[above + x + 1] + run_mean;
    }
}

static void maps_release(struct contrast_maps *maps)
{
    sm_free(maps->steady.sum);
    sm_free(maps->mean.sum);
}

static enum sm_status maps_make(struct contrast_maps *maps, const struct sm_counter__samples *samples,
                                struct sm_error *err)
{
    int32_t w = samples->frame[0].image.width_px, h = samples->frame[0].image.height_px;
    size_t n = (size_t)(w + 1) * (size_t)(h + 1);
    uint8_t *rows = sm_calloc((size_t)w, MAX_SAMPLES);
    maps->steady = (struct contrast_map){w, h, sm_calloc(n, sizeof(float))};
    maps->mean = (struct contrast_map){w, h, sm_calloc(n, sizeof(float))};
    bool has_room = rows && maps->steady.sum && maps->mean.sum;
    for (int32_t y = 0; has_room && y < h; y++) {
        maps_row(maps, rows, samples, y);
    }
    sm_free(rows);
    return has_room ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory for the contrast map");
}

/** Mean over a box, cut at the picture's edges; 0 for an empty one. */
static float box_mean(const struct contrast_map *map, float x0, float y0, float x1, float y1)
{
    int32_t ax = (int32_t)lrintf(x0), ay = (int32_t)lrintf(y0), bx = (int32_t)lrintf(x1),
            by = (int32_t)lrintf(y1);
    ax = ax < 0 ? 0 : ax;
    ay = ay < 0 ? 0 : ay;
    bx = bx > map->width_px ? map->width_px : bx;
    by = by > map->height_px ? map->height_px : by;
    if (ax >= bx || ay >= by) {
        return 0;
    }
    size_t pitch = (size_t)map->width_px + 1;
    const float *s = map->sum;
    float total = s[(size_t)by * pitch + (size_t)bx] - s[(size_t)ay * pitch + (size_t)bx] -
                  s[(size_t)by * pitch + (size_t)ax] + s[(size_t)ay * pitch + (size_t)ax];
    return total / (float)((bx - ax) * (by - ay));
}

/** Response of the line filter for digits of height h_px whose middle is at (x, y). */
static float line_response(const struct contrast_map *map, float x, float y, float h_px, float width_px)
{
    float x0 = x - 0.5f * width_px, x1 = x + 0.5f * width_px, top = y - 0.5f * h_px, base = y + 0.5f * h_px;
    float gap = 0.12f * h_px + 0.5f, flank = 0.3f * h_px + 1;
    float inner_top = box_mean(map, x0, top, x1, y), inner_base = box_mean(map, x0, y, x1, base);
    float inner = inner_top < inner_base ? inner_top : inner_base;
    float above = box_mean(map, x0, top - gap - flank, x1, top - gap);
    float below = box_mean(map, x0, base + gap, x1, base + gap + flank);
    float around = above > below ? above : below;
    /* Strokes get rarer as characters grow: the density of contrast falls as 1/height. */
    return (inner - around) * sqrtf(h_px / 16.0f);
}

struct peak {
    float x, y, h, response;
};

static int peak_order(const void *a, const void *b)
{
    const struct peak *pa = a, *pb = b;
    if (pa->response != pb->response) {
        return pa->response < pb->response ? 1 : -1;
    }
    if (pa->y != pb->y) {
        return pa->y < pb->y ? -1 : 1;
    }
    return pa->x < pb->x ? -1 : pa->x > pb->x;
}

static enum sm_status peaks_collect(struct peak **out, size_t *n_out, const struct contrast_map *map,
                                    struct sm_box box, float least, struct sm_error *err)
{
    struct peak *peaks = NULL;
    size_t n = 0, capacity = 0;
    float h = HEIGHT_LEAST_PX;
    for (int k = 0; k < N_HEIGHTS; k++, h *= HEIGHT_RATIO) {
        float step_y = h * 0.12f < 1 ? 1 : h * 0.12f, step_x = 0.6f * h;
        for (float y = (float)box.y_px + 0.5f * h; y <= (float)(box.y_px + box.height_px) - 0.5f * h;
             y += step_y) {
            for (float x = (float)box.x_px + h; x <= (float)(box.x_px + box.width_px) - h; x += step_x) {
                float response = line_response(map, x, y, h, 2.2f * h);
                if (response < least) {
                    continue;
                }
                if (sm_grow(&peaks, n, &capacity, sizeof *peaks) != SM_OK) {
                    sm_free(peaks);
                    return sm_error_set(err, SM_E_NOMEM, "no memory for text line search");
                }
                peaks[n++] = (struct peak){x, y, h, response};
            }
        }
    }
    if (n) {
        qsort(peaks, n, sizeof *peaks, peak_order);
    }
    *out = peaks;
    *n_out = n;
    return SM_OK;
}

/** How far the line goes from x in steps of direction (+1, -1), bridging gaps as wide as two characters. */
static float line_reach(const struct contrast_map *map, const struct peak *peak, float direction,
                        struct sm_box box)
{
    float step = 0.25f * peak->h, reach = peak->x, x = peak->x, lost = 0;
    float limit0 = (float)box.x_px, limit1 = (float)(box.x_px + box.width_px);
    while (lost < 1.8f * peak->h && x > limit0 && x < limit1) {
        x += direction * step;
        float response = line_response(map, x, peak->y, peak->h, 0.8f * peak->h);
        if (response > 0.22f * peak->response) {
            reach = x;
            lost = 0;
        } else {
            lost += step;
        }
    }
    return reach;
}

/** Sharpen top and baseline: rows whose contrast is above half of the line's own. */
static void line_trim(struct sm_counter__text_line *line, const struct contrast_map *map)
{
    float h = line->baseline_px - line->top_px, mid = 0.5f * (line->baseline_px + line->top_px);
    float inner = box_mean(map, line->x0_px, mid - 0.3f * h, line->x1_px, mid + 0.3f * h);
    float outer_top = box_mean(map, line->x0_px, mid - 1.0f * h, line->x1_px, mid - 0.75f * h);
    float outer_base = box_mean(map, line->x0_px, mid + 0.75f * h, line->x1_px, mid + 1.0f * h);
    float top = mid - 0.2f * h, base = mid + 0.2f * h;
    while (top > mid - 0.8f * h &&
           box_mean(map, line->x0_px, top - 1, line->x1_px, top) > 0.5f * (0.9f * inner + outer_top)) {
        top -= 1;
    }
    while (base < mid + 0.8f * h &&
           box_mean(map, line->x0_px, base, line->x1_px, base + 1) > 0.5f * (0.9f * inner + outer_base)) {
        base += 1;
    }
    if (base - top > 0.55f * h && base - top < 1.5f * h) {
        line->top_px = top;
        line->baseline_px = base;
    }
}

static bool is_taken(const struct sm_counter__text_line *lines, size_t n, const struct peak *peak)
{
    for (size_t i = 0; i < n; i++) {
        float h = lines[i].baseline_px - lines[i].top_px;
        float top = peak->y - 0.5f * peak->h, base = peak->y + 0.5f * peak->h;
        float shared = fminf(base, lines[i].baseline_px) - fmaxf(top, lines[i].top_px);
        bool along = peak->x > lines[i].x0_px - h && peak->x < lines[i].x1_px + h;
        if (along && shared > 0.3f * fminf(h, peak->h)) {
            return true;
        }
    }
    return false;
}

static struct sm_counter__text_line line_of(const struct contrast_map *map, const struct peak *peak,
                                            struct sm_box box)
{
    struct sm_counter__text_line line = {
        .x0_px = line_reach(map, peak, -1, box) - 0.9f * peak->h,
        .x1_px = line_reach(map, peak, 1, box) + 1.3f * peak->h, /* an apostrophe is too small to be felt */
        .top_px = peak->y - 0.5f * peak->h,
        .baseline_px = peak->y + 0.5f * peak->h,
        .strength = peak->response,
        .weight_y = 1,
    };
    line_trim(&line, map);
    return line;
}

/** The same stretch again, found on the other map. */
static bool is_twin(const struct sm_counter__text_line *a, const struct sm_counter__text_line *b)
{
    float near = 0.2f * (a->baseline_px - a->top_px);
    return fabsf(a->top_px - b->top_px) < near && fabsf(a->baseline_px - b->baseline_px) < near &&
           fabsf(a->x0_px - b->x0_px) < 6 * near && fabsf(a->x1_px - b->x1_px) < 6 * near;
}

/** Lines of one map, appended. */
static enum sm_status map_lines(struct sm_counter__text_line *lines, size_t *n_lines, size_t most,
                                const struct contrast_map *map, struct sm_box box, struct sm_error *err)
{
    struct peak *peaks = NULL;
    size_t n_peaks = 0, first = *n_lines, n = 0;
    struct sm_counter__text_line *found = lines + first;
    float ground = box_mean(map, 0, 0, (float)map->width_px, (float)map->height_px);
    enum sm_status status = peaks_collect(&peaks, &n_peaks, map, box, fmaxf(2.0f, 0.4f * ground), err);
    for (size_t i = 0; status == SM_OK && i < n_peaks && n < most; i++) {
        if (!is_taken(found, n, &peaks[i])) {
            found[n++] = line_of(map, &peaks[i], box);
        }
    }
    for (size_t i = 0; i < n; i++) {
        size_t k = 0;
        while (k < first && !is_twin(&lines[k], &found[i])) {
            k++;
        }
        if (k == first) {
            lines[(*n_lines)++] = found[i];
        }
    }
    sm_free(peaks);
    return status;
}

enum sm_status sm_counter__locate(struct sm_counter__text_line lines[SM_COUNTER_MAX_LINES], size_t *n_lines,
                                  const struct sm_counter__samples *samples, struct sm_box box,
                                  struct sm_error *err)
{
    struct contrast_maps maps = {0};
    *n_lines = 0;
    enum sm_status status = maps_make(&maps, samples, err);
    if (box.width_px <= 0) {
        box = (struct sm_box){0, 0, maps.mean.width_px, maps.mean.height_px};
    }
    if (status == SM_OK) {
        status = map_lines(lines, n_lines, SM_COUNTER_MAX_LINES / 2, &maps.steady, box, err);
    }
    if (status == SM_OK) {
        status = map_lines(lines, n_lines, SM_COUNTER_MAX_LINES / 2, &maps.mean, box, err);
    }
    maps_release(&maps);
    return status;
}
