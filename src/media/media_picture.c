/*
 * Decoded frame -> full-range planar picture of the recording's size. Chroma, and luma that is full range
 * already, are lent straight from the decoder; limited-range luma is stretched; everything else goes through
 * libswscale.
 */
#include "media_internal.h"

#include <libavutil/imgutils.h>
#include <libavutil/opt.h>
#include <libavutil/pixdesc.h>
#include <string.h>

static bool is_full_range(const AVFrame *frame)
{
    switch (frame->format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
    case AV_PIX_FMT_YUVJ411P:
        return true;
    default:
        break;
    }
    if (frame->color_range != AVCOL_RANGE_UNSPECIFIED) {
        return frame->color_range == AVCOL_RANGE_JPEG;
    }
    const AVPixFmtDescriptor *format = av_pix_fmt_desc_get(frame->format);
    return format &&
           ((format->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL)) || format->nb_components < 3);
}

/* Planes of 8-bit samples, luma first: nothing to convert but the range. */
static bool is_planar(const AVFrame *frame)
{
    const AVPixFmtDescriptor *format = av_pix_fmt_desc_get(frame->format);
    const uint64_t other = AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BITSTREAM |
                           AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_BAYER | AV_PIX_FMT_FLAG_FLOAT;
    if (!format || (format->flags & other)) {
        return false;
    }
    int n = format->nb_components >= 3 ? 3 : 1;
    for (int i = 0; i < n; i++) {
        if (format->comp[i].plane != i || format->comp[i].depth != 8 || format->comp[i].step != 1) {
            return false;
        }
    }
    return true;
}

/* libswscale's name for the matrix; not said: by height, as players do (common practice, no source). */
static int matrix_of(const AVFrame *frame)
{
    static const int known[][2] = {{AVCOL_SPC_BT709, SWS_CS_ITU709},
                                   {AVCOL_SPC_FCC, SWS_CS_FCC},
                                   {AVCOL_SPC_SMPTE240M, SWS_CS_SMPTE240M},
                                   {AVCOL_SPC_BT2020_NCL, SWS_CS_BT2020},
                                   {AVCOL_SPC_BT2020_CL, SWS_CS_BT2020}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (known[i][0] == (int)frame->colorspace) {
            return known[i][1];
        }
    }
    return frame->colorspace == AVCOL_SPC_UNSPECIFIED && frame->height > 576 ? SWS_CS_ITU709 : SWS_CS_ITU601;
}

/* The J formats say their range twice; libswscale wants it said once. */
static enum AVPixelFormat plain_format(int format)
{
    switch (format) {
    case AV_PIX_FMT_YUVJ420P:
        return AV_PIX_FMT_YUV420P;
    case AV_PIX_FMT_YUVJ422P:
        return AV_PIX_FMT_YUV422P;
    case AV_PIX_FMT_YUVJ444P:
        return AV_PIX_FMT_YUV444P;
    case AV_PIX_FMT_YUVJ440P:
        return AV_PIX_FMT_YUV440P;
    case AV_PIX_FMT_YUVJ411P:
        return AV_PIX_FMT_YUV411P;
    default:
        return format;
    }
}

/* Ranges must be known before the context is initialised: chosen later, some of libswscale's shortcuts ignore
 * them. */
static struct SwsContext *sws_new(const struct media_scaling *scaling)
{
    struct SwsContext *sws = sws_alloc_context();
    if (!sws) {
        return NULL;
    }
    av_opt_set_int(sws, "srcw", scaling->in_width, 0);
    av_opt_set_int(sws, "srch", scaling->in_height, 0);
    av_opt_set_int(sws, "src_format", scaling->in_format, 0);
    av_opt_set_int(sws, "src_range", scaling->is_in_full, 0);
    av_opt_set_int(sws, "dstw", scaling->out_width, 0);
    av_opt_set_int(sws, "dsth", scaling->out_height, 0);
    av_opt_set_int(sws, "dst_format", scaling->out_format, 0);
    av_opt_set_int(sws, "dst_range", 1, 0);
    av_opt_set_int(sws, "sws_flags", scaling->flags | SWS_ACCURATE_RND | SWS_BITEXACT | SWS_FULL_CHR_H_INP,
                   0);
    if (sws_init_context(sws, NULL, NULL) < 0) {
        sws_freeContext(sws);
        return NULL;
    }
    const int one =
        1 << 16; /* the matrices only now: set before, they cost memory that is never given back */
    sws_setColorspaceDetails(sws, sws_getCoefficients(scaling->matrix), scaling->is_in_full,
                             sws_getCoefficients(SWS_CS_ITU601), 1, 0, one, one);
    return sws;
}

