/*
 * Is the job still what it was? Rows that stand beside the surveys: as-built rows and what was found about them, verdicts,
 * decisions in their order, rereads, kept inputs; and the other way round, that nothing is gone that the history speaks of.
 */
#include <string.h>

#include "store_internal.h"

/* ---- as-built rows ---- */

/* Do the history's words about a row, or about its findings, still hold? A job of an earlier version has none. */
static enum sm_status holds(struct sm_store__checking *c, const struct sm_recorded *a, const char *word, const char *digest,
                            bool *is_good)
{
    struct sm_text words = {0};
    bool is_there = false;
    bool has_any = false;
    sm_text_addf(&words, "%s %s", word, digest);
    enum sm_status status =
        words.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, a->survey_key, words.data, &is_there);
    sm_text_clear(&words);
    sm_text_addf(&words, "row %s, noted ", a->key);
    if (status == SM_OK && !is_there) {
        status = words.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, a->survey_key, words.data, &has_any);
    }
    sm_text_clear(&words);
    sm_text_addf(&words, "row %s in place of %s, noted ", a->key, a->corrects);
    if (status == SM_OK && !is_there && !has_any) {
        status = words.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, a->survey_key, words.data, &has_any);
    }
    sm_text_release(&words);
    *is_good = is_there || !has_any;
    return status;
}

/* @param words [out] what is wrong, NULL = nothing. */
static enum sm_status judge_row(struct sm_store__checking *c, const struct sm_recorded *a, const char **words)
{
    char content[65];
    char key[65];
    char noted[65];
    char found[65];
    struct sm_text row = {0};
    bool is_known = false;
    bool is_as_noted = false;
    bool is_as_found = false;
    enum sm_status status = sm_store__as_built_key(content, key, a, c->err);
    sm_text_addf(&row, "row %s", a->key);
    if (status == SM_OK) {
        status = row.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, a->survey_key, row.data, &is_known);
    }
    sm_text_release(&row);
    if (status == SM_OK) {
        status = sm_store__as_built_digests(noted, found, c->store, a->key, c->err);
    }
    if (status == SM_OK) {
        status = holds(c, a, "noted", noted, &is_as_noted);
    }
    if (status == SM_OK) {
        status = holds(c, a, "found", found, &is_as_found);
    }
    bool is_same = status == SM_OK && strcmp(content, a->content) == 0 && strcmp(key, a->key) == 0 && is_as_noted;
    *words = !is_same ? "was changed" : !is_known ? "is not in the history" : !is_as_found ? "has other findings" : NULL;
    return status;
}

static enum sm_status check_as_built(struct sm_store__checking *c)
{
    struct sm_store_as_builts *rows = NULL;
    enum sm_status status = sm_store_list_as_built(&rows, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < rows->n; i++) {
        const struct sm_recorded *a = &rows->item[i];
        const char *words = NULL;
        c->checked->n_as_built++;
        status = judge_row(c, a, &words);
        if (status == SM_OK && words) {
            status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "as-built row %.12s of %.60s %.40s %s", a->key,
                                          a->row.segment, a->row.repair, words);
        }
    }
    sm_store_as_builts_free(&rows);
    return status;
}

/* ---- verdicts ---- */

static enum sm_status check_verdicts(struct sm_store__checking *c)
{
    struct sm_store_verdicts *list = NULL;
    enum sm_status status = sm_store_list_verdicts(&list, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < list->n; i++) {
        char key[65];
        bool is_there = false;
        c->checked->n_verdicts++;
        status = sm_store__verdict_key(key, &list->item[i], c->err);
        if (status == SM_OK) {
            status = sm_store__check_has_event(c, list->item[i].survey_key, key, &is_there);
        }
        if (status == SM_OK && !is_there) {
            status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                                          "a verdict on %.60s %.40s was changed or is not in the history",
                                          list->item[i].segment, list->item[i].repair);
        }
    }
    sm_store_verdicts_free(&list);
    return status;
}

/* ---- decisions ---- */

/* Keys in the order of the rows. */
struct keys {
    char (*item)[65];
    size_t n, capacity;
};

/*
 * Which decision a decision followed when it was made: as a rule the row before; the first of a job merged in follows none
 * or one farther up. @param before [out] NULL = no row: this one was changed, or the one before it is gone.
 */
static enum sm_status find_before(struct sm_store__checking *c, const struct keys *keys, const char *survey_key,
                                  const struct sm_review_decision *d, const char **before)
{
    *before = NULL;
    for (size_t i = keys->n + 1; i-- > 0;) {
        char key[65];
        const char *candidate = i ? keys->item[i - 1] : "";
        enum sm_status status = sm_store__decision_key(key, candidate, survey_key, d, c->err);
        if (status != SM_OK) {
            return status;
        }
        if (strcmp(key, d->key) == 0) {
            *before = candidate;
            return SM_OK;
        }
    }
    return SM_OK;
}

