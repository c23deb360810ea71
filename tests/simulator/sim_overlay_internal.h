/** @file sim_overlay_internal.h - what the parts of the overlay share: stamps (drawn texts), fields and their
 * places. */
#ifndef SM_SIM_OVERLAY_INTERNAL_H
#define SM_SIM_OVERLAY_INTERNAL_H

#include "sim_internal.h"
#include "text_render.h"

/** A drawn text ready to be laid over a picture: planes of the caption's size, colour premultiplied by alpha.
 */
struct sm_sim_stamp {
    struct sm_caption caption; /**< its geometry */
    uint8_t *y, *u, *v, *a;
};
enum sm_status sm_sim__stamp_make(struct sm_sim_stamp *out, const struct sm_caption_style *style,
                                  const char *text, double opacity, struct sm_error *err) SM_CHECKED;
void sm_sim__stamp_release(struct sm_sim_stamp *stamp);
/** Lay columns from..to of the stamp over the picture, its upper left corner at left_px, top_px; cut at the
 * edges. */
void sm_sim__stamp_blend(const struct sm_sim_stamp *stamp, struct sm_sim_picture *picture, int32_t left_px,
                         int32_t top_px, int32_t from_column, int32_t to_column);
/** Fill a rectangle with a colour of 0xRRGGBB. */
void sm_sim__fill_box(struct sm_sim_picture *picture, struct sm_sim_box box, int64_t rgb, double alpha);
/**
 * How a glyph, drawn over an even ground, compares with what a finished picture shows in its place. 0 and 0
 * where it has no place in the picture or nothing stands out.
 */
struct sm_sim_match sm_sim__stamp_match(const struct sm_sim_stamp *stamp, size_t glyph_idx,
                                        const uint8_t *luma, ptrdiff_t stride, int32_t width_px,
                                        int32_t height_px, int32_t left_px, int32_t top_px);

enum sm_sim_field_kind {
    SM_SIM_FIELD_COUNTER,
    SM_SIM_FIELD_TIME,
    SM_SIM_FIELD_DATE,
    SM_SIM_FIELD_NODES,
    SM_SIM_FIELD_DIAMETER,
    SM_SIM_FIELD_TEMPERATURE,
    SM_SIM_FIELD_INCLINATION,
    SM_SIM_FIELD_ELAPSED,
    SM_SIM_FIELD_MATERIAL,
    SM_SIM_FIELD_SECOND_DISTANCE,
    SM_SIM_FIELD_PRESSURE,
    SM_SIM_FIELD_LINE, /**< a line of a page or a sentence, placed by hand */
};
#define SM_SIM_N_FIELD_KINDS 12

enum sm_sim_align { SM_SIM_LEFT, SM_SIM_CENTRE, SM_SIM_RIGHT };

/** A text with a place. */
struct sm_sim_field {
    enum sm_sim_field_kind kind;
    enum sm_sim_align align;
    double anchor_x_px, baseline_px; /**< the text's left end, middle or right end stands here */
    struct sm_sim_box room;          /**< of its longest text */
    struct sm_text text;             /**< as drawn */
    struct sm_sim_stamp stamp, dark; /**< dark: the other colour of a flipping text */
    bool is_dark[64];                /**< which glyphs are flipped now */
};
void sm_sim__field_release(struct sm_sim_field *field);
/** Where the stamp's upper left corner goes. */
void sm_sim__field_corner(const struct sm_sim_field *field, const struct sm_sim_stamp *stamp,
                          int32_t *left_px, int32_t *top_px);

/** Longest text of a field, for its place. */
void sm_sim__field_sample(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind, struct sm_text *out);
/** Its text at a moment. */
void sm_sim__field_text(const struct sm_sim_opts *opts, const struct sm_sim_path *path,
                        enum sm_sim_field_kind kind, double time_s, struct sm_text *out);

/** Style of a field: the counter's own or the others'. */
struct sm_caption_style sm_sim__overlay_style(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind);
/** Place the fields asked for; one that finds no room is left out, the counter never. boxes: fixed grounds.
 */
enum sm_status sm_sim__layout(const struct sm_sim_opts *opts, struct sm_sim_field *field, size_t *n_fields,
                              struct sm_sim_box *box, size_t *n_boxes, struct sm_error *err) SM_CHECKED;
#define SM_SIM_MAX_FIELDS 12

#endif
