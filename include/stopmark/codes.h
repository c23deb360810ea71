/**
 * @file codes.h
 * Observation codes as data: what a code means, the units of its quantifications, and what is done about it by default.
 */
#ifndef STOPMARK_CODES_H
#define STOPMARK_CODES_H

#include "stopmark/model.h"

struct sm_codes; /**< a code table */

/** One meaning. Text fields never NULL. */
struct sm_code_info {
    const char *code, *meaning, *q1_unit, *q2_unit, *source;
    bool is_node, is_start_node, is_finish_node, is_connection, is_abandoned;
};
/** What is to be done about one observation. */
struct sm_decision {
    enum sm_treatment treatment;
    const char *reason;  /**< in words, with the limit that decided and the value seen; belongs to the arena given */
    const char *prepare; /**< work before the liner, ';' between items, "" = none */
};

/** Built-in table of a system. @param out [new] free with sm_codes_free(). */
enum sm_status sm_codes_builtin(struct sm_codes **out, enum sm_code_system system, struct sm_error *err) SM_CHECKED;
/** Table file (CSV, see docs/formats/codes.md); rows replace or add to those of the system it names. */
enum sm_status sm_codes_read(struct sm_codes **out, const char *path, struct sm_error *err) SM_CHECKED;
void sm_codes_free(struct sm_codes **codes);

/** Look a code up. @return false when unknown. */
bool sm_codes_find(const struct sm_codes *codes, const char *code, const char *ch1, struct sm_code_info *info);
/**
 * Default treatment of an entry in a pipe of diameter_mm (NAN unknown). An unknown code is SM_TREATMENT_REFER, never none.
 */
enum sm_status sm_codes_decide(const struct sm_codes *codes, const struct sm_log_entry *entry, double diameter_mm,
                               struct sm_arena *arena, struct sm_decision *decision, struct sm_error *err) SM_CHECKED;

#endif
