/*
 * Is the job still what it was? The history is the anchor: its chain shows rows altered, removed or moved, and its events
 * carry the digests and keys of everything else. What is found is listed, all of it, not only the first.
 */
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "store_internal.h"

enum sm_status sm_store__check_tell(struct sm_store__checking *c, enum sm_severity severity, const char *source, const char *fmt, ...)
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

static enum sm_status check_file(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, "PRAGMA quick_check(20)", NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        const char *line = sm_store__column_text(stmt, 0);
        if (strcmp(line, "ok") != 0) {
            status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "the file is damaged: %.200s", line);
        }
    }
    if (status == SM_OK) {
        status = sm_store__query(c->store, &stmt, "PRAGMA foreign_key_check", NULL, 0, c->err);
    }
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "a row of %.60s belongs to nothing any more",
                      sm_store__column_text(stmt, 0));
    }
    return status;
}

/* ---- history ---- */

static enum sm_status check_history(struct sm_store__checking *c)
{
    struct sm_error why = {0};
    enum sm_status status = sm_store_verify_history(c->store, &why);
    if (status == SM_E_CONFLICT) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "%s", why.text);
    } else if (status != SM_OK && c->err) {
        *c->err = why;
    }
    if (status == SM_OK) {
        status = sm_store_history_end(c->store, &c->checked->n_events, c->checked->chain, c->err);
    }
    return status;
}

static enum sm_status check_expected(struct sm_store__checking *c)
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
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                      "the history never had the chain %.12s...: it was written anew or cut off since that was printed",
                      c->expected_chain);
    }
    return status;
}

enum sm_status sm_store__check_has_event(struct sm_store__checking *c, const char *survey_key, const char *words, bool *is_there)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    *is_there = false;
    enum sm_status status = SM_STORE__QUERY(
        c->store, &stmt, c->err, "SELECT 1 FROM history WHERE survey_key = ?1 AND instr(detail, ?2) > 0 LIMIT 1",
        sm_store__text(survey_key), sm_store__text(words));
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        *is_there = true;
    }
    return status;
}

/* ---- surveys ---- */

/* The inputs that were kept are still kept, as far as the history says how many these were; another survey may have brought more. */
static enum sm_status check_kept(struct sm_store__checking *c, const struct sm_store_survey *survey)
{
    int64_t n = 0;
    bool is_told = false;
    bool is_there = false;
    enum sm_status status = sm_store__count_kept(&n, c->store, survey->survey_id, c->err);
    for (int64_t k = n; status == SM_OK && !is_there && k >= 0; k--) {
        char words[40];
        snprintf(words, sizeof words, ", %d inputs kept", (int)k);
        status = sm_store__check_has_event(c, survey->key, words, &is_there);
    }
    if (status == SM_OK && !is_there) {
        status = sm_store__check_has_event(c, survey->key, " inputs kept", &is_told);
    }
    return status != SM_OK || is_there || !is_told
               ? status
               : sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path, "a kept input of survey %.12s of %.60s is gone",
                                      survey->key, survey->segment.id);
}

static enum sm_status check_survey(struct sm_store__checking *c, const struct sm_store_survey *survey)
{
    char digest[65];
    bool is_there = false;
    bool has_digest = false;
    bool was_stored = false;
    enum sm_status status = sm_store__digest(digest, c->store, survey->survey_id, c->err);
    if (status == SM_OK) {
        status = sm_store__check_has_event(c, survey->key, digest, &is_there);
    }
    if (status == SM_OK && !is_there) { /* a job of an earlier version has no digests */
        status = sm_store__check_has_event(c, survey->key, ", results ", &has_digest);
    }
    if (status == SM_OK && !is_there && !has_digest) {
        status = sm_store__check_has_event(c, survey->key, " observations", &was_stored);
    }
    if (status != SM_OK || is_there || was_stored) {
        return status;
    }
    return sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                has_digest ? "stored results of survey %.12s of %.60s were changed" : "survey %.12s of %.60s is not in the history",
                survey->key, survey->segment.id);
}

static enum sm_status check_surveys(struct sm_store__checking *c)
{
    struct sm_store_surveys *surveys = NULL;
    enum sm_status status = sm_store_list_surveys(&surveys, c->store, NULL, c->err);
    for (size_t i = 0; status == SM_OK && i < surveys->n; i++) {
        c->checked->n_surveys++;
        status = check_survey(c, &surveys->item[i]);
        status = status == SM_OK ? check_kept(c, &surveys->item[i]) : status;
    }
    sm_store_surveys_free(&surveys);
    return status;
}

/*
 * Which run counts is the one thing about a stored survey that changes later. Either an event says so, or (jobs made apart and
 * merged) it is the run stored last over one recording.
 */
#define RECORDING(survey)                                                                                                      \
    "(SELECT group_concat(role || sha256, ' ') FROM (SELECT role, sha256 FROM input WHERE survey_id = " survey ".survey_id"      \
    "  AND role IN ('video', 'log') ORDER BY role, ordinal))"
#define IS_LATER_RUN                                                                                                           \
    " b.segment_id = a.segment_id AND b.kind = a.kind AND (b.stored_at, b.key) > (a.stored_at, a.key) AND " RECORDING(         \
        "b") " = " RECORDING("a")

static const char supersede_sql[] =
    "SELECT a.key, g.name FROM survey a JOIN segment g USING (segment_id) WHERE"
    "  (a.superseded_by IS NULL AND (EXISTS (SELECT 1 FROM history h WHERE h.survey_key = a.key AND h.event = 'survey superseded')"
    "    OR EXISTS (SELECT 1 FROM survey b WHERE b.superseded_by IS NULL AND" IS_LATER_RUN ")))"
    "  OR (a.superseded_by IS NOT NULL"
    "    AND NOT EXISTS (SELECT 1 FROM survey k JOIN history h ON h.survey_key = a.key AND h.event = 'survey superseded'"
    "      AND h.detail = 'by ' || k.key WHERE k.survey_id = a.superseded_by)"
    "    AND NOT EXISTS (SELECT 1 FROM survey b WHERE b.survey_id = a.superseded_by AND" IS_LATER_RUN "))";

static enum sm_status check_which_counts(struct sm_store__checking *c)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(c->store, &stmt, supersede_sql, NULL, 0, c->err);
    while (status == SM_OK && (status = sm_store__next(c->store, stmt, &has_row, c->err)) == SM_OK && has_row) {
        status = sm_store__check_tell(c, SM_SEVERITY_WARNING, c->store->path,
                                      "whether survey %.12s of %.60s counts was changed", sm_store__column_text(stmt, 0),
                                      sm_store__column_text(stmt, 1));
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

/* ---- input files ---- */

static enum sm_status check_input(struct sm_store__checking *c, const char *path, int64_t size_bytes, const char *sha256)
{
    struct stat present;
    char now[65];
    c->checked->n_inputs++;
    if (stat(path, &present) != 0) {
        c->checked->n_missing++;
        return sm_store__check_tell(c, SM_SEVERITY_NOTE, path, "is not there any more; its fingerprint is %.12s...", sha256);
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
    return sm_store__check_tell(c, SM_SEVERITY_NOTE, path, "has other content than when it was taken in (fingerprint %.12s...)", sha256);
}

static enum sm_status check_inputs(struct sm_store__checking *c)
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
    struct sm_store__checking c = {store, checked, expected_chain, progress, user, err};
    static enum sm_status (*const steps[])(struct sm_store__checking *) = {
        check_file, check_history, check_expected, check_surveys, check_which_counts, sm_store__check_rows, check_inputs};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](&c);
    }
    return status;
}
