/**
 * @file pack.c
 * From the trained floats to src/counter/net_weights.c: 8 bits a weight, one scale for each output.
 */
#include "model.h"

#include <math.h>
#include <stdio.h>

#define LEVELS 127.0F
#define PER_LINE 24

/** Trained weight of one tap and output. */
static float weight_of(const struct model *model, const struct model_layer *l, int32_t tap, int32_t out)
{
    int32_t n_taps = l->n_rows * l->n_columns * l->n_in;
    return model->value[l->weight_at + ((ptrdiff_t)(out / MODEL_TILE) * n_taps + tap) * MODEL_TILE +
                        out % MODEL_TILE];
}

static void pack_output(struct packed *packed, int i, const struct model *model, int32_t out, float gain)
{
    const struct model_layer *l = &model->layer[i];
    int32_t n_taps = l->n_rows * l->n_columns * l->n_in;
    float most = 1e-9F;
    for (int32_t tap = 0; tap < n_taps; tap++) {
        most = fmaxf(most, fabsf(weight_of(model, l, tap, out)));
    }
    for (int32_t tap = 0; tap < n_taps; tap++) {
        packed->value[i][tap * l->n_out + out] =
            (int8_t)lroundf(weight_of(model, l, tap, out) / most * LEVELS);
    }
    packed->scale[i][out] = gain * most / LEVELS;
    packed->bias[i][out] = gain * model->value[l->bias_at + out];
}

enum sm_status packed_make(struct packed *packed, const struct model *model, float temperature,
                           struct sm_error *err)
{
    *packed = (struct packed){.value = {NULL}};
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct model_layer *l = &model->layer[i];
        int32_t n_taps = l->n_rows * l->n_columns * l->n_in;
        packed->value[i] = sm_calloc((size_t)(n_taps * l->n_out), sizeof(int8_t));
        packed->scale[i] = sm_calloc((size_t)l->n_out, sizeof(float));
        packed->bias[i] = sm_calloc((size_t)l->n_out, sizeof(float));
        if (!packed->value[i] || !packed->scale[i] || !packed->bias[i]) {
            packed_release(packed);
            return sm_error_set(err, SM_E_NOMEM, "no memory for the weights");
        }
        for (int32_t out = 0; out < l->n_out; out++) {
            pack_output(packed, i, model, out, i == SM_NET_LAYERS - 1 ? 1.0F / temperature : 1.0F);
        }
        packed->weights.layer[i] = (struct sm_counter__layer){
            l->n_rows, l->n_columns, l->n_in, l->n_out, packed->value[i], packed->scale[i], packed->bias[i]};
    }
    return SM_OK;
}

void packed_release(struct packed *packed)
{
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        sm_free(packed->value[i]);
        sm_free(packed->scale[i]);
        sm_free(packed->bias[i]);
    }
    *packed = (struct packed){.value = {NULL}};
}

/** Floats as hexadecimal constants: exact, and the same in every locale. */
static void add_floats(struct sm_text *text, const char *name, int layer, const float *value, int32_t n)
{
    char number[40];
    sm_text_addf(text, "static const float %s_%d[%d] = {", name, layer, (int)n);
    for (int32_t k = 0; k < n; k++) {
        snprintf(number, sizeof number, "%s%aF,", k % 6 == 0 ? "\n    " : " ", (double)value[k]);
        sm_text_add(text, number);
    }
    sm_text_add(text, "\n};\n");
}

static void add_layer(struct sm_text *text, const struct packed *packed, int i)
{
    const struct sm_counter__layer *l = &packed->weights.layer[i];
    int32_t n = l->n_rows * l->n_columns * l->n_in * l->n_out;
    sm_text_addf(text, "\nstatic const int8_t value_%d[%d] = {", i, (int)n);
    for (int32_t k = 0; k < n; k++) {
        sm_text_addf(text, "%s%d,", k % PER_LINE == 0 ? "\n    " : "", packed->value[i][k]);
    }
    sm_text_add(text, "\n};\n");
    add_floats(text, "scale", i, packed->scale[i], l->n_out);
    add_floats(text, "bias", i, packed->bias[i], l->n_out);
}

enum sm_status packed_write(const struct packed *packed, const char *path, const char *note,
                            struct sm_error *err)
{
    struct sm_text text = {0};
    sm_text_add(&text, "/**\n * @file net_weights.c\n * Weights of the character reader, written by "
                       "tests/trainer: do not edit.\n * ");
    sm_text_add(&text, note);
    sm_text_add(&text, "\n */\n#include \"net.h\"\n\n/* clang-format off */\n");
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        add_layer(&text, packed, i);
    }
    sm_text_add(&text, "\nconst struct sm_counter__weights sm_counter__trained_weights = {{\n");
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct sm_counter__layer *l = &packed->weights.layer[i];
        sm_text_addf(&text, "    {%d, %d, %d, %d, value_%d, scale_%d, bias_%d},\n", (int)l->n_rows,
                     (int)l->n_columns, (int)l->n_in, (int)l->n_out, i, i, i);
    }
    sm_text_add(&text, "}};\n/* clang-format on */\n");
    enum sm_status status = text.failed ? sm_error_set(err, SM_E_NOMEM, "no memory for the weights")
                                        : sm_file_write(path, text.data, text.length, err);
    sm_text_release(&text);
    return status;
}
