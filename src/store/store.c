/*
 * Opening, closing and transactions.
 *
 * A job that does not exist yet is built beside its place under a name nobody uses and linked to its place
 * with its first commit. So a run that fails leaves no empty job, and two runs that both make the same new
 * job cannot mix: the second finds the name taken.
 */
#include "store_internal.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BUSY_MS = 60000 };

/* A file from elsewhere must not run code of its own (trusted_schema), nor be believed about its inner sizes.
 */
static const char settings[] =
    "PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON;"
    "PRAGMA cache_size = -32768;"; /* 32 MB: a transaction over a city's job would spill from the 2 MB it is otherwise */

static void close_db(struct sm_store *store)
{
    sm_store__forget(store);
    sqlite3_close(store->db);
    store->db = NULL;
}

/* Reading too opens for writing where that is allowed: the last one out then folds SQLite's side files back
 * in. */
static enum sm_status open_as(struct sm_store *store, const char *name, int flags, enum sm_store_mode mode,
                              struct sm_error *err)
{
    flags |= SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
    if (sqlite3_open_v2(name, &store->db, flags, NULL) != SQLITE_OK) {
        return sm_store__error(store, "job file", err);
    }
    sqlite3_busy_timeout(store->db, BUSY_MS);
    sqlite3_db_config(store->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    enum sm_status status = sm_store__script(store, settings, err);
    if (status == SM_OK && mode == SM_STORE_READ) {
        status = sm_store__script(store, "PRAGMA query_only = ON; SELECT count(*) FROM sqlite_schema", err);
    }
    return status;
}

/* As an SQLite URI that promises that nobody writes: the only way to read from a medium where nothing can be
 * written. */
static void add_immutable_uri(struct sm_text *uri, const char *path)
{
    sm_text_add(uri, "file:");
    for (; *path; path++) {
        if (strchr("%?#", *path)) {
            sm_text_addf(uri, "%%%02x", (unsigned)*path);
        } else {
            sm_text_add_n(uri, path, 1);
        }
    }
    sm_text_add(uri, "?immutable=1");
}

static bool has_side_file(const char *path)
{
    struct sm_text name = {0};
    sm_text_addf(&name, "%s-wal", path);
    bool is_there = name.failed || access(name.data, F_OK) == 0;
    sm_text_release(&name);
    return is_there;
}

static enum sm_status open_db(struct sm_store *store, const char *path, enum sm_store_mode mode,
                              struct sm_error *err)
{
    int create = store->new_path ? SQLITE_OPEN_CREATE : 0;
    enum sm_status status = open_as(store, path, SQLITE_OPEN_READWRITE | create, mode, err);
    int code = store->db ? sqlite3_errcode(store->db) & 0xff : SQLITE_NOMEM;
    bool may_be_immutable = mode == SM_STORE_READ && (code == SQLITE_CANTOPEN || code == SQLITE_READONLY);
    if (status == SM_OK || !may_be_immutable || has_side_file(path)) {
        return status;
    }
    close_db(store);
    struct sm_text uri = {0};
    add_immutable_uri(&uri, path);
    status = uri.failed ? sm_store__no_memory(err)
                        : open_as(store, uri.data, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, mode, err);
    sm_text_release(&uri);
    return status;
}

static void remove_new(struct sm_store *store)
{
    if (store->new_path) {
        static const char *const tails[] = {"", "-wal", "-shm", "-journal"};
        for (size_t i = 0; i < sizeof tails / sizeof *tails; i++) {
            struct sm_text name = {0};
            sm_text_addf(&name, "%s%s", store->new_path, tails[i]);
            if (!name.failed) {
                unlink(name.data);
            }
            sm_text_release(&name);
        }
    }
}

void sm_store_close(struct sm_store **store)
{
    if (!store || !*store) {
        return;
    }
    sm_store_rollback(*store);
    close_db(*store);
    remove_new(*store);
    sm_free((*store)->path);
    sm_free((*store)->new_path);
    sm_free(*store);
    *store = NULL;
}

/* A name for the new job beside its place. The process id keeps two programs apart, the counter two jobs of
 * one program. */
static enum sm_status choose_new_path(struct sm_store *store, struct sm_error *err)
{
    for (int i = 0; i < 100; i++) {
        struct sm_text name = {0};
        sm_text_addf(&name, "%s.part-%ld-%d", store->path, (long)getpid(), i);
        if (name.failed) {
            return sm_store__no_memory(err);
        }
        if (access(name.data, F_OK) != 0) {
            store->new_path = name.data;
            return SM_OK;
        }
        sm_text_release(&name);
    }
    return sm_error_at(err, SM_E_IO, store->path, 0, 0, "too many unfinished copies beside it");
}

static enum sm_status find_file(struct sm_store *store, enum sm_store_mode mode, struct sm_error *err)
{
    struct stat status;
    if (stat(store->path, &status) != 0) {
        if (errno != ENOENT || mode != SM_STORE_WRITE) {
            enum sm_status result = errno == ENOENT ? SM_E_NOTFOUND : SM_E_IO;
            sm_error_at(err, result, store->path, 0, 0, "%s", strerror(errno));
            sm_error_remedy(err, "name a job file made by stopmark schedule --job");
            return result;
        }
        return choose_new_path(store, err);
    }
    if (!S_ISREG(status.st_mode)) {
        sm_error_at(err, SM_E_IO, store->path, 0, 0, "not a regular file");
        sm_error_remedy(err, "name a job file");
        return SM_E_IO;
    }
    return SM_OK;
}

enum sm_status sm_store_open(struct sm_store **out, const char *path, enum sm_store_mode mode,
                             struct sm_error *err)
{
    struct sm_store *store = sm_calloc(1, sizeof *store);
    if (!store) {
        return sm_store__no_memory(err);
    }
    store->path = sm_strdup(path);
    enum sm_status status = store->path ? find_file(store, mode, err) : sm_store__no_memory(err);
    bool is_new = store->new_path != NULL;
    if (status == SM_OK) {
        status = open_db(store, is_new ? store->new_path : path, mode, err);
    }
    if (status == SM_OK) {
        status = sm_store__migrate(store, mode, is_new, err);
    }
    if (status == SM_OK && mode != SM_STORE_READ &&
        !is_new) { /* where the file system cannot do it, SQLite keeps its journal */
        status = sm_store__script(store, "PRAGMA journal_mode = WAL", err);
    }
    if (status != SM_OK) {
        sm_store_close(&store);
        return status;
    }
    *out = store;
    return SM_OK;
}

enum sm_status sm_store_begin(struct sm_store *store, struct sm_error *err)
{
    enum sm_status status = sm_store__script(store, "BEGIN IMMEDIATE", err);
    store->in_transaction = status == SM_OK;
    return status;
}

void sm_store_rollback(struct sm_store *store)
{
    if (store->in_transaction) {
        (void)sm_store__script(store, "ROLLBACK", NULL);
        store->in_transaction = false;
    }
}

/* link() fails where the name is taken, unlike rename(); file systems without links get the next best. */
static int take_place(const char *from, const char *to)
{
    if (link(from, to) == 0) {
        return unlink(from);
    }
    bool has_no_links = errno == EPERM || errno == ENOTSUP || errno == ENOSYS;
    return has_no_links && access(to, F_OK) != 0 ? rename(from, to) : -1;
}

static enum sm_status settle_new(struct sm_store *store, struct sm_error *err)
{
    enum sm_status status = sm_store__script(store, "PRAGMA journal_mode = WAL", err);
    if (status != SM_OK) {
        return status;
    }
    close_db(store); /* the last connection folds the WAL back in: one file remains */
    if (take_place(store->new_path, store->path) != 0) {
        int code = errno;
        sm_error_at(err, code == EEXIST ? SM_E_CONFLICT : SM_E_IO, store->path, 0, 0,
                    "cannot be put in place: %s", strerror(code));
        sm_error_remedy(err, code == EEXIST ? "another run made this job meanwhile; run again"
                                            : "check the folder and the disk");
        return code == EEXIST ? SM_E_CONFLICT : SM_E_IO;
    }
    sm_free(store->new_path);
    store->new_path = NULL;
    return open_db(store, store->path, SM_STORE_WRITE, err);
}

enum sm_status sm_store_commit(struct sm_store *store, struct sm_error *err)
{
    enum sm_status status = sm_store__script(store, "COMMIT", err);
    if (status != SM_OK) {
        sm_store_rollback(store);
        return status;
    }
    store->in_transaction = false;
    return store->new_path ? settle_new(store, err) : SM_OK;
}

enum sm_status sm_store__join(struct sm_store *store, bool *is_own, struct sm_error *err)
{
    *is_own = !store->in_transaction;
    return *is_own ? sm_store_begin(store, err) : SM_OK;
}

enum sm_status sm_store__leave(struct sm_store *store, bool is_own, enum sm_status status, struct sm_error *err)
{
    if (!is_own) {
        return status;
    }
    if (status != SM_OK) {
        sm_store_rollback(store);
        return status;
    }
    return sm_store_commit(store, err);
}
