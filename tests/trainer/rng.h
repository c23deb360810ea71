/**
 * @file rng.h
 * What the trainer needs of random numbers beyond tests/support/sm_random.h.
 */
#ifndef SM_TRAINER_RNG_H
#define SM_TRAINER_RNG_H

#include "sm_random.h"

#include <math.h>
#include <stdbool.h>

/** Independent generator number index of a seed. */
static inline struct sm_test_random rng_of(uint64_t seed, uint64_t index)
{
    struct sm_test_random rng = {seed * 0xd1342543de82ef95U + index};
    rng.state = sm_test_next(&rng) ^ (index << 1);
    return rng;
}

/** Uniform among 0 .. n-1. */
static inline int rng_below(struct sm_test_random *rng, int n)
{
    return (int)sm_test_int(rng, 0, n - 1);
}

static inline bool rng_chance(struct sm_test_random *rng, double probability)
{
    return sm_test_uniform(rng, 0.0, 1.0) < probability;
}

/** Uniform in the logarithm. */
static inline double rng_log_between(struct sm_test_random *rng, double low, double high)
{
    return exp(sm_test_uniform(rng, log(low), log(high)));
}

/** Roughly normal with deviation 1: the sum of four uniforms, cheap enough for every pixel. */
static inline float rng_normal(struct sm_test_random *rng)
{
    uint64_t bits = sm_test_next(rng);
    float sum = (float)(bits & 0xffff) + (float)(bits >> 16 & 0xffff) + (float)(bits >> 32 & 0xffff) +
                (float)(bits >> 48);
    return (sum - 131070.0F) * (1.0F / 37837.0F);
}

#endif
