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
};
/** One observation of one run, on the segment's axis. */
struct sm_sighting {
    size_t run_idx;
    int32_t observation_idx;
    double distance_m, start_m, end_m;
    int32_t clock_from_h, clock_to_h;
};
/** What one or more runs saw at one place. */
struct sm_joined_defect {
    const char *code;
    size_t n_sightings;                /**< at most one a run */
    const struct sm_sighting *sighting;
    double distance_m;                 /**< mean of the sightings, the surer ones counting more */
    double start_m, end_m;             /**< from the first start to the last end of all sightings */
    double difference_m;               /**< between the farthest two sightings; NAN = seen once */
};
/** Free with sm_joined_free(). */
struct sm_joined {
    struct sm_arena *arena;
    double length_m;
    size_t n_defects;
    const struct sm_joined_defect *defect; /**< by rising distance; nodes are left out */
    size_t n_shared;        /**< defects seen more than once */
    double shift_m;         /**< median of later run less first run over the shared ones: what is constant; NAN = none */
    double spread_m;        /**< median of what differs beyond that: what is not; NAN = none */
    struct sm_findings findings;
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
