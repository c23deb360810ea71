/*
 * The chain, in the data's order:
 *   sheet -> log, codes -> recording, counter -> times of the entries -> trace read at these times ->
 * observations -> plan. Cheap steps come first, so that a mistake in a file is told before minutes are spent
 * on the video.
 */
#include <string.h>

#include "stopmark/align.h"
#include "stopmark/codes.h"
#include "stopmark/counter.h"
#include "stopmark/obslog.h"
#include "stopmark/plan.h"
#include "stopmark/sheet.h"
#include "stopmark/trace.h"

#include "job_internal.h"

void sm_job_free(struct sm_job **job)
{
    if (!job || !*job) {
        return;
    }
    if ((*job)->n_users > 0) { /* others still look at its places; its recording is not needed for that */
        (*job)->n_users--;
        sm_media_close(&(*job)->media);
        *job = NULL;
        return;
    }
    sm_joined_free(&(*job)->joined);
    sm_plan_free(&(*job)->plan);
    sm_alignment_free(&(*job)->alignment);
    sm_trace_free(&(*job)->trace);
    sm_distances_free(&(*job)->distances);
    sm_media_close(&(*job)->media);
    sm_codes_free(&(*job)->codes);
    sm_obslog_free(&(*job)->log);
    sm_sheet_free(&(*job)->sheet);
    sm_job__log_free(&(*job)->own_log);
    sm_findings_release(&(*job)->own);
    sm_findings_release(&(*job)->video);
    sm_findings_release(&(*job)->exported);
    sm_arena_free(&(*job)->arena);
    sm_free(*job);
    *job = NULL;
}

const struct sm_schedule *sm_job_get_schedule(const struct sm_job *job)
{
    return &job->schedule;
}

size_t sm_job_get_findings(const struct sm_job *job, const struct sm_store_findings **out)
{
    *out = job->findings;
    return SM_JOB__N_STAGES;
}

const struct sm_findings *sm_job_get_export_findings(const struct sm_job *job)
{
    return &job->exported;
}

/* ---- sheet, codes, log ---- */

static enum sm_status keep_changes(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job_change *copies = sm_arena_alloc(job->arena, opts->n_changes * sizeof *copies);
    for (size_t i = 0; copies && i < opts->n_changes; i++) {
        copies[i].key = sm_arena_strdup(job->arena, opts->change[i].key);
        copies[i].value = sm_arena_strdup(job->arena, opts->change[i].value);
        if (!copies[i].key || !copies[i].value) {
            return sm_job__no_memory(err);
        }
    }
    job->change = copies;
    job->n_changes = opts->n_changes;
    return copies ? SM_OK : sm_job__no_memory(err);
}

/* A log that came alone: what its surveys share, or it is read for this one. */
static enum sm_status find_log(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err)
{
    bool is_log = false;
    job->shared_log = opts->log;
    enum sm_status status = opts->log ? SM_OK : sm_job__is_log(&is_log, opts->sheet_path, err);
    if (status == SM_OK && is_log) {
        status = sm_job__log_open(&job->own_log, opts->sheet_path, err);
        job->shared_log = job->own_log;
    }
    return status;
}

static enum sm_status read_sheet(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err)
{
    enum sm_status status = find_log(job, opts, err);
    if (status == SM_OK) {
        status = job->shared_log ? sm_job__make_sheet(job, opts->inspection, err)
                                 : sm_sheet_read(&job->sheet, opts->sheet_path, err);
    }
    for (size_t i = 0; status == SM_OK && i < opts->n_changes; i++) {
        status = sm_sheet_set(job->sheet, opts->change[i].key, opts->change[i].value, err);
    }
    if (status == SM_OK && opts->n_changes) {
        status = sm_sheet_check(job->sheet, err);
    }
    if (status == SM_OK && !job->sheet->log) {
        sm_error_at(err, SM_E_FORMAT, opts->sheet_path, 0, 0, "the sheet names no log");
        sm_error_remedy(err, "add log = FILE to its [survey] section");
        return SM_E_FORMAT;
    }
    return status == SM_OK ? keep_changes(job, opts, err) : status;
}

static enum sm_status read_codes(struct sm_job *job, struct sm_error *err)
{
    return job->sheet->codes == SM_CODES_FILE ? sm_codes_read(&job->codes, job->sheet->codes_file, err)
                                              : sm_codes_builtin(&job->codes, job->sheet->codes, err);
}

