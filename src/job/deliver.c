/* Documents into a folder and the survey into the job file: both or neither. */
#include "job_internal.h"

#include <assert.h>

#define STILL_QUALITY 85

/* ---- documents ---- */

static const struct {
    const char *name;
    enum sm_status (*write)(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err);
} documents[] = {
    {"schedule.json", sm_schedule_write_json}, {"schedule.csv", sm_schedule_write_csv},
    {"crew-sheet.pdf", sm_schedule_write_pdf}, {"strip.svg", sm_schedule_write_svg},
    {"report.html", sm_schedule_write_html},
};
enum { N_DOCUMENTS = sizeof documents / sizeof *documents };

/* The picture at an observation. None is there before or after the video: then the observation has no still.
 */
static enum sm_status write_still(struct sm_job *job, struct sm_job__folder *folder, size_t idx,
                                  const char **name, struct sm_error *err)
{
    const struct sm_observation *observation = &job->alignment->observation[idx];
    struct sm_text jpeg = {0};
    struct sm_error why = {0};
    if (!isfinite(observation->time_s) || observation->time_s < 0) {
        return SM_OK;
    }
    enum sm_status status = sm_media_still_jpeg(job->media, observation->time_s, STILL_QUALITY, &jpeg, &why);
    if (status == SM_E_NOTFOUND) {
        return SM_OK;
    }
    const char *file = sm_arena_printf(job->arena, "stills/%s.jpg", observation->id);
    if (status == SM_OK) {
        status = file ? sm_job__folder_write(folder, file, &jpeg, &why) : sm_job__no_memory(&why);
    }
    sm_text_release(&jpeg);
    if (status != SM_OK) {
        if (err) {
            *err = why;
        }
        return status;
    }
    *name = file;
    return SM_OK;
}

static enum sm_status write_stills(struct sm_job *job, struct sm_job__folder *folder, const char **names,
                                   struct sm_error *err)
{
    struct sm_job__step step = {job->progress, job->progress_user, "taking stills"};
    size_t n = job->media ? job->alignment->n_observations : 0;
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_job__tell(&step, (double)i, (double)n) ? write_still(job, folder, i, &names[i], err)
                                                           : sm_error_set(err, SM_E_CANCELLED, "stopped");
    }
    return status;
}

static enum sm_status write_documents(struct sm_job *job, struct sm_job__folder *folder, const char **names,
                                      struct sm_error *err)
{
    struct sm_job__step step = {job->progress, job->progress_user, "writing"};
    struct sm_schedule schedule = job->schedule;
    schedule.still = names;
    schedule.out_dir = sm_job__folder_draft(folder);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < N_DOCUMENTS; i++) {
        struct sm_text text = {0};
        status = sm_job__tell(&step, (double)i, N_DOCUMENTS) ? documents[i].write(&text, &schedule, err)
                                                             : sm_error_set(err, SM_E_CANCELLED, "stopped");
        if (status == SM_OK) {
            status = sm_job__folder_write(folder, documents[i].name, &text, err);
        }
        sm_text_release(&text);
    }
    return status;
}

static enum sm_status write_stamp(struct sm_job__folder *folder, const char *stamp, struct sm_error *err)
{
    struct sm_text line = {0};
    sm_text_addf(&line, "%s\n", stamp);
    enum sm_status status = sm_job__folder_write(folder, SM_JOB__STAMP_FILE, &line, err);
    sm_text_release(&line);
    return status;
}

static enum sm_status draft_folder(struct sm_job__folder **out, struct sm_job *job,
                                   const struct sm_job_delivery *delivery, struct sm_error *err)
{
    struct sm_job__folder *folder = NULL;
    const char **names = sm_calloc(job->alignment->n_observations, sizeof *names);
    enum sm_status status =
        names ? sm_job__folder_new(&folder, delivery->out_dir, err) : sm_job__no_memory(err);
    if (status == SM_OK) {
        status = write_stills(job, folder, names, err);
    }
    if (status == SM_OK) {
        status = write_documents(job, folder, names, err);
    }
    if (status == SM_OK && delivery->export_form) {
        status = sm_job__export(folder, job, delivery->export_form, err);
    }
    if (status == SM_OK && delivery->stamp) {
        status = write_stamp(folder, delivery->stamp, err);
    }
    sm_free(names);
    if (status != SM_OK) {
        sm_job__folder_free(&folder);
        return status;
    }
    *out = folder;
    return SM_OK;
}

/* ---- both or neither ---- */

static enum sm_status put_survey(struct sm_store **out, const struct sm_job *job,
                                 const struct sm_job_delivery *delivery, bool *is_known, struct sm_error *err)
{
    struct sm_job__record record;
    struct sm_store *store = NULL;
    enum sm_status status = sm_job__record_make(&record, job, err);
    if (status == SM_OK) {
        status = sm_store_open(&store, delivery->job_path, SM_STORE_WRITE, err);
    }
    if (status == SM_OK) {
        status = sm_store_begin(store, err);
    }
    if (status == SM_OK) {
        status = sm_job__record_put(store, &record, job, delivery, NULL, is_known, err);
    }
    sm_job__record_release(&record);
    if (status != SM_OK) {
        sm_store_close(&store);
        return status;
    }
    *out = store;
    return SM_OK;
}

enum sm_status sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                              struct sm_error *err)
{
    assert(!delivery->job_path || (delivery->now && delivery->who));
    struct sm_job__folder *folder = NULL;
    struct sm_store *store = NULL;
    bool known = false;
    enum sm_status status = delivery->out_dir ? draft_folder(&folder, job, delivery, err) : SM_OK;
    if (status == SM_OK && delivery->job_path) {
        status = put_survey(&store, job, delivery, &known, err);
    }
    if (status == SM_OK && folder) {
        status = sm_job__folder_place(folder, err);
    }
    if (status == SM_OK && store) {
        status = sm_store_commit(store, err);
    }
    if (status == SM_OK && folder) {
        sm_job__folder_keep(folder);
    }
    sm_store_close(&store);
    sm_job__folder_free(&folder);
    if (status == SM_OK && is_known) {
        *is_known = known;
    }
    return status;
}
