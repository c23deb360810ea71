/*
 * The crew's documents out of the job file: of every segment as it was issued last, from what the job file holds of sheet,
 * log and tables; no video is read, stills are taken where it still lies. And what to load for all of them.
 */
#include "review_internal.h"

#include <string.h>

struct crew {
    const struct sm_job_crew_opts *opts;
    struct sm_load *load;
    struct sm_findings *findings;
    const struct sm_store_surveys *surveys;
    struct sm_arena *arena;
    struct sm_names taken; /* folders */
    struct sm_error *err;
};

static enum sm_status tell(struct crew *c, const char *segment, const char *text)
{
    enum sm_status status = sm_findings_add(c->findings, (enum sm_flag)0, SM_SEVERITY_NOTE, c->opts->job_path, 0, SM_NAN, -1,
                                            "%s: %s", segment, text);
    return status == SM_OK ? SM_OK : sm_job__no_memory(c->err);
}

/* Stills are taken where the recording is still what was surveyed. */
static enum sm_status open_media(struct crew *c, struct sm_job *job, const struct sm_job_review *review)
{
    const struct sm_job_video *video;
    const char *path[64];
    size_t n = sm_job_review_videos(review, &video);
    bool is_there = n > 0 && n <= sizeof path / sizeof *path;
    for (size_t i = 0; is_there && i < n; i++) {
        is_there = video[i].is_there;
        path[i] = video[i].path;
    }
    struct sm_error why = {0};
    if (is_there && sm_media_open(&job->media, path, n, &why) == SM_OK) {
        return SM_OK;
    }
    return n ? tell(c, job->merged.segment.id, "the video is not where it was: no stills") : SM_OK;
}

static enum sm_status deliver(struct crew *c, struct sm_job *job, const struct sm_job_review *review)
{
    const char *name = sm_job__name_survey(&c->taken, c->arena, job->merged.segment.id);
    struct sm_job_delivery delivery = {.out_dir = name ? sm_arena_printf(c->arena, "%s/%s", c->opts->out_dir, name) : NULL};
    enum sm_status status = delivery.out_dir ? open_media(c, job, review) : sm_job__no_memory(c->err);
    if (status == SM_OK) {
        status = sm_job_deliver(job, &delivery, NULL, c->err);
    }
    return status;
}

static enum sm_status take_segment(struct crew *c, const char *segment)
{
    struct sm_job_review *review = NULL;
    struct sm_job *job = NULL;
    enum sm_status status = sm_job_review_open(&review, c->opts->job_path, segment, c->err);
    if (status == SM_OK) {
        status = sm_job__review_as_issued(&job, review, c->err);
    }
    if (status == SM_OK && sm_job_review_unissued(review)) {
        status = tell(c, segment, "decisions made since the survey was issued are not in these sheets");
    }
    if (status == SM_OK) {
        status = sm_schedule_load_add(c->load, sm_job_get_schedule(job), c->err);
    }
    if (status == SM_OK && c->opts->out_dir) {
        status = deliver(c, job, review);
    }
    sm_job_free(&job);
    sm_job_review_close(&review);
    return status;
}

static enum sm_status take_all(struct crew *c)
{
    struct sm_job__step step = {c->opts->progress, c->opts->progress_user, "planning from the job file"};
    enum sm_status status = SM_OK;
    size_t n_taken = 0;
    for (size_t i = 0; status == SM_OK && i < c->surveys->n; i++) {
        const struct sm_store_survey *survey = &c->surveys->item[i];
        bool is_meant = survey->kind == SM_SURVEY_FIRST && survey->superseded_by == 0;
        if (is_meant && !sm_job__tell(&step, (double)i, (double)c->surveys->n)) {
            return sm_error_set(c->err, SM_E_CANCELLED, "stopped");
        }
        status = is_meant ? take_segment(c, survey->segment.id) : SM_OK;
        n_taken += is_meant;
    }
    if (status == SM_OK && n_taken == 0) {
        sm_error_at(c->err, SM_E_NOTFOUND, c->opts->job_path, 0, 0, "the job holds no such survey");
        return sm_error_remedy(c->err, "run stopmark schedule SHEET --job JOB first, or name another segment");
    }
    return status;
}

enum sm_status sm_job_crew(struct sm_load **out, struct sm_findings *findings, const struct sm_job_crew_opts *opts,
                           struct sm_error *err)
{
    struct sm_store *store = NULL;
    struct sm_store_surveys *surveys = NULL;
    struct crew c = {.opts = opts, .findings = findings, .err = err};
    enum sm_status status = sm_job__open_to_read(&store, opts->job_path, err);
    if (status == SM_OK) {
        status = sm_store_list_surveys(&surveys, store, opts->segment, err);
    }
    sm_store_close(&store);
    if (status == SM_OK && sm_arena_new(&c.arena) != SM_OK) {
        status = sm_job__no_memory(err);
    }
    if (status == SM_OK) {
        status = sm_schedule_load_new(&c.load, err);
    }
    if (status == SM_OK) {
        c.surveys = surveys;
        status = take_all(&c);
    }
    sm_store_surveys_free(&surveys);
    sm_names_release(&c.taken);
    sm_arena_free(&c.arena);
    if (status != SM_OK) {
        sm_schedule_load_free(&c.load);
        return status;
    }
    *out = c.load;
    return SM_OK;
}
