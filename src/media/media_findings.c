/* Damage met while decoding, kept as few stretches however often the same frames are decoded, told as
 * findings. */
#include "media_internal.h"

#include <math.h>
#include <string.h>

#define GAP_S 2.0
#define JOIN_S 2.0 /* damage closer than this is one stretch */

enum sm_status sm_media__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static bool joins(const struct damage *damage, double time_s)
{
    return time_s >= damage->start_s - JOIN_S && time_s <= damage->end_s + JOIN_S;
}

void sm_media__note_damage(struct sm_media *media, double time_s)
{
    size_t i = 0;
    while (i < media->n_damages && !joins(&media->damage[i], time_s) && media->damage[i].start_s < time_s) {
        i++;
    }
    if (i < media->n_damages && joins(&media->damage[i], time_s)) {
        struct damage *known = &media->damage[i];
        if (time_s < known->start_s || time_s > known->end_s) {
            known->start_s = time_s < known->start_s ? time_s : known->start_s;
            known->end_s = time_s > known->end_s ? time_s : known->end_s;
            media->is_news = true;
        }
        return;
    }
    media->is_news = true;
    if (media->n_damages == MAX_DAMAGES) {
        media->has_more_damage = true;
        return;
    }
    memmove(&media->damage[i + 1], &media->damage[i], (media->n_damages - i) * sizeof media->damage[0]);
    media->damage[i] = (struct damage){time_s, time_s, 1};
    media->n_damages++;
}

/* Neighbours that grew towards each other become one. */
static void join_neighbours(struct sm_media *media)
{
    size_t n = 0;
    for (size_t i = 0; i < media->n_damages; i++) {
        struct damage *last = n ? &media->damage[n - 1] : NULL;
        if (last && joins(last, media->damage[i].start_s)) {
            last->end_s = media->damage[i].end_s > last->end_s ? media->damage[i].end_s : last->end_s;
        } else {
            media->damage[n++] = media->damage[i];
        }
    }
    media->n_damages = n;
}

static const char *path_at(const struct sm_media *media, double time_s)
{
    size_t i = media->n_files - 1;
    while (i > 0 && media->file[i].start_s > time_s) {
        i--;
    }
    return media->file[i].path;
}

static enum sm_status add_damage(struct sm_media *media, const struct damage *damage)
{
    struct sm_text text = {0};
    sm_text_add(&text, "the picture is damaged from ");
    sm_text_add_fixed(&text, damage->start_s, 2);
    sm_text_add(&text, " s to ");
    sm_text_add_fixed(&text, damage->end_s, 2);
    sm_text_add(&text, " s; what is read there may be wrong");
    enum sm_status status = text.failed ? SM_E_NOMEM
                                        : sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING,
                                                          path_at(media, damage->start_s), 0, damage->start_s,
                                                          -1, "%s", sm_text_str(&text));
    sm_text_release(&text);
    return status;
}

/* Where the picture changes its size within a file. */
static enum sm_status add_other_size(struct sm_media *media, const struct media_file *file)
{
    struct sm_text text = {0};
    sm_text_add(&text, "the picture changes its size at ");
    sm_text_add_fixed(&text, file->other_size_s, 2);
    sm_text_addf(&text, " s; it is scaled to %d x %d", (int)media->file[0].width_px,
                 (int)media->file[0].height_px);
    enum sm_status status = text.failed
                                ? SM_E_NOMEM
                                : sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0,
                                                  file->other_size_s, -1, "%s", sm_text_str(&text));
    sm_text_release(&text);
    return status;
}

static enum sm_status add_all(struct sm_media *media)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < media->n_files && status == SM_OK; i++) {
        status = isfinite(media->file[i].other_size_s) ? add_other_size(media, &media->file[i]) : SM_OK;
    }
    for (size_t i = 0; i < media->n_damages && status == SM_OK; i++) {
        status = add_damage(media, &media->damage[i]);
    }
    if (media->has_more_damage && status == SM_OK) {
        status = sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, media->file[0].path, 0, SM_NAN, -1,
                                 "the picture is damaged in more places than are listed");
    }
    return status;
}

