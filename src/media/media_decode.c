/*
 * Decoding exactly the frames that are wanted.
 *
 * A run starts at a key frame with a clean decoder and sends packets without a gap. The entry's index goes in
 * as the packet's timestamp and comes back with the frame, so a frame is known whatever the file says about
 * time. Frames come out in display order: one of a higher rank means that nothing more comes for the one
 * asked; it is held for the next call. A run goes on as long as that costs no more than starting at the next
 * key.
 *
 * Pictures nobody refers to are not decoded unless wanted. Where the frame wanted then fails to appear (a
 * packet without a picture, say), its run is repeated with everything decoded, so that what stays on screen
 * is known too.
 */
#include "media_internal.h"

#include <assert.h>
#include <string.h>

#define ATTEMPTS 4 /* with skipping, without, from keys farther back; then the frame counts as lost */

static const enum AVCodecID codecs[] = {
    AV_CODEC_ID_MPEG1VIDEO, AV_CODEC_ID_MPEG2VIDEO, AV_CODEC_ID_MPEG4,     AV_CODEC_ID_H264,
    AV_CODEC_ID_HEVC,       AV_CODEC_ID_MJPEG,      AV_CODEC_ID_MJPEGB,    AV_CODEC_ID_H263,
    AV_CODEC_ID_H263P,      AV_CODEC_ID_H261,       AV_CODEC_ID_MSMPEG4V1, AV_CODEC_ID_MSMPEG4V2,
    AV_CODEC_ID_MSMPEG4V3,  AV_CODEC_ID_WMV1,       AV_CODEC_ID_WMV2,      AV_CODEC_ID_WMV3,
    AV_CODEC_ID_VC1,        AV_CODEC_ID_WMV3IMAGE,  AV_CODEC_ID_VP6,       AV_CODEC_ID_VP8,
    AV_CODEC_ID_VP9,        AV_CODEC_ID_AV1,        AV_CODEC_ID_THEORA,    AV_CODEC_ID_DVVIDEO,
    AV_CODEC_ID_RAWVIDEO,   AV_CODEC_ID_HUFFYUV,    AV_CODEC_ID_FFVHUFF,   AV_CODEC_ID_FFV1,
    AV_CODEC_ID_UTVIDEO,    AV_CODEC_ID_LAGARITH,   AV_CODEC_ID_PRORES,    AV_CODEC_ID_DNXHD,
    AV_CODEC_ID_CINEPAK,    AV_CODEC_ID_INDEO3,     AV_CODEC_ID_INDEO4,    AV_CODEC_ID_INDEO5,
    AV_CODEC_ID_SVQ1,       AV_CODEC_ID_SVQ3,       AV_CODEC_ID_QTRLE,     AV_CODEC_ID_MSVIDEO1,
    AV_CODEC_ID_MSRLE,      AV_CODEC_ID_RPZA,       AV_CODEC_ID_ASV1,      AV_CODEC_ID_ASV2,
    AV_CODEC_ID_V210,       AV_CODEC_ID_MAGICYUV,   AV_CODEC_ID_JPEG2000,  AV_CODEC_ID_MPEG2VIDEO,
    AV_CODEC_ID_FLV1,       AV_CODEC_ID_CFHD,
};

static const AVCodec *find_decoder(enum AVCodecID id)
{
    for (size_t i = 0; i < sizeof codecs / sizeof codecs[0]; i++) {
        if (codecs[i] == id) {
            return avcodec_find_decoder(id);
        }
    }
    return NULL;
}

/* "avc1", or "codec 0x1234" for what has no readable tag. */
static void name_codec(char name[48], const AVCodecParameters *codec)
{
    const char *known = codec->codec_id == AV_CODEC_ID_NONE ? NULL : avcodec_get_name(codec->codec_id);
    char tag[AV_FOURCC_MAX_STRING_SIZE] = "";
    av_fourcc_make_string(tag, codec->codec_tag);
    sm_strcopy(name, 48, known ? known : tag);
}

enum sm_status sm_media__decoder_open(struct media_decoder *decoder, const AVStream *stream, const char *path,
                                      struct sm_error *err)
{
    const AVCodec *codec = find_decoder(stream->codecpar->codec_id);
    if (!codec) {
        char name[48];
        name_codec(name, stream->codecpar);
        sm_error_at(err, SM_E_UNSUPPORTED, path, 0, 0, "video codec \"%s\" is not decoded here", name);
        return sm_error_remedy(err, "convert the video to H.264 in MP4, keeping picture and timing");
    }
    *decoder = (struct media_decoder){.last_idx = -1, .held_idx = -1};
    decoder->context = avcodec_alloc_context3(codec);
    decoder->frame = av_frame_alloc();
    decoder->held = av_frame_alloc();
    if (!decoder->context || !decoder->frame || !decoder->held ||
        avcodec_parameters_to_context(decoder->context, stream->codecpar) < 0) {
        return sm_media__no_memory(err);
    }
    decoder->context->thread_count = 1; /* more cost time in all and give nothing; run one recording a core */
    decoder->context->max_pixels = SM_MEDIA_MAX_PIXELS;
    if (avcodec_open2(decoder->context, codec, NULL) < 0) {
        sm_error_at(err, SM_E_FORMAT, path, 0, 0, "the video stream (%s) cannot be decoded", codec->name);
        return sm_error_remedy(err, "copy the file again from the recorder");
    }
    return SM_OK;
}

