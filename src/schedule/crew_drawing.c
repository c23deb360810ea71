/*
 * The drawing a crew sets the rod by: its own end at the left, whatever end the survey started from. The
 * liner, the packer and the defect are to one scale; the rod between is cut short.
 */
#include "crew_page.h"

#include <math.h>

#define HEIGHT 132.0
#define SHAFT_LEFT 26.0
#define PIPE_EDGE 74.0
#define GROUND 10.0
#define PIPE_TOP 54.0
#define PIPE_BOTTOM 86.0
#define LEAST_NAME 44.0   /* room without which the far end's name is left out */
#define LEAST_OPENING 3.0 /* half an opening's width on paper */
#define LINER_PART 0.34   /* of the width */

struct rod {
    struct sm_crew *crew;
    struct sm_pen *pen;
    const struct sm_repair *repair;
    double width;
    double middle;   /* x of the packer's middle */
    double pt_per_m; /* around the liner */
    struct sm_point tape;
};

static const struct sm_stroke thick = {SM_INK_LINE, 2, SM_DASH_NONE}, thin = {SM_INK_LINE, 0.7, SM_DASH_NONE};
static const struct sm_stroke medium = {SM_INK_LINE, 1.1, SM_DASH_NONE},
                              none = {SM_INK_NONE, 0, SM_DASH_NONE};

/* Sign that turns the survey's direction into the drawing's. */
static double way(const struct rod *rod)
{
    return rod->crew->s->sheet->access.enters_at_to ? -1 : 1;
}

static double x_at(const struct rod *rod, double distance_m)
{
    double off_m = distance_m - sm_schedule__repair_stop_m(rod->repair);
    double x = rod->middle + way(rod) * off_m * rod->pt_per_m;
    return fmin(fmax(x, PIPE_EDGE + 58), rod->width - 4);
}

static void draw_ground(const struct rod *rod)
{
    struct sm_pen *pen = rod->pen;
    const struct sm_point soil[] = {{0, GROUND},
                                    {SHAFT_LEFT, GROUND},
                                    {SHAFT_LEFT, PIPE_BOTTOM + 6},
                                    {PIPE_EDGE, PIPE_BOTTOM + 6},
                                    {PIPE_EDGE, PIPE_BOTTOM},
                                    {rod->width, PIPE_BOTTOM},
                                    {rod->width, PIPE_BOTTOM + 11},
                                    {0, PIPE_BOTTOM + 11}};
    const struct sm_point cover[] = {{PIPE_EDGE, GROUND},
                                     {PIPE_EDGE + 30, GROUND},
                                     {PIPE_EDGE + 30, PIPE_TOP - 4},
                                     {PIPE_EDGE, PIPE_TOP - 4}};
    pen->polygon(pen, soil, 8, true, SM_INK_FILL, none);
    pen->polygon(pen, cover, 4, true, SM_INK_FILL, none);
    const struct sm_point left[] = {{0, GROUND},
                                    {SHAFT_LEFT, GROUND},
                                    {SHAFT_LEFT, PIPE_BOTTOM + 6},
                                    {PIPE_EDGE, PIPE_BOTTOM + 6},
                                    {PIPE_EDGE, PIPE_BOTTOM},
                                    {rod->width, PIPE_BOTTOM}};
    const struct sm_point right[] = {
        {PIPE_EDGE + 30, GROUND}, {PIPE_EDGE, GROUND}, {PIPE_EDGE, PIPE_TOP}, {rod->width, PIPE_TOP}};
    pen->polygon(pen, left, 6, false, SM_INK_NONE, thick);
    pen->polygon(pen, right, 4, false, SM_INK_NONE, thick);
}

/* The rod comes over the rim, round the bend and along the pipe. */
static void draw_rod(const struct rod *rod, double packer_left)
{
    double y = (PIPE_TOP + PIPE_BOTTOM) / 2, x = (SHAFT_LEFT + PIPE_EDGE) / 2;
    const struct sm_point path[] = {{x - 8, 2},      {x - 4, GROUND + 14}, {x, y - 22},     {x + 5, y - 9},
                                    {x + 14, y - 2}, {PIPE_EDGE - 2, y},   {packer_left, y}};
    rod->pen->polygon(rod->pen, path, 7, false, SM_INK_NONE,
                      (struct sm_stroke){SM_INK_LINE, 3.2, SM_DASH_NONE});
    rod->pen->polygon(rod->pen, path, 7, false, SM_INK_NONE,
                      (struct sm_stroke){SM_INK_PAPER, 1.4, SM_DASH_NONE});
    double cut = PIPE_EDGE + 40; /* the long part left out */
    sm_schedule__rect(rod->pen, (struct sm_rect){cut, PIPE_TOP - 4, 9, PIPE_BOTTOM - PIPE_TOP + 8},
                      SM_INK_PAPER, none);
    for (int i = 0; i < 2; i++) {
        double at = cut + 9 * i;
        const struct sm_point wave[] = {
            {at, PIPE_TOP - 5}, {at + 3, PIPE_TOP + 8}, {at - 3, PIPE_TOP + 20}, {at, PIPE_BOTTOM + 5}};
        rod->pen->polygon(rod->pen, wave, 4, false, SM_INK_NONE, thin);
    }
}

