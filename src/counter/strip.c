/**
 * @file strip.c
 * Separable resampling with a tent as wide as one target or source pixel, whichever is larger: an average
 * when the text shrinks, linear interpolation when it grows. Columns first, then rows, over the few picture
 * rows that a line needs.
 */
#include "strip.h"

#include <math.h>

#define MIN_DIGIT_HEIGHT_PX 4.0
#define MAX_COORDINATE_PX 1e5
#define MIN_SPREAD 1.5F /* grey levels; below it there is only quantisation noise */
#define CLIP 4.0F
#define N_LEVELS 1024 /* of the histogram that gives the median */

static bool is_sane(const struct sm_counter__line *line)
{
    return line->right_px > line->left_px && line->baseline_px - line->top_px >= MIN_DIGIT_HEIGHT_PX &&
           fabs(line->left_px) < MAX_COORDINATE_PX && fabs(line->right_px) < MAX_COORDINATE_PX &&
           fabs(line->top_px) < MAX_COORDINATE_PX && fabs(line->baseline_px) < MAX_COORDINATE_PX;
}

double sm_counter__strip_scale(const struct sm_counter__line *line)
{
    return SM_STRIP_DIGIT_HEIGHT / (line->baseline_px - line->top_px);
}

int32_t sm_counter__strip_width(const struct sm_counter__line *line)
{
    if (!is_sane(line)) {
        return 0;
    }
    double width_px = (line->right_px - line->left_px) * sm_counter__strip_scale(line);
    return width_px > SM_STRIP_MAX_WIDTH ? 0 : width_px < 1.0 ? 1 : (int32_t)lround(width_px);
}

/** How one target pixel is made of source pixels first .. first + n - 1; weights sum to 1. */
struct taps {
    int32_t first, n;
    float *weight;
};

/** Room for the weights of one target pixel at this scale. */
static size_t max_taps(double scale)
{
    return (size_t)(2.0 * ceil(fmax(1.0, 1.0 / scale))) + 2;
}

/** Taps of the target pixel whose middle falls on source coordinate middle_px. */
static void set_taps(struct taps *taps, double middle_px, double scale)
{
    double reach = fmax(1.0, 1.0 / scale), sum = 0.0;
    taps->first = (int32_t)ceil(middle_px - reach - 0.5);
    taps->n = (int32_t)floor(middle_px + reach - 0.5) - taps->first + 1;
    for (int32_t i = 0; i < taps->n; i++) {
        sum += fmax(0.0, 1.0 - fabs(taps->first + i + 0.5 - middle_px) / reach);
    }
    for (int32_t i = 0; i < taps->n; i++) {
        taps->weight[i] = (float)(fmax(0.0, 1.0 - fabs(taps->first + i + 0.5 - middle_px) / reach) / sum);
    }
}

static int32_t clamp_index(int32_t i, int32_t n)
{
    return i < 0 ? 0 : i >= n ? n - 1 : i;
}

/** Grey value of one picture row, columns first_px .. first_px + n - 1. */
static void grey_row(float *grey, int32_t n, const struct sm_image *image,
                     const struct sm_counter__line *line, int32_t first_px, int32_t row_px)
{
    int32_t y = clamp_index(row_px, image->height_px);
    const uint8_t *luma = image->y + y * image->stride_y;
    for (int32_t i = 0; i < n; i++) {
        grey[i] = line->weight_y * (float)luma[clamp_index(first_px + i, image->width_px)];
    }
    bool has_chroma = image->u && image->v && (line->weight_u != 0.0F || line->weight_v != 0.0F);
    if (has_chroma) {
        const uint8_t *u = image->u + (y >> image->chroma_shift_y) * image->stride_u;
        const uint8_t *v = image->v + (y >> image->chroma_shift_y) * image->stride_v;
        for (int32_t i = 0; i < n; i++) {
            int32_t x = clamp_index(first_px + i, image->width_px) >> image->chroma_shift_x;
            grey[i] += line->weight_u * (float)(u[x] - 128) + line->weight_v * (float)(v[x] - 128);
        }
    }
}

struct resampler {
    struct taps *column; /* one per strip column */
    struct taps row[SM_STRIP_HEIGHT];
    float *weights, *grey, *squeezed; /* storage of all weights; one picture row; that row in strip columns */
    int32_t first_column_px, n_columns_px, first_row_px, n_rows_px;
};

static void release(struct resampler *r)
{
    sm_free(r->column);
    sm_free(r->weights);
    sm_free(r->grey);
    sm_free(r->squeezed);
}

