/**
 * @file model.c
 * Planes, tiles and the inner loop are those of src/counter/net.c; what is added is the way back. Each layer
 * keeps its results before pooling (raw), which on the way back are overwritten by their gradient.
 */
#include "model.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define TILE_OUT MODEL_TILE
#define TILE_PX 4
#define PAD_PX 2
#define PAD_ROWS 1
#define LEAK 0.125F
#define MAX_CHANNELS 64

static const struct shape {
    int32_t n_rows, n_columns, n_in, n_out, height, pool_x, pool_y; /* height of the layer's input */
} shape[SM_NET_LAYERS] = {
    {3, 3, 1, 16, 32, 2, 2}, {3, 3, 16, 32, 16, 1, 2}, {3, 3, 32, 32, 8, 1, 2},
    {4, 5, 32, 64, 4, 1, 1}, {1, 5, 64, 64, 1, 1, 1},  {1, 1, 64, SM_GLYPH_COUNT, 1, 1, 1},
};

struct kernel {
    int32_t n_rows, n_columns, n_in, n_out;
    const float *weight, *bias;
};

#define CONVOLVE convolve_row
#define CONVOLVE_TARGET
#define LANES 8
#include "net_convolve.h"

/** Values with a border of zeros, as in net.c. */
struct plane {
    float *data;
    int32_t n_rows, n_columns, n_channels;
    ptrdiff_t stride;
};

struct model_pass {
    struct plane in[SM_NET_LAYERS];       /* input of each layer */
    struct plane raw[SM_NET_LAYERS];      /* its results before pooling, later their gradient */
    struct plane in_slope[SM_NET_LAYERS]; /* gradient of the input */
    float *turned;                        /* weights turned round for the way back */
    float *zero_bias;
};

/* ---- setting up
 * ---------------------------------------------------------------------------------------------- */

static int32_t padded_out(int32_t n)
{
    return (n + TILE_OUT - 1) / TILE_OUT * TILE_OUT;
}

enum sm_status model_new(struct model *model, struct sm_test_random *rng, struct sm_error *err)
{
    *model = (struct model){.n = 0};
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        struct model_layer *l = &model->layer[i];
        *l = (struct model_layer){.n_rows = shape[i].n_rows,
                                  .n_columns = shape[i].n_columns,
                                  .n_in = shape[i].n_in,
                                  .n_out = shape[i].n_out,
                                  .n_out_padded = padded_out(shape[i].n_out)};
        l->n_weights = l->n_rows * l->n_columns * l->n_in * l->n_out_padded;
        l->weight_at = model->n;
        l->bias_at = model->n + l->n_weights;
        model->n = l->bias_at + l->n_out_padded;
    }
    model->value = sm_calloc((size_t)model->n, sizeof(float));
    if (!model->value) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the model");
    }
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct model_layer *l = &model->layer[i];
        float deviation = sqrtf(2.0F / (float)(l->n_rows * l->n_columns * l->n_in)) *
                          (i == SM_NET_LAYERS - 1 ? 0.3F : 1.0F);
        for (int32_t k = 0; k < l->n_weights; k++) {
            int32_t out = k / (l->n_weights / (l->n_out_padded / TILE_OUT)) * TILE_OUT + k % TILE_OUT;
            model->value[l->weight_at + k] = out < l->n_out ? deviation * rng_normal(rng) : 0.0F;
        }
    }
    return SM_OK;
}

void model_load(struct model *model, const struct sm_counter__weights *weights)
{
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct model_layer *l = &model->layer[i];
        const struct sm_counter__layer *from = &weights->layer[i];
        int32_t n_taps = l->n_rows * l->n_columns * l->n_in;
        for (int32_t k = 0; k < n_taps * l->n_out; k++) {
            int32_t tap = k / l->n_out, out = k % l->n_out;
            ptrdiff_t to =
                l->weight_at + ((ptrdiff_t)(out / TILE_OUT) * n_taps + tap) * TILE_OUT + out % TILE_OUT;
            model->value[to] = (float)from->value[k] * from->scale[out];
        }
        memcpy(model->value + l->bias_at, from->bias, (size_t)l->n_out * sizeof(float));
    }
}

void model_release(struct model *model)
{
    sm_free(model->value);
    *model = (struct model){.n = 0};
}

static ptrdiff_t padded(int32_t n_columns)
{
    return n_columns + 2 * PAD_PX + TILE_PX;
}

