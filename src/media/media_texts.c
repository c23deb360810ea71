/*
 * Text tracks beside the picture: subtitles as text, 3GPP timed text, WebVTT, ASS. Their packets are plain
 * enough to be read without a decoder. A file is opened once more for them, so that nothing under way is
 * disturbed; its times are brought to the picture's by the packet of the first frame.
 */
#include "media_internal.h"
#include "media_remote.h"

#include <stdlib.h>
#include <string.h>

#define MOST_TEXTS 1000000U
#define MOST_TEXT_BYTES ((size_t)64 * 1024 * 1024)
#define MOST_ONE_TEXT 4096 /* bytes; a longer one is no caption */
#define MOST_TRACKS 8
#define ASS_FIELDS_BEFORE_TEXT 8
#define SLACK_BYTES (1024 * 1024)

bool sm_media__is_text_track(const AVStream *stream)
{
    switch ((int)stream->codecpar->codec_id) {
    case AV_CODEC_ID_MOV_TEXT:
    case AV_CODEC_ID_SUBRIP:
    case AV_CODEC_ID_TEXT:
    case AV_CODEC_ID_WEBVTT:
    case AV_CODEC_ID_ASS:
        return stream->codecpar->codec_type == AVMEDIA_TYPE_SUBTITLE;
    default:
        return false;
    }
}

/* One file being read for its texts; times are the container's until its zero is known. */
struct text_pass {
    struct sm_media *media;
    const struct media_file *file;
    int32_t file_idx;
    struct media_demux demux;
    int track_of[64]; /* stream -> track, -1 = none */
    double zero_s;    /* container time of the first frame; NAN = not met yet */
    int64_t bytes_left;
    size_t *n_bytes; /* of all texts so far */
};

static enum sm_status open_pass(struct text_pass *pass, struct sm_error *err)
{
    enum sm_status status = sm_media__demux_open(&pass->demux, pass->file, err);
    int n_tracks = 0;
    if (status != SM_OK) {
        return status;
    }
    pass->bytes_left = 2 * pass->demux.size_bytes + SLACK_BYTES;
    for (unsigned i = 0; i < sizeof pass->track_of / sizeof *pass->track_of; i++) {
        bool is_track = i < pass->demux.format->nb_streams && n_tracks < MOST_TRACKS &&
                        sm_media__is_text_track(pass->demux.format->streams[i]);
        pass->track_of[i] = is_track ? n_tracks++ : -1;
        if (is_track) {
            pass->demux.format->streams[i]->discard = AVDISCARD_DEFAULT;
        }
    }
    return SM_OK;
}

static double seconds(int64_t ticks, const AVStream *stream)
{
    return (double)ticks * av_q2d(stream->time_base);
}

/* ---- what stands in a packet ---- */

/* 3GPP timed text: length in 16 bits, then the text, then boxes about its looks. */
static const char *timed_text(const AVPacket *packet, size_t *n)
{
    if (packet->size < 2) {
        *n = 0;
        return "";
    }
    size_t length = (size_t)packet->data[0] << 8 | packet->data[1], most = (size_t)packet->size - 2;
    *n = length < most ? length : most;
    return (const char *)packet->data + 2;
}

/* An ASS line has its text behind eight commas. */
static const char *ass_text(const AVPacket *packet, size_t *n)
{
    const char *data = (const char *)packet->data, *end = data + packet->size;
    for (int i = 0; i < ASS_FIELDS_BEFORE_TEXT && data < end; i++) {
        const char *comma = memchr(data, ',', (size_t)(end - data));
        data = comma ? comma + 1 : end;
    }
    *n = (size_t)(end - data);
    return data;
}

static const char *packet_text(const AVPacket *packet, enum AVCodecID codec, size_t *n)
{
    if (codec == AV_CODEC_ID_MOV_TEXT) {
        return timed_text(packet, n);
    }
    if (codec == AV_CODEC_ID_ASS) {
        return ass_text(packet, n);
    }
    *n = (size_t)packet->size;
    return (const char *)packet->data;
}

/* The text as UTF-8 in the recording's arena; NULL = no memory. */
static const char *keep_text(struct text_pass *pass, const char *data, size_t n)
{
    struct sm_text decoded = {0};
    const char *kept = NULL;
    sm_text_add_decoded(&decoded, data, n);
    if (!decoded.failed) {
        kept = sm_arena_strdup(pass->media->arena, sm_text_str(&decoded));
        *pass->n_bytes += decoded.length;
    }
    sm_text_release(&decoded);
    return kept;
}

