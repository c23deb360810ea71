/*
 * Looking codes up and deciding what is done. Order of both searches: the user's file from top to bottom,
 * then the built-in table; the first that fits counts. Patterns ('?', '*') stand after exact codes in the
 * built-in tables.
 */
#include "codes_internal.h"

#include <string.h>

/* ---- matching
 * ---------------------------------------------------------------------------------------------- */

static char upper(char c)
{
    return c >= 'a' && c <= 'z' ? (char)(c - ('a' - 'A')) : c;
}

bool sm_codes__matches(const char *pattern, const char *code)
{
    for (; *pattern && *pattern != '*'; pattern++, code++) {
        if (!*code || (*pattern != '?' && upper(*pattern) != upper(*code))) {
            return false;
        }
    }
    return *pattern == '*' || !*code;
}

bool sm_codes__is_one_of(const char *alternatives, const char *letter)
{
    if (!*alternatives) {
        return true;
    }
    while (*alternatives) {
        size_t n = strcspn(alternatives, "|");
        char one[16];
        if (n < sizeof one) {
            memcpy(one, alternatives, n);
            one[n] = '\0';
            if (sm_ascii_ieq(one, letter)) {
                return true;
            }
        }
        alternatives += n + (alternatives[n] == '|' ? 1 : 0);
    }
    return false;
}

bool sm_codes_rule_fits(const struct sm_code_rule *rule, const char *code)
{
    return sm_codes__matches(rule->code, code);
}

/* ---- life
 * -------------------------------------------------------------------------------------------------- */

