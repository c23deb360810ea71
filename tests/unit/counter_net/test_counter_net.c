/** The character reader against a plain rewriting of its definition, and against itself. */
#include "sm_test.h"

#include "net.h"
#include "strip.h"

#include <math.h>
#include <string.h>

#define WIDE 141 /* odd: the last column has only one pixel */
#define NARROW 36
#define LEAK 0.125

/* ---- reference: every layer as nested sums over doubles
 * ------------------------------------------------------- */

struct volume {
    int32_t n_rows, n_columns, n_channels;
    double *value;
};

static double get(const struct volume *v, int32_t row, int32_t column, int32_t channel)
{
    bool is_inside = row >= 0 && row < v->n_rows && column >= 0 && column < v->n_columns;
    return is_inside ? v->value[(row * v->n_columns + column) * v->n_channels + channel] : 0.0;
}

static struct volume volume_new(int32_t n_rows, int32_t n_columns, int32_t n_channels)
{
    struct volume v = {n_rows, n_columns, n_channels,
                       sm_calloc((size_t)(n_rows * n_columns * n_channels), sizeof(double))};
    assert_non_null(v.value);
    return v;
}

/** One output of a kernel centred on a pixel; a kernel of four rows starts at the pixel's row. */
static double respond(const struct volume *in, const struct sm_counter__layer *l, int32_t row, int32_t column,
                      int32_t out)
{
    double sum = (double)l->bias[out];
    int32_t row_shift = l->n_rows == 3 ? 1 : 0;
    for (int32_t r = 0; r < l->n_rows; r++) {
        for (int32_t c = 0; c < l->n_columns; c++) {
            for (int32_t i = 0; i < l->n_in; i++) {
                int32_t tap = (r * l->n_columns + c) * l->n_in + i;
                double weight = (double)l->value[tap * l->n_out + out] * (double)l->scale[out];
                sum += weight * get(in, row + r - row_shift, column + c - l->n_columns / 2, i);
            }
        }
    }
    return sum;
}

static struct volume convolve(struct volume *in, const struct sm_counter__layer *l)
{
    struct volume out = volume_new(l->n_rows == 4 ? 1 : in->n_rows, in->n_columns, l->n_out);
    for (int32_t row = 0; row < out.n_rows; row++) {
        for (int32_t column = 0; column < out.n_columns; column++) {
            for (int32_t k = 0; k < l->n_out; k++) {
                out.value[(row * out.n_columns + column) * l->n_out + k] = respond(in, l, row, column, k);
            }
        }
    }
    sm_free(in->value);
    return out;
}

static struct volume pool_and_leak(struct volume *in, int32_t pool_y, int32_t pool_x)
{
    struct volume out = volume_new(in->n_rows / pool_y, in->n_columns / pool_x, in->n_channels);
    for (int32_t i = 0; i < out.n_rows * out.n_columns * out.n_channels; i++) {
        int32_t channel = i % out.n_channels, column = i / out.n_channels % out.n_columns,
                row = i / out.n_channels / out.n_columns;
        double most = -(double)INFINITY;
        for (int32_t y = 0; y < pool_y; y++) {
            for (int32_t x = 0; x < pool_x; x++) {
                most = fmax(most, get(in, row * pool_y + y, column * pool_x + x, channel));
            }
        }
        out.value[i] = most > 0.0 ? most : LEAK * most;
    }
    sm_free(in->value);
    return out;
}

/** Log probabilities as doubles, columns x SM_GLYPH_COUNT. */
static struct volume reference(const struct sm_counter__weights *weights, const float *strip, int32_t width)
{
    static const int32_t pool[SM_NET_LAYERS - 1][2] = {{2, 2}, {2, 1}, {2, 1}, {1, 1}, {1, 1}};
    struct volume v = volume_new(SM_STRIP_HEIGHT, (width + 1) / 2 * 2, 1);
    for (int32_t i = 0; i < SM_STRIP_HEIGHT * width; i++) {
        v.value[i / width * v.n_columns + i % width] = (double)strip[i];
    }
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        v = convolve(&v, &weights->layer[i]);
        if (i + 1 < SM_NET_LAYERS) {
            v = pool_and_leak(&v, pool[i][0], pool[i][1]);
        }
    }
    for (int32_t column = 0; column < v.n_columns; column++) {
        double sum = 0.0;
        for (int k = 0; k < SM_GLYPH_COUNT; k++) {
            sum += exp(get(&v, 0, column, k));
        }
        for (int k = 0; k < SM_GLYPH_COUNT; k++) {
            v.value[column * SM_GLYPH_COUNT + k] -= log(sum);
        }
    }
    return v;
}

