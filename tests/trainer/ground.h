/**
 * @file ground.h
 * Walls to write on: shading, texture of several sizes, edges, glare; from near black to as bright as the
 * text.
 */
#ifndef SM_TRAINER_GROUND_H
#define SM_TRAINER_GROUND_H

#include "raster.h"

/** Fill an 8-bit RGB picture. @param unit_px size of what is seen on it; about the height of the text. @param
 * pattern_share how many have a hard pattern on them, 0..1. */
enum sm_status ground_paint(uint8_t *rgb, int32_t width_px, int32_t height_px, double unit_px,
                            double pattern_share, struct sm_test_random *rng,
                            struct sm_error *err) SM_CHECKED;

#endif
