/**
 * @file text_drawn_internal.h
 * What the parts of the drawn faces share.
 *   text_drawn_face.c     a number -> the face that belongs to it
 *   text_drawn_strokes.c  how characters are written, as short texts
 *   text_drawn_pen.c      these texts -> lines of a pen
 *   text_drawn_display.c  displays of seven and of fourteen segments
 *   text_drawn_font.c     characters side by side, dots and blocks
 */
#ifndef SM_TEXT_DRAWN_INTERNAL_H
#define SM_TEXT_DRAWN_INTERNAL_H

#include "text_drawn_font.h"
#include "text_render_internal.h"

#include <cairo.h>

enum face_kind { FACE_CELLS, FACE_STROKES, FACE_SEGMENTS, FACE_DOTS, FACE_BURSTS, FACE_KINDS };

struct face {
    enum face_kind kind;
    uint8_t form[10];     /* which drawing of each digit */
    double aspect;        /* width of a digit by its height */
    double pen;           /* width of a stroke, of the digit's height */
    double rounding;      /* 0..1, how far a corner is cut back */
    double slant, space;  /* of the digit's height */
    double waist;         /* height of the middle bar, 0..1 */
    bool is_proportional; /* characters take the room of their ink */
    bool is_point_in_gap; /* a point takes no room of its own */
    bool has_round_ends, has_round_dots;
    int32_t rows, columns, pen_px; /* cells and dots only */
    double dot_width, dot_height;  /* dots only: of their distance; rows of dots that touch make lines */
    double gap, dark;              /* segments only: between their ends; share at which dark ones shine */
    bool is_pointed;
};

/** How the grid of strokes falls on the picture; y downward from the baseline. */
struct scale {
    double width_px, height_px, pen_px, waist;
    bool is_on_grid; /* lines run through the middles of pixels */
};

struct point {
    double x, y;
};

/* ---- text_drawn_face.c ---- */

/** FACE_KINDS: the name is that of no drawn face. */
enum face_kind sm_text__face_kind(const char *font);
/** The number in the name of a drawn face. @return false when there is none */
bool sm_text__face_number(int64_t *number, const char *font);
struct face sm_text__face_of(enum face_kind kind, int64_t number);

/* ---- text_drawn_pen.c ---- */

/** The point on the way from one to another, reach_px along it, half of it at most. */
struct point sm_text__towards(struct point from, struct point to, double reach_px);
/** One character's strokes, the origin on the baseline at the left edge of its box. */
void sm_text__draw_strokes(cairo_t *cairo, const struct face *face, const struct sm_caption_style *style,
                           uint32_t codepoint, const struct scale *scale, double cut_px);

/* ---- text_drawn_display.c ---- */

/** A character of a display of segments. @return false when the display cannot show it */
bool sm_text__draw_display(cairo_t *cairo, const struct face *face, uint32_t codepoint, double width_px,
                           double height_px);

#endif