static void draw_tape(struct rod *rod)
{
    bool is_rim = rod->crew->s->sheet->access.reference == SM_REFERENCE_RIM;
    double y = (PIPE_TOP + PIPE_BOTTOM) / 2, x = (SHAFT_LEFT + PIPE_EDGE) / 2;
    struct sm_rect band =
        is_rim ? (struct sm_rect){x - 12, GROUND - 4, 14, 8} : (struct sm_rect){PIPE_EDGE - 4, y - 7, 8, 14};
    rod->tape = (struct sm_point){band.x + band.width / 2, band.y + band.height / 2};
    sm_schedule__rect(rod->pen, band, SM_INK_PAPER, medium);
    sm_schedule__hatch(rod->pen, band, 3, 1, (struct sm_stroke){SM_INK_LINE, 1.4, SM_DASH_NONE});
}

static void draw_packer(const struct rod *rod)
{
    double half = (double)rod->repair->length_um / SM_UM_PER_M / 2 * rod->pt_per_m, x = rod->middle;
    double over = 9, top = PIPE_TOP + 7, bottom = PIPE_BOTTOM - 7;
    const struct sm_point body[] = {{x - half - over, top + 5},    {x - half - over + 6, top},
                                    {x + half + over - 6, top},    {x + half + over, top + 5},
                                    {x + half + over, bottom - 5}, {x + half + over - 6, bottom},
                                    {x - half - over + 6, bottom}, {x - half - over, bottom - 5}};
    rod->pen->polygon(rod->pen, body, 8, true, SM_INK_PAPER, medium);
    const double bands[] = {top - 5, bottom};
    for (int i = 0; i < 2; i++) {
        struct sm_rect liner = {x - half, bands[i], 2 * half, 5};
        sm_schedule__hatch(rod->pen, liner, 3, 1, (struct sm_stroke){SM_INK_LINE, 0.8, SM_DASH_NONE});
        sm_schedule__rect(rod->pen, liner, SM_INK_NONE, medium);
    }
    sm_schedule__line(rod->pen, x, PIPE_TOP - 26, x, PIPE_BOTTOM + 27,
                      (struct sm_stroke){SM_INK_LINE, 0.9, SM_DASH_CENTRE});
}

/* Broken wall: teeth along the crown, two at the least. */
static void draw_teeth(const struct rod *rod, double low, double high)
{
    int n = (int)fmax((high - low) / 7, 2);
    double step = (high - low) / n;
    for (int i = 0; i < n; i++) {
        const struct sm_point tooth[] = {{low + i * step, PIPE_TOP},
                                         {low + (i + 0.4) * step, PIPE_TOP - 8},
                                         {low + (i + 1) * step, PIPE_TOP}};
        rod->pen->polygon(rod->pen, tooth, 3, true, SM_INK_LINE, none);
    }
}

static void draw_defects(const struct rod *rod)
{
    const struct sm_schedule *s = rod->crew->s;
    for (size_t i = 0; i < rod->repair->n_covers; i++) {
        const struct sm_observation *observation =
            sm_schedule__observation(s, (size_t)rod->repair->covers[i]);
        if (!observation || !isfinite(observation->start_m)) {
            continue;
        }
        double x1 = x_at(rod, observation->start_m), x2 = x_at(rod, observation->end_m);
        double low = fmin(x1, x2) - 4, high = fmax(x1, x2) + 4;
        draw_teeth(rod, low, high);
        rod->pen->text(rod->pen, (struct sm_point){high + 3, PIPE_TOP - 4},
                       (struct sm_type){9, true, SM_ANCHOR_START, SM_INK_LINE}, observation->id);
    }
}

static double true_x(const struct rod *rod, double distance_m)
{
    return rod->middle + way(rod) * (distance_m - sm_schedule__repair_stop_m(rod->repair)) * rod->pt_per_m;
}

static bool is_in_view(const struct rod *rod, double x)
{
    return isfinite(x) && x > PIPE_EDGE + 64 && x < rod->width - 6;
}