enum sm_status sm_media__convert(struct media_converter *converter, const AVFrame *in, AVFrame *out,
                                 int flags, struct sm_error *err)
{
    struct media_scaling scaling = {.in_width = in->width,
                                    .in_height = in->height,
                                    .in_format = (int)plain_format(in->format),
                                    .is_in_full = is_full_range(in),
                                    .matrix = matrix_of(in),
                                    .out_width = out->width,
                                    .out_height = out->height,
                                    .out_format = out->format,
                                    .flags = flags};
    if (!converter->sws || memcmp(&scaling, &converter->scaling, sizeof scaling) != 0) {
        sws_freeContext(converter->sws);
        converter->sws = sws_new(&scaling);
        converter->scaling = scaling;
    }
    int lines = converter->sws ? sws_scale(converter->sws, (const uint8_t *const *)in->data, in->linesize, 0,
                                           in->height, out->data, out->linesize)
                               : -1;
    if (lines <= 0) {
        return sm_error_set(err, SM_E_UNSUPPORTED, "pictures of %d x %d in format \"%s\" cannot be converted",
                            in->width, in->height, av_get_pix_fmt_name(in->format));
    }
    return SM_OK;
}

/* Where frames that need libswscale go: 8-bit planes with the chroma layout of the source. */
static enum AVPixelFormat target_format(const AVFrame *frame)
{
    const AVPixFmtDescriptor *format = av_pix_fmt_desc_get(frame->format);
    if (format->nb_components < 3 && !(format->flags & AV_PIX_FMT_FLAG_PAL)) {
        return AV_PIX_FMT_GRAY8;
    }
    if (format->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL)) {
        return AV_PIX_FMT_YUV444P;
    }
    if (format->log2_chroma_w == 0) {
        return AV_PIX_FMT_YUV444P;
    }
    return format->log2_chroma_h == 0 ? AV_PIX_FMT_YUV422P : AV_PIX_FMT_YUV420P;
}

static enum sm_status scale(struct sm_media *media, const AVFrame *frame, int width_px, int height_px,
                            struct sm_error *err)
{
    struct media_picture *picture = &media->picture;
    enum AVPixelFormat format = is_planar(frame) ? plain_format(frame->format) : target_format(frame);
    AVFrame *scaled = picture->scaled;
    if (!scaled || scaled->format != (int)format || scaled->width != width_px ||
        scaled->height != height_px) {
        av_frame_free(&picture->scaled);
        scaled = picture->scaled = av_frame_alloc();
        if (!scaled) {
            return sm_media__no_memory(err);
        }
        scaled->format = format;
        scaled->width = width_px;
        scaled->height = height_px;
        if (av_frame_get_buffer(scaled, 0) < 0) {
            av_frame_free(&picture->scaled);
            return sm_media__no_memory(err);
        }
        scaled->color_range = AVCOL_RANGE_JPEG;
    }
    return sm_media__convert(&picture->converter, frame, scaled, SWS_BILINEAR, err);
}

static uint8_t *plane_room(struct media_picture *picture, int i, size_t n)
{
    if (picture->plane_capacity[i] < n) {
        uint8_t *wider = sm_realloc(picture->plane[i], n, 1);
        if (!wider) {
            return NULL;
        }
        picture->plane[i] = wider;
        picture->plane_capacity[i] = n;
    }
    return picture->plane[i];
}

/* 16..235 -> 0..255, clamped; rounded to within 0.6 of a level, in 16 bits so that compilers vectorise it. */
static void stretch_row(uint8_t *restrict dst, const uint8_t *restrict src, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        uint16_t level = src[i] < 16 ? 16 : src[i] > 235 ? 235 : src[i];
        dst[i] = (uint8_t)((uint16_t)((uint16_t)(level - 16) * 298U + 128U) >> 8);
    }
}

static bool stretch_luma(struct media_picture *picture, struct sm_image *image)
{
    size_t width = (size_t)image->width_px;
    uint8_t *dst = picture->lent ? picture->lent : plane_room(picture, 0, width * (size_t)image->height_px);
    if (!dst) {
        return false;
    }
    for (int32_t row = 0; row < image->height_px; row++) {
        stretch_row(dst + (size_t)row * width, image->y + row * image->stride_y, width);
    }
    image->y = dst;
    image->stride_y = image->width_px;
    return true;
}

