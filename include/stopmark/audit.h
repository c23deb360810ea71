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
/* ---- rating summaries -------------------------------------------------------------------------------------------- */

#define SM_AUDIT_N_GRADES 5 /**< 5 is the worst */
enum sm_audit_rated { SM_AUDIT_STRUCTURAL, SM_AUDIT_OPERATIONAL, SM_AUDIT_OVERALL, SM_AUDIT_N_RATED };
const char *sm_audit_rated_name(enum sm_audit_rated kind); /**< "structural", "operational", "overall" */

/** A row of a table of grades: which observations it fits, and their grade. "" and infinite limits fit all. */
struct sm_audit_grade {
    const char *code, *ch1, *ch2;
    double over, up_to;             /**< first quantification, over < q1 <= up_to, in the code's unit */
    double hours_over, hours_up_to; /**< of the clock, the same way; one position alone is one hour */
    enum sm_audit_rated kind;       /**< structural or operational */
    int32_t grade;                  /**< 1 to SM_AUDIT_N_GRADES */
    const char *source;             /**< where the grade comes from, in the table's words */
};
struct sm_audit_grades {
    struct sm_arena *arena;
    size_t n;
    struct sm_audit_grade *item; /**< in the file's order: of each kind the first that fits counts */
    const char *name;            /**< of the file */
    const char *sources;         /**< every source once */
};
/**
 * Read a table of grades (docs/formats/grades.md). @param out [new] free with sm_audit_grades_free().
 * @return SM_E_FORMAT with line and remedy for anything that is not understood: a rating by half a table would mislead.
 */
enum sm_status sm_audit_grades_read(struct sm_audit_grades **out, const char *data, size_t n, const char *name,
                                    struct sm_error *err) SM_CHECKED;
void sm_audit_grades_free(struct sm_audit_grades **grades);
/** Of the first row of that kind that fits; 0 = none does. */
int32_t sm_audit_grade_of(const struct sm_audit_grades *grades, const struct sm_observation *o, enum sm_audit_rated kind);
/** Length of a continuous defect over 5 ft to the nearest whole number, at least 1; 1 for any other. @source from memory. */
int64_t sm_audit_occurrences(const struct sm_observation *o);

struct sm_audit_rating {
    int64_t count[SM_AUDIT_N_GRADES]; /**< occurrences of grade 1, 2 ... */
    int64_t n, sum;                   /**< all of them; of grade times occurrences: the pipe rating */
};
void sm_audit_rating_add(struct sm_audit_rating *rating, int32_t grade, int64_t n);
/** Mean grade; NAN = nothing graded. */
double sm_audit_rating_index(const struct sm_audit_rating *rating);
/**
 * Worst grade, how many of it, second worst, how many: "5236" = two of grade 5, six of grade 3 (published reading). From memory:
 * A stands for 10 to 14, B for 15 to 19 ..., "00" where there is no second grade.
 */
void sm_audit_rating_quick(char quick[5], const struct sm_audit_rating *rating);
/** Of one survey. */
struct sm_audit_ratings {
    struct sm_audit_rating of[SM_AUDIT_N_RATED];
    int64_t n_not_graded; /**< observations that call for work and fit no row */
};
void sm_audit_rate(struct sm_audit_ratings *ratings, const struct sm_audit_grades *grades, const struct sm_alignment *alignment);

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
    const struct sm_audit_grades *grades;  /**< NULL = nothing is rated */
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

/* ---- the recheck on the first survey's axis ------------------------------------------------------------------------ */

/** A place that both surveys logged. */
struct sm_audit_tie {
    double first_m, recheck_m; /**< recheck_m counted from the first survey's datum */
    int32_t first_idx, recheck_idx; /**< observations */
};
struct sm_audit_stretch {
    double start_m, end_m;
};
/** A recheck observation on the first survey's axis; NAN = it has no place. */
struct sm_audit_sighting {
    double start_m, end_m, error_m;
    int32_t clock_from_h, clock_to_h;
};
struct sm_audit_axis {
    bool is_reverse;     /**< the recheck entered at the other end: distances and clock are mirrored */
    size_t n_ties;
    const struct sm_audit_tie *tie; /**< by rising distance */
    double shift_m;      /**< median of first less recheck at the ties; NAN = none */
    double misclosure_m; /**< how much the two run apart from the first tie to the last, before they are brought together; NAN */
    double error_m;      /**< of a place brought over: what a tie differs from where its neighbours put it, the worst */
    const struct sm_audit_sighting *sighting; /**< one a recheck observation */
    size_t n_seen;
    const struct sm_audit_stretch *seen; /**< of the pipe, on the first survey's axis, by rising distance */
};
/**
 * Bring a recheck onto the first survey's axis: nodes, connections, and joints logged by both are ties; between them
 * straight, beyond them shifted. Seen is what the camera reached, less what it logged as out of sight.
 * @param arena the axis lives in it.
 */
