/*
 * Exact frames for people who look: one thread decodes, any number wait for it.
 *
 * A frame asked for comes first, the one asked last before the others: who scrubs does not want the places passed.
 * Then frames are fetched ahead in the direction of travel. Backwards is the hard way, since every decoder only goes
 * forwards: there a run of frames before the one asked is kept while the decoder passes them.
 *
 *   asked -> wanted list -> worker: scan of a run -> JPEGs in slots -> who waits wakes up
 *
 * JPEGs live in one slot per frame, linked in the order of their use; the oldest go when they no longer fit.
 */
#include "job_internal.h"

#include <pthread.h>
#include <string.h>

enum {
    QUALITY = 82,
    BACK_RUN = 12,   /* frames kept before one asked for backwards */
    AHEAD_RUN = 24,  /* frames fetched ahead in one run */
    AHEAD = 60,      /* frames kept ready in the direction of travel */
    AHEAD_REST = 12, /* on each side when nobody travels */
    MAX_STRIDE = 64,
    NONE = -1
};
/* A frame whose time is this near is meant. */
#define SAME_S 0.0005

struct slot {
    char *jpeg; /* NULL = not here */
    size_t n;
    int32_t newer, older;
    bool is_lost; /* nothing decodes there */
};

/* Someone waiting; lives on their stack. */
struct wanted {
    size_t idx;
    int heading;
    struct wanted *next;
};

struct sm_job_frames {
    struct sm_media *media;
    size_t n;
    double *time_s;
    struct slot *slot;
    int32_t newest, oldest;
    size_t bytes, limit_bytes;
    pthread_mutex_t lock;
    pthread_cond_t work, done;
    pthread_t worker;
    bool has_worker, is_closing;
    struct wanted *wanted; /* the latest first */
    size_t at;             /* the frame looked at */
    size_t *likely;        /* frames that somebody may jump to, fetched when nothing else is to do */
    size_t n_likely;
    const struct run *running; /* what the worker is about, NULL = nothing */
    int heading;           /* direction and stride of travel */
    bool is_ahead_done;    /* nothing left to fetch ahead from here */
};

/* ---- slots ---- */

static void unlink_slot(struct sm_job_frames *frames, int32_t idx)
{
    struct slot *slot = &frames->slot[idx];
    *(slot->newer == NONE ? &frames->newest : &frames->slot[slot->newer].older) = slot->older;
    *(slot->older == NONE ? &frames->oldest : &frames->slot[slot->older].newer) = slot->newer;
}

static void link_newest(struct sm_job_frames *frames, int32_t idx)
{
    struct slot *slot = &frames->slot[idx];
    slot->newer = NONE;
    slot->older = frames->newest;
    *(frames->newest == NONE ? &frames->oldest : &frames->slot[frames->newest].newer) = idx;
    frames->newest = idx;
}

static void drop_oldest(struct sm_job_frames *frames)
{
    int32_t idx = frames->oldest;
    struct slot *slot = &frames->slot[idx];
    unlink_slot(frames, idx);
    frames->bytes -= slot->n;
    sm_free(slot->jpeg);
    slot->jpeg = NULL;
}

/* Take a JPEG over. Called with the lock held. */
static void keep(struct sm_job_frames *frames, size_t idx, struct sm_text *jpeg)
{
    struct slot *slot = &frames->slot[idx];
    if (!slot->jpeg && jpeg->data) {
        slot->jpeg = jpeg->data;
        slot->n = jpeg->length;
        *jpeg = (struct sm_text){0};
        frames->bytes += slot->n;
        link_newest(frames, (int32_t)idx);
    }
    while (frames->bytes > frames->limit_bytes && frames->oldest != frames->newest) {
        drop_oldest(frames);
    }
    pthread_cond_broadcast(&frames->done);
}

static bool is_settled(const struct sm_job_frames *frames, size_t idx)
{
    return frames->slot[idx].jpeg || frames->slot[idx].is_lost;
}