static bool plane_alloc(struct plane *plane, int32_t n_rows, int32_t n_columns, int32_t n_channels)
{
    *plane =
        (struct plane){.n_rows = n_rows, .n_channels = n_channels, .stride = padded(n_columns) * n_channels};
    plane->data = sm_calloc((size_t)(n_rows + 2 * PAD_ROWS) * (size_t)padded(n_columns) * (size_t)n_channels,
                            sizeof(float));
    return plane->data != NULL;
}

enum sm_status model_pass_new(struct model_pass **out, const struct model *model, struct sm_error *err)
{
    struct model_pass *pass = sm_calloc(1, sizeof *pass);
    bool is_whole = pass != NULL;
    for (int i = 0; i < SM_NET_LAYERS && is_whole; i++) {
        int32_t columns = i == 0 ? SAMPLE_MAX_PX : SAMPLE_MAX_COLUMNS;
        int32_t raw_height = shape[i].n_rows == 4 ? 1 : shape[i].height;
        /* inputs of one channel get a whole tile, so that one convolution serves all */
        is_whole = plane_alloc(&pass->in[i], shape[i].height, columns, shape[i].n_in) &&
                   plane_alloc(&pass->raw[i], raw_height, columns, padded_out(shape[i].n_out)) &&
                   plane_alloc(&pass->in_slope[i], shape[i].height, columns, padded_out(shape[i].n_in));
    }
    if (is_whole) {
        pass->turned = sm_calloc((size_t)model->n, sizeof(float));
        pass->zero_bias = sm_calloc(64, sizeof(float));
    }
    if (!is_whole || !pass->turned || !pass->zero_bias) {
        model_pass_free(&pass);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the model");
    }
    *out = pass;
    return SM_OK;
}

void model_pass_free(struct model_pass **pass)
{
    if (!*pass) {
        return;
    }
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        sm_free((*pass)->in[i].data);
        sm_free((*pass)->raw[i].data);
        sm_free((*pass)->in_slope[i].data);
    }
    sm_free((*pass)->turned);
    sm_free((*pass)->zero_bias);
    sm_free(*pass);
    *pass = NULL;
}

/** Give a plane the width of this sample. Rows keep their place, so that only what lies right of the new
 * width needs clearing. */
static void plane_shape(struct plane *plane, int32_t n_columns)
{
    plane->n_columns = n_columns;
    for (int32_t row = 0; row < plane->n_rows; row++) {
        memset(plane->data + (row + PAD_ROWS) * plane->stride +
                   (ptrdiff_t)(n_columns + PAD_PX) * plane->n_channels,
               0, (size_t)((PAD_PX + TILE_PX) * plane->n_channels) * sizeof(float));
    }
}

static float *at(const struct plane *plane, int32_t row, int32_t column)
{
    return plane->data + (row + PAD_ROWS) * plane->stride + (ptrdiff_t)(column + PAD_PX) * plane->n_channels;
}

/* ---- forward
 * ------------------------------------------------------------------------------------------------- */

/** Rows above the pixel that the kernel covers: 1 for 3 rows, none when it covers the whole height. */
static int32_t rows_above(const struct model_layer *layer)
{
    return layer->n_rows == 3 ? 1 : 0;
}

/** The tile loop writes up to TILE_PX - 1 pixels too many; they must not stay in the border. */
static void clear_overrun(struct plane *plane, int32_t row)
{
    memset(at(plane, row, plane->n_columns), 0,
           (size_t)((PAD_PX + TILE_PX) * plane->n_channels) * sizeof(float));
}

static void forward_layer(const struct model *model, struct model_pass *pass, int i)
{
    const struct model_layer *l = &model->layer[i];
    const struct kernel kernel = {l->n_rows,
                                  l->n_columns,
                                  l->n_in,
                                  l->n_out_padded,
                                  model->value + l->weight_at,
                                  model->value + l->bias_at};
    struct plane *in = &pass->in[i], *raw = &pass->raw[i];
    for (int32_t row = 0; row < raw->n_rows; row++) {
        convolve_row(at(raw, row, 0), at(in, row - rows_above(l), -(l->n_columns / 2)), in->stride,
                     raw->n_columns, &kernel);
        clear_overrun(raw, row);
    }
}

