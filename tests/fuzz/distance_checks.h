/* What the targets of lists of distances share. */
#ifndef DISTANCE_CHECKS_H
#define DISTANCE_CHECKS_H

#include "stopmark/distances.h"

/** A list as it was read: in order, with numbers that are some. Then held against a trace, and taken alone. */
void fuzz_check_distances(const struct sm_distances *list);

#endif