static enum sm_status add_text(struct text_pass *pass, const AVStream *stream, struct sm_error *err)
{
    struct sm_media *media = pass->media;
    const AVPacket *packet = pass->demux.packet;
    size_t n = 0;
    const char *data = packet_text(packet, stream->codecpar->codec_id, &n);
    if (n == 0 || n > MOST_ONE_TEXT || packet->pts == AV_NOPTS_VALUE) {
        return SM_OK;
    }
    if (media->n_texts >= MOST_TEXTS || *pass->n_bytes > MOST_TEXT_BYTES) {
        return sm_error_at(err, SM_E_RANGE, pass->file->path, 0, 0,
                           "the text track is larger than any survey's");
    }
    const char *text = keep_text(pass, data, n);
    if (!text || sm_grow(&media->text, media->n_texts, &media->text_capacity, sizeof *media->text) != SM_OK) {
        return sm_media__no_memory(err);
    }
    double start_s = seconds(packet->pts, stream);
    media->text[media->n_texts++] = (struct sm_timed_text){
        .start_s = start_s,
        .end_s = packet->duration > 0 ? start_s + seconds(packet->duration, stream) : SM_NAN,
        .text = text,
        .track = pass->track_of[stream->index],
        .file = pass->file_idx,
    };
    return SM_OK;
}

/* The packet of the first frame tells where the picture's time starts; more of the picture is not needed
 * then. */
static void look_for_zero(struct text_pass *pass)
{
    const struct media_index *index = &pass->file->index;
    const struct packet_entry *first = &index->packet[index->order[0]];
    const AVPacket *packet = pass->demux.packet;
    int64_t ticks = packet->pts != AV_NOPTS_VALUE ? packet->pts : packet->dts;
    if (ticks != AV_NOPTS_VALUE && first->size_bytes == (uint32_t)packet->size &&
        first->hash == sm_media__packet_hash(packet)) {
        pass->zero_s = seconds(ticks, pass->demux.stream);
        pass->demux.stream->discard = AVDISCARD_ALL;
    }
}

static enum sm_status read_packets(struct text_pass *pass, struct sm_error *err)
{
    AVPacket *packet = pass->demux.packet;
    enum sm_status status = SM_OK;
    while (status == SM_OK && pass->bytes_left > 0 && av_read_frame(pass->demux.format, packet) >= 0) {
        int idx = packet->stream_index;
        pass->bytes_left -= packet->size + 1;
        if (idx == pass->demux.stream->index) {
            look_for_zero(pass);
        } else if ((size_t)idx < sizeof pass->track_of / sizeof *pass->track_of && pass->track_of[idx] >= 0) {
            status = add_text(pass, pass->demux.format->streams[idx], err);
        }
        av_packet_unref(packet);
    }
    return status;
}

static int text_order(const void *a, const void *b)
{
    const struct sm_timed_text *left = a, *right = b;
    if (left->track != right->track) {
        return left->track < right->track ? -1 : 1;
    }
    return left->start_s < right->start_s ? -1 : left->start_s > right->start_s;
}

/* To the recording's time, in order. */
static void settle(struct text_pass *pass, size_t n_before)
{
    struct sm_media *media = pass->media;
    if (isnan(pass->zero_s)) { /* the first frame was not met again: nothing can be said about the times */
        media->n_texts = n_before;
        return;
    }
    double shift_s = pass->file->start_s - pass->zero_s;
    for (size_t i = n_before; i < media->n_texts; i++) {
        media->text[i].start_s += shift_s;
        media->text[i].end_s += shift_s;
    }
    if (media->n_texts > n_before) {
        qsort(media->text + n_before, media->n_texts - n_before, sizeof *media->text, text_order);
    }
}

static enum sm_status read_file(struct sm_media *media, size_t file_idx, size_t *n_bytes,
                                struct sm_error *err)
{
    struct text_pass pass = {.media = media,
                             .file = &media->file[file_idx],
                             .file_idx = (int32_t)file_idx,
                             .zero_s = SM_NAN,
                             .n_bytes = n_bytes};
    size_t n_before = media->n_texts;
    enum sm_status status = open_pass(&pass, err);
    if (status == SM_OK) {
        status = read_packets(&pass, err);
    }
    if (status == SM_OK) {
        settle(&pass, n_before);
    }
    sm_media__demux_close(&pass.demux);
    return status;
}

enum sm_status sm_media_texts(struct sm_media *media, const struct sm_timed_text **out, size_t *n,
                              struct sm_error *err)
{
    size_t n_bytes = 0;
    if (media->remote && media->is_busy) {
        return sm_error_set(err, SM_E_CONFLICT, "the video is being scanned; ask again when that has ended");
    }
    if (media->remote && !media->has_read_texts) {
        enum sm_status status = sm_media__remote_texts(media, err);
        if (status != SM_OK) {
            return status;
        }
    }
    for (size_t i = 0; !media->has_read_texts && i < media->n_files; i++) {
        enum sm_status status = media->file[i].has_texts ? read_file(media, i, &n_bytes, err) : SM_OK;
        if (status != SM_OK) {
            media->n_texts = 0;
            return status;
        }
    }
    media->has_read_texts = true;
    *out = media->text;
    *n = media->n_texts;
    return SM_OK;
}