/** The pixels that are pooled into one. @return how many. */
static int cell_of(float *pixel[4], const struct plane *raw, int32_t row, int32_t column,
                   const struct shape *s)
{
    int n = 0;
    for (int32_t y = 0; y < s->pool_y; y++) {
        for (int32_t x = 0; x < s->pool_x; x++) {
            pixel[n++] = at(raw, row * s->pool_y + y, column * s->pool_x + x);
        }
    }
    return n;
}

static void activate(struct plane *to, const struct plane *raw, const struct shape *s)
{
    float *pixel[4];
    for (int32_t row = 0; row < to->n_rows; row++) {
        for (int32_t column = 0; column < to->n_columns; column++) {
            float *restrict out = at(to, row, column);
            const int32_t n_channels = to->n_channels;
            int n = cell_of(pixel, raw, row, column, s);
            memcpy(out, pixel[0], (size_t)n_channels * sizeof(float));
            for (int k = 1; k < n; k++) {
                const float *restrict other = pixel[k];
                for (int32_t c = 0; c < n_channels; c++) {
                    out[c] = other[c] > out[c] ? other[c] : out[c];
                }
            }
            for (int32_t c = 0; c < n_channels; c++) {
                float less = LEAK * out[c];
                out[c] = out[c] > less ? out[c] : less;
            }
        }
    }
}

static void forward(const struct model *model, struct model_pass *pass, const struct sample *sample)
{
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        int32_t columns = i == 0 ? 2 * sample->n_columns : sample->n_columns;
        plane_shape(&pass->in[i], columns);
        plane_shape(&pass->raw[i], columns);
        plane_shape(&pass->in_slope[i], columns);
    }
    for (int32_t row = 0; row < SM_STRIP_HEIGHT; row++) {
        memcpy(at(&pass->in[0], row, 0), sample->strip + (ptrdiff_t)row * sample->width_px,
               (size_t)sample->width_px * sizeof(float));
        memset(at(&pass->in[0], row, sample->width_px), 0,
               (size_t)(2 * sample->n_columns - sample->width_px) * sizeof(float));
    }
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        forward_layer(model, pass, i);
        if (i + 1 < SM_NET_LAYERS) {
            activate(&pass->in[i + 1], &pass->raw[i], &shape[i]);
        }
    }
}

/* ---- backward
 * ------------------------------------------------------------------------------------------------ */

/** Scores of a column become their gradient. @return cross-entropy. */
static double score_slope(float *score, uint8_t label, float smoothing)
{
    float most = score[0], sum = 0.0F;
    double loss = 0.0;
    for (int k = 1; k < SM_GLYPH_COUNT; k++) {
        most = fmaxf(most, score[k]);
    }
    for (int k = 0; k < SM_GLYPH_COUNT; k++) {
        sum += expf(score[k] - most);
    }
    for (int k = 0; k < SM_GLYPH_COUNT; k++) {
        float log_p = score[k] - most - logf(sum);
        float wanted = smoothing / SM_GLYPH_COUNT + (k == label ? 1.0F - smoothing : 0.0F);
        loss -= k == label ? (double)log_p : 0.0;
        score[k] = expf(log_p) - wanted;
    }
    return loss;
}

static double last_slope(struct model_pass *pass, const struct sample *sample, float smoothing,
                         int32_t *n_asked)
{
    struct plane *raw = &pass->raw[SM_NET_LAYERS - 1];
    double loss = 0.0;
    *n_asked = 0;
    for (int32_t column = 0; column < sample->n_columns; column++) {
        float *score = at(raw, 0, column);
        if (sample->label[column] == LABEL_IGNORE) {
            memset(score, 0, (size_t)raw->n_channels * sizeof(float));
            continue;
        }
        loss += score_slope(score, sample->label[column], smoothing);
        memset(score + SM_GLYPH_COUNT, 0, (size_t)(raw->n_channels - SM_GLYPH_COUNT) * sizeof(float));
        (*n_asked)++;
    }
    return loss;
}

