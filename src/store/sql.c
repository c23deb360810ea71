/* Statements with typed values, prepared once and kept; SQLite's results as our errors. */
#include "store_internal.h"

#include <assert.h>
#include <limits.h>
#include <string.h>

struct sm_store__value sm_store__int(int64_t value)
{
    return (struct sm_store__value){.type = SM_STORE__INT, .whole = value};
}

struct sm_store__value sm_store__int_or_null(int64_t value, int64_t null_value)
{
    return value == null_value ? (struct sm_store__value){0} : sm_store__int(value);
}

struct sm_store__value sm_store__real(double value)
{
    return (struct sm_store__value){.type = isfinite(value) ? SM_STORE__REAL : SM_STORE__NULL, .real = value};
}

struct sm_store__value sm_store__text(const char *value)
{
    return (struct sm_store__value){.type = value ? SM_STORE__TEXT : SM_STORE__NULL,
                                    .bytes = value,
                                    .n_bytes = value ? strlen(value) : 0};
}

struct sm_store__value sm_store__words(const char *value)
{
    return sm_store__text(value ? value : "");
}

struct sm_store__value sm_store__blob(const void *bytes, size_t n)
{
    return (struct sm_store__value){.type = SM_STORE__BLOB, .bytes = bytes, .n_bytes = n};
}

enum sm_status sm_store__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory at the job file");
}

/* SQLite's primary result codes, told as ours with what to do about it. */
static const struct {
    int code;
    enum sm_status status;
    const char *remedy;
} results[] = {
    {SQLITE_NOMEM, SM_E_NOMEM, "close other programs"},
    {SQLITE_BUSY, SM_E_IO, "another program is using the job; wait for it and run again"},
    {SQLITE_LOCKED, SM_E_IO, "another program is using the job; wait for it and run again"},
    {SQLITE_READONLY, SM_E_IO, "make the job file and its folder writable, or copy the job elsewhere"},
    {SQLITE_PERM, SM_E_IO, "check the permissions of the job file and its folder"},
    {SQLITE_FULL, SM_E_IO, "make room on the disk"},
    {SQLITE_IOERR, SM_E_IO, "check the disk and the room left on it"},
    {SQLITE_CANTOPEN, SM_E_IO, "check the name, the folder and the permissions"},
    {SQLITE_NOTADB, SM_E_FORMAT, "name a job file made by stopmark"},
    {SQLITE_CORRUPT, SM_E_FORMAT, "the job file is damaged: take the last good copy"},
    {SQLITE_CONSTRAINT, SM_E_CONFLICT, "the job file already holds something else under that name"},
    {SQLITE_TOOBIG, SM_E_RANGE, "check the input for absurdly long texts"},
};

enum sm_status sm_store__error(struct sm_store *store, const char *doing, struct sm_error *err)
{
    int code = store->db ? sqlite3_errcode(store->db) & 0xff : SQLITE_NOMEM;
    enum sm_status status = SM_E_FORMAT;
    const char *remedy = "the job file is damaged or was changed by another program: take the last good copy";
    for (size_t i = 0; i < sizeof results / sizeof *results; i++) {
        if (results[i].code == code) {
            status = results[i].status;
            remedy = results[i].remedy;
        }
    }
    sm_error_at(err, status, store->path, 0, 0, "%s: %s", doing,
                store->db ? sqlite3_errmsg(store->db) : "out of memory");
    sm_error_remedy(err, "%s", remedy);
    return status;
}

enum sm_status sm_store__script(struct sm_store *store, const char *sql, struct sm_error *err)
{
    return sqlite3_exec(store->db, sql, NULL, NULL, NULL) == SQLITE_OK
               ? SM_OK
               : sm_store__error(store, "job file", err);
}

void sm_store__forget(struct sm_store *store)
{
    for (size_t i = 0; i < store->n_cached; i++) {
        sqlite3_finalize(store->cached[i].stmt);
    }
    store->n_cached = 0;
}

static enum sm_status prepare(struct sm_store *store, sqlite3_stmt **stmt, const char *sql,
                              struct sm_error *err)
{
    for (size_t i = 0; i < store->n_cached; i++) {
        if (store->cached[i].sql == sql) {
            *stmt = store->cached[i].stmt;
            return SM_OK;
        }
    }
    if (sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, stmt, NULL) != SQLITE_OK) {
        return sm_store__error(store, "job file", err);
    }
    assert(store->n_cached < SM_STORE__N_CACHED && "every statement is a literal: raise the limit");
    store->cached[store->n_cached].sql = sql;
    store->cached[store->n_cached++].stmt = *stmt;
    return SM_OK;
}

