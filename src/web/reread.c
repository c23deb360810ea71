/* The counter's box marked by a reviewer: a thread reads the recording there, then the decision is made. */
#include "web_internal.h"

#include <string.h>

/* What the thread needs, copied: the review may move on meanwhile. */
struct sm_web__reread {
    struct sm_arena *arena;
    struct sm_review_decision decision;
    size_t n_videos, n_at;
    const char **video;
    double *at_s;
    enum sm_unit unit;
};

static bool tell(void *user, const char *doing, double done, double total)
{
    (void)doing;
    struct sm_web *web = user;
    pthread_mutex_lock(&web->lock);
    double frac = total > 0 ? done / total : 0;
    if (fabs(frac - web->reading_frac) >= 0.02) {
        web->reading_frac = frac;
        web->version++;
        pthread_cond_broadcast(&web->changed);
    }
    bool goes_on = !web->is_stopping;
    pthread_mutex_unlock(&web->lock);
    return goes_on;
}

static enum sm_status decide(struct sm_web *web, const struct sm_trace *trace, struct sm_error *err)
{
    const struct sm_review_decision *decision = &web->reread->decision;
    enum sm_status status = sm_job_review_keep_reread(web->review, decision, trace, err);
    return status == SM_OK ? sm_job_review_decide(web->review, decision, err) : status;
}

static void *run(void *user)
{
    struct sm_web *web = user;
    const struct sm_web__reread *reread = web->reread;
    struct sm_trace *trace = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_job_reread(&trace, reread->video, reread->n_videos, reread->decision.box, reread->unit,
                                          reread->at_s, reread->n_at, tell, web, &err);
    pthread_mutex_lock(&web->lock);
    if (status == SM_OK && !web->is_stopping) {
        status = decide(web, trace, &err);
    }
    if (status != SM_OK) {
        sm_strcopy(web->reading_trouble, sizeof web->reading_trouble, err.text[0] ? err.text : sm_status_text(status));
    }
    web->is_reading = false;
    web->version++;
    pthread_cond_broadcast(&web->changed);
    pthread_mutex_unlock(&web->lock);
    sm_job_reread_free(&trace);
    return NULL;
}

static bool copy_words(struct sm_web__reread *reread, const struct sm_review_decision *decision)
{
    reread->decision = *decision;
    const char **const word[] = {&reread->decision.at, &reread->decision.who, &reread->decision.reason};
    for (size_t i = 0; i < sizeof word / sizeof *word; i++) {
        if (*word[i]) {
            *word[i] = sm_arena_strdup(reread->arena, *word[i]);
            if (!*word[i]) {
                return false;
            }
        }
    }
    return true;
}

static bool copy_survey(struct sm_web__reread *reread, const struct sm_job_review *review)
{
    const struct sm_schedule *s = sm_job_get_schedule(sm_job_review_get_job(review));
    const struct sm_job_video *video;
    reread->n_videos = sm_job_review_videos(review, &video);
    reread->video = sm_arena_alloc(reread->arena, (reread->n_videos + 1) * sizeof *reread->video);
    reread->at_s = sm_arena_alloc(reread->arena, (s->alignment->n_observations + 1) * sizeof *reread->at_s);
    for (size_t i = 0; reread->video && i < reread->n_videos; i++) {
        reread->video[i] = video[i].path; /* lives as long as the review */
    }
    for (size_t i = 0; reread->at_s && i < s->alignment->n_observations; i++) {
        double time_s = s->alignment->observation[i].time_s;
        if (isfinite(time_s)) {
            reread->at_s[reread->n_at++] = time_s;
        }
    }
    reread->unit = s->sheet->counter_unit;
    return reread->video && reread->at_s;
}

static void release(struct sm_web *web)
{
    if (web->has_reader) {
        pthread_join(web->reader, NULL);
        web->has_reader = false;
    }
    if (web->reread) {
        sm_arena_free(&web->reread->arena);
        sm_free(web->reread);
        web->reread = NULL;
    }
}

enum sm_status sm_web__reread_start(struct sm_web *web, const struct sm_review_decision *decision, struct sm_error *err)
{
    if (web->is_reading || !web->frames) {
        sm_error_set(err, SM_E_CONFLICT, web->frames ? "the video is being read already" : "there is no video to read");
        return sm_error_remedy(err, web->frames ? "wait until it is done" : "put the video back and start again");
    }
    release(web); /* the one before has ended: nothing to wait for */
    web->reread = sm_calloc(1, sizeof *web->reread);
    if (!web->reread || sm_arena_new(&web->reread->arena) != SM_OK || !copy_words(web->reread, decision) ||
        !copy_survey(web->reread, web->review)) {
        release(web);
        return sm_web__no_memory(err);
    }
    web->is_reading = true;
    web->reading_frac = 0;
    web->reading_trouble[0] = '\0';
    if (pthread_create(&web->reader, NULL, run, web) != 0) {
        web->is_reading = false;
        release(web);
        return sm_error_set(err, SM_E_IO, "no thread can be started");
    }
    web->has_reader = true;
    web->version++;
    pthread_cond_broadcast(&web->changed);
    return SM_OK;
}

void sm_web__reread_end(struct sm_web *web)
{
    release(web);
}
