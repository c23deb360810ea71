/*
 * The list of a file's video packets, made by reading the file once. Headers are not asked: a cut-off file
 * claims frames it no longer has. Bounded whatever the file says: by number of packets, and by bytes
 * delivered against bytes there are, since a broken index can send a demuxer round in circles.
 */
#include "media_internal.h"

#include <libavutil/avstring.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SLACK_BYTES (1024 * 1024)
#define MOST_LOST 1000 /* entries of a file's index that are looked through for one packet */
#define AVI_CHUNK_HEAD_BYTES 8

/* Timestamps of all packets and the parser that looks into them. */
struct pass {
    struct raw_time *raw;
    size_t capacity;
    AVCodecParserContext *parser;
    AVCodecContext *context;
    bool is_intra_only;
    bool has_own_times; /* the container stores display times */
    bool has_open_field;
    bool is_numbered;   /* the container's index (AVI) says which number a packet has */
    int index_cursor;   /* into that index */
    bool is_after_loss; /* packets are missing since the last key */
    int64_t bytes_left;
};

static void pass_release(struct pass *pass)
{
    av_parser_close(pass->parser);
    avcodec_free_context(&pass->context);
    sm_free(pass->raw);
}

static enum sm_status pass_init(struct pass *pass, const struct media_demux *demux, struct sm_error *err)
{
    const AVCodecParameters *codec = demux->stream->codecpar;
    const AVCodecDescriptor *descriptor = avcodec_descriptor_get(codec->codec_id);
    const char *container = demux->format->iformat->name;
    pass->is_intra_only = descriptor && (descriptor->props & AV_CODEC_PROP_INTRA_ONLY);
    pass->has_own_times = !av_match_name(container, "avi,h264,hevc,m4v,mpegvideo");
    pass->is_numbered =
        av_match_name("avi", container) && avformat_index_get_entries_count(demux->stream) > 0;
    pass->bytes_left = 2 * demux->size_bytes + SLACK_BYTES;
    if (pass->is_intra_only || av_match_name("mp4", container) || av_match_name("matroska", container)) {
        return SM_OK; /* keys, times and whole frames are in the container */
    }
    pass->parser = av_parser_init((int)codec->codec_id);
    pass->context = avcodec_alloc_context3(NULL);
    if (!pass->context || avcodec_parameters_to_context(pass->context, codec) < 0) {
        return sm_media__no_memory(err);
    }
    if (pass->parser) {
        pass->parser->flags |= PARSER_FLAG_COMPLETE_FRAMES;
    }
    return SM_OK;
}

/* Timestamps beyond any real recording are no timestamps. */
static int64_t sane(int64_t ts)
{
    return ts > INT64_MAX / 256 || ts < INT64_MIN / 256 ? AV_NOPTS_VALUE : ts;
}

/* Let the parser look at the packet: picture type, order, field; keys are only believed where both agree. */
static void look_inside(struct pass *pass, const AVPacket *packet, struct raw_time *raw, uint32_t *flags)
{
    if (!pass->parser) {
        return;
    }
    uint8_t *data = NULL;
    int size = 0;
    av_parser_parse2(pass->parser, pass->context, &data, &size, packet->data, packet->size, packet->pts,
                     packet->dts, packet->pos);
    raw->picture_type = (uint8_t)pass->parser->pict_type;
    raw->picture_order = pass->parser->output_picture_number;
    raw->field = (uint8_t)pass->parser->picture_structure;
    bool has_type = pass->parser->pict_type != AV_PICTURE_TYPE_NONE;
    if (has_type && pass->parser->pict_type != AV_PICTURE_TYPE_I && pass->parser->key_frame != 1) {
        *flags &= ~(uint32_t)PACKET_KEY;
    }
}

static bool is_field(uint8_t structure)
{
    return structure == AV_PICTURE_STRUCTURE_TOP_FIELD || structure == AV_PICTURE_STRUCTURE_BOTTOM_FIELD;
}

