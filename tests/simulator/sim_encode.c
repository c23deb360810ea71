/*
 * sim_encode.c - pictures into a video file, and the times of a finished file read back. One thread and
 * bit-exact flags, so that the same pictures make the same file with the same libraries.
 */
#include "sim_internal.h"

#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/opt.h>
#include <math.h>
#include <string.h>

struct codec_info {
    const char *encoder, *name;
    double bits_per_px; /* of an ordinary recording */
    int gop, b_frames;
};
static const struct codec_info codecs[] = {
    [SM_SIM_MPEG1] = {"mpeg1video", "MPEG-1", 0.45, 12, 2},
    [SM_SIM_MPEG2] = {"mpeg2video", "MPEG-2", 0.40, 12, 2},
    [SM_SIM_MPEG4] = {"mpeg4", "MPEG-4", 0.18, 250, 0},
    [SM_SIM_MJPEG] = {"mjpeg", "MJPEG", 1.6, 1, 0},
    [SM_SIM_H264] = {"libx264", "H.264", 0.16, 250, 3},
    [SM_SIM_HEVC] = {"libx265", "HEVC", 0.12, 250, 3},
    [SM_SIM_WMV2] = {"wmv2", "WMV", 0.20, 125, 0},
};
static const struct {
    const char *muxer, *extension;
} containers[] = {
    [SM_SIM_PS] = {"vob", "mpg"},  [SM_SIM_TS] = {"mpegts", "ts"},     [SM_SIM_AVI] = {"avi", "avi"},
    [SM_SIM_MP4] = {"mp4", "mp4"}, [SM_SIM_MKV] = {"matroska", "mkv"}, [SM_SIM_ASF] = {"asf", "wmv"},
};

struct sm_sim_encoder {
    AVFormatContext *format;
    AVCodecContext *codec;
    AVStream *stream;
    AVFrame *frame;
    AVPacket *packet;
    const char *path;
};

const char *sm_sim_video_name(const struct sm_sim_opts *opts)
{
    static const char *const names[] = {
        [SM_SIM_PS] = "run.mpg",  [SM_SIM_TS] = "run.ts",   [SM_SIM_AVI] = "run.avi",
        [SM_SIM_MP4] = "run.mp4", [SM_SIM_MKV] = "run.mkv", [SM_SIM_ASF] = "run.wmv",
    };
    return names[opts->video.container];
}

static enum sm_status av_error(struct sm_error *err, int code, const char *path, const char *what)
{
    char text[AV_ERROR_MAX_STRING_SIZE] = {0};
    av_strerror(code, text, sizeof text);
    return sm_error_at(err, code == AVERROR(ENOMEM) ? SM_E_NOMEM : SM_E_IO, path, 0, 0, "%s: %s", what, text);
}

/* ---- opening
 * ------------------------------------------------------------------------------------------------- */

static int64_t bit_rate(const struct sm_sim_video_opts *video)
{
    if (video->bitrate_kbps > 0) {
        return video->bitrate_kbps * 1000;
    }
    double px_per_s =
        (double)(video->width_px * video->height_px * video->rate_num) / (double)video->rate_den;
    return (int64_t)(codecs[video->codec].bits_per_px * px_per_s);
}

static void set_codec_sizes(AVCodecContext *codec, const struct sm_sim_video_opts *video, bool is_interlaced)
{
    const struct codec_info *info = &codecs[video->codec];
    codec->width = (int)video->width_px;
    codec->height = (int)video->height_px;
    codec->pix_fmt = video->codec == SM_SIM_MJPEG ? AV_PIX_FMT_YUVJ420P : AV_PIX_FMT_YUV420P;
    codec->color_range = video->codec == SM_SIM_MJPEG ? AVCOL_RANGE_JPEG : AVCOL_RANGE_MPEG;
    codec->framerate = (AVRational){(int)video->rate_num, (int)video->rate_den};
    codec->time_base = video->is_variable_rate ? (AVRational){1, 1000} : av_inv_q(codec->framerate);
    codec->gop_size = video->gop > 0 ? (int)video->gop : info->gop;
    codec->max_b_frames = video->b_frames >= 0 && info->b_frames > 0 ? (int)video->b_frames : info->b_frames;
    if (video->codec == SM_SIM_MPEG4 && video->b_frames > 0) {
        codec->max_b_frames = (int)video->b_frames;
    }
    codec->bit_rate = bit_rate(video);
    codec->thread_count = 1;
    codec->flags |= AV_CODEC_FLAG_BITEXACT;
    if (is_interlaced && video->codec == SM_SIM_MPEG2) {
        codec->flags |= AV_CODEC_FLAG_INTERLACED_DCT | AV_CODEC_FLAG_INTERLACED_ME;
    }
}

