/**
 * @file model.h
 * The character reader's network in training: forward pass, gradient, Adam. Same layers as src/counter/net.c,
 * weights as floats.
 */
#ifndef SM_TRAINER_MODEL_H
#define SM_TRAINER_MODEL_H

#include "sample.h"

#define MODEL_TILE 16

/** Trainable numbers of one layer: weight[tile of outputs][row][column][input][MODEL_TILE], then
 * bias[n_out_padded]. */
struct model_layer {
    int32_t n_rows, n_columns, n_in, n_out, n_out_padded;
    int32_t n_weights;
    ptrdiff_t weight_at, bias_at; /**< places in the flat vector of all numbers */
};
struct model {
    struct model_layer layer[SM_NET_LAYERS];
    ptrdiff_t n;  /**< numbers in all */
    float *value; /**< n; owned */
};
/** Working memory of one pass; one per thread. */
struct model_pass;

enum sm_status model_new(struct model *model, struct sm_test_random *rng, struct sm_error *err) SM_CHECKED;
/** Take over stored weights. */
void model_load(struct model *model, const struct sm_counter__weights *weights);
void model_release(struct model *model);
enum sm_status model_pass_new(struct model_pass **out, const struct model *model,
                              struct sm_error *err) SM_CHECKED;
void model_pass_free(struct model_pass **pass);

/**
 * Add one sample's gradient to gradient (model->n numbers). @param smoothing share of each label spread over
 * all classes.
 * @return the sample's summed cross-entropy over its n_asked labelled columns.
 */
double model_learn(const struct model *model, struct model_pass *pass, const struct sample *sample,
                   float smoothing, float *gradient, int32_t *n_asked);

/** Adam with decoupled weight decay. @source Kingma & Ba 2015, algorithm 1; Loshchilov & Hutter 2019,
 * algorithm 2 (from memory). */
struct adam {
    float *mean, *square; /**< owned */
    int64_t n_steps;
};
enum sm_status adam_new(struct adam *adam, const struct model *model, struct sm_error *err) SM_CHECKED;
void adam_release(struct adam *adam);
void adam_step(struct adam *adam, struct model *model, const float *gradient, float rate, float decay);

/** The weights rounded to 8 bits with a scale for each output, as net_weights.c holds them. All arrays owned.
 */
struct packed {
    struct sm_counter__weights weights;
    int8_t *value[SM_NET_LAYERS];
    float *scale[SM_NET_LAYERS], *bias[SM_NET_LAYERS];
};
/** @param temperature divides the scores. */
enum sm_status packed_make(struct packed *packed, const struct model *model, float temperature,
                           struct sm_error *err) SM_CHECKED;
void packed_release(struct packed *packed);
/** Write net_weights.c. @param note one line for its head. */
enum sm_status packed_write(const struct packed *packed, const char *path, const char *note,
                            struct sm_error *err) SM_CHECKED;

#endif
