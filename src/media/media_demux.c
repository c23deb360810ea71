/*
 * Packets of the open file, each known again as an entry of the index, and seeking that is checked after the
 * fact: demuxers land late (MPEG program streams), at the first frame (AVI without index) or on an unclean
 * packet (byte seeks), and say nothing. A place is believed only once a packet there has been identified.
 */
#include "media_internal.h"

#include <libavutil/avstring.h>

#include <assert.h>
#include <string.h>

#define MOST_ERRORS_IN_ROW 64
#define SYNC_PACKETS 200           /* read this many after a seek before giving it up */
#define READ_ON_BYTES (256 * 1024) /* nearer than this, reading on is cheaper than seeking */
#define FAR_EARLY_PACKETS 400      /* a seek that lands this much early has missed */

const AVCodecParameters *sm_media__parameters(const struct media_demux *demux)
{
    return demux->unpack ? demux->unpack->par_out : demux->stream->codecpar;
}

/* Next packet of the video stream as it stands in the file. 1 = one, 0 = end. */
static int read_stored(struct media_demux *demux)
{
    for (int errors = 0; errors < MOST_ERRORS_IN_ROW;) {
        av_packet_unref(demux->packet);
        int code = av_read_frame(demux->format, demux->packet);
        if (code == AVERROR_EOF || code == AVERROR(ENOMEM)) {
            return 0;
        }
        if (code < 0) {
            errors++;
        } else if (demux->packet->stream_index == demux->stream->index && demux->packet->size > 0) {
            return 1;
        }
    }
    return 0;
}

/* Next packet with pictures that were packed together taken apart. */
static int read_unpacked(struct media_demux *demux)
{
    for (;;) {
        av_packet_unref(demux->packet);
        int code = av_bsf_receive_packet(demux->unpack, demux->packet);
        if (code >= 0 && demux->packet->size > 0) {
            return 1;
        }
        if (code == AVERROR_EOF || demux->is_at_end) {
            return 0;
        }
        if (read_stored(demux) > 0) {
            (void)av_bsf_send_packet(demux->unpack, demux->packet);
        } else {
            demux->is_at_end = true;
            (void)av_bsf_send_packet(demux->unpack, NULL);
        }
    }
}

int sm_media__demux_next(struct media_demux *demux)
{
    return demux->unpack ? read_unpacked(demux) : read_stored(demux);
}

/* Seek, and forget what was read ahead. */
static bool jump(struct media_demux *demux, int64_t target, int flags)
{
    if (demux->unpack) {
        av_bsf_flush(demux->unpack);
        demux->is_at_end = false;
    }
    return av_seek_frame(demux->format, demux->stream->index, target, flags) >= 0;
}

static uint32_t hash_bytes(uint32_t hash, const uint8_t *data, int n)
{
    for (int i = 0; i < n; i++) {
        hash = (hash ^ data[i]) * 16777619U; /* FNV-1a, 32 bits */
    }
    return hash;
}

uint32_t sm_media__packet_hash(const AVPacket *packet)
{
    int n = packet->size < 48 ? packet->size : 48;
    uint32_t hash = hash_bytes(2166136261U, packet->data, n);
    return hash_bytes(hash, packet->data + packet->size - n, n);
}

static bool is_entry(const struct packet_entry *entry, const AVPacket *packet, uint32_t hash)
{
    return entry->size_bytes == (uint32_t)packet->size && entry->hash == hash &&
           (entry->pos < 0 || packet->pos < 0 || entry->pos == packet->pos);
}

