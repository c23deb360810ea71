/**
 * @file store.h
 * The job file: one SQLite database that keeps surveys, what was made of them, and what happened since. Sole user of
 * SQLite. The schema is documented in docs/formats/job.md.
 *
 * A job file changes in whole transactions only. One that is new appears under its name with its first commit, complete;
 * until then nothing is there. Several processes may use one file; a writer waits for another for up to a minute.
 */
#ifndef STOPMARK_STORE_H
#define STOPMARK_STORE_H

#include "stopmark/model.h"

struct sm_store;

enum sm_store_mode {
    SM_STORE_READ,  /**< must exist; nothing is written */
    SM_STORE_CHANGE, /**< must exist; otherwise as SM_STORE_WRITE */
    SM_STORE_WRITE, /**< made when missing; an older one is copied beside itself, then brought to the newest schema */
};
/**
 * Open a job file.
 * @param out [new] close with sm_store_close().
 * @return SM_OK; SM_E_NOTFOUND no such file to read; SM_E_FORMAT not a job file, or damaged; SM_E_UNSUPPORTED made by a
 *         newer version (or, to read, an older one); SM_E_IO; SM_E_NOMEM.
 */
enum sm_status sm_store_open(struct sm_store **out, const char *path, enum sm_store_mode mode, struct sm_error *err) SM_CHECKED;
/** Close; a transaction that is still open is undone. Sets NULL. */
void sm_store_close(struct sm_store **store);

/** Start a transaction; what follows up to commit happens wholly or not at all. */
enum sm_status sm_store_begin(struct sm_store *store, struct sm_error *err) SM_CHECKED;
/** Keep it. On failure it is undone. */
enum sm_status sm_store_commit(struct sm_store *store, struct sm_error *err) SM_CHECKED;
/** Undo it. No harm without one. */
void sm_store_rollback(struct sm_store *store);

/* ---- surveys ----------------------------------------------------------------------------------------------- */

enum sm_survey_kind { SM_SURVEY_FIRST, SM_SURVEY_RECHECK };

/** A file that went into a survey. */
struct sm_store_input {
    const char *role; /**< "sheet", "video", "log", "distances", "kits", "cure", "codes" */
    const char *path; /**< as opened */
    int64_t size_bytes;
    char sha256[65];
    const char *content; /**< size_bytes bytes to keep in the job (sheet, log, tables); NULL = too large, or not given when got */
};
/** A rule or choice that was used, as words. */
struct sm_store_setting {
    const char *name, *value;
};
/** Findings of one stage. */
struct sm_store_findings {
    const char *stage;
    const struct sm_findings *findings;
};

/** All that is kept of one run over one survey; everything borrowed. */
struct sm_store_put {
    enum sm_survey_kind kind;
    const char *stored_at; /**< ISO 8601 with Z, the caller's clock */
    const char *who;       /**< who ran it; "" = not said */
    const struct sm_segment *segment; /**< id must not be NULL */
    const char *date, *operator_name; /**< may be NULL */
    size_t n_inputs;
    const struct sm_store_input *input; /**< several of one role in their order */
    size_t n_settings;
    const struct sm_store_setting *setting; /**< any order, names differ */
    const struct sm_obslog *log;      /**< NULL = none */
    const struct sm_trace *trace;     /**< NULL = none */
    const struct sm_alignment *alignment;
    size_t n_kits;
    const struct sm_kit *kit;
    const struct sm_plan *plan;       /**< NULL = none (a recheck) */
    size_t n_findings;
    const struct sm_store_findings *findings;
    size_t n_cure_rows;
    const struct sm_cure_row *cure_row;
};
/**
 * Put a survey with all that was made of it: one transaction of its own, or part of the one that is open. The same
 * inputs by content with the same settings are recognised and nothing is written. An earlier run over the same video and
 * log (other rules, a corrected sheet) is marked as superseded, never removed.
 * @param survey_id [out] may be NULL. @param is_known [out] it was there already; may be NULL.
 */
