/**
 * @file raster.c
 * Separable resampling and blur, noise along rows, and the block transform with its quantiser.
 */
#include "raster.h"

#include <math.h>
#include <string.h>

#define BLOCK 8
#define MAX_KERNEL 33

enum sm_status raster_new(struct raster *out, int32_t width_px, int32_t height_px, struct sm_error *err)
{
    float *px = sm_calloc((size_t)width_px * (size_t)height_px, sizeof *px);
    if (!px) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    }
    *out = (struct raster){width_px, height_px, px};
    return SM_OK;
}

void raster_release(struct raster *raster)
{
    sm_free(raster->px);
    *raster = (struct raster){0};
}

/** What one target pixel is made of: n source pixels from first, cut to the line; the ends repeat. */
struct tent {
    int32_t first, n;
    float *weight;
};

static void set_tent(struct tent *tent, double middle, double reach, int32_t length)
{
    int32_t first = (int32_t)ceil(middle - reach - 0.5), last = (int32_t)floor(middle + reach - 0.5);
    float sum = 0.0F;
    tent->first = first < 0 ? 0 : first >= length ? length - 1 : first;
    tent->n = 0;
    for (int32_t i = first; i <= last; i++) {
        float weight = (float)fmax(1e-6, 1.0 - fabs(i + 0.5 - middle) / reach);
        int32_t inside = i < 0 ? 0 : i >= length ? length - 1 : i;
        tent->weight[inside - tent->first] += weight;
        tent->n = inside - tent->first + 1;
        sum += weight;
    }
    for (int32_t i = 0; i < tent->n; i++) {
        tent->weight[i] /= sum;
    }
}

static float tent_sum(const struct tent *tent, const float *line, ptrdiff_t step)
{
    float sum = 0.0F;
    for (int32_t i = 0; i < tent->n; i++) {
        sum += tent->weight[i] * line[(tent->first + i) * step];
    }
    return sum;
}

static void apply_tents(struct raster *out, const struct raster *in, const struct tent *tents, bool is_x)
{
    for (int32_t y = 0; y < out->height_px; y++) {
        for (int32_t x = 0; x < out->width_px; x++) {
            const float *line = is_x ? in->px + (ptrdiff_t)y * in->width_px : in->px + x;
            out->px[(ptrdiff_t)y * out->width_px + x] =
                tent_sum(&tents[is_x ? x : y], line, is_x ? 1 : in->width_px);
        }
    }
}

static enum sm_status resize_axis(struct raster *raster, int32_t to, bool is_x, struct sm_error *err)
{
    struct raster out = {0};
    int32_t from = is_x ? raster->width_px : raster->height_px;
    double scale = (double)from / to, reach = fmax(1.0, scale);
    size_t most = (size_t)(2.0 * ceil(reach)) + 2;
    struct tent *tents = sm_calloc((size_t)to, sizeof *tents);
    float *weights = sm_calloc((size_t)to * most, sizeof *weights);
    enum sm_status status =
        tents && weights ? raster_new(&out, is_x ? to : raster->width_px, is_x ? raster->height_px : to, err)
                         : sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    if (status == SM_OK) {
        for (int32_t i = 0; i < to; i++) {
            tents[i].weight = weights + (size_t)i * most;
            set_tent(&tents[i], (i + 0.5) * scale, reach, from);
        }
        apply_tents(&out, raster, tents, is_x);
        raster_release(raster);
        *raster = out;
    }
    sm_free(tents);
    sm_free(weights);
    return status;
}

enum sm_status raster_resize(struct raster *raster, int32_t width_px, int32_t height_px, struct sm_error *err)
{
    enum sm_status status = width_px == raster->width_px ? SM_OK : resize_axis(raster, width_px, true, err);
    return status != SM_OK || height_px == raster->height_px ? status
                                                             : resize_axis(raster, height_px, false, err);
}

/** Blur n pixels step apart in place. spare has room for n. */
static void blur_line(float *line, float *spare, int32_t n, int32_t step, const float *kernel, int32_t reach)
{
    for (int32_t i = 0; i < n; i++) {
        float sum = 0.0F;
        for (int32_t k = -reach; k <= reach; k++) {
            int32_t at = i + k < 0 ? 0 : i + k >= n ? n - 1 : i + k;
            sum += kernel[k + reach] * line[(ptrdiff_t)at * step];
        }
        spare[i] = sum;
    }
    for (int32_t i = 0; i < n; i++) {
        line[(ptrdiff_t)i * step] = spare[i];
    }
}

static int32_t make_kernel(float kernel[MAX_KERNEL], double sigma_px)
{
    int32_t reach = (int32_t)fmin(ceil(2.5 * sigma_px), (MAX_KERNEL - 1) / 2);
    double sum = 0.0;
    for (int32_t k = -reach; k <= reach; k++) {
        sum += exp(-0.5 * k * k / (sigma_px * sigma_px));
    }
    for (int32_t k = -reach; k <= reach; k++) {
        kernel[k + reach] = (float)(exp(-0.5 * k * k / (sigma_px * sigma_px)) / sum);
    }
    return reach;
}

