/*
 * Several runs of one segment: each is worked like a survey of its own, then all are brought on the first
 * one's axis. The others are named by the sheet, or are the other inspections of the segment in a log that
 * came without a sheet.
 */
#include <math.h>
#include <stdio.h>

#include "job_internal.h"
#include "stopmark/align.h"
#include "stopmark/obslog.h"

enum { MOST_RUNS = SM_JOB__MOST_OTHERS + 1 };

struct runs {
    struct sm_job *job[MOST_RUNS]; /* [0] is borrowed */
    struct sm_run run[MOST_RUNS];
    size_t n;
};

static bool is_same(const char *a, const char *b)
{
    return a && b && sm_ascii_ieq(a, b);
}

/* Entered at the end where the first run went to? By the access points' names, else by the way the water
 * runs.
 * @return false when nothing says. */
static bool find_direction(bool *is_reverse, const struct sm_segment *first, const struct sm_segment *other)
{
    bool is_back = is_same(other->from, first->to) || is_same(other->to, first->from);
    bool is_along = is_same(other->from, first->from) || is_same(other->to, first->to);
    bool knows_flow = first->flow != SM_FLOW_UNKNOWN && other->flow != SM_FLOW_UNKNOWN;
    *is_reverse = is_back != is_along ? is_back : first->flow != other->flow;
    return is_back != is_along || knows_flow;
}

static enum sm_status tell(struct sm_job *job, const char *path, const char *what, struct sm_error *err)
{
    return sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_WARNING, path, 0, SM_NAN, -1, "%s",
                           what) == SM_OK
               ? SM_OK
               : sm_job__no_memory(err);
}

/* One more run, when it is of this segment. */
static enum sm_status add_run(struct runs *runs, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *first = runs->job[0], *other = NULL;
    const struct sm_segment *mine = &first->merged.segment;
    const char *path = opts->sheet_path;
    bool is_reverse = false;
    enum sm_status status = sm_job__place(&other, opts, err);
    if (status != SM_OK) {
        return status;
    }
    sm_media_close(&other->media); /* it was read; of several runs only one is open at a time */
    const struct sm_segment *its = &other->merged.segment;
    const char *why = mine->id && its->id && !sm_ascii_ieq(mine->id, its->id) && !is_same(mine->to, its->from)
                          ? "is of another segment: not used as another run of this one"
                      : !find_direction(&is_reverse, mine, its)
                          ? "does not say from which end the camera came: give [segment] from and to in both"
                          : NULL;
    if (why) {
        status = tell(first, path, why, err);
        sm_job_free(&other);
        return status;
    }
    runs->job[runs->n] = other;
    runs->run[runs->n++] = (struct sm_run){.alignment = other->alignment,
                                           .is_reverse = is_reverse,
                                           .name = path,
                                           .from = its->from,
                                           .date = other->merged.date};
    return SM_OK;
}

/* What only another run saw is no part of this plan: it must be said. */
static enum sm_status tell_unseen(struct sm_job *job, struct sm_error *err)
{
    const struct sm_joined *joined = job->joined;
    enum sm_status status = sm_job__add_findings(&job->own, &joined->findings, err);
    for (size_t i = 0; status == SM_OK && i < joined->n_defects; i++) {
        const struct sm_joined_defect *defect = &joined->defect[i];
        const struct sm_sighting *seen = &defect->sighting[0];
        if (seen->run_idx == 0) {
            continue;
        }
        struct sm_text text = {0};
        sm_text_addf(&text, "%s at ", defect->code);
        sm_text_add_fixed(&text, defect->distance_m, 2);
        sm_text_addf(&text, " m was seen by run %zu alone (its %s): it is not in this plan",
                     seen->run_idx + 1, seen->id);
        status = text.failed ? sm_job__no_memory(err)
                             : tell(job, joined->run[seen->run_idx].name, sm_text_str(&text), err);
        sm_text_release(&text);
    }
    return status;
}

/* The pipe's length where a sheet, a log or a finish node says it (NAN: align finds it), else the length that
 * an inspection was ordered for. */
static double find_length(const struct runs *runs)
{
    double ordered_m = SM_NAN;
    for (size_t i = 0; i < runs->n; i++) {
        if (!runs->run[i].alignment->is_length_assumed) {
            return SM_NAN;
        }
        ordered_m = isnan(ordered_m) ? runs->job[i]->log->inspection_length_m : ordered_m;
    }
    return ordered_m;
}

static enum sm_status add_others(struct runs *runs, struct sm_error *err)
{
    struct sm_job *first = runs->job[0];
    struct sm_job__others others;
    enum sm_status status = SM_OK;
    sm_job__others(&others, first);
    for (size_t i = 0; status == SM_OK && i < others.n; i++) {
        status = add_run(runs, &others.opts[i], err);
    }
    if (status == SM_OK && others.n_left_out) {
        char text[120];
        snprintf(text, sizeof text, "more runs of one segment than can be brought together: %zu are left out",
                 others.n_left_out);
        status = tell(first, first->sheet->path, text, err);
    }
    return status;
}

enum sm_status sm_job__join_runs(struct sm_job *job, struct sm_error *err)
{
    struct runs runs = {.job = {job},
                        .run = {{.alignment = job->alignment,
                                 .name = job->sheet->path,
                                 .from = job->merged.segment.from,
                                 .date = job->merged.date}},
                        .n = 1};
    enum sm_status status = add_others(&runs, err);
    if (status == SM_OK && runs.n > 1) {
        status = sm_align_join(&job->joined, runs.run, runs.n, find_length(&runs), SM_NAN, err);
        if (status == SM_E_RANGE) { /* no length to turn the other run round with: each stands by itself */
            status =
                tell(job, job->sheet->path, err ? err->text : "the runs cannot be brought together", err);
        } else if (status == SM_OK) {
            status = tell_unseen(job, err);
        }
    }
    for (size_t i = 1; i < runs.n; i++) {
        sm_job_free(&runs.job[i]);
    }
    return status;
}
