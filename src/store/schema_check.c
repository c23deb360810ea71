/*
 * Is what the file calls its schema ours? SQLite runs what stands there: a view in place of a table, a trigger or an index that
 * computes would run for as long as its writer likes, whenever the job is opened. So before anything else is asked of a job,
 * its schema is held against the one that the same steps make of an empty database. Every table and view of ours must stand
 * there, so that nothing else can stand in for it. Triggers of ours may be gone (what was changed then is the history's to
 * tell), and tables and views that somebody put beside ours are left alone: nothing here ever reads them.
 */
#include "store_internal.h"

#include <string.h>

static const char list_sql[] = "SELECT name, sql FROM sqlite_schema";
static const char find_sql[] = "SELECT sql, type IN ('table', 'view') FROM sqlite_schema WHERE name = ?";
static const char count_sql[] = "SELECT count(*) FROM sqlite_schema WHERE type IN ('table', 'view')";

/* The next character that means something; comments are worded anew now and then, and blanks mean nothing. */
static char next_mark(const char **sql)
{
    for (;; ++*sql) {
        if ((*sql)[0] == '-' && (*sql)[1] == '-') {
            *sql += strcspn(*sql, "\n");
        }
        if (!**sql) {
            return '\0';
        }
        if (!strchr(" \t\r\n", **sql)) {
            return *(*sql)++;
        }
    }
}

static bool is_same_sql(const char *a, const char *b)
{
    char mark;
    do {
        mark = next_mark(&a);
        if (mark != next_mark(&b)) {
            return false;
        }
    } while (mark);
    return true;
}

/* What its own words say, whatever the row says it is: SQLite goes by these alone. */
static bool may_stand_beside(const char *sql)
{
    static const char table[] = "CREATE TABLE ", view[] = "CREATE VIEW ";
    return !*sql || strncmp(sql, table, strlen(table)) == 0 || strncmp(sql, view, strlen(view)) == 0;
}

static enum sm_status changed(const struct sm_store *store, const char *what, const char *name, struct sm_error *err)
{
    sm_error_at(err, SM_E_FORMAT, store->path, 0, 0, "the job file was changed by another program: %s%s%.60s", what,
                *name ? " " : "", name);
    sm_error_remedy(err, "take the last good copy of the job file");
    return SM_E_FORMAT;
}

/* One object of the file. @param n_ours [inout] counts it when it is a table or view of ours. */
static enum sm_status check_object(const struct sm_store *store, sqlite3_stmt *found, sqlite3_stmt *expected, int64_t *n_ours,
                                   struct sm_error *err)
{
    const char *name = sm_store__column_text(found, 0), *sql = sm_store__column_text(found, 1);
    enum sm_status status = SM_OK;
    if (sqlite3_bind_text(expected, 1, name, -1, SQLITE_STATIC) != SQLITE_OK) {
        return sm_store__no_memory(err);
    }
    int result = sqlite3_step(expected);
    if (result == SQLITE_ROW) {
        *n_ours += sqlite3_column_int64(expected, 1);
        status = is_same_sql(sql, sm_store__column_text(expected, 0)) ? SM_OK : changed(store, "not as it was made is", name, err);
    } else if (result != SQLITE_DONE) {
        status = sm_store__no_memory(err);
    } else if (!may_stand_beside(sql)) {
        status = changed(store, "none of ours is", name, err);
    }
    sqlite3_reset(expected);
    return status;
}

static enum sm_status check_objects(struct sm_store *store, sqlite3_stmt *found, sqlite3_stmt *expected, int64_t n_expected,
                                    struct sm_error *err)
{
    int64_t n_ours = 0;
    int result;
    while ((result = sqlite3_step(found)) == SQLITE_ROW) {
        enum sm_status status = check_object(store, found, expected, &n_ours, err);
        if (status != SM_OK) {
            return status;
        }
    }
    if (result != SQLITE_DONE) {
        return sm_store__error(store, "job file", err);
    }
    return n_ours == n_expected ? SM_OK : changed(store, "tables or views are missing", "", err);
}

/* The schema as its steps make it, in memory. */
static enum sm_status make_model(struct sm_store *model, const unsigned char *const *step, int64_t version, struct sm_error *err)
{
    if (sqlite3_open_v2(":memory:", &model->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK) {
        return sm_store__no_memory(err);
    }
    enum sm_status status = SM_OK;
    for (int64_t i = 0; i < version && status == SM_OK; i++) {
        status = sm_store__script(model, (const char *)step[i], err);
    }
    return status;
}

enum sm_status sm_store__check_schema(struct sm_store *store, const unsigned char *const *step, int64_t version,
                                      struct sm_error *err)
{
    struct sm_store model = {.path = store->path};
    sqlite3_stmt *found = NULL, *expected = NULL;
    int64_t n_expected = 0;
    enum sm_status status = make_model(&model, step, version, err);
    if (status == SM_OK) {
        status = sm_store__get_int(&model, &n_expected, count_sql, err);
    }
    if (status == SM_OK && (sqlite3_prepare_v2(store->db, list_sql, -1, &found, NULL) != SQLITE_OK)) {
        status = sm_store__error(store, "job file", err);
    }
    if (status == SM_OK && sqlite3_prepare_v2(model.db, find_sql, -1, &expected, NULL) != SQLITE_OK) {
        status = sm_store__no_memory(err);
    }
    if (status == SM_OK) {
        status = check_objects(store, found, expected, n_expected, err);
    }
    sqlite3_finalize(found);
    sqlite3_finalize(expected);
    sqlite3_close(model.db);
    return status;
}
