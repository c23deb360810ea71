/**
 * @file text_drawn_display.c
 * Characters of displays of seven and of fourteen segments.
 */
#include "text_drawn_internal.h"

#include <math.h>

/** Bits: top, upper right, lower right, bottom, lower left, upper left, middle. @return -1 not for a display.
 */
static int segments_of(const struct face *face, uint32_t codepoint)
{
    static const uint8_t lit[10] = {0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f};
    if (codepoint < '0' || codepoint > '9') {
        return codepoint == '-' ? 0x40 : codepoint == '_' ? 0x08 : -1;
    }
    int segments = lit[codepoint - '0'];
    switch (codepoint) {
    case '1':
        return face->form[1] == 5 ? 0x30 : segments;
    case '6':
        return face->form[6] == 2 ? 0x7c : segments;
    case '7':
        return face->form[7] == 5 ? 0x27 : segments;
    case '9':
        return face->form[9] == 2 ? 0x67 : segments;
    default:
        return segments;
    }
}

/** A bar along one axis, thick on both sides of its line, blunt or pointed. */
static void draw_bar(cairo_t *cairo, struct point a, struct point b, double thick, bool is_pointed)
{
    double half = 0.5 * thick, tip = is_pointed ? half : 0.0;
    bool is_flat = fabs(b.x - a.x) > fabs(b.y - a.y);
    const double along[6] = {0, tip, -tip, 0, -tip, tip}, across[6] = {0, -half, -half, 0, half, half};
    for (int i = 0; i < 6; i++) {
        const struct point *end = i >= 2 && i <= 4 ? &b : &a;
        double x = end->x + (is_flat ? along[i] : across[i]), y = end->y + (is_flat ? across[i] : along[i]);
        if (i == 0) {
            cairo_move_to(cairo, x, y);
        } else {
            cairo_line_to(cairo, x, y);
        }
    }
    cairo_close_path(cairo);
    cairo_fill(cairo);
}

static void draw_segments(cairo_t *cairo, const struct face *face, int segments, double width_px,
                          double height_px)
{
    const double thick = face->pen * height_px, edge = 0.5 * thick, gap = face->gap * height_px;
    const double left = edge, right = width_px - edge, top = edge - height_px, low = -edge,
                 mid = -face->waist * height_px;
    const struct point end[7][2] = {{{left, top}, {right, top}},  {{right, top}, {right, mid}},
                                    {{right, mid}, {right, low}}, {{left, low}, {right, low}},
                                    {{left, mid}, {left, low}},   {{left, top}, {left, mid}},
                                    {{left, mid}, {right, mid}}};
    const double inset = gap + (face->is_pointed ? 0.0 : edge);
    for (int i = 0; i < 7; i++) {
        struct point a = end[i][0], b = end[i][1];
        bool is_flat = b.x > a.x;
        double shine = segments & (1 << i) ? 1.0 : face->dark;
        a.x += is_flat ? inset : 0.0, b.x -= is_flat ? inset : 0.0;
        a.y += is_flat ? 0.0 : inset, b.y -= is_flat ? 0.0 : inset;
        if (shine > 0.0) {
            cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, shine);
            draw_bar(cairo, a, b, thick, face->is_pointed);
        }
    }
    cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, 1.0);
}

/**
 * Bits of fourteen segments: the seven above with the middle one in two halves (left 6, right 7), then the
 * spokes from the middle: up left, up, up right, down left, down, down right. @return -1 no such character
 */
static int burst_of(const struct face *face, uint32_t codepoint)
{
    static const int16_t digit[10][2] = {
        {0x0c3f, 0x003f}, {0x0406, 0x0006}, {0x00db, 0x00db}, {0x008f, 0x00cf}, {0x00e6, 0x00e6},
        {0x2069, 0x00ed}, {0x00fd, 0x00fd}, {0x0c01, 0x0007}, {0x00ff, 0x00ff}, {0x00ef, 0x00e7}};
    static const int16_t letter[26] = {0x00f7, 0x128f, 0x0039, 0x120f, 0x00f9, 0x0071, 0x00bd, 0x00f6, 0x1209,
                                       0x001e, 0x2470, 0x0038, 0x0536, 0x2136, 0x003f, 0x00f3, 0x203f, 0x20f3,
                                       0x00ed, 0x1201, 0x003e, 0x0c30, 0x2836, 0x2d00, 0x1500, 0x0c09};
    if (codepoint >= '0' && codepoint <= '9') {
        return digit[codepoint - '0'][face->form[codepoint - '0'] % 2];
    }
    uint32_t upper = codepoint >= 'a' && codepoint <= 'z' ? codepoint - 'a' + 'A' : codepoint;
    if (upper >= 'A' && upper <= 'Z') {
        return letter[upper - 'A'];
    }
    switch (codepoint) {
    case '-':
        return 0x00c0;
    case '+':
        return 0x12c0;
    case '/':
        return 0x0c00;
    case '_':
        return 0x0008;
    case '=':
        return 0x00c8;
    default:
        return -1;
    }
}

static void draw_burst(cairo_t *cairo, const struct face *face, int lit, double width_px, double height_px)
{
    static const double from[14][4] = {{0, 0, 1, 0},    {1, 0, 1, .5},   {1, .5, 1, 1},   {0, 1, 1, 1},
                                       {0, .5, 0, 1},   {0, 0, 0, .5},   {0, .5, .5, .5}, {.5, .5, 1, .5},
                                       {0, 0, .5, .5},  {.5, 0, .5, .5}, {1, 0, .5, .5},  {0, 1, .5, .5},
                                       {.5, .5, .5, 1}, {1, 1, .5, .5}};
    const double thick = fmin(0.13, face->pen) * height_px, inset = face->gap * height_px + 0.3 * thick;
    cairo_set_line_width(cairo, thick);
    cairo_set_line_cap(cairo, face->has_round_ends ? CAIRO_LINE_CAP_ROUND : CAIRO_LINE_CAP_BUTT);
    for (int i = 0; i < 14; i++) {
        const double *end = from[i];
        double shine = lit & (1 << i) ? 1.0 : face->dark;
        struct point a = {0.5 * thick + end[0] * (width_px - thick),
                          (end[1] - 1) * (height_px - thick) - 0.5 * thick};
        struct point b = {0.5 * thick + end[2] * (width_px - thick),
                          (end[3] - 1) * (height_px - thick) - 0.5 * thick};
        struct point first = sm_text__towards(a, b, inset), last = sm_text__towards(b, a, inset);
        if (shine > 0.0) {
            cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, shine);
            cairo_move_to(cairo, first.x, first.y);
            cairo_line_to(cairo, last.x, last.y);
            cairo_stroke(cairo);
        }
    }
    cairo_set_source_rgba(cairo, 1.0, 1.0, 1.0, 1.0);
}

bool sm_text__draw_display(cairo_t *cairo, const struct face *face, uint32_t codepoint, double width_px,
                           double height_px)
{
    int lit = face->kind == FACE_SEGMENTS ? segments_of(face, codepoint)
              : face->kind == FACE_BURSTS ? burst_of(face, codepoint)
                                          : -1;
    if (lit < 0) {
        return false;
    }
    if (face->kind == FACE_SEGMENTS) {
        draw_segments(cairo, face, lit, width_px, height_px);
    } else {
        draw_burst(cairo, face, lit, width_px, height_px);
    }
    return true;
}