/* ---- times ---- */

size_t sm_job_frames_count(const struct sm_job_frames *frames)
{
    return frames->n;
}

double sm_job_frames_duration(const struct sm_job_frames *frames)
{
    return sm_media_get_info(frames->media)->duration_s;
}

void sm_job_frames_size(const struct sm_job_frames *frames, int32_t *width_px, int32_t *height_px,
                        double *pixel_aspect)
{
    const struct sm_media_info *info = sm_media_get_info(frames->media);
    *width_px = info->width_px;
    *height_px = info->height_px;
    *pixel_aspect = info->pixel_aspect;
}

double sm_job_frames_time(const struct sm_job_frames *frames, size_t idx)
{
    return frames->time_s[idx];
}

size_t sm_job_frames_at(const struct sm_job_frames *frames, double time_s)
{
    size_t low = 0;
    size_t high = frames->n;
    while (low + 1 < high) {
        size_t middle = low + (high - low) / 2;
        if (frames->time_s[middle] <= time_s + SAME_S) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return low;
}

/* ---- the worker ---- */

/* A run of frames under way. */
struct run {
    struct sm_job_frames *frames;
    size_t first, last, anchor;
    size_t stride; /* only every so-manyth from anchor is kept */
    bool is_ahead; /* gives way to who waits */
};

static bool is_within(const struct run *run, size_t idx)
{
    return idx >= run->first && idx <= run->last;
}

/* The latest one asked for that is not here yet; NULL = none. Called with the lock held. */
static const struct wanted *latest_wanted(const struct sm_job_frames *frames)
{
    const struct wanted *wanted = frames->wanted;
    while (wanted && is_settled(frames, wanted->idx)) {
        wanted = wanted->next;
    }
    return wanted;
}

/* Someone waits for a frame that this run does not bring, and it has brought what it was made for. Lock held. */
static bool must_give_way(const struct run *run)
{
    const struct sm_job_frames *frames = run->frames;
    const struct wanted *wanted = latest_wanted(frames);
    bool is_spare = run->is_ahead || is_settled(frames, run->anchor);
    return frames->is_closing || (is_spare && wanted && !is_within(run, wanted->idx));
}

/* Asked by the decoder on its way to a frame, which may be long. */
static bool goes_on(void *user)
{
    struct sm_job_frames *frames = user;
    pthread_mutex_lock(&frames->lock);
    bool gives_way = frames->running && must_give_way(frames->running);
    pthread_mutex_unlock(&frames->lock);
    return !gives_way;
}

static bool is_of_run(const struct run *run, size_t idx)
{
    size_t away = idx > run->anchor ? idx - run->anchor : run->anchor - idx;
    return is_within(run, idx) && away % run->stride == 0;
}

static enum sm_status take_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct run *run = user;
    struct sm_job_frames *frames = run->frames;
    size_t idx = sm_job_frames_at(frames, frame->time_s);
    pthread_mutex_lock(&frames->lock);
    bool gives_way = must_give_way(run);
    bool is_needed = is_of_run(run, idx) && !frames->slot[idx].jpeg;
    pthread_mutex_unlock(&frames->lock);
    if (gives_way) {
        return SM_E_CANCELLED;
    }
    if (!is_needed) {
        return SM_OK;
    }
    struct sm_text jpeg = {0};
    enum sm_status status = sm_media_frame_jpeg(frames->media, QUALITY, &jpeg, err);
    pthread_mutex_lock(&frames->lock);
    if (status == SM_OK) {
        keep(frames, idx, &jpeg);
    }
    pthread_mutex_unlock(&frames->lock);
    sm_text_release(&jpeg);
    return status;
}

/* Decode from run->first to run->last. @return false when nothing more can come of it. */
static bool scan(struct run *run)
{
    struct sm_job_frames *frames = run->frames;
    frames->running = run; /* the worker's own, read by nobody else */
    enum sm_status status = sm_media_scan(frames->media, frames->time_s[run->first] - SAME_S / 2,
                                          frames->time_s[run->last] + SAME_S / 2, 0, false, take_frame, run, NULL);
    frames->running = NULL;
    return status == SM_OK || status == SM_E_CANCELLED;
}

