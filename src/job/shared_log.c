/*
 * A log that stands for surveys itself, with what its inspections share: the file is read once, and a run
 * that others of its segment are held against is worked once. Work on n inspections so takes n times that on
 * one.
 */
#include <string.h>

#include "job_internal.h"

/* Rings of the inspections of one segment, in file order. */
static enum sm_status link_segments(struct sm_job_log *log)
{
    struct sm_names last = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < log->list->n_inspections; i++) {
        const char *id = log->list->inspection[i].segment.id;
        size_t before = i;
        log->next[i] = i;
        if (!id) {
            continue; /* of no segment that another could be of, too */
        }
        const char *key = sm_job__folded(log->arena, id);
        status = key ? SM_OK : SM_E_NOMEM;
        if (key && sm_names_find(&last, key, &before)) {
            log->next[i] = log->next[before];
            log->next[before] = i;
        }
        status = status == SM_OK ? sm_names_set(&last, key, i) : status;
    }
    sm_names_release(&last);
    return status;
}

enum sm_status sm_job__log_open(struct sm_job_log **out, const char *path, struct sm_error *err)
{
    struct sm_job_log *log = sm_calloc(1, sizeof *log);
    if (!log || sm_arena_new(&log->arena) != SM_OK || !(log->path = sm_arena_strdup(log->arena, path))) {
        sm_job__log_free(&log);
        return sm_job__no_memory(err);
    }
    enum sm_status status = sm_obslog_file_read(&log->file, path, SM_UNIT_UNKNOWN, err);
    if (status == SM_OK) {
        status = sm_obslog_file_list(&log->list, log->file, err);
    }
    if (status == SM_OK) {
        size_t n = log->list->n_inspections + 1; /* never none */
        log->next = sm_arena_alloc(log->arena, n * sizeof *log->next);
        log->run = sm_arena_alloc(log->arena, n * sizeof *log->run);
        bool is_linked = log->next && log->run && link_segments(log) == SM_OK;
        status = is_linked ? SM_OK : sm_job__no_memory(err);
    }
    if (status != SM_OK) {
        sm_job__log_free(&log);
        return status;
    }
    *out = log;
    return SM_OK;
}

void sm_job__log_free(struct sm_job_log **log)
{
    if (!*log) {
        return;
    }
    for (size_t i = 0; (*log)->run && i < (*log)->list->n_inspections; i++) {
        sm_job_free(&(*log)->run[i]);
    }
    sm_obslog_list_free(&(*log)->list);
    sm_obslog_file_free(&(*log)->file);
    sm_obslog_file_free(&(*log)->file_ft);
    sm_arena_free(&(*log)->arena);
    sm_free(*log);
    *log = NULL;
}

enum sm_status sm_job__log_pick(struct sm_obslog **out, struct sm_job_log *log,
                                const struct sm_obslog_opts *opts, struct sm_error *err)
{
    bool is_feet = opts->unit == SM_UNIT_FT;
    enum sm_status status =
        is_feet && !log->file_ft ? sm_obslog_file_read(&log->file_ft, log->path, SM_UNIT_FT, err) : SM_OK;
    return status == SM_OK ? sm_obslog_file_pick(out, is_feet ? log->file_ft : log->file, opts, err) : status;
}

bool sm_job__log_has_more(const struct sm_job_log *log, int32_t inspection)
{
    size_t i = (size_t)inspection - 1;
    return inspection > 0 && i < log->list->n_inspections && log->next[i] != i;
}

void sm_job__log_keep(struct sm_job_log *log, int32_t inspection, struct sm_job *job)
{
    if (sm_job__log_has_more(log, inspection) && !log->run[inspection - 1]) {
        log->run[inspection - 1] = job;
        job->n_users++;
    }
}