/** The gradient of a cell of up to four pixels goes to its largest, the first of equals. */
static void unpool_cell(float *pixel[4], int n, const float *restrict from, int32_t n_channels)
{
    float *restrict a = pixel[0];
    if (n == 1) {
        for (int32_t c = 0; c < n_channels; c++) {
            a[c] = from[c] * (a[c] > 0.0F ? 1.0F : LEAK);
        }
        return;
    }
    float most[MAX_CHANNELS], slope[MAX_CHANNELS];
    memcpy(most, a, (size_t)n_channels * sizeof(float));
    for (int k = 1; k < n; k++) {
        const float *restrict p = pixel[k];
        for (int32_t c = 0; c < n_channels; c++) {
            most[c] = p[c] > most[c] ? p[c] : most[c];
        }
    }
    for (int32_t c = 0; c < n_channels; c++) {
        slope[c] = from[c] * (most[c] > 0.0F ? 1.0F : LEAK);
    }
    for (int k = 0; k < n; k++) {
        float *restrict p = pixel[k];
        for (int32_t c = 0; c < n_channels; c++) {
            float mine = p[c] == most[c] ? slope[c] : 0.0F;
            p[c] = mine;
            slope[c] -= mine;
        }
    }
}

/** Gradient of a layer's activation to the gradient of its raw results, in place. */
static void unpool(struct plane *raw, const struct plane *slope, const struct shape *s)
{
    float *pixel[4];
    for (int32_t row = 0; row < slope->n_rows; row++) {
        for (int32_t column = 0; column < slope->n_columns; column++) {
            int n = cell_of(pixel, raw, row, column, s);
            unpool_cell(pixel, n, at(slope, row, column), raw->n_channels);
        }
    }
}

/** Sum of slope[pixel][TILE_OUT] * in[pixel * n_in + i] over a row, added to the gradient of inputs 0..3 of
 * one kernel row. */
static void outer_sum(float *gradient, const float *in, int32_t n_in, const float *slope, int32_t n_out,
                      int32_t n_px, int32_t n)
{
    typedef float vector __attribute__((vector_size(32), aligned(4), may_alias));
    vector a0 = {0}, a1 = {0}, b0 = {0}, b1 = {0}, c0 = {0}, c1 = {0}, d0 = {0}, d1 = {0};
    for (int32_t x = 0; x < n_px; x++, in += n_in, slope += n_out) {
        const vector s0 = *(const vector *)slope, s1 = *(const vector *)(slope + 8);
        a0 += in[0] * s0, a1 += in[0] * s1;
        b0 += in[1] * s0, b1 += in[1] * s1;
        c0 += in[2] * s0, c1 += in[2] * s1;
        d0 += in[3] * s0, d1 += in[3] * s1;
    }
    *(vector *)gradient += a0, *(vector *)(gradient + 8) += a1;
    if (n > 1) {
        *(vector *)(gradient + TILE_OUT) += b0, *(vector *)(gradient + TILE_OUT + 8) += b1;
    }
    if (n > 2) {
        *(vector *)(gradient + 2 * TILE_OUT) += c0, *(vector *)(gradient + 2 * TILE_OUT + 8) += c1;
    }
    if (n > 3) {
        *(vector *)(gradient + 3 * TILE_OUT) += d0, *(vector *)(gradient + 3 * TILE_OUT + 8) += d1;
    }
}

static void weight_slope(const struct model_layer *l, const struct model_pass *pass, int i, float *gradient)
{
    const struct plane *in = &pass->in[i], *raw = &pass->raw[i];
    const int32_t across = l->n_columns * l->n_in;
    for (int32_t row = 0; row < raw->n_rows; row++) {
        for (int32_t tile = 0; tile < l->n_out_padded; tile += TILE_OUT) {
            const float *slope = at(raw, row, 0) + tile;
            float *to =
                gradient + l->weight_at + (ptrdiff_t)(tile / TILE_OUT) * l->n_rows * across * TILE_OUT;
            for (int32_t k = 0; k < l->n_rows; k++) {
                const float *from = at(in, row + k - rows_above(l), -(l->n_columns / 2));
                for (int32_t n = 0; n < across; n += 4) {
                    outer_sum(to + (ptrdiff_t)(k * across + n) * TILE_OUT, from + n, l->n_in, slope,
                              l->n_out_padded, raw->n_columns, across - n < 4 ? across - n : 4);
                }
            }
        }
        float *restrict bias = gradient + l->bias_at;
        for (int32_t x = 0; x < raw->n_columns; x++) {
            const float *restrict from = at(raw, row, x);
            for (int32_t c = 0; c < l->n_out_padded; c++) {
                bias[c] += from[c];
            }
        }
    }
}

/** Weights with inputs and outputs exchanged and the kernel turned half round: [tile of
 * inputs][row][column][output][tile]. */
