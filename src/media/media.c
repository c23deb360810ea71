/*
 * Opening a recording out of its files, what is known about it, and its face as a frame source. Only one file
 * is open at a time; what stays in memory of the others is their list of frames.
 */
#include "media_internal.h"
#include "media_remote.h"

#include <libavutil/avstring.h>
#include <libavutil/display.h>
#include <assert.h>
#include <math.h>
#include <stdlib.h>

enum sm_status sm_media__activate(struct sm_media *media, size_t file_idx, struct sm_error *err)
{
    if (media->active == file_idx) {
        return SM_OK;
    }
    sm_media__decoder_close(&media->decoder);
    sm_media__demux_close(&media->demux);
    media->active = media->n_files;
    if (media->active_told) {
        *media->active_told = (uint32_t)file_idx;
    }
    const struct media_file *file = &media->file[file_idx];
    enum sm_status status = sm_media__demux_open(&media->demux, file, err);
    if (status == SM_OK) {
        status =
            sm_media__decoder_open(&media->decoder, sm_media__parameters(&media->demux), file->path, err);
    }
    if (status == SM_OK) {
        media->active = file_idx;
        media->demux.next_idx = UINT32_MAX; /* no place known yet */
    }
    return status;
}

/* Quarter turns asked for by the container, clockwise; other angles count as none. */
static int32_t rotation_of(const AVStream *stream)
{
    size_t size = 0;
    const uint8_t *matrix = av_stream_get_side_data(stream, AV_PKT_DATA_DISPLAYMATRIX, &size);
    if (!matrix || size < 9 * sizeof(int32_t)) {
        return 0;
    }
    double degrees = -av_display_rotation_get((const int32_t *)(const void *)matrix);
    if (!isfinite(degrees)) {
        return 0;
    }
    int32_t quarter = (int32_t)lround(degrees / 90.0);
    return fabs(degrees - 90.0 * quarter) < 1.0 ? ((quarter % 4 + 4) % 4) * 90 : 0;
}

/* Aspects beyond 4:1 are taken for damage. */
static double pixel_aspect_of(const struct media_demux *demux)
{
    AVRational aspect = av_guess_sample_aspect_ratio(demux->format, demux->stream, NULL);
    double ratio = aspect.num > 0 && aspect.den > 0 ? av_q2d(aspect) : 1.0;
    return ratio >= 0.25 && ratio <= 4.0 ? ratio : 1.0;
}

static void describe(struct sm_media *media, struct media_file *file)
{
    const struct media_demux *demux = &media->demux;
    AVRational base = demux->stream->time_base;
    file->container = sm_media__container_name(demux);
    file->codec = avcodec_get_name(demux->stream->codecpar->codec_id);
    file->tick_s = base.num > 0 && base.den > 0 ? av_q2d(base) : 0.04;
    file->rotation_deg = rotation_of(demux->stream);
    file->pixel_aspect = pixel_aspect_of(demux);
    for (unsigned i = 0; i < demux->format->nb_streams; i++) {
        file->has_texts |= sm_media__is_text_track(demux->format->streams[i]);
    }
}

/* Frames before the first that decodes are no frames; time starts with that one. */
static enum sm_status start_at_first_frame(struct sm_media *media, struct media_file *file,
                                           struct sm_error *err)
{
    struct media_index *index = &file->index;
    uint32_t first = 0;
    enum sm_status status = sm_media__first_frame(media, &first, err);
    if (status == SM_E_NOTFOUND) {
        sm_error_at(err, SM_E_FORMAT, file->path, 0, 0, "not one frame of the video (%s) can be decoded",
                    file->codec);
        return sm_error_remedy(err, "copy the file again from the recorder");
    }
    if (status != SM_OK) {
        return status;
    }
    int64_t start = index->packet[first].time_ticks;
    for (size_t i = 0; i < index->n_packets; i++) {
        bool is_lost = index->packet[i].time_ticks < start && !(index->packet[i].flags & PACKET_HIDDEN);
        index->packet[i].flags |= is_lost ? PACKET_HIDDEN : 0;
        index->packet[i].time_ticks -= start;
        file->n_lost_at_start += is_lost;
    }
    media->n_damages = 0; /* noted against times that have just changed */
    file->width_px = media->decoder.held->width;
    file->height_px = media->decoder.held->height;
    return sm_media__index_order(index) == SM_OK ? SM_OK : sm_media__no_memory(err);
}

static void measure_duration(struct media_file *file)
{
    const struct media_index *index = &file->index;
    int64_t last = index->packet[index->order[index->n_frames - 1]].time_ticks;
    file->duration_s = (double)(last + index->frame_ticks) * file->tick_s;
}

