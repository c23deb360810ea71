/**
 * @file job.h
 * The whole job in one call: the one place that chains the stages, from a survey sheet to documents and job file. What
 * it writes appears whole or not at all.
 */
#ifndef STOPMARK_JOB_H
#define STOPMARK_JOB_H

#include "stopmark/audit.h"
#include "stopmark/model.h"
#include "stopmark/schedule.h"
#include "stopmark/store.h"

/**
 * Progress of a long call.
 * @param doing what is being done, in a few words. @param done, total in the step's own unit; total 0 = not known.
 * @return false to stop: the call then ends with SM_E_CANCELLED.
 */
#define SM_JOB_READING "reading the counter" /**< doing, where done and total are seconds of the recording */
typedef bool sm_job_progress_fn(void *user, const char *doing, double done, double total);

/* ---- read ---------------------------------------------------------------------------------------------------- */

struct sm_job_read_opts {
    size_t n_videos;
    const char *const *video; /**< files in order, one recording */
    struct sm_box box;        /**< where the counter stands; width 0 = find it */
    enum sm_unit unit;        /**< SM_UNIT_UNKNOWN = read it off the picture */
    size_t n_at;
    const double *at_s;       /**< only these times, any order; none = the whole recording */
    size_t n_threads;         /**< to read with, 0 = 1; the outcome is the same for any number */
    bool is_thorough;         /**< look at every picture */
    sm_job_progress_fn *progress;
    void *progress_user;
    size_t n_distances;
    const char *const *distances; /**< lists of distances (distances.h), one for each video or one for all; none = a text
                                       track or a file beside the video, where there is one */
    struct sm_text *picture; /**< [inout] gets a frame as PNG with the texts looked at drawn in and numbered, whether the
                                  counter is found or not; may be NULL */
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
/**
 * Hashes of videos that were taken before: told apart by what the system says of a file, so that one process reads each only
 * once. Zeroed = none yet; end with sm_job_hashes_release().
 */
struct sm_job_hashes {
    size_t n, capacity;
    struct sm_job_hash *item;
};
void sm_job_hashes_release(struct sm_job_hashes *hashes);

struct sm_job_opts {
    const char *sheet_path; /**< a survey sheet, or a log that stands for one, see sm_job_surveys() */
    size_t n_changes;
    const struct sm_job_change *change;
    sm_job_progress_fn *progress;
    void *progress_user;
    size_t n_threads; /**< to read the video with, 0 = 1; the outcome is the same for any number */
    int32_t inspection; /**< with a log: which of its inspections, from 1; 0 = the first */
    bool is_alone; /**< other runs of the segment are not looked at */
    struct sm_job_hashes *hashes; /**< [inout] outlives the job; NULL = take them anew */
    struct sm_job_log *log; /**< [inout] of the surveys that sheet_path stands for, with the same changes for each; outlives the
                                 job; NULL = read anew */
};
/** A log that stands for its surveys, read once, with the work that several of them share. */
struct sm_job_log;
/** One survey that a path stands for. */
struct sm_job_survey {
    int32_t inspection; /**< for struct sm_job_opts; 0 = a sheet's */
    const char *name;   /**< unlike the others' and fit for a folder; "" = a sheet's */
    const char *words;  /**< what is known about it, in a few words; "" = a sheet's */
};
struct sm_job_surveys {
    struct sm_arena *arena;
    size_t n;
    struct sm_job_survey *survey;
    struct sm_job_log *log; /**< for struct sm_job_opts, used by one thread at a time; NULL = path is a sheet */
};
/**
 * What a path stands for: a sheet for one survey, a log for as many as it has inspections. Told apart by content; what
 * is neither counts as a sheet, whose reader says what is wrong with it.
 * @param out [new] free with sm_job_surveys_free(). @return what sm_obslog_list() returns for a log.
 */
enum sm_status sm_job_surveys(struct sm_job_surveys **out, const char *path, struct sm_error *err) SM_CHECKED;
void sm_job_surveys_free(struct sm_job_surveys **surveys);

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
    enum sm_survey_kind kind; /**< a recheck is stored without its plan */
    const char *segment;  /**< name to store it under; NULL = the survey's own */
    const char *export_form; /**< also write the aligned log: "en13508" or "isybau"; NULL = not; with out_dir only */
    const char *stamp;    /**< a line kept as survey.key among the documents, see sm_job_has_stamp(); NULL = none */
};
/** Is this a form the aligned log can be written in? */
bool sm_job_is_export(const char *word);
/** What the form of the exported log could not hold. Borrowed. */
const struct sm_findings *sm_job_get_export_findings(const struct sm_job *job);
/**
 * Write the documents with their stills and put the survey into the job file: both or neither. Other files in the folder
 * stay; stills of an earlier run that have no observation any more go.
 * @param is_known [out] the job file held this very survey already; may be NULL.
 */
