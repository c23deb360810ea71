/*
 * Is the job still what it was? The history is the anchor: its chain shows rows altered, removed or moved, and its events
 * carry the digests and keys of everything else. What is found is listed, all of it, not only the first.
 */
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "store_internal.h"

struct checking {
    struct sm_store *store;
    struct sm_store_checked *checked;
    const char *expected_chain;
    sm_progress_fn *progress;
    void *user;
    struct sm_error *err;
};

static enum sm_status tell(struct checking *c, enum sm_severity severity, const char *source, const char *fmt, ...)
    SM_PRINTF(4, 5);
static enum sm_status tell(struct checking *c, enum sm_severity severity, const char *source, const char *fmt, ...)
{
    struct sm_error words;
    va_list args;
    va_start(args, fmt);
    char text[300];
    (void)vsnprintf(text, sizeof text, fmt, args);
    va_end(args);
    sm_error_set(&words, SM_OK, "%s", text); /* texts out of the file are made harmless */
    c->checked->n_tampered += severity == SM_SEVERITY_WARNING;
    return sm_findings_add(&c->checked->findings, (enum sm_flag)0, severity, source, 0, SM_NAN, -1, "%s", words.text) == SM_OK
               ? SM_OK
               : sm_store__no_memory(c->err);
}

/* ---- the file ---- */

static enum sm_status check_file(struct checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, "PRAGMA quick_check(20)", NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        const char *line = sm_store__column_text(stmt, 0);
        if (strcmp(line, "ok") != 0) {
            status = tell(c, SM_SEVERITY_WARNING, c->store->path, "the file is damaged: %.200s", line);
        }
    }
    if (status == SM_OK) {
        status = sm_store__query(c->store, &stmt, "PRAGMA foreign_key_check", NULL, 0, c->err);
    }
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = tell(c, SM_SEVERITY_WARNING, c->store->path, "a row of %.60s belongs to nothing any more",
                      sm_store__column_text(stmt, 0));
    }
    return status;
}

/* ---- history ---- */

static enum sm_status check_history(struct checking *c)
{
    struct sm_error why = {0};
    enum sm_status status = sm_store_verify_history(c->store, &why);
    if (status == SM_E_CONFLICT) {
        status = tell(c, SM_SEVERITY_WARNING, c->store->path, "%s", why.text);
    } else if (status != SM_OK && c->err) {
        *c->err = why;
    }
    if (status == SM_OK) {
        status = sm_store_history_end(c->store, &c->checked->n_events, c->checked->chain, c->err);
    }
    return status;
}

static enum sm_status check_expected(struct checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    bool is_there = false;
    if (!c->expected_chain) {
        return SM_OK;
    }
    enum sm_status status = SM_STORE__QUERY(c->store, &stmt, c->err, "SELECT 1 FROM history WHERE chain = ?",
                                            sm_store__text(c->expected_chain));
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        is_there = true;
    }
    if (status == SM_OK && !is_there) {
        status = tell(c, SM_SEVERITY_WARNING, c->store->path,
                      "the history never had the chain %.12s...: it was written anew or cut off since that was printed",
                      c->expected_chain);
    }
    return status;
}

/* Is there an event about this survey (and subject) whose detail ends in these words? */
static enum sm_status has_event(struct checking *c, const char *survey_key, const char *tail, bool *is_there)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    *is_there = false;
    enum sm_status status = SM_STORE__QUERY(
        c->store, &stmt, c->err, "SELECT 1 FROM history WHERE survey_key = ?1 AND instr(detail, ?2) > 0 LIMIT 1",
        sm_store__text(survey_key), sm_store__text(tail));
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        *is_there = true;
    }
    return status;
}

/* ---- surveys ---- */

static enum sm_status check_survey(struct checking *c, const struct sm_store_survey *survey)
{
    char digest[65];
    bool is_there = false;
    bool has_digest = false;
    bool was_stored = false;
    enum sm_status status = sm_store__digest(digest, c->store, survey->survey_id, c->err);
    if (status == SM_OK) {
        status = has_event(c, survey->key, digest, &is_there);
    }
    if (status == SM_OK && !is_there) { /* a job of an earlier version has no digests */
        status = has_event(c, survey->key, ", results ", &has_digest);
    }
    if (status == SM_OK && !is_there && !has_digest) {
        status = has_event(c, survey->key, " observations", &was_stored);
    }
    if (status != SM_OK || is_there || was_stored) {
        return status;
    }
    return tell(c, SM_SEVERITY_WARNING, c->store->path,
                has_digest ? "stored results of survey %.12s of %.60s were changed" : "survey %.12s of %.60s is not in the history",
                survey->key, survey->segment.id);
}

static enum sm_status check_surveys(struct checking *c)
{
    struct sm_store_surveys *surveys = NULL;
    enum sm_status status = sm_store_list_surveys(&surveys, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < surveys->n; i++) {
        c->checked->n_surveys++;
        status = check_survey(c, &surveys->item[i]);
    }
    sm_store_surveys_free(&surveys);
    return status;
}

/* ---- rows with keys ---- */