/* H.264 may bring the two fields of a frame in two packets; one frame comes out, known by the first. */
static void pair_fields(struct pass *pass, const struct media_demux *demux, const struct raw_time *before,
                        const struct raw_time *raw, uint32_t *flags)
{
    if (demux->stream->codecpar->codec_id != AV_CODEC_ID_H264 || !is_field(raw->field)) {
        pass->has_open_field = false;
        return;
    }
    if (pass->has_open_field && before && before->field != raw->field) {
        *flags |= PACKET_FIELD_2 | PACKET_HIDDEN;
        *flags &= ~(uint32_t)PACKET_KEY;
        pass->has_open_field = false;
        return;
    }
    pass->has_open_field = true;
}

static uint32_t packet_flags(const struct pass *pass, const AVPacket *packet)
{
    uint32_t flags = 0;
    flags |= (packet->flags & AV_PKT_FLAG_KEY) || pass->is_intra_only ? PACKET_KEY : 0;
    flags |= packet->flags & AV_PKT_FLAG_CORRUPT ? PACKET_CORRUPT : 0;
    flags |= packet->flags & AV_PKT_FLAG_DISCARD ? PACKET_HIDDEN : 0;
    return flags;
}

/*
 * AVI counts frames as it meets them, so a lost one would shift all that follow. Where the file's index knows
 * the packet by its position, its number there is the time; what it lists in between is lost, and frames up
 * to the next key build on what is not there.
 */
static void number_packet(struct pass *pass, const struct media_demux *demux, struct raw_time *raw,
                          uint32_t *flags)
{
    int end = pass->is_numbered ? avformat_index_get_entries_count(demux->stream) : 0;
    end = end > pass->index_cursor + MOST_LOST ? pass->index_cursor + MOST_LOST : end;
    size_t n_lost = 0;
    for (int i = pass->index_cursor; i < end; i++) {
        const AVIndexEntry *entry = avformat_index_get_entry(demux->stream, i);
        int64_t pos = entry->pos + AVI_CHUNK_HEAD_BYTES;
        if (pos == demux->packet->pos) {
            raw->dts = entry->timestamp;
            pass->index_cursor = i + 1;
            pass->is_after_loss |= n_lost > 0;
        }
        if (pos >= demux->packet->pos) {
            break;
        }
        n_lost += entry->size > 0;
    }
    if (*flags & PACKET_KEY) {
        pass->is_after_loss = false;
    }
    *flags |= pass->is_after_loss ? PACKET_CORRUPT : 0;
}

static enum sm_status add_key(struct media_index *index, int64_t dts)
{
    if (sm_grow(&index->key, index->n_keys, &index->key_capacity, sizeof *index->key) != SM_OK) {
        return SM_E_NOMEM;
    }
    index->key[index->n_keys++] = (struct key_entry){(uint32_t)index->n_packets, dts};
    return SM_OK;
}

static enum sm_status add_packet(struct pass *pass, const struct media_demux *demux,
                                 struct media_index *index)
{
    const AVPacket *packet = demux->packet;
    if (sm_grow(&index->packet, index->n_packets, &index->packet_capacity, sizeof *index->packet) != SM_OK ||
        sm_grow(&pass->raw, index->n_packets, &pass->capacity, sizeof *pass->raw) != SM_OK) {
        return SM_E_NOMEM;
    }
    struct raw_time raw = {.pts = pass->has_own_times ? sane(packet->pts) : AV_NOPTS_VALUE,
                           .dts = sane(packet->dts)};
    uint32_t flags = packet_flags(pass, packet);
    look_inside(pass, packet, &raw, &flags);
    number_packet(pass, demux, &raw, &flags);
    pair_fields(pass, demux, index->n_packets ? &pass->raw[index->n_packets - 1] : NULL, &raw, &flags);
    int64_t seek_ts = raw.dts != AV_NOPTS_VALUE ? raw.dts : sane(packet->pts);
    if ((flags & PACKET_KEY) && add_key(index, seek_ts) != SM_OK) {
        return SM_E_NOMEM;
    }
    if (packet->pos < 0 || (index->n_packets && packet->pos < index->packet[index->n_packets - 1].pos)) {
        index->is_pos_sorted = false;
    }
    pass->raw[index->n_packets] = raw;
    index->packet[index->n_packets++] = (struct packet_entry){.pos = packet->pos,
                                                              .size_bytes = (uint32_t)packet->size,
                                                              .hash = sm_media__packet_hash(packet),
                                                              .rank = NO_RANK,
                                                              .flags = flags};
    return SM_OK;
}