static void set_codec_rates(AVCodecContext *codec, const struct sm_sim_video_opts *video)
{
    if (video->codec == SM_SIM_MPEG1 || video->codec == SM_SIM_MPEG2 || video->codec == SM_SIM_H264) {
        codec->rc_max_rate = codec->bit_rate * 3 / 2;
        codec->rc_buffer_size = (int)(codec->bit_rate / 2);
    }
    if (video->codec == SM_SIM_H264 || video->codec == SM_SIM_HEVC) {
        const char *preset = video->codec == SM_SIM_HEVC ? "ultrafast"
                             : video->is_slow            ? "slow"
                                                         : "superfast";
        av_opt_set(codec->priv_data, "preset", preset, 0);
    }
    if (video->codec == SM_SIM_HEVC) {
        av_opt_set(codec->priv_data, "x265-params", "pools=none:frame-threads=1:log-level=none:info=0", 0);
    }
}

static enum sm_status open_codec(struct sm_sim_encoder *encoder, const struct sm_sim_video_opts *video,
                                 bool is_interlaced, struct sm_error *err)
{
    const char *name = codecs[video->codec].encoder;
    const AVCodec *found = avcodec_find_encoder_by_name(name);
    encoder->codec = found ? avcodec_alloc_context3(found) : NULL;
    if (!encoder->codec) {
        return sm_error_set(err, SM_E_UNSUPPORTED, "FFmpeg here has no encoder %s", name);
    }
    set_codec_sizes(encoder->codec, video, is_interlaced);
    set_codec_rates(encoder->codec, video);
    if (encoder->format->oformat->flags & AVFMT_GLOBALHEADER) {
        encoder->codec->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    }
    int code = avcodec_open2(encoder->codec, found, NULL);
    return code < 0 ? av_error(err, code, encoder->path, name) : SM_OK;
}

static enum sm_status open_file(struct sm_sim_encoder *encoder, struct sm_error *err)
{
    encoder->stream = avformat_new_stream(encoder->format, NULL);
    if (!encoder->stream) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a stream");
    }
    int code = avcodec_parameters_from_context(encoder->stream->codecpar, encoder->codec);
    encoder->stream->time_base = encoder->codec->time_base;
    encoder->stream->avg_frame_rate = encoder->codec->framerate;
    if (code >= 0) {
        code = avio_open(&encoder->format->pb, encoder->path, AVIO_FLAG_WRITE);
    }
    if (code >= 0) {
        code = avformat_write_header(encoder->format, NULL);
    }
    return code < 0 ? av_error(err, code, encoder->path, "cannot write") : SM_OK;
}

static enum sm_status make_frame(struct sm_sim_encoder *encoder, struct sm_error *err)
{
    encoder->frame = av_frame_alloc();
    encoder->packet = av_packet_alloc();
    if (!encoder->frame || !encoder->packet) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a frame");
    }
    encoder->frame->format = encoder->codec->pix_fmt;
    encoder->frame->width = encoder->codec->width;
    encoder->frame->height = encoder->codec->height;
    return av_frame_get_buffer(encoder->frame, 0) < 0 ? sm_error_set(err, SM_E_NOMEM, "no memory for a frame")
                                                      : SM_OK;
}