static void lend_planes(const AVFrame *frame, struct sm_image *image)
{
    const AVPixFmtDescriptor *format = av_pix_fmt_desc_get(frame->format);
    *image = (struct sm_image){.width_px = frame->width, .height_px = frame->height};
    image->y = frame->data[0];
    image->stride_y = frame->linesize[0];
    if (format->nb_components >= 3) {
        image->u = frame->data[1];
        image->v = frame->data[2];
        image->stride_u = frame->linesize[1];
        image->stride_v = frame->linesize[2];
        image->chroma_shift_x = format->log2_chroma_w;
        image->chroma_shift_y = format->log2_chroma_h;
    }
}

void sm_media__turn_plane(uint8_t *dst, const uint8_t *src, ptrdiff_t stride, int32_t width_px,
                          int32_t height_px, int32_t rotation_deg)
{
    bool is_sideways = rotation_deg != 180;
    int32_t out_width = is_sideways ? height_px : width_px;
    int32_t out_height = is_sideways ? width_px : height_px;
    for (int32_t y = 0; y < out_height; y++) {
        for (int32_t x = 0; x < out_width; x++) {
            int32_t from_x = rotation_deg == 90    ? y
                             : rotation_deg == 270 ? width_px - 1 - y
                                                   : width_px - 1 - x;
            int32_t from_y = rotation_deg == 90    ? height_px - 1 - x
                             : rotation_deg == 270 ? x
                                                   : height_px - 1 - y;
            *dst++ = src[from_y * stride + from_x];
        }
    }
}

static bool turn(struct media_picture *picture, struct sm_image *image, int32_t rotation_deg)
{
    const uint8_t *src[3] = {image->y, image->u, image->v};
    ptrdiff_t stride[3] = {image->stride_y, image->stride_u, image->stride_v};
    const uint8_t *turned[3] = {NULL, NULL, NULL};
    for (int i = 0; i < 3 && src[i]; i++) {
        int32_t width = i ? -(-image->width_px >> image->chroma_shift_x) : image->width_px;
        int32_t height = i ? -(-image->height_px >> image->chroma_shift_y) : image->height_px;
        size_t n = (size_t)width * (size_t)height;
        bool is_ours = src[i] == picture->plane[i];
        uint8_t *dst = is_ours ? sm_calloc(n, 1) : plane_room(picture, i, n);
        if (!dst) {
            return false;
        }
        sm_media__turn_plane(dst, src[i], stride[i], width, height, rotation_deg);
        if (is_ours) {
            sm_free(picture->plane[i]);
            picture->plane[i] = dst;
            picture->plane_capacity[i] = n;
        }
        turned[i] = dst;
        stride[i] = rotation_deg == 180 ? width : height;
    }
    struct sm_image out = {.y = turned[0], .u = turned[1], .v = turned[2]};
    out.stride_y = stride[0];
    out.stride_u = stride[1];
    out.stride_v = stride[2];
    bool is_sideways = rotation_deg != 180;
    out.width_px = is_sideways ? image->height_px : image->width_px;
    out.height_px = is_sideways ? image->width_px : image->height_px;
    out.chroma_shift_x = is_sideways ? image->chroma_shift_y : image->chroma_shift_x;
    out.chroma_shift_y = is_sideways ? image->chroma_shift_x : image->chroma_shift_y;
    *image = out;
    return true;
}

enum sm_status sm_media__picture(struct sm_media *media, const AVFrame *frame, struct sm_image *out,
                                 struct sm_error *err)
{
    int32_t rotation = media->file[0].rotation_deg;
    bool is_sideways = rotation == 90 || rotation == 270;
    int32_t width = is_sideways ? media->info.height_px : media->info.width_px;
    int32_t height = is_sideways ? media->info.width_px : media->info.height_px;
    if (!is_planar(frame) || frame->width != width || frame->height != height) {
        enum sm_status status = scale(media, frame, width, height, err);
        if (status != SM_OK) {
            return status;
        }
        frame = media->picture.scaled;
    }
    struct sm_image image;
    lend_planes(frame, &image);
    if (!is_full_range(frame) && !stretch_luma(&media->picture, &image)) {
        return sm_media__no_memory(err);
    }
    if (rotation && !turn(&media->picture, &image, rotation)) {
        return sm_media__no_memory(err);
    }
    *out = image;
    return SM_OK;
}

void sm_media__picture_release(struct media_picture *picture)
{
    sws_freeContext(picture->converter.sws);
    av_frame_free(&picture->scaled);
    for (int i = 0; i < 3; i++) {
        sm_free(picture->plane[i]);
    }
    *picture = (struct media_picture){0};
}
