/** The one seeded generator of tests, simulator and trainer. */
#ifndef SM_RANDOM_H
#define SM_RANDOM_H

#include <stdint.h>

/** splitmix64; state = seed. */
struct sm_test_random {
    uint64_t state;
};
uint64_t sm_test_next(struct sm_test_random *random);
double sm_test_uniform(struct sm_test_random *random, double low, double high); /**< low <= x < high */
int64_t sm_test_int(struct sm_test_random *random, int64_t least, int64_t greatest); /**< both included */

#endif
