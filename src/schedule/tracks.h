/* Tracks drawn with any pen. */
#ifndef STOPMARK_SCHEDULE_TRACKS_H
#define STOPMARK_SCHEDULE_TRACKS_H

#include "pen.h"
#include "schedule_internal.h"

double sm_schedule__tracks_height(const struct sm_tracks *tracks);
/* From the pen's origin. */
void sm_schedule__tracks_draw(struct sm_pen *pen, const struct sm_tracks *tracks, double width);

#endif
