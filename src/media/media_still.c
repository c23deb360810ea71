/* One frame as a JPEG for people: upright, square pixels. No text, date or program name goes in: same frame,
 * same bytes. */
#include "media_internal.h"
#include "media_remote.h"

#include <math.h>
#include <string.h>

/* What an at-call leaves for the encoder. */
struct still {
    struct sm_media *media;
    AVFrame *picture; /* 4:2:0, full range, as it will be shown */
    bool has_picture;
};

static enum sm_status frame_new(AVFrame **out, int width_px, int height_px, struct sm_error *err)
{
    AVFrame *frame = av_frame_alloc();
    if (!frame) {
        return sm_media__no_memory(err);
    }
    frame->format = AV_PIX_FMT_YUV420P;
    frame->width = width_px;
    frame->height = height_px;
    frame->color_range = AVCOL_RANGE_JPEG;
    if (av_frame_get_buffer(frame, 0) < 0) {
        av_frame_free(&frame);
        return sm_media__no_memory(err);
    }
    *out = frame;
    return SM_OK;
}

/* Turn frame clockwise into a new one. */
static enum sm_status turn_frame(AVFrame **frame, int32_t rotation_deg, struct sm_error *err)
{
    const AVFrame *in = *frame;
    bool is_sideways = rotation_deg != 180;
    AVFrame *out = NULL;
    enum sm_status status =
        frame_new(&out, is_sideways ? in->height : in->width, is_sideways ? in->width : in->height, err);
    if (status != SM_OK) {
        return status;
    }
    uint8_t *tight = sm_calloc((size_t)in->width * (size_t)in->height, 1);
    for (int i = 0; i < 3 && tight; i++) {
        int width = i ? (in->width + 1) / 2 : in->width;
        int height = i ? (in->height + 1) / 2 : in->height;
        int out_width = is_sideways ? height : width;
        int out_height = is_sideways ? width : height;
        sm_media__turn_plane(tight, in->data[i], in->linesize[i], width, height, rotation_deg);
        for (int row = 0; row < out_height; row++) {
            memcpy(out->data[i] + row * out->linesize[i], tight + row * out_width, (size_t)out_width);
        }
    }
    if (!tight) {
        av_frame_free(&out);
        return sm_media__no_memory(err);
    }
    sm_free(tight);
    av_frame_free(frame);
    *frame = out;
    return SM_OK;
}

/* The decoder's own frame, not the borrowed picture: one conversion from source to JPEG samples. */
static enum sm_status take_frame(void *user, const struct sm_frame *shown, struct sm_error *err)
{
    (void)shown;
    struct still *still = user;
    struct sm_media *media = still->media;
    const struct media_file *file = &media->file[media->active];
    const AVFrame *in = media->decoder.frame;
    int width = (int)lround(in->width * file->pixel_aspect);
    enum sm_status status = frame_new(&still->picture, width > 0 ? width : 1, in->height, err);
    if (status != SM_OK) {
        return status;
    }
    struct media_converter converter = {0};
    status = sm_media__convert(&converter, in, still->picture, SWS_BICUBIC, err);
    sws_freeContext(converter.sws);
    if (status == SM_OK && file->rotation_deg) {
        status = turn_frame(&still->picture, file->rotation_deg, err);
    }
    still->has_picture = status == SM_OK;
    return status;
}

/* 100 -> quantiser scale 1 (best), 1 -> 31. */
static int quantiser_of(int quality)
{
    return 1 + ((100 - quality) * 30 + 49) / 99;
}

