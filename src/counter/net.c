/**
 * @file net.c
 * Runs the character reader. Layers, for a strip of 32 rows and n columns of two pixels:
 *
 *     strip        32 x 2n x  1
 *     3x3, pool 2x2 -> 16 x n x 16
 *     3x3, pool 2x1 ->  8 x n x 32
 *     3x3, pool 2x1 ->  4 x n x 32
 *     4x5           ->  1 x n x 64
 *     1x5           ->  1 x n x 64
 *     1x1           ->  1 x n x SM_GLYPH_COUNT, softmax
 *
 * with x > 0 ? x : x / 8 after all but the last. Values lie channel by channel for each pixel, so that for a
 * kernel row all its inputs are consecutive. The convolution works on tiles of 4 pixels by 16 output
 * channels, which stay in registers. Every sum is made in one fixed order with separate multiply and add, so
 * that results do not depend on the processor's vector width.
 */
#include "net.h"

#include "strip.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define TILE_OUT 16 /* output channels summed together */
#define TILE_PX 8   /* neighbouring pixels summed together, at most */
#define PAD_PX 2    /* zero columns left and right of a plane: half the widest kernel */
#define PAD_ROWS 1  /* zero rows above and below */
#define LEAK 0.125F
#define MAX_OUT 64

/** Shape of the network; stored weights must agree with it. */
static const struct shape {
    int32_t n_rows, n_columns, n_in, n_out;
} layer_shape[SM_NET_LAYERS] = {
    {3, 3, 1, 16}, {3, 3, 16, 32}, {3, 3, 32, 32}, {4, 5, 32, 64}, {1, 5, 64, 64}, {1, 1, 64, SM_GLYPH_COUNT},
};

struct kernel {
    int32_t n_rows, n_columns, n_in, n_out; /* n_out a multiple of TILE_OUT */
    float *weight;                          /* [tile of outputs][row][column][input][TILE_OUT] */
    float *bias;
};

/** Values of one layer with a border of zeros. */
struct plane {
    float *data;
    int32_t n_rows, n_columns, n_channels;
    ptrdiff_t stride; /* floats from row to row */
};

#define N_PLANES SM_NET_LAYERS /* planes[i] is the input of layer i */

struct sm_counter__net {
    struct kernel kernel[SM_NET_LAYERS];
    struct plane plane[N_PLANES];
    float *rows;      /* two rows of results before pooling */
    int32_t capacity; /* columns that planes and rows have room for */
};

/* ---- characters
 * ---------------------------------------------------------------------------------------------- */

enum sm_glyph sm_counter__glyph_of(uint32_t codepoint)
{
    static const char known[] = ".,:-+/";
    if (codepoint >= '0' && codepoint <= '9') {
        return (enum sm_glyph)(SM_GLYPH_0 + (int)(codepoint - '0'));
    }
    const char *at = codepoint > 0 && codepoint < 128 ? strchr(known, (int)codepoint) : NULL;
    if (at) {
        return (enum sm_glyph)(SM_GLYPH_POINT + (int)(at - known));
    }
    switch (codepoint) {
    case ' ':
    case 0xa0:
        return SM_GLYPH_BLANK;
    case 'm':
    case 'M':
        return SM_GLYPH_M;
    case 'f':
    case 'F':
        return SM_GLYPH_F;
    case 't':
    case 'T':
        return SM_GLYPH_T;
    case '\'':
    case 0x2019: /* right single quotation mark */
    case 0x2032: /* prime */
        return SM_GLYPH_APOSTROPHE;
    case '%':
        return SM_GLYPH_PERCENT;
    case 0xb0:
        return SM_GLYPH_DEGREE;
    case '_':
        return SM_GLYPH_UNDERSCORE;
    case 0x2212: /* minus sign */
        return SM_GLYPH_MINUS;
    default:
        return SM_GLYPH_OTHER;
    }
}

char sm_counter__glyph_char(enum sm_glyph glyph)
{
    static const char shown[SM_GLYPH_COUNT + 1] = " 0123456789.,:-+/mft'%o_?";
    assert(glyph < SM_GLYPH_COUNT);
    return shown[glyph];
}

/* ---- setting up
 * ---------------------------------------------------------------------------------------------- */

static bool fits(const struct sm_counter__layer *layer, const struct shape *shape)
{
    return layer->n_rows == shape->n_rows && layer->n_columns == shape->n_columns &&
           layer->n_in == shape->n_in && layer->n_out == shape->n_out;
}

