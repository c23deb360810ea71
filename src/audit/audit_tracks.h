/* A segment's audit as tracks to draw; shared by page and paper. */
#ifndef SM_AUDIT_TRACKS_H
#define SM_AUDIT_TRACKS_H

#include "stopmark/schedule.h"

#include "audit_internal.h"

/* In arena. @return false when memory ran out; n_tracks 0 when there is no pipe to draw. */
bool sm_audit__tracks(struct sm_tracks *tracks, struct sm_arena *arena, const struct sm_audit *audit, size_t first_idx,
                      enum sm_unit unit);
/* Is a defect done with: installed or proven? */
bool sm_audit__is_done(enum sm_audit_state state);

#endif
