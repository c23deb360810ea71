/**
 * @file net_convolve.h
 * The inner loop of the character reader, written once and built for each vector width: net.c includes this
 * file with CONVOLVE (the function's name), CONVOLVE_TARGET (its attributes) and LANES (floats per vector, 4
 * or 8) defined.
 *
 * It sums 4 pixels by 2 vectors of output channels at a time, which fills the registers without overflowing
 * them. Each output is summed in the order bias, kernel row, kernel column, input channel with a rounding
 * after every step, whatever the width.
 */

/** One row of results for n_px pixels (and up to TILE_PX - 1 beyond): out[pixel][channel]. in: first input of
 * the first pixel. */
CONVOLVE_TARGET static void CONVOLVE(float *out, const float *in, ptrdiff_t stride, int32_t n_px,
                                     const struct kernel *kernel)
{
    /* The only way to ask C for vector arithmetic; aligned(4): the data has no better alignment than a float.
     */
    typedef float vector __attribute__((vector_size(LANES * 4), aligned(4), may_alias));

    const int32_t n_in = kernel->n_in, n_across = kernel->n_columns * n_in, n_out = kernel->n_out;
    for (int32_t channel = 0; channel < n_out; channel += 2 * LANES) {
        const float *weight = kernel->weight +
                              (ptrdiff_t)(channel / TILE_OUT) * kernel->n_rows * n_across * TILE_OUT +
                              channel % TILE_OUT;
        const float *bias = kernel->bias + channel;
        const vector bias0 = *(const vector *)bias, bias1 = *(const vector *)(bias + LANES);
        for (int32_t x = 0; x < n_px; x += TILE_PX) {
            vector a0 = bias0, a1 = bias1, b0 = bias0, b1 = bias1, c0 = bias0, c1 = bias1, d0 = bias0,
                   d1 = bias1;
            for (int32_t row = 0; row < kernel->n_rows; row++) {
                const float *a = in + row * stride + (ptrdiff_t)x * n_in, *b = a + n_in, *c = b + n_in,
                            *d = c + n_in;
                const float *w = weight + (ptrdiff_t)row * n_across * TILE_OUT;
                for (int32_t i = 0; i < n_across; i++, w += TILE_OUT) {
                    const vector w0 = *(const vector *)w, w1 = *(const vector *)(w + LANES);
                    a0 += a[i] * w0;
                    a1 += a[i] * w1;
                    b0 += b[i] * w0;
                    b1 += b[i] * w1;
                    c0 += c[i] * w0;
                    c1 += c[i] * w1;
                    d0 += d[i] * w0;
                    d1 += d[i] * w1;
                }
            }
            float *to = out + (ptrdiff_t)x * n_out + channel;
            *(vector *)to = a0, *(vector *)(to + LANES) = a1;
            *(vector *)(to + n_out) = b0, *(vector *)(to + n_out + LANES) = b1;
            *(vector *)(to + 2 * n_out) = c0, *(vector *)(to + 2 * n_out + LANES) = c1;
            *(vector *)(to + 3 * n_out) = d0, *(vector *)(to + 3 * n_out + LANES) = d1;
        }
    }
}

#undef CONVOLVE
#undef CONVOLVE_TARGET
#undef LANES