enum sm_status sm_audit_axis_make(struct sm_audit_axis *axis, struct sm_arena *arena, const struct sm_audit_survey *first,
                                  const struct sm_audit_survey *recheck, struct sm_error *err) SM_CHECKED;
/** Is all of a stretch seen? A point is a stretch. */
bool sm_audit_is_seen(const struct sm_audit_axis *axis, double start_m, double end_m);

/* ---- states ---------------------------------------------------------------------------------------------------------- */

enum sm_audit_state {
    SM_AUDIT_OPEN,      /**< calls for repair, none planned */
    SM_AUDIT_PLANNED,
    SM_AUDIT_INSTALLED,
    SM_AUDIT_MISSED,    /**< the installed liner does not cover the target */
    SM_AUDIT_PROVEN,    /**< a recheck passed it and shows the liner, not the defect */
    SM_AUDIT_REMAINS,   /**< a recheck logs it again */
    SM_AUDIT_UNSEEN,    /**< a recheck did not reach it or could not see */
    SM_AUDIT_REFERRED,  /**< not for a liner */
    SM_AUDIT_N_STATES
};
const char *sm_audit_state_name(enum sm_audit_state state); /**< "open", ... */

/** What a recheck says of a liner. */
enum sm_audit_sight {
    SM_AUDIT_SIGHT_NONE,      /**< no recheck after the work */
    SM_AUDIT_SIGHT_SEEN,      /**< logged as a lining where it should be, or the reviewer says so */
    SM_AUDIT_SIGHT_NOT_SEEN,  /**< the camera passed, nothing was logged, or the reviewer says it is not there */
    SM_AUDIT_SIGHT_DEFECTIVE, /**< a lining defect was logged on it, or the reviewer says so */
    SM_AUDIT_SIGHT_UNSEEN,    /**< the camera did not get there or could not see */
};
const char *sm_audit_sight_name(enum sm_audit_sight sight); /**< "", "seen", "not seen", "defective", "unseen" */

/** A liner in the pipe. */
struct sm_audit_liner {
    const struct sm_audit_row *row;
    bool has_place;
    struct sm_audit_span span;  /**< widened by half the last digit the stop was written with */
    const char *place_how;      /**< where span comes from, in words */
    enum sm_audit_sight sight;
    const char *sight_how;      /**< in words, "" = nothing to say */
    int32_t recheck_idx;        /**< that decided sight; -1 = none */
    int32_t recheck_observation_idx; /**< the lining or lining defect logged; -1 = none */
    double seen_start_m, seen_end_m; /**< its ends as the recheck logged them; NAN = not logged */
};
/** A defect of a first survey. */
struct sm_audit_defect {
    int32_t first_idx, observation_idx;
    enum sm_audit_state state;
    const char *reason;         /**< in words */
    const char *repair;         /**< names, a blank between; "" = none */
    bool has_target;
    struct sm_audit_span target;
    size_t n_liners;
    const int32_t *liner;       /**< liners meant for it or touching its target */
    int32_t recheck_idx;        /**< that decided, or was to; -1 = none */
    int32_t recheck_observation_idx; /**< where it was logged again; -1 = it was not */
    int32_t age_d;              /**< days since the survey; -1 = not known */
};
/** What a recheck logs that the first survey did not. */
struct sm_audit_new_defect {
    int32_t recheck_idx, observation_idx;
    double start_m, end_m;
    const char *where; /**< "in R1", "" = in no liner */
};
struct sm_audit_not_made {
    int32_t first_idx, repair_idx;
    const char *reason;
};
/** An opening that had to stay clear, against the liners that are in. */
struct sm_audit_opening {
    int32_t first_idx, observation_idx;
    int32_t liner_idx;  /**< that covers it or comes too close */
    const char *state;  /**< "reopened", "covered", "too close", "unseen" */
    const char *words;
};
/** A connection's distance as the first survey has it and as the recheck measured it; NAN = not there. */
struct sm_audit_connection {
    int32_t observation_idx; /**< of the first survey */
    double survey_m, recheck_m;
};
/** What has to be on file for repairs to be accepted: recordings before and after, whole length, distance to each connection. */
struct sm_audit_acceptance {
    int32_t recheck_idx; /**< the latest after all the work; -1 = none */
    bool has_video_before, has_video_after, is_whole_seen;
    size_t n_connections;
    const struct sm_audit_connection *connection; /**< of the first survey of the segment */
    const char *missing;                          /**< in words, "" = nothing */
};
/** Pictures of a defect's place, relative to the output folder; NULL = none. */
struct sm_audit_still {
    const char *before, *after;
};
/** One segment audited. Borrows from its case. */
struct sm_audit {
    struct sm_arena *arena;
    const struct sm_audit_case *about;
    const struct sm_audit_axis *axis;     /**< of each recheck on each first survey, see sm_audit_get_axis() */
    size_t n_defects;
    const struct sm_audit_defect *defect; /**< by survey, then in the log's order */
    size_t n_liners;
    const struct sm_audit_liner *liner;
    size_t n_not_made;
    const struct sm_audit_not_made *not_made;
    size_t n_new;
    const struct sm_audit_new_defect *new_defect;
    size_t n_openings;
    const struct sm_audit_opening *opening;
    int64_t count[SM_AUDIT_N_STATES];
    double repaired_m;                    /**< of pipe under liners in place, laps counted once */
    const struct sm_audit_acceptance *acceptance; /**< NULL = no liner is in, or no first survey is known */
    const struct sm_audit_ratings *ratings; /**< of the first surveys, then of the rechecks; NULL = no grades were given */
    const struct sm_audit_still *still;   /**< one a defect, put here by who took them; NULL = none were taken */
};
/**
 * Audit a segment. What decides: as-built rows in force for what is in the pipe, exact coverage of each defect's target
 * with laps as the rules ask, then the latest recheck after the work that saw the place.
 * @param about must outlive the result. @param out [new] free with sm_audit_free().
 */
