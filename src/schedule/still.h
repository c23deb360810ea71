/* Stills for the documents that embed them. */
#ifndef STOPMARK_SCHEDULE_STILL_H
#define STOPMARK_SCHEDULE_STILL_H

#include "schedule_internal.h"

/* A JPEG file in memory. */
struct sm_still {
    char *data; /* free with sm_schedule__still_release() */
    size_t n;
    int width_px, height_px;
};
/* The still of an observation. @return false when it has none, or none that can be read as a JPEG; sets
 * has_failed for want of memory. */
bool sm_schedule__still_read(struct sm_still *still, const struct sm_schedule *s, size_t observation_idx,
                             bool *has_failed);
/* The same for a file of a folder. */
bool sm_schedule__still_open(struct sm_still *still, const char *folder, const char *name, bool *has_failed);
void sm_schedule__still_release(struct sm_still *still);
/* Bytes as base64 (RFC 4648 section 4). */
void sm_schedule__add_base64(struct sm_text *out, const char *data, size_t n);

#endif