static enum sm_status read_log(struct sm_job *job, enum sm_unit unit, struct sm_error *err)
{
    struct sm_obslog_opts opts = {.segment = job->sheet->segment.id, .unit = unit, .inspection = job->sheet->log_inspection};
    bool is_shared = job->shared_log && strcmp(job->shared_log->path, job->sheet->log) == 0;
    sm_obslog_free(&job->log);
    return is_shared ? sm_job__log_pick(&job->log, job->shared_log, &opts, err)
                     : sm_obslog_read(&job->log, job->sheet->log, &opts, err);
}

static enum sm_status check_log(struct sm_job *job, struct sm_error *err)
{
    if (job->log->n_entries == 0) {
        sm_error_at(err, SM_E_FORMAT, job->sheet->log, 0, 0, "no row of the log can be used");
        sm_error_remedy(err, "%s",
                        job->log->findings.n ? job->log->findings.item[0].message
                                             : "check that this is the right file");
        return SM_E_FORMAT;
    }
    if (job->sheet->n_videos == 0 && job->log->video && !job->made_sheet &&
        sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_NOTE, job->log->source, 0, SM_NAN, -1,
                        "the log names the video %s, the sheet names none: worked from the log alone",
                        job->log->video) != SM_OK) {
        return sm_job__no_memory(err);
    }
    return SM_OK;
}

/* ---- the counter ---- */

/* Distances without a unit are in the counter's unit: an operator writes down what the screen shows. */
static enum sm_status follow_unit(struct sm_job *job, enum sm_unit unit, struct sm_error *err)
{
    if (job->sheet->counter_unit != SM_UNIT_UNKNOWN || unit != SM_UNIT_FT) {
        return SM_OK;
    }
    enum sm_status status = read_log(job, unit, err);
    if (status == SM_OK &&
        sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_NOTE, job->log->source, 0, SM_NAN, -1,
                        "the counter shows feet: distances without a unit in the log are taken as feet") !=
            SM_OK) {
        return sm_job__no_memory(err);
    }
    return status;
}

static bool differ(const double *a, const double *b, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (isnan(a[i]) != isnan(b[i]) || fabs(a[i] - b[i]) > 0.0005) {
            return true;
        }
    }
    return false;
}

/*
 * Read with the frames at the entries' times looked at themselves. Where these times follow from log and
 * trace together (a clock of unknown offset), a first reading gives the times, and the frames there are looked
 * at in addition.
 */
static enum sm_status read_at_entries(struct sm_job *job, struct sm_counter *counter,
                                      const struct sm_job__reading *reading, double *time_s, double *at_s,
                                      struct sm_error *err)
{
    size_t n = job->log->n_entries;
    double *first_s = time_s;
    double *second_s = time_s + n;
    double duration_s = sm_media_get_info(reading->media)->duration_s;
    double offset_s;
    enum sm_status status = sm_align_times(first_s, &offset_s, job->log, NULL, &job->merged, err);
    if (status == SM_OK) {
        status = sm_job__read(&job->trace, counter, reading, at_s,
                              sm_job__inside(at_s, first_s, n, duration_s), err);
    }
    if (status == SM_OK) {
        status = sm_align_times(second_s, &offset_s, job->log, job->trace, &job->merged, err);
    }
    if (status != SM_OK || !differ(first_s, second_s, n)) {
        return status;
    }
    struct sm_trace *again = NULL;
    status = sm_job__read(&again, counter, reading, at_s, sm_job__inside(at_s, second_s, n, duration_s), err);
    if (status == SM_OK) {
        sm_trace_free(&job->trace);
        job->trace = again;
    }
    return status;
}

static enum sm_status read_counter(struct sm_job *job, struct sm_counter *counter,
                                   const struct sm_job__reading *reading, struct sm_error *err)
{
    enum sm_status status = follow_unit(job, sm_counter_get_format(counter)->unit, err);
    if (status == SM_OK) {
        status = sm_job__merge_segment(job, err);
    }
    if (status != SM_OK) {
        return status;
    }
    double *room = sm_calloc(3 * job->log->n_entries, sizeof *room);
    if (!room) {
        return sm_job__no_memory(err);
    }
    status = read_at_entries(job, counter, reading, room, room + 2 * job->log->n_entries, err);
    sm_free(room);
    return status;
}

