/**
 * @file audit.h
 * From schedule to proof: is what the crew noted plausible, which defects were addressed, what the survey after the work
 * shows. Pure functions over the results of the other stages: nothing here knows the job file.
 *
 * Words. A first survey found the defects; a recheck is a survey after the work. A liner counts when an as-built row in
 * force says it is in place. Lengths decided are whole micrometres from the first survey's datum.
 */
#ifndef STOPMARK_AUDIT_H
#define STOPMARK_AUDIT_H

#include "stopmark/model.h"

/* ---- what goes in -------------------------------------------------------------------------------------------- */

/** A file by content. */
struct sm_audit_file {
    const char *role, *path, *sha256;
};
/** A survey as the job keeps it, all borrowed. */
struct sm_audit_survey {
    const char *key;               /**< SHA-256, the same in every job */
    const char *date, *stored_at;  /**< date "" = not said */
    const struct sm_sheet *sheet;  /**< segment, rules, access, kits and cure times as they were used */
    const struct sm_alignment *alignment;
    const struct sm_plan *plan;    /**< NULL for a recheck */
    const struct sm_trace *trace;  /**< NULL = none, or not loaded */
    size_t n_files;
    const struct sm_audit_file *file;
    const char *const *still;      /**< per observation, relative to the output folder; NULL = none */
};
/** Something that happened, as in the job's history. */
struct sm_audit_event {
    const char *at, *who, *event, *survey_key, *subject, *detail;
};
/** An as-built row in force with the repair it belongs to. */
struct sm_audit_row {
    const struct sm_recorded *recorded;
    const struct sm_audit_survey *survey; /**< whose plan has the repair; NULL = none known */
    const struct sm_repair *repair;       /**< as planned; NULL = not planned */
};
/** All that is known about one segment, borrowed. */
struct sm_audit_case {
    const char *segment;
    size_t n_first;
    const struct sm_audit_survey *first;   /**< that count, by date */
    size_t n_rechecks;
    const struct sm_audit_survey *recheck; /**< that count, by date */
    size_t n_rows;
    const struct sm_audit_row *row;        /**< in force only */
    size_t n_verdicts;
    const struct sm_verdict *verdict;      /**< as said, the latest last */
    size_t n_events;
    const struct sm_audit_event *event;    /**< in order */
    const char *today;                     /**< YYYY-MM-DD, for ages; "" = none are given */
};

/* ---- as-built rows against the plan ---------------------------------------------------------------------------- */

struct sm_audit_remarks {
    struct sm_arena *arena;
    size_t n;
    struct sm_remark *item;
};
/**
 * What is off about an as-built row, each with its consequence. Nothing is refused: the row says what happened.
 *
 * Looked at: the repair's name, liner length and kit against the plan, stop against plan and placement, mark against stop,
 * connections and pipe ends, pressure against what the packer takes alone and the water outside and against the kit's
 * limit, mixing to inflating against the working time and inflating to deflating against the cure time at the pipe's
 * temperature, days and times in order, what is missing.
 * @param survey whose plan is meant; NULL = no plan is known. @param today YYYY-MM-DD, "" = not known.
 * @param out [new] free with sm_audit_remarks_free().
 */
enum sm_status sm_audit_check_row(struct sm_audit_remarks **out, const struct sm_as_built *row,
                                  const struct sm_audit_survey *survey, const char *today,
                                  struct sm_error *err) SM_CHECKED;
void sm_audit_remarks_free(struct sm_audit_remarks **remarks);
/** The repair of a plan by its name, ASCII case and blanks ignored. @return NULL = it has none of that name. */
const struct sm_repair *sm_audit_find_repair(const struct sm_plan *plan, const char *name);

/* ---- where a liner lies ------------------------------------------------------------------------------------------ */

struct sm_audit_span {
    int64_t start_um, end_um;
};
/**
 * Where the liner of a row lies: round its stop as noted; without one from its mark; without either as planned.
 * @param repair NULL = not planned. @param how [out] in words, static; may be NULL.
 * @return false when neither row nor plan says.
 */
bool sm_audit_place(struct sm_audit_span *span, const struct sm_as_built *row, const struct sm_repair *repair,
                    bool enters_at_to, const char **how);
/**
 * Does a chain of liners cover a target? The first reaches its start, the last its end, and each laps the next by at
 * least overlap_um.
 * @param liner n spans, any order.
 */
bool sm_audit_is_covered(struct sm_audit_span target, const struct sm_audit_span *liner, size_t n, int64_t overlap_um);

#endif
