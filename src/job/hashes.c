/* Hashes of large files, each taken once: a file that the system calls the same, unchanged, is not read again. */
#include "job_internal.h"

#include <string.h>
#include <sys/stat.h>

struct sm_job_hash {
    struct stat seen; /* when the hash was begun */
    char hex[65];
};

/* The time of the last change of its inode is one that no program can set back. */
static bool is_same_file(const struct stat *a, const struct stat *b)
{
    return a->st_dev == b->st_dev && a->st_ino == b->st_ino && a->st_size == b->st_size &&
           a->st_mtim.tv_sec == b->st_mtim.tv_sec && a->st_mtim.tv_nsec == b->st_mtim.tv_nsec &&
           a->st_ctim.tv_sec == b->st_ctim.tv_sec && a->st_ctim.tv_nsec == b->st_ctim.tv_nsec;
}

static const char *find(const struct sm_job_hashes *hashes, const struct stat *seen)
{
    for (size_t i = 0; i < hashes->n; i++) {
        if (is_same_file(&hashes->item[i].seen, seen)) {
            return hashes->item[i].hex;
        }
    }
    return NULL;
}

enum sm_status sm_job__hash(char hex[65], struct sm_job_hashes *hashes, const char *path, struct sm_error *err)
{
    struct stat seen;
    if (!hashes || stat(path, &seen) != 0) {
        return sm_file_sha256(path, hex, err);
    }
    const char *known = find(hashes, &seen);
    if (known) {
        memcpy(hex, known, 65);
        return SM_OK;
    }
    if (sm_grow(&hashes->item, hashes->n, &hashes->capacity, sizeof *hashes->item) != SM_OK) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = sm_file_sha256(path, hex, err);
    if (status == SM_OK) {
        struct sm_job_hash *item = &hashes->item[hashes->n++];
        item->seen = seen;
        memcpy(item->hex, hex, 65);
    }
    return status;
}

void sm_job_hashes_release(struct sm_job_hashes *hashes)
{
    sm_free(hashes->item);
    *hashes = (struct sm_job_hashes){0};
}