/* ---- tests
 * --------------------------------------------------------------------------------------------------- */

static float strip[SM_STRIP_HEIGHT * WIDE], logprob[2][(WIDE + 1) / 2 * SM_GLYPH_COUNT];

static void draw_strip(int32_t width, uint64_t seed)
{
    struct sm_test_random random = sm_test_seed(seed);
    for (int32_t i = 0; i < SM_STRIP_HEIGHT * width; i++) {
        strip[i] = (float)sm_test_uniform(&random, -2.0, 2.0);
    }
}

static struct sm_counter__net *open_net(void)
{
    struct sm_counter__net *net = NULL;
    struct sm_error err;
    assert_ok(sm_counter__net_new(&net, &sm_counter__trained_weights, &err), &err);
    return net;
}

static void test_agrees_with_the_definition(void **state)
{
    (void)state;
    struct sm_counter__net *net = open_net();
    draw_strip(NARROW + 1, 11);
    assert_ok(sm_counter__net_run(net, strip, NARROW + 1, logprob[0], NULL), NULL);
    struct volume expected = reference(&sm_counter__trained_weights, strip, NARROW + 1);
    assert_int_equal(expected.n_columns, sm_counter__net_columns(NARROW + 1));
    for (int32_t i = 0; i < expected.n_columns * SM_GLYPH_COUNT; i++) {
        assert_close((double)logprob[0][i], expected.value[i], 1e-3);
    }
    sm_free(expected.value);
    sm_counter__net_free(&net);
}

static void test_probabilities_sum_to_one(void **state)
{
    (void)state;
    struct sm_counter__net *net = open_net();
    draw_strip(WIDE, 12);
    assert_ok(sm_counter__net_run(net, strip, WIDE, logprob[0], NULL), NULL);
    for (int32_t column = 0; column < sm_counter__net_columns(WIDE); column++) {
        double sum = 0.0;
        for (int k = 0; k < SM_GLYPH_COUNT; k++) {
            sum += exp((double)logprob[0][column * SM_GLYPH_COUNT + k]);
        }
        assert_close(sum, 1.0, 1e-5);
    }
    sm_counter__net_free(&net);
}

/** What was read before leaves no trace, be it wider or narrower. */
static void test_same_bits_every_time(void **state)
{
    (void)state;
    struct sm_counter__net *net = open_net(), *fresh = open_net();
    draw_strip(WIDE, 13);
    assert_ok(sm_counter__net_run(net, strip, WIDE, logprob[0], NULL), NULL);
    draw_strip(NARROW, 14);
    assert_ok(sm_counter__net_run(net, strip, NARROW, logprob[0], NULL), NULL);
    assert_ok(sm_counter__net_run(fresh, strip, NARROW, logprob[1], NULL), NULL);
    assert_memory_equal(logprob[0], logprob[1], sizeof(float) * NARROW / 2 * SM_GLYPH_COUNT);
    draw_strip(WIDE, 13);
    assert_ok(sm_counter__net_run(net, strip, WIDE, logprob[0], NULL), NULL);
    assert_ok(sm_counter__net_run(fresh, strip, WIDE, logprob[1], NULL), NULL);
    assert_memory_equal(logprob[0], logprob[1], sizeof logprob[0]);
    sm_counter__net_free(&net);
    sm_counter__net_free(&fresh);
}

static void test_odd_widths_are_refused(void **state)
{
    (void)state;
    struct sm_counter__net *net = open_net();
    assert_int_equal(sm_counter__net_run(net, strip, 0, logprob[0], NULL), SM_E_RANGE);
    assert_int_equal(sm_counter__net_run(net, strip, SM_STRIP_MAX_WIDTH + 1, logprob[0], NULL), SM_E_RANGE);
    sm_counter__net_free(&net);
    sm_counter__net_free(&net);
}

static void test_foreign_shapes_are_refused(void **state)
{
    (void)state;
    struct sm_counter__weights weights = sm_counter__trained_weights;
    struct sm_counter__net *net = NULL;
    weights.layer[2].n_out--;
    assert_int_equal(sm_counter__net_new(&net, &weights, NULL), SM_E_RANGE);
    assert_null(net);
}

