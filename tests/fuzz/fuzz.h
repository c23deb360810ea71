/** What every fuzz target defines: run one input; returns 0. Also called by replay.c. */
#ifndef FUZZ_H
#define FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/** Holds in every build, unlike assert(). */
#define FUZZ_REQUIRE(condition)                                                                              \
    do {                                                                                                     \
        if (!(condition)) {                                                                                  \
            abort();                                                                                         \
        }                                                                                                    \
    } while (0)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n);

#endif