enum sm_status sm_store_put_schedule(struct sm_store *store, const struct sm_store_put *put, int64_t *survey_id, bool *is_known,
                                     struct sm_error *err) SM_CHECKED;

/** The key such a survey has in every job file: SHA-256 of kind, segment, inputs and settings; the rest of put is not looked at. */
enum sm_status sm_store_make_key(char key[65], const struct sm_store_put *put, struct sm_error *err) SM_CHECKED;
/** @param survey_id [out] of the survey with this key, 0 = it is not there. */
enum sm_status sm_store_find_key(int64_t *survey_id, struct sm_store *store, const char *key, struct sm_error *err) SM_CHECKED;

/** One line of the list of surveys. */
struct sm_store_survey {
    int64_t survey_id;
    enum sm_survey_kind kind;
    const char *key;       /**< SHA-256 of kind, inputs and settings: the same in every job file */
    const char *date, *operator_name, *stored_at;
    int64_t superseded_by; /**< 0 = current */
    struct sm_segment segment;
    int64_t n_observations, n_repairs, n_unrepaired;
};
struct sm_store_surveys {
    struct sm_arena *arena;
    size_t n;
    struct sm_store_survey *item; /**< by segment name, then as stored */
};
/** @param segment only this segment's; NULL = all. @param out [new] free with sm_store_surveys_free(). */
enum sm_status sm_store_list_surveys(struct sm_store_surveys **out, struct sm_store *store, const char *segment,
                                     struct sm_error *err) SM_CHECKED;
void sm_store_surveys_free(struct sm_store_surveys **surveys);

/** A survey as it was put; every pointer belongs to this record. */
struct sm_store_record {
    struct sm_arena *arena;
    struct sm_store_survey survey;
    size_t n_inputs;
    struct sm_store_input *input;
    size_t n_settings;
    struct sm_store_setting *setting; /**< by name */
    struct sm_trace *trace;           /**< NULL = none; times to 1 us, confidence to 1/10000 */
    struct sm_alignment *alignment;   /**< its arena is NULL: do not free */
    int64_t *observation_id;          /**< row of each observation */
    uint32_t *log_line;               /**< line of each observation in the log, 0 = none */
    size_t n_kits;
    struct sm_kit *kit;
    struct sm_plan *plan;             /**< NULL = none; its arena is NULL: do not free */
    int64_t *repair_id;               /**< row of each repair */
    size_t n_stages;
    struct sm_store_findings *findings; /**< by stage name */
    size_t n_cure_rows;
    struct sm_cure_row *cure_row;     /**< none in a survey that schema 1 has put */
};
/** @param out [new] free with sm_store_record_free(). @return SM_E_NOTFOUND no such survey; SM_E_FORMAT damaged. */
enum sm_status sm_store_get_survey(struct sm_store_record **out, struct sm_store *store, int64_t survey_id,
                                   struct sm_error *err) SM_CHECKED;
/** As sm_store_get_survey() without the trace, which is most of it. */
enum sm_status sm_store_get_results(struct sm_store_record **out, struct sm_store *store, int64_t survey_id,
                                    struct sm_error *err) SM_CHECKED;
void sm_store_record_free(struct sm_store_record **record);

/**
 * Content of an input that was kept. @param out [new] bytes followed by a NUL that n does not count; free with sm_free().
 * @return SM_E_NOTFOUND not kept: a job file of an earlier version, or a video.
 */
enum sm_status sm_store_get_content(char **out, size_t *n, struct sm_store *store, const char *sha256, struct sm_error *err) SM_CHECKED;

/* ---- reviewers' decisions ------------------------------------------------------------------------------------ */

/**
 * Add a decision about a survey, and to the history what it says in words: both or neither. Part of the open transaction
 * or on its own.
 * @param words what was decided, for the history. @param decision its key is not looked at.
 */
enum sm_status sm_store_put_decision(struct sm_store *store, const struct sm_store_survey *survey,
                                     const struct sm_review_decision *decision, const char *words, struct sm_error *err) SM_CHECKED;

