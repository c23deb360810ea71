/*
 * A survey under review. The job file is the only truth: a decision is planned first, stored then, and counts from
 * then on; a review opened again from the file is where it was.
 *
 *   first (no decision) --decisions that count--> now
 */
#include "job_internal.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "stopmark/align.h"
#include "stopmark/trace.h"

struct sm_job_review {
    struct sm_arena *arena; /* of what lives as long as the review */
    char *path;
    struct sm_store *store;
    struct sm_store_record *record;
    struct sm_job__kept kept;
    struct sm_store_decisions *decisions;
    bool *is_active;
    struct sm_job *first, *now;
    size_t n_videos;
    struct sm_job_video *video;
};

/* ---- which decisions count ---- */

static size_t find_key(const struct sm_review_decision *item, size_t n, const char *key)
{
    for (size_t i = 0; key && i < n; i++) {
        if (strcmp(item[i].key, key) == 0) {
            return i;
        }
    }
    return n;
}

static bool is_switch(const struct sm_review_decision *decision)
{
    return decision->act == SM_REVIEW_UNDO || decision->act == SM_REVIEW_REDO;
}

/* Undo and redo switch what they name; a switch itself is never switched. */
static bool *active_new(const struct sm_review_decision *item, size_t n)
{
    bool *is_active = sm_calloc(n + 1, sizeof *is_active);
    for (size_t i = 0; is_active && i < n; i++) {
        is_active[i] = !is_switch(&item[i]);
        size_t of = is_switch(&item[i]) ? find_key(item, i, item[i].of_key) : n;
        if (of < i && !is_switch(&item[of])) {
            is_active[of] = item[i].act == SM_REVIEW_REDO;
        }
    }
    return is_active;
}

/* The latest that counts; for redo the one taken back last, as long as nothing else was decided since. */
static const char *latest(const struct sm_review_decision *item, const bool *is_active, size_t n,
                          enum sm_review_act act)
{
    for (size_t i = n; i-- > 0;) {
        if (act == SM_REVIEW_UNDO && is_active[i]) {
            return item[i].key;
        }
        if (act == SM_REVIEW_REDO && !is_switch(&item[i]) && is_active[i]) {
            return NULL;
        }
        if (act == SM_REVIEW_REDO && item[i].act == SM_REVIEW_UNDO) {
            size_t of = find_key(item, i, item[i].of_key);
            if (of < i && !is_active[of]) {
                return item[of].key;
            }
        }
    }
    return NULL;
}

/* ---- planning ---- */

/* The trace to start from: as stored, or as read again in the box marked last. */
static enum sm_status base_trace(const struct sm_trace **out, struct sm_arena *arena,
                                 const struct sm_job_review *review, const struct sm_job__decisions *decisions,
                                 struct sm_error *err)
{
    *out = review->record->trace;
    for (size_t i = decisions->n; i-- > 0;) {
        if (decisions->is_active[i] && decisions->item[i].act == SM_REVIEW_BOX) {
            struct sm_trace *trace = NULL;
            enum sm_status status = sm_store_get_reread(&trace, arena, review->store,
                                                        review->record->survey.key, decisions->item[i].box, err);
            *out = trace;
            return status;
        }
    }
    return SM_OK;
}

static enum sm_status plan(struct sm_job **out, const struct sm_job_review *review,
                           const struct sm_job__decisions *decisions, struct sm_error *err)
{
    struct sm_arena *arena = NULL;
    const struct sm_trace *trace;
    if (sm_arena_new(&arena) != SM_OK) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = base_trace(&trace, arena, review, decisions, err);
    if (status == SM_OK) {
        status = sm_job__replan(out, &review->kept, trace, review->first, decisions, err);
    }
    sm_arena_free(&arena);
    return status;
}

