/* Recording to trace: open, find the counter, read it, wholly or within the part that is the survey. */
#include "stopmark/counter.h"
#include "stopmark/trace.h"

#include "job_internal.h"

#define SAME_FRAME_S 0.0005
#define DAMAGED_CONFIDENCE 0.5f

enum sm_status sm_job__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

bool sm_job__tell(void *step, double done, double total)
{
    const struct sm_job__step *told = step;
    return !told->progress || told->progress(told->user, told->doing, done, total);
}

enum sm_status sm_job__add_findings(struct sm_findings *to, const struct sm_findings *from,
                                    struct sm_error *err)
{
    for (size_t i = 0; i < from->n; i++) {
        const struct sm_finding *f = &from->item[i];
        if (sm_findings_add(to, f->flag, f->severity, f->source, f->line, f->time_s, f->entry_idx, "%s",
                            f->message) != SM_OK) {
            return sm_job__no_memory(err);
        }
    }
    return SM_OK;
}

size_t sm_job__inside(double *at_s, const double *time_s, size_t n, double duration_s)
{
    size_t n_at = 0;
    for (size_t i = 0; i < n; i++) {
        if (time_s[i] >= 0 && time_s[i] <= duration_s) {
            at_s[n_at++] = time_s[i];
        }
    }
    return n_at;
}

/* ---- a part of a recording ---- */

static enum sm_status scan_part(void *user, double start_s, double end_s, double step_s, bool cheap_only,
                                sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    const struct sm_job__part *part = user;
    double from_s = fmax(start_s, part->start_s); /* fmax and fmin pass over NaN */
    double to_s = fmin(end_s, part->end_s);
    return from_s <= to_s
               ? part->whole.scan(part->whole.user, from_s, to_s, step_s, cheap_only, fn, fn_user, err)
               : SM_OK;
}

static enum sm_status at_part(void *user, const double *time_s, size_t n, size_t *at_idx, sm_frame_fn *fn,
                              void *fn_user, struct sm_error *err)
{
    const struct sm_job__part *part = user;
    return part->whole.at(part->whole.user, time_s, n, at_idx, fn, fn_user, err);
}

static size_t coded_part(void *user, double start_s, double end_s, struct sm_coded_picture *out, size_t capacity)
{
    const struct sm_job__part *part = user;
    return part->whole.coded(part->whole.user, fmax(start_s, part->start_s), fmin(end_s, part->end_s), out, capacity);
}

struct sm_frame_source sm_job__part_source(struct sm_job__part *part)
{
    struct sm_frame_source source = part->whole;
    source.user = part;
    source.duration_s = fmin(source.duration_s, part->end_s);
    source.scan = scan_part;
    source.at = at_part;
    source.coded = part->whole.coded ? coded_part : NULL;
    return source;
}

/* ---- finding and reading ---- */

struct sm_job__part sm_job__part_of(const struct sm_job__reading *reading)
{
    return (struct sm_job__part){sm_media_source(reading->media), reading->start_s, reading->end_s};
}

/** Where two fields could be the counter, name both: which one it is, is for a person to say. */
static enum sm_status tell_rival(struct sm_findings *findings, const struct sm_counter *counter,
                                 struct sm_error *err)
{
    const struct sm_counter_candidate *rival = sm_counter_get_rival(counter);
    if (!findings || !rival) {
        return SM_OK;
    }
    struct sm_box taken = sm_counter_get_format(counter)->box;
    enum sm_status status =
        sm_findings_add(findings, SM_FLAG_UNSURE, SM_SEVERITY_WARNING, NULL, 0, SM_NAN, -1,
                        "two fields could be the counter: the one at box %d,%d,%d,%d was read, another "
                        "(\"%s\") is at box %d,%d,%d,%d; say "
                        "which by its box",
                        taken.x_px, taken.y_px, taken.width_px, taken.height_px, rival->example,
                        rival->box.x_px, rival->box.y_px, rival->box.width_px, rival->box.height_px);
    return status == SM_OK ? SM_OK : sm_job__no_memory(err);
}

enum sm_status sm_job__find(struct sm_counter **out, const struct sm_job__reading *reading,
                            struct sm_findings *findings, struct sm_error *err)
{
    struct sm_job__step step = {reading->progress, reading->progress_user, "looking for the counter"};
    struct sm_counter_seen seen = {0};
    struct sm_counter_opts opts = {.box = reading->box,
                                   .unit = reading->unit,
                                   .progress = sm_job__tell,
                                   .progress_user = &step,
                                   .seen = &seen};
    struct sm_job__part part = sm_job__part_of(reading);
    struct sm_frame_source source = sm_job__part_source(&part);
    enum sm_status status = sm_counter_find(out, &source, &opts, err);
    if (reading->picture && (status == SM_OK || status == SM_E_NOTFOUND)) {
        struct sm_error why = {0};
        if (sm_job__draw_seen(reading, &seen, &why) != SM_OK && status == SM_OK) {
            sm_counter_free(out);
            status = err ? (*err = why).status : why.status;
        }
    }
    return status == SM_OK ? tell_rival(findings, *out, err) : status;
}