enum sm_status sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                              struct sm_error *err) SM_CHECKED;

/* ---- review -------------------------------------------------------------------------------------------------- */

/**
 * A survey of a job file under review: what reviewers decided, worked into the survey and planned anew. Everything
 * comes out of the job file; of the videos only the places are known here. Used by one thread at a time.
 */
struct sm_job_review;

/**
 * @param segment which segment; NULL = the only one. @param out [new] close with sm_job_review_close().
 * @return what sm_store_open() returns; SM_E_NOTFOUND no such segment, or a job of an earlier version whose files are
 * gone; SM_E_CONFLICT several segments and none named (the remedy names them).
 */
enum sm_status sm_job_review_open(struct sm_job_review **out, const char *job_path, const char *segment,
                                  struct sm_error *err) SM_CHECKED;
void sm_job_review_close(struct sm_job_review **review);

/** As decided so far; borrowed until the next decision. */
const struct sm_job *sm_job_review_get_job(const struct sm_job_review *review);
/** As stored, without any decision; borrowed until close. */
const struct sm_job *sm_job_review_get_first(const struct sm_job_review *review);
/** The survey's row and inputs; borrowed until the next issue. */
const struct sm_store_record *sm_job_review_get_record(const struct sm_job_review *review);

/** Decisions in the order they were made; is_active[i]: it was not taken back. Borrowed until the next decision. */
size_t sm_job_review_decisions(const struct sm_job_review *review, const struct sm_review_decision **out,
                               const bool **is_active);
/** Take in what other programs decided on the same job file. @param has_changed [out]. */
enum sm_status sm_job_review_refresh(struct sm_job_review *review, bool *has_changed, struct sm_error *err) SM_CHECKED;
/**
 * Decide: checked, planned, stored with the history, or nothing at all. Undo without of_key takes back the latest that
 * counts, redo the latest that was taken back.
 * @return SM_E_RANGE it makes no sense; SM_E_NOTFOUND nothing to undo or redo; for SM_REVIEW_BOX also when the
 * recording was not read there yet: sm_job_review_reread() first; what the stages return.
 */
enum sm_status sm_job_review_decide(struct sm_job_review *review, const struct sm_review_decision *decision,
                                    struct sm_error *err) SM_CHECKED;
/** What further decisions would make of it; nothing is kept. @param out [new] free with sm_job_free(). */
enum sm_status sm_job_review_try(struct sm_job **out, const struct sm_job_review *review,
                                 const struct sm_review_decision *decision, size_t n, struct sm_error *err) SM_CHECKED;
/** Put the survey as decided into the job file, where it supersedes the one before: what crews and audits go by. */
enum sm_status sm_job_review_issue(struct sm_job_review *review, const char *now, const char *who, struct sm_error *err) SM_CHECKED;
/** Decisions since the survey was last issued, or stored. */
size_t sm_job_review_unissued(const struct sm_job_review *review);

/** Say a decision in words ("O3: treatment refer: the pipe is deformed"). */
void sm_job_decision_words(struct sm_text *out, const struct sm_review_decision *decision);

/**
 * Read the counter of a recording in a box. Touches no review, so that a thread of its own can do it.
 * @param out [new] free with sm_job_reread_free(). @param at_s times that must be read themselves.
 */
enum sm_status sm_job_reread(struct sm_trace **out, const char *const *video, size_t n_videos, struct sm_box box,
                             enum sm_unit unit, const double *at_s, size_t n_at, sm_job_progress_fn *progress,
                             void *progress_user, struct sm_error *err) SM_CHECKED;
void sm_job_reread_free(struct sm_trace **trace);
/** Keep it for sm_job_review_decide(). */
enum sm_status sm_job_review_keep_reread(struct sm_job_review *review, const struct sm_review_decision *decision,
                                         const struct sm_trace *trace, struct sm_error *err) SM_CHECKED;

/** Standstills of at least least_s of the trace as decided. @param out [new] free with sm_free(); NULL = none. */
struct sm_job_standstill {
    double start_s, end_s, distance_m; /**< distance as counted, NAN = not known */
};
enum sm_status sm_job_review_standstills(struct sm_job_standstill **out, size_t *n, const struct sm_job_review *review,
                                         double least_s, struct sm_error *err) SM_CHECKED;

