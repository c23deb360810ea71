/*
 * Pictures -> sightings, for what the approach wishes to see. Wishes do not depend on each other, so several
 * threads can fulfil them, each with a source of pictures and a network of its own; the list of sightings is
 * sorted afterwards, and so is the same for any number of threads.
 */
#include "counter_internal.h"

#include <math.h>
#include <pthread.h>
#include <string.h>

#define FAR_S 1e9
#define TIMES_AT_ONCE 40 /* asked times served in one go; fixed, so that threads change nothing */
#define FIRST_ROUND_SHARE 0.6

/** One thread's part of the work. */
struct worker {
    struct sm_counter__eye *eye;
    struct sm_frame_source source;
    struct sm_counter__view view;
    struct sm_counter__sightings seen;
    struct sm_counter__change change;
    double same_until_s; /* last picture that looked like the last sighting */
    struct sm_counter__rest rest;
    struct sm_counter__look *look; /* the wish being fulfilled */
    const double *at_s;            /* of a batch of asked times; at_idx is the one being served */
    size_t at_idx;
    size_t first_seen;  /* of this wish, in seen */
    bool is_enough;     /* the wish is fulfilled before its end */
    enum sm_status status;
    struct sm_error err;
};

struct sm_counter__eye {
    size_t n_workers;
    struct worker *worker; /* [0] is the calling thread's */
    sm_progress_fn *progress;
    void *progress_user;
    double duration_s, done_share, round_share;
    pthread_mutex_t lock; /* guards next and is_stopped while threads run */
    struct sm_counter__look *look;
    size_t n_looks, next;
    bool is_stopped;
};

/* ---- one picture
 * ------------------------------------------------------------------------------------------- */

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "no memory for the readings");
}

static struct sm_counter__sighting *last_seen(struct worker *w)
{
    return w->seen.n > w->first_seen ? &w->seen.item[w->seen.n - 1] : NULL;
}

static enum sm_status sight(struct worker *w, const struct sm_image *image, double time_s,
                            struct sm_error *err)
{
    struct sm_counter__sighting sighting;
    enum sm_status status = sm_counter__sight(&sighting, w->view.reader, image, w->view.layout, w->view.faces,
                                              time_s, err);
    if (status == SM_OK && sm_counter__sightings_add(&w->seen, &sighting) != SM_OK) {
        status = no_memory(err);
    }
    return status;
}

/** The display has stepped: until the picture before, it showed what was last read. */
static enum sm_status sight_held(struct worker *w, struct sm_error *err)
{
    const struct sm_counter__sighting *last = last_seen(w);
    if (!last || w->same_until_s <= last->time_s) {
        return SM_OK;
    }
    struct sm_counter__sighting held = *last;
    held.time_s = w->same_until_s;
    return sm_counter__sightings_add(&w->seen, &held) == SM_OK ? SM_OK : no_memory(err);
}

/** Read a picture of a stretch gone through, when a digit has turned or a step is over. */
static enum sm_status sight_on(struct worker *w, const struct sm_frame *frame, struct sm_error *err)
{
    bool changed = sm_counter__has_changed(&w->change, &frame->image, w->view.layout);
    const struct sm_counter__sighting *last = last_seen(w);
    if (!changed && last && frame->time_s - last->time_s < w->look->step_s - 1e-3) {
        w->same_until_s = frame->time_s;
        return SM_OK;
    }
    enum sm_status status = changed ? sight_held(w, err) : SM_OK;
    if (status == SM_OK) {
        status = sight(w, &frame->image, frame->time_s, err);
    }
    if (status == SM_OK && sm_counter__change_keep(&w->change, &frame->image, w->view.layout) != SM_OK) {
        status = no_memory(err);
    }
    w->same_until_s = frame->time_s;
    return status;
}

static bool tell_progress(struct worker *w, double share)
{
    struct sm_counter__eye *eye = w->eye;
    if (w != &eye->worker[0] || !eye->progress) {
        return true;
    }
    double done = eye->done_share + eye->round_share * fmin(share, 1);
    return eye->progress(eye->progress_user, done * eye->duration_s, eye->duration_s);
}

static double share_done(const struct worker *w, double time_s)
{
    double length_s = w->look->end_s - w->look->start_s;
    double within = length_s > 0 ? (time_s - w->look->start_s) / length_s : 0;
    return ((double)(w->look - w->eye->look) + fmin(fmax(within, 0), 1)) / (double)w->eye->n_looks;
}