enum sm_status sm_media__publish(struct sm_media *media, struct sm_error *err)
{
    if (!media->is_news) {
        return SM_OK;
    }
    join_neighbours(media);
    media->findings.n = media->n_lasting;
    media->is_news = false;
    return add_all(media) == SM_OK ? SM_OK : sm_media__no_memory(err);
}

/* A header that promises clearly more than is there. Of streams without an index only a guess would be
 * compared. */
static enum sm_status note_cut(struct sm_media *media, const struct media_file *file)
{
    const AVFormatContext *format = media->demux.format;
    int64_t claimed = media->demux.stream->nb_frames;
    if (claimed > 0 && (uint64_t)claimed > file->index.n_packets + 2) {
        return sm_findings_add(
            &media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, SM_NAN, -1,
            "cut off: its header says %lld frames, %zu are there; the rest of the recording is "
            "missing",
            (long long)claimed, file->index.n_packets);
    }
    double claimed_s = (double)format->duration / AV_TIME_BASE;
    bool is_stated = format->duration > 0 && !(format->iformat->flags & AVFMT_TS_DISCONT) &&
                     format->duration_estimation_method == AVFMT_DURATION_FROM_STREAM;
    if (is_stated && claimed_s > file->duration_s + 1 + 0.01 * file->duration_s) {
        return sm_findings_add(
            &media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, SM_NAN, -1,
            "cut off: its header says %lld seconds, %lld are there; the rest of the recording is "
            "missing",
            llround(claimed_s), llround(file->duration_s));
    }
    return SM_OK;
}

/* Stretches of more than GAP_S in which the file has no frame though it has many elsewhere. */
static enum sm_status note_gaps(struct sm_media *media, const struct media_file *file)
{
    const struct media_index *index = &file->index;
    int64_t least = llround(GAP_S / file->tick_s);
    least = least > 20 * index->frame_ticks ? least : 20 * index->frame_ticks;
    enum sm_status status = SM_OK;
    int n_told = 0;
    for (size_t rank = 1; rank < index->n_frames && n_told < 20 && status == SM_OK; rank++) {
        const struct packet_entry *before = &index->packet[index->order[rank - 1]];
        const struct packet_entry *after = &index->packet[index->order[rank]];
        if (after->time_ticks - before->time_ticks <= least) {
            continue;
        }
        n_told++;
        struct sm_text text = {0};
        sm_text_add(&text, "there is no frame between ");
        sm_text_add_fixed(&text, sm_media__entry_time_s(file, before), 2);
        sm_text_add(&text, " s and ");
        sm_text_add_fixed(&text, sm_media__entry_time_s(file, after), 2);
        sm_text_add(&text, " s");
        status = text.failed
                     ? SM_E_NOMEM
                     : sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0,
                                       sm_media__entry_time_s(file, before), -1, "%s", sm_text_str(&text));
        sm_text_release(&text);
    }
    return status;
}

enum sm_status sm_media__note_oddities(struct sm_media *media, const struct media_file *file)
{
    enum sm_status status = note_cut(media, file);
    status = status == SM_OK ? note_gaps(media, file) : status;
    if (file->ignores_index && status == SM_OK) {
        status = sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, SM_NAN, -1,
                                 "the file's own index is rubbish and was not used");
    }
    if (file->n_lost_at_start && status == SM_OK) {
        status =
            sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, file->start_s, -1,
                            "the first %zu frames cannot be decoded; time starts with the first that can",
                            file->n_lost_at_start);
    }
    const struct media_file *first = &media->file[0];
    bool is_other_size = file->width_px != first->width_px || file->height_px != first->height_px;
    if (is_other_size && status == SM_OK) {
        status = sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, SM_NAN, -1,
                                 "the picture is %d x %d, in the first file %d x %d; it is scaled to that",
                                 (int)file->width_px, (int)file->height_px, (int)first->width_px,
                                 (int)first->height_px);
    }
    return status;
}