/* No counter in the picture: a trace that shows nothing, so that every entry with a time is flagged. */
static enum sm_status go_without(struct sm_job *job, const struct sm_error *why, struct sm_error *err)
{
    struct sm_trace *trace = sm_calloc(1, sizeof *trace);
    struct sm_reading *hidden = sm_calloc(1, sizeof *hidden);
    if (!trace || !hidden ||
        sm_findings_add(
            &job->video, SM_FLAG_COUNTER_UNREAD, SM_SEVERITY_WARNING, job->sheet->video[0], 0, SM_NAN, -1,
            "no counter was found in the picture (%s): distances are as logged; %s", why->text,
            why->remedy[0] ? why->remedy : "say where it is with box = X,Y,W,H in [counter]") != SM_OK) {
        sm_free(trace);
        sm_free(hidden);
        return sm_job__no_memory(err);
    }
    trace->format.unit = job->sheet->counter_unit;
    trace->format.decimals = 2;
    trace->duration_s = sm_media_get_info(job->media)->duration_s;
    trace->reading = hidden;
    trace->n_readings = 1;
    job->trace = trace;
    return SM_OK;
}

static enum sm_status read_picture(struct sm_job *job, const struct sm_job__reading *reading, struct sm_error *err)
{
    struct sm_counter *counter = NULL;
    struct sm_error why = {0};
    enum sm_status status = sm_job__find(&counter, reading, &job->video, &why);
    if (status == SM_OK) {
        status = read_counter(job, counter, reading, err);
        status = status == SM_OK ? sm_job__beside_use(job->trace, job->distances, &job->video, err) : status;
    } else if (status == SM_E_NOTFOUND && job->distances) {
        status = sm_job__beside_alone(&job->trace, job->distances, reading, &why, &job->video, err);
        status = status == SM_OK ? follow_unit(job, job->distances->unit, err) : status;
    } else if (status == SM_E_NOTFOUND) {
        status = go_without(job, &why, err);
    } else if (err) {
        *err = why;
    }
    if (status == SM_OK) {
        job->trace->frame_rate_hz = sm_media_get_info(reading->media)->frame_rate_hz;
    }
    sm_counter_free(&counter);
    return status;
}