/* What is on screen at a frame that does not decode itself: the one before, as a player shows it. */
static void settle_lost(struct sm_job_frames *frames, size_t idx)
{
    struct sm_text jpeg = {0};
    enum sm_status status = sm_media_still_jpeg(frames->media, frames->time_s[idx], QUALITY, &jpeg, NULL);
    pthread_mutex_lock(&frames->lock);
    if (status == SM_OK) {
        keep(frames, idx, &jpeg);
    } else {
        frames->slot[idx].is_lost = true;
        pthread_cond_broadcast(&frames->done);
    }
    pthread_mutex_unlock(&frames->lock);
    sm_text_release(&jpeg);
}

/* One run for it and for those near it that are waited for too, and on a little: a decoder goes forwards only, so they cost
 * little more together than one of them alone, and starting again behind the first would cost all the way to it once more.
 * Called with the lock held. */
static struct run run_for(struct sm_job_frames *frames, const struct wanted *latest)
{
    size_t idx = latest->idx;
    size_t back = latest->heading < 0 ? BACK_RUN : 0;
    size_t on = latest->heading < 0 ? 0 : AHEAD_REST;
    struct run run = {frames, idx > back ? idx - back : 0, idx + on < frames->n ? idx + on : frames->n - 1, idx, 1, false};
    for (const struct wanted *w = frames->wanted; w; w = w->next) {
        bool is_near = w->idx + AHEAD_RUN >= idx && w->idx <= idx + AHEAD_RUN;
        if (is_near && !is_settled(frames, w->idx)) {
            run.first = w->idx < run.first ? w->idx : run.first;
            run.last = w->idx > run.last ? w->idx : run.last;
        }
    }
    return run;
}

static void bring(struct run *run)
{
    struct sm_job_frames *frames = run->frames;
    (void)scan(run);
    pthread_mutex_lock(&frames->lock);
    bool is_there = is_settled(frames, run->anchor) || frames->is_closing;
    pthread_mutex_unlock(&frames->lock);
    if (!is_there) {
        settle_lost(frames, run->anchor);
    }
}

/* The first frame not here on the way from at. @return its index; n when all are. Called with the lock held. */
static size_t first_missing(const struct sm_job_frames *frames, int step, size_t n_frames)
{
    size_t stride = (size_t)(step < 0 ? -step : step);
    for (size_t k = 1; k <= n_frames / (stride > 1 ? 2 : 1); k++) {
        size_t away = k * stride;
        if (step < 0 ? away > frames->at : frames->at + away >= frames->n) {
            break;
        }
        size_t idx = step < 0 ? frames->at - away : frames->at + away;
        if (!is_settled(frames, idx)) {
            return idx;
        }
    }
    return frames->n;
}

/* Choose what to fetch ahead. @return false when all is there. Called with the lock held. */
static bool choose_ahead(struct run *run, struct sm_job_frames *frames)
{
    static const int resting[] = {1, -1};
    int one[] = {frames->heading};
    const int *step = frames->heading ? one : resting;
    for (int i = 0; i < (frames->heading ? 1 : 2); i++) {
        size_t idx = first_missing(frames, step[i], frames->heading ? AHEAD : AHEAD_REST);
        if (idx < frames->n) {
            size_t stride = (size_t)(step[i] < 0 ? -step[i] : step[i]);
            size_t span = (size_t)AHEAD_RUN * stride;
            *run = (struct run){frames, idx, idx, idx, stride, true};
            if (step[i] < 0) {
                run->first = idx > span ? idx - span : 0;
            } else {
                run->last = idx + span < frames->n ? idx + span : frames->n - 1;
            }
            return true;
        }
    }
    return false;
}

