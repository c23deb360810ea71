/* What a survey is known by, told before any work is done; and what a killed run leaves, taken away. */
#include "job_internal.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { STAMP_BYTES = 1024, DEEPEST = 4 };

/* ---- fingerprint ---- */

static enum sm_status key_of(char key[65], struct sm_job *job, struct sm_error *err)
{
    struct sm_job__record record;
    enum sm_status status = sm_job__record_make(&record, job, err);
    if (status == SM_OK) {
        struct sm_store_put put = {.kind = SM_SURVEY_FIRST,
                                   .segment = &job->merged.segment,
                                   .n_inputs = record.n_inputs,
                                   .input = record.input,
                                   .n_settings = record.n_settings,
                                   .setting = record.setting};
        status = sm_store_make_key(key, &put, err);
    }
    sm_job__record_release(&record);
    return status;
}

enum sm_status sm_job_fingerprint(char key[65], const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *job = NULL;
    enum sm_status status = sm_job__new(&job, opts, err);
    if (status == SM_OK) {
        status = sm_job__read_inputs(job, opts, err);
    }
    if (status == SM_OK) {
        status = sm_job__merge_segment(job, err);
    }
    if (status == SM_OK) {
        status = key_of(key, job, err);
    }
    if (status != SM_OK) {
        sm_error_source(err, opts->sheet_path);
    }
    sm_job_free(&job);
    return status;
}

/* ---- stamp ---- */

bool sm_job_has_stamp(const char *out_dir, const char *stamp)
{
    struct sm_text path = {0};
    char *content = NULL;
    size_t n = 0;
    sm_text_addf(&path, "%s/" SM_JOB__STAMP_FILE, out_dir);
    bool is_read = !path.failed && sm_file_read(&content, &n, path.data, STAMP_BYTES, NULL) == SM_OK;
    size_t length = strlen(stamp);
    bool is_same = is_read && n == length + 1 && memcmp(content, stamp, length) == 0;
    sm_free(content);
    sm_text_release(&path);
    return is_same;
}

/* ---- what a killed run leaves ---- */

static void remove_tree(const char *path, int depth)
{
    DIR *dir = depth < DEEPEST ? opendir(path) : NULL;
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        struct sm_text name = {0};
        struct stat status;
        bool is_dot = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        sm_text_addf(&name, "%s/%s", path, entry->d_name);
        if (!is_dot && !name.failed && lstat(name.data, &status) == 0) {
            if (S_ISDIR(status.st_mode)) {
                remove_tree(name.data, depth + 1);
            } else {
                unlink(name.data);
            }
        }
        sm_text_release(&name);
    }
    if (dir) {
        closedir(dir);
    }
    rmdir(path);
}

/* Files of the earlier run that had made room already go back to their place. */
static void put_back(const char *draft, const char *path, const char *sub)
{
    struct sm_text from = {0};
    sm_text_addf(&from, "%s/old%s", draft, sub);
    DIR *dir = from.failed ? NULL : opendir(from.data);
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        struct sm_text old = {0};
        struct sm_text place = {0};
        struct stat status;
        sm_text_addf(&old, "%s/%s", from.data, entry->d_name);
        sm_text_addf(&place, "%s%s/%s", path, sub, entry->d_name);
        if (!old.failed && !place.failed && lstat(old.data, &status) == 0 && !S_ISDIR(status.st_mode)) {
            (void)rename(old.data, place.data);
        }
        sm_text_release(&old);
        sm_text_release(&place);
    }
    if (dir) {
        closedir(dir);
    }
    sm_text_release(&from);
}

static void remove_draft(const char *draft, const char *path)
{
    struct stat status;
    if (lstat(draft, &status) != 0) {
        return;
    }
    if (!S_ISDIR(status.st_mode)) {
        unlink(draft);
        return;
    }
    put_back(draft, path, "");
    put_back(draft, path, "/stills");
    remove_tree(draft, 0);
}

/* Beside path: what carries its name and that process's number. */
static void remove_drafts(const char *path, int64_t pid)
{
    struct sm_text folder = {0};
    struct sm_text start = {0};
    const char *slash = strrchr(path, '/');
    sm_text_addf(&start, "%s.part-%lld-", slash ? slash + 1 : path, (long long)pid);
    DIR *dir = sm_path_beside(&folder, path, ".") == SM_OK && !start.failed ? opendir(folder.data) : NULL;
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        struct sm_text name = {0};
        if (strncmp(entry->d_name, start.data, start.length) == 0 &&
            sm_path_beside(&name, path, entry->d_name) == SM_OK) {
            remove_draft(name.data, path);
        }
        sm_text_release(&name);
    }
    if (dir) {
        closedir(dir);
    }
    sm_text_release(&start);
    sm_text_release(&folder);
}

void sm_job_remove_unfinished(const char *out_dir, const char *job_path, int64_t pid)
{
    if (out_dir) {
        remove_drafts(out_dir, pid);
    }
    if (job_path) {
        remove_drafts(job_path, pid);
    }
}
