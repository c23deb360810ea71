/*
 * The survey after the work: read and aligned like any other, stored as a recheck of its segment together with the
 * reviewer's words on it. Nothing is compared here; the audit does that, each time anew.
 */
#include <string.h>

#include "job_internal.h"

struct rechecking {
    const struct sm_job_recheck_opts *opts;
    struct sm_job_rechecked *result;
    struct sm_job *job;
    struct sm_store *store;
    struct sm_store_surveys *surveys;
    struct sm_job__record record;
    struct sm_error *err;
};

/* ---- which segment ---- */

static bool is_same(const char *a, const char *b)
{
    return a && b && *a && *b && sm_ascii_ieq(a, b);
}

/* The same name, or the same two access points, from whichever end. */
static bool fits(const struct sm_segment *stored, const struct sm_segment *ours, bool by_name)
{
    if (by_name) {
        return is_same(stored->id, ours->id);
    }
    return (is_same(stored->from, ours->from) && is_same(stored->to, ours->to)) ||
           (is_same(stored->from, ours->to) && is_same(stored->to, ours->from));
}

static const char *find_segment(const struct rechecking *r)
{
    for (int by_name = 1; by_name >= 0; by_name--) {
        for (size_t i = 0; i < r->surveys->n; i++) {
            const struct sm_store_survey *item = &r->surveys->item[i];
            if (item->kind == SM_SURVEY_FIRST && fits(&item->segment, &r->job->merged.segment, by_name)) {
                return item->segment.id;
            }
        }
    }
    return NULL;
}

static enum sm_status settle_segment(struct rechecking *r)
{
    const char *found = find_segment(r);
    if (found) {
        r->result->segment = sm_arena_strdup(r->result->arena, found);
        return r->result->segment ? SM_OK : sm_job__no_memory(r->err);
    }
    sm_error_at(r->err, SM_E_NOTFOUND, r->opts->sheet_path, 0, 0,
                "the job has no first survey of segment \"%s\": there is nothing to recheck", r->job->merged.segment.id);
    sm_error_remedy(r->err, "give [segment] the id the first survey has, or store that survey first");
    return SM_E_NOTFOUND;
}

/* ---- not the first survey once more ---- */

static bool is_evidence(const char *role)
{
    return strcmp(role, "video") == 0 || strcmp(role, "log") == 0;
}

static bool has_input(const struct sm_store_record *survey, const struct sm_store_input *input)
{
    for (size_t i = 0; i < survey->n_inputs; i++) {
        if (is_evidence(survey->input[i].role) && strcmp(survey->input[i].sha256, input->sha256) == 0) {
            return true;
        }
    }
    return false;
}

static enum sm_status check_one(struct rechecking *r, const struct sm_store_record *survey)
{
    for (size_t i = 0; i < r->record.n_inputs; i++) {
        const struct sm_store_input *input = &r->record.input[i];
        if (is_evidence(input->role) && has_input(survey, input)) {
            sm_error_at(r->err, SM_E_CONFLICT, input->path, 0, 0, "is the %s of the first survey of %s", input->role,
                        r->result->segment);
            sm_error_remedy(r->err, "name the files of the survey after the work");
            return SM_E_CONFLICT;
        }
    }
    return SM_OK;
}

static enum sm_status check_files(struct rechecking *r)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < r->surveys->n; i++) {
        const struct sm_store_survey *item = &r->surveys->item[i];
        struct sm_store_record *survey = NULL;
        if (item->kind != SM_SURVEY_FIRST || strcmp(item->segment.id, r->result->segment) != 0) {
            continue;
        }
        status = sm_store_get_results(&survey, r->store, item->survey_id, r->err);
        if (status == SM_OK) {
            status = check_one(r, survey);
        }
        sm_store_record_free(&survey);
    }
    return status;
}

/* ---- storing ---- */

