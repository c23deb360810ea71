/*
 * Has a digit turned? A cheap look at the counter's own pixels, so that between two pictures that are read in
 * any case the ones where the display steps are read too, and no others.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A turning digit changes a third of its cell by the full contrast; noise and the moving wall change less of
 * it. */
#define CHANGE_SHARE 0.06

struct stretch {
    int32_t x0, y0, width_px, height_px;
};

static struct stretch stretch_of(const struct sm_image *image, const struct sm_counter__layout *layout)
{
    const struct sm_counter__text_line *line = &layout->read_line;
    int32_t x0 = (int32_t)floorf(line->x0_px), x1 = (int32_t)ceilf(line->x1_px);
    int32_t y0 = (int32_t)floorf(line->top_px), y1 = (int32_t)ceilf(line->baseline_px);
    x0 = x0 < 0 ? 0 : x0;
    y0 = y0 < 0 ? 0 : y0;
    x1 = x1 > image->width_px ? image->width_px : x1;
    y1 = y1 > image->height_px ? image->height_px : y1;
    return (struct stretch){x0, y0, x1 > x0 ? x1 - x0 : 0, y1 > y0 ? y1 - y0 : 0};
}

static int32_t block_of(const struct sm_counter__layout *layout)
{
    int32_t block = layout->n_slots > 1 ? (int32_t)lrintf(-layout->slot_offset_px[1]) : 8;
    return block < 4 ? 4 : block;
}

/** Contrast of the kept stretch: from its dark tenth to its bright tenth. */
static int32_t contrast_of(const struct sm_counter__change *change)
{
    int32_t count[256] = {0}, n = change->width_px * change->height_px, low = 0, high = 255;
    for (int32_t i = 0; i < n; i++) {
        count[change->cell[i]]++;
    }
    for (int32_t seen = count[0]; seen < n / 10; seen += count[++low]) {
    }
    for (int32_t seen = count[255]; seen < n / 10; seen += count[--high]) {
    }
    return high > low ? high - low : 1;
}

bool sm_counter__has_changed(const struct sm_counter__change *change, const struct sm_image *image,
                             const struct sm_counter__layout *layout)
{
    struct stretch s = stretch_of(image, layout);
    if (!change->is_set || s.width_px != change->width_px || s.height_px != change->height_px) {
        return true;
    }
    double limit = CHANGE_SHARE * contrast_of(change);
    for (int32_t x0 = 0; x0 + change->block_px <= s.width_px; x0 += change->block_px / 2) {
        int64_t total = 0;
        for (int32_t y = 0; y < s.height_px; y++) {
            const uint8_t *now = image->y + (s.y0 + y) * image->stride_y + s.x0 + x0;
            const uint8_t *then = change->cell + y * s.width_px + x0;
            for (int32_t x = 0; x < change->block_px; x++) {
                total += abs(now[x] - then[x]);
            }
        }
        if ((double)total > limit * change->block_px * s.height_px) {
            return true;
        }
    }
    return false;
}

enum sm_status sm_counter__change_keep(struct sm_counter__change *change, const struct sm_image *image,
                                       const struct sm_counter__layout *layout)
{
    struct stretch s = stretch_of(image, layout);
    if (s.width_px != change->width_px || s.height_px != change->height_px || !change->cell) {
        uint8_t *cell = sm_realloc(change->cell, (size_t)s.width_px * (size_t)s.height_px + 1, 1);
        if (!cell) {
            return SM_E_NOMEM;
        }
        change->cell = cell;
        change->width_px = s.width_px;
        change->height_px = s.height_px;
        change->block_px = block_of(layout);
    }
    for (int32_t y = 0; y < s.height_px; y++) {
        memcpy(change->cell + y * s.width_px, image->y + (s.y0 + y) * image->stride_y + s.x0,
               (size_t)s.width_px);
    }
    change->is_set = true;
    return SM_OK;
}

void sm_counter__change_release(struct sm_counter__change *change)
{
    sm_free(change->cell);
    memset(change, 0, sizeof *change);
}
