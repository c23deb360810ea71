/**
 * @file align.h
 * Log entries x trace -> observations with a place along the pipe and an honest error.
 */
#ifndef STOPMARK_ALIGN_H
#define STOPMARK_ALIGN_H

#include "stopmark/codes.h"
#include "stopmark/model.h"
#include "stopmark/trace.h"

/**
 * Video time of every log entry (NAN = none), so that the picture can be read exactly there before
 * sm_align(). With log time = clock the offset is estimated from trace and log.
 * @param time_s [out] log->n_entries values. @param clock_offset_s [out] NAN = not needed or not found.
 */
enum sm_status sm_align_times(double *time_s, double *clock_offset_s, const struct sm_obslog *log,
                              const struct sm_trace *trace, const struct sm_sheet *sheet,
                              struct sm_error *err) SM_CHECKED;

/**
 * Place every log entry. No entry is lost: what cannot be placed has distance NAN and a flag.
 * @param trace NULL = work from the log alone. @param out [new] free with sm_alignment_free(). Treatment is
 * decided here through codes, from code and quantification.
 */
enum sm_status sm_align(struct sm_alignment **out, const struct sm_obslog *log, const struct sm_trace *trace,
                        const struct sm_sheet *sheet, const struct sm_codes *codes,
                        struct sm_error *err) SM_CHECKED;
void sm_alignment_free(struct sm_alignment **alignment);

#endif