/* A damaged picture can show digits of an earlier one, sharp as ever: what is read there is in doubt. */
static void doubt_damaged(struct sm_trace *trace, const struct sm_media *media)
{
    double start_s, end_s;
    for (size_t k = 0; sm_media_get_damage(media, k, &start_s, &end_s); k++) {
        for (size_t i = 0; i < trace->n_readings; i++) {
            struct sm_reading *reading = &trace->reading[i];
            if (reading->time_s >= start_s - SAME_FRAME_S && reading->time_s <= end_s + SAME_FRAME_S) {
                reading->confidence = fminf(reading->confidence, DAMAGED_CONFIDENCE);
            }
        }
    }
}

enum sm_status sm_job__read(struct sm_trace **out, struct sm_counter *counter,
                            const struct sm_job__reading *reading, const double *at_s, size_t n_at,
                            struct sm_error *err)
{
    struct sm_job__step step = {reading->progress, reading->progress_user, SM_JOB_READING};
    struct sm_counter_opts opts = {.box = reading->box,
                                   .unit = reading->unit,
                                   .progress = sm_job__tell,
                                   .progress_user = &step,
                                   .effort = reading->effort};
    struct sm_job__part part = sm_job__part_of(reading);
    struct sm_frame_source source = sm_job__part_source(&part);
    struct sm_job__helpers helpers;
    struct sm_trace *trace = NULL;
    enum sm_status status = sm_job__helpers_open(&helpers, reading, err);
    if (status == SM_OK) {
        opts.n_helpers = helpers.n;
        opts.helper = helpers.source;
        status = sm_counter_read_more(&trace, counter, &source, at_s, n_at, &opts, err);
    }
    status = sm_job__helpers_close(&helpers, reading, status, err);
    if (status != SM_OK) {
        sm_trace_free(&trace);
        return status;
    }
    doubt_damaged(trace, reading->media);
    *out = trace;
    return SM_OK;
}

/* The whole trace, from the picture and what stands beside it. */
static enum sm_status read_whole(struct sm_trace **out, const struct sm_job__reading *reading,
                                 const double *at_s, size_t n_at, const struct sm_distances *beside,
                                 struct sm_findings *findings, struct sm_error *err)
{
    struct sm_counter *counter = NULL;
    struct sm_error why = {0};
    enum sm_status status = sm_job__find(&counter, reading, findings, &why);
    if (status == SM_OK) {
        status = sm_job__read(out, counter, reading, at_s, n_at, err);
        status = status == SM_OK ? sm_job__beside_use(*out, beside, findings, err) : status;
    } else if (status == SM_E_NOTFOUND && beside) {
        status = sm_job__beside_alone(out, beside, reading, &why, findings, err);
    } else if (err) {
        *err = why;
    }
    sm_counter_free(&counter);
    return status;
}

static enum sm_status read_open(struct sm_trace **out, const struct sm_job__reading *reading,
                                const struct sm_job_read_opts *opts, struct sm_findings *findings,
                                struct sm_error *err)
{
    struct sm_job__beside from = {opts->n_distances, opts->n_videos, opts->distances, opts->video, NULL};
    struct sm_distances *beside = NULL;
    struct sm_trace *whole = NULL;
    double *at_s = sm_calloc(opts->n_at, sizeof *at_s);
    enum sm_status status =
        at_s ? sm_job__beside_find(&beside, &from, reading->media, findings, err) : sm_job__no_memory(err);
    if (status == SM_OK) {
        size_t n_at =
            sm_job__inside(at_s, opts->at_s, opts->n_at, sm_media_get_info(reading->media)->duration_s);
        status = read_whole(&whole, reading, at_s, n_at, beside, findings, err);
    }
    sm_distances_free(&beside);
    sm_free(at_s);
    if (status == SM_OK && opts->n_at) {
        status = sm_trace_pick(out, whole, opts->at_s, opts->n_at, err);
        sm_trace_free(&whole);
    } else if (status == SM_OK) {
        *out = whole;
    } else {
        sm_trace_free(&whole);
    }
    return status;
}

enum sm_status sm_job_read(struct sm_trace **out, const struct sm_job_read_opts *opts,
                           struct sm_findings *findings, struct sm_error *err)
{
    struct sm_media *media = NULL;
    enum sm_status status = sm_media_open(&media, opts->video, opts->n_videos, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_trace *trace = NULL;
    struct sm_job__reading reading = {.media = media,
                                      .box = opts->box,
                                      .unit = opts->unit,
                                      .start_s = SM_NAN,
                                      .end_s = SM_NAN,
                                      .n_threads = opts->n_threads,
                                      .effort =
                                          opts->is_thorough ? SM_COUNTER_EFFORT_FULL : SM_COUNTER_EFFORT_AUTO,
                                      .progress = opts->progress,
                                      .progress_user = opts->progress_user,
                                      .picture = opts->picture};
    status = read_open(&trace, &reading, opts, findings, err);
    if (status != SM_OK) {
        sm_error_source(err, opts->video[0]);
    } else if (findings) {
        status = sm_job__add_findings(findings, sm_media_get_findings(media), err);
    }
    sm_media_close(&media);
    if (status != SM_OK) {
        sm_trace_free(&trace);
        return status;
    }
    *out = trace;
    return SM_OK;
}
