/* A review opened from the job file and closed again: the survey, the inputs that were kept, the videos where they lie. */
#include "review_internal.h"

#include <string.h>
#include <sys/stat.h>

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
        if (sm_job__is_video(input->role)) {
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
