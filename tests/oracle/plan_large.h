/* Two thousand observations on two kilometres, for the test of the planner's speed and for its benchmark. */
#ifndef PLAN_LARGE_H
#define PLAN_LARGE_H

#include "sm_test.h"
#include "stopmark/plan.h"

#define LARGE_N 2000
#define LARGE_LENGTH_M 2000.0

struct plan_large {
    struct sm_alignment alignment;
    struct sm_sheet sheet;
    struct sm_observation observation[LARGE_N];
};
/** The same each time. @param n_kits 1 to 6. @param n_observations at most LARGE_N, on as many metres. */
void plan_large_make(struct plan_large *large, size_t n_observations, double share_of_connections,
                     bool may_reopen, size_t n_kits);

#endif
