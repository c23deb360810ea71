/**
 * @file raster.h
 * One plane of float pixels and what spoils it on the way from the camera to the file: scaling, blur, noise,
 * coarse coding in blocks of 8 x 8.
 */
#ifndef SM_TRAINER_RASTER_H
#define SM_TRAINER_RASTER_H

#include "rng.h"

#include "stopmark/base.h"

struct raster {
    int32_t width_px, height_px;
    float *px; /**< rows without gaps; owned */
};

enum sm_status raster_new(struct raster *out, int32_t width_px, int32_t height_px,
                          struct sm_error *err) SM_CHECKED;
void raster_release(struct raster *raster);

/** Scale to another size, averaging when it shrinks. Replaces the raster. */
enum sm_status raster_resize(struct raster *raster, int32_t width_px, int32_t height_px,
                             struct sm_error *err) SM_CHECKED;
/** Gaussian blur, each axis by its own deviation in px (0 = none). */
enum sm_status raster_blur(struct raster *raster, double sigma_x_px, double sigma_y_px,
                           struct sm_error *err) SM_CHECKED;
/** Independent noise, smoothed along rows as analogue noise is when smear > 0 (0..0.9). */
void raster_noise(struct raster *raster, struct sm_test_random *rng, float deviation, float smear);
/**
 * Quantise in the cosine domain as video coders do, step growing with frequency.
 * @param step quantiser step of the lowest frequency, grey levels. @param phase_x,phase_y 0..7 where blocks
 * start.
 * @source the default intra matrix of ISO/IEC 13818-2 (MPEG-2), 7.4.2, from memory, as the growth with
 * frequency.
 */
void raster_quantise(struct raster *raster, float step, int phase_x, int phase_y);

#endif
