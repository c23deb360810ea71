/* Decisions of reviewers: rows that are only ever added, and each of them an event of the history. */
#include "store_internal.h"

#include <stdio.h>
#include <string.h>

void sm_store__box_text(char text[SM_STORE__BOX_TEXT], struct sm_box box)
{
    snprintf(text, SM_STORE__BOX_TEXT, "%d,%d,%d,%d", (int)box.x_px, (int)box.y_px, (int)box.width_px,
             (int)box.height_px);
}

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

/* ---- in ---- */

/* The key of the latest decision: one made twice in the same moment still has two keys. */
static enum sm_status last_key(struct sm_store *store, char key[65], struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    sm_strcopy(key, 65, "");
    enum sm_status status = sm_store__query(
        store, &stmt, "SELECT key FROM decision ORDER BY decision_id DESC LIMIT 1", NULL, 0, err);
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        sm_strcopy(key, 65, sm_store__column_text(stmt, 0));
    }
    return status;
}

/* All surveys that this one took the place of, and itself. */
#define LINE_OF_SURVEY                                                                                       \
    "WITH RECURSIVE line(survey_id, key) AS ("                                                               \
    "  SELECT survey_id, key FROM survey WHERE key = ?1"                                                     \
    "  UNION SELECT s.survey_id, s.key FROM survey s JOIN line l ON s.superseded_by = l.survey_id)"

enum { MOMENT = 48 };

/* The next moment that can be written after one: "..:00" "..:00.001" "..:00.002". */
static void add_moment(char at[MOMENT], const char *last)
{
    const char *point = strchr(last, '.');
    int64_t n = 0;
    int width = point ? (int)strlen(point + 1) : 0;
    bool is_number = width > 0 && width <= 9 && sm_parse_int(point + 1, 0, INT32_MAX, &n);
    char next[16];
    snprintf(next, sizeof next, "%0*d", width, (int)n + 1);
    if (is_number && (int)strlen(next) == width) {
        snprintf(at, MOMENT, "%.*s.%sZ", (int)(point - last), last, next);
    } else {
        snprintf(at, MOMENT, "%s%s001Z", last, point ? "" : ".");
    }
}

/*
 * The moment of a decision: after all others about the survey, also of one second and where another machine's clock is
 * ahead. So the order in which decisions count is in the rows themselves, and merging in any order keeps it.
 */
static enum sm_status find_moment(char at[MOMENT], struct sm_store *store, const char *survey_key, const char *asked,
                                  struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    char last[MOMENT] = "";
    char plain[MOMENT] = "";
    sm_strcopy(at, MOMENT, asked);
    size_t n = strlen(at);
    memcpy(plain, at, n - (n && at[n - 1] == 'Z'));
    enum sm_status status = SM_STORE__QUERY(store, &stmt, err,
                                            LINE_OF_SURVEY " SELECT max(rtrim(at, 'Z')) FROM decision WHERE survey_key IN"
                                                           " (SELECT key FROM line) AND length(at) < 32",
                                            sm_store__text(survey_key));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        sm_strcopy(last, sizeof last, or_empty(sm_store__column_text(stmt, 0)));
    }
    if (status == SM_OK && *plain && *last && strcmp(plain, last) <= 0) {
        add_moment(at, last);
    }
    return status;
}

static void add_real(struct sm_text *text, double value)
{
    sm_text_add_fixed(text, value, 6);
    sm_text_add(text, ",");
}

enum sm_status sm_store__decision_key(char key[65], const char *before, const char *survey_key,
                                      const struct sm_review_decision *d, struct sm_error *err)
{
    struct sm_text numbers = {0};
    char box[SM_STORE__BOX_TEXT];
    sm_store__box_text(box, d->box);
    add_real(&numbers, d->time_s);
    add_real(&numbers, d->distance_m);
    add_real(&numbers, d->start_m);
    add_real(&numbers, d->end_m);
    sm_text_addf(&numbers, "%d,%d", (int)d->clock_from_h, (int)d->clock_to_h);
    const char *const field[] = {before,
                                 survey_key,
                                 or_empty(d->at),
                                 or_empty(d->who),
                                 sm_review_act_name(d->act),
                                 or_empty(d->observation),
                                 or_empty(d->of_key),
                                 sm_text_str(&numbers),
                                 or_empty(d->code),
                                 or_empty(d->ch1),
                                 or_empty(d->ch2),
                                 or_empty(d->q1),
                                 or_empty(d->q2),
                                 sm_treatment_name(d->treatment),
                                 or_empty(d->reading),
                                 box,
                                 or_empty(d->rule),
                                 or_empty(d->value),
                                 or_empty(d->reason)};
    enum sm_status status = numbers.failed
                                ? sm_store__no_memory(err)
                                : sm_store__hash_fields(key, field, sizeof field / sizeof *field, err);
    sm_text_release(&numbers);
    return status;
}