enum sm_status sm_audit_make(struct sm_audit **out, const struct sm_audit_case *about, struct sm_error *err) SM_CHECKED;
void sm_audit_free(struct sm_audit **audit);
/** A recheck on the axis of a first survey. Borrowed. */
const struct sm_audit_axis *sm_audit_get_axis(const struct sm_audit *audit, size_t first_idx, size_t recheck_idx);
/** Where a liner lies on the axis of a first survey: mirrored where it was set by a survey from the other end. */
struct sm_audit_span sm_audit_liner_on(const struct sm_audit *audit, size_t liner_idx, size_t first_idx);
/**
 * When the recheck's camera was at a place of the first survey's axis: by the entry that speaks of it, else by its counter.
 * @return video time; NAN = not known.
 */
double sm_audit_time_at(const struct sm_audit *audit, size_t first_idx, size_t recheck_idx, double distance_m);
/** When the recheck that decided looked at a defect's place. NAN = there is none, or its time is not known. */
double sm_audit_after_time(const struct sm_audit *audit, const struct sm_audit_defect *defect);

/* ---- totals ------------------------------------------------------------------------------------------------------------ */

struct sm_audit_tally {
    const char *name;
    int64_t n_defects, count[SM_AUDIT_N_STATES];
    int64_t n_liners;
    double liner_m; /**< length of liners used */
};
enum sm_audit_group {
    SM_AUDIT_BY_SEGMENT,
    SM_AUDIT_BY_TREATMENT,
    SM_AUDIT_BY_KIT,   /**< of the first liner of a defect; "" = none */
    SM_AUDIT_BY_CREW,
    SM_AUDIT_BY_MONTH, /**< of the work, YYYY-MM */
    SM_AUDIT_N_GROUPS
};
const char *sm_audit_group_name(enum sm_audit_group group); /**< "segment", ... */
#define SM_AUDIT_N_AGES 6
/** "up to 30 days" ...; the last is "not known". */
const char *sm_audit_age_name(size_t age);