/* First entry at or after byte position pos. Needs rising positions. */
static size_t entry_at_pos(const struct media_index *index, int64_t pos)
{
    size_t low = 0;
    size_t high = index->n_packets;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (index->packet[middle].pos < pos) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/* Entry from first on that the packet read is, -1 = none. Pictures that stand still, and recordings that were put
 * together, hold packets that are alike: where the position of this one is not known, the first alike counts. */
static int64_t identify(const struct media_index *index, const AVPacket *packet, size_t first)
{
    uint32_t hash = sm_media__packet_hash(packet);
    bool by_pos = index->is_pos_sorted && packet->pos >= 0;
    for (size_t i = by_pos ? entry_at_pos(index, packet->pos) : first; i < index->n_packets; i++) {
        if (by_pos && index->packet[i].pos != packet->pos) {
            break;
        }
        if (is_entry(&index->packet[i], packet, hash)) {
            return (int64_t)i;
        }
    }
    return -1;
}

/* Read until a packet from first on is identified; it stays in hand as next. @return its entry, -1 = none. */
static int64_t synchronise(struct media_demux *demux, const struct media_index *index, size_t first)
{
    demux->has_packet = false;
    for (int i = 0; i < SYNC_PACKETS && sm_media__demux_next(demux) > 0; i++) {
        int64_t found = identify(index, demux->packet, first);
        if (found >= 0) {
            demux->next_idx = (uint32_t)found;
            demux->has_packet = true;
            return found;
        }
    }
    return -1;
}

/* Packet next_idx, or nothing when what comes is another one. */
static bool read_expected(struct media_demux *demux, const struct media_index *index)
{
    if (demux->next_idx >= index->n_packets) {
        return false;
    }
    if (!demux->has_packet) {
        if (sm_media__demux_next(demux) <= 0 ||
            !is_entry(&index->packet[demux->next_idx], demux->packet, sm_media__packet_hash(demux->packet))) {
            return false;
        }
    }
    demux->has_packet = false;
    demux->next_idx++;
    return true;
}

static bool read_on_to(struct media_demux *demux, const struct media_index *index, uint32_t packet_idx)
{
    while (demux->next_idx < packet_idx) {
        if (!read_expected(demux, index)) {
            return false;
        }
    }
    return demux->next_idx == packet_idx;
}

/* Packets from frame to frame may share a byte position and the first packet after a byte seek may start
 * unclean: go back to a position two packets before the one wanted. */
static int64_t byte_target(const struct media_index *index, uint32_t packet_idx)
{
    if (packet_idx < 2) {
        return 0;
    }
    int64_t clean = index->packet[packet_idx - 1].pos;
    size_t i = packet_idx - 2;
    while (i > 0 && index->packet[i].pos >= clean) {
        i--;
    }
    return index->packet[i].pos < clean && i > 0 ? index->packet[i].pos : 0;
}

static int64_t land_by_byte(struct media_demux *demux, const struct media_index *index, uint32_t packet_idx,
                            int64_t back)
{
    if (!index->is_pos_sorted || (demux->format->iformat->flags & AVFMT_NO_BYTE_SEEK)) {
        return -1;
    }
    int64_t target = byte_target(index, packet_idx) - back;
    target = target > 0 ? target : 0;
    return jump(demux, target, AVSEEK_FLAG_BYTE) ? synchronise(demux, index, entry_at_pos(index, target)) : -1;
}

/* dts of the last key entry at or before packet_idx. */
static int64_t time_target(const struct media_index *index, uint32_t packet_idx)
{
    size_t n = sm_media__keys_up_to(index, packet_idx);
    return n ? index->key[n - 1].dts : AV_NOPTS_VALUE;
}

static int64_t land_by_time(struct media_demux *demux, const struct media_index *index, uint32_t packet_idx,
                            int64_t back)
{
    int64_t target = time_target(index, packet_idx);
    if (target == AV_NOPTS_VALUE || target < INT64_MIN / 2 + back) {
        return -1;
    }
    return jump(demux, target - back, AVSEEK_FLAG_BACKWARD) ? synchronise(demux, index, 0) : -1;
}

typedef int64_t land_fn(struct media_demux *, const struct media_index *, uint32_t, int64_t);

/* Seek, look where it landed, back off while it is late. */
static bool seek_by(land_fn *land, struct media_demux *demux, const struct media_index *index,
                    uint32_t packet_idx, int64_t step)
{
    int64_t back = 0;
    for (int attempt = 0; attempt < 6; attempt++) {
        int64_t landed = land(demux, index, packet_idx, back);
        if (landed >= 0 && landed <= packet_idx) {
            return packet_idx - landed < FAR_EARLY_PACKETS && read_on_to(demux, index, packet_idx);
        }
        back = back ? back * 2 : step;
    }
    return false;
}

/* Streams whose packets stand in the file one after the other with no index at all. */
static bool prefers_bytes(const struct media_demux *demux)
{
    return av_match_name(demux->format->iformat->name, "mpeg,mpegts,mpegvideo,h264,hevc,m4v,avi,dv") != 0;
}

static bool seek_within(struct media_demux *demux, const struct media_index *index, uint32_t packet_idx)
{
    AVRational second = {1, 1};
    int64_t second_ticks = av_rescale_q(1, second, demux->stream->time_base);
    bool bytes_first = prefers_bytes(demux);
    for (int way = 0; way < 2; way++) {
        bool by_bytes = (way == 0) == bytes_first;
        if (by_bytes ? seek_by(land_by_byte, demux, index, packet_idx, 64 * 1024)
                     : seek_by(land_by_time, demux, index, packet_idx, second_ticks > 0 ? second_ticks : 1)) {
            return true;
        }
    }
    return false;
}

static bool is_near(const struct media_demux *demux, const struct media_index *index, uint32_t packet_idx)
{
    if (demux->next_idx > packet_idx || demux->next_idx >= index->n_packets) {
        return false;
    }
    int64_t bytes = 0;
    for (uint32_t i = demux->next_idx; i < packet_idx && bytes <= READ_ON_BYTES; i++) {
        bytes += index->packet[i].size_bytes;
    }
    return bytes <= READ_ON_BYTES;
}

/* The slow way that always works: open the file anew and read up to the packet. */
static enum sm_status start_over(struct sm_media *media, uint32_t packet_idx, struct sm_error *err)
{
    const struct media_file *file = &media->file[media->active];
    struct media_demux *demux = &media->demux;
    sm_media__demux_close(demux);
    enum sm_status status = sm_media__demux_open(demux, file, err);
    if (status != SM_OK) {
        return status;
    }
    if (synchronise(demux, &file->index, 0) < 0 || !read_on_to(demux, &file->index, packet_idx)) {
        sm_error_at(err, SM_E_IO, file->path, 0, 0, "the file reads differently than a moment ago");
        return sm_error_remedy(err, "let nothing write to it while it is read");
    }
    return SM_OK;
}

enum sm_status sm_media__seek(struct sm_media *media, uint32_t packet_idx, struct sm_error *err)
{
    const struct media_index *index = &media->file[media->active].index;
    struct media_demux *demux = &media->demux;
    assert(packet_idx < index->n_packets);
    if (is_near(demux, index, packet_idx) && read_on_to(demux, index, packet_idx)) {
        return SM_OK;
    }
    return seek_within(demux, index, packet_idx) ? SM_OK : start_over(media, packet_idx, err);
}

int sm_media__read(struct sm_media *media)
{
    const struct media_index *index = &media->file[media->active].index;
    struct media_demux *demux = &media->demux;
    uint32_t idx = demux->next_idx;
    if (idx >= index->n_packets) {
        return 0;
    }
    if (read_expected(demux, index)) {
        return 1;
    }
    return seek_within(demux, index, idx) && read_expected(demux, index);
}