static enum sm_status put_row(struct sm_store *store, const char *key, const char *survey_key,
                              const struct sm_review_decision *d, struct sm_error *err)
{
    return SM_STORE__RUN(
        store, err,
        "INSERT INTO decision (key, survey_key, at, who, act, observation, of_key, time_s, distance_m, "
        "start_m, end_m, code, ch1, ch2, q1, q2, clock_from_h, clock_to_h, treatment, reading, box_x_px, "
        "box_y_px, box_width_px, box_height_px, rule, value, reason)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        sm_store__text(key), sm_store__text(survey_key), sm_store__words(d->at), sm_store__words(d->who),
        sm_store__text(sm_review_act_name(d->act)), sm_store__words(d->observation),
        sm_store__words(d->of_key), sm_store__real(d->time_s), sm_store__real(d->distance_m),
        sm_store__real(d->start_m), sm_store__real(d->end_m), sm_store__text(d->code), sm_store__text(d->ch1),
        sm_store__text(d->ch2), sm_store__text(d->q1), sm_store__text(d->q2), sm_store__int(d->clock_from_h),
        sm_store__int(d->clock_to_h), sm_store__text(sm_treatment_name(d->treatment)),
        sm_store__text(d->reading), sm_store__int(d->box.x_px), sm_store__int(d->box.y_px),
        sm_store__int(d->box.width_px), sm_store__int(d->box.height_px), sm_store__text(d->rule),
        sm_store__text(d->value), sm_store__words(d->reason));
}

static enum sm_status put_decision(struct sm_store *store, const struct sm_store_survey *survey,
                                   const struct sm_review_decision *asked, const char *words,
                                   struct sm_error *err)
{
    char before[65];
    char key[65];
    char at[MOMENT];
    struct sm_review_decision dated = *asked;
    const struct sm_review_decision *decision = &dated;
    enum sm_status status = find_moment(at, store, survey->key, or_empty(asked->at), err);
    dated.at = at;
    if (status == SM_OK) {
        status = last_key(store, before, err);
    }
    if (status == SM_OK) {
        status = sm_store__decision_key(key, before, survey->key, decision, err);
    }
    if (status == SM_OK) {
        status = put_row(store, key, survey->key, decision, err);
    }
    struct sm_text detail = {0};
    sm_text_addf(&detail, "%s (%.12s)", words, status == SM_OK ? key : "");
    const struct sm_store_event event = {.at = or_empty(decision->at),
                                         .who = or_empty(decision->who),
                                         .event = "decided",
                                         .segment = survey->segment.id,
                                         .survey_key = survey->key,
                                         .subject = or_empty(decision->observation),
                                         .detail = sm_text_str(&detail)};
    if (status == SM_OK) {
        status = detail.failed ? sm_store__no_memory(err) : sm_store_put_event(store, &event, err);
    }
    sm_text_release(&detail);
    return status;
}

enum sm_status sm_store_put_decision(struct sm_store *store, const struct sm_store_survey *survey,
                                     const struct sm_review_decision *decision, const char *words,
                                     struct sm_error *err)
{
    bool is_own = !store->in_transaction;
    enum sm_status status = is_own ? sm_store_begin(store, err) : SM_OK;
    if (status != SM_OK) {
        return status;
    }
    status = put_decision(store, survey, decision, words, err);
    if (status != SM_OK && is_own) {
        sm_store_rollback(store);
    }
    return status == SM_OK && is_own ? sm_store_commit(store, err) : status;
}

/* ---- out ---- */

static bool find_name(int *out, int n, const char *(*name)(int), const char *word)
{
    for (int i = 0; i < n; i++) {
        if (strcmp(name(i), word) == 0) {
            *out = i;
            return true;
        }
    }
    return false;
}

static const char *act_name(int act)
{
    return sm_review_act_name((enum sm_review_act)act);
}

static const char *treatment_name(int treatment)
{
    return sm_treatment_name((enum sm_treatment)treatment);
}

enum { FIRST_TEXT = 3, N_TEXTS = 13, FIRST_REAL = FIRST_TEXT + N_TEXTS, FIRST_WHOLE = FIRST_REAL + 4 };

static const char columns[] = LINE_OF_SURVEY
    " SELECT " SM_STORE__DECISION_COLUMNS " FROM decision WHERE survey_key IN (SELECT key FROM line)"
    " ORDER BY rtrim(at, 'Z'), key" /* numbers would follow the order in which jobs were merged */;

