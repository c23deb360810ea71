/* The survey as the job file keeps it: inputs by content, the rules that were used as words, results and
 * findings. */
#include "job_internal.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { KEPT_LIMIT_BYTES = 16 << 20 };

/* Sheet, log and tables go into the job, so that it can be planned anew wherever it is; one that changed since
 * its hash was taken does not. */
static enum sm_status keep_content(struct sm_job__record *record, struct sm_store_input *input, struct sm_error *err)
{
    char *text = NULL;
    char sha256[65];
    size_t n = 0;
    if (input->size_bytes > KEPT_LIMIT_BYTES) {
        return SM_OK;
    }
    enum sm_status status = sm_file_read(&text, &n, input->path, KEPT_LIMIT_BYTES, err);
    if (status != SM_OK) {
        return status;
    }
    sm_sha256(text, n, sha256);
    bool is_same = (int64_t)n == input->size_bytes && strcmp(sha256, input->sha256) == 0;
    char *copy = is_same ? sm_arena_alloc(record->arena, n + 1) : NULL;
    if (copy) {
        memcpy(copy, text, n);
        input->content = copy;
    }
    sm_free(text);
    return is_same && !copy ? sm_job__no_memory(err) : SM_OK;
}

bool sm_job__is_video(const char *role)
{
    return strcmp(role, "video") == 0 || strcmp(role, SM_JOB__OTHERS_VIDEO) == 0;
}

enum sm_status sm_job__record_input(struct sm_job__record *record, const char *role, const char *path,
                                    struct sm_job_hashes *hashes, struct sm_error *err)
{
    if (!path) {
        return SM_OK;
    }
    if (sm_grow(&record->input, record->n_inputs, &record->inputs_capacity, sizeof *record->input) != SM_OK) {
        return sm_job__no_memory(err);
    }
    struct sm_store_input *input = &record->input[record->n_inputs];
    char whole[PATH_MAX]; /* the job is opened from other folders too */
    *input = (struct sm_store_input){
        .role = role, .path = sm_arena_strdup(record->arena, realpath(path, whole) ? whole : path)};
    struct stat status;
    enum sm_status result = input->path ? sm_job__hash(input->sha256, hashes, path, err) : sm_job__no_memory(err);
    if (result == SM_OK && stat(path, &status) == 0) {
        input->size_bytes = status.st_size;
    }
    if (result == SM_OK && !sm_job__is_video(role)) {
        result = keep_content(record, input, err);
    }
    record->n_inputs += result == SM_OK;
    return result;
}

static enum sm_status add_input(struct sm_job__record *record, const char *role, const char *path,
                                struct sm_error *err)
{
    return sm_job__record_input(record, role, path, NULL, err);
}

/* A sheet made from a log that came alone is in no file. It goes by the log's path, whose folder its names start in. */
static enum sm_status add_made_sheet(struct sm_job__record *record, const struct sm_job *job, struct sm_error *err)
{
    enum sm_status status = sm_job__record_input(record, "sheet", job->sheet->log, job->hashes, err);
    if (status == SM_OK) {
        struct sm_store_input *input = &record->input[record->n_inputs - 1];
        size_t n = strlen(job->made_sheet);
        input->content = job->made_sheet;
        input->size_bytes = (int64_t)n;
        sm_sha256(job->made_sheet, n, input->sha256);
    }
    return status;
}

static enum sm_status add_inputs(struct sm_job__record *record, const struct sm_job *job,
                                 struct sm_error *err)
{
    const struct sm_sheet *sheet = job->sheet;
    enum sm_status status = job->made_sheet ? add_made_sheet(record, job, err)
                                            : add_input(record, "sheet", sheet->path, err);
    for (size_t i = 0; status == SM_OK && i < sheet->n_videos; i++) {
        status = sm_job__record_input(record, "video", sheet->video[i], job->hashes, err);
    }
    status = status == SM_OK ? sm_job__record_others(record, job, err) : status;
    status = status == SM_OK ? sm_job__record_beside(record, sheet, err) : status;
    if (status == SM_OK) { /* one log may be that of many surveys */
        status = sm_job__record_input(record, "log", sheet->log, job->hashes, err);
    }
    const char *const others[][2] = {{"kits", sheet->kits_file},
                                     {"cure", sheet->cure_used},
                                     {"codes", sheet->codes == SM_CODES_FILE ? sheet->codes_file : NULL}};
    for (size_t i = 0; status == SM_OK && i < sizeof others / sizeof *others; i++) {
        status = add_input(record, others[i][0], others[i][1], err);
    }
    return status;
}

