/*
 * The schema, brought up step by step: schema/NNNN.sql makes version NNNN out of the one before, in one
 * transaction together with the version number. A file's own version stands in user_version, its kind in
 * application_id. Before an older file is touched a copy of it is put beside it.
 */
#include "store_internal.h"

#include <stdio.h>
#include <unistd.h>

enum { APPLICATION_ID = 0x534d4a42 }; /* "SMJB" */

extern const unsigned char sm_store__schema_1[], sm_store__schema_2[], sm_store__schema_3[],
    sm_store__schema_4[];

static const unsigned char *const steps[] = {sm_store__schema_1, sm_store__schema_2, sm_store__schema_3,
                                             sm_store__schema_4};
enum { NEWEST = sizeof steps / sizeof *steps };

static enum sm_status check_kind(struct sm_store *store, bool is_new, int64_t *version, struct sm_error *err)
{
    int64_t application = 0;
    enum sm_status status = sm_store__get_int(store, &application, "PRAGMA application_id", err);
    if (status == SM_OK) {
        status = sm_store__get_int(store, version, "PRAGMA user_version", err);
    }
    if (status != SM_OK || is_new) {
        return status;
    }
    if (application != APPLICATION_ID) {
        sm_error_at(err, SM_E_FORMAT, store->path, 0, 0, "a database, but not a job file");
        sm_error_remedy(err, "name a job file made by stopmark, or a new name");
        return SM_E_FORMAT;
    }
    if (*version < 1 || *version > NEWEST) {
        sm_error_at(err, SM_E_UNSUPPORTED, store->path, 0, 0,
                    "made by a newer version of stopmark (job schema %lld, this one knows up to %d)",
                    (long long)*version, NEWEST);
        sm_error_remedy(err, "update stopmark");
        return SM_E_UNSUPPORTED;
    }
    return SM_OK;
}

static enum sm_status take_step(struct sm_store *store, int64_t version, struct sm_error *err)
{
    char stamp[96];
    snprintf(stamp, sizeof stamp, "PRAGMA application_id = %d; PRAGMA user_version = %d", APPLICATION_ID,
             (int)version);
    enum sm_status status = sm_store__script(store, "BEGIN EXCLUSIVE", err);
    if (status != SM_OK) {
        return status;
    }
    int64_t present = 0;
    status = sm_store__get_int(store, &present, "PRAGMA user_version", err);
    if (status == SM_OK && present < version) { /* else another process was faster */
        status = sm_store__script(store, (const char *)steps[version - 1], err);
        if (status == SM_OK) {
            status = sm_store__script(store, stamp, err);
        }
    }
    if (status == SM_OK) {
        status = sm_store__script(store, "COMMIT", err);
    }
    if (status != SM_OK) {
        (void)sm_store__script(store, "ROLLBACK", NULL);
    }
    return status;
}

/* Copies of an older job are never overwritten: each gets a name of its own. */
static enum sm_status choose_copy(struct sm_text *name, const struct sm_store *store, int64_t version,
                                  struct sm_error *err)
{
    for (int i = 1; i < 1000; i++) {
        sm_text_clear(name);
        sm_text_addf(name, "%s.schema-%lld", store->path, (long long)version);
        if (i > 1) {
            sm_text_addf(name, "-%d", i);
        }
        if (name->failed) {
            return sm_store__no_memory(err);
        }
        if (access(name->data, F_OK) != 0) {
            return SM_OK;
        }
    }
    sm_error_at(err, SM_E_IO, store->path, 0, 0, "too many copies of it as schema %lld stand beside it",
                (long long)version);
    sm_error_remedy(err, "move the copies that are not needed away");
    return SM_E_IO;
}

/* VACUUM INTO writes a whole, consistent copy, also while others read. */
static enum sm_status keep_copy(struct sm_store *store, int64_t version, struct sm_error *err)
{
    struct sm_text name = {0};
    enum sm_status status = choose_copy(&name, store, version, err);
    if (status == SM_OK) {
        status = SM_STORE__RUN(store, err, "VACUUM INTO ?", sm_store__text(name.data));
        if (status != SM_OK) {
            unlink(name.data);
        }
    }
    sm_text_release(&name);
    return status;
}

enum sm_status sm_store__migrate(struct sm_store *store, enum sm_store_mode mode, bool is_new,
                                 struct sm_error *err)
{
    int64_t version = 0;
    enum sm_status status = check_kind(store, is_new, &version, err);
    if (status == SM_OK && !is_new) {
        status = sm_store__check_schema(store, steps, version, err);
    }
    if (status == SM_OK && version < NEWEST && mode == SM_STORE_READ) {
        sm_error_at(err, SM_E_UNSUPPORTED, store->path, 0, 0, "an older job file (schema %lld of %d)",
                    (long long)version, NEWEST);
        sm_error_remedy(err, "open it once with a command that writes, which brings it up to date");
        return SM_E_UNSUPPORTED;
    }
    if (status == SM_OK && !is_new && version < NEWEST) {
        status = keep_copy(store, version, err);
    }
    for (; status == SM_OK && version < NEWEST; version++) {
        status = take_step(store, version + 1, err);
    }
    return status;
}
