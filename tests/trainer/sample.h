/**
 * @file sample.h
 * A strip with its labels, cut out of a scene as carelessly as a counter is found in practice.
 */
#ifndef SM_TRAINER_SAMPLE_H
#define SM_TRAINER_SAMPLE_H

#include "scene.h"
#include "strip.h"

#define SAMPLE_MAX_COLUMNS 128
#define SAMPLE_MAX_PX (SAMPLE_MAX_COLUMNS * SM_NET_COLUMN_PX)
#define LABEL_IGNORE 255

struct sample {
    int32_t width_px, n_columns;
    float strip[SM_STRIP_HEIGHT * SAMPLE_MAX_PX];
    uint8_t label[SAMPLE_MAX_COLUMNS];         /**< enum sm_glyph or LABEL_IGNORE */
    int32_t centre_column[SAMPLE_MAX_COLUMNS]; /**< of each whole character, for counting */
    uint8_t centre_glyph[SAMPLE_MAX_COLUMNS];
    int32_t n_centres;
};

/** @param jitter 0..1 how careless. */
enum sm_status sample_cut(struct sample *out, const struct scene *scene, double jitter,
                          struct sm_test_random *rng, struct sm_error *err) SM_CHECKED;

#endif
