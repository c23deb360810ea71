/*
 * The decoder: packets in, frames out. The entry's index goes in as the packet's timestamp and comes back
 * with the frame, so a frame is known whatever the file says about time. Damage is followed on: what a
 * damaged frame is referred to from is damaged too until a key frame stands between, though most decoders do
 * not say so.
 */
#include "media_internal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

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

enum sm_status sm_media__decoder_open(struct media_decoder *decoder, const AVCodecParameters *parameters,
                                      const char *path, struct sm_error *err)
{
    const AVCodec *codec = find_decoder(parameters->codec_id);
    if (!codec) {
        char name[48];
        name_codec(name, parameters);
        sm_error_at(err, SM_E_UNSUPPORTED, path, 0, 0, "video codec \"%s\" is not decoded here", name);
        return sm_error_remedy(err, "convert the video to H.264 in MP4, keeping picture and timing");
    }
    *decoder = (struct media_decoder){.last_idx = -1, .held_idx = -1, .tainted_idx = -1};
    decoder->context = avcodec_alloc_context3(codec);
    decoder->frame = av_frame_alloc();
    decoder->held = av_frame_alloc();
    if (!decoder->context || !decoder->frame || !decoder->held ||
        avcodec_parameters_to_context(decoder->context, parameters) < 0) {
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
    *decoder = (struct media_decoder){.last_idx = -1, .held_idx = -1, .tainted_idx = -1};
}

static void note_entry_damage(struct sm_media *media, uint32_t packet_idx)
{
    const struct media_file *file = &media->file[media->active];
    const struct packet_entry *entry = &file->index.packet[packet_idx];
    if (entry->rank != NO_RANK) {
        sm_media__note_damage(media, sm_media__entry_time_s(file, entry));
    }
}

/* Whether the frame of packet_idx, whole in itself, builds on a damaged one of its run. */
static bool is_tainted(const struct media_decoder *decoder, const struct media_index *index,
                       uint32_t packet_idx)
{
    return decoder->tainted_idx >= 0 && packet_idx > decoder->tainted_idx &&
           sm_media__key_before(index, packet_idx, 0) <= decoder->tainted_idx;
}

/* Look at the frame in held: damaged itself, or by what it builds on? */
static void judge_held(struct sm_media *media)
{
    struct media_decoder *decoder = &media->decoder;
    const struct media_index *index = &media->file[media->active].index;
    uint32_t idx = (uint32_t)decoder->held_idx;
    const AVFrame *frame = decoder->held;
    bool is_broken = (frame->flags & AV_FRAME_FLAG_CORRUPT) || frame->decode_error_flags ||
                     (index->packet[idx].flags & PACKET_CORRUPT);
    decoder->is_held_damaged = is_broken || is_tainted(decoder, index, idx);
    if (is_broken && frame->pict_type != AV_PICTURE_TYPE_B && idx > decoder->tainted_idx) {
        decoder->tainted_idx = idx;
    }
    if (decoder->is_held_damaged) {
        note_entry_damage(media, idx);
    }
}

void sm_media__drain(struct media_decoder *decoder)
{
    avcodec_send_packet(decoder->context, NULL);
    decoder->is_draining = true;
}

void sm_media__send_next(struct sm_media *media, bool may_skip)
{
    struct media_decoder *decoder = &media->decoder;
    const struct media_index *index = &media->file[media->active].index;
    uint32_t idx = media->demux.next_idx;
    if (sm_media__read(media) <= 0) {
        sm_media__drain(decoder);
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
        decoder->tainted_idx = idx;
        note_entry_damage(media, idx);
    }
}

/* A recorder was set otherwise in mid-file. */
static void note_size(struct sm_media *media, const AVFrame *frame, uint32_t packet_idx)
{
    struct media_file *file = &media->file[media->active];
    bool is_other = frame->width != file->width_px || frame->height != file->height_px;
    if (is_other && file->width_px && isnan(file->other_size_s)) {
        file->other_size_s = sm_media__entry_time_s(file, &file->index.packet[packet_idx]);
        media->is_news = true;
    }
}

int sm_media__receive(struct sm_media *media)
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
            return decoder->is_draining ? -1 : 0;
        }
        const struct media_index *index = &media->file[media->active].index;
        int64_t idx = decoder->held->pts;
        if (idx >= 0 && (uint64_t)idx < index->n_packets && index->packet[idx].rank != NO_RANK) {
            decoder->held_idx = idx;
            note_size(media, decoder->held, (uint32_t)idx);
            judge_held(media);
            return 1;
        }
        av_frame_unref(decoder->held);
    }
}
