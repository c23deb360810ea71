/**
 * @file net.h
 * The character reader: a small convolutional network that looks along a strip (strip.h) and says for every
 * second column how likely it is that a certain character is centred there. Trained by tests/trainer,
 * described in docs/reading-network.md.
 */
#ifndef SM_COUNTER_NET_H
#define SM_COUNTER_NET_H

#include "stopmark/model.h"

/** What can be centred on a column. Letters stand for both cases. */
enum sm_glyph {
    SM_GLYPH_BLANK = 0, /**< no character is centred here: between two, on a space, on bare wall */
    SM_GLYPH_0 = 1,     /**< digit d is SM_GLYPH_0 + d */
    SM_GLYPH_9 = 10,
    SM_GLYPH_POINT,
    SM_GLYPH_COMMA,
    SM_GLYPH_COLON,
    SM_GLYPH_MINUS,
    SM_GLYPH_PLUS,
    SM_GLYPH_SLASH,
    SM_GLYPH_M,
    SM_GLYPH_F,
    SM_GLYPH_T,
    SM_GLYPH_APOSTROPHE,
    SM_GLYPH_PERCENT,
    SM_GLYPH_DEGREE,
    SM_GLYPH_UNDERSCORE,
    SM_GLYPH_OTHER, /**< any other character */
    SM_GLYPH_COUNT
};

/** Class of a character; SM_GLYPH_BLANK for a space. */
enum sm_glyph sm_counter__glyph_of(uint32_t codepoint);
/** The character a class stands for, ' ' for blank, '?' for other; the degree sign is 'o'. */
char sm_counter__glyph_char(enum sm_glyph glyph);

#define SM_NET_COLUMN_PX                                                                                     \
    2 /**< strip px per column of the result; column i is centred on strip coordinate 2 i + 1 */
#define SM_NET_LAYERS 6

/**
 * Weights of one layer as stored: weight = value * scale of its output channel. Order
 * [row][column][input][output].
 */
struct sm_counter__layer {
    int32_t n_rows, n_columns, n_in, n_out; /**< kernel size and channels */
    const int8_t *value;
    const float *scale; /**< n_out */
    const float *bias;  /**< n_out */
};
struct sm_counter__weights {
    struct sm_counter__layer layer[SM_NET_LAYERS];
};
/** The trained weights, in net_weights.c. */
extern const struct sm_counter__weights sm_counter__trained_weights;

/** Network ready to run: unpacked weights and working memory. One per thread. */
struct sm_counter__net;

/** @param weights [borrow] during the call. @param out [new] free with sm_counter__net_free(). @return SM_OK,
 * SM_E_RANGE (shapes that do not fit), SM_E_NOMEM. */
enum sm_status sm_counter__net_new(struct sm_counter__net **out, const struct sm_counter__weights *weights,
                                   struct sm_error *err) SM_CHECKED;
void sm_counter__net_free(struct sm_counter__net **net);

/** Columns of the result for a strip of this width. */
int32_t sm_counter__net_columns(int32_t width_px);

/**
 * Read a strip.
 * @param strip SM_STRIP_HEIGHT rows of width_px values, as strip_make leaves them. @param
 * width_px 1..SM_STRIP_MAX_WIDTH.
 * @param logprob [inout] sm_counter__net_columns(width_px) * SM_GLYPH_COUNT natural logarithms of
 * probabilities, column by column; each column's probabilities sum to 1.
 * @return SM_OK, SM_E_RANGE, SM_E_NOMEM. @cost about 100 000 multiplications per strip px. The same bits come
 * out on every run and thread.
 */
enum sm_status sm_counter__net_run(struct sm_counter__net *net, const float *strip, int32_t width_px,
                                   float *logprob, struct sm_error *err) SM_CHECKED;

#endif
