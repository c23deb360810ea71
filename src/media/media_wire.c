/* Checks of what a decoder in a process of its own says: it may have been taken over by the file it reads. */
#include "media_wire.h"

#include <math.h>
#include <string.h>

/* ---- pictures ---- */

static bool lies_inside(uint64_t offset, uint64_t stride, int32_t width_px, int32_t height_px, size_t shared_bytes)
{
    return width_px > 0 && height_px > 0 && stride >= (uint64_t)width_px && stride <= 4 * SM_MEDIA_MAX_SIDE_PX &&
           offset >= SHARED_HEADER_BYTES && offset <= shared_bytes &&
           stride * (uint64_t)height_px <= shared_bytes - offset;
}

static int32_t shifted(int32_t size_px, int32_t shift)
{
    return -(-size_px >> shift);
}

bool sm_media__shown_image(struct sm_image *image, const struct media_shown *shown, const uint8_t *shared,
                           size_t shared_bytes, const struct sm_media_info *info)
{
    if (shown->width_px != info->width_px || shown->height_px != info->height_px || shown->chroma_shift_x < 0 ||
        shown->chroma_shift_x > 4 || shown->chroma_shift_y < 0 || shown->chroma_shift_y > 4 ||
        !isfinite(shown->time_s)) {
        return false;
    }
    for (int i = 0; i < (shown->has_chroma ? 3 : 1); i++) {
        int32_t width = i ? shifted(shown->width_px, shown->chroma_shift_x) : shown->width_px;
        int32_t height = i ? shifted(shown->height_px, shown->chroma_shift_y) : shown->height_px;
        if (!lies_inside(shown->offset[i], shown->stride[i], width, height, shared_bytes)) {
            return false;
        }
    }
    *image = (struct sm_image){.width_px = shown->width_px, .height_px = shown->height_px};
    image->y = shared + shown->offset[0];
    image->stride_y = (ptrdiff_t)shown->stride[0];
    if (shown->has_chroma) {
        image->u = shared + shown->offset[1];
        image->v = shared + shown->offset[2];
        image->stride_u = (ptrdiff_t)shown->stride[1];
        image->stride_v = (ptrdiff_t)shown->stride[2];
        image->chroma_shift_x = shown->chroma_shift_x;
        image->chroma_shift_y = shown->chroma_shift_y;
    }
    return true;
}

/* ---- words ---- */

/* They reach a terminal. */
void sm_media__line_mend(char *text, size_t size)
{
    text[size - 1] = '\0';
    for (char *at = text; *at; at++) {
        if ((unsigned char)*at < 0x20 || (unsigned char)*at == 0x7f) {
            *at = '?';
        }
    }
}

void sm_media__state_mend(struct media_state *state, enum sm_status status)
{
    sm_media__line_mend(state->err.source, sizeof state->err.source);
    sm_media__line_mend(state->err.text, sizeof state->err.text);
    sm_media__line_mend(state->err.remedy, sizeof state->err.remedy);
    state->err.status = status;
    state->n_damages = state->n_damages <= MAX_DAMAGES ? state->n_damages : MAX_DAMAGES;
}

/* ---- lists ---- */

bool sm_media__told_file_check(struct media_told_file *told)
{
    sm_media__line_mend(told->container, sizeof told->container);
    sm_media__line_mend(told->codec, sizeof told->codec);
    bool is_turned_right = told->rotation_deg >= 0 && told->rotation_deg < 360 && told->rotation_deg % 90 == 0;
    return is_turned_right && told->tick_s > 0 && isfinite(told->tick_s) && told->start_s >= 0 &&
           isfinite(told->start_s) && told->duration_s >= 0 && isfinite(told->duration_s) &&
           told->pixel_aspect >= 0.25 && told->pixel_aspect <= 4 && told->width_px > 0 &&
           told->width_px <= SM_MEDIA_MAX_SIDE_PX && told->height_px > 0 && told->height_px <= SM_MEDIA_MAX_SIDE_PX &&
           (int64_t)told->width_px * told->height_px <= SM_MEDIA_MAX_PIXELS &&
           told->n_packets <= SM_MEDIA_MAX_FRAMES && told->n_frames > 0 && told->n_frames <= told->n_packets &&
           told->n_keys <= told->n_packets;
}

bool sm_media__index_check(const struct media_index *index)
{
    size_t n_ranked = 0;
    for (size_t i = 0; i < index->n_packets; i++) {
        uint32_t rank = index->packet[i].rank;
        n_ranked += rank != NO_RANK;
        if (rank != NO_RANK && (rank >= index->n_frames || index->order[rank] != i)) {
            return false;
        }
    }
    for (size_t i = 0; i < index->n_keys; i++) {
        if (index->key[i].packet_idx >= index->n_packets) {
            return false;
        }
    }
    return n_ranked == index->n_frames; /* so every order is the rank of its packet */
}
