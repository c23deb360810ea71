/*
 * As-built rows into the job. Which plan a row speaks of: the one that counts, unless an earlier plan of the segment has
 * a repair of that name where the crew says it stopped and the one that counts has not (the crew had the earlier sheet).
 */
#include <string.h>

#include "stopmark/asbuilt.h"

#include "job_internal.h"

/* What the parts of one run share; surveys are loaded when they are first asked for. */
struct taking {
    struct sm_store *store;
    const struct sm_job_record_opts *opts;
    struct sm_job_recorded *result;
    struct sm_store_surveys *surveys;
    struct sm_job__stored **loaded; /* one a survey of the list, NULL = not loaded */
    char sha256[65];
    struct sm_error *err;
};

/* ---- which segment ---- */

static const char *only_segment(const struct taking *t, bool *is_several)
{
    const char *name = NULL;
    *is_several = false;
    for (size_t i = 0; i < t->surveys->n; i++) {
        const char *id = t->surveys->item[i].segment.id;
        *is_several = *is_several || (name && strcmp(name, id) != 0);
        name = name ? name : id;
    }
    return name;
}

static bool has_segment(const struct taking *t, const char *name)
{
    for (size_t i = 0; i < t->surveys->n; i++) {
        if (strcmp(t->surveys->item[i].segment.id, name) == 0) {
            return true;
        }
    }
    return false;
}

static enum sm_status no_segment(struct taking *t, const struct sm_as_built *row, const char *name)
{
    if (name) {
        sm_error_at(t->err, SM_E_NOTFOUND, t->opts->file, row->line, 0, "the job has no segment \"%s\"", name);
    } else if (t->surveys->n == 0) {
        sm_error_at(t->err, SM_E_NOTFOUND, t->opts->job_path, 0, 0, "the job holds no survey yet");
        sm_error_remedy(t->err, "put the survey in first: stopmark schedule SHEET --job %s", t->opts->job_path);
        return SM_E_NOTFOUND;
    } else {
        sm_error_at(t->err, SM_E_CONFLICT, t->opts->file, row->line, 0,
                    "the job holds several segments and the row does not say which");
    }
    struct sm_text names = {0};
    const char *last = "";
    for (size_t i = 0; i < t->surveys->n && names.length < 100; i++) {
        const char *id = t->surveys->item[i].segment.id;
        if (strcmp(id, last) != 0) {
            sm_text_addf(&names, "%s%s", names.length ? ", " : "", id);
            last = id;
        }
    }
    sm_error_remedy(t->err, "add a column segment, or --segment (%s)", sm_text_str(&names));
    sm_text_release(&names);
    return name ? SM_E_NOTFOUND : SM_E_CONFLICT;
}

static enum sm_status settle_segment(struct taking *t, struct sm_as_built *row)
{
    bool is_several = false;
    const char *only = only_segment(t, &is_several);
    const char *name = *row->segment ? row->segment : t->opts->segment;
    if (!name && (!only || is_several)) {
        return no_segment(t, row, NULL);
    }
    name = name ? name : only;
    row->segment = sm_arena_strdup(t->result->arena, name);
    if (!row->segment) {
        return sm_job__no_memory(t->err);
    }
    return has_segment(t, name) ? SM_OK : no_segment(t, row, name);
}

/* ---- which plan ---- */

static enum sm_status load(struct taking *t, size_t idx, const struct sm_audit_survey **out)
{
    enum sm_status status = t->loaded[idx] ? SM_OK
                                           : sm_job__stored_get(&t->loaded[idx], t->store,
                                                                t->surveys->item[idx].survey_id, false, t->err);
    *out = status == SM_OK ? &t->loaded[idx]->survey : NULL;
    return status;
}

/* How well a plan fits a row: it has the repair and the stop, it has the repair, it is a plan; -1 = it is none. A plan
 * that counts comes before one that no longer does. */
static int fitness(const struct sm_audit_survey *survey, const struct sm_as_built *row, bool is_current)
{
    const struct sm_repair *repair = sm_audit_find_repair(survey->plan, row->repair);
    if (!survey->plan || (!repair && !is_current)) {
        return -1;
    }
    if (!repair) {
        return 0;
    }
    double stop_m = ((double)repair->start_um + (double)repair->length_um / 2) / 1e6;
    double allowed_m = fmax(survey->sheet->rules.placement_m, 0.05);
    bool is_there = isfinite(row->stop_m) && fabs(row->stop_m - stop_m) <= allowed_m;
    return (is_there ? 4 : is_current ? 3 : 1) + (is_there && is_current);
}

static enum sm_status choose_plan(struct taking *t, const struct sm_as_built *row, const struct sm_audit_survey **best)
{
    int best_fitness = -1;
    *best = NULL;
    for (size_t i = t->surveys->n; i-- > 0;) { /* of equal ones the latest */
        const struct sm_store_survey *item = &t->surveys->item[i];
        const struct sm_audit_survey *survey = NULL;
        if (item->kind != SM_SURVEY_FIRST || strcmp(item->segment.id, row->segment) != 0) {
            continue;
        }
        enum sm_status status = load(t, i, &survey);
        if (status != SM_OK) {
            return status;
        }
        int found = fitness(survey, row, item->superseded_by == 0);
        if (found > best_fitness) {
            best_fitness = found;
            *best = survey;
        }
    }
    return SM_OK;
}