/* ---- settings ---- */

static void add_word(struct sm_job__record *record, const char *name, const char *value)
{
    if (record->has_failed) { /* memory ran out before; add_settings() tells it */
        return;
    }
    if (sm_grow(&record->setting, record->n_settings, &record->settings_capacity, sizeof *record->setting) !=
        SM_OK) {
        record->has_failed = true;
        return;
    }
    struct sm_store_setting setting = {sm_arena_strdup(record->arena, name),
                                       sm_arena_strdup(record->arena, value)};
    if (!setting.name || !setting.value) {
        record->has_failed = true;
        return;
    }
    record->setting[record->n_settings++] = setting;
}

/* Nothing where the text is empty: a value that is not known is no setting. */
static void add_text(struct sm_job__record *record, const char *name, const struct sm_text *text)
{
    if (text->failed) {
        record->has_failed = true;
    } else if (text->length) {
        add_word(record, name, text->data);
    }
}

static void add_real(struct sm_job__record *record, const char *name, double value, const char *unit)
{
    struct sm_text text = {0};
    sm_text_add_number(&text, value, 0, 6);
    if (text.length) {
        sm_text_addf(&text, "%s%s", *unit ? " " : "", unit);
    }
    add_text(record, name, &text);
    sm_text_release(&text);
}

static void add_rules(struct sm_job__record *record, const struct sm_rules *rules)
{
    add_real(record, "rules.end cover", rules->end_cover_m, "m");
    add_word(record, "rules.locate", rules->locate == SM_LOCATE_COUNTER ? "counter" : "mark");
    add_real(record, "rules.placement", rules->placement_m, "m");
    add_real(record, "rules.distance error, share", rules->distance_error_frac, "");
    add_real(record, "rules.distance error", rules->distance_error_m, "m");
    add_real(record, "rules.overlap", rules->overlap_m, "m");
    add_real(record, "rules.keep clear", rules->keep_clear_m, "m");
    add_real(record, "rules.connection diameter", rules->connection_diameter_mm, "mm");
    add_word(record, "rules.reopen", rules->may_reopen ? "yes" : "no");
    add_real(record, "rules.set-up cost", rules->set_up_cost, "");
    add_real(record, "rules.reopen cost", rules->reopen_cost, "");
    add_real(record, "rules.full lining rate", rules->full_lining_rate_per_m, "a metre");
}