/** Weights of a layer as floats in tiles; outputs beyond the stored ones are zero. */
static enum sm_status unpack(struct kernel *kernel, const struct sm_counter__layer *layer,
                             struct sm_error *err)
{
    int32_t n_taps = layer->n_rows * layer->n_columns * layer->n_in;
    int32_t n_out = (layer->n_out + TILE_OUT - 1) / TILE_OUT * TILE_OUT;
    *kernel = (struct kernel){.n_rows = layer->n_rows,
                              .n_columns = layer->n_columns,
                              .n_in = layer->n_in,
                              .n_out = n_out,
                              .weight = sm_calloc((size_t)(n_taps * n_out), sizeof(float)),
                              .bias = sm_calloc((size_t)n_out, sizeof(float))};
    if (!kernel->weight || !kernel->bias) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the character reader");
    }
    memcpy(kernel->bias, layer->bias, (size_t)layer->n_out * sizeof(float));
    for (int32_t tap = 0; tap < n_taps; tap++) {
        for (int32_t out = 0; out < layer->n_out; out++) {
            int32_t to = (out / TILE_OUT * n_taps + tap) * TILE_OUT + out % TILE_OUT;
            kernel->weight[to] = (float)layer->value[tap * layer->n_out + out] * layer->scale[out];
        }
    }
    return SM_OK;
}

enum sm_status sm_counter__net_new(struct sm_counter__net **out, const struct sm_counter__weights *weights,
                                   struct sm_error *err)
{
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        if (!fits(&weights->layer[i], &layer_shape[i])) {
            return sm_error_set(err, SM_E_RANGE, "layer %d of the character reader has another shape", i);
        }
    }
    struct sm_counter__net *net = sm_calloc(1, sizeof *net);
    enum sm_status status = net ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory for the character reader");
    for (int i = 0; i < SM_NET_LAYERS && status == SM_OK; i++) {
        status = unpack(&net->kernel[i], &weights->layer[i], err);
    }
    if (status != SM_OK) {
        sm_counter__net_free(&net);
        return status;
    }
    *out = net;
    return SM_OK;
}

static void free_planes(struct sm_counter__net *net)
{
    for (int i = 0; i < N_PLANES; i++) {
        sm_free(net->plane[i].data);
        net->plane[i].data = NULL;
    }
    sm_free(net->rows);
    net->rows = NULL;
    net->capacity = 0;
}

void sm_counter__net_free(struct sm_counter__net **net)
{
    if (!*net) {
        return;
    }
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        sm_free((*net)->kernel[i].weight);
        sm_free((*net)->kernel[i].bias);
    }
    free_planes(*net);
    sm_free(*net);
    *net = NULL;
}

/** Columns that a plane's memory must have: its own, the border, and what the last tile reads beyond. */
static size_t padded(int32_t n_columns)
{
    return (size_t)n_columns + 2 * PAD_PX + TILE_PX;
}

/** Memory for n columns of result. */
static enum sm_status reserve(struct sm_counter__net *net, int32_t n_columns, struct sm_error *err)
{
    static const int32_t n_rows[N_PLANES] = {32, 16, 8, 4, 1, 1};
    if (n_columns <= net->capacity) {
        return SM_OK;
    }
    free_planes(net);
    bool is_whole = true;
    for (int i = 0; i < N_PLANES; i++) {
        size_t columns = padded(i == 0 ? 2 * n_columns : n_columns);
        net->plane[i] = (struct plane){.n_rows = n_rows[i], .n_channels = layer_shape[i].n_in};
        net->plane[i].data = sm_calloc(
            ((size_t)n_rows[i] + 2 * PAD_ROWS) * columns * (size_t)layer_shape[i].n_in, sizeof(float));
        is_whole = is_whole && net->plane[i].data;
    }
    net->rows = sm_calloc(2 * padded(2 * n_columns) * MAX_OUT, sizeof(float));
    if (!is_whole || !net->rows) {
        free_planes(net);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the character reader");
    }
    net->capacity = n_columns;
    return SM_OK;
}

/** Give a plane its width for this strip and clear its border (all of it: narrow strips leave old values
 * behind). */
static void shape_plane(struct plane *plane, int32_t n_columns)
{
    plane->n_columns = n_columns;
    plane->stride = (ptrdiff_t)padded(n_columns) * plane->n_channels;
    memset(plane->data, 0, ((size_t)plane->n_rows + 2 * PAD_ROWS) * (size_t)plane->stride * sizeof(float));
}

/** First channel of a pixel. */
static float *at(const struct plane *plane, int32_t row, int32_t column)
{
    return plane->data + (row + PAD_ROWS) * plane->stride + (ptrdiff_t)(column + PAD_PX) * plane->n_channels;
}

/* ---- convolution
 * --------------------------------------------------------------------------------------------- */

static float leak(float value)
{
    return value > 0.0F ? value : LEAK * value;
}

#define CONVOLVE convolve_row_narrow
#define POOL pool_row_narrow
#define CONVOLVE_TARGET
#define LANES 4
#include "net_convolve.h"

/** The loops for a width of vectors. */
struct loops {
    void (*convolve)(float *out, const float *in, ptrdiff_t stride, int32_t n_px, const struct kernel *kernel);
    void (*pool)(float *restrict out, const float *restrict upper, const float *restrict lower, int32_t n_px,
                 int32_t n_out, int32_t step);
};

