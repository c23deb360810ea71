/*
 * Logs that stand alone: a standard's format names segment, nodes, sizes and video itself, so that each inspection of one is a
 * survey without a sheet. Whose log a sheet names is known once all sheets are found.
 */
#include "batch_internal.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "stopmark/obslog.h"
#include "stopmark/sheet.h"

enum { HEAD_BYTES = 64 << 10 };

bool sm_batch__is_standard_log(const char *path)
{
    char *head = NULL;
    size_t n = 0;
    if (sm_file_read_head(&head, &n, path, HEAD_BYTES, NULL) != SM_OK) {
        return false; /* what lies about and cannot be read is nobody's survey; a named one is told */
    }
    const char *format = sm_obslog_guess_format(head, n);
    bool is_standard = format && strcmp(format, "csv") != 0;
    sm_free(head);
    return is_standard;
}

/* schedule --export writes the log it corrected among its documents. */
bool sm_batch__is_our_log(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (strncmp(slash ? slash + 1 : path, "aligned-log.", 12) != 0) {
        return false;
    }
    struct sm_text schedule = {0};
    bool is_ours = sm_path_beside(&schedule, path, "schedule.json") == SM_OK &&
                   access(sm_text_str(&schedule), F_OK) == 0;
    sm_text_release(&schedule);
    return is_ours;
}

/* A log with many inspections is read once, not again for each of them. */
static enum sm_status keep_many(struct sm_batch__search *search, struct sm_job_surveys *surveys, enum sm_status status)
{
    struct sm_batch_surveys *found = search->found;
    bool is_many = surveys->n > 1;
    if (is_many && sm_grow(&found->logs, found->n_logs, &found->logs_capacity, sizeof *found->logs) == SM_OK) {
        found->logs[found->n_logs++] = surveys;
        return status;
    }
    sm_job_surveys_free(&surveys);
    return is_many ? sm_error_set(search->err, SM_E_NOMEM, "out of memory") : status;
}

enum sm_status sm_batch__add_log(struct sm_batch__search *search, const char *path, const char *way)
{
    struct sm_job_surveys *surveys = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_job_surveys(&surveys, path, &err);
    if (status == SM_E_NOMEM) {
        return sm_error_set(search->err, SM_E_NOMEM, "out of memory");
    }
    if (status != SM_OK) {
        return sm_batch__add(search, path, way, NULL, 0); /* its own process tells what is wrong */
    }
    for (size_t i = 0; status == SM_OK && i < surveys->n; i++) {
        bool is_many = surveys->n > 1;
        status = sm_batch__add(search, path, way, is_many ? surveys->survey[i].name : NULL,
                               surveys->survey[i].inspection);
        if (status == SM_OK && is_many) {
            search->found->item[search->found->n - 1].log = surveys->log;
        }
    }
    return keep_many(search, surveys, status);
}

/* ---- logs of sheets ---- */

struct file_id {
    dev_t device;
    ino_t inode;
};

static int by_id(const void *a, const void *b)
{
    const struct file_id *left = a;
    const struct file_id *right = b;
    int order = (left->device > right->device) - (left->device < right->device);
    return order ? order : (left->inode > right->inode) - (left->inode < right->inode);
}

static bool identify(struct file_id *id, const char *path)
{
    struct stat status;
    if (!path || stat(path, &status) != 0) {
        return false;
    }
    *id = (struct file_id){status.st_dev, status.st_ino};
    return true;
}

/* A sheet that cannot be read names nothing; its own process tells why. */
static bool log_of_sheet(struct file_id *id, const char *path)
{
    struct sm_sheet *sheet = NULL;
    bool is_named = sm_sheet_read(&sheet, path, NULL) == SM_OK && identify(id, sheet->log);
    if (sheet) {
        sm_sheet_free(&sheet);
    }
    return is_named;
}

static size_t list_named(struct file_id *named, const struct sm_batch_surveys *found)
{
    size_t n = 0;
    for (size_t i = 0; i < found->n; i++) {
        if (found->item[i].inspection == 0) {
            n += log_of_sheet(&named[n], found->item[i].path);
        }
    }
    qsort(named, n, sizeof *named, by_id);
    return n;
}

enum sm_status sm_batch__drop_named_logs(struct sm_batch__search *search)
{
    struct sm_batch_surveys *found = search->found;
    struct file_id *named = sm_calloc(found->n + 1, sizeof *named);
    if (!named) {
        return sm_error_set(search->err, SM_E_NOMEM, "out of memory");
    }
    size_t n_named = list_named(named, found);
    size_t n_kept = 0;
    for (size_t i = 0; i < found->n; i++) {
        struct file_id id;
        bool is_named =
            identify(&id, found->item[i].path) && bsearch(&id, named, n_named, sizeof id, by_id);
        if (!is_named) {
            found->item[n_kept++] = found->item[i];
        }
    }
    found->n = n_kept;
    sm_free(named);
    return SM_OK;
}
