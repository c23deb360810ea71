/**
 * @file codes.h
 * Observation codes as data: what a code means, the units of its quantifications, and what is done about it
 * by default.
 *
 * A table has meanings (a code, its characterisations, its units) and rules (under which conditions which
 * treatment). The first rule that fits decides; rules of a user's file stand before the built-in ones.
 */
#ifndef STOPMARK_CODES_H
#define STOPMARK_CODES_H

#include "stopmark/model.h"

struct sm_codes; /**< a code table */

/**
 * One meaning. Text fields never NULL. A code that can stand at either end of a run (North American access
 * points) has is_start_node and is_finish_node both set: the last such entry of a run is its finish.
 */
struct sm_code_info {
    const char *code, *meaning, *q1_unit, *q2_unit, *source;
    bool is_node, is_start_node, is_finish_node, is_connection, is_abandoned;
};
/** What is to be done about one observation. */
struct sm_decision {
    enum sm_treatment treatment;
    const char *reason; /**< in words, with the limit that decided and the value seen */
    const char
        *prepare; /**< work before the liner, ';' between items, "" = none. Both belong to the arena given. */
};

/** Built-in table of a system. @param out [new] free with sm_codes_free(). */
enum sm_status sm_codes_builtin(struct sm_codes **out, enum sm_code_system system,
                                struct sm_error *err) SM_CHECKED;
/** Table file (CSV, see docs/formats/codes.md); rows replace or add to those of the system it names. */
enum sm_status sm_codes_read(struct sm_codes **out, const char *path, struct sm_error *err) SM_CHECKED;
enum sm_status sm_codes_parse(struct sm_codes **out, const char *data, size_t n, const char *source,
                              struct sm_error *err) SM_CHECKED;
void sm_codes_free(struct sm_codes **codes);

/** Look a code up. @param ch1 NULL or "" = none. @return false when unknown. The strings belong to the table.
 */
bool sm_codes_find(const struct sm_codes *codes, const char *code, const char *ch1,
                   struct sm_code_info *info);
/** Add the meaning in words with both characterisations ("fissure, open crack, longitudinal"); the bare code
 * when unknown. */
void sm_codes_describe(const struct sm_codes *codes, const char *code, const char *ch1, const char *ch2,
                       struct sm_text *out);
/**
 * Default treatment of an entry in a pipe of diameter_mm (NAN unknown: the strictest row counts). An unknown
 * code is SM_TREATMENT_REFER, never none.
 */
enum sm_status sm_codes_decide(const struct sm_codes *codes, const struct sm_log_entry *entry,
                               double diameter_mm, struct sm_arena *arena, struct sm_decision *decision,
                               struct sm_error *err) SM_CHECKED;

/* ---- rows that are one defect
 * ------------------------------------------------------------------------------- */

/**
 * Which entries speak about one physical defect: those the log itself puts together, and a sign of a defect
 * (soil or void visible, infiltration, roots, encrustation ...) with the break, fissure or joint at the same
 * place whose clock positions meet. @param group [out] n numbers: 0 = stands alone, else the same number for
 * all of one defect, from 1 in file order.
 * @source EN 13508-2 practice (soil or void behind a hole is coded in addition to it); which signs: common
 * practice, no source.
 */
enum sm_status sm_codes_group(int32_t *group, const struct sm_codes *codes, const struct sm_log_entry *entry,
                              size_t n, struct sm_error *err) SM_CHECKED;
/**
 * Settle the decisions of one group: what must not be lined because of one row is not lined because of
 * another, and all work before the liner is done. line, prepare and refer become the strictest of them; none
 * and clear stay.
 * @param decision [inout] n; new texts go to arena. @param code n codes, for the reasons.
 */
enum sm_status sm_codes_combine(struct sm_decision *decision, const char *const *code, size_t n,
                                struct sm_arena *arena, struct sm_error *err) SM_CHECKED;

/* ---- the table as it is, for people
 * ------------------------------------------------------------------------- */

/** What a rule compares with its limits. */
enum sm_code_measure {
    SM_MEASURE_NONE,      /**< the rule has no limits */
    SM_MEASURE_Q1,        /**< quantification 1 in the code's unit */
    SM_MEASURE_Q2,        /**< quantification 2 */
    SM_MEASURE_CLOCK_H,   /**< hours of the clock from clock_from to clock_to, 12 = all round */
    SM_MEASURE_Q1_DN_PCT, /**< quantification 1 (mm) in percent of the pipe diameter */
};
const char *sm_code_measure_name(
    enum sm_code_measure measure); /**< "", "q1", "q2", "clock", "q1 of diameter" */
/** One rule. ch1 and ch2: "" = any, "A|B" = one of these. code: '?' = any letter, '*' at the end = any
 * letters. */
struct sm_code_rule {
    const char *code, *ch1, *ch2;
    enum sm_code_measure measure;
    double least, below; /**< applies in [least, below); both NAN: applies when the measure was not logged */
    double over_mm, up_to_mm; /**< applies in pipes of (over_mm, up_to_mm] */
    enum sm_treatment treatment;
    const char *prepare, *reason,
        *source; /**< in reason {v} and {limit} stand for the value seen and the limit */
};
/** Rules in the order they are tried. @return false past the last. */
bool sm_codes_rule(const struct sm_codes *codes, size_t rule_idx, struct sm_code_rule *rule);
/** Meanings, one a code, the table's own order. @return false past the last. */
bool sm_codes_row(const struct sm_codes *codes, size_t row_idx, struct sm_code_info *info);
/** Does a rule speak about this code? */
bool sm_codes_rule_fits(const struct sm_code_rule *rule, const char *code);

/** How clock positions are written with this table's codes, and where that is said. Borrowed, never NULL. */
void sm_codes_clock_rule(const struct sm_codes *codes, const char **rule, const char **source);
/**
 * Codes that make one defect with this one at the same place, as patterns; NULL ends. What a sign belongs to for a
 * sign, and the signs for what they belong to. @return NULL when it stands alone.
 */
const char *const *sm_codes_joins(const struct sm_codes *codes, const char *code);

/* ---- a code explained
 * --------------------------------------------------------------------------------------- */

/** What is asked about: a code, and as much of a log row as is known. */
struct sm_code_question {
    const char *code, *ch1, *ch2; /**< "" = not said */
    double q1_value, q2_value;    /**< NAN = not said */
    int32_t clock_from_h, clock_to_h; /**< 0 = not said */
    double diameter_mm;               /**< NAN = not said */
};
/**
 * Can this rule still decide, as far as the question says? @param is_certain [out] nothing that is not said could keep
 * it from doing so: rules after it do not count.
 */
bool sm_codes_rule_may_fit(bool *is_certain, const struct sm_code_rule *rule,
                           const struct sm_code_question *question);
/** Meaning, letters, units, clock, the rules that can decide with their sources, what it makes one defect with: text. */
void sm_codes_explain(struct sm_text *out, const struct sm_codes *codes, const struct sm_code_question *question);
/** The same as members of the JSON object that is open. */
void sm_codes_explain_json(struct sm_json *json, const struct sm_codes *codes,
                           const struct sm_code_question *question);
/** One line a code: code, meaning, the treatments it can get. */
void sm_codes_list(struct sm_text *out, const struct sm_codes *codes);

#endif