/* Take over decisions and plan; on failure the review is as it was. */
static enum sm_status adopt(struct sm_job_review *review, struct sm_store_decisions *decisions,
                            struct sm_error *err)
{
    bool *is_active = active_new(decisions->item, decisions->n);
    struct sm_job *now = NULL;
    const struct sm_job__decisions list = {decisions->n, decisions->item, is_active};
    enum sm_status status = is_active ? plan(&now, review, &list, err) : sm_job__no_memory(err);
    if (status != SM_OK) {
        sm_free(is_active);
        return status;
    }
    sm_job_free(&review->now);
    sm_store_decisions_free(&review->decisions);
    sm_free(review->is_active);
    review->now = now;
    review->decisions = decisions;
    review->is_active = is_active;
    return SM_OK;
}

enum sm_status sm_job_review_refresh(struct sm_job_review *review, bool *has_changed, struct sm_error *err)
{
    struct sm_store_decisions *decisions = NULL;
    enum sm_status status =
        sm_store_list_decisions(&decisions, review->store, review->record->survey.key, err);
    bool is_same = status == SM_OK && review->decisions && decisions->n == review->decisions->n;
    if (status == SM_OK && !is_same) {
        status = adopt(review, decisions, err);
        decisions = status == SM_OK ? NULL : decisions;
    }
    sm_store_decisions_free(&decisions);
    if (status == SM_OK) {
        *has_changed = !is_same;
    }
    return status;
}

/* ---- deciding ---- */

/* The decisions so far with n more behind, on probation. Free all three with free_probe(). */
struct probe {
    struct sm_review_decision *item;
    bool *is_active;
    size_t n;
};

static void free_probe(struct probe *probe)
{
    sm_free(probe->item);
    sm_free(probe->is_active);
}

static enum sm_status make_probe(struct probe *probe, const struct sm_job_review *review,
                                 const struct sm_review_decision *more, size_t n, struct sm_error *err)
{
    size_t n_before = review->decisions->n;
    *probe = (struct probe){.item = sm_calloc(n_before + n, sizeof *probe->item), .n = n_before + n};
    if (!probe->item) {
        return sm_job__no_memory(err);
    }
    if (n_before) {
        memcpy(probe->item, review->decisions->item, n_before * sizeof *probe->item);
    }
    memcpy(probe->item + n_before, more, n * sizeof *more);
    probe->is_active = active_new(probe->item, probe->n);
    return probe->is_active ? SM_OK : sm_job__no_memory(err);
}

enum sm_status sm_job_review_try(struct sm_job **out, const struct sm_job_review *review,
                                 const struct sm_review_decision *decision, size_t n, struct sm_error *err)
{
    struct probe probe = {0};
    enum sm_status status = make_probe(&probe, review, decision, n, err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_job__decision_check(&decision[i], review->now, err);
    }
    if (status == SM_OK) {
        const struct sm_job__decisions list = {probe.n, probe.item, probe.is_active};
        status = plan(out, review, &list, err);
    }
    free_probe(&probe);
    return status;
}

/* Undo and redo get to know what they mean. */
static enum sm_status resolve(struct sm_review_decision *decision, const struct sm_job_review *review,
                              struct sm_error *err)
{
    const struct sm_store_decisions *all = review->decisions;
    if (!is_switch(decision)) {
        return SM_OK;
    }
    bool is_undo = decision->act == SM_REVIEW_UNDO;
    if (!decision->of_key || !*decision->of_key) {
        decision->of_key = latest(all->item, review->is_active, all->n, decision->act);
    }
    size_t of = find_key(all->item, all->n, decision->of_key);
    if (of >= all->n || is_switch(&all->item[of]) || review->is_active[of] != is_undo) {
        sm_error_set(err, SM_E_NOTFOUND, is_undo ? "there is nothing to undo" : "there is nothing to redo");
        sm_error_remedy(err, "look at the list of decisions");
        return SM_E_NOTFOUND;
    }
    decision->observation = all->item[of].observation;
    return SM_OK;
}