enum sm_status sm_store__take_decision(struct sm_review_decision *d, struct sm_arena *arena, sqlite3_stmt *stmt,
                                       struct sm_store *store, struct sm_error *err)
{
    int act;
    int treatment;
    if (!find_name(&act, SM_N_REVIEW_ACTS, act_name, sm_store__column_text(stmt, 1)) ||
        !find_name(&treatment, SM_TREATMENT_CLEAR + 1, treatment_name, sm_store__column_text(stmt, 2))) {
        sm_error_at(err, SM_E_FORMAT, store->path, 0, 0, "a stored decision cannot be understood");
        return sm_error_remedy(err, "update stopmark, or take the last good copy of the job file");
    }
    *d = (struct sm_review_decision){.act = (enum sm_review_act)act,
                                     .treatment = (enum sm_treatment)treatment};
    sm_strcopy(d->key, sizeof d->key, sm_store__column_text(stmt, 0));
    const char **const text[N_TEXTS] = {&d->at,  &d->who, &d->observation, &d->of_key, &d->code,  &d->ch1,   &d->ch2,
                                        &d->q1, &d->q2,  &d->reading,     &d->rule,   &d->value, &d->reason};
    const unsigned may_be_null = 0xffU << 4; /* code to value */
    enum sm_status status = sm_store__copy_texts(text, N_TEXTS, may_be_null, arena, stmt, FIRST_TEXT, err);
    if (status != SM_OK) {
        return status;
    }
    double *const real[] = {&d->time_s, &d->distance_m, &d->start_m, &d->end_m};
    for (int i = 0; i < 4; i++) {
        *real[i] = sm_store__column_real(stmt, FIRST_REAL + i);
    }
    int32_t *const whole[] = {&d->clock_from_h, &d->clock_to_h,   &d->box.x_px,
                              &d->box.y_px,     &d->box.width_px, &d->box.height_px};
    for (int i = 0; i < 6; i++) {
        *whole[i] = sqlite3_column_int(stmt, FIRST_WHOLE + i);
    }
    return SM_OK;
}

static enum sm_status fill(struct sm_store_decisions *decisions, struct sm_store *store,
                           const char *survey_key, struct sm_error *err)
{
    sqlite3_stmt *stmt;
    size_t capacity = 0;
    bool has_row = false;
    enum sm_status status = SM_STORE__QUERY(store, &stmt, err, columns, sm_store__text(survey_key));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        status = sm_grow(&decisions->item, decisions->n, &capacity, sizeof *decisions->item) == SM_OK
                     ? sm_store__take_decision(&decisions->item[decisions->n], decisions->arena, stmt, store, err)
                     : sm_store__no_memory(err);
        decisions->n += status == SM_OK;
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

void sm_store_decisions_free(struct sm_store_decisions **decisions)
{
    if (decisions && *decisions) {
        sm_arena_free(&(*decisions)->arena);
        sm_free((*decisions)->item);
        sm_free(*decisions);
        *decisions = NULL;
    }
}

enum sm_status sm_store_list_decisions(struct sm_store_decisions **out, struct sm_store *store,
                                       const char *survey_key, struct sm_error *err)
{
    struct sm_store_decisions *decisions = sm_calloc(1, sizeof *decisions);
    if (!decisions || sm_arena_new(&decisions->arena) != SM_OK) {
        sm_free(decisions);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill(decisions, store, survey_key, err);
    if (status != SM_OK) {
        sm_store_decisions_free(&decisions);
        return status;
    }
    *out = decisions;
    return SM_OK;
}

/* ---- what inputs held ---- */

enum sm_status sm_store_get_content(char **out, size_t *n, struct sm_store *store, const char *sha256,
                                    struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    char *copy = NULL;
    enum sm_status status =
        SM_STORE__QUERY(store, &stmt, err, "SELECT content FROM input_content WHERE sha256 = ?",
                        sm_store__text(sha256));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        size_t size = (size_t)sqlite3_column_bytes(stmt, 0);
        copy = sm_calloc(size + 1, 1);
        if (copy && size) {
            memcpy(copy, sqlite3_column_blob(stmt, 0), size);
        }
        *n = size;
        if (!copy) {
            sqlite3_reset(stmt);
            return sm_store__no_memory(err);
        }
    }
    if (status == SM_OK && !copy) {
        return sm_error_set(err, SM_E_NOTFOUND, "the job file does not hold this input");
    }
    if (status != SM_OK) {
        sm_free(copy);
        return status;
    }
    *out = copy;
    return SM_OK;
}
