/* What a review shows, and the counter read in another box. */
#include "review_internal.h"

#include "stopmark/trace.h"

const struct sm_job *sm_job_review_get_job(const struct sm_job_review *review)
{
    return review->now;
}

const struct sm_job *sm_job_review_get_first(const struct sm_job_review *review)
{
    return review->first;
}

const struct sm_store_record *sm_job_review_get_record(const struct sm_job_review *review)
{
    return review->record;
}

size_t sm_job_review_decisions(const struct sm_job_review *review, const struct sm_review_decision **out,
                               const bool **is_active)
{
    *out = review->decisions->item;
    *is_active = review->is_active;
    return review->decisions->n;
}

size_t sm_job_review_videos(const struct sm_job_review *review, const struct sm_job_video **out)
{
    *out = review->video;
    return review->n_videos;
}

/* Along the pipe as the observations around it say: counted metres between the two nearest with a reading. */
static double counted_m(const struct sm_job *job, double reading_m)
{
    const struct sm_alignment *alignment = job->alignment;
    const struct sm_observation *near = NULL;
    double digit_m = sm_last_digit_m(&job->trace->format);
    double best_m = SM_INFINITY;
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *o = &alignment->observation[i];
        double away_m = fabs((double)o->reading.counts * digit_m - reading_m);
        if (o->source == SM_DISTANCE_PICTURE && o->reading.state != SM_READING_HIDDEN && away_m < best_m) {
            best_m = away_m;
            near = o;
        }
    }
    return near ? near->distance_m + reading_m - (double)near->reading.counts * digit_m : reading_m;
}

enum sm_status sm_job_review_standstills(struct sm_job_standstill **out, size_t *n,
                                         const struct sm_job_review *review, double least_s,
                                         struct sm_error *err)
{
    const struct sm_job *job = review->now;
    struct sm_standstill *found = NULL;
    *n = 0;
    *out = NULL;
    enum sm_status status =
        job->trace ? sm_trace_standstills(&found, n, job->trace, least_s, err) : SM_OK;
    if (status == SM_OK && *n) {
        *out = sm_calloc(*n, sizeof **out);
        status = *out ? SM_OK : sm_job__no_memory(err);
    }
    for (size_t i = 0; status == SM_OK && i < *n; i++) {
        double reading_m = (double)found[i].counts * sm_last_digit_m(&job->trace->format);
        (*out)[i] = (struct sm_job_standstill){found[i].start_s, found[i].end_s, counted_m(job, reading_m)};
    }
    sm_free(found);
    return status;
}

/* ---- the counter elsewhere ---- */

enum sm_status sm_job_reread(struct sm_trace **out, const char *const *video, size_t n_videos,
                             struct sm_box box, enum sm_unit unit, const double *at_s, size_t n_at,
                             sm_job_progress_fn *progress, void *progress_user, struct sm_error *err)
{
    struct sm_media *media = NULL;
    struct sm_counter *counter = NULL;
    double *inside_s = sm_calloc(n_at + 1, sizeof *inside_s);
    enum sm_status status = inside_s ? sm_media_open(&media, video, n_videos, err) : sm_job__no_memory(err);
    struct sm_job__reading reading = {.media = media,
                                      .box = box,
                                      .unit = unit,
                                      .start_s = SM_NAN,
                                      .end_s = SM_NAN,
                                      .progress = progress,
                                      .progress_user = progress_user};
    struct sm_findings findings = {0};
    if (status == SM_OK) {
        n_at = sm_job__inside(inside_s, at_s, n_at, sm_media_get_info(media)->duration_s);
        status = sm_job__find(&counter, &reading, &findings, err);
    }
    if (status == SM_OK) {
        status = sm_job__read(out, counter, &reading, inside_s, n_at, err);
    }
    sm_counter_free(&counter);
    sm_media_close(&media);
    sm_findings_release(&findings);
    sm_free(inside_s);
    return status;
}

void sm_job_reread_free(struct sm_trace **trace)
{
    sm_trace_free(trace);
}