static void turn(float *turned, const struct model *model, const struct model_layer *l, int32_t only_row)
{
    const float *weight = model->value + l->weight_at;
    int32_t n_rows = only_row < 0 ? l->n_rows : 1, at_tile = 0;
    for (int32_t tile = 0; tile < l->n_in; tile += TILE_OUT) {
        for (int32_t row = 0; row < n_rows; row++) {
            for (int32_t column = 0; column < l->n_columns; column++) {
                int32_t from_row = only_row < 0 ? l->n_rows - 1 - row : only_row,
                        from_column = l->n_columns - 1 - column;
                for (int32_t out = 0; out < l->n_out_padded; out++, at_tile += TILE_OUT) {
                    const float *from =
                        weight +
                        ((((ptrdiff_t)(out / TILE_OUT) * l->n_rows + from_row) * l->n_columns + from_column) *
                             l->n_in +
                         tile) *
                            TILE_OUT +
                        out % TILE_OUT;
                    for (int32_t in = 0; in < TILE_OUT; in++) {
                        turned[at_tile + in] = from[(ptrdiff_t)in * TILE_OUT];
                    }
                }
            }
        }
    }
}

/** Gradient of a layer's input, from that of its raw results. */
static void input_slope(const struct model *model, struct model_pass *pass, int i)
{
    const struct model_layer *l = &model->layer[i];
    struct plane *raw = &pass->raw[i], *slope = &pass->in_slope[i];
    struct kernel kernel = {l->n_rows, l->n_columns, l->n_out_padded, l->n_in, pass->turned, pass->zero_bias};
    bool is_flat = l->n_rows == 4; /* each input row sees the one result row through its own kernel row */
    if (is_flat) {
        kernel.n_rows = 1;
    } else {
        turn(pass->turned, model, l, -1);
    }
    for (int32_t row = 0; row < slope->n_rows; row++) {
        if (is_flat) {
            turn(pass->turned, model, l, row);
        }
        int32_t from = is_flat ? 0 : row - rows_above(l);
        convolve_row(at(slope, row, 0), at(raw, from, -(l->n_columns / 2)), raw->stride, slope->n_columns,
                     &kernel);
        clear_overrun(slope, row);
    }
}

double model_learn(const struct model *model, struct model_pass *pass, const struct sample *sample,
                   float smoothing, float *gradient, int32_t *n_asked)
{
    forward(model, pass, sample);
    double loss = last_slope(pass, sample, smoothing, n_asked);
    for (int i = SM_NET_LAYERS - 1; i >= 0; i--) {
        if (i + 1 < SM_NET_LAYERS) {
            unpool(&pass->raw[i], &pass->in_slope[i + 1], &shape[i]);
        }
        weight_slope(&model->layer[i], pass, i, gradient);
        if (i > 0) {
            input_slope(model, pass, i);
        }
    }
    return loss;
}

/* ---- Adam
 * ---------------------------------------------------------------------------------------------------- */

enum sm_status adam_new(struct adam *adam, const struct model *model, struct sm_error *err)
{
    *adam = (struct adam){.mean = sm_calloc((size_t)model->n, sizeof(float)),
                          .square = sm_calloc((size_t)model->n, sizeof(float))};
    if (!adam->mean || !adam->square) {
        adam_release(adam);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the optimiser");
    }
    return SM_OK;
}

void adam_release(struct adam *adam)
{
    sm_free(adam->mean);
    sm_free(adam->square);
    *adam = (struct adam){.n_steps = 0};
}

void adam_step(struct adam *adam, struct model *model, const float *gradient, float rate, float decay)
{
    const float keep_mean = 0.9F, keep_square = 0.999F;
    adam->n_steps++;
    float mean_gain = (float)(1.0 / (1.0 - pow(0.9, (double)adam->n_steps)));
    float square_gain = (float)(1.0 / (1.0 - pow(0.999, (double)adam->n_steps)));
    for (ptrdiff_t i = 0; i < model->n; i++) {
        adam->mean[i] = keep_mean * adam->mean[i] + (1.0F - keep_mean) * gradient[i];
        adam->square[i] = keep_square * adam->square[i] + (1.0F - keep_square) * gradient[i] * gradient[i];
        float step = adam->mean[i] * mean_gain / (sqrtf(adam->square[i] * square_gain) + 1e-8F);
        model->value[i] -= rate * (step + decay * model->value[i]);
    }
}
