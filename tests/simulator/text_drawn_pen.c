/**
 * @file text_drawn_pen.c
 * The strokes of a character, drawn with a pen.
 */
#include "text_drawn_internal.h"

#include <assert.h>
#include <math.h>

#define GRID_X 8.0 /* a character's box, in which its strokes are written down */
#define GRID_Y 12.0
#define MAX_POINTS 12

static const char *strokes_of(const struct face *face, const struct sm_caption_style *style,
                              uint32_t codepoint)
{
    if (codepoint < '0' || codepoint > '9') {
        return sm_text__sign_strokes(codepoint);
    }
    int digit = (int)(codepoint - '0'), form = face->form[digit];
    bool is_slashed = digit == 0 && style->has_slashed_zero && form == 5 && face->pen < 0.14;
    return sm_text__digit_strokes(digit, is_slashed ? 1 : form);
}

static double value_of(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'c' ? c - 'a' + 10
                                  : -1.6; /* 'y': below the line */
}

static double snap(const struct scale *scale, double inner_px, double part)
{
    double at = inner_px * part;
    return 0.5 * scale->pen_px + (scale->is_on_grid ? round(at) : at);
}

static struct point point_of(const struct scale *scale, const char *text)
{
    double x = value_of(text[0]) / GRID_X, y = value_of(text[1]) / GRID_Y;
    double bent = y < 0.0    ? y
                  : y <= 0.5 ? 2.0 * y * scale->waist
                             : 1.0 - 2.0 * (1.0 - y) * (1.0 - scale->waist);
    return (struct point){snap(scale, scale->width_px - scale->pen_px, x),
                          -snap(scale, scale->height_px - scale->pen_px, bent)};
}

struct point sm_text__towards(struct point from, struct point to, double reach_px)
{
    double length = hypot(to.x - from.x, to.y - from.y),
           part = length > 0.0 ? fmin(0.5, reach_px / length) : 0.0;
    return (struct point){from.x + part * (to.x - from.x), from.y + part * (to.y - from.y)};
}

/** A line through the points with its corners cut back: straight on a grid of pixels, else round. */
static void trace(cairo_t *cairo, const struct point *p, int n, double cut_px, bool is_straight)
{
    bool is_closed = n > 2 && p[0].x == p[n - 1].x && p[0].y == p[n - 1].y;
    struct point start = is_closed ? sm_text__towards(p[0], p[1], cut_px) : p[0];
    cairo_move_to(cairo, start.x, start.y);
    for (int i = 1; i < n - (is_closed ? 0 : 1); i++) {
        struct point next = i + 1 < n ? p[i + 1] : p[1];
        struct point from = sm_text__towards(p[i], p[i - 1], cut_px),
                     to = sm_text__towards(p[i], next, cut_px);
        cairo_line_to(cairo, from.x, from.y);
        if (is_straight) {
            cairo_line_to(cairo, to.x, to.y);
        } else {
            cairo_curve_to(cairo, (from.x + 2 * p[i].x) / 3, (from.y + 2 * p[i].y) / 3,
                           (to.x + 2 * p[i].x) / 3, (to.y + 2 * p[i].y) / 3, to.x, to.y);
        }
    }
    if (is_closed) {
        cairo_close_path(cairo);
    } else {
        cairo_line_to(cairo, p[n - 1].x, p[n - 1].y);
    }
}

static void draw_dot(cairo_t *cairo, struct point at, double size_px, bool is_round)
{
    if (is_round) {
        cairo_arc(cairo, at.x, at.y, 0.5 * size_px, 0.0, 6.2832);
    } else {
        cairo_rectangle(cairo, at.x - 0.5 * size_px, at.y - 0.5 * size_px, size_px, size_px);
    }
    cairo_fill(cairo);
}

void sm_text__draw_strokes(cairo_t *cairo, const struct face *face, const struct sm_caption_style *style,
                           uint32_t codepoint, const struct scale *scale, double cut_px)
{
    cairo_set_line_width(cairo, scale->pen_px);
    cairo_set_line_cap(cairo, face->has_round_ends && !scale->is_on_grid ? CAIRO_LINE_CAP_ROUND
                                                                         : CAIRO_LINE_CAP_SQUARE);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_MITER);
    for (const char *at = strokes_of(face, style, codepoint); *at; at += *at == '|') {
        struct point p[MAX_POINTS] = {{0.0, 0.0}};
        int n = 0;
        if (*at == '.') {
            draw_dot(cairo, point_of(scale, at + 1), scale->is_on_grid ? scale->pen_px : 1.25 * scale->pen_px,
                     face->has_round_dots && !scale->is_on_grid);
            at += 3;
            continue;
        }
        for (; *at && *at != '|'; at += 2 + (at[2] == ' ')) {
            assert(n < MAX_POINTS);
            p[n++] = point_of(scale, at);
        }
        trace(cairo, p, n, cut_px, scale->is_on_grid);
        cairo_stroke(cairo);
    }
}
