/**
 * @file scene.h
 * A piece of a simulated survey picture with one line of text across it, spoiled as real recordings are, and
 * the truth about that line.
 */
#ifndef SM_TRAINER_SCENE_H
#define SM_TRAINER_SCENE_H

#include "font_list.h"
#include "net.h"

struct scene_glyph {
    double left_px, right_px, centre_px;
    enum sm_glyph glyph;
    bool is_lost; /**< the overlay failed here: nothing may be learnt from it */
};

struct scene {
    struct sm_image image; /**< 4:2:0, planes owned by the scene */
    uint8_t *planes;
    double top_px, baseline_px;
    struct scene_glyph *glyph;
    size_t n_glyphs;
    struct font font;
    double contrast; /**< grey levels between text and ground before coding */
};

/** Make the scene that belongs to this random state. @param pattern_share see ground_paint(). Release with
 * scene_release(). */
enum sm_status scene_make(struct scene *out, const struct font_list *fonts, bool is_held,
                          double pattern_share, struct sm_test_random *rng, struct sm_error *err) SM_CHECKED;
void scene_release(struct scene *scene);

#endif