static enum sm_status check_row(struct checking *c, const struct sm_recorded *a)
{
    char content[65];
    char key[65];
    struct sm_text tail = {0};
    bool is_there = false;
    enum sm_status status = sm_store__as_built_key(content, key, a, c->err);
    sm_text_addf(&tail, "row %s", a->key);
    if (status == SM_OK) {
        status = tail.failed ? sm_store__no_memory(c->err) : has_event(c, a->survey_key, tail.data, &is_there);
    }
    sm_text_release(&tail);
    if (status == SM_OK && (strcmp(content, a->content) != 0 || strcmp(key, a->key) != 0)) {
        return tell(c, SM_SEVERITY_WARNING, c->store->path, "as-built row %.12s of %.60s %.40s was changed", a->key,
                    a->row.segment, a->row.repair);
    }
    if (status == SM_OK && !is_there) {
        return tell(c, SM_SEVERITY_WARNING, c->store->path, "as-built row %.12s of %.60s %.40s is not in the history", a->key,
                    a->row.segment, a->row.repair);
    }
    return status;
}

static enum sm_status check_rows(struct checking *c)
{
    struct sm_store_as_builts *rows = NULL;
    enum sm_status status = sm_store_list_as_built(&rows, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < rows->n; i++) {
        c->checked->n_as_built++;
        status = check_row(c, &rows->item[i]);
    }
    sm_store_as_builts_free(&rows);
    return status;
}

static enum sm_status check_verdicts(struct checking *c)
{
    struct sm_store_verdicts *list = NULL;
    enum sm_status status = sm_store_list_verdicts(&list, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < list->n; i++) {
        char key[65];
        bool is_there = false;
        c->checked->n_verdicts++;
        status = sm_store__verdict_key(key, &list->item[i], c->err);
        if (status == SM_OK) {
            status = has_event(c, list->item[i].survey_key, key, &is_there);
        }
        if (status == SM_OK && !is_there) {
            status = tell(c, SM_SEVERITY_WARNING, c->store->path, "a verdict on %.60s %.40s was changed or is not in the history",
                          list->item[i].segment, list->item[i].repair);
        }
    }
    sm_store_verdicts_free(&list);
    return status;
}

/* Everything an event says was stored must be there. The key of a row stands behind "row " in the detail. */
static const char gone_sql[] =
    "SELECT event, segment, subject FROM history h WHERE"
    "  (event IN ('survey stored', 'recheck stored') AND NOT EXISTS (SELECT 1 FROM survey s WHERE s.key = h.survey_key))"
    "  OR (event IN ('as-built recorded', 'as-built corrected') AND NOT EXISTS"
    "    (SELECT 1 FROM as_built a WHERE a.key = substr(h.detail, 5, 64)))"
    "  OR (event = 'verdict given' AND NOT EXISTS (SELECT 1 FROM verdict v WHERE v.key = substr(h.detail, -64)))"
    " ORDER BY history_id LIMIT 100";

static enum sm_status check_gone(struct checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, gone_sql, NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = tell(c, SM_SEVERITY_WARNING, c->store->path, "the history says \"%.40s\" of %.60s %.40s, but it is gone",
                      sm_store__column_text(stmt, 0), sm_store__column_text(stmt, 1), sm_store__column_text(stmt, 2));
    }
    return status;
}

/* ---- input files ---- */

static enum sm_status check_input(struct checking *c, const char *path, int64_t size_bytes, const char *sha256)
{
    struct stat present;
    char now[65];
    c->checked->n_inputs++;
    if (stat(path, &present) != 0) {
        c->checked->n_missing++;
        return tell(c, SM_SEVERITY_NOTE, path, "is not there any more; its fingerprint is %.12s...", sha256);
    }
    bool is_same = present.st_size == size_bytes || size_bytes < 0;
    if (is_same) {
        struct sm_error why = {0};
        enum sm_status status = sm_file_sha256(path, now, &why);
        if (status == SM_E_NOMEM) {
            return sm_store__no_memory(c->err);
        }
        is_same = status == SM_OK && strcmp(now, sha256) == 0;
    }
    if (is_same) {
        return SM_OK;
    }
    c->checked->n_changed++;
    return tell(c, SM_SEVERITY_NOTE, path, "has other content than when it was taken in (fingerprint %.12s...)", sha256);
}

static enum sm_status check_inputs(struct checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    int64_t n = 0;
    static const char sql[] = "SELECT path, size_bytes, sha256 FROM input UNION SELECT source, -1, source_sha256 FROM as_built"
                              " ORDER BY 1, 3";
    enum sm_status status = sm_store__get_int(
        c->store, &n, "SELECT count(*) FROM (SELECT path, sha256 FROM input UNION SELECT source, source_sha256 FROM as_built)",
        c->err);
    if (status == SM_OK) {
        status = sm_store__query(c->store, &stmt, sql, NULL, 0, c->err);
    }
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = check_input(c, sm_store__column_text(stmt, 0), sqlite3_column_int64(stmt, 1), sm_store__column_text(stmt, 2));
        if (status == SM_OK && c->progress && !c->progress(c->user, (double)c->checked->n_inputs, (double)n)) {
            status = sm_error_set(c->err, SM_E_CANCELLED, "stopped");
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store_check(struct sm_store_checked *checked, struct sm_store *store, const char *expected_chain,
                              sm_progress_fn *progress, void *user, struct sm_error *err)
{
    struct checking c = {store, checked, expected_chain, progress, user, err};
    static enum sm_status (*const steps[])(struct checking *) = {check_file,   check_history,  check_expected, check_surveys,
                                                                 check_rows,   check_verdicts, check_gone,     check_inputs};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](&c);
    }
    return status;
}