/* ---- rows ---- */

static enum sm_status keep_remarks(struct taking *t, struct sm_job_recorded_row *out,
                                   const struct sm_audit_remarks *remarks)
{
    struct sm_remark *copy = sm_arena_alloc(t->result->arena, remarks->n * sizeof *copy);
    for (size_t i = 0; copy && i < remarks->n; i++) {
        copy[i] = remarks->item[i];
        copy[i].message = sm_arena_strdup(t->result->arena, remarks->item[i].message);
        if (!copy[i].message) {
            return sm_job__no_memory(t->err);
        }
    }
    out->remark = copy;
    out->n_remarks = remarks->n;
    return copy ? SM_OK : sm_job__no_memory(t->err);
}

static enum sm_status put_row(struct taking *t, struct sm_job_recorded_row *out, const struct sm_audit_survey *survey)
{
    struct sm_recorded recorded = {
        .row = *out->row,
        .survey_key = survey ? survey->key : "",
        .is_planned = out->is_planned,
        .source = t->opts->file,
        .source_sha256 = t->sha256,
        .recorded_at = t->opts->now,
        .who = t->opts->who,
        .n_remarks = out->n_remarks,
        .remark = out->remark,
    };
    return sm_store_put_as_built(t->store, &recorded, &out->taken, t->err);
}

static enum sm_status take_row(struct taking *t, struct sm_as_built *row, struct sm_job_recorded_row *out)
{
    const struct sm_audit_survey *survey = NULL;
    struct sm_audit_remarks *remarks = NULL;
    enum sm_status status = settle_segment(t, row);
    if (status == SM_OK) {
        status = choose_plan(t, row, &survey);
    }
    if (status == SM_OK) {
        status = sm_audit_check_row(&remarks, row, survey, t->opts->now, t->err);
    }
    *out = (struct sm_job_recorded_row){.row = row};
    if (status == SM_OK) {
        out->is_planned = survey && sm_audit_find_repair(survey->plan, row->repair);
        status = keep_remarks(t, out, remarks);
    }
    if (status == SM_OK) {
        status = put_row(t, out, survey);
    }
    sm_audit_remarks_free(&remarks);
    t->result->n_of[out->taken] += status == SM_OK;
    return status;
}

static enum sm_status take_rows(struct taking *t)
{
    struct sm_as_built_file *file = t->result->file;
    t->result->row = sm_arena_alloc(t->result->arena, file->n_rows * sizeof *t->result->row);
    enum sm_status status = t->result->row ? sm_store_begin(t->store, t->err) : sm_job__no_memory(t->err);
    if (status == SM_OK) {
        status = sm_store_list_surveys(&t->surveys, t->store, NULL, t->err);
    }
    if (status == SM_OK) {
        t->loaded = sm_calloc(t->surveys->n, sizeof *t->loaded);
        status = t->loaded ? SM_OK : sm_job__no_memory(t->err);
    }
    for (size_t i = 0; status == SM_OK && i < file->n_rows; i++) {
        status = take_row(t, &file->row[i], &t->result->row[i]);
        t->result->n_rows = i + 1;
    }
    if (status != SM_OK) {
        sm_store_rollback(t->store);
        return status;
    }
    return sm_store_commit(t->store, t->err);
}

static void release(struct taking *t)
{
    for (size_t i = 0; t->loaded && i < t->surveys->n; i++) {
        sm_job__stored_free(&t->loaded[i]);
    }
    sm_free(t->loaded);
    sm_store_surveys_free(&t->surveys);
    sm_store_close(&t->store);
}

void sm_job_recorded_free(struct sm_job_recorded **recorded)
{
    if (recorded && *recorded) {
        sm_asbuilt_free(&(*recorded)->file);
        sm_arena_free(&(*recorded)->arena);
        sm_free(*recorded);
        *recorded = NULL;
    }
}

enum sm_status sm_job_record(struct sm_job_recorded **out, const struct sm_job_record_opts *opts, struct sm_error *err)
{
    struct sm_job_recorded *result = sm_calloc(1, sizeof *result);
    if (!result || sm_arena_new(&result->arena) != SM_OK) {
        sm_free(result);
        return sm_job__no_memory(err);
    }
    struct taking t = {.opts = opts, .result = result, .err = err};
    enum sm_status status = sm_asbuilt_read(&result->file, opts->file, err);
    if (status == SM_OK) {
        status = sm_file_sha256(opts->file, t.sha256, err);
    }
    if (status == SM_OK) {
        status = sm_store_open(&t.store, opts->job_path, SM_STORE_CHANGE, err);
    }
    if (status == SM_OK) {
        status = take_rows(&t);
    }
    release(&t);
    if (status != SM_OK) {
        sm_job_recorded_free(&result);
        return status;
    }
    *out = result;
    return SM_OK;
}