/* Within the transaction nobody else adds: what is tried is what is stored. */
static enum sm_status decide(struct sm_job_review *review, const struct sm_review_decision *asked,
                             struct sm_error *err)
{
    bool has_changed;
    struct sm_review_decision decision = *asked;
    struct sm_job *tried = NULL;
    struct sm_text words = {0};
    enum sm_status status = sm_job_review_refresh(review, &has_changed, err);
    if (status == SM_OK) {
        status = resolve(&decision, review, err);
    }
    if (status == SM_OK) {
        status = sm_job_review_try(&tried, review, &decision, 1, err);
    }
    sm_job_free(&tried);
    if (status == SM_OK) {
        sm_job_decision_words(&words, &decision);
        status = words.failed ? sm_job__no_memory(err)
                              : sm_store_put_decision(review->store, &review->record->survey, &decision,
                                                      sm_text_str(&words), err);
    }
    sm_text_release(&words);
    return status == SM_OK ? sm_job_review_refresh(review, &has_changed, err) : status;
}

enum sm_status sm_job_review_decide(struct sm_job_review *review, const struct sm_review_decision *decision,
                                    struct sm_error *err)
{
    enum sm_status status = sm_store_begin(review->store, err);
    if (status != SM_OK) {
        return status;
    }
    status = decide(review, decision, err);
    if (status == SM_OK) {
        status = sm_store_commit(review->store, err);
    }
    if (status != SM_OK) {
        bool has_changed;
        sm_store_rollback(review->store);
        /* What was taken over did not come to be; err already says why. */
        if (sm_job_review_refresh(review, &has_changed, NULL) != SM_OK) {
            return status;
        }
    }
    return status;
}

enum sm_status sm_job_review_keep_reread(struct sm_job_review *review, const struct sm_review_decision *decision,
                                         const struct sm_trace *trace, struct sm_error *err)
{
    return sm_store_put_reread(review->store, &review->record->survey, decision, trace, err);
}

/* ---- issuing ---- */

/* What was decided, as a setting of the survey that is put: another state of the review is another survey. */
static enum sm_status review_setting(struct sm_text *text, const struct sm_job_review *review,
                                     struct sm_error *err)
{
    size_t n = review->decisions->n;
    sm_text_addf(text, "%zu decisions up to %s", n, n ? review->decisions->item[n - 1].key : "none");
    return text->failed ? sm_job__no_memory(err) : SM_OK;
}

static enum sm_status put_issue(struct sm_job_review *review, const struct sm_job_delivery *delivery,
                                int64_t *survey_id, struct sm_error *err)
{
    struct sm_text setting = {0};
    struct sm_job__record record = {0};
    enum sm_status status = review_setting(&setting, review, err);
    if (status == SM_OK) {
        status = sm_job__record_again(&record, review->now, review->record, setting.data, err);
    }
    if (status == SM_OK) {
        status = sm_job__record_put(review->store, &record, review->now, delivery, survey_id, NULL, err);
    }
    sm_job__record_release(&record);
    sm_text_release(&setting);
    return status;
}

enum sm_status sm_job_review_issue(struct sm_job_review *review, const char *now, const char *who,
                                   struct sm_error *err)
{
    const struct sm_job_delivery delivery = {.now = now, .who = who};
    int64_t survey_id = 0;
    struct sm_store_record *record = NULL;
    if (sm_job_review_unissued(review) == 0) {
        return SM_OK;
    }
    enum sm_status status = put_issue(review, &delivery, &survey_id, err);
    if (status == SM_OK) {
        status = sm_store_get_survey(&record, review->store, survey_id, err);
    }
    if (status != SM_OK) {
        return status;
    }
    /* The jobs' traces, stored ones too, belong to the record they were planned from. */
    struct sm_store_record *before = review->record;
    struct sm_store_decisions *decisions = NULL;
    review->record = record;
    review->kept.record = record;
    status = sm_store_list_decisions(&decisions, review->store, record->survey.key, err);
    if (status == SM_OK) {
        status = adopt(review, decisions, err);
    }
    if (status != SM_OK) {
        sm_store_decisions_free(&decisions);
        review->record = before;
        review->kept.record = before;
        sm_store_record_free(&record);
        return status;
    }
    review->first->stored_trace = record->trace;
    sm_store_record_free(&before);
    return SM_OK;
}

