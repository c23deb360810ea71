/**
 * @file plan.h
 * Located defects -> the cheapest set of liners that covers them, exactly, under the owner's rules.
 */
#ifndef STOPMARK_PLAN_H
#define STOPMARK_PLAN_H

#include "stopmark/codes.h"
#include "stopmark/model.h"

/**
 * Plan the repairs: targets, the optimum (least cost, then fewest liners, then least liner length, then largest least
 * slack), marks, preparation, what stays unrepaired and why.
 * @param out [new] free with sm_plan_free().
 */
enum sm_status sm_plan_make(struct sm_plan **out, const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                            struct sm_error *err) SM_CHECKED;
void sm_plan_free(struct sm_plan **plan);

#endif