/** A liner under warranty with the day its recheck is due. */
struct sm_audit_due {
    const char *segment, *repair, *set_on, *due_on, *crew, *kit, *lot;
    bool is_overdue;    /**< due before today, no recheck since that day looked */
    const char *seen_on; /**< latest recheck that saw its place, "" = none */
};
/** Sums over many segments. Free with sm_audit_totals_free(). */
struct sm_audit_totals {
    struct sm_arena *arena;
    int32_t warranty_months; /**< recheck due so long after the work; 0 = no list */
    int64_t n_segments, n_in_feet, n_defects, count[SM_AUDIT_N_STATES]; /**< n_in_feet: segments whose people read feet */
    int64_t n_liners, n_not_made, n_unplanned, n_new;
    double liner_m, repaired_m;
    int64_t age[SM_AUDIT_N_AGES]; /**< defects that are neither installed nor proven, by days since their survey */
    size_t n_tallies[SM_AUDIT_N_GROUPS];
    struct sm_audit_tally *tally[SM_AUDIT_N_GROUPS]; /**< by name */
    size_t tally_capacity[SM_AUDIT_N_GROUPS];
    size_t n_due, due_capacity;
    struct sm_audit_due *due; /**< as added */
};
/** @param warranty_months 0 = none. @param out [new]. */
enum sm_status sm_audit_totals_new(struct sm_audit_totals **out, int32_t warranty_months, struct sm_error *err) SM_CHECKED;
void sm_audit_totals_free(struct sm_audit_totals **totals);
/** Add a segment; its strings are copied. */
enum sm_status sm_audit_totals_add(struct sm_audit_totals *totals, const struct sm_audit *audit, struct sm_error *err) SM_CHECKED;
/** A day so many months later, the month's last where it has fewer days; "" when day is none. */
void sm_audit_add_months(char out[16], const char *day, int32_t months);

/* ---- documents, segment by segment so that a city needs no more memory than its largest pipe ------------------------------- */

/** What stands once in a document. */
struct sm_audit_head {
    const char *today;       /**< YYYY-MM-DD */
    const char *job;         /**< name of the job file */
    int64_t n_events;        /**< of the history, and the hash of its end: what is printed here can be held against the job later */
    const char *chain;
    const struct sm_audit_grades *grades; /**< NULL = nothing was rated */
};
/**
 * Pieces of audit.json: open the document, add each segment, turn to what follows the defects, close. What follows gathers in
 * parts_text meanwhile; a caller may carry it off between segments, and put all of it back behind the turn before the close.
 */
struct sm_audit_json {
    struct sm_json defects;
    struct sm_json parts;
    struct sm_text parts_text;
};
/** @param out [borrow] gets the text; may be emptied by the caller between segments, when it has written it away. */
void sm_audit_json_open(struct sm_audit_json *json, struct sm_text *out);
void sm_audit_json_add(struct sm_audit_json *json, const struct sm_audit *audit);
enum sm_status sm_audit_json_turn(struct sm_audit_json *json, const struct sm_audit_totals *totals,
                                  const struct sm_audit_head *head, struct sm_error *err) SM_CHECKED;
enum sm_status sm_audit_json_close(struct sm_audit_json *json, struct sm_error *err) SM_CHECKED;
void sm_audit_json_release(struct sm_audit_json *json);

/** audit.csv: the header row, then one row a defect. No cell can be taken for a formula. */
void sm_audit_csv_head(struct sm_text *out);
void sm_audit_csv_add(struct sm_text *out, const struct sm_audit *audit);

/** The audit for a terminal, gathered segment by segment; at most limit defects are listed one by one. */
struct sm_audit_listing;
enum sm_status sm_audit_listing_new(struct sm_audit_listing **out, size_t limit, struct sm_error *err) SM_CHECKED;
void sm_audit_listing_free(struct sm_audit_listing **listing);
enum sm_status sm_audit_listing_add(struct sm_audit_listing *listing, const struct sm_audit *audit, struct sm_error *err) SM_CHECKED;
/** @param width 0 = 100. */
enum sm_status sm_audit_listing_print(struct sm_text *out, struct sm_audit_listing *listing,
                                      const struct sm_audit_totals *totals, int width, bool utf8, struct sm_error *err) SM_CHECKED;

/**
 * audit.html in two pieces, since what stands first sums up what comes after: the body segment by segment, then the head
 * with the totals, which goes before it, and the foot. One file, no network, no script.
 * @param folder where the stills lie; NULL = nowhere.
 */
void sm_audit_html_add(struct sm_text *body, const struct sm_audit *audit, const char *folder);
void sm_audit_html_head(struct sm_text *out, const struct sm_audit_totals *totals, const struct sm_audit_head *head);
void sm_audit_html_foot(struct sm_text *out, const struct sm_audit_head *head);

/** audit.pdf: totals first, then any number of segments. */
struct sm_paper_doc;
enum sm_status sm_audit_pdf_open(struct sm_paper_doc **out, struct sm_text *pdf, const struct sm_audit_totals *totals,
                                 const struct sm_audit_head *head, struct sm_error *err) SM_CHECKED;
enum sm_status sm_audit_pdf_add(struct sm_paper_doc *doc, const struct sm_audit *audit, const char *folder,
                                struct sm_error *err) SM_CHECKED;

#endif