size_t sm_job_review_unissued(const struct sm_job_review *review)
{
    int64_t n_issued = 0;
    for (size_t i = 0; i < review->record->n_settings; i++) {
        const struct sm_store_setting *setting = &review->record->setting[i];
        double n;
        const char *end;
        if (strcmp(setting->name, "review") == 0 && sm_scan_number(setting->value, false, false, &n, &end)) {
            n_issued = (int64_t)n;
        }
    }
    return review->decisions->n - (size_t)n_issued;
}

/* ---- opening ---- */

static enum sm_status choose(int64_t *survey_id, const struct sm_store_surveys *surveys, const char *job_path,
                             struct sm_error *err)
{
    struct sm_text names = {0};
    size_t n = 0;
    for (size_t i = 0; i < surveys->n; i++) {
        const struct sm_store_survey *survey = &surveys->item[i];
        if (survey->kind == SM_SURVEY_FIRST && survey->superseded_by == 0) {
            sm_text_addf(&names, "%s%s", n++ ? ", " : "", survey->segment.id);
            *survey_id = survey->survey_id;
        }
    }
    enum sm_status status = SM_OK;
    if (n == 0) {
        status = sm_error_at(err, SM_E_NOTFOUND, job_path, 0, 0, "the job holds no such survey");
        sm_error_remedy(err, "run stopmark schedule SHEET --job JOB first, or name another segment");
    } else if (n > 1) {
        status = sm_error_at(err, SM_E_CONFLICT, job_path, 0, 0, "the job holds %zu surveys", n);
        sm_error_remedy(err, "name one with --segment: %s", sm_text_str(&names));
    }
    sm_text_release(&names);
    return status;
}

static enum sm_status find_survey(struct sm_job_review *review, const char *segment, struct sm_error *err)
{
    struct sm_store_surveys *surveys = NULL;
    int64_t survey_id = 0;
    enum sm_status status = sm_store_list_surveys(&surveys, review->store, segment, err);
    if (status == SM_OK) {
        status = choose(&survey_id, surveys, review->path, err);
    }
    sm_store_surveys_free(&surveys);
    return status == SM_OK ? sm_store_get_survey(&review->record, review->store, survey_id, err) : status;
}

/* A job of an earlier version holds no inputs: then the file itself will do, when it is still the same. */
static enum sm_status read_same(struct sm_job__kept_file *file, const struct sm_store_input *input,
                                struct sm_error *err)
{
    enum { LIMIT_BYTES = 64 << 20 };
    char sha256[65];
    enum sm_status status = sm_file_read(&file->data, &file->n, input->path, LIMIT_BYTES, err);
    if (status != SM_OK) {
        return status;
    }
    sm_sha256(file->data, file->n, sha256);
    if (strcmp(sha256, input->sha256) != 0) {
        sm_error_at(err, SM_E_CONFLICT, input->path, 0, 0, "has changed since the survey was stored");
        sm_error_remedy(err, "run stopmark schedule SHEET --job JOB again");
        return SM_E_CONFLICT;
    }
    return SM_OK;
}

static enum sm_status keep_files(struct sm_job_review *review, struct sm_error *err)
{
    const struct sm_store_record *record = review->record;
    review->kept.record = record;
    review->kept.file = sm_arena_alloc(review->arena, (record->n_inputs + 1) * sizeof *review->kept.file);
    enum sm_status status = review->kept.file ? SM_OK : sm_job__no_memory(err);
    for (size_t i = 0; status == SM_OK && i < record->n_inputs; i++) {
        const struct sm_store_input *input = &record->input[i];
        if (strcmp(input->role, "video") == 0) {
            continue;
        }
        struct sm_job__kept_file *file = &review->kept.file[review->kept.n_files];
        file->role = sm_arena_strdup(review->arena, input->role);
        file->path = sm_arena_strdup(review->arena, input->path);
        status = sm_store_get_content(&file->data, &file->n, review->store, input->sha256, err);
        if (status == SM_E_NOTFOUND) {
            status = read_same(file, input, err);
        }
        review->kept.n_files += status == SM_OK;
        if (status == SM_OK && (!file->role || !file->path)) {
            status = sm_job__no_memory(err);
        }
    }
    return status;
}