void sm_media__decoder_close(struct media_decoder *decoder)
{
    avcodec_free_context(&decoder->context);
    av_frame_free(&decoder->frame);
    av_frame_free(&decoder->held);
    *decoder = (struct media_decoder){.last_idx = -1, .held_idx = -1};
}

static void note_entry_damage(struct sm_media *media, uint32_t packet_idx)
{
    const struct media_file *file = &media->file[media->active];
    const struct packet_entry *entry = &file->index.packet[packet_idx];
    if (entry->rank != NO_RANK) {
        sm_media__note_damage(media, sm_media__entry_time_s(file, entry));
    }
}

bool sm_media__frame_is_damaged(const struct sm_media *media, const AVFrame *frame)
{
    const struct media_index *index = &media->file[media->active].index;
    bool is_corrupt = (frame->flags & AV_FRAME_FLAG_CORRUPT) || frame->decode_error_flags;
    bool has_entry = frame->pts >= 0 && (uint64_t)frame->pts < index->n_packets;
    return is_corrupt || (has_entry && (index->packet[frame->pts].flags & PACKET_CORRUPT));
}

/* Begin a run: decoder clean, packet_idx next. */
static enum sm_status start_run(struct sm_media *media, uint32_t packet_idx, struct sm_error *err)
{
    struct media_decoder *decoder = &media->decoder;
    avcodec_flush_buffers(decoder->context);
    av_frame_unref(decoder->held);
    decoder->held_idx = -1;
    decoder->last_idx = -1;
    decoder->is_running = false;
    decoder->is_draining = false;
    decoder->is_skipping = false;
    enum sm_status status = sm_media__seek(media, packet_idx, err);
    if (status == SM_OK) {
        decoder->is_running = true;
        decoder->run_start = packet_idx;
        decoder->sent_end = packet_idx;
    }
    return status;
}

static void drain(struct media_decoder *decoder)
{
    avcodec_send_packet(decoder->context, NULL);
    decoder->is_draining = true;
}

/* Send the next packet, or signal the end. may_skip: leave out what nobody wants or refers to. */
static void send_next(struct sm_media *media, bool may_skip)
{
    struct media_decoder *decoder = &media->decoder;
    const struct media_index *index = &media->file[media->active].index;
    uint32_t idx = media->demux.next_idx;
    if (sm_media__read(media) <= 0) {
        drain(decoder);
        return;
    }
    const struct packet_entry *entry = &index->packet[idx];
    bool is_wanted = (entry->flags & PACKET_WANTED) || ((entry->flags & PACKET_FIELD_2) && idx > 0 &&
                                                        (index->packet[idx - 1].flags & PACKET_WANTED));
    bool skips = may_skip && !is_wanted;
    AVPacket *packet = media->demux.packet;
    packet->pts = idx;
    packet->dts = AV_NOPTS_VALUE;
    decoder->context->skip_frame = skips ? AVDISCARD_NONREF : AVDISCARD_DEFAULT;
    decoder->is_skipping |= skips;
    int code = avcodec_send_packet(decoder->context, packet);
    av_packet_unref(packet);
    decoder->sent_end = (int64_t)idx + 1;
    if (code < 0 && code != AVERROR(EAGAIN)) {
        note_entry_damage(media, idx);
    }
}

/* Next frame of the run into decoder->held: 1, 0 = send more, -1 = the run is over. */
static int receive(struct sm_media *media)
{
    struct media_decoder *decoder = &media->decoder;
    for (;;) {
        int code = avcodec_receive_frame(decoder->context, decoder->held);
        if (code == AVERROR(EAGAIN)) {
            return 0;
        }
        if (code == AVERROR_EOF) {
            return -1;
        }
        if (code < 0) {
            if (decoder->is_draining) {
                return -1;
            }
            return 0;
        }
        const struct media_index *index = &media->file[media->active].index;
        int64_t idx = decoder->held->pts;
        if (idx >= 0 && (uint64_t)idx < index->n_packets && index->packet[idx].rank != NO_RANK) {
            decoder->held_idx = idx;
            if (sm_media__frame_is_damaged(media, decoder->held)) {
                note_entry_damage(media, (uint32_t)idx);
            }
            return 1;
        }
        av_frame_unref(decoder->held);
    }
}

