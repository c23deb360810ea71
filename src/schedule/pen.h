/*
 * A pen draws lines, circles and words on something: SVG text or a cairo page. A drawing is laid out once and
 * comes out the same on both. Units are the drawing's own (SVG user units or points), y downwards, text at
 * its baseline.
 */
#ifndef STOPMARK_SCHEDULE_PEN_H
#define STOPMARK_SCHEDULE_PEN_H

#include "stopmark/base.h"

/* What a mark means decides its ink; no two inks differ in colour alone. */
enum sm_ink {
    SM_INK_NONE,
    SM_INK_LINE, /* outlines, text */
    SM_INK_SOFT, /* scale, leaders, lesser text */
    SM_INK_LINER,
    SM_INK_DEFECT,
    SM_INK_KEEP, /* keep-clear stretches */
    SM_INK_TAPE, /* the mark on the rod */
    SM_INK_FILL, /* soil and shafts, behind everything */
    SM_INK_PAPER,
    SM_INK_SHADE_1, /* grounds, from faint to dark */
    SM_INK_SHADE_2,
    SM_INK_SHADE_3,
    SM_INK_SHADE_4,
    SM_N_INKS,
};
enum sm_dash { SM_DASH_NONE, SM_DASH_SHORT, SM_DASH_CENTRE };

struct sm_stroke {
    enum sm_ink ink;
    double width;
    enum sm_dash dash;
};
struct sm_point {
    double x, y;
};
struct sm_rect {
    double x, y, width, height;
};
enum sm_anchor { SM_ANCHOR_START, SM_ANCHOR_MIDDLE, SM_ANCHOR_END };
struct sm_type {
    double size;
    bool is_bold;
    enum sm_anchor anchor;
    enum sm_ink ink;
};

struct sm_pen {
    void (*polygon)(struct sm_pen *pen, const struct sm_point *point, size_t n, bool is_closed,
                    enum sm_ink fill, struct sm_stroke stroke);
    void (*circle)(struct sm_pen *pen, struct sm_point centre, double radius, enum sm_ink fill,
                   struct sm_stroke stroke);
    void (*text)(struct sm_pen *pen, struct sm_point at, struct sm_type type, const char *text);
    double (*text_width)(struct sm_pen *pen, struct sm_type type, const char *text);
    /* What belongs together and has a name: hover title and keyboard stop where the medium has them. id may
     * be NULL. */
    void (*begin_group)(struct sm_pen *pen, const char *id, const char *title);
    void (*end_group)(struct sm_pen *pen);
};

/* ---- shapes made of these ---- */

void sm_schedule__line(struct sm_pen *pen, double x1, double y1, double x2, double y2,
                       struct sm_stroke stroke);
void sm_schedule__rect(struct sm_pen *pen, struct sm_rect rect, enum sm_ink fill, struct sm_stroke stroke);
/* Parallel lines within a rectangle, spacing apart, rising to the right (slope 1) or falling (-1). */
void sm_schedule__hatch(struct sm_pen *pen, struct sm_rect rect, double spacing, int slope,
                        struct sm_stroke stroke);
/* Arrow from a to b, filled head of the given length at b. */
void sm_schedule__arrow(struct sm_pen *pen, struct sm_point a, struct sm_point b, double head,
                        struct sm_stroke stroke);

/* ---- pens ---- */

struct sm_svg_pen {
    struct sm_pen pen; /* first */
    struct sm_text *out;
    const char
        *link_prefix; /* groups with an id link to prefix + id ("#row-"); NULL = they only take the focus */
    bool is_link_open;
};
void sm_schedule__svg_pen_init(struct sm_svg_pen *svg, struct sm_text *out, const char *link_prefix);
/* The fixed colours of our inks, as #rrggbb. */
const char *sm_schedule__ink_colour(enum sm_ink ink);
/* Name of an ink as a class in style sheets. */
const char *sm_schedule__ink_class(enum sm_ink ink);

#endif