static enum sm_status list_frames(struct sm_media *media, size_t file_idx, struct sm_error *err)
{
    struct media_file *file = &media->file[file_idx];
    enum sm_status status = sm_media__activate(media, file_idx, err);
    if (status != SM_OK) {
        return status;
    }
    describe(media, file);
    status = sm_media__index(media, file, err);
    return status == SM_OK ? start_at_first_frame(media, file, err) : status;
}

/* An AVI whose index is rubbish is read in that index's order, if it yields anything: positions run back.
 * Frames in file order are there all the same. */
static bool has_misleading_index(const struct sm_media *media, const struct media_file *file,
                                 enum sm_status status)
{
    bool is_avi = media->demux.format && av_match_name("avi", media->demux.format->iformat->name);
    return is_avi && !file->ignores_index &&
           (status == SM_E_FORMAT || (status == SM_OK && !file->index.is_pos_sorted));
}

static enum sm_status open_file(struct sm_media *media, size_t file_idx, struct sm_error *err)
{
    struct media_file *file = &media->file[file_idx];
    enum sm_status status = list_frames(media, file_idx, err);
    if (has_misleading_index(media, file, status)) {
        sm_media__index_release(&file->index);
        file->ignores_index = true;
        file->n_lost_at_start = 0;
        media->active = media->n_files;
        status = list_frames(media, file_idx, err);
    }
    if (status != SM_OK) {
        return status;
    }
    measure_duration(file);
    return sm_media__note_oddities(media, file) == SM_OK ? SM_OK : sm_media__no_memory(err);
}

static int compare_doubles(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return a < b ? -1 : a > b;
}

/* Median distance of key frames over the first of them; 0 when every frame is one. */
static double key_interval(const struct media_file *file)
{
    enum { MOST = 1024 };
    double gap[MOST];
    size_t n = 0;
    const struct media_index *index = &file->index;
    if (index->n_keys >= index->n_frames) {
        return 0;
    }
    for (size_t i = 1; i < index->n_keys && n < MOST; i++) {
        int64_t ticks = index->packet[index->key[i].packet_idx].time_ticks -
                        index->packet[index->key[i - 1].packet_idx].time_ticks;
        gap[n++] = (double)ticks * file->tick_s;
    }
    if (n == 0) {
        return file->duration_s;
    }
    qsort(gap, n, sizeof gap[0], compare_doubles);
    return gap[n / 2] > 0 ? gap[n / 2] : 0;
}

static void fill_info(struct sm_media *media)
{
    const struct media_file *first = &media->file[0];
    const struct media_file *last = &media->file[media->n_files - 1];
    struct sm_media_info *info = &media->info;
    bool is_sideways = first->rotation_deg == 90 || first->rotation_deg == 270;
    info->width_px = is_sideways ? first->height_px : first->width_px;
    info->height_px = is_sideways ? first->width_px : first->height_px;
    info->duration_s = last->start_s + last->duration_s;
    info->n_frames = last->first_frame_idx + last->index.n_frames;
    info->frame_rate_hz = info->duration_s > 0 ? (double)info->n_frames / info->duration_s : 25;
    info->key_interval_s = key_interval(first);
    info->container = first->container;
    info->codec = first->codec;
    info->n_files = media->n_files;
    info->pixel_aspect = is_sideways ? 1 / first->pixel_aspect : first->pixel_aspect;
    info->rotation_deg = first->rotation_deg;
}

enum sm_status sm_media__new(struct sm_media **out, size_t n_files, struct sm_error *err)
{
    struct sm_media *media = sm_calloc(1, sizeof *media);
    if (!media) {
        return sm_media__no_memory(err);
    }
    media->demux.fd = -1;
    media->n_files = n_files;
    media->active = n_files;
    media->file = sm_calloc(n_files, sizeof *media->file);
    if (!media->file || sm_arena_new(&media->arena) != SM_OK) {
        sm_media_close(&media);
        return sm_media__no_memory(err);
    }
    *out = media;
    return SM_OK;
}

static enum sm_status media_new(struct sm_media **out, const char *const *path, size_t n_paths,
                                struct sm_error *err)
{
    struct sm_media *media = NULL;
    enum sm_status status = sm_media__new(&media, n_paths, err);
    for (size_t i = 0; i < n_paths && status == SM_OK; i++) {
        media->file[i].path = sm_arena_strdup(media->arena, path[i]);
        media->file[i].other_size_s = SM_NAN;
        status = media->file[i].path ? SM_OK : sm_media__no_memory(err);
    }
    if (status != SM_OK) {
        sm_media_close(&media);
        return status;
    }
    *out = media;
    return SM_OK;
}

enum sm_status sm_media__open_files(struct sm_media *media, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < media->n_files && status == SM_OK; i++) {
        if (i > 0) {
            const struct media_file *before = &media->file[i - 1];
            media->file[i].start_s = before->start_s + before->duration_s;
            media->file[i].first_frame_idx = before->first_frame_idx + before->index.n_frames;
        }
        status = open_file(media, i, err);
    }
    if (status == SM_OK) {
        fill_info(media);
        media->n_lasting = media->findings.n;
        status = sm_media__publish(media, err);
    }
    return status;
}