static bool has_size(const char *path, int64_t size_bytes)
{
    struct stat status;
    return stat(path, &status) == 0 && S_ISREG(status.st_mode) && status.st_size == size_bytes;
}

static enum sm_status find_video(struct sm_job_review *review, struct sm_job_video *video,
                                 const struct sm_store_input *input, struct sm_error *err)
{
    const char *slash = strrchr(input->path, '/');
    struct sm_text beside = {0};
    enum sm_status status = sm_path_beside(&beside, review->path, slash ? slash + 1 : input->path);
    if (status != SM_OK) {
        sm_text_release(&beside);
        return sm_job__no_memory(err);
    }
    bool is_beside = !has_size(input->path, input->size_bytes) &&
                     has_size(sm_text_str(&beside), input->size_bytes);
    *video = (struct sm_job_video){
        .path = sm_arena_strdup(review->arena, is_beside ? beside.data : input->path),
        .is_there = is_beside || has_size(input->path, input->size_bytes),
        .size_bytes = input->size_bytes};
    sm_strcopy(video->sha256, sizeof video->sha256, input->sha256);
    sm_text_release(&beside);
    return video->path ? SM_OK : sm_job__no_memory(err);
}

static enum sm_status find_videos(struct sm_job_review *review, struct sm_error *err)
{
    const struct sm_store_record *record = review->record;
    review->video = sm_arena_alloc(review->arena, (record->n_inputs + 1) * sizeof *review->video);
    enum sm_status status = review->video ? SM_OK : sm_job__no_memory(err);
    for (size_t i = 0; status == SM_OK && i < record->n_inputs; i++) {
        if (strcmp(record->input[i].role, "video") == 0) {
            status = find_video(review, &review->video[review->n_videos], &record->input[i], err);
            review->n_videos += status == SM_OK;
        }
    }
    return status;
}

static enum sm_status open_all(struct sm_job_review *review, const char *segment, struct sm_error *err)
{
    static const struct sm_job__decisions none = {0};
    bool has_changed;
    enum sm_status status = sm_store_open(&review->store, review->path, SM_STORE_READ, err);
    sm_store_close(&review->store); /* a name mistyped makes no new job */
    if (status == SM_OK || status == SM_E_UNSUPPORTED) {
        status = sm_store_open(&review->store, review->path, SM_STORE_WRITE, err);
    }
    if (status == SM_OK) {
        status = find_survey(review, segment, err);
    }
    if (status == SM_OK) {
        status = keep_files(review, err);
    }
    if (status == SM_OK) {
        status = find_videos(review, err);
    }
    if (status == SM_OK) {
        status = sm_job__replan(&review->first, &review->kept, review->record->trace, NULL, &none, err);
    }
    return status == SM_OK ? sm_job_review_refresh(review, &has_changed, err) : status;
}

enum sm_status sm_job_review_open(struct sm_job_review **out, const char *job_path, const char *segment,
                                  struct sm_error *err)
{
    struct sm_job_review *review = sm_calloc(1, sizeof *review);
    if (!review || sm_arena_new(&review->arena) != SM_OK) {
        sm_free(review);
        return sm_job__no_memory(err);
    }
    review->path = sm_strdup(job_path);
    enum sm_status status = review->path ? open_all(review, segment, err) : sm_job__no_memory(err);
    if (status != SM_OK) {
        sm_error_source(err, job_path);
        sm_job_review_close(&review);
        return status;
    }
    *out = review;
    return SM_OK;
}

