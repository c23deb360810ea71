/**
 * @file net_convolve.h
 * The inner loop of the character reader, written once and built for each vector width: net.c includes this
 * file with CONVOLVE (the function's name), CONVOLVE_TARGET (its attributes), LANES (floats per vector: 4, 8 or
 * 16) and perhaps POOL (the name of what comes after it) defined.
 *
 * It sums 4 pixels by 2 vectors of output channels at a time (8 pixels by 1 where a vector holds a whole tile of
 * outputs), which fills the registers without overflowing them. Each output is summed in the order bias, kernel
 * row, kernel column, input channel with a rounding after every step, whatever the width.
 */
#define IS_WHOLE_TILE (LANES == TILE_OUT)
#define SECOND_PX (IS_WHOLE_TILE ? 4 : 0)          /* the second four sums are of these pixels on, */
#define SECOND_OUT (IS_WHOLE_TILE ? 0 : LANES)     /* of these channels on */

/** One row of results for n_px pixels (and up to TILE_PX - 1 beyond): out[pixel][channel]. in: first input of
 * the first pixel. */
CONVOLVE_TARGET static void CONVOLVE(float *out, const float *in, ptrdiff_t stride, int32_t n_px,
                                     const struct kernel *kernel)
{
    /* The only way to ask C for vector arithmetic; aligned(4): the data has no better alignment than a float.
     */
    typedef float vector __attribute__((vector_size(LANES * 4), aligned(4), may_alias));

    const int32_t n_in = kernel->n_in, n_across = kernel->n_columns * n_in, n_out = kernel->n_out;
    for (int32_t channel = 0; channel < n_out; channel += LANES + SECOND_OUT) {
        const float *weight = kernel->weight +
                              (ptrdiff_t)(channel / TILE_OUT) * kernel->n_rows * n_across * TILE_OUT +
                              channel % TILE_OUT;
        const float *bias = kernel->bias + channel;
        const vector bias0 = *(const vector *)bias, bias1 = *(const vector *)(bias + SECOND_OUT);
        for (int32_t x = 0; x < n_px; x += 4 + SECOND_PX) {
            vector a0 = bias0, a1 = bias1, b0 = bias0, b1 = bias1, c0 = bias0, c1 = bias1, d0 = bias0,
                   d1 = bias1;
            for (int32_t row = 0; row < kernel->n_rows; row++) {
                const float *a = in + row * stride + (ptrdiff_t)x * n_in, *b = a + n_in, *c = b + n_in,
                            *d = c + n_in;
                const float *e = a + SECOND_PX * n_in, *f = b + SECOND_PX * n_in, *g = c + SECOND_PX * n_in,
                            *h = d + SECOND_PX * n_in;
                const float *w = weight + (ptrdiff_t)row * n_across * TILE_OUT;
                for (int32_t i = 0; i < n_across; i++, w += TILE_OUT) {
                    const vector w0 = *(const vector *)w, w1 = *(const vector *)(w + SECOND_OUT);
                    a0 += a[i] * w0;
                    a1 += e[i] * w1;
                    b0 += b[i] * w0;
                    b1 += f[i] * w1;
                    c0 += c[i] * w0;
                    c1 += g[i] * w1;
                    d0 += d[i] * w0;
                    d1 += h[i] * w1;
                }
            }
            float *to = out + (ptrdiff_t)x * n_out + channel, *also = to + SECOND_PX * n_out + SECOND_OUT;
            *(vector *)to = a0, *(vector *)also = a1;
            *(vector *)(to + n_out) = b0, *(vector *)(also + n_out) = b1;
            *(vector *)(to + 2 * n_out) = c0, *(vector *)(also + 2 * n_out) = c1;
            *(vector *)(to + 3 * n_out) = d0, *(vector *)(also + 3 * n_out) = d1;
        }
    }
}

#ifdef POOL
/** Largest of two rows by step pixels, leak: one row of n_px pooled pixels. n_out: a multiple of TILE_OUT. */
CONVOLVE_TARGET static void POOL(float *restrict out, const float *restrict upper, const float *restrict lower,
                                 int32_t n_px, int32_t n_out, int32_t step)
{
    for (int32_t x = 0; x < n_px; x++, out += n_out, upper += step * n_out, lower += step * n_out) {
        const float *right_upper = upper + (step - 1) * n_out, *right_lower = lower + (step - 1) * n_out;
        for (int32_t i = 0; i < n_out; i++) {
            float above = upper[i] > right_upper[i] ? upper[i] : right_upper[i];
            float below = lower[i] > right_lower[i] ? lower[i] : right_lower[i];
            out[i] = leak(above > below ? above : below);
        }
    }
}
#endif

#undef IS_WHOLE_TILE
#undef SECOND_PX
#undef SECOND_OUT
#undef CONVOLVE
#undef POOL
#undef CONVOLVE_TARGET
#undef LANES
