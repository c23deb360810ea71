/* Which other runs of the segment a survey is held against, and the files they are made of. */
#include "job_internal.h"

static void add_other(struct sm_job__others *out, const struct sm_job_opts *opts)
{
    if (out->n == SM_JOB__MOST_OTHERS) {
        out->n_left_out++;
    } else {
        out->opts[out->n++] = *opts;
    }
}

static void add_named(struct sm_job__others *out, const struct sm_job *job, struct sm_job_opts opts)
{
    for (size_t i = 0; i < job->sheet->n_other_runs; i++) {
        opts.sheet_path = job->sheet->other_run[i];
        add_other(out, &opts);
    }
}

/* The other inspections of the segment in a log without a sheet; what was changed for this one holds for
 * them. */
static void add_inspections(struct sm_job__others *out, const struct sm_job *job, struct sm_job_opts opts)
{
    struct sm_job_log *log = job->shared_log;
    if (!log || !sm_job__log_has_more(log, job->sheet->log_inspection)) {
        return;
    }
    size_t own_idx = (size_t)job->sheet->log_inspection - 1;
    opts.sheet_path = log->path;
    opts.log = log;
    opts.change = job->change;
    opts.n_changes = job->n_changes;
    for (size_t i = log->next[own_idx]; i != own_idx; i = log->next[i]) {
        opts.inspection = (int32_t)i + 1;
        add_other(out, &opts);
    }
}

void sm_job__others(struct sm_job__others *out, const struct sm_job *job)
{
    struct sm_job_opts opts = {.progress = job->progress,
                               .progress_user = job->progress_user,
                               .n_threads = job->n_threads,
                               .is_alone = true,
                               .hashes = job->hashes};
    *out = (struct sm_job__others){0};
    add_named(out, job, opts);
    add_inspections(out, job, opts);
}

/* ---- their files ---- */

static enum sm_status record_files(struct sm_job__record *record, const struct sm_job *other,
                                   const struct sm_job_opts *opts, struct sm_error *err)
{
    const struct sm_sheet *sheet = other->sheet;
    enum sm_status status = SM_OK;
    if (!other->made_sheet) { /* one made from a log says what the log says */
        status = sm_job__record_input(record, "other run", opts->sheet_path, NULL, err);
    }
    if (status == SM_OK) {
        status = sm_job__record_input(record, "other run's log", sheet->log, opts->hashes, err);
    }
    for (size_t i = 0; status == SM_OK && i < sheet->n_videos; i++) {
        status = sm_job__record_input(record, SM_JOB__OTHERS_VIDEO, sheet->video[i], opts->hashes, err);
    }
    for (size_t i = 0; status == SM_OK && i < sheet->n_distances; i++) {
        status = sm_job__record_input(record, "other run's distances", sheet->distances[i], NULL, err);
    }
    return status;
}

static enum sm_status record_other(struct sm_job__record *record, const struct sm_job_opts *opts,
                                   struct sm_error *err)
{
    struct sm_job *other = NULL;
    enum sm_status status = sm_job__new(&other, opts, err);
    if (status == SM_OK) {
        status = sm_job__read_inputs(other, opts, err);
    }
    if (status == SM_OK) {
        status = record_files(record, other, opts, err);
    }
    if (status != SM_OK) {
        sm_error_source(err, opts->sheet_path);
    }
    sm_job_free(&other);
    return status;
}

enum sm_status sm_job__record_others(struct sm_job__record *record, const struct sm_job *job,
                                     struct sm_error *err)
{
    struct sm_job__others others;
    enum sm_status status = SM_OK;
    sm_job__others(&others, job);
    for (size_t i = 0; status == SM_OK && i < others.n; i++) {
        status = record_other(record, &others.opts[i], err);
    }
    return status;
}