#if defined(__x86_64__)
#define CONVOLVE convolve_row_wide
#define POOL pool_row_wide
#define CONVOLVE_TARGET __attribute__((target("avx2")))
#define LANES 8
#include "net_convolve.h"

#define CONVOLVE convolve_row_widest
#define POOL pool_row_widest
#define CONVOLVE_TARGET __attribute__((target("avx512f,avx512vl,avx512dq,avx512bw")))
#define LANES 16
#include "net_convolve.h"

static struct loops fastest_loops(void)
{
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
        __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512bw")) {
        return (struct loops){convolve_row_widest, pool_row_widest};
    }
    return __builtin_cpu_supports("avx2") ? (struct loops){convolve_row_wide, pool_row_wide}
                                          : (struct loops){convolve_row_narrow, pool_row_narrow};
}
#else
static struct loops fastest_loops(void)
{
    return (struct loops){convolve_row_narrow, pool_row_narrow};
}
#endif

/** Convolution, largest of 2 rows by step columns, leak: one row of the next plane. */
static void pooled_row(struct plane *to, int32_t row, const struct plane *from, const struct kernel *kernel,
                       float *rows, int32_t step)
{
    struct loops loops = fastest_loops();
    int32_t n_px = step * to->n_columns, n_out = kernel->n_out;
    float *second = rows + padded(n_px) * (size_t)n_out;
    loops.convolve(rows, at(from, 2 * row - 1, -(kernel->n_columns / 2)), from->stride, n_px, kernel);
    loops.convolve(second, at(from, 2 * row, -(kernel->n_columns / 2)), from->stride, n_px, kernel);
    loops.pool(at(to, row, 0), rows, second, to->n_columns, n_out, step);
}

static void pooled_layer(struct plane *to, const struct plane *from, const struct kernel *kernel, float *rows,
                         int32_t step)
{
    for (int32_t row = 0; row < to->n_rows; row++) {
        pooled_row(to, row, from, kernel, rows, step);
    }
}

/** Convolution over the plane's whole height: one row. */
static void flat_layer(struct plane *to, const struct plane *from, const struct kernel *kernel, float *rows)
{
    fastest_loops().convolve(rows, at(from, 0, -(kernel->n_columns / 2)), from->stride, to->n_columns, kernel);
    float *out = at(to, 0, 0);
    for (int32_t i = 0; i < to->n_columns * kernel->n_out; i++) {
        out[i] = leak(rows[i]);
    }
}

/** Scores of one column to log probabilities. */
static void log_softmax(float *logprob, const float *score)
{
    float most = score[0], sum = 0.0F;
    for (int i = 1; i < SM_GLYPH_COUNT; i++) {
        most = score[i] > most ? score[i] : most;
    }
    for (int i = 0; i < SM_GLYPH_COUNT; i++) {
        sum += expf(score[i] - most);
    }
    float shift = most + logf(sum);
    for (int i = 0; i < SM_GLYPH_COUNT; i++) {
        logprob[i] = score[i] - shift;
    }
}

int32_t sm_counter__net_columns(int32_t width_px)
{
    return (width_px + SM_NET_COLUMN_PX - 1) / SM_NET_COLUMN_PX;
}

enum sm_status sm_counter__net_run(struct sm_counter__net *net, const float *strip, int32_t width_px,
                                   float *logprob, struct sm_error *err)
{
    if (width_px < 1 || width_px > SM_STRIP_MAX_WIDTH) {
        return sm_error_set(err, SM_E_RANGE, "a line of text of %d px is too long or too short",
                            (int)width_px);
    }
    int32_t n_columns = sm_counter__net_columns(width_px);
    enum sm_status status = reserve(net, n_columns, err);
    if (status != SM_OK) {
        return status;
    }
    struct plane *plane = net->plane;
    for (int i = 0; i < N_PLANES; i++) {
        shape_plane(&plane[i], i == 0 ? 2 * n_columns : n_columns);
    }
    for (int32_t row = 0; row < SM_STRIP_HEIGHT; row++) {
        memcpy(at(&plane[0], row, 0), strip + (ptrdiff_t)row * width_px, (size_t)width_px * sizeof(float));
    }
    pooled_layer(&plane[1], &plane[0], &net->kernel[0], net->rows, 2);
    pooled_layer(&plane[2], &plane[1], &net->kernel[1], net->rows, 1);
    pooled_layer(&plane[3], &plane[2], &net->kernel[2], net->rows, 1);
    flat_layer(&plane[4], &plane[3], &net->kernel[3], net->rows);
    flat_layer(&plane[5], &plane[4], &net->kernel[4], net->rows);
    fastest_loops().convolve(net->rows, at(&plane[5], 0, 0), plane[5].stride, n_columns, &net->kernel[5]);
    for (int32_t i = 0; i < n_columns; i++) {
        log_softmax(logprob + (ptrdiff_t)i * SM_GLYPH_COUNT, net->rows + (ptrdiff_t)i * net->kernel[5].n_out);
    }
    return SM_OK;
}
