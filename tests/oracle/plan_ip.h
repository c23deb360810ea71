/** The best worth of a case as an integer program, solved by the glpsol command. */
#ifndef PLAN_IP_H
#define PLAN_IP_H

#include "plan_case.h"

/** @param dir a scratch folder. @return false when glpsol could not be run or gave no answer. */
bool plan_ip(const struct plan_case *problem, const char *dir, struct case_worth *best);

#endif