/** @return how the source is told that no more is wanted of this wish. */
static enum sm_status enough(struct worker *w)
{
    w->is_enough = true;
    return SM_E_CANCELLED;
}

static enum sm_status on_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct worker *w = user;
    bool goes_on = w->look->kind == SM_LOOK_THROUGH || w->look->kind == SM_LOOK_ALL;
    if (!tell_progress(w, share_done(w, frame->time_s))) {
        return sm_error_set(err, SM_E_CANCELLED, "stopped");
    }
    enum sm_status status = goes_on ? sight_on(w, frame, err) : sight(w, &frame->image, frame->time_s, err);
    w->look->has_seen = true;
    if (status == SM_OK && w->look->kind == SM_LOOK_MIDDLE) {
        return enough(w);
    }
    if (status == SM_OK && w->look->kind == SM_LOOK_THROUGH) {
        struct sm_counter__sighting now = *last_seen(w);
        now.time_s = frame->time_s;
        return sm_counter__rest_follows(&w->rest, w->look, &now, w->view.layout) ? enough(w) : SM_OK;
    }
    return status;
}

static enum sm_status on_asked(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct worker *w = user;
    w->look[w->at_idx].has_seen = true;
    return sight(w, &frame->image, w->at_s[w->at_idx], err);
}

/* ---- one wish
 * ---------------------------------------------------------------------------------------------- */

static enum sm_status fulfil_scan(struct worker *w, struct sm_error *err)
{
    const struct sm_counter__look *look = w->look;
    bool is_cheap = look->kind == SM_LOOK_SAMPLE || look->kind == SM_LOOK_MIDDLE;
    double step_s = look->kind == SM_LOOK_MIDDLE ? FAR_S : look->kind == SM_LOOK_ALL ? 0 : look->step_s;
    w->rest.n = 0;
    w->change.is_set = false;
    w->is_enough = false;
    w->first_seen = w->seen.n;
    enum sm_status status = w->source.scan(w->source.user, look->start_s, look->end_s, step_s, is_cheap,
                                           on_frame, w, err);
    if (w->is_enough) {
        status = SM_OK;
    }
    /* What stood to the end of the stretch was seen there, too. */
    return status == SM_OK && (look->kind == SM_LOOK_THROUGH || look->kind == SM_LOOK_ALL) ? sight_held(w, err)
                                                                                           : status;
}

static enum sm_status fulfil_at(struct worker *w, size_t n, struct sm_error *err)
{
    double at_s[TIMES_AT_ONCE];
    for (size_t i = 0; i < n; i++) {
        at_s[i] = w->look[i].start_s;
    }
    w->at_s = at_s;
    enum sm_status status = w->source.at(w->source.user, at_s, n, &w->at_idx, on_asked, w, err);
    w->at_s = NULL;
    return status;
}

/** How many wishes from first on are fulfilled together: asked times that follow each other. */
static size_t batch_size(const struct sm_counter__eye *eye, size_t first)
{
    size_t n = 1;
    while (eye->look[first].kind == SM_LOOK_AT && n < TIMES_AT_ONCE && first + n < eye->n_looks &&
           eye->look[first + n].kind == SM_LOOK_AT) {
        n++;
    }
    return n;
}

/** Take the next batch of wishes. @return its size, 0 = none left. */
static size_t next_batch(struct sm_counter__eye *eye, struct sm_counter__look **look)
{
    pthread_mutex_lock(&eye->lock);
    size_t n = eye->is_stopped || eye->next >= eye->n_looks ? 0 : batch_size(eye, eye->next);
    *look = &eye->look[eye->next];
    eye->next += n;
    pthread_mutex_unlock(&eye->lock);
    return n;
}

static void *work(void *user)
{
    struct worker *w = user;
    size_t n = 0;
    while (w->status == SM_OK && (n = next_batch(w->eye, &w->look)) > 0) {
        bool goes_on = tell_progress(w, share_done(w, w->look->start_s));
        w->status = !goes_on                       ? sm_error_set(&w->err, SM_E_CANCELLED, "stopped")
                    : w->look->kind == SM_LOOK_AT ? fulfil_at(w, n, &w->err)
                                                  : fulfil_scan(w, &w->err);
    }
    if (w->status != SM_OK) {
        pthread_mutex_lock(&w->eye->lock);
        w->eye->is_stopped = true;
        pthread_mutex_unlock(&w->eye->lock);
    }
    return NULL;
}