static AVCodecContext *encoder_new(const AVFrame *picture, int quality)
{
    const AVCodec *codec = avcodec_find_encoder(AV_CODEC_ID_MJPEG);
    AVCodecContext *context = codec ? avcodec_alloc_context3(codec) : NULL;
    if (!context) {
        return NULL;
    }
    context->width = picture->width;
    context->height = picture->height;
    context->pix_fmt = AV_PIX_FMT_YUV420P;
    context->color_range = AVCOL_RANGE_JPEG;
    context->time_base = (AVRational){1, 25};
    context->flags |= AV_CODEC_FLAG_QSCALE | AV_CODEC_FLAG_BITEXACT;
    context->qmin = 1;
    context->global_quality = FF_QP2LAMBDA * quantiser_of(quality);
    context->thread_count = 1;
    if (avcodec_open2(context, codec, NULL) < 0) {
        avcodec_free_context(&context);
    }
    return context;
}

static enum sm_status encode(AVFrame *picture, int quality, struct sm_text *out, struct sm_error *err)
{
    AVCodecContext *context = encoder_new(picture, quality);
    AVPacket *packet = av_packet_alloc();
    enum sm_status status = SM_OK;
    if (!context || !packet) {
        status = sm_error_set(err, SM_E_NOMEM, "no JPEG encoder for a picture of %d x %d", picture->width,
                              picture->height);
    } else {
        picture->quality = context->global_quality;
        picture->pts = 0;
        bool is_coded = avcodec_send_frame(context, picture) >= 0 && avcodec_send_frame(context, NULL) >= 0 &&
                        avcodec_receive_packet(context, packet) >= 0;
        if (!is_coded) {
            status = sm_error_set(err, SM_E_UNSUPPORTED, "a still of %d x %d cannot be coded as JPEG",
                                  picture->width, picture->height);
        } else {
            sm_text_add_n(out, (const char *)packet->data, (size_t)packet->size);
            status = out->failed ? sm_media__no_memory(err) : SM_OK;
        }
    }
    av_packet_free(&packet);
    avcodec_free_context(&context);
    return status;
}

static enum sm_status check_quality(int quality, struct sm_error *err)
{
    return quality >= 1 && quality <= 100
               ? SM_OK
               : sm_error_set(err, SM_E_RANGE, "JPEG quality %d is outside 1 to 100", quality);
}

enum sm_status sm_media_frame_jpeg(struct sm_media *media, int quality, struct sm_text *out,
                                   struct sm_error *err)
{
    struct still still = {.media = media};
    enum sm_status status = check_quality(quality, err);
    if (status == SM_OK && media->remote) {
        struct media_request request = {.op = OP_JPEG, .quality = quality};
        return sm_media__remote_bytes(media, &request, out, err);
    }
    if (status == SM_OK) {
        status = take_frame(&still, NULL, err);
    }
    if (status == SM_OK) {
        status = encode(still.picture, quality, out, err);
    }
    av_frame_free(&still.picture);
    return status;
}

static enum sm_status still_apart(struct sm_media *media, double time_s, int quality, struct sm_text *out,
                                  struct sm_error *err)
{
    if (media->is_busy) {
        return sm_error_set(err, SM_E_CONFLICT, "the video is being scanned; ask again when that has ended");
    }
    struct media_request request = {.op = OP_STILL, .asks = media->goes_on != NULL, .start_s = time_s, .quality = quality};
    enum sm_status status = sm_media__remote_bytes(media, &request, out, err);
    enum sm_status published = sm_media__publish(media, status == SM_OK ? err : NULL);
    return status == SM_OK ? published : status;
}

enum sm_status sm_media_still_jpeg(struct sm_media *media, double time_s, int quality, struct sm_text *out,
                                   struct sm_error *err)
{
    struct still still = {.media = media};
    enum sm_status status = check_quality(quality, err);
    if (status != SM_OK) {
        return status;
    }
    if (media->remote) {
        return still_apart(media, time_s, quality, out, err);
    }
    status = sm_media_at(media, &time_s, 1, NULL, take_frame, &still, err);
    if (status == SM_OK && !still.has_picture) {
        status = sm_error_set(err, SM_E_NOTFOUND, "the video has no frame at that time");
    }
    if (status == SM_OK) {
        status = encode(still.picture, quality, out, err);
    }
    av_frame_free(&still.picture);
    return status;
}