enum sm_status sm_sim__encoder_open(struct sm_sim_encoder **out, const struct sm_sim_video_opts *video,
                                    bool is_interlaced, const char *path, struct sm_error *err)
{
    av_log_set_level(AV_LOG_FATAL);
    struct sm_sim_encoder *encoder = sm_calloc(1, sizeof *encoder);
    if (!encoder) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the encoder");
    }
    encoder->path = path;
    const char *muxer = video->codec == SM_SIM_MPEG1 && video->container == SM_SIM_PS
                            ? "mpeg"
                            : containers[video->container].muxer;
    avformat_alloc_output_context2(&encoder->format, NULL, muxer, path);
    enum sm_status status =
        encoder->format ? SM_OK : sm_error_set(err, SM_E_UNSUPPORTED, "no muxer %s", muxer);
    if (status == SM_OK) {
        encoder->format->flags |= AVFMT_FLAG_BITEXACT;
        encoder->format->max_delay =
            700000; /* us; a program stream's decoder buffer fills that long before it is read */
        av_opt_set_int(encoder->format, "preload", 500000, AV_OPT_SEARCH_CHILDREN);
        status = open_codec(encoder, video, is_interlaced, err);
    }
    if (status == SM_OK) {
        status = open_file(encoder, err);
    }
    if (status == SM_OK) {
        status = make_frame(encoder, err);
    }
    if (status != SM_OK) {
        sm_sim__encoder_abort(&encoder);
        return status;
    }
    encoder->frame->interlaced_frame = is_interlaced;
    encoder->frame->top_field_first = is_interlaced;
    *out = encoder;
    return SM_OK;
}

/* ---- writing
 * ------------------------------------------------------------------------------------------------- */

static enum sm_status drain(struct sm_sim_encoder *encoder, struct sm_error *err)
{
    for (;;) {
        int code = avcodec_receive_packet(encoder->codec, encoder->packet);
        if (code == AVERROR(EAGAIN) || code == AVERROR_EOF) {
            return SM_OK;
        }
        if (code >= 0) {
            if (encoder->packet->duration == 0 && encoder->codec->time_base.den != 1000) {
                encoder->packet->duration = 1;
            }
            av_packet_rescale_ts(encoder->packet, encoder->codec->time_base, encoder->stream->time_base);
            encoder->packet->stream_index = encoder->stream->index;
            code = av_interleaved_write_frame(encoder->format, encoder->packet);
        }
        if (code < 0) {
            return av_error(err, code, encoder->path, "cannot write");
        }
    }
}

static void copy_plane(uint8_t *out, int stride, const uint8_t *in, int32_t width_px, int32_t height_px)
{
    for (int32_t y = 0; y < height_px; y++) {
        memcpy(out + (ptrdiff_t)y * stride, in + (ptrdiff_t)y * width_px, (size_t)width_px);
    }
}

enum sm_status sm_sim__encoder_write(struct sm_sim_encoder *encoder, const struct sm_sim_picture *picture,
                                     int64_t tick, struct sm_error *err)
{
    AVFrame *frame = encoder->frame;
    int code = av_frame_make_writable(frame);
    if (code >= 0) {
        copy_plane(frame->data[0], frame->linesize[0], picture->y, picture->width_px, picture->height_px);
        copy_plane(frame->data[1], frame->linesize[1], picture->u, picture->width_px / 2,
                   picture->height_px / 2);
        copy_plane(frame->data[2], frame->linesize[2], picture->v, picture->width_px / 2,
                   picture->height_px / 2);
        frame->pts = tick;
        code = avcodec_send_frame(encoder->codec, frame);
    }
    return code < 0 ? av_error(err, code, encoder->path, "cannot encode") : drain(encoder, err);
}

enum sm_status sm_sim__encoder_close(struct sm_sim_encoder **encoder, struct sm_error *err)
{
    int code = avcodec_send_frame((*encoder)->codec, NULL);
    enum sm_status status =
        code < 0 ? av_error(err, code, (*encoder)->path, "cannot encode") : drain(*encoder, err);
    code = av_write_trailer((*encoder)->format);
    if (status == SM_OK && code < 0) {
        status = av_error(err, code, (*encoder)->path, "cannot write");
    }
    sm_sim__encoder_abort(encoder);
    return status;
}