/* The held frame becomes the last one given out. */
static void take_held(struct media_decoder *decoder)
{
    av_frame_unref(decoder->frame);
    av_frame_move_ref(decoder->frame, decoder->held);
    decoder->last_idx = decoder->held_idx;
    decoder->held_idx = -1;
}

/* Whether all that the frame asked for needs was sent, so that draining brings it out. */
static bool is_sent(const struct media_decoder *decoder, const struct media_index *index, uint32_t packet_idx)
{
    bool has_second =
        packet_idx + 1 < index->n_packets && (index->packet[packet_idx + 1].flags & PACKET_FIELD_2);
    return decoder->sent_end > (int64_t)packet_idx + has_second;
}

/* Run on until the frame of packet_idx or a later one shows. @return true when it is in decoder->frame. */
static bool run_to(struct sm_media *media, uint32_t packet_idx, bool is_last, bool may_skip)
{
    struct media_decoder *decoder = &media->decoder;
    const struct media_index *index = &media->file[media->active].index;
    uint32_t rank = index->packet[packet_idx].rank;
    for (;;) {
        int got = decoder->held_idx >= 0 ? 1 : receive(media);
        if (got < 0) {
            decoder->is_running = false;
            return false;
        }
        if (got > 0) {
            if (index->packet[decoder->held_idx].rank > rank) {
                return false;
            }
            take_held(decoder);
            if (decoder->last_idx == (int64_t)packet_idx) {
                decoder->is_running = !decoder->is_draining;
                return true;
            }
        } else if (is_last && is_sent(decoder, index, packet_idx)) {
            drain(decoder);
        } else {
            send_next(media, may_skip);
        }
    }
}

/* Whether the run under way leads to packet_idx at no more cost than a new one from key. */
static bool can_run_on(const struct media_decoder *decoder, const struct media_index *index,
                       uint32_t packet_idx, uint32_t key)
{
    if (!decoder->is_running || packet_idx < decoder->run_start) {
        return false;
    }
    uint32_t rank = index->packet[packet_idx].rank;
    if (decoder->last_idx >= 0 && index->packet[decoder->last_idx].rank >= rank) {
        return false;
    }
    if (decoder->held_idx >= 0 && index->packet[decoder->held_idx].rank > rank) {
        return false;
    }
    return (int64_t)key <= decoder->sent_end;
}

static bool holds_frame(const struct media_decoder *decoder, uint32_t packet_idx)
{
    return decoder->last_idx == (int64_t)packet_idx && decoder->frame->buf[0];
}

enum sm_status sm_media__fetch(struct sm_media *media, uint32_t packet_idx, bool is_last,
                               enum fetched *fetched, struct sm_error *err)
{
    struct media_decoder *decoder = &media->decoder;
    struct packet_entry *entry = &media->file[media->active].index.packet[packet_idx];
    const struct media_index *index = &media->file[media->active].index;
    assert(entry->rank != NO_RANK);
    *fetched = FETCHED_OWN;
    if (holds_frame(decoder, packet_idx)) {
        return SM_OK;
    }
    int first = entry->flags & PACKET_NO_FRAME ? 1 : 0;
    for (int attempt = first; attempt < first + ATTEMPTS; attempt++) {
        bool may_skip = attempt == 0;
        uint32_t key = sm_media__key_before(index, packet_idx, attempt > 1 ? (size_t)attempt - 1 : 0);
        bool runs_on = attempt == first && can_run_on(decoder, index, packet_idx, key) &&
                       (may_skip || !decoder->is_skipping);
        enum sm_status status = runs_on ? SM_OK : start_run(media, key, err);
        if (status != SM_OK) {
            return status;
        }
        if (run_to(media, packet_idx, is_last, may_skip)) {
            entry->flags &= ~(uint32_t)PACKET_NO_FRAME;
            return SM_OK;
        }
        entry->flags |= PACKET_NO_FRAME;
        if (decoder->last_idx >= 0 && !decoder->is_skipping) {
            *fetched = FETCHED_EARLIER;
            return SM_OK;
        }
        if (key == 0 && !may_skip) {
            break;
        }
    }
    *fetched = FETCHED_NONE;
    return SM_OK;
}

enum sm_status sm_media__first_frame(struct sm_media *media, uint32_t *packet_idx, struct sm_error *err)
{
    enum sm_status status = start_run(media, 0, err);
    int got = 0;
    while (status == SM_OK && (got = receive(media)) == 0) {
        send_next(media, false);
    }
    if (status == SM_OK && got > 0) {
        *packet_idx = (uint32_t)media->decoder.held_idx;
    } else if (status == SM_OK) {
        media->decoder.is_running = false;
        status = SM_E_NOTFOUND;
    }
    return status;
}