/* Inside the opening, or beside one too narrow for its name. */
static void name_opening(const struct rod *rod, double x, double half, const char *name)
{
    struct sm_type type = {8, false, SM_ANCHOR_MIDDLE, SM_INK_LINE};
    bool fits = rod->pen->text_width(rod->pen, type, name) + 4 < 2 * half;
    type.anchor = fits ? SM_ANCHOR_MIDDLE : SM_ANCHOR_START;
    rod->pen->text(rod->pen, (struct sm_point){fits ? x : x + half + 3, PIPE_TOP - 4}, type, name);
}

/* Openings near the liner, which it must keep clear of or which are cut open again. */
static void draw_openings(const struct rod *rod)
{
    const struct sm_schedule *s = rod->crew->s;
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        double x = true_x(rod, observation->distance_m);
        if (!sm_schedule__is_opening(observation) || !is_in_view(rod, x)) {
            continue;
        }
        double start_m, end_m, half = LEAST_OPENING;
        if (sm_schedule__keep_clear(s, observation, &start_m, &end_m)) {
            double opening_m = end_m - start_m - 2 * s->sheet->rules.keep_clear_m;
            half = fmin(fmax(opening_m / 2 * rod->pt_per_m, LEAST_OPENING), 40);
        }
        sm_schedule__rect(rod->pen, (struct sm_rect){x - half, PIPE_TOP - 14, 2 * half, 14}, SM_INK_PAPER,
                          none);
        sm_schedule__line(rod->pen, x - half, PIPE_TOP - 14, x - half, PIPE_TOP, thick);
        sm_schedule__line(rod->pen, x + half, PIPE_TOP - 14, x + half, PIPE_TOP, thick);
        name_opening(rod, x, half, observation->id);
    }
}

/* The far end of the pipe where it comes into view. */
static void draw_far_end(const struct rod *rod)
{
    const struct sm_schedule *s = rod->crew->s;
    double x = true_x(rod, s->sheet->access.enters_at_to ? 0 : s->alignment->length_m);
    if (!is_in_view(rod, x)) {
        return;
    }
    sm_schedule__rect(rod->pen,
                      (struct sm_rect){x, PIPE_TOP - 2, rod->width - x + 2, PIPE_BOTTOM - PIPE_TOP + 14},
                      SM_INK_PAPER, none);
    const struct sm_point above[] = {{x, GROUND + 24}, {x, PIPE_TOP}},
                          below[] = {{x, PIPE_BOTTOM}, {x, PIPE_BOTTOM + 5}, {rod->width, PIPE_BOTTOM + 5}};
    rod->pen->polygon(rod->pen, above, 2, false, SM_INK_NONE, thick);
    rod->pen->polygon(rod->pen, below, 3, false, SM_INK_NONE, thick);
    if (rod->width - x > LEAST_NAME) {
        struct sm_type type = {9, true, SM_ANCHOR_START, SM_INK_LINE};
        sm_schedule__crew_line(rod->crew, (struct sm_point){x + 14, PIPE_TOP + 2}, type, rod->width - x - 15,
                               sm_schedule__far_end(s));
    }
}

/* A dimension between two places with its words on the line. */
static void draw_dimension(const struct rod *rod, double x1, double x2, double y, double size,
                           const char *words)
{
    struct sm_type type = {size, true, SM_ANCHOR_MIDDLE, SM_INK_LINE};
    double middle = (x1 + x2) / 2, half = rod->pen->text_width(rod->pen, type, words) / 2 + 4;
    bool fits = half * 2 + 16 < x2 - x1;
    if (fits) {
        sm_schedule__arrow(rod->pen, (struct sm_point){middle - half, y}, (struct sm_point){x1, y}, 6,
                           medium);
        sm_schedule__arrow(rod->pen, (struct sm_point){middle + half, y}, (struct sm_point){x2, y}, 6,
                           medium);
        rod->pen->text(rod->pen, (struct sm_point){middle, y + size * 0.36}, type, words);
    } else {
        sm_schedule__arrow(rod->pen, (struct sm_point){x1 - 14, y}, (struct sm_point){x1, y}, 6, medium);
        sm_schedule__arrow(rod->pen, (struct sm_point){x2 + 14, y}, (struct sm_point){x2, y}, 6, medium);
        type.anchor = SM_ANCHOR_START;
        rod->pen->text(rod->pen, (struct sm_point){x2 + 18, y + size * 0.36}, type, words);
    }
    sm_schedule__line(rod->pen, x1, y - 5, x1, y + 5, thin);
    sm_schedule__line(rod->pen, x2, y - 5, x2, y + 5, thin);
}

