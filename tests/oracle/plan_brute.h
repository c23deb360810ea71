/** The best plan of a tiny case by trying every row of liners on the grid. */
#ifndef PLAN_BRUTE_H
#define PLAN_BRUTE_H

#include "plan_case.h"

/**
 * @param least_slack_um [out] the largest least slack among all plans of the best worth; INT64_MAX without
 * liners.
 */
void plan_brute(const struct plan_case *problem, struct case_worth *best, int64_t *least_slack_um);

#endif