/** Where a survey's video lies now. */
struct sm_job_video {
    const char *path;  /**< as stored, else beside the job file */
    bool is_there;     /**< a file of the stored size */
    char sha256[65];   /**< as stored */
    int64_t size_bytes;
};
/** Borrowed until close. @return how many. */
size_t sm_job_review_videos(const struct sm_job_review *review, const struct sm_job_video **out);

/* ---- the crew's sheets ------------------------------------------------------------------------------------------ */

struct sm_job_crew_opts {
    const char *job_path;
    const char *segment; /**< NULL = all */
    const char *out_dir; /**< a folder for each segment's documents is made there; NULL = none */
    sm_job_progress_fn *progress;
    void *progress_user;
};
/**
 * Documents for the crew out of the job file alone, each segment as issued last, and what to load for all of them. Stills
 * are taken where the video still lies.
 * @param out [new] free with sm_schedule_load_free(). @param findings [inout] what is not in the documents.
 * @return what sm_job_review_open() and sm_job_deliver() return; documents of segments before the one that failed stay.
 */
enum sm_status sm_job_crew(struct sm_load **out, struct sm_findings *findings, const struct sm_job_crew_opts *opts,
                           struct sm_error *err) SM_CHECKED;

/* ---- what the crew did ----------------------------------------------------------------------------------------- */

struct sm_job_record_opts {
    const char *job_path;
    const char *file;    /**< as-built CSV */
    const char *segment; /**< of rows that do not say; NULL = the job's only one */
    const char *now, *who;
};
struct sm_job_recorded_row {
    const struct sm_as_built *row;
    bool is_planned;
    enum sm_store_taken taken;
    size_t n_remarks;
    const struct sm_remark *remark; /**< what is off about it, with its consequence */
};
struct sm_job_recorded {
    struct sm_arena *arena;
    struct sm_as_built_file *file; /**< its findings: what could not be read */
    size_t n_rows;
    struct sm_job_recorded_row *row; /**< as in the file */
    size_t n_of[4];                  /**< rows by enum sm_store_taken */
};
/**
 * Take an as-built file into a job: every row checked against the plan, then stored, all of them or none. The same row
 * again is passed over; another row about the same liner corrects it and both are kept.
 * @param out [new] free with sm_job_recorded_free().
 * @return what sm_asbuilt_read() and the store return; SM_E_CONFLICT a row whose segment is not clear.
 */
enum sm_status sm_job_record(struct sm_job_recorded **out, const struct sm_job_record_opts *opts,
                             struct sm_error *err) SM_CHECKED;
void sm_job_recorded_free(struct sm_job_recorded **recorded);

/* ---- recheck ----------------------------------------------------------------------------------------------------------- */

/** The reviewer's word on the liner of a repair. */
struct sm_job_liner_word {
    const char *repair, *word, *remark; /**< word: "seen", "not seen", "defective" */
};
struct sm_job_recheck_opts {
    const char *job_path; /**< must be there */
    const char *sheet_path;
    size_t n_changes;
    const struct sm_job_change *change;
    size_t n_words;
    const struct sm_job_liner_word *word;
    const char *now, *who;
    sm_job_progress_fn *progress;
    void *progress_user;
};
struct sm_job_rechecked {
    struct sm_arena *arena;
    struct sm_job *job;      /**< the survey as read and aligned; its findings are to be told */
    const char *segment;     /**< of the job that it is a recheck of */
    const char *survey_key;
    bool is_known;           /**< the job held this very recheck already */
};
/**
 * Take the survey after the work into a job, with the reviewer's words. Its segment is found by name, else by its access
 * points, from whichever end the camera came.
 * @param out [new] free with sm_job_rechecked_free().
 * @return what sm_job_schedule() and the store return; SM_E_NOTFOUND no first survey of that segment; SM_E_CONFLICT these
 *         are the first survey's own files.
 */
