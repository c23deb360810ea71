/** @file sim_wall_internal.h - what the wall and the drawer of defects share; apart, so that only these two
 * see cairo. */
#ifndef SM_SIM_WALL_INTERNAL_H
#define SM_SIM_WALL_INTERNAL_H

#include <cairo.h>

#include "sim_internal.h"

/** Draw an item on the unrolled wall: x = metres around from the invert, y = metres along the pipe. */
void sm_sim__paint_item(cairo_t *cr, const struct sm_sim_item *item, double diameter_m);

#endif