void sm_sim__encoder_abort(struct sm_sim_encoder **encoder)
{
    if (*encoder) {
        avcodec_free_context(&(*encoder)->codec);
        av_frame_free(&(*encoder)->frame);
        av_packet_free(&(*encoder)->packet);
        if ((*encoder)->format) {
            avio_closep(&(*encoder)->format->pb);
            avformat_free_context((*encoder)->format);
        }
        sm_free(*encoder);
        *encoder = NULL;
    }
}

/* ---- reading back
 * -------------------------------------------------------------------------------------------- */

struct decoder {
    AVFormatContext *format;
    AVCodecContext *codec;
    AVFrame *frame;
    AVPacket *packet;
    int stream;
    sm_sim_decoded_fn *fn;
    void *user;
    size_t n;
    int64_t first_pts;
};

static enum sm_status open_decoder(struct decoder *decoder, const char *path, struct sm_error *err)
{
    const AVCodec *found = NULL;
    int code = avformat_open_input(&decoder->format, path, NULL, NULL);
    if (code >= 0) {
        code = avformat_find_stream_info(decoder->format, NULL);
    }
    if (code >= 0) {
        code = av_find_best_stream(decoder->format, AVMEDIA_TYPE_VIDEO, -1, -1, &found, 0);
        decoder->stream = code;
    }
    decoder->codec = code >= 0 ? avcodec_alloc_context3(found) : NULL;
    decoder->frame = av_frame_alloc();
    decoder->packet = av_packet_alloc();
    if (code >= 0 && (!decoder->codec || !decoder->frame || !decoder->packet)) {
        code = AVERROR(ENOMEM);
    }
    if (code >= 0) {
        const AVStream *stream = decoder->format->streams[decoder->stream];
        code = avcodec_parameters_to_context(decoder->codec, stream->codecpar);
        decoder->codec->thread_count = 1;
        decoder->codec->pkt_timebase = stream->time_base;
    }
    if (code >= 0) {
        code = avcodec_open2(decoder->codec, found, NULL);
    }
    return code < 0 ? av_error(err, code, path, "cannot read back") : SM_OK;
}

static enum sm_status take_frames(struct decoder *decoder, const char *path, struct sm_error *err)
{
    AVRational base = decoder->format->streams[decoder->stream]->time_base;
    for (;;) {
        int code = avcodec_receive_frame(decoder->codec, decoder->frame);
        if (code == AVERROR(EAGAIN) || code == AVERROR_EOF) {
            return SM_OK;
        }
        if (code < 0) {
            return av_error(err, code, path, "cannot decode");
        }
        if (decoder->n == 0) {
            decoder->first_pts = decoder->frame->best_effort_timestamp;
        }
        int64_t pts = decoder->frame->best_effort_timestamp;
        bool has_time = pts != AV_NOPTS_VALUE && decoder->first_pts != AV_NOPTS_VALUE;
        double time_s = has_time ? (double)(pts - decoder->first_pts) * av_q2d(base) : SM_NAN;
        enum sm_status status = decoder->fn(decoder->user, decoder->n++, time_s, decoder->frame->data[0],
                                            decoder->frame->linesize[0], err);
        if (status != SM_OK) {
            return status;
        }
    }
}

static enum sm_status decode_all(struct decoder *decoder, const char *path, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    while (status == SM_OK && av_read_frame(decoder->format, decoder->packet) >= 0) {
        int code = decoder->packet->stream_index == decoder->stream
                       ? avcodec_send_packet(decoder->codec, decoder->packet)
                       : 0;
        av_packet_unref(decoder->packet);
        status = code < 0 ? av_error(err, code, path, "cannot decode") : take_frames(decoder, path, err);
    }
    if (status == SM_OK) {
        avcodec_send_packet(decoder->codec, NULL);
        status = take_frames(decoder, path, err);
    }
    return status;
}

enum sm_status sm_sim__decode(const char *path, sm_sim_decoded_fn *fn, void *user, struct sm_error *err)
{
    struct decoder decoder = {.fn = fn, .user = user};
    enum sm_status status = open_decoder(&decoder, path, err);
    if (status == SM_OK) {
        status = decode_all(&decoder, path, err);
    }
    avcodec_free_context(&decoder.codec);
    avformat_close_input(&decoder.format);
    av_frame_free(&decoder.frame);
    av_packet_free(&decoder.packet);
    return status;
}
