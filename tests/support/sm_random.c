/* splitmix64: small, fast, passes through all 2^64 states (Steele, Lea, Flood, "Fast splittable pseudorandom number
 * generators", 2014). Not for secrets. */
#include "sm_random.h"

uint64_t sm_test_next(struct sm_test_random *random)
{
    uint64_t z = random->state += 0x9e3779b97f4a7c15U;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

double sm_test_uniform(struct sm_test_random *random, double low, double high)
{
    return low + (high - low) * ((double)(sm_test_next(random) >> 11) * 0x1p-53);
}

int64_t sm_test_int(struct sm_test_random *random, int64_t least, int64_t greatest)
{
    uint64_t span = (uint64_t)(greatest - least) + 1;
    return least + (int64_t)(sm_test_next(random) % span);
}