struct sm_store_decisions {
    struct sm_arena *arena;
    size_t n;
    struct sm_review_decision *item; /**< in the order they were made */
};
/**
 * Decisions about a survey and about the runs that it supersedes, which looked at the same recording and log.
 * @param out [new] free with sm_store_decisions_free().
 */
enum sm_status sm_store_list_decisions(struct sm_store_decisions **out, struct sm_store *store, const char *survey_key,
                                       struct sm_error *err) SM_CHECKED;
void sm_store_decisions_free(struct sm_store_decisions **decisions);

/**
 * Keep what the counter shows when it is looked for in the box a reviewer marked, so that the recording is read there once, and
 * add to the history that it was. A trace of that box is replaced. Part of the open transaction or on its own.
 * @param decision its box, time and name count.
 */
enum sm_status sm_store_put_reread(struct sm_store *store, const struct sm_store_survey *survey,
                                   const struct sm_review_decision *decision, const struct sm_trace *trace,
                                   struct sm_error *err) SM_CHECKED;
/** @param out in arena. @return SM_E_NOTFOUND not read yet. */
enum sm_status sm_store_get_reread(struct sm_trace **out, struct sm_arena *arena, struct sm_store *store, const char *survey_key,
                                   struct sm_box asked, struct sm_error *err) SM_CHECKED;

/* ---- what the crew did, and the reviewer's word ------------------------------------------------------------- */

/** What became of a row put. */
enum sm_store_taken {
    SM_STORE_TAKEN_NEW,
    SM_STORE_TAKEN_CORRECTION, /**< it takes the place of an earlier row */
    SM_STORE_TAKEN_KNOWN,      /**< the very same is there already: nothing is written */
    SM_STORE_TAKEN_OUTDATED,   /**< the very same is there and has been corrected since: nothing is written */
};
/**
 * Add an as-built row, as part of the open transaction or on its own. It corrects the row that counts for the same
 * repair, day (or where one of them has none) and occurrence; a row that says is_correction also one of another day.
 */
enum sm_status sm_store_put_as_built(struct sm_store *store, const struct sm_recorded *as_built,
                                     enum sm_store_taken *taken, struct sm_error *err) SM_CHECKED;
struct sm_store_as_builts {
    struct sm_arena *arena;
    size_t n;
    struct sm_recorded *item; /**< by segment, repair, day, occurrence, then as recorded; corrected ones too */
};
/** @param segment only this segment's; NULL = all. @param out [new] free with sm_store_as_builts_free(). */
enum sm_status sm_store_list_as_built(struct sm_store_as_builts **out, struct sm_store *store, const char *segment,
                                      struct sm_error *err) SM_CHECKED;
void sm_store_as_builts_free(struct sm_store_as_builts **rows);

/** Add a verdict, as part of the open transaction or on its own. The same twice stands once. */
enum sm_status sm_store_put_verdict(struct sm_store *store, const struct sm_verdict *verdict,
                                    struct sm_error *err) SM_CHECKED;
struct sm_store_verdicts {
    struct sm_arena *arena;
    size_t n;
    struct sm_verdict *item; /**< as said, the latest last */
};
/** @param segment only this segment's; NULL = all. @param out [new] free with sm_store_verdicts_free(). */
enum sm_status sm_store_list_verdicts(struct sm_store_verdicts **out, struct sm_store *store, const char *segment,
                                      struct sm_error *err) SM_CHECKED;
void sm_store_verdicts_free(struct sm_store_verdicts **verdicts);

/* ---- history ----------------------------------------------------------------------------------------------- */

/** Something that happened. Strings never NULL. */
struct sm_store_event {
    const char *at, *who;   /**< ISO 8601 with Z; "" = not said */
    const char *event;      /**< "survey stored", "survey superseded", ... */
    const char *segment, *survey_key;
    const char *subject;    /**< "O3", "R1"; "" = the survey itself */
    const char *detail;     /**< in words */
};
/** Add to the history, as part of the open transaction or on its own. The same event put twice stands once. */
enum sm_status sm_store_put_event(struct sm_store *store, const struct sm_store_event *event, struct sm_error *err) SM_CHECKED;

