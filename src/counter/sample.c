/* A few pictures spread over the recording, kept in memory while the counter is searched for. */
#include "counter_internal.h"

#include <string.h>

/* Enough to see digits change, few enough to stay within tens of megabytes. */
#define MEMORY_LIMIT_BYTES ((size_t)48 << 20)
#define LEAST_SAMPLES 8
#define ENOUGH_SHARE 0.5

static void plane_copy(uint8_t *dst, const uint8_t *src, ptrdiff_t stride, int32_t width_px,
                       int32_t height_px)
{
    for (int32_t y = 0; y < height_px; y++) {
        memcpy(dst + (size_t)y * (size_t)width_px, src + y * stride, (size_t)width_px);
    }
}

/** Copy a picture with tight rows into memory of its own (one block, starting at image.y). */
static enum sm_status image_keep(struct sm_image *dst, const struct sm_image *src)
{
    size_t luma = (size_t)src->width_px * (size_t)src->height_px;
    int32_t cw = src->u ? (src->width_px + (1 << src->chroma_shift_x) - 1) >> src->chroma_shift_x : 0;
    int32_t ch = src->u ? (src->height_px + (1 << src->chroma_shift_y) - 1) >> src->chroma_shift_y : 0;
    size_t chroma = (size_t)cw * (size_t)ch;
    uint8_t *block = sm_calloc(luma + 2 * chroma, 1);
    if (!block) {
        return SM_E_NOMEM;
    }
    *dst = *src;
    plane_copy(block, src->y, src->stride_y, src->width_px, src->height_px);
    dst->y = block;
    dst->stride_y = src->width_px;
    if (src->u && src->v) {
        plane_copy(block + luma, src->u, src->stride_u, cw, ch);
        plane_copy(block + luma + chroma, src->v, src->stride_v, cw, ch);
        dst->u = block + luma;
        dst->v = block + luma + chroma;
        dst->stride_u = dst->stride_v = cw;
    }
    return SM_OK;
}

static enum sm_status take_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct sm_counter__samples *samples = user;
    if (frame->image.width_px < 16 || frame->image.height_px < 16) {
        return SM_OK;
    }
    if (samples->n > 0 && (samples->frame[0].image.width_px != frame->image.width_px ||
                           samples->frame[0].image.height_px != frame->image.height_px)) {
        return SM_OK; /* the picture's size changed mid-file: the search looks at the first size only */
    }
    if (sm_grow(&samples->frame, samples->n, &samples->capacity, sizeof *samples->frame) != SM_OK) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for sample pictures");
    }
    struct sm_frame *kept = &samples->frame[samples->n];
    *kept = *frame;
    if (image_keep(&kept->image, &frame->image) != SM_OK) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for sample pictures");
    }
    samples->n++;
    return SM_OK;
}

enum sm_status sm_counter__samples_take(struct sm_counter__samples *samples,
                                        const struct sm_frame_source *source, size_t wanted,
                                        struct sm_error *err)
{
    size_t frame_bytes = (size_t)source->width_px * (size_t)source->height_px * 3 / 2 + 1;
    size_t affordable = MEMORY_LIMIT_BYTES / frame_bytes;
    size_t n = wanted < affordable ? wanted : affordable;
    n = n < LEAST_SAMPLES ? LEAST_SAMPLES : n;
    double step_s = source->duration_s > 0 ? source->duration_s / (double)n : 0;
    /* Some fewer that decode alone do as well as all; others would mean decoding nearly everything. */
    bool cheap = source->sample_cost_s > 0 && source->sample_cost_s * ENOUGH_SHARE <= step_s;
    struct sm_counter__samples taken = {0};
    enum sm_status status =
        source->scan(source->user, 0, source->duration_s, step_s, cheap, take_frame, &taken, err);
    if (status != SM_OK && taken.n == 0) {
        sm_counter__samples_release(&taken);
        return status;
    }
    *samples = taken;
    return SM_OK;
}

void sm_counter__samples_release(struct sm_counter__samples *samples)
{
    for (size_t i = 0; i < samples->n; i++) {
        sm_free((void *)(uintptr_t)samples->frame[i].image.y);
    }
    sm_free(samples->frame);
    memset(samples, 0, sizeof *samples);
}