/* The next place somebody may jump to, as long as half of the room is left. @return false when there is none. Lock held. */
static bool choose_likely(struct run *run, struct sm_job_frames *frames)
{
    for (size_t i = 0; i < frames->n_likely && frames->bytes < frames->limit_bytes / 2; i++) {
        size_t idx = frames->likely[i];
        if (!is_settled(frames, idx)) {
            *run = (struct run){frames, idx, idx, idx, 1, true};
            return true;
        }
    }
    return false;
}

static void fetch_ahead(struct run *run)
{
    struct sm_job_frames *frames = run->frames;
    size_t idx = run->anchor;
    bool is_good = scan(run);
    pthread_mutex_lock(&frames->lock);
    bool was_cut = must_give_way(run);
    bool is_there = is_settled(frames, idx);
    pthread_mutex_unlock(&frames->lock);
    if (!is_there && (!is_good || !was_cut)) {
        settle_lost(frames, idx);
    }
}

static void *work(void *user)
{
    struct sm_job_frames *frames = user;
    pthread_mutex_lock(&frames->lock);
    while (!frames->is_closing) {
        struct run run;
        const struct wanted *wanted = latest_wanted(frames);
        if (wanted) {
            run = run_for(frames, wanted);
            pthread_mutex_unlock(&frames->lock);
            bring(&run);
        } else if (!frames->is_ahead_done && (choose_ahead(&run, frames) || choose_likely(&run, frames))) {
            pthread_mutex_unlock(&frames->lock);
            fetch_ahead(&run);
        } else {
            frames->is_ahead_done = true;
            pthread_cond_wait(&frames->work, &frames->lock);
            continue;
        }
        pthread_mutex_lock(&frames->lock);
    }
    pthread_cond_broadcast(&frames->done);
    pthread_mutex_unlock(&frames->lock);
    return NULL;
}

/* ---- asking ---- */

static void forget(struct sm_job_frames *frames, const struct wanted *wanted)
{
    for (struct wanted **at = &frames->wanted; *at; at = &(*at)->next) {
        if (*at == wanted) {
            *at = wanted->next;
            return;
        }
    }
}

/* Called with the lock held. */
static void wait_for(struct sm_job_frames *frames, size_t idx, int heading)
{
    struct wanted wanted = {idx, heading, frames->wanted};
    frames->wanted = &wanted;
    pthread_cond_signal(&frames->work);
    while (!is_settled(frames, idx) && !frames->is_closing) {
        pthread_cond_wait(&frames->done, &frames->lock);
    }
    forget(frames, &wanted);
}

enum sm_status sm_job_frames_get(struct sm_job_frames *frames, size_t idx, int heading, struct sm_text *out,
                                 struct sm_error *err)
{
    if (idx >= frames->n) {
        return sm_error_set(err, SM_E_NOTFOUND, "the video has no frame there");
    }
    heading = heading > MAX_STRIDE ? MAX_STRIDE : heading < -MAX_STRIDE ? -MAX_STRIDE : heading;
    pthread_mutex_lock(&frames->lock);
    frames->at = idx;
    frames->heading = heading;
    frames->is_ahead_done = false;
    if (!is_settled(frames, idx)) {
        wait_for(frames, idx, heading);
    } else {
        pthread_cond_signal(&frames->work);
    }
    enum sm_status status = SM_OK;
    const struct slot *slot = &frames->slot[idx];
    if (slot->jpeg) {
        unlink_slot(frames, (int32_t)idx);
        link_newest(frames, (int32_t)idx);
        sm_text_add_n(out, slot->jpeg, slot->n);
        status = out->failed ? sm_job__no_memory(err) : SM_OK;
    } else {
        status = frames->is_closing ? sm_error_set(err, SM_E_CANCELLED, "closing")
                                    : sm_error_set(err, SM_E_NOTFOUND, "nothing decodes at that time");
    }
    pthread_mutex_unlock(&frames->lock);
    return status;
}