struct sm_store_events {
    struct sm_arena *arena;
    size_t n;
    struct sm_store_event *item; /**< in order */
};
/** @param segment only of this segment; NULL = all. @param out [new] free with sm_store_events_free(). */
enum sm_status sm_store_list_events(struct sm_store_events **out, struct sm_store *store, const char *segment,
                                    struct sm_error *err) SM_CHECKED;
void sm_store_events_free(struct sm_store_events **events);
/** How many events there are, and the chain at the last one ("" = none). */
enum sm_status sm_store_history_end(struct sm_store *store, int64_t *n, char chain[65], struct sm_error *err) SM_CHECKED;
/** Does every row of the history still carry the hash it was stored with, in unbroken order? @return SM_E_CONFLICT the first that does not. */
enum sm_status sm_store_verify_history(struct sm_store *store, struct sm_error *err) SM_CHECKED;

/* ---- jobs made apart --------------------------------------------------------------------------------------- */

/** What a merge added. */
struct sm_store_merged {
    int64_t n_surveys, n_as_built, n_decisions, n_verdicts, n_events;
};
/**
 * Take in everything another job file has that this one lacks: surveys with all that was made of them, as-built rows,
 * verdicts, history. Nothing here is changed or lost, nothing is taken in twice, and the order in which jobs are merged
 * makes no difference. Runs over one recording that were made apart: the one stored later counts. One transaction of
 * its own: none may be open. The other file is only read.
 * @param added [inout] the counts are added to.
 * @return SM_OK; SM_E_NOTFOUND, SM_E_FORMAT, SM_E_UNSUPPORTED the other file is none to read, see sm_store_open();
 *         SM_E_CONFLICT its history was tampered with; SM_E_IO; SM_E_NOMEM.
 */
enum sm_status sm_store_merge(struct sm_store *store, const char *other_path, struct sm_store_merged *added,
                              struct sm_error *err) SM_CHECKED;

/** Two things that were said apart and cannot both be so. Both are kept; which one counts is said in text. */
struct sm_store_conflict {
    const char *segment, *subject; /**< "R1"; "" = the survey */
    const char *text;
};
struct sm_store_conflicts {
    struct sm_arena *arena;
    size_t n;
    struct sm_store_conflict *item; /**< by segment, then subject */
};
/** @param segment only this segment's; NULL = all. @param out [new] free with sm_store_conflicts_free(). */
enum sm_status sm_store_list_conflicts(struct sm_store_conflicts **out, struct sm_store *store, const char *segment,
                                       struct sm_error *err) SM_CHECKED;
void sm_store_conflicts_free(struct sm_store_conflicts **conflicts);

/* ---- is it still what it was? --------------------------------------------------------------------------------- */

/** What a check found. Free with sm_findings_release() on findings. */
struct sm_store_checked {
    struct sm_findings findings; /**< warnings: the job was changed from outside; notes: input files missing or changed */
    int64_t n_events, n_surveys, n_as_built, n_verdicts, n_decisions, n_inputs;
    int64_t n_tampered;          /**< of the findings, those that mean the job itself was changed */
    int64_t n_missing, n_changed; /**< input files */
    char chain[65];              /**< at the end of the history */
};
/**
 * Hold the job against its own history: every event against the chain, every as-built row, verdict and decision against its key,
 * every survey's stored results, finding and reread against the digest in its event, every kept input against its hash, everything
 * an event speaks of for being there; then every input file, where it lies, against its hash.
 * @param expected_chain a chain printed earlier (audit.json): the history must have passed through it; NULL = none.
 * @param progress over the input files, in bytes; may be NULL.
 * @param checked [inout] zero it. @return SM_OK however much was found; SM_E_FORMAT the file cannot be read at all; SM_E_NOMEM.
 */
enum sm_status sm_store_check(struct sm_store_checked *checked, struct sm_store *store, const char *expected_chain,
                              sm_progress_fn *progress, void *user, struct sm_error *err) SM_CHECKED;

#endif