static int bind_one(sqlite3_stmt *stmt, int at, const struct sm_store__value *value)
{
    switch (value->type) {
    case SM_STORE__NULL:
        return sqlite3_bind_null(stmt, at);
    case SM_STORE__INT:
        return sqlite3_bind_int64(stmt, at, value->whole);
    case SM_STORE__REAL:
        return sqlite3_bind_double(stmt, at, value->real);
    case SM_STORE__TEXT:
        return sqlite3_bind_text64(stmt, at, value->bytes, value->n_bytes, SQLITE_STATIC, SQLITE_UTF8);
    case SM_STORE__BLOB:
        return value->n_bytes ? sqlite3_bind_blob64(stmt, at, value->bytes, value->n_bytes, SQLITE_STATIC)
                              : sqlite3_bind_zeroblob(stmt, at, 0);
    }
    return SQLITE_MISUSE;
}

enum sm_status sm_store__query(struct sm_store *store, sqlite3_stmt **stmt, const char *sql,
                               const struct sm_store__value *values, size_t n, struct sm_error *err)
{
    enum sm_status status = prepare(store, stmt, sql, err);
    if (status != SM_OK) {
        return status;
    }
    assert(n == (size_t)sqlite3_bind_parameter_count(*stmt));
    for (size_t i = 0; i < n; i++) {
        if (bind_one(*stmt, (int)i + 1, &values[i]) != SQLITE_OK) {
            status = sm_store__error(store, "job file", err);
            sqlite3_reset(*stmt);
            return status;
        }
    }
    return SM_OK;
}

enum sm_status sm_store__next(struct sm_store *store, sqlite3_stmt *stmt, bool *has_row, struct sm_error *err)
{
    int result = sqlite3_step(stmt);
    *has_row = result == SQLITE_ROW;
    if (result == SQLITE_ROW) {
        return SM_OK;
    }
    enum sm_status status = result == SQLITE_DONE ? SM_OK : sm_store__error(store, "job file", err);
    sqlite3_reset(stmt);
    sqlite3_clear_bindings(stmt);
    return status;
}

enum sm_status sm_store__run(struct sm_store *store, const char *sql, const struct sm_store__value *values,
                             size_t n, struct sm_error *err)
{
    sqlite3_stmt *stmt;
    enum sm_status status = sm_store__query(store, &stmt, sql, values, n, err);
    bool has_row = false;
    return status == SM_OK ? sm_store__next(store, stmt, &has_row, err) : status;
}

enum sm_status sm_store__get_int(struct sm_store *store, int64_t *value, const char *sql,
                                 struct sm_error *err)
{
    sqlite3_stmt *stmt;
    if (sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL) != SQLITE_OK) {
        return sm_store__error(store, "job file", err);
    }
    enum sm_status status = SM_OK;
    if (sqlite3_step(stmt) == SQLITE_ROW) {
        *value = sqlite3_column_int64(stmt, 0);
    } else {
        status = sm_store__error(store, "job file", err);
    }
    sqlite3_finalize(stmt);
    return status;
}

double sm_store__column_real(sqlite3_stmt *stmt, int column)
{
    return sqlite3_column_type(stmt, column) == SQLITE_NULL ? SM_NAN : sqlite3_column_double(stmt, column);
}

const char *sm_store__column_text(sqlite3_stmt *stmt, int column)
{
    const char *text = (const char *)sqlite3_column_text(stmt, column);
    return text ? text : "";
}

enum sm_status sm_store__copy_text(const char **out, struct sm_arena *arena, sqlite3_stmt *stmt, int column,
                                   struct sm_error *err)
{
    if (sqlite3_column_type(stmt, column) == SQLITE_NULL) {
        sm_error_set(err, SM_E_FORMAT, "a text is missing in the job file: it is damaged or was changed by another program");
        sm_error_remedy(err, "take the last good copy of the job file");
        return SM_E_FORMAT;
    }
    const char *text = (const char *)sqlite3_column_text(stmt, column);
    char *copy = text ? sm_arena_strdup(arena, text) : NULL;
    if (!copy) {
        return sm_store__no_memory(err);
    }
    *out = copy;
    return SM_OK;
}

enum sm_status sm_store__copy_text_or_null(const char **out, struct sm_arena *arena, sqlite3_stmt *stmt, int column,
                                           struct sm_error *err)
{
    if (sqlite3_column_type(stmt, column) == SQLITE_NULL) {
        *out = NULL;
        return SM_OK;
    }
    return sm_store__copy_text(out, arena, stmt, column, err);
}

enum sm_status sm_store__copy_texts(const char **const *out, size_t n, unsigned may_be_null, struct sm_arena *arena,
                                    sqlite3_stmt *stmt, int first, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = may_be_null >> i & 1U ? sm_store__copy_text_or_null(out[i], arena, stmt, first + (int)i, err)
                                       : sm_store__copy_text(out[i], arena, stmt, first + (int)i, err);
    }
    return status;
}