static enum sm_status prepare(struct resampler *r, int32_t width_px, const struct sm_counter__line *line,
                              struct sm_error *err)
{
    double scale = sm_counter__strip_scale(line);
    size_t most = max_taps(scale);
    *r = (struct resampler){.column = sm_calloc((size_t)width_px, sizeof *r->column),
                            .weights =
                                sm_calloc(((size_t)width_px + SM_STRIP_HEIGHT) * most, sizeof *r->weights),
                            .squeezed = sm_calloc((size_t)width_px, sizeof *r->squeezed)};
    if (!r->column || !r->weights || !r->squeezed) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a line of text");
    }
    for (int32_t c = 0; c < width_px; c++) {
        r->column[c].weight = r->weights + (size_t)c * most;
        set_taps(&r->column[c], line->left_px + (c + 0.5) / scale, scale);
    }
    for (int32_t y = 0; y < SM_STRIP_HEIGHT; y++) {
        r->row[y].weight = r->weights + (size_t)(width_px + y) * most;
        set_taps(&r->row[y], line->top_px + (y + 0.5 - SM_STRIP_DIGIT_TOP) / scale, scale);
    }
    const struct taps *last_column = &r->column[width_px - 1], *last_row = &r->row[SM_STRIP_HEIGHT - 1];
    r->first_column_px = r->column[0].first;
    r->n_columns_px = last_column->first + last_column->n - r->first_column_px;
    r->first_row_px = r->row[0].first;
    r->n_rows_px = last_row->first + last_row->n - r->first_row_px;
    r->grey = sm_calloc((size_t)r->n_columns_px, sizeof *r->grey);
    return r->grey ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory for a line of text");
}

/** The row in r->grey brought to strip columns. */
static void squeeze(struct resampler *r, int32_t width_px)
{
    for (int32_t c = 0; c < width_px; c++) {
        const struct taps *taps = &r->column[c];
        const float *from = r->grey + (taps->first - r->first_column_px);
        float sum = 0.0F;
        for (int32_t i = 0; i < taps->n; i++) {
            sum += taps->weight[i] * from[i];
        }
        r->squeezed[c] = sum;
    }
}

/** Add r->squeezed, which is picture row row_px, to every strip row it belongs to. */
static void spread_row(float *strip, int32_t width_px, const struct resampler *r, int32_t row_px)
{
    for (int32_t y = 0; y < SM_STRIP_HEIGHT; y++) {
        int32_t i = row_px - r->row[y].first;
        if (i < 0 || i >= r->row[y].n) {
            continue;
        }
        float weight = r->row[y].weight[i];
        float *to = strip + (ptrdiff_t)y * width_px;
        for (int32_t c = 0; c < width_px; c++) {
            to[c] += weight * r->squeezed[c];
        }
    }
}

/** Median to within a thousandth of the range. */
static float median_of(const float *value, size_t n)
{
    size_t count[N_LEVELS] = {0}, seen = 0, level = 0;
    float low = value[0], high = value[0];
    for (size_t i = 1; i < n; i++) {
        low = value[i] < low ? value[i] : low;
        high = value[i] > high ? value[i] : high;
    }
    if (!(high > low)) {
        return low;
    }
    float step = (high - low) / N_LEVELS;
    for (size_t i = 0; i < n; i++) {
        size_t at = (size_t)((value[i] - low) / step);
        count[at < N_LEVELS ? at : N_LEVELS - 1]++;
    }
    while (seen + count[level] <= n / 2) {
        seen += count[level++];
    }
    return low + ((float)level + 0.5F) * step;
}

static void normalise(float *value, size_t n)
{
    float median = median_of(value, n);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        value[i] -= median;
        sum += (double)(value[i] * value[i]);
    }
    float gain = 1.0F / fmaxf((float)sqrt(sum / (double)n), MIN_SPREAD);
    for (size_t i = 0; i < n; i++) {
        float scaled = value[i] * gain;
        value[i] = scaled > CLIP ? CLIP : scaled < -CLIP ? -CLIP : scaled;
    }
}

enum sm_status sm_counter__strip_make(float *strip, int32_t width_px, const struct sm_image *image,
                                      const struct sm_counter__line *line, struct sm_error *err)
{
    struct resampler r;
    if (width_px < 1 || width_px != sm_counter__strip_width(line) || image->width_px < 1 ||
        image->height_px < 1) {
        return sm_error_set(err, SM_E_RANGE, "a line of text of impossible size");
    }
    enum sm_status status = prepare(&r, width_px, line, err);
    if (status == SM_OK) {
        size_t n = (size_t)width_px * SM_STRIP_HEIGHT;
        for (size_t i = 0; i < n; i++) {
            strip[i] = 0.0F;
        }
        for (int32_t row = r.first_row_px; row < r.first_row_px + r.n_rows_px; row++) {
            grey_row(r.grey, r.n_columns_px, image, line, r.first_column_px, row);
            squeeze(&r, width_px);
            spread_row(strip, width_px, &r, row);
        }
        normalise(strip, n);
    }
    release(&r);
    return status;
}
