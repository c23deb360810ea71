/*
 * Distances that stand beside the picture: files that were named, else a text track of the video, else a file
 * of the video's own name with .srt or .csv. What is only found may turn out to be about something else; what
 * is named must be usable.
 */
#include <string.h>
#include <sys/stat.h>

#include "job_internal.h"

#define TRACK " (text track)"

static const char *const endings[] = {".srt", ".SRT", ".csv", ".CSV"};
enum { N_ENDINGS = sizeof endings / sizeof *endings };

static bool is_same_name(const char *a, const char *b)
{
    return a && b && strcmp(a, b) == 0;
}

/* ---- named files ---- */

/* As many as videos: each counts from the start of its own. One for several: from the start of the first. */
static enum sm_status add_named(struct sm_distances *list, const struct sm_job__beside *from,
                                const struct sm_media *media, struct sm_error *err)
{
    if (from->n_named != 1 && from->n_named != from->n_videos) {
        sm_error_set(err, SM_E_FORMAT, "%zu lists of distances for %zu videos", from->n_named,
                     from->n_videos);
        return sm_error_remedy(err, "name one list for each video, or a single one for the whole recording");
    }
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < from->n_named; i++) {
        status = sm_distances_add_file(list, from->named[i], sm_media_file_start_s(media, i), err);
    }
    return status;
}

/* ---- text tracks ---- */

static enum sm_status add_track(struct sm_distances *list, const struct sm_timed_text *text, size_t n,
                                const char *video, struct sm_error *err)
{
    struct sm_text name = {0};
    sm_text_addf(&name, "%s%s", video, TRACK);
    enum sm_status status =
        name.failed ? sm_job__no_memory(err) : sm_distances_add_texts(list, text, n, sm_text_str(&name), err);
    sm_text_release(&name);
    return status;
}

/* Of each file the first track that is about distances. */
static enum sm_status add_tracks(struct sm_distances *list, const struct sm_job__beside *from,
                                 struct sm_media *media, struct sm_error *err)
{
    const struct sm_timed_text *text = NULL;
    size_t n = 0;
    int32_t done_file = -1;
    enum sm_status status = sm_media_texts(media, &text, &n, err);
    for (size_t first = 0, end; status == SM_OK && first < n; first = end) {
        struct sm_error why = {0};
        int32_t file = text[first].file;
        for (end = first + 1; end < n && text[end].file == file && text[end].track == text[first].track;) {
            end++;
        }
        if (file != done_file) {
            enum sm_status added = add_track(list, text + first, end - first, from->video[file], &why);
            done_file = added == SM_OK ? file : done_file;
            status = added == SM_E_NOMEM ? sm_job__no_memory(err) : SM_OK;
        }
    }
    return status;
}

/* ---- files beside the video ---- */

static enum sm_status name_beside(struct sm_text *path, const char *video, const char *ending,
                                  struct sm_error *err)
{
    const char *dot = strrchr(video, '.');
    const char *slash = strrchr(video, '/');
    bool has_ending = dot && (!slash || dot > slash + 1) && dot != video;
    sm_text_clear(path);
    sm_text_add_n(path, video, has_ending ? (size_t)(dot - video) : strlen(video));
    sm_text_add(path, ending);
    return path->failed ? sm_job__no_memory(err) : SM_OK;
}

/* A neighbour that is no list is none of our business, but subtitles that might have been are told. */
static enum sm_status tell_unusable(struct sm_findings *findings, const char *path,
                                    const struct sm_error *why, struct sm_error *err)
{
    if (!findings || why->status == SM_E_UNSUPPORTED || why->status == SM_E_IO) {
        return SM_OK;
    }
    enum sm_status status = sm_findings_add(findings, 0, SM_SEVERITY_NOTE, path, why->line, SM_NAN, -1,
                                            "lies beside the video but is not used: %s", why->text);
    return status == SM_OK ? SM_OK : sm_job__no_memory(err);
}

