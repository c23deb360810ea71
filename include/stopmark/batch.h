/**
 * @file batch.h
 * Many surveys in one go: found in a folder or a list, worked through in processes of their own, into one job file. A crash, a
 * hang or a poisoned file costs its own survey only. What is in the job file already, unchanged, is skipped, so a run that was
 * stopped goes on where it was.
 */
#ifndef STOPMARK_BATCH_H
#define STOPMARK_BATCH_H

#include "stopmark/job.h"

/* ---- finding ------------------------------------------------------------------------------------------------- */

struct sm_batch_survey {
    const char *path; /**< the sheet, or a log that stands alone */
    const char *name; /**< under which its documents are kept: its way from the folder or list, without the
                           ending; of a sheet.ini that of its folder; of a log with several inspections a
                           folder with one name for each */
    int32_t inspection; /**< of a log, from 1; 0 = a sheet */
    struct sm_job_log *log; /**< where it has several: what they share; belongs to the list */
};
struct sm_batch_surveys {
    struct sm_arena *arena;
    size_t n_logs, logs_capacity;
    struct sm_job_surveys **logs; /**< logs with several inspections, as read */
    size_t n;
    struct sm_batch_survey *item; /**< in the order of names (folder) or of the list */
};
/**
 * The surveys of a folder (sheets and standard logs anywhere below it; hidden names and links to folders are left out), of a list
 * (a text file with one path a line, as seen from the list; # starts a comment; a tab after it brings the number of one
 * inspection of a log, 0 for a sheet, and another the name), or the one sheet or log named. Each
 * inspection of a log is a survey of its own. In a folder a log is known by its content (EN 13508-2, ISYBAU, DWA-M 150); CSV
 * logs are taken where they are named. A log that a sheet names is that sheet's. One file named twice counts once.
 * @param out [new] free with sm_batch_surveys_free(). @param findings [inout] what was passed over and why; may be NULL.
 * @return SM_OK; SM_E_NOTFOUND nothing there; SM_E_FORMAT a name in the list that is no survey; SM_E_IO; SM_E_NOMEM.
 */
enum sm_status sm_batch_find(struct sm_batch_surveys **out, const char *path, struct sm_findings *findings,
                             struct sm_error *err) SM_CHECKED;
void sm_batch_surveys_free(struct sm_batch_surveys **surveys);

/* ---- running ------------------------------------------------------------------------------------------------- */

enum sm_batch_state {
    SM_BATCH_NOT_REACHED, /**< the run was stopped before */
    SM_BATCH_DONE,
    SM_BATCH_UNCHANGED,   /**< the job file holds it already, made from the same content and settings */
    SM_BATCH_FAILED,      /**< an error that says what and what to do */
    SM_BATCH_CRASHED,
    SM_BATCH_TIMED_OUT,
};
const char *sm_batch_state_name(enum sm_batch_state state); /**< "done", "timed_out", ... */

struct sm_batch_result {
    enum sm_batch_state state;
    char segment[64];  /**< "" = not known */
    uint32_t n_observations, n_repairs, n_unrepaired, n_warnings; /**< of one that is done */
    struct sm_error err; /**< where not done: what is wrong and what to do about it */
};
struct sm_batch_progress {
    size_t n_surveys, n_over, n_failed, n_running; /**< n_over: ended in any way */
    double share;  /**< 0..1 of all work, running surveys counted in part */
    double left_s; /**< NaN = no telling yet */
};
/** Called several times a second, and when a survey has ended. @return false to stop: running surveys end cleanly. */
typedef bool sm_batch_progress_fn(void *user, const struct sm_batch_progress *progress);

struct sm_batch_opts {
    const char *job_path;  /**< made when missing */
    const char *out_dir;   /**< documents of a survey go to out_dir/NAME; NULL = none */
    uint32_t n_workers;    /**< at least 1 */
    double time_limit_s;   /**< for one survey, wall clock; 0 = none */
    double grace_s;        /**< how long a worker asked to end may take before it is killed; 0 = 10 s */
    int64_t memory_limit_bytes; /**< for one survey; 0 = none */
    size_t n_changes;
    const struct sm_job_change *change;
    const char *now, *who; /**< as in struct sm_job_delivery */
    sm_batch_progress_fn *progress;
    void *progress_user;
};
struct sm_batch_report {
    size_t n;
    struct sm_batch_result *result; /**< of each survey, in their order */
    bool is_stopped;
};
/**
 * Work through the surveys. Failures of surveys are results, not errors.
 * @param out [new] free with sm_batch_report_free().
 * @return SM_OK; SM_E_IO, SM_E_FORMAT ... the job file or folder cannot be used; SM_E_NOMEM.
 */
enum sm_status sm_batch_run(struct sm_batch_report **out, const struct sm_batch_surveys *surveys,
                            const struct sm_batch_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_batch_report_free(struct sm_batch_report **report);
/** How many ended in this state. */
size_t sm_batch_count(const struct sm_batch_report *report, enum sm_batch_state state);

/** As JSON, schema stopmark.batch/1 (docs/schema). */
void sm_batch_write_json(struct sm_text *out, const struct sm_batch_surveys *surveys, const struct sm_batch_report *report);
/** For people: totals, then a line a survey, failures last with their remedies. */
void sm_batch_write_table(struct sm_text *out, const struct sm_batch_surveys *surveys, const struct sm_batch_report *report);

/* ---- on a cluster ------------------------------------------------------------------------------------------------- */

struct sm_batch_slurm {
    size_t n_options;
    const char *const *option; /**< each a line of `#SBATCH`, as in "--partition=short" */
    const char *sbatch;        /**< the program; NULL = sbatch */
};
struct sm_batch_submission {
    size_t n_surveys, n_submitted, n_held, n_arrays; /**< held: done before, newer than its inputs */
    char arrays[512];   /**< Slurm's numbers of the arrays, a colon between two; "" = none was needed */
    char merge[32];     /**< of the job that merges; "" = none was needed */
    char folder[4096];  /**< with the job file, the task's words and the log of each survey */
};
/**
 * Hand the surveys to Slurm: an array in which each task works on one of them into a job file of its own, and a job that
 * merges these into opts->job_path when all are over. Submitted again, only what is missing or older than its inputs is.
 * The nodes must see job file, surveys and program under the same paths. Workers and progress of opts do not count.
 * @return SM_OK; SM_E_NOTFOUND no Slurm here; SM_E_IO it takes nothing, or files; SM_E_RANGE a path it cannot take; SM_E_NOMEM.
 */
enum sm_status sm_batch_submit(struct sm_batch_submission *out, const struct sm_batch_surveys *surveys,
                               const struct sm_batch_opts *opts, const struct sm_batch_slurm *slurm, struct sm_error *err) SM_CHECKED;
/** As JSON, schema stopmark.submission/1. */
void sm_batch_write_submission_json(struct sm_text *out, const struct sm_batch_submission *submission);

#endif