static enum sm_status find_key(struct rechecking *r, int64_t survey_id)
{
    struct sm_store_surveys *surveys = NULL;
    enum sm_status status = sm_store_list_surveys(&surveys, r->store, r->result->segment, r->err);
    for (size_t i = 0; status == SM_OK && i < surveys->n; i++) {
        if (surveys->item[i].survey_id == survey_id) {
            r->result->survey_key = sm_arena_strdup(r->result->arena, surveys->item[i].key);
        }
    }
    sm_store_surveys_free(&surveys);
    return status == SM_OK && !r->result->survey_key ? sm_job__no_memory(r->err) : status;
}

static enum sm_status put_words(struct rechecking *r)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < r->opts->n_words; i++) {
        const struct sm_job_liner_word *word = &r->opts->word[i];
        struct sm_verdict verdict = {r->result->segment, r->result->survey_key, word->repair, word->word,
                                     word->remark,       r->opts->now,          r->opts->who};
        status = sm_store_put_verdict(r->store, &verdict, r->err);
    }
    return status;
}

static enum sm_status put(struct rechecking *r)
{
    struct sm_job_delivery delivery = {.now = r->opts->now, .who = r->opts->who, .kind = SM_SURVEY_RECHECK,
                                       .segment = r->result->segment};
    int64_t survey_id = 0;
    enum sm_status status = check_files(r);
    if (status == SM_OK) {
        status = sm_job__record_put(r->store, &r->record, r->job, &delivery, &survey_id, &r->result->is_known, r->err);
    }
    if (status == SM_OK) {
        status = find_key(r, survey_id);
    }
    return status == SM_OK ? put_words(r) : status;
}

static enum sm_status store_recheck(struct rechecking *r)
{
    enum sm_status status = sm_store_open(&r->store, r->opts->job_path, SM_STORE_CHANGE, r->err);
    if (status == SM_OK) {
        status = sm_store_begin(r->store, r->err);
    }
    if (status == SM_OK) {
        status = sm_store_list_surveys(&r->surveys, r->store, NULL, r->err);
    }
    if (status == SM_OK) {
        status = settle_segment(r);
    }
    if (status == SM_OK) {
        status = put(r);
    }
    return status == SM_OK ? sm_store_commit(r->store, r->err) : status;
}

/* A job that is not there is told before minutes are spent on a video. */
static enum sm_status check_job(const struct rechecking *r)
{
    struct sm_store *store = NULL;
    enum sm_status status = sm_job__open_to_read(&store, r->opts->job_path, r->err);
    sm_store_close(&store);
    return status;
}

void sm_job_rechecked_free(struct sm_job_rechecked **rechecked)
{
    if (rechecked && *rechecked) {
        sm_job_free(&(*rechecked)->job);
        sm_arena_free(&(*rechecked)->arena);
        sm_free(*rechecked);
        *rechecked = NULL;
    }
}

enum sm_status sm_job_recheck(struct sm_job_rechecked **out, const struct sm_job_recheck_opts *opts, struct sm_error *err)
{
    struct sm_job_rechecked *result = sm_calloc(1, sizeof *result);
    if (!result || sm_arena_new(&result->arena) != SM_OK) {
        sm_free(result);
        return sm_job__no_memory(err);
    }
    struct rechecking r = {.opts = opts, .result = result, .err = err};
    struct sm_job_opts survey = {.sheet_path = opts->sheet_path, .n_changes = opts->n_changes, .change = opts->change,
                                 .progress = opts->progress, .progress_user = opts->progress_user};
    enum sm_status status = check_job(&r);
    if (status == SM_OK) {
        status = sm_job_schedule(&result->job, &survey, err);
    }
    r.job = result->job;
    if (status == SM_OK) {
        status = sm_job__record_make(&r.record, r.job, err);
    }
    if (status == SM_OK) {
        status = store_recheck(&r);
    }
    sm_store_surveys_free(&r.surveys);
    sm_store_close(&r.store);
    sm_job__record_release(&r.record);
    if (status != SM_OK) {
        sm_job_rechecked_free(&result);
        return status;
    }
    *out = result;
    return SM_OK;
}
