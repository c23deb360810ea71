/* The log as it came, with the distances it was brought to: written in a standard's own form, so that they
 * travel on. */
#include <math.h>
#include <string.h>

#include "stopmark/obslog.h"

#include "job_internal.h"

static const struct {
    const char *word, *file;
    enum sm_job__export_form form;
} forms[] = {
    {"en13508", "aligned-log.txt", SM_JOB__EXPORT_EN13508},
    {"isybau", "aligned-log.xml", SM_JOB__EXPORT_ISYBAU},
};
enum { N_FORMS = sizeof forms / sizeof *forms, MOST_OFFSETS = 2 };

/* N_FORMS when no form has that name. */
static size_t find_form(const char *word)
{
    size_t i = 0;
    while (i < N_FORMS && strcmp(word, forms[i].word) != 0) {
        i++;
    }
    return i;
}

bool sm_job_is_export(const char *word)
{
    return find_form(word) < N_FORMS;
}

/* Every row where it was placed, those that change or end a continuous defect too. */
static void take_distances(struct sm_log_entry *entry, const struct sm_alignment *alignment)
{
    for (size_t i = 0; i < alignment->n_entries; i++) {
        if (isfinite(alignment->entry_m[i])) {
            entry[i].distance_m = alignment->entry_m[i];
        }
    }
}

/* How the log's clock lies in the film: at its start and its end. */
static size_t take_offsets(struct sm_obslog_offset offset[MOST_OFFSETS], const struct sm_job *job)
{
    double offset_s = job->alignment->clock_offset_s;
    if (!job->media) {
        return 0;
    }
    double rate = isfinite(offset_s) ? 1 + job->alignment->clock_drift_s_per_h / 3600 : 1;
    double end_s = sm_media_get_info(job->media)->duration_s;
    double start_log_s = isfinite(offset_s) ? offset_s : 0;
    offset[0] = (struct sm_obslog_offset){start_log_s, 0};
    offset[1] = (struct sm_obslog_offset){start_log_s + rate * end_s, end_s};
    return MOST_OFFSETS;
}

/* The film that was worked with is the sheet's, else the log's. */
static enum sm_status take_film(struct sm_obslog *log, struct sm_job *job, struct sm_error *err)
{
    const struct sm_sheet *sheet = job->sheet;
    log->video = sheet->n_videos ? sheet->video[0] : log->video;
    if (sheet->n_videos > 1 &&
        sm_findings_add(&job->exported, (enum sm_flag)0, SM_SEVERITY_WARNING, log->source, 0, SM_NAN, -1,
                        "the form names one film: of %zu the first is named, times run on over all of them",
                        sheet->n_videos) != SM_OK) {
        return sm_job__no_memory(err);
    }
    return SM_OK;
}

static enum sm_status write_form(struct sm_text *text, enum sm_job__export_form form, struct sm_job *job,
                                 struct sm_error *err)
{
    struct sm_obslog log = *job->log;
    size_t n = log.n_entries;
    struct sm_obslog_offset offset[MOST_OFFSETS];
    struct sm_obslog_write_opts opts = {.date = job->merged.date, .offset = offset};
    log.entry = sm_calloc(n, sizeof *log.entry);
    if (!log.entry) {
        return sm_job__no_memory(err);
    }
    memcpy(log.entry, job->log->entry, n * sizeof *log.entry);
    take_distances(log.entry, job->alignment);
    log.segment = job->merged.segment;
    log.date = log.date ? log.date : job->merged.date;
    opts.n_offsets = take_offsets(offset, job);
    if (job->media) {
        const struct sm_media_info *info = sm_media_get_info(job->media);
        double fps = round(info->frame_rate_hz);
        opts.fps = fps >= 1 && fps <= 240 ? fps : 0;
        opts.video_length_s = info->duration_s;
    }
    enum sm_status status = take_film(&log, job, err);
    if (status == SM_OK) {
        status = form == SM_JOB__EXPORT_EN13508 ? sm_obslog_write_en13508(text, &log, &job->exported, err)
                                                : sm_obslog_write_isybau(text, &log, &opts, &job->exported, err);
    }
    sm_free(log.entry);
    return status;
}

enum sm_status sm_job__export(struct sm_job__folder *folder, struct sm_job *job, const char *word,
                              struct sm_error *err)
{
    struct sm_text text = {0};
    size_t i = find_form(word);
    if (i == N_FORMS) {
        sm_error_set(err, SM_E_FORMAT, "\"%.40s\" is no form a log is written in", word);
        return sm_error_remedy(err, "choose en13508 or isybau");
    }
    if (job->sheet->codes != SM_CODES_EN) {
        sm_error_set(err, SM_E_FORMAT, "the log's codes are not those of EN 13508-2, which this form is for");
        return sm_error_remedy(err, "leave out --export");
    }
    enum sm_status status = write_form(&text, forms[i].form, job, err);
    if (status == SM_OK) {
        status = sm_job__folder_write(folder, forms[i].file, &text, err);
    }
    sm_text_release(&text);
    return status;
}