static enum sm_status read_all(struct pass *pass, struct sm_media *media, struct media_file *file,
                               struct sm_error *err)
{
    struct media_index *index = &file->index;
    index->is_pos_sorted = true;
    while (sm_media__demux_next(&media->demux) > 0) {
        pass->bytes_left -= media->demux.packet->size;
        if (pass->bytes_left < 0) {
            return sm_findings_add(
                       &media->findings, 0, SM_SEVERITY_WARNING, file->path, 0, SM_NAN, -1,
                       "the file's index is damaged and leads in circles; read as far as it made sense") ==
                           SM_OK
                       ? SM_OK
                       : sm_media__no_memory(err);
        }
        if (index->n_packets >= SM_MEDIA_MAX_FRAMES) {
            sm_error_at(err, SM_E_RANGE, file->path, 0, 0, "more than %u frames", SM_MEDIA_MAX_FRAMES);
            return sm_error_remedy(err, "cut the recording into parts and work on them one by one");
        }
        if (add_packet(pass, &media->demux, index) != SM_OK) {
            return sm_media__no_memory(err);
        }
    }
    return SM_OK;
}

static enum sm_status no_frames(const struct media_demux *demux, const struct media_file *file,
                                struct sm_error *err)
{
    if (avformat_index_get_entries_count(demux->stream) > 0) {
        sm_error_at(
            err, SM_E_FORMAT, file->path, 0, 0,
            "the frames listed in this file are not in it: it was cut off, or they lie in another file, "
            "which is not followed");
    } else {
        sm_error_at(err, SM_E_FORMAT, file->path, 0, 0,
                    "there is a video stream in this file but not one frame");
    }
    return sm_error_remedy(err, "copy it again from the recorder, whole and self-contained");
}

/* Give back what the array grew beyond its need. */
static void trim(struct media_index *index)
{
    struct packet_entry *fitting = sm_realloc(index->packet, index->n_packets, sizeof *fitting);
    if (fitting) {
        index->packet = fitting;
        index->packet_capacity = index->n_packets;
    }
}

enum sm_status sm_media__index(struct sm_media *media, struct media_file *file, struct sm_error *err)
{
    struct media_index *index = &file->index;
    struct pass pass = {0};
    enum sm_status status = pass_init(&pass, &media->demux, err);
    if (status == SM_OK) {
        status = read_all(&pass, media, file, err);
    }
    if (status == SM_OK && index->n_packets == 0) {
        status = no_frames(&media->demux, file, err);
    }
    if (status == SM_OK) {
        trim(index);
        media->demux.next_idx = (uint32_t)index->n_packets;
        status = sm_media__index_times(media, file, pass.raw, err);
    }
    pass_release(&pass);
    if (status == SM_OK && sm_media__index_order(index) != SM_OK) {
        status = sm_media__no_memory(err);
    }
    return status;
}

void sm_media__index_release(struct media_index *index)
{
    sm_free(index->packet);
    sm_free(index->order);
    sm_free(index->key);
    *index = (struct media_index){0};
}

double sm_media__entry_time_s(const struct media_file *file, const struct packet_entry *entry)
{
    return file->start_s + (double)entry->time_ticks * file->tick_s;
}

size_t sm_media__rank_at(const struct media_file *file, double time_s)
{
    const struct media_index *index = &file->index;
    size_t low = 0;
    size_t high = index->n_frames;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if ((double)index->packet[index->order[middle]].time_ticks * file->tick_s <= time_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low ? low - 1 : 0;
}

size_t sm_media__keys_up_to(const struct media_index *index, uint32_t packet_idx)
{
    size_t low = 0;
    size_t high = index->n_keys;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (index->key[middle].packet_idx <= packet_idx) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

uint32_t sm_media__key_before(const struct media_index *index, uint32_t packet_idx, size_t back)
{
    uint32_t rank = index->packet[packet_idx].rank;
    for (size_t i = sm_media__keys_up_to(index, packet_idx); i-- > 0;) {
        const struct packet_entry *key = &index->packet[index->key[i].packet_idx];
        bool may_start = (key->flags & PACKET_KEY) && (key->rank == NO_RANK || key->rank <= rank);
        if (may_start && back-- == 0) {
            return index->key[i].packet_idx;
        }
    }
    return 0;
}
