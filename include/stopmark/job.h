/**
 * @file job.h
 * The whole job in one call: the one place that chains the stages, from a survey sheet to documents and job file. What
 * it writes appears whole or not at all.
 */
#ifndef STOPMARK_JOB_H
#define STOPMARK_JOB_H

#include "stopmark/model.h"
#include "stopmark/schedule.h"
#include "stopmark/store.h"

/**
 * Progress of a long call.
 * @param doing what is being done, in a few words. @param done, total in the step's own unit; total 0 = not known.
 * @return false to stop: the call then ends with SM_E_CANCELLED.
 */
typedef bool sm_job_progress_fn(void *user, const char *doing, double done, double total);

/* ---- read ---------------------------------------------------------------------------------------------------- */

struct sm_job_read_opts {
    size_t n_videos;
    const char *const *video; /**< files in order, one recording */
    struct sm_box box;        /**< where the counter stands; width 0 = find it */
    enum sm_unit unit;        /**< SM_UNIT_UNKNOWN = read it off the picture */
    size_t n_at;
    const double *at_s;       /**< only these times, any order; none = the whole recording */
    sm_job_progress_fn *progress;
    void *progress_user;
};
/**
 * The counter of a recording as a trace. With times asked the trace holds one reading for each, in the order asked
 * (for writing: not sorted), read from the frame on screen then.
 * @param out [new] free with sm_trace_free(). @param findings [inout] what is odd about the files is added; may be NULL.
 * @return what sm_media_open(), sm_counter_find() and sm_counter_read() return.
 */
enum sm_status sm_job_read(struct sm_trace **out, const struct sm_job_read_opts *opts, struct sm_findings *findings,
                           struct sm_error *err) SM_CHECKED;

/* ---- schedule ------------------------------------------------------------------------------------------------ */

/** One value changed from what the sheet says, see sm_sheet_set(). */
struct sm_job_change {
    const char *key, *value;
};
struct sm_job_opts {
    const char *sheet_path;
    size_t n_changes;
    const struct sm_job_change *change;
    sm_job_progress_fn *progress;
    void *progress_user;
};
struct sm_job; /**< a survey with everything made of it */

/**
 * Sheet to plan: read the sheet and its log, read the counter of its videos, place every observation, plan the repairs.
 * Works from the log alone when the sheet names no video. A video without a legible counter is a finding, not an error.
 * @param out [new] free with sm_job_free().
 * @return what the stages return; SM_E_FORMAT also for a sheet that names no log.
 */
enum sm_status sm_job_schedule(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_job_free(struct sm_job **job);

/** Everything a writer of documents needs. Borrowed from job; without stills. */
const struct sm_schedule *sm_job_get_schedule(const struct sm_job *job);
/** What a person should know, by stage in the order of work. Borrowed. @return number of stages. */
size_t sm_job_get_findings(const struct sm_job *job, const struct sm_store_findings **out);

struct sm_job_delivery {
    const char *out_dir;  /**< folder for the documents, made when missing; NULL = none */
    const char *job_path; /**< job file, made when missing; NULL = none */
    const char *now;      /**< ISO 8601 with Z, the caller's clock; with job_path only */
    const char *who;      /**< who ran it, "" = not said; with job_path only */
};
/**
 * Write the documents with their stills and put the survey into the job file: both or neither. Other files in the folder
 * stay; stills of an earlier run that have no observation any more go.
 * @param is_known [out] the job file held this very survey already; may be NULL.
 */
enum sm_status sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                              struct sm_error *err) SM_CHECKED;

#endif