enum sm_status sm_codes_builtin(struct sm_codes **out, enum sm_code_system system, struct sm_error *err)
{
    if (system == SM_CODES_FILE) {
        return sm_error_set(err, SM_E_UNSUPPORTED, "a code table file is read with its path");
    }
    struct sm_codes *codes = sm_calloc(1, sizeof *codes);
    if (!codes || sm_arena_new(&codes->arena) != SM_OK) {
        sm_free(codes);
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    codes->builtin = system == SM_CODES_NA ? &sm_codes__na : &sm_codes__en;
    *out = codes;
    return SM_OK;
}

void sm_codes_free(struct sm_codes **codes)
{
    if (!*codes) {
        return;
    }
    sm_free((*codes)->meaning);
    sm_free((*codes)->rule);
    sm_arena_free(&(*codes)->arena);
    sm_free(*codes);
    *codes = NULL;
}

/* ---- meanings
 * ---------------------------------------------------------------------------------------------- */

const struct sm_code_meaning *sm_codes__find_meaning(const struct sm_codes *codes, const char *code)
{
    for (size_t k = 0; k < codes->n_meanings; k++) {
        if (sm_codes__matches(codes->meaning[k].code, code)) {
            return &codes->meaning[k];
        }
    }
    for (size_t k = 0; k < codes->builtin->n_meanings; k++) {
        if (sm_codes__matches(codes->builtin->meaning[k].code, code)) {
            return &codes->builtin->meaning[k];
        }
    }
    return NULL;
}

static const char *unit_of(const struct sm_codes *codes, const struct sm_code_meaning *meaning,
                           const char *code, const char *ch1)
{
    for (size_t k = 0; k < codes->builtin->n_units; k++) {
        const struct sm_code_unit *unit = &codes->builtin->unit[k];
        if (sm_ascii_ieq(unit->code, code) && sm_codes__is_one_of(unit->ch1, ch1)) {
            return unit->q1_unit;
        }
    }
    return meaning->q1_unit;
}

static void fill_info(struct sm_code_info *info, const struct sm_code_meaning *meaning, const char *q1_unit)
{
    enum sm_code_kind kind = meaning->kind;
    *info = (struct sm_code_info){
        .code = meaning->code,
        .meaning = meaning->meaning,
        .q1_unit = q1_unit,
        .q2_unit = meaning->q2_unit,
        .source = meaning->source,
        .is_node = kind == SM_CODE_START || kind == SM_CODE_FINISH || kind == SM_CODE_NODE,
        .is_start_node = kind == SM_CODE_START || kind == SM_CODE_NODE,
        .is_finish_node = kind == SM_CODE_FINISH || kind == SM_CODE_NODE,
        .is_connection = kind == SM_CODE_CONNECTION,
        .is_abandoned = kind == SM_CODE_ABANDONED,
    };
}

bool sm_codes_find(const struct sm_codes *codes, const char *code, const char *ch1, struct sm_code_info *info)
{
    const struct sm_code_meaning *meaning = sm_codes__find_meaning(codes, code);
    if (!meaning) {
        return false;
    }
    fill_info(info, meaning, unit_of(codes, meaning, code, ch1 ? ch1 : ""));
    return true;
}

static void add_letter(const struct sm_codes *codes, const char *code, int which, const char *letter,
                       struct sm_text *out)
{
    for (size_t k = 0; k < codes->builtin->n_letters; k++) {
        const struct sm_code_letter *row = &codes->builtin->letter[k];
        if (row->which == which && sm_ascii_ieq(row->code, code) && sm_ascii_ieq(row->letter, letter)) {
            sm_text_addf(out, ", %s", row->meaning);
            return;
        }
    }
    if (*letter) {
        sm_text_addf(out, ", %s", letter);
    }
}

void sm_codes_describe(const struct sm_codes *codes, const char *code, const char *ch1, const char *ch2,
                       struct sm_text *out)
{
    const struct sm_code_meaning *meaning = sm_codes__find_meaning(codes, code);
    sm_text_add(out, meaning ? meaning->meaning : code);
    add_letter(codes, code, 1, ch1 ? ch1 : "", out);
    add_letter(codes, code, 2, ch2 ? ch2 : "", out);
}

bool sm_codes_row(const struct sm_codes *codes, size_t row_idx, struct sm_code_info *info)
{
    if (row_idx >= codes->n_meanings + codes->builtin->n_meanings) {
        return false;
    }
    const struct sm_code_meaning *meaning = row_idx < codes->n_meanings
                                                ? &codes->meaning[row_idx]
                                                : &codes->builtin->meaning[row_idx - codes->n_meanings];
    fill_info(info, meaning, meaning->q1_unit);
    return true;
}

/* ---- decisions
 * --------------------------------------------------------------------------------------------- */

const char *sm_code_measure_name(enum sm_code_measure measure)
{
    static const char *const names[] = {"", "q1", "q2", "clock", "q1 of diameter"};
    return names[measure];
}

bool sm_codes_rule(const struct sm_codes *codes, size_t rule_idx, struct sm_code_rule *rule)
{
    if (rule_idx >= codes->n_rules + codes->builtin->n_rules) {
        return false;
    }
    *rule =
        rule_idx < codes->n_rules ? codes->rule[rule_idx] : codes->builtin->rule[rule_idx - codes->n_rules];
    return true;
}

/* Hours from clock_from clockwise to clock_to; the same hour twice is all round, one hour alone is a point.
 * NAN = not logged. */
static double clock_extent_h(const struct sm_log_entry *entry)
{
    if (entry->clock_from_h == 0) {
        return SM_NAN;
    }
    if (entry->clock_to_h == 0) {
        return 0;
    }
    int32_t hours = (entry->clock_to_h - entry->clock_from_h + 12) % 12;
    return hours == 0 ? 12 : hours;
}

double sm_codes__measured(enum sm_code_measure measure, const struct sm_log_entry *entry, double diameter_mm)
{
    switch (measure) {
    case SM_MEASURE_NONE:
        break;
    case SM_MEASURE_Q1:
        return entry->q1_value;
    case SM_MEASURE_Q2:
        return entry->q2_value;
    case SM_MEASURE_CLOCK_H:
        return clock_extent_h(entry);
    case SM_MEASURE_Q1_DN_PCT:
        return 100 * entry->q1_value / diameter_mm;
    }
    return SM_NAN;
}

static bool fits(const struct sm_code_rule *rule, const struct sm_log_entry *entry, double diameter_mm)
{
    if (!sm_codes__matches(rule->code, entry->code) || !sm_codes__is_one_of(rule->ch1, entry->ch1) ||
        !sm_codes__is_one_of(rule->ch2, entry->ch2)) {
        return false;
    }
    if (!isnan(diameter_mm) && !(diameter_mm > rule->over_mm && diameter_mm <= rule->up_to_mm)) {
        return false;
    }
    if (rule->measure == SM_MEASURE_NONE) {
        return true;
    }
    double value = sm_codes__measured(rule->measure, entry, diameter_mm);
    return isnan(rule->least) ? isnan(value) : value >= rule->least && value < rule->below;
}

static const struct sm_code_rule *find_rule(const struct sm_codes *codes, const struct sm_log_entry *entry,
                                            double diameter_mm)
{
    for (size_t k = 0; k < codes->n_rules; k++) {
        if (fits(&codes->rule[k], entry, diameter_mm)) {
            return &codes->rule[k];
        }
    }
    for (size_t k = 0; k < codes->builtin->n_rules; k++) {
        if (fits(&codes->builtin->rule[k], entry, diameter_mm)) {
            return &codes->builtin->rule[k];
        }
    }
    return NULL;
}

static void add_value(struct sm_text *text, double value, const char *unit)
{
    if (isnan(value)) {
        sm_text_add(text, "(no value logged)");
        return;
    }
    sm_text_add_number(text, value, 0, 2);
    sm_text_addf(text, "%s%s", *unit ? " " : "", unit);
}

/* The unit of what a rule measures; a rule without limits speaks of quantification 1. */
static const char *unit_of_measure(const struct sm_code_rule *rule, const struct sm_code_info *info)
{
    switch (rule->measure) {
    case SM_MEASURE_NONE:
    case SM_MEASURE_Q1:
        return info->q1_unit;
    case SM_MEASURE_Q2:
        return info->q2_unit;
    case SM_MEASURE_CLOCK_H:
        return "hours";
    case SM_MEASURE_Q1_DN_PCT:
        return "%";
    }
    return "";
}

/* The rule's reason with {v} and {limit} filled in. */
static void write_reason(struct sm_text *text, const struct sm_code_rule *rule,
                         const struct sm_code_info *info, const struct sm_log_entry *entry,
                         double diameter_mm)
{
    const char *unit = unit_of_measure(rule, info);
    enum sm_code_measure measure = rule->measure == SM_MEASURE_NONE ? SM_MEASURE_Q1 : rule->measure;
    for (const char *s = rule->reason; *s;) {
        if (strncmp(s, "{v}", 3) == 0) {
            add_value(text, sm_codes__measured(measure, entry, diameter_mm), unit);
            s += 3;
        } else if (strncmp(s, "{limit}", 7) == 0) {
            add_value(text, isfinite(rule->least) ? rule->least : rule->below, unit);
            s += 7;
        } else {
            sm_text_add_n(text, s++, 1);
        }
    }
    if (isnan(diameter_mm) && (rule->over_mm > 0 || isfinite(rule->up_to_mm))) {
        sm_text_add(text, " (pipe diameter not known, the strictest limit counts)");
    }
}

/* Both texts of a decision into the caller's arena, so that they outlive the table. */
static enum sm_status keep_texts(struct sm_decision *decision, const struct sm_text *reason,
                                 struct sm_arena *arena, struct sm_error *err)
{
    decision->reason = reason->failed ? NULL : sm_arena_strdup(arena, sm_text_str(reason));
    decision->prepare = sm_arena_strdup(arena, decision->prepare);
    return decision->reason && decision->prepare ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
}

enum sm_status sm_codes_decide(const struct sm_codes *codes, const struct sm_log_entry *entry,
                               double diameter_mm, struct sm_arena *arena, struct sm_decision *decision,
                               struct sm_error *err)
{
    struct sm_decision made = {SM_TREATMENT_REFER, "", ""};
    struct sm_code_info info;
    struct sm_text text = {0};
    diameter_mm = diameter_mm > 0 ? diameter_mm : SM_NAN;
    bool is_known = sm_codes_find(codes, entry->code, entry->ch1, &info);
    const struct sm_code_rule *rule = is_known ? find_rule(codes, entry, diameter_mm) : NULL;
    if (!is_known) {
        sm_text_addf(&text, "the code %s is not in the code table: somebody has to look", entry->code);
    } else if (!rule) {
        sm_text_addf(&text, "%s: the code table has no treatment for it", info.meaning);
    } else {
        made.treatment = rule->treatment;
        made.prepare = rule->prepare;
        write_reason(&text, rule, &info, entry, diameter_mm);
    }
    enum sm_status status = keep_texts(&made, &text, arena, err);
    sm_text_release(&text);
    if (status == SM_OK) {
        *decision = made;
    }
    return status;
}