enum sm_status sm_job_recheck(struct sm_job_rechecked **out, const struct sm_job_recheck_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_job_rechecked_free(struct sm_job_rechecked **rechecked);

/* ---- audit ------------------------------------------------------------------------------------------------------------- */

/** Called for each segment, by name; audit lives during the call. */
typedef enum sm_status sm_job_audit_fn(void *user, const struct sm_audit *audit, struct sm_error *err);
struct sm_job_audit_opts {
    const char *job_path;
    const char *segment;     /**< only this one; NULL = all */
    const char *out_dir;     /**< audit.json, audit.csv and the rest go here; NULL = nothing is written */
    const char *now;         /**< ISO 8601, for ages and what is due */
    int32_t warranty_months; /**< recheck due so long after the work; 0 = no list */
    const char *grades_path;  /**< table of grades: rating summaries too; NULL = none */
    sm_job_audit_fn *each;   /**< may be NULL */
    void *each_user;
    sm_job_progress_fn *progress;
    void *progress_user;
};
struct sm_job_audited {
    struct sm_audit_totals *totals;
    struct sm_audit_grades *grades; /**< NULL = none were asked for */
    struct sm_store_conflicts *conflicts;
    struct sm_audit_head head; /**< chain lives in chain_text */
    char chain_text[65], today_text[16];
};
/**
 * Audit a job, segment by segment: memory is bounded by the largest segment and the job's list of surveys. The job file
 * is only read; one of an earlier version is brought up to date first.
 * @param out [new] free with sm_job_audited_free().
 */
enum sm_status sm_job_audit(struct sm_job_audited **out, const struct sm_job_audit_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_job_audited_free(struct sm_job_audited **audited);
/** Hold a job against its own history and its input files, see sm_store_check(). */
enum sm_status sm_job_verify(struct sm_store_checked *checked, const char *job_path, const char *expected_chain,
                             sm_job_progress_fn *progress, void *progress_user, struct sm_error *err) SM_CHECKED;

/* ---- jobs made apart --------------------------------------------------------------------------------------------- */

/**
 * Take into a job (made when missing) everything that other jobs have and it lacks, all of them or none, see
 * sm_store_merge(). @param added [out].
 */
enum sm_status sm_job_merge(struct sm_store_merged *added, const char *job_path, const char *const *other, size_t n,
                            struct sm_error *err) SM_CHECKED;

/* ---- frames -------------------------------------------------------------------------------------------------- */

/**
 * Exact frames of a recording as JPEG, kept as far as they fit and fetched ahead by a thread of its own. Any number of
 * threads may ask.
 */
struct sm_job_frames;
/** @param cache_bytes of JPEGs kept. @param out [new] close with sm_job_frames_close(). */
enum sm_status sm_job_frames_open(struct sm_job_frames **out, const char *const *video, size_t n_videos, size_t cache_bytes,
                                  struct sm_error *err) SM_CHECKED;
void sm_job_frames_close(struct sm_job_frames **frames);
size_t sm_job_frames_count(const struct sm_job_frames *frames);
double sm_job_frames_duration(const struct sm_job_frames *frames);
void sm_job_frames_size(const struct sm_job_frames *frames, int32_t *width_px, int32_t *height_px, double *pixel_aspect);
/** Start of frame idx in seconds, rising. */
double sm_job_frames_time(const struct sm_job_frames *frames, size_t idx);
/** The frame on screen at a time: the last that starts at or before it; 0 for times before the first. */
size_t sm_job_frames_at(const struct sm_job_frames *frames, double time_s);
/** Times that somebody may jump to next, the likeliest first: fetched when nothing else is to do. Takes the place of earlier ones. */
enum sm_status sm_job_frames_expect(struct sm_job_frames *frames, const double *time_s, size_t n, struct sm_error *err) SM_CHECKED;
/** Is the JPEG of frame idx at hand, so that asking for it waits for nothing? Looking does not count as use. */
bool sm_job_frames_is_ready(struct sm_job_frames *frames, size_t idx);
/**
 * JPEG of frame idx. @param heading frames to fetch ahead after it: positive forwards, negative backwards, 0 = both ways.
 * @param out [inout] bytes are added. @return SM_OK; SM_E_NOTFOUND no picture there; SM_E_CANCELLED closing; SM_E_NOMEM.
 */
enum sm_status sm_job_frames_get(struct sm_job_frames *frames, size_t idx, int heading, struct sm_text *out, struct sm_error *err) SM_CHECKED;

/**
 * What the job file would know the survey by: SHA-256 of its inputs by content and of the settings. Reads every file and
 * decodes none.
 * @return what reading sheet, codes and log returns.
 * @cost hashing the videos once.
 */
enum sm_status sm_job_fingerprint(char key[65], const struct sm_job_opts *opts, struct sm_error *err) SM_CHECKED;
/** Does the folder hold the documents delivered with this stamp? */
bool sm_job_has_stamp(const char *out_dir, const char *stamp);
/** Remove what a delivery into out_dir (may be NULL) and job_path left unfinished when its process was killed. */
void sm_job_remove_unfinished(const char *out_dir, const char *job_path, int64_t pid);

#endif