/* The same, by a decoder in a process of its own, whose word is taken for what it is worth. */
static enum sm_status open_apart(struct sm_media *media, struct sm_error *err)
{
    enum sm_status status = sm_media__remote_start(media, sm_media__child_open, err);
    if (status == SM_OK) {
        status = sm_media__remote_opened(media, err);
    }
    if (status == SM_OK) {
        fill_info(media);
        status = sm_media__publish(media, err);
    }
    return status;
}

enum sm_status sm_media_open(struct sm_media **out, const char *const *path, size_t n_paths,
                             struct sm_error *err)
{
    if (n_paths == 0) {
        return sm_error_set(err, SM_E_NOTFOUND, "no video is named");
    }
    struct sm_media *media = NULL;
    enum sm_status status = media_new(&media, path, n_paths, err);
    if (status == SM_OK) {
        status = sm_media__is_apart() ? open_apart(media, err) : sm_media__open_files(media, err);
    }
    if (status != SM_OK) {
        sm_media_close(&media);
        return status;
    }
    *out = media;
    return SM_OK;
}

void sm_media_close(struct sm_media **media)
{
    struct sm_media *old = *media;
    if (!old) {
        return;
    }
    assert(!old->is_busy);
    sm_media__remote_stop(old);
    sm_media__picture_release(&old->picture);
    sm_media__decoder_close(&old->decoder);
    sm_media__demux_close(&old->demux);
    for (size_t i = 0; old->file && i < old->n_files; i++) {
        sm_media__index_release(&old->file[i].index);
    }
    sm_free(old->file);
    sm_free(old->text);
    sm_findings_release(&old->findings);
    sm_arena_free(&old->arena);
    sm_free(old);
    *media = NULL;
}

const struct sm_media_info *sm_media_get_info(const struct sm_media *media)
{
    return &media->info;
}

const struct sm_findings *sm_media_get_findings(const struct sm_media *media)
{
    return &media->findings;
}

struct sm_media_packet sm_media_get_packet(const struct sm_media *media, size_t frame_idx)
{
    assert(frame_idx < media->info.n_frames);
    size_t i = media->n_files - 1;
    while (media->file[i].first_frame_idx > frame_idx) {
        i--;
    }
    const struct media_file *file = &media->file[i];
    const struct packet_entry *entry =
        &file->index.packet[file->index.order[frame_idx - file->first_frame_idx]];
    return (struct sm_media_packet){.time_s = sm_media__entry_time_s(file, entry),
                                    .size_bytes = entry->size_bytes,
                                    .is_key = (entry->flags & PACKET_KEY) != 0};
}

bool sm_media_get_damage(const struct sm_media *media, size_t stretch_idx, double *start_s, double *end_s)
{
    if (stretch_idx >= media->n_damages) {
        return false;
    }
    *start_s = media->damage[stretch_idx].start_s;
    *end_s = media->damage[stretch_idx].end_s;
    return true;
}

double sm_media_file_start_s(const struct sm_media *media, size_t file_idx)
{
    assert(file_idx < media->n_files);
    return media->file[file_idx].start_s;
}

static enum sm_status source_scan(void *user, double start_s, double end_s, double step_s, bool cheap_only,
                                  sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    return sm_media_scan(user, start_s, end_s, step_s, cheap_only, fn, fn_user, err);
}

static enum sm_status source_at(void *user, const double *time_s, size_t n, size_t *at_idx, sm_frame_fn *fn,
                                void *fn_user, struct sm_error *err)
{
    return sm_media_at(user, time_s, n, at_idx, fn, fn_user, err);
}

static size_t source_coded(void *user, double start_s, double end_s, struct sm_coded_picture *out,
                           size_t capacity)
{
    const struct sm_media *media = user;
    size_t low = 0, high = media->info.n_frames, n = 0;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (sm_media_get_packet(media, middle).time_s < start_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    for (; n < capacity && low < media->info.n_frames; low++, n++) {
        struct sm_media_packet packet = sm_media_get_packet(media, low);
        if (packet.time_s >= end_s) {
            break;
        }
        out[n] = (struct sm_coded_picture){packet.time_s, packet.size_bytes, packet.is_key};
    }
    return n;
}

struct sm_frame_source sm_media_source(struct sm_media *media)
{
    return (struct sm_frame_source){.user = media,
                                    .duration_s = media->info.duration_s,
                                    .width_px = media->info.width_px,
                                    .height_px = media->info.height_px,
                                    .frame_rate_hz = media->info.frame_rate_hz,
                                    .sample_cost_s = media->info.key_interval_s,
                                    .scan = source_scan,
                                    .at = source_at,
                                    .coded = source_coded};
}
