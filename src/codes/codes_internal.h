/* Shape of the built-in code tables and of a table in use. */
#ifndef STOPMARK_CODES_INTERNAL_H
#define STOPMARK_CODES_INTERNAL_H

#include "stopmark/codes.h"

#include <math.h>

/** What kind of place or event a code stands for. */
enum sm_code_kind {
    SM_CODE_PLAIN,
    SM_CODE_START,  /**< start node */
    SM_CODE_FINISH, /**< finish node */
    SM_CODE_NODE,   /**< a node at either end */
    SM_CODE_CONNECTION,
    SM_CODE_ABANDONED,
};
/** A code, or a code with its first characterisation where that changes the meaning or the units. */
struct sm_code_meaning {
    const char *code, *meaning, *q1_unit, *q2_unit;
    enum sm_code_kind kind;
    const char *source;
};
/** Letter of a characterisation. which is 1 or 2; with_ch1: only after this first characterisation, "" = any.
 */
struct sm_code_letter {
    const char *code;
    int which;
    const char *letter, *meaning;
};
/** Units that hold for some first characterisations only. */
struct sm_code_unit {
    const char *code, *ch1, *q1_unit;
};

struct sm_code_table {
    const struct sm_code_meaning *meaning;
    size_t n_meanings;
    const struct sm_code_letter *letter;
    size_t n_letters;
    const struct sm_code_unit *unit;
    size_t n_units;
    const struct sm_code_rule *rule;
    size_t n_rules;
    const char *const *sign; /**< patterns of codes that are signs of a defect rather than one, NULL ends */
    const char *const *carrier; /**< patterns of codes that signs belong to, NULL ends */
    const char *clock_rule, *clock_source;
};
extern const struct sm_code_table sm_codes__en, sm_codes__na;

/** Meaning of a code in a table in use; NULL = unknown. */
const struct sm_code_meaning *sm_codes__find_meaning(const struct sm_codes *codes, const char *code);

/** What a rule compares with its limits, NAN = not logged. */
double sm_codes__measured(enum sm_code_measure measure, const struct sm_log_entry *entry, double diameter_mm);
bool sm_codes__is_in(const char *const *patterns, const char *code); /**< patterns: NULL ends */

/** A table in use: what a user's file added, then the built-in one. */
struct sm_codes {
    struct sm_arena *arena;
    const struct sm_code_table *builtin;
    struct sm_code_meaning *meaning; /**< of the file; ch1 rows carry "CODE.CH1" */
    size_t n_meanings, meanings_capacity;
    struct sm_code_rule *rule;
    size_t n_rules, rules_capacity;
};

bool sm_codes__matches(const char *pattern,
                       const char *code); /**< '?' one letter, '*' the rest; case ignored */
bool sm_codes__is_one_of(const char *alternatives, const char *letter); /**< "" = any, "A|B" */

/* Rows of the rule tables, short: any ch2. */
#define SM_RULE(code, ch1, treatment, prepare, reason, source)                                               \
    {                                                                                                        \
        code, ch1, "", SM_MEASURE_NONE, -HUGE_VAL, HUGE_VAL, 0, HUGE_VAL, treatment, prepare, reason, source \
    }
#define SM_RULE_AT(code, ch1, measure, least, over_mm, up_to_mm, treatment, prepare, reason, source)         \
    {                                                                                                        \
        code, ch1, "", measure, least, HUGE_VAL, over_mm, up_to_mm, treatment, prepare, reason, source       \
    }
/* The measure was not logged. */
#define SM_RULE_BLANK(code, ch1, measure, treatment, prepare, reason, source)                                \
    {                                                                                                        \
        code, ch1, "", measure, SM_NAN, SM_NAN, 0, HUGE_VAL, treatment, prepare, reason, source              \
    }

#define SM_LINE SM_TREATMENT_LINE
#define SM_PREPARE SM_TREATMENT_PREPARE
#define SM_REFER SM_TREATMENT_REFER
#define SM_CLEAR SM_TREATMENT_CLEAR
#define SM_NONE SM_TREATMENT_NONE

#endif