/* Try one neighbour by itself: a trace this program wrote is no second witness, an operator's log no list. */
static enum sm_status try_beside(struct sm_distances *list, const char *path, double offset_s,
                                 struct sm_findings *findings, bool *is_added, struct sm_error *err)
{
    struct sm_distances *trial = NULL;
    struct sm_error why = {0};
    enum sm_status status = sm_distances_new(&trial, err);
    if (status != SM_OK) {
        return status;
    }
    enum sm_status usable = sm_distances_add_file(trial, path, 0, &why);
    if (usable == SM_OK && !trial->is_own_trace) {
        usable = sm_distances_add_file(list, path, offset_s, &why);
        *is_added = usable == SM_OK;
    }
    sm_distances_free(&trial);
    if (usable == SM_E_NOMEM) {
        return sm_job__no_memory(err);
    }
    return usable == SM_OK ? SM_OK : tell_unusable(findings, path, &why, err);
}

static enum sm_status add_beside(struct sm_distances *list, const struct sm_job__beside *from,
                                 const struct sm_media *media, struct sm_findings *findings,
                                 struct sm_error *err)
{
    struct sm_text path = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < from->n_videos; i++) {
        bool is_added = false;
        for (size_t k = 0; status == SM_OK && !is_added && k < N_ENDINGS; k++) {
            status = name_beside(&path, from->video[i], endings[k], err);
            if (status == SM_OK && !is_same_name(sm_text_str(&path), from->log)) {
                status = try_beside(list, sm_text_str(&path), sm_media_file_start_s(media, i), findings,
                                    &is_added, err);
            }
        }
    }
    sm_text_release(&path);
    return status;
}

/* ---- as inputs ---- */

static bool is_file(const char *path)
{
    struct stat status;
    return stat(path, &status) == 0 && S_ISREG(status.st_mode);
}

/* Named lists, else what lies beside the videos, used or not: so it is known before any video is opened. */
enum sm_status sm_job__record_beside(struct sm_job__record *record, const struct sm_sheet *sheet,
                                     struct sm_error *err)
{
    struct sm_text path = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sheet->n_distances; i++) {
        status = sm_job__record_input(record, "distances", sheet->distances[i], NULL, err);
    }
    for (size_t i = 0; status == SM_OK && sheet->n_distances == 0 && i < sheet->n_videos * N_ENDINGS; i++) {
        status = name_beside(&path, sheet->video[i / N_ENDINGS], endings[i % N_ENDINGS], err);
        if (status == SM_OK && is_file(path.data) && !is_same_name(path.data, sheet->log)) {
            status = sm_job__record_input(record, "distances", path.data, NULL, err);
        }
    }
    sm_text_release(&path);
    return status;
}

/* ---- all of it ---- */

enum sm_status sm_job__beside_find(struct sm_distances **out, const struct sm_job__beside *from,
                                   struct sm_media *media, struct sm_findings *findings, struct sm_error *err)
{
    struct sm_distances *list = NULL;
    enum sm_status status = sm_distances_new(&list, err);
    if (status == SM_OK && from->n_named) {
        status = add_named(list, from, media, err);
    } else if (status == SM_OK) {
        status = add_tracks(list, from, media, err);
        if (status == SM_OK && list->n == 0) {
            status = add_beside(list, from, media, findings, err);
        }
    }
    if (status == SM_OK && list->n && findings) {
        status = sm_job__add_findings(findings, &list->findings, err);
    }
    if (status != SM_OK || list->n == 0) {
        sm_distances_free(&list);
    }
    *out = list;
    return status;
}

enum sm_status sm_job__beside_use(struct sm_trace *trace, const struct sm_distances *list,
                                  struct sm_findings *findings, struct sm_error *err)
{
    struct sm_findings unheard = {0};
    enum sm_status status =
        list ? sm_distances_merge(NULL, trace, list, findings ? findings : &unheard, err) : SM_OK;
    sm_findings_release(&unheard);
    return status;
}

enum sm_status sm_job__beside_alone(struct sm_trace **out, const struct sm_distances *list,
                                    const struct sm_job__reading *reading, const struct sm_error *why,
                                    struct sm_findings *findings, struct sm_error *err)
{
    enum sm_status status = sm_distances_trace(out, list, reading->start_s, reading->end_s,
                                               sm_media_get_info(reading->media)->duration_s, err);
    if (status == SM_OK && findings &&
        sm_findings_add(
            findings, SM_FLAG_UNSURE, SM_SEVERITY_WARNING, list->source, 0, SM_NAN, -1,
            "no counter was found in the picture (%s): the distances here are taken, unchecked; %s",
            why->text, why->remedy[0] ? why->remedy : "say where the counter is") != SM_OK) {
        sm_trace_free(out);
        return sm_job__no_memory(err);
    }
    return status;
}
