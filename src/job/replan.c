/* A survey planned anew from what the job file holds and what was decided since: no file is opened, no video read. */
#include "job_internal.h"

#include <stdlib.h>
#include <string.h>

#include "stopmark/align.h"
#include "stopmark/codes.h"
#include "stopmark/obslog.h"
#include "stopmark/plan.h"
#include "stopmark/sheet.h"
#include "stopmark/trace.h"

static const struct sm_job__kept_file *file_of(const struct sm_job__kept *kept, const char *role)
{
    for (size_t i = 0; i < kept->n_files; i++) {
        if (strcmp(kept->file[i].role, role) == 0) {
            return &kept->file[i];
        }
    }
    return NULL;
}

static enum sm_status missing(const char *role, struct sm_error *err)
{
    sm_error_set(err, SM_E_NOTFOUND, "the job file does not hold the survey's %s", role);
    return sm_error_remedy(err, "run stopmark schedule SHEET --job JOB again, which puts it there");
}

static const char *name_in(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* The tables a sheet names, an sm_read_fn. They go by their name: their folder may be another by now. */
static enum sm_status read_table(void *user, char **out, size_t *n, const char *path, size_t limit_bytes,
                                 struct sm_error *err)
{
    const struct sm_job__kept *kept = user;
    for (size_t i = 0; i < kept->n_files; i++) {
        const struct sm_job__kept_file *file = &kept->file[i];
        bool is_table = strcmp(file->role, "kits") == 0 || strcmp(file->role, "cure") == 0;
        if (is_table && strcmp(name_in(file->path), name_in(path)) == 0 && file->n <= limit_bytes) {
            *out = sm_calloc(file->n + 1, 1);
            if (!*out) {
                return sm_job__no_memory(err);
            }
            memcpy(*out, file->data, file->n);
            *n = file->n;
            return SM_OK;
        }
    }
    sm_error_set(err, SM_E_IO, "the job file does not hold %s", name_in(path));
    return SM_E_IO;
}

/* ---- the sheet, with the changes it was run with ---- */

static int64_t change_number(const char *name)
{
    int64_t number = 0;
    const char *colon = strchr(name, ':');
    char digits[16];
    if (strncmp(name, "changed ", 8) != 0 || !colon || (size_t)(colon - name) - 8 >= sizeof digits) {
        return 0;
    }
    memcpy(digits, name + 8, (size_t)(colon - name) - 8);
    digits[colon - name - 8] = '\0';
    return sm_parse_int(digits, 1, 1000, &number) ? number : 0;
}

/* Settings "changed 1: rules.overlap" in the order of their numbers. */
static enum sm_status take_changes(struct sm_job *job, const struct sm_store_record *record,
                                   struct sm_error *err)
{
    struct sm_job_change *change = sm_arena_alloc(job->arena, (record->n_settings + 1) * sizeof *change);
    if (!change) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = SM_OK;
    size_t n = 0;
    for (int64_t wanted = 1; status == SM_OK && (size_t)wanted <= record->n_settings; wanted++) {
        for (size_t i = 0; status == SM_OK && i < record->n_settings; i++) {
            const struct sm_store_setting *setting = &record->setting[i];
            if (change_number(setting->name) == wanted) {
                struct sm_job_change *one = &change[n++];
                one->key = sm_arena_strdup(job->arena, strchr(setting->name, ':') + 2);
                one->value = sm_arena_strdup(job->arena, setting->value);
                status = one->key && one->value ? sm_sheet_set(job->sheet, one->key, one->value, err)
                                                : sm_job__no_memory(err);
            }
        }
    }
    job->change = change;
    job->n_changes = n;
    return status;
}

static enum sm_status take_sheet(struct sm_job *job, const struct sm_job__kept *kept,
                                 const struct sm_job__decisions *decisions, struct sm_error *err)
{
    const struct sm_job__kept_file *file = file_of(kept, "sheet");
    if (!file) {
        return missing("sheet", err);
    }
    struct sm_job__kept *tables = sm_arena_alloc(job->arena, sizeof *tables);
    if (!tables) {
        return sm_job__no_memory(err);
    }
    *tables = *kept;
    enum sm_status status =
        sm_sheet_parse_with(&job->sheet, file->data, file->n, file->path, read_table, tables, err);
    if (status == SM_OK) {
        status = take_changes(job, kept->record, err);
    }
    if (status == SM_OK) {
        status = sm_job__decide_sheet(job->sheet, decisions, err);
    }
    return status == SM_OK ? sm_sheet_check(job->sheet, err) : status;
}

/* ---- codes, log, trace ---- */

static enum sm_status take_codes(struct sm_job *job, const struct sm_job__kept *kept, struct sm_error *err)
{
    const struct sm_job__kept_file *file = file_of(kept, "codes");
    if (job->sheet->codes != SM_CODES_FILE) {
        return sm_codes_builtin(&job->codes, job->sheet->codes, err);
    }
    return file ? sm_codes_parse(&job->codes, file->data, file->n, file->path, err) : missing("codes", err);
}

static enum sm_status take_log(struct sm_job *job, const struct sm_job__kept *kept,
                               const struct sm_trace *trace, struct sm_error *err)
{
    const struct sm_job__kept_file *file = file_of(kept, "log");
    bool follows = job->sheet->counter_unit == SM_UNIT_UNKNOWN && trace && trace->format.unit == SM_UNIT_FT;
    struct sm_obslog_opts opts = {.segment = job->sheet->segment.id,
                                  .inspection = job->sheet->log_inspection,
                                  .unit = follows ? SM_UNIT_FT : job->sheet->counter_unit};
    /* By its name: the folder is of another day, perhaps of another machine. */
    return file ? sm_obslog_parse(&job->log, file->data, file->n, name_in(file->path), &opts, err)
                : missing("log", err);
}

/* What was found while the video was read belongs to the survey still. */
static enum sm_status take_video_findings(struct sm_job *job, const struct sm_store_record *record,
                                          struct sm_error *err)
{
    for (size_t i = 0; i < record->n_stages; i++) {
        if (strcmp(record->findings[i].stage, "video") == 0) {
            return sm_job__add_findings(&job->video, record->findings[i].findings, err);
        }
    }
    return SM_OK;
}

/* ---- all of it ---- */

static enum sm_status prepare(struct sm_job *job, const struct sm_job__kept *kept,
                              const struct sm_trace *trace, const struct sm_job *first,
                              const struct sm_job__decisions *decisions, struct sm_error *err)
{
    enum sm_status status = take_sheet(job, kept, decisions, err);
    if (status == SM_OK) {
        status = take_codes(job, kept, err);
    }
    if (status == SM_OK) {
        status = take_log(job, kept, trace, err);
    }
    if (status == SM_OK) {
        status = sm_job__decide_log(job, first, decisions, err);
    }
    if (status == SM_OK && trace) {
        job->stored_trace = kept->record->trace;
        status = sm_job__decide_trace(&job->trace, trace, decisions, err);
    }
    if (status == SM_OK) {
        status = take_video_findings(job, kept->record, err);
    }
    return status == SM_OK ? sm_job__merge_segment(job, err) : status;
}

static enum sm_status run(struct sm_job *job, const struct sm_job__kept *kept, const struct sm_trace *trace,
                          const struct sm_job *first, const struct sm_job__decisions *decisions,
                          struct sm_error *err)
{
    enum sm_status status = prepare(job, kept, trace, first, decisions, err);
    if (status == SM_OK) {
        status = sm_align(&job->alignment, job->log, job->trace, &job->merged, job->codes, err);
    }
    if (status == SM_OK) {
        status = sm_job__decide_places(job, decisions, err);
    }
    if (status == SM_OK) {
        status = sm_job__plan(job, err);
    }
    return status == SM_OK ? sm_job__finish(job, err) : status;
}

enum sm_status sm_job__replan(struct sm_job **out, const struct sm_job__kept *kept,
                              const struct sm_trace *trace, const struct sm_job *first,
                              const struct sm_job__decisions *decisions, struct sm_error *err)
{
    struct sm_job *job = sm_calloc(1, sizeof *job);
    if (!job || sm_arena_new(&job->arena) != SM_OK) {
        sm_free(job);
        return sm_job__no_memory(err);
    }
    enum sm_status status = run(job, kept, trace, first, decisions, err);
    if (status != SM_OK) {
        sm_job_free(&job);
        return status;
    }
    *out = job;
    return SM_OK;
}