static void add_site(struct sm_job__record *record, const struct sm_sheet *sheet)
{
    static const char *const datums[] = {"pipe edge", "manhole wall", "manhole centre"};
    static const char *const systems[] = {"EN", "NA", "file"};
    add_word(record, "survey.log time", sheet->log_time == SM_LOG_TIME_CLOCK ? "clock" : "video");
    add_word(record, "survey.codes", systems[sheet->codes]);
    add_word(record, "survey.trust", sheet->trust == SM_TRUST_LOG ? "log" : "picture");
    add_real(record, "survey.video start", sheet->video_start_s, "s");
    add_real(record, "survey.video end", sheet->video_end_s, "s");
    add_word(record, "counter.datum", datums[sheet->datum]);
    add_real(record, "counter.datum offset", sheet->datum_offset_m, "m");
    add_real(record, "counter.view ahead", sheet->view_ahead_m, "m");
    add_word(record, "access.enter", sheet->access.enters_at_to ? "to" : "from");
    add_word(record, "access.reference", sheet->access.reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    add_real(record, "access.rim to pipe edge", sheet->access.rim_to_pipe_edge_m, "m");
    add_real(record, "access.pipe temperature", sheet->access.pipe_temperature_c, "C");
    add_real(record, "access.groundwater head", sheet->access.groundwater_head_m, "m");
}

/* The program is a setting too: a better reader may give another result from the same files. */
static enum sm_status add_settings(struct sm_job__record *record, const struct sm_job *job,
                                   struct sm_error *err)
{
    add_word(record, "program", sm_version());
    add_rules(record, &job->sheet->rules);
    add_site(record, job->sheet);
    add_word(record, "documents.unit", job->merged.people_unit == SM_UNIT_FT ? "ft" : "m");
    for (size_t i = 0; i < job->n_changes; i++) {
        struct sm_text name = {0};
        sm_text_addf(&name, "changed %zu: %s", i + 1, job->change[i].key);
        if (name.failed) {
            record->has_failed = true;
        } else {
            add_word(record, name.data, job->change[i].value);
        }
        sm_text_release(&name);
    }
    if (record->has_failed) {
        return sm_job__no_memory(err);
    }
    return SM_OK;
}

/* Inputs as they were when the survey was first put: what lies on the disk now may be another file. */
static enum sm_status copy_inputs(struct sm_job__record *record, const struct sm_store_record *known,
                                  struct sm_error *err)
{
    record->input = sm_calloc(known->n_inputs + 1, sizeof *record->input);
    if (!record->input) {
        return sm_job__no_memory(err);
    }
    memcpy(record->input, known->input, known->n_inputs * sizeof *record->input);
    record->n_inputs = known->n_inputs;
    return SM_OK;
}

enum sm_status sm_job__record_again(struct sm_job__record *record, const struct sm_job *job,
                                    const struct sm_store_record *known, const char *review, struct sm_error *err)
{
    *record = (struct sm_job__record){0};
    if (sm_arena_new(&record->arena) != SM_OK) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = copy_inputs(record, known, err);
    if (status == SM_OK && review) {
        add_word(record, "review", review);
    }
    return status == SM_OK ? add_settings(record, job, err) : status;
}

enum sm_status sm_job__record_make(struct sm_job__record *record, const struct sm_job *job,
                                   struct sm_error *err)
{
    *record = (struct sm_job__record){0};
    if (sm_arena_new(&record->arena) != SM_OK) {
        return sm_job__no_memory(err);
    }
    struct sm_job__step step = {job->progress, job->progress_user, "fingerprinting the files"};
    if (!sm_job__tell(&step, 0, 0)) {
        return sm_error_set(err, SM_E_CANCELLED, "stopped");
    }
    enum sm_status status = add_inputs(record, job, err);
    return status == SM_OK ? add_settings(record, job, err) : status;
}

void sm_job__record_release(struct sm_job__record *record)
{
    sm_free(record->input);
    sm_free(record->setting);
    sm_arena_free(&record->arena);
    *record = (struct sm_job__record){0};
}

enum sm_status sm_job__record_put(struct sm_store *store, const struct sm_job__record *record,
                                  const struct sm_job *job, const struct sm_job_delivery *delivery,
                                  int64_t *survey_id, bool *is_known, struct sm_error *err)
{
    struct sm_segment segment = job->merged.segment;
    segment.id = delivery->segment ? delivery->segment : segment.id;
    struct sm_store_put put = {
        .kind = delivery->kind,
        .stored_at = delivery->now,
        .who = delivery->who,
        .segment = &segment,
        .date = job->merged.date,
        .operator_name = job->merged.operator_name,
        .n_inputs = record->n_inputs,
        .input = record->input,
        .n_settings = record->n_settings,
        .setting = record->setting,
        .log = job->log,
        .trace = job->stored_trace ? job->stored_trace : job->trace,
        .alignment = job->alignment,
        .n_kits = job->sheet->n_kits,
        .kit = job->sheet->kit,
        .plan = delivery->kind == SM_SURVEY_FIRST ? job->plan : NULL,
        .n_findings = SM_JOB__N_STAGES,
        .findings = job->findings,
        .n_cure_rows = job->sheet->n_cure_rows,
        .cure_row = job->sheet->cure_row,
    };
    return sm_store_put_schedule(store, &put, survey_id, is_known, err);
}