void sm_job_review_close(struct sm_job_review **review)
{
    if (!review || !*review) {
        return;
    }
    struct sm_job_review *r = *review;
    sm_job_free(&r->now);
    sm_job_free(&r->first);
    sm_store_decisions_free(&r->decisions);
    sm_free(r->is_active);
    for (size_t i = 0; i < r->kept.n_files; i++) {
        sm_free(r->kept.file[i].data);
    }
    sm_store_record_free(&r->record);
    sm_store_close(&r->store);
    sm_arena_free(&r->arena);
    sm_free(r->path);
    sm_free(r);
    *review = NULL;
}

/* ---- looking ---- */

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

/* ---- words ---- */

static void add_number(struct sm_text *out, const char *before, double value, const char *after)
{
    sm_text_add(out, before);
    sm_text_add_number(out, value, 2, 3);
    sm_text_add(out, after);
}

static void add_what(struct sm_text *out, const struct sm_review_decision *d)
{
    switch (d->act) {
    case SM_REVIEW_CONFIRM:
        sm_text_add(out, "looked at, right as it stands");
        break;
    case SM_REVIEW_TAKE_PICTURE:
        sm_text_add(out, "the picture's distance counts");
        break;
    case SM_REVIEW_TAKE_LOG:
        sm_text_add(out, "the logged distance counts");
        break;
    case SM_REVIEW_MOVE:
        add_number(out, "lies from ", d->start_m, " m");
        add_number(out, " to ", d->end_m, " m");
        break;
    case SM_REVIEW_CODE:
    case SM_REVIEW_ADD:
        sm_text_addf(out, "%s %s%s%s%s", d->act == SM_REVIEW_ADD ? "added:" : "is", d->code ? d->code : "",
                     d->ch1 ? d->ch1 : "", d->ch2 && *d->ch2 ? "." : "", d->ch2 ? d->ch2 : "");
        break;
    case SM_REVIEW_CLOCK:
        sm_text_addf(out, "lies at %d to %d o'clock", (int)d->clock_from_h,
                     (int)(d->clock_to_h ? d->clock_to_h : d->clock_from_h));
        break;
    case SM_REVIEW_TREATMENT:
        sm_text_addf(out, "treatment %s", sm_treatment_name(d->treatment));
        break;
    case SM_REVIEW_WITHDRAW:
        sm_text_add(out, "withdrawn");
        break;
    case SM_REVIEW_READING:
        sm_text_addf(out, "the counter shows %s", d->reading ? d->reading : "");
        add_number(out, " at ", d->time_s, " s");
        break;
    case SM_REVIEW_BOX:
        sm_text_addf(out, "the counter stands at %d,%d, %d x %d px", (int)d->box.x_px, (int)d->box.y_px,
                     (int)d->box.width_px, (int)d->box.height_px);
        break;
    case SM_REVIEW_TIE:
        sm_text_addf(out, "counter %s is ", d->reading ? d->reading : "");
        if (isfinite(d->distance_m)) {
            add_number(out, "", d->distance_m, " m");
        } else {
            sm_text_add(out, "no tie");
        }
        break;
    case SM_REVIEW_RULE:
        sm_text_addf(out, "rule %s = %s", d->rule ? d->rule : "", d->value ? d->value : "");
        break;
    case SM_REVIEW_UNDO:
    case SM_REVIEW_REDO:
        sm_text_addf(out, "%s %.12s", d->act == SM_REVIEW_UNDO ? "taken back:" : "counts again:",
                     d->of_key ? d->of_key : "");
        break;
    }
}

void sm_job_decision_words(struct sm_text *out, const struct sm_review_decision *decision)
{
    if (decision->observation && *decision->observation) {
        sm_text_addf(out, "%s: ", decision->observation);
    }
    add_what(out, decision);
    if (decision->reason && *decision->reason) {
        sm_text_addf(out, ": %s", decision->reason);
    }
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
