/* Learn the faces of the digits from the pictures the counter was found in. */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>

#define SURE 0.97f /* a reading must be this sure to teach */

static enum sm_status show_reading(struct sm_counter__faces *faces, const struct sm_image *image,
                                   struct sm_counter__reader *reader, const struct sm_counter__layout *layout,
                                   const struct sm_counter__sighting *sighting, int64_t counts,
                                   struct sm_error *err)
{
    struct sm_counter__columns columns;
    enum sm_status status = sm_counter__reader_columns(&columns, reader, image, &layout->read_line, err);
    if (status != SM_OK || columns.n == 0) {
        return status;
    }
    float anchor_px = layout->anchor_px[sm_counter__best_anchor(sighting, counts, layout)];
    int64_t rest = llabs(counts);
    int32_t n_digits = sm_counter__n_digits(counts, layout);
    for (int32_t k = 0; k < n_digits && k < layout->n_slots; k++, rest /= 10) {
        sm_counter__faces_show(faces, &columns, anchor_px + layout->slot_offset_px[k], (int32_t)(rest % 10));
    }
    return SM_OK;
}

static float pitch_strip_px(const struct sm_counter__layout *layout)
{
    float pitch_px = 1e9f;
    for (int32_t k = 1; k < layout->n_slots; k++) {
        pitch_px = fminf(pitch_px, layout->slot_offset_px[k - 1] - layout->slot_offset_px[k]);
    }
    return pitch_px * SM_STRIP_DIGIT_HEIGHT / (layout->line.baseline_px - layout->line.top_px);
}

enum sm_status sm_counter__teach(struct sm_counter__faces *faces, const struct sm_counter__samples *samples,
                                 struct sm_counter__reader *reader, const struct sm_counter__layout *layout,
                                 struct sm_error *err)
{
    struct sm_counter__sighting *sightings = sm_calloc(samples->n, sizeof *sightings);
    struct sm_reading *readings = sm_calloc(samples->n, sizeof *readings);
    double *jump_s = NULL;
    size_t n_jumps = 0;
    enum sm_status status =
        sightings && readings ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory to learn the digits");
    for (size_t i = 0; status == SM_OK && i < samples->n; i++) {
        status = sm_counter__sight(&sightings[i], reader, &samples->frame[i].image, layout, NULL,
                                   samples->frame[i].time_s, err);
    }
    if (status == SM_OK) {
        status = sm_counter__path(readings, &jump_s, &n_jumps, sightings, samples->n, layout, err);
    }
    sm_counter__faces_begin(faces, pitch_strip_px(layout));
    /* Digits of different widths have their neighbours in their cells: nothing to compare with. */
    for (size_t i = 0; status == SM_OK && !layout->is_loose && i < samples->n; i++) {
        if (readings[i].state == SM_READING_READ && readings[i].confidence > SURE) {
            status = show_reading(faces, &samples->frame[i].image, reader, layout, &sightings[i],
                                  readings[i].counts, err);
        }
    }
    sm_counter__faces_end(faces);
    sm_free(sightings);
    sm_free(readings);
    sm_free(jump_s);
    return status;
}