/* ---- all wishes
 * -------------------------------------------------------------------------------------------- */

/** Every worker works; a thread that cannot be started leaves its share to the others. */
static void work_all(struct sm_counter__eye *eye)
{
    pthread_t thread[SM_COUNTER_MAX_HELPERS];
    bool is_started[SM_COUNTER_MAX_HELPERS] = {false};
    for (size_t i = 1; i < eye->n_workers; i++) {
        is_started[i - 1] = pthread_create(&thread[i - 1], NULL, work, &eye->worker[i]) == 0;
    }
    work(&eye->worker[0]);
    for (size_t i = 1; i < eye->n_workers; i++) {
        if (is_started[i - 1]) {
            pthread_join(thread[i - 1], NULL);
        }
    }
}

enum sm_status sm_counter__eye_look(void *user, struct sm_counter__look *look, size_t n,
                                    struct sm_counter__sightings *seen, struct sm_error *err)
{
    struct sm_counter__eye *eye = user;
    eye->look = look;
    eye->n_looks = n;
    eye->next = 0;
    eye->is_stopped = false;
    work_all(eye);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < eye->n_workers; i++) {
        struct worker *w = &eye->worker[i];
        status = w->status;
        if (status != SM_OK && err) {
            *err = w->err;
        } else if (status == SM_OK && sm_counter__sightings_take(seen, &w->seen) != SM_OK) {
            status = no_memory(err);
        }
    }
    eye->done_share += eye->round_share;
    eye->round_share = 0.5 * (1 - eye->done_share);
    return status;
}

/* ---- the eye
 * ----------------------------------------------------------------------------------------------- */

static enum sm_status workers_make(struct sm_counter__eye *eye, struct sm_counter__view view,
                                   const struct sm_frame_source *source, const struct sm_counter_opts *opts,
                                   struct sm_error *err)
{
    eye->worker = sm_calloc(eye->n_workers, sizeof *eye->worker);
    if (!eye->worker) {
        return no_memory(err);
    }
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < eye->n_workers; i++) {
        struct worker *w = &eye->worker[i];
        w->eye = eye;
        w->source = i == 0 ? *source : opts->helper[i - 1];
        w->view = view;
        if (i > 0) {
            w->view.reader = NULL;
            status = sm_counter__reader_new(&w->view.reader, err);
        }
    }
    return status;
}

enum sm_status sm_counter__eye_new(struct sm_counter__eye **out, struct sm_counter__view view,
                                   const struct sm_frame_source *source, const struct sm_counter_opts *opts,
                                   struct sm_error *err)
{
    struct sm_counter__eye *eye = sm_calloc(1, sizeof *eye);
    if (!eye || pthread_mutex_init(&eye->lock, NULL) != 0) {
        sm_free(eye);
        return no_memory(err);
    }
    size_t n_helpers = opts ? opts->n_helpers : 0;
    eye->n_workers = 1 + (n_helpers < SM_COUNTER_MAX_HELPERS ? n_helpers : SM_COUNTER_MAX_HELPERS);
    eye->progress = opts ? opts->progress : NULL;
    eye->progress_user = opts ? opts->progress_user : NULL;
    eye->duration_s = source->duration_s;
    eye->round_share = FIRST_ROUND_SHARE;
    enum sm_status status = workers_make(eye, view, source, opts, err);
    if (status != SM_OK) {
        sm_counter__eye_free(&eye);
        return status;
    }
    *out = eye;
    return SM_OK;
}

void sm_counter__eye_free(struct sm_counter__eye **eye)
{
    if (!eye || !*eye) {
        return;
    }
    for (size_t i = 0; (*eye)->worker && i < (*eye)->n_workers; i++) {
        struct worker *w = &(*eye)->worker[i];
        sm_counter__sightings_release(&w->seen);
        sm_counter__change_release(&w->change);
        if (i > 0) {
            sm_counter__reader_free(&w->view.reader);
        }
    }
    sm_free((*eye)->worker);
    pthread_mutex_destroy(&(*eye)->lock);
    sm_free(*eye);
    *eye = NULL;
}