static enum sm_status read_video(struct sm_job *job, struct sm_error *err)
{
    const struct sm_sheet *sheet = job->sheet;
    if (sheet->n_videos == 0) {
        return SM_OK;
    }
    enum sm_status status = sm_media_open(&job->media, sheet->video, sheet->n_videos, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_job__reading reading = {.media = job->media,
                                      .box = sheet->counter_box,
                                      .unit = sheet->counter_unit,
                                      .start_s = sheet->video_start_s,
                                      .end_s = sheet->video_end_s,
                                      .n_threads = job->n_threads,
                                      .progress = job->progress,
                                      .progress_user = job->progress_user};
    struct sm_job__beside beside = {sheet->n_distances, sheet->n_videos, sheet->distances, sheet->video, sheet->log};
    status = sm_job__beside_find(&job->distances, &beside, job->media, &job->video, err);
    status = status == SM_OK ? read_picture(job, &reading, err) : status;
    if (status != SM_OK) {
        sm_error_source(err, sheet->video[0]);
        return status;
    }
    return sm_job__add_findings(&job->video, sm_media_get_findings(job->media), err);
}

/* ---- all of it ---- */

/* What people read is in the crew's unit, else in that of the counter. */
static enum sm_unit people_unit(const struct sm_job *job)
{
    if (job->sheet->people_unit != SM_UNIT_UNKNOWN) {
        return job->sheet->people_unit;
    }
    if (job->sheet->counter_unit != SM_UNIT_UNKNOWN) {
        return job->sheet->counter_unit;
    }
    return job->trace && job->trace->format.unit == SM_UNIT_FT ? SM_UNIT_FT : SM_UNIT_M;
}

static enum sm_status add_own_findings(struct sm_job *job, struct sm_error *err)
{
    enum sm_status status = sm_job__add_findings(&job->log->findings, &job->own, err);
    job->findings[SM_JOB__SHEET] = (struct sm_store_findings){"sheet", &job->sheet->findings};
    job->findings[SM_JOB__LOG] = (struct sm_store_findings){"log", &job->log->findings};
    job->findings[SM_JOB__VIDEO] = (struct sm_store_findings){"video", &job->video};
    job->findings[SM_JOB__ALIGN] = (struct sm_store_findings){"align", &job->alignment->findings};
    job->findings[SM_JOB__PLAN] = (struct sm_store_findings){"plan", &job->plan->findings};
    return status;
}

enum sm_status sm_job__plan(struct sm_job *job, struct sm_error *err)
{
    job->merged.people_unit = people_unit(job); /* reasons and advice are for people */
    return sm_plan_make(&job->plan, job->alignment, &job->merged, err);
}

/* With alignment and plan made: findings gathered, the document's parts put together. */
enum sm_status sm_job__finish(struct sm_job *job, struct sm_error *err)
{
    job->schedule = (struct sm_schedule){
        .sheet = &job->merged,
        .segment = &job->merged.segment,
        .log = job->log,
        .trace = job->trace,
        .alignment = job->alignment,
        .joined = job->joined,
        .plan = job->plan,
        .codes = job->codes,
        .people_unit = job->merged.people_unit,
        .paper = job->merged.paper,
        .video_findings = &job->video,
    };
    return add_own_findings(job, err);
}

enum sm_status sm_job__read_inputs(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err)
{
    enum sm_status status = read_sheet(job, opts, err);
    if (status == SM_OK) {
        status = read_codes(job, err);
    }
    if (status == SM_OK) {
        status = read_log(job, job->sheet->counter_unit, err);
    }
    return status == SM_OK ? check_log(job, err) : status;
}

static enum sm_status place(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err)
{
    enum sm_status status = sm_job__read_inputs(job, opts, err);
    if (status == SM_OK) {
        status = read_video(job, err);
    }
    if (status == SM_OK && !job->merged.segment.id) {
        status = sm_job__merge_segment(job, err);
    }
    return status == SM_OK ? sm_align(&job->alignment, job->log, job->trace, &job->merged, job->codes, err) : status;
}

/* What belongs to the call rather than to the survey. */
static void take_call(struct sm_job *job, const struct sm_job_opts *opts)
{
    job->n_threads = opts->n_threads;
    job->progress = opts->progress;
    job->progress_user = opts->progress_user;
    job->hashes = opts->hashes;
}

enum sm_status sm_job__new(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *job = sm_calloc(1, sizeof *job);
    if (!job || sm_arena_new(&job->arena) != SM_OK) {
        sm_free(job);
        return sm_job__no_memory(err);
    }
    take_call(job, opts);
    *out = job;
    return SM_OK;
}

/* The survey as another one of the log needed it before: only its recording has to be opened again. */
static enum sm_status take_kept(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *kept = opts->log->run[opts->inspection - 1];
    take_call(kept, opts);
    const struct sm_sheet *sheet = kept->sheet;
    bool wants_media = sheet->n_videos && !kept->media;
    enum sm_status status = wants_media ? sm_media_open(&kept->media, sheet->video, sheet->n_videos, err) : SM_OK;
    kept->n_users += status == SM_OK;
    *out = status == SM_OK ? kept : NULL;
    return status;
}

enum sm_status sm_job__place(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *job = NULL;
    bool is_kept = opts->log && sm_job__log_has_more(opts->log, opts->inspection) && opts->log->run[opts->inspection - 1];
    if (is_kept) {
        return take_kept(out, opts, err);
    }
    enum sm_status status = sm_job__new(&job, opts, err);
    if (status == SM_OK) {
        status = place(job, opts, err);
    }
    if (status != SM_OK) {
        sm_error_source(err, opts->sheet_path);
        sm_job_free(&job);
        return status;
    }
    if (opts->log) {
        sm_job__log_keep(opts->log, opts->inspection, job);
    }
    *out = job;
    return SM_OK;
}

enum sm_status sm_job_schedule(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err)
{
    struct sm_job *job = NULL;
    enum sm_status status = sm_job__place(&job, opts, err);
    if (status == SM_OK && !opts->is_alone) {
        status = sm_job__join_runs(job, err);
    }
    if (status == SM_OK) {
        status = sm_job__plan(job, err);
    }
    if (status == SM_OK) {
        status = sm_job__finish(job, err);
    }
    if (status != SM_OK) {
        sm_error_source(err, opts->sheet_path);
        sm_job_free(&job);
        return status;
    }
    *out = job;
    return SM_OK;
}