bool sm_job_frames_is_ready(struct sm_job_frames *frames, size_t idx)
{
    pthread_mutex_lock(&frames->lock);
    bool is_ready = idx < frames->n && frames->slot[idx].jpeg;
    pthread_mutex_unlock(&frames->lock);
    return is_ready;
}

enum sm_status sm_job_frames_expect(struct sm_job_frames *frames, const double *time_s, size_t n, struct sm_error *err)
{
    size_t *likely = sm_calloc(n + 1, sizeof *likely);
    size_t n_likely = 0;
    if (!likely) {
        return sm_job__no_memory(err);
    }
    for (size_t i = 0; i < n && frames->n; i++) {
        if (isfinite(time_s[i])) {
            likely[n_likely++] = sm_job_frames_at(frames, time_s[i]);
        }
    }
    pthread_mutex_lock(&frames->lock);
    size_t *before = frames->likely;
    frames->likely = likely;
    frames->n_likely = n_likely;
    frames->is_ahead_done = false;
    pthread_cond_signal(&frames->work);
    pthread_mutex_unlock(&frames->lock);
    sm_free(before);
    return SM_OK;
}

/* ---- opening ---- */

void sm_job_frames_close(struct sm_job_frames **frames)
{
    if (!frames || !*frames) {
        return;
    }
    struct sm_job_frames *f = *frames;
    if (f->has_worker) {
        pthread_mutex_lock(&f->lock);
        f->is_closing = true;
        pthread_cond_signal(&f->work);
        pthread_cond_broadcast(&f->done);
        pthread_mutex_unlock(&f->lock);
        pthread_join(f->worker, NULL);
    }
    for (size_t i = 0; f->slot && i < f->n; i++) {
        sm_free(f->slot[i].jpeg);
    }
    pthread_mutex_destroy(&f->lock);
    pthread_cond_destroy(&f->work);
    pthread_cond_destroy(&f->done);
    sm_media_close(&f->media);
    sm_free(f->likely);
    sm_free(f->slot);
    sm_free(f->time_s);
    sm_free(f);
    *frames = NULL;
}

static enum sm_status list_frames(struct sm_job_frames *frames, struct sm_error *err)
{
    frames->n = sm_media_get_info(frames->media)->n_frames;
    frames->time_s = sm_calloc(frames->n + 1, sizeof *frames->time_s);
    frames->slot = sm_calloc(frames->n + 1, sizeof *frames->slot);
    if (!frames->time_s || !frames->slot) {
        return sm_job__no_memory(err);
    }
    for (size_t i = 0; i < frames->n; i++) {
        frames->time_s[i] = sm_media_get_packet(frames->media, i).time_s;
    }
    return SM_OK;
}

enum sm_status sm_job_frames_open(struct sm_job_frames **out, const char *const *video, size_t n_videos,
                                  size_t cache_bytes, struct sm_error *err)
{
    struct sm_job_frames *frames = sm_calloc(1, sizeof *frames);
    if (!frames) {
        return sm_job__no_memory(err);
    }
    frames->newest = frames->oldest = NONE;
    frames->limit_bytes = cache_bytes;
    pthread_mutex_init(&frames->lock, NULL);
    pthread_cond_init(&frames->work, NULL);
    pthread_cond_init(&frames->done, NULL);
    enum sm_status status = sm_media_open(&frames->media, video, n_videos, err);
    if (status == SM_OK) {
        status = list_frames(frames, err);
    }
    if (status == SM_OK) {
        sm_media_set_goes_on(frames->media, goes_on, frames);
    }
    if (status == SM_OK && pthread_create(&frames->worker, NULL, work, frames) != 0) {
        status = sm_error_set(err, SM_E_IO, "no thread can be started");
    }
    frames->has_worker = status == SM_OK;
    if (status != SM_OK) {
        sm_job_frames_close(&frames);
        return status;
    }
    *out = frames;
    return SM_OK;
}
