/*
 * [decisions]: what a person decided about an observation against the code table, always with a reason:
 *   O3 = refer, the break has grown since
 *   O7 BAB = none, seen again and it is a shadow
 */
#include "sheet_internal.h"

#include <assert.h>
#include <ctype.h>
#include <string.h>

static const struct {
    const char *word;
    enum sm_treatment treatment;
} treatments[] = {
    {"line", SM_TREATMENT_LINE},   {"prepare", SM_TREATMENT_PREPARE}, {"refer", SM_TREATMENT_REFER},
    {"clear", SM_TREATMENT_CLEAR}, {"none", SM_TREATMENT_NONE},
};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

/* "O3", or with the code it must have: "O3 BAB". Upper case, as observations and codes are written. */
static bool take_name(struct sm_sheet_decision *decision, char code[16], const char *key)
{
    size_t n = strcspn(key, " \t");
    const char *rest = key + n + strspn(key + n, " \t");
    int64_t number;
    if (n < 2 || n >= sizeof decision->id || strlen(rest) >= 16 || (key[0] != 'O' && key[0] != 'o')) {
        return false;
    }
    memcpy(decision->id, key, n);
    decision->id[n] = '\0';
    decision->id[0] = 'O';
    for (size_t i = 0; i <= strlen(rest); i++) {
        code[i] = (char)toupper((unsigned char)rest[i]);
    }
    return sm_parse_int(decision->id + 1, 1, INT32_MAX, &number);
}

static bool take_treatment(struct sm_sheet_decision *decision, const char *word)
{
    for (size_t i = 0; i < sizeof treatments / sizeof *treatments; i++) {
        if (sm_ascii_ieq(word, treatments[i].word)) {
            decision->treatment = treatments[i].treatment;
            return true;
        }
    }
    return false;
}

/* The list with one decision put in, or taken out (new NULL), in the place of one about the same observation.
 */
static enum sm_status replace(struct sm_sheet *sheet, const char *id, const struct sm_sheet_decision *new,
                              bool *is_double, struct sm_error *err)
{
    struct sm_sheet_decision *all = sm_arena_alloc(sheet->arena, (sheet->n_decisions + 1) * sizeof *all);
    size_t n = 0;
    if (!all) {
        return no_memory(err);
    }
    *is_double = false;
    for (size_t i = 0; i < sheet->n_decisions; i++) {
        if (strcmp(sheet->decision[i].id, id) == 0) {
            *is_double = true;
        } else {
            all[n++] = sheet->decision[i];
        }
    }
    if (new) {
        all[n++] = *new;
    }
    sheet->decision = all;
    sheet->n_decisions = n;
    return SM_OK;
}

static enum sm_status keep(struct sm_sheet *sheet, struct sm_sheet_decision decision, bool *is_double,
                           struct sm_error *err)
{
    decision.code = sm_arena_strdup(sheet->arena, decision.code ? decision.code : "");
    decision.reason = sm_arena_strdup(sheet->arena, decision.reason);
    return decision.code && decision.reason ? replace(sheet, decision.id, &decision, is_double, err) : no_memory(err);
}

enum sm_status sm_sheet_decide(struct sm_sheet *sheet, const struct sm_sheet_decision *decision, struct sm_error *err)
{
    bool is_double;
    assert(decision->reason && *decision->reason);
    return keep(sheet, *decision, &is_double, err);
}

static enum sm_status odd(struct sm_error *err, const char *key, const char *what)
{
    sm_error_set(err, SM_E_FORMAT, "the decision about \"%.40s\" %s", key, what);
    return sm_error_remedy(err,
                           "write observation = treatment, reason, as in O3 = refer, the break has grown; "
                           "treatments are line, prepare, refer, clear and none");
}

enum sm_status sm_sheet__set_decision(struct sm_sheet_walk *walk, const char *key, char *value,
                                      struct sm_error *err)
{
    struct sm_sheet *sheet = walk->sheet;
    struct sm_sheet_decision decision = {.line = walk->line};
    char code[16];
    bool is_double;
    if (!take_name(&decision, code, key)) {
        return odd(err, key, "names no observation");
    }
    if (!*value) {
        return replace(sheet, decision.id, NULL, &is_double, err);
    }
    if (!sm_sheet__unquote(value)) {
        return odd(err, key, "has quotes that do not match");
    }
    char *comma = strchr(value, ',');
    char *reason = comma ? sm_trim(comma + 1) : NULL;
    if (comma) {
        *comma = '\0';
    }
    if (!take_treatment(&decision, sm_trim(value))) {
        return odd(err, key, "names no treatment");
    }
    if (!reason || !*reason) {
        return odd(err, key, "has no reason");
    }
    decision.code = code;
    decision.reason = reason;
    enum sm_status status = keep(sheet, decision, &is_double, err);
    return status == SM_OK && is_double && walk->line
               ? sm_sheet__note(walk, "%s is decided about twice, the later line counts", decision.id)
               : status;
}