enum sm_status raster_blur(struct raster *raster, double sigma_x_px, double sigma_y_px, struct sm_error *err)
{
    float kernel[MAX_KERNEL];
    int32_t longer = raster->width_px > raster->height_px ? raster->width_px : raster->height_px;
    float *spare = sm_calloc((size_t)longer, sizeof *spare);
    if (!spare) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    }
    int32_t reach = sigma_x_px > 0.05 ? make_kernel(kernel, sigma_x_px) : 0;
    for (int32_t y = 0; reach > 0 && y < raster->height_px; y++) {
        blur_line(raster->px + (ptrdiff_t)y * raster->width_px, spare, raster->width_px, 1, kernel, reach);
    }
    reach = sigma_y_px > 0.05 ? make_kernel(kernel, sigma_y_px) : 0;
    for (int32_t x = 0; reach > 0 && x < raster->width_px; x++) {
        blur_line(raster->px + x, spare, raster->height_px, raster->width_px, kernel, reach);
    }
    sm_free(spare);
    return SM_OK;
}

void raster_noise(struct raster *raster, struct sm_test_random *rng, float deviation, float smear)
{
    float last = 0.0F, fresh = deviation * sqrtf(1.0F - smear * smear);
    size_t n = (size_t)raster->width_px * (size_t)raster->height_px;
    for (size_t i = 0; i < n; i++) {
        last = smear * last + fresh * rng_normal(rng);
        raster->px[i] += last;
    }
}

/** Cosine of frequency f at position x, orthonormal: cosine[f][x] = a cos((2 x + 1) f pi / 16), a = sqrt(1/8)
 * for f = 0, else 1/2. */
static float cosine[BLOCK][BLOCK] = {
    {0.35355339F, 0.35355339F, 0.35355339F, 0.35355339F, 0.35355339F, 0.35355339F, 0.35355339F, 0.35355339F},
    {0.49039264F, 0.41573481F, 0.27778512F, 0.09754516F, -0.09754516F, -0.27778512F, -0.41573481F,
     -0.49039264F},
    {0.46193977F, 0.19134172F, -0.19134172F, -0.46193977F, -0.46193977F, -0.19134172F, 0.19134172F,
     0.46193977F},
    {0.41573481F, -0.09754516F, -0.49039264F, -0.27778512F, 0.27778512F, 0.49039264F, 0.09754516F,
     -0.41573481F},
    {0.35355339F, -0.35355339F, -0.35355339F, 0.35355339F, 0.35355339F, -0.35355339F, -0.35355339F,
     0.35355339F},
    {0.27778512F, -0.49039264F, 0.09754516F, 0.41573481F, -0.41573481F, -0.09754516F, 0.49039264F,
     -0.27778512F},
    {0.19134172F, -0.46193977F, 0.46193977F, -0.19134172F, -0.19134172F, 0.46193977F, -0.46193977F,
     0.19134172F},
    {0.09754516F, -0.27778512F, 0.41573481F, -0.49039264F, 0.49039264F, -0.41573481F, 0.27778512F,
     -0.09754516F},
};

/** out = a * b or a * transposed b. */
static void multiply(float out[BLOCK][BLOCK], float a[BLOCK][BLOCK], float b[BLOCK][BLOCK],
                     bool is_transposed)
{
    for (int i = 0; i < BLOCK; i++) {
        for (int j = 0; j < BLOCK; j++) {
            float sum = 0.0F;
            for (int k = 0; k < BLOCK; k++) {
                sum += a[i][k] * (is_transposed ? b[j][k] : b[k][j]);
            }
            out[i][j] = sum;
        }
    }
}

static void quantise_block(float px[BLOCK][BLOCK], float step)
{
    static const float growth[BLOCK] = {1.0F, 1.1F, 1.35F, 1.5F, 1.65F, 1.85F, 2.1F, 2.5F};
    float half[BLOCK][BLOCK], transposed[BLOCK][BLOCK];
    multiply(half, cosine, px, false);
    multiply(px, half, cosine, true);
    for (int i = 0; i < BLOCK; i++) {
        for (int j = 0; j < BLOCK; j++) {
            float q = step * growth[i] * growth[j];
            px[i][j] = q * truncf(px[i][j] / q + copysignf(0.4F, px[i][j])); /* a dead zone, as coders have */
            transposed[i][j] = cosine[j][i];
        }
    }
    multiply(half, transposed, px, false);
    multiply(px, half, transposed, true);
}

void raster_quantise(struct raster *raster, float step, int phase_x, int phase_y)
{
    float px[BLOCK][BLOCK];
    for (int32_t y = -phase_y; y < raster->height_px; y += BLOCK) {
        for (int32_t x = -phase_x; x < raster->width_px; x += BLOCK) {
            for (int32_t i = 0; i < BLOCK * BLOCK; i++) {
                int32_t row = y + i / BLOCK, column = x + i % BLOCK;
                row = row < 0 ? 0 : row >= raster->height_px ? raster->height_px - 1 : row;
                column = column < 0 ? 0 : column >= raster->width_px ? raster->width_px - 1 : column;
                px[i / BLOCK][i % BLOCK] = raster->px[(ptrdiff_t)row * raster->width_px + column];
            }
            quantise_block(px, step);
            for (int32_t i = 0; i < BLOCK * BLOCK; i++) {
                int32_t row = y + i / BLOCK, column = x + i % BLOCK;
                if (row >= 0 && row < raster->height_px && column >= 0 && column < raster->width_px) {
                    raster->px[(ptrdiff_t)row * raster->width_px + column] = px[i / BLOCK][i % BLOCK];
                }
            }
        }
    }
}