static void test_characters_and_classes(void **state)
{
    (void)state;
    const struct {
        uint32_t codepoint;
        enum sm_glyph glyph;
        char shown;
    } expected[] = {
        {'0', SM_GLYPH_0, '0'},          {'9', SM_GLYPH_9, '9'},
        {'.', SM_GLYPH_POINT, '.'},      {',', SM_GLYPH_COMMA, ','},
        {':', SM_GLYPH_COLON, ':'},      {'-', SM_GLYPH_MINUS, '-'},
        {0x2212, SM_GLYPH_MINUS, '-'},   {'+', SM_GLYPH_PLUS, '+'},
        {'/', SM_GLYPH_SLASH, '/'},      {'m', SM_GLYPH_M, 'm'},
        {'M', SM_GLYPH_M, 'm'},          {'F', SM_GLYPH_F, 'f'},
        {'t', SM_GLYPH_T, 't'},          {'\'', SM_GLYPH_APOSTROPHE, '\''},
        {'%', SM_GLYPH_PERCENT, '%'},    {0xb0, SM_GLYPH_DEGREE, 'o'},
        {'_', SM_GLYPH_UNDERSCORE, '_'}, {' ', SM_GLYPH_BLANK, ' '},
        {'Q', SM_GLYPH_OTHER, '?'},      {0x20ac, SM_GLYPH_OTHER, '?'},
        {0, SM_GLYPH_OTHER, '?'},
    };
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        assert_int_equal(sm_counter__glyph_of(expected[i].codepoint), expected[i].glyph);
        assert_int_equal(sm_counter__glyph_char(expected[i].glyph), expected[i].shown);
    }
}

/* ---- the inner loop at all widths
 * ----------------------------------------------------------------------------- */

#define TILE_OUT 16
#define TILE_PX 8
struct kernel {
    int32_t n_rows, n_columns, n_in, n_out;
    float *weight, *bias;
};
#define CONVOLVE convolve_4
#define CONVOLVE_TARGET
#define LANES 4
#include "net_convolve.h"
#define CONVOLVE convolve_8
#if defined(__x86_64__)
#define CONVOLVE_TARGET __attribute__((target("avx2")))
#else
#define CONVOLVE_TARGET
#endif
#define LANES 8
#include "net_convolve.h"
#define CONVOLVE convolve_16
#if defined(__x86_64__)
#define CONVOLVE_TARGET __attribute__((target("avx512f")))
#else
#define CONVOLVE_TARGET
#endif
#define LANES 16
#include "net_convolve.h"

static bool has_widest(void)
{
#if defined(__x86_64__)
    return __builtin_cpu_supports("avx512f");
#else
    return true;
#endif
}

static void test_vector_width_changes_no_bit(void **state)
{
    (void)state;
    enum { N_PX = 10, STRIDE = (N_PX + TILE_PX + 2) * 4 };
    static float weight[3 * 3 * 4 * 32], bias[32], in[3 * STRIDE], out[3][(N_PX + TILE_PX) * 32];
    struct kernel kernel = {3, 3, 4, 32, weight, bias};
    struct sm_test_random random = sm_test_seed(15);
#if defined(__x86_64__)
    if (!__builtin_cpu_supports("avx2")) {
        skip();
    }
#endif
    for (size_t i = 0; i < sizeof weight / sizeof weight[0]; i++) {
        weight[i] = (float)sm_test_uniform(&random, -1.0, 1.0);
        in[i % (3 * STRIDE)] = (float)sm_test_uniform(&random, -1.0, 1.0);
        bias[i % 32] = (float)sm_test_uniform(&random, -1.0, 1.0);
    }
    convolve_4(out[0], in, STRIDE, N_PX, &kernel);
    convolve_8(out[1], in, STRIDE, N_PX, &kernel);
    assert_memory_equal(out[0], out[1], N_PX * 32 * sizeof(float));
    if (has_widest()) {
        convolve_16(out[2], in, STRIDE, N_PX, &kernel);
        assert_memory_equal(out[0], out[2], N_PX * 32 * sizeof(float));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_agrees_with_the_definition),  cmocka_unit_test(test_probabilities_sum_to_one),
        cmocka_unit_test(test_same_bits_every_time),        cmocka_unit_test(test_odd_widths_are_refused),
        cmocka_unit_test(test_foreign_shapes_are_refused),  cmocka_unit_test(test_characters_and_classes),
        cmocka_unit_test(test_vector_width_changes_no_bit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
