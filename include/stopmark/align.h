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

/* ---- several runs of one segment ---------------------------------------------------------------------------- */

/** One run through a segment. */
struct sm_run {
    const struct sm_alignment *alignment;
    bool is_reverse; /**< entered at the segment's other end: its distances and clock are mirrored */
    const char *name, *from, *date; /**< how it is called, for struct sm_joined_run; may be NULL */
};
/**
 * Bring runs of one segment on one axis, the first run's if that is not reverse. Observations of two runs are one
 * defect when they have the same code, lie within tolerance_m of each other and their clock positions can be the same;
 * of several that fit the nearest pair first. None is lost.
 * @param length_m of the segment, NAN = the first known one of the runs.
 * @param tolerance_m NAN = twice the larger of 0.5 % of the length and 0.3 m: both runs may be off by that.
 * @param out [new]. @return SM_OK; SM_E_RANGE a reverse run and no length; SM_E_NOMEM.
 */
enum sm_status sm_align_join(struct sm_joined **out, const struct sm_run *run, size_t n_runs, double length_m,
                             double tolerance_m, struct sm_error *err) SM_CHECKED;
void sm_joined_free(struct sm_joined **joined);

/**
 * Clock positions seen from the other end: left and right change places, 12 and 6 stay, and so does 12 to 12. A stretch
 * stays clockwise: 2 to 5 becomes 7 to 10. 0 = none stays 0.
 * @source common practice, no source (the clock is read in the direction of travel)
 */
void sm_align_mirror_clock(int32_t *from_h, int32_t *to_h);

#endif