static void draw_dimensions(const struct rod *rod)
{
    const struct sm_schedule *s = rod->crew->s;
    double half = (double)rod->repair->length_um / SM_UM_PER_M / 2 * rod->pt_per_m;
    struct sm_text words = {0};
    sm_text_add(&words, "MARK ");
    sm_schedule__add_length(&words, s, rod->repair->mark_m);
    draw_dimension(rod, rod->tape.x, rod->middle, 34, 14, sm_text_str(&words));
    sm_schedule__line(rod->pen, rod->tape.x, rod->tape.y, rod->tape.x, 39, thin);
    sm_schedule__clear(&words, &rod->crew->has_failed);
    sm_schedule__add_length(&words, s, sm_schedule__from_crew_m(s, sm_schedule__repair_stop_m(rod->repair)));
    sm_text_add(&words, " from the pipe edge");
    draw_dimension(rod, PIPE_EDGE, rod->middle, PIPE_BOTTOM + 22, 10, sm_text_str(&words));
    sm_schedule__clear(&words, &rod->crew->has_failed);
    sm_text_add(&words, "liner ");
    sm_schedule__add_liner_length(&words, s, rod->repair->length_um);
    draw_dimension(rod, rod->middle - half, rod->middle + half, PIPE_BOTTOM + 37, 10, sm_text_str(&words));
    sm_schedule__drop(&words, &rod->crew->has_failed);
}

static void draw_words(const struct rod *rod)
{
    const struct sm_schedule *s = rod->crew->s;
    bool is_with = s->segment->flow == (s->sheet->access.enters_at_to ? SM_FLOW_TO_FROM : SM_FLOW_FROM_TO);
    double y = (PIPE_TOP + PIPE_BOTTOM) / 2, x = rod->width - 22;
    sm_schedule__crew_line(rod->crew, (struct sm_point){PIPE_EDGE + 6, GROUND + 12},
                           (struct sm_type){10, true, SM_ANCHOR_START, SM_INK_LINE}, 150,
                           sm_schedule__crew_end(s));
    if (s->segment->flow != SM_FLOW_UNKNOWN) {
        double step = is_with ? 14 : -14;
        sm_schedule__arrow(rod->pen, (struct sm_point){x - step, y + 4}, (struct sm_point){x + step, y + 4},
                           8, medium);
        rod->pen->text(rod->pen, (struct sm_point){x, y - 3},
                       (struct sm_type){8, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "flow");
    }
}

double sm_schedule__crew_rod_drawing(struct sm_crew *crew, const struct sm_repair *repair, double width)
{
    double length_m = sm_schedule__um_to_m(repair->length_um);
    struct rod rod = {.crew = crew,
                      .pen = &crew->pen,
                      .repair = repair,
                      .width = width,
                      .middle = width * 0.68,
                      .pt_per_m = width * LINER_PART / length_m};
    draw_ground(&rod);
    draw_rod(&rod, rod.middle - width * LINER_PART / 2);
    draw_far_end(&rod);
    draw_packer(&rod);
    draw_openings(&rod);
    draw_defects(&rod);
    draw_tape(&rod);
    draw_dimensions(&rod);
    draw_words(&rod);
    return HEIGHT;
}

/* ---- clock ---- */

static struct sm_point on_clock(struct sm_point centre, double radius, double hour)
{
    double angle = hour / 6 * acos(-1);
    return (struct sm_point){centre.x + radius * sin(angle), centre.y - radius * cos(angle)};
}

void sm_schedule__crew_clock(struct sm_crew *crew, struct sm_point centre, double radius,
                             const struct sm_observation *observation)
{
    static const char *const numbers[] = {"12", "3", "6", "9"};
    struct sm_pen *pen = &crew->pen;
    pen->circle(pen, centre, radius, SM_INK_PAPER, medium);
    for (int h = 0; h < 12; h++) {
        struct sm_point a = on_clock(centre, radius, h),
                        b = on_clock(centre, radius * (h % 3 ? 0.93 : 0.86), h);
        sm_schedule__line(pen, a.x, a.y, b.x, b.y, thin);
    }
    for (int i = 0; i < 4; i++) {
        struct sm_point at = on_clock(centre, radius * 0.66, i * 3);
        pen->text(pen, (struct sm_point){at.x, at.y + 3},
                  (struct sm_type){8, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, numbers[i]);
    }
    int from_h = observation->clock_from_h, to_h = observation->clock_to_h ? observation->clock_to_h : from_h;
    if (from_h == 0) {
        return;
    }
    bool is_all = observation->clock_to_h == from_h;
    double first = is_all ? 0 : observation->clock_to_h ? from_h : from_h - 0.4;
    double last = is_all ? 12 : observation->clock_to_h ? to_h : to_h + 0.4;
    last += last < first ? 12 : 0;
    struct sm_point arc[64];
    for (int i = 0; i < 64; i++) {
        arc[i] = on_clock(centre, radius + 3.5, first + (last - first) * i / 63);
    }
    pen->polygon(pen, arc, 64, false, SM_INK_NONE, (struct sm_stroke){SM_INK_LINE, 6, SM_DASH_NONE});
}
