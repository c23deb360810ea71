/*
 * Several jobs into one, all of them or none: they are first brought together in a job of their own beside the place,
 * which then goes in as one transaction. A single one goes in directly.
 */
#include <stdio.h>
#include <unistd.h>

#include "job_internal.h"

static enum sm_status merge_one(struct sm_store_merged *added, const char *job_path, const char *other,
                                struct sm_error *err)
{
    struct sm_store *store = NULL;
    enum sm_status status = sm_store_open(&store, job_path, SM_STORE_WRITE, err);
    if (status == SM_OK) {
        status = sm_store_merge(store, other, added, err);
    }
    sm_store_close(&store);
    return status;
}

static enum sm_status gather(const char *path, const char *const *other, size_t n, struct sm_error *err)
{
    struct sm_store *store = NULL;
    struct sm_store_merged added = {0};
    enum sm_status status = sm_store_open(&store, path, SM_STORE_WRITE, err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_store_merge(store, other[i], &added, err);
    }
    sm_store_close(&store);
    return status;
}

static void remove_gathered(const char *path)
{
    static const char *const tails[] = {"", "-wal", "-shm"};
    for (size_t i = 0; i < sizeof tails / sizeof *tails; i++) {
        struct sm_text name = {0};
        sm_text_addf(&name, "%s%s", path, tails[i]);
        if (!name.failed) {
            unlink(name.data);
        }
        sm_text_release(&name);
    }
}

enum sm_status sm_job_merge(struct sm_store_merged *added, const char *job_path, const char *const *other, size_t n,
                            struct sm_error *err)
{
    *added = (struct sm_store_merged){0};
    if (n == 1) {
        return merge_one(added, job_path, other[0], err);
    }
    struct sm_text path = {0};
    sm_text_addf(&path, "%s.gather-%ld", job_path, (long)getpid());
    if (path.failed) {
        sm_text_release(&path);
        return sm_job__no_memory(err);
    }
    enum sm_status status = gather(path.data, other, n, err);
    if (status == SM_OK) {
        status = merge_one(added, job_path, path.data, err);
    }
    remove_gathered(path.data);
    sm_text_release(&path);
    return status;
}
