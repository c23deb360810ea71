/**
 * @file strip.h
 * A line of burned-in text, cut out of a picture and brought to one size and contrast: what the character
 * reader sees. Training and reading make their strips here, so that they cannot drift apart.
 */
#ifndef SM_COUNTER_STRIP_H
#define SM_COUNTER_STRIP_H

#include "stopmark/model.h"

#define SM_STRIP_HEIGHT 32     /**< rows of a strip */
#define SM_STRIP_DIGIT_TOP 6   /**< upper edge of the digits, strip px */
#define SM_STRIP_DIGIT_BASE 26 /**< their lower edge */
#define SM_STRIP_DIGIT_HEIGHT (SM_STRIP_DIGIT_BASE - SM_STRIP_DIGIT_TOP)
#define SM_STRIP_MAX_WIDTH 2048 /**< px; a longer line is refused */

/**
 * Where a line stands in the picture. Pixel edges: the first pixel spans 0..1, its middle is 0.5. The line
 * may reach over the picture's edge; what lies outside repeats the edge.
 */
struct sm_counter__line {
    double left_px, right_px;           /**< right_px > left_px */
    double top_px, baseline_px;         /**< edges of the digits, baseline_px >= top_px + 4 */
    float weight_y, weight_u, weight_v; /**< grey = weight_y * y + weight_u * (u - 128) + weight_v * (v -
                                           128); plain luma: 1, 0, 0 */
};

/** Strip pixels per picture pixel. */
double sm_counter__strip_scale(const struct sm_counter__line *line);
/** Width of the line's strip in strip px, 0 when the line makes no sense or is too long. */
int32_t sm_counter__strip_width(const struct sm_counter__line *line);

/**
 * Cut out and resample: digits SM_STRIP_DIGIT_HEIGHT px high, width in proportion; then subtract the median,
 * divide by the root mean square distance from it (at least 1.5 grey levels) and clip to -4..4. Strip column
 * c spans picture columns left_px + c / scale .. left_px + (c + 1) / scale.
 * @param strip [inout] SM_STRIP_HEIGHT rows of width_px values, rows without gaps.
 * @param width_px as given by sm_counter__strip_width().
 * @return SM_OK; SM_E_RANGE the line makes no sense or width_px is another; SM_E_NOMEM.
 */
enum sm_status sm_counter__strip_make(float *strip, int32_t width_px, const struct sm_image *image,
                                      const struct sm_counter__line *line, struct sm_error *err) SM_CHECKED;

#endif