static enum sm_status check_decision(struct sm_store__checking *c, struct keys *keys, const char *survey_key,
                                     const struct sm_review_decision *d)
{
    const char *before;
    struct sm_text words = {0};
    bool is_there = false;
    enum sm_status status = find_before(c, keys, survey_key, d, &before);
    sm_text_addf(&words, "(%.12s)", d->key);
    if (status == SM_OK) {
        status = words.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, survey_key, words.data, &is_there);
    }
    sm_text_release(&words);
    if (status == SM_OK && (!before || !is_there)) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "decision %.12s of %.40s (%.40s) %s", d->key, d->at,
                                      sm_review_act_name(d->act),
                                      before ? "is not in the history" : "was changed or moved, or one before it was removed");
    }
    if (status == SM_OK && sm_grow(&keys->item, keys->n, &keys->capacity, sizeof *keys->item) != SM_OK) {
        return sm_store__no_memory(c->err);
    }
    if (status == SM_OK) {
        sm_strcopy(keys->item[keys->n++], sizeof *keys->item, d->key);
    }
    return status;
}

/* The row that stmt stands on. A word that no version ever wrote is a change from outside, no reason to stop looking. */
static enum sm_status check_decision_row(struct sm_store__checking *c, struct keys *keys, sqlite3_stmt *stmt)
{
    struct sm_arena *arena = NULL;
    struct sm_review_decision d;
    const char *survey_key;
    if (sm_arena_new(&arena) != SM_OK) {
        return sm_store__no_memory(c->err);
    }
    struct sm_error why = {0};
    enum sm_status status = sm_store__take_decision(&d, arena, stmt, c->store, &why);
    if (status == SM_OK) {
        status = sm_store__copy_text(&survey_key, arena, stmt, SM_STORE__N_DECISION_COLUMNS, &why);
    }
    if (status == SM_OK) {
        status = check_decision(c, keys, survey_key, &d);
    } else if (status == SM_E_FORMAT) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "%s", why.text);
    }
    sm_arena_free(&arena);
    return status;
}

static enum sm_status check_decisions(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    struct keys keys = {0};
    bool has_row = false;
    enum sm_status status =
        sm_store__query(c->store, &stmt, "SELECT " SM_STORE__DECISION_COLUMNS ", survey_key FROM decision ORDER BY decision_id",
                        NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        c->checked->n_decisions++;
        status = check_decision_row(c, &keys, stmt);
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    sm_free(keys.item);
    return status;
}

/* ---- rereads and kept inputs ---- */

static enum sm_status check_reread(struct sm_store__checking *c, const char *survey_key, const char *asked)
{
    char digest[65];
    bool is_there = false;
    struct sm_text words = {0};
    enum sm_status status = sm_store__reread_digest(digest, c->store, survey_key, asked, c->err);
    sm_text_addf(&words, "%s: readings %s", asked, digest);
    if (status == SM_OK) {
        status = words.failed ? sm_store__no_memory(c->err) : sm_store__check_has_event(c, survey_key, words.data, &is_there);
    }
    sm_text_release(&words);
    return status != SM_OK || is_there
               ? status
               : sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                                      "readings in the box %.40s of survey %.12s were changed or are not in the history", asked,
                                      survey_key);
}

static enum sm_status check_rereads(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, "SELECT survey_key, asked FROM reread ORDER BY 1, 2", NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = check_reread(c, sm_store__column_text(stmt, 0), sm_store__column_text(stmt, 1));
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

static enum sm_status check_contents(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, "SELECT sha256, content FROM input_content ORDER BY 1", NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        char sha256[65];
        const void *content = sqlite3_column_blob(stmt, 1);
        sm_sha256(content ? content : "", (size_t)sqlite3_column_bytes(stmt, 1), sha256);
        if (strcmp(sha256, sm_store__column_text(stmt, 0)) != 0) {
            status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "the kept input %.12s was changed",
                                          sm_store__column_text(stmt, 0));
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

/* ---- what is gone ---- */

/* Everything an event says was stored must be there. The key of a row stands behind "row " in the detail. */
static const char gone_sql[] =
    "SELECT event, segment, subject FROM history h WHERE"
    "  (event IN ('survey stored', 'recheck stored') AND NOT EXISTS (SELECT 1 FROM survey s WHERE s.key = h.survey_key))"
    "  OR (event IN ('as-built recorded', 'as-built corrected') AND NOT EXISTS"
    "    (SELECT 1 FROM as_built a WHERE a.key = substr(h.detail, 5, 64)))"
    "  OR (event = 'verdict given' AND NOT EXISTS (SELECT 1 FROM verdict v WHERE v.key = substr(h.detail, -64)))"
    "  OR (event = 'decided' AND NOT EXISTS (SELECT 1 FROM decision d WHERE d.key >= substr(h.detail, -13, 12)"
    "    AND d.key < substr(h.detail, -13, 12) || 'g'))"
    "  OR (event = 'counter read again' AND NOT EXISTS (SELECT 1 FROM reread r WHERE r.survey_key = h.survey_key"
    "    AND r.asked = substr(h.detail, 1, instr(h.detail, ':') - 1)))"
    " ORDER BY history_id LIMIT 100";

static enum sm_status check_gone(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, gone_sql, NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                                      "the history says \"%.40s\" of %.60s %.40s, but it is gone", sm_store__column_text(stmt, 0),
                                      sm_store__column_text(stmt, 1), sm_store__column_text(stmt, 2));
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store__check_rows(struct sm_store__checking *c)
{
    static enum sm_status (*const steps[])(struct sm_store__checking *) = {
        check_as_built, check_verdicts, check_decisions, check_rereads, check_contents, check_gone,
    };
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](c);
    }
    return status;
}
