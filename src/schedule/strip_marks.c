/* Marks of the strip and the legend that explains them. Everything is told apart by shape, never by ink
 * alone. */
#include "strip_internal.h"

#include <math.h>
#include <string.h>

static const struct sm_stroke no_stroke = {SM_INK_NONE, 0, SM_DASH_NONE};

/* ---- marks ---- */

/* What was seen, by what is done about it. */
void sm_schedule__strip_mark(const struct sm_strip_work *strip, struct sm_point c,
                             enum sm_treatment treatment, bool is_left_over)
{
    struct sm_pen *pen = strip->pen;
    double r = 0.52 * strip->em;
    struct sm_stroke edge = sm_schedule__strip_stroke(strip, SM_INK_DEFECT, 1.4);
    const struct sm_point diamond[] = {{c.x, c.y - r}, {c.x + r, c.y}, {c.x, c.y + r}, {c.x - r, c.y}};
    const struct sm_point triangle[] = {{c.x, c.y - r}, {c.x + r, c.y + 0.8 * r}, {c.x - r, c.y + 0.8 * r}};
    if (treatment == SM_TREATMENT_LINE) {
        pen->polygon(pen, diamond, 4, true, is_left_over ? SM_INK_PAPER : SM_INK_DEFECT, edge);
    } else if (treatment == SM_TREATMENT_PREPARE) {
        pen->polygon(pen, diamond, 4, true, SM_INK_PAPER, edge);
        sm_schedule__line(pen, c.x - r, c.y, c.x + r, c.y, edge);
        sm_schedule__line(pen, c.x, c.y - r, c.x, c.y + r, edge);
    } else if (treatment == SM_TREATMENT_REFER) {
        pen->polygon(pen, triangle, 3, true, SM_INK_PAPER, edge);
        sm_schedule__line(pen, c.x, c.y - 0.35 * r, c.x, c.y + 0.25 * r, edge);
        pen->circle(pen, (struct sm_point){c.x, c.y + 0.52 * r}, 0.09 * r, SM_INK_DEFECT, no_stroke);
    } else if (treatment == SM_TREATMENT_NONE) {
        pen->circle(pen, c, 0.42 * r, SM_INK_PAPER, sm_schedule__strip_stroke(strip, SM_INK_SOFT, 1.2));
    }
    if (is_left_over && treatment != SM_TREATMENT_REFER) { /* referred says it already */
        struct sm_stroke cross = sm_schedule__strip_stroke(strip, SM_INK_LINE, 1.8);
        sm_schedule__line(pen, c.x - 1.3 * r, c.y - 1.3 * r, c.x + 1.3 * r, c.y + 1.3 * r, cross);
        sm_schedule__line(pen, c.x - 1.3 * r, c.y + 1.3 * r, c.x + 1.3 * r, c.y - 1.3 * r, cross);
    }
}

void sm_schedule__strip_liner(const struct sm_strip_work *strip, double x1, double x2, int slope)
{
    const struct sm_strip_lanes *lanes = &strip->lanes;
    double band = 0.55 * strip->em;
    struct sm_stroke edge = sm_schedule__strip_stroke(strip, SM_INK_LINER, 1.3),
                     line = sm_schedule__strip_stroke(strip, SM_INK_LINER, 1.0);
    const double tops[] = {strip->y + lanes->wall_top, strip->y + lanes->wall_bottom - band};
    for (int i = 0; i < 2; i++) {
        struct sm_rect rect = {x1, tops[i], x2 - x1, band};
        sm_schedule__hatch(strip->pen, rect, 0.3 * strip->em, slope, line);
        sm_schedule__rect(strip->pen, rect, SM_INK_NONE, edge);
    }
}

void sm_schedule__strip_stop(const struct sm_strip_work *strip, double x)
{
    const struct sm_strip_lanes *lanes = &strip->lanes;
    double r = 0.5 * strip->em, top = strip->y + lanes->wall_top;
    struct sm_stroke centre = {SM_INK_LINER, 1.1 * strip->em / 12, SM_DASH_CENTRE};
    const struct sm_point wedge[] = {{x - r, top - 1.5 * r}, {x + r, top - 1.5 * r}, {x, top}};
    sm_schedule__line(strip->pen, x, strip->y + lanes->stop_bottom, x, strip->y + lanes->wall_bottom, centre);
    strip->pen->polygon(strip->pen, wedge, 3, true, SM_INK_LINER, no_stroke);
}

void sm_schedule__strip_bracket(const struct sm_strip_work *strip, double x1, double x2)
{
    double y = strip->y + strip->lanes.target, h = 0.28 * strip->em;
    struct sm_stroke stroke = sm_schedule__strip_stroke(strip, SM_INK_DEFECT, 1.3);
    sm_schedule__line(strip->pen, x1, y, x2, y, stroke);
    sm_schedule__line(strip->pen, x1, y - h, x1, y + h, stroke);
    sm_schedule__line(strip->pen, x2, y - h, x2, y + h, stroke);
}

void sm_schedule__strip_connection(const struct sm_strip_work *strip, double x1, double x2, double clear1,
                                   double clear2, bool is_reopened)
{
    double top = strip->y + strip->lanes.wall_top, h = 1.15 * strip->em, low = 0.35 * strip->em;
    struct sm_stroke wall = sm_schedule__strip_stroke(strip, SM_INK_LINE, 1.8),
                     fine = sm_schedule__strip_stroke(strip, SM_INK_KEEP, 0.9);
    struct sm_rect left = {clear1, top - low, x1 - clear1, low}, right = {x2, top - low, clear2 - x2, low};
    sm_schedule__hatch(strip->pen, left, 0.25 * strip->em, -1, fine);
    sm_schedule__hatch(strip->pen, right, 0.25 * strip->em, -1, fine);
    sm_schedule__line(strip->pen, clear1, top - low, clear1, top, fine);
    sm_schedule__line(strip->pen, clear2, top - low, clear2, top, fine);
    double wide = fmax(x2 - x1, 0.35 * strip->em), x = (x1 + x2) / 2;
    sm_schedule__rect(strip->pen, (struct sm_rect){x - wide / 2, top - h, wide, h}, SM_INK_PAPER, no_stroke);
    sm_schedule__line(strip->pen, x - wide / 2, top - h, x - wide / 2, top, wall);
    sm_schedule__line(strip->pen, x + wide / 2, top - h, x + wide / 2, top, wall);
    if (is_reopened) {
        strip->pen->circle(strip->pen, (struct sm_point){x, top - h}, 0.38 * strip->em, SM_INK_PAPER, wall);
        sm_schedule__line(strip->pen, x - 0.25 * strip->em, top - h, x + 0.25 * strip->em, top - h, wall);
    }
}
/* Shorten a name to a width. */
void sm_schedule__strip_fitted(const struct sm_strip_work *strip, struct sm_point at, struct sm_type type,
                               const char *text, double room)
{
    char fitted[256];
    struct sm_text cut = {0};
    sm_strcopy(fitted, sizeof fitted, text);
    sm_text_add(&cut, fitted);
    while (strip->pen->text_width(strip->pen, type, sm_text_str(&cut)) > room && fitted[0]) {
        sm_strcopy(fitted, strlen(fitted), fitted);
        sm_schedule__clear(&cut, strip->has_failed);
        sm_text_addf(&cut, "%s\u2026", fitted);
    }
    strip->pen->text(strip->pen, at, type, sm_text_str(&cut));
    sm_schedule__drop(&cut, strip->has_failed);
}

/* ---- legend ---- */

enum legend {
    LEGEND_LINER,
    LEGEND_TARGET,
    LEGEND_LINE,
    LEGEND_PREPARE,
    LEGEND_REFER,
    LEGEND_LEFT,
    LEGEND_CLEAR,
    LEGEND_NONE,
    LEGEND_DOUBT,
    N_LEGEND,
};

/* One sample, drawn by what draws the real ones: a row of its own, moved there. */
static void draw_sample(const struct sm_strip_work *strip, enum legend what, double x, double y)
{
    struct sm_strip_work at = *strip;
    double em = strip->em;
    at.lanes = (struct sm_strip_lanes){
        .stop_bottom = -1.2 * em, .wall_top = -0.4 * em, .wall_bottom = 1.0 * em, .target = 0.3 * em};
    at.y = y - 0.6 * em;
    static const enum sm_treatment treatment[N_LEGEND] = {[LEGEND_LINE] = SM_TREATMENT_LINE,
                                                          [LEGEND_PREPARE] = SM_TREATMENT_PREPARE,
                                                          [LEGEND_REFER] = SM_TREATMENT_REFER,
                                                          [LEGEND_LEFT] = SM_TREATMENT_LINE,
                                                          [LEGEND_NONE] = SM_TREATMENT_NONE};
    if (what == LEGEND_LINER) {
        at.lanes.wall_top = 0;
        sm_schedule__strip_liner(&at, x - em, x + em, 1);
        sm_schedule__strip_stop(&at, x);
    } else if (what == LEGEND_TARGET) {
        sm_schedule__strip_bracket(&at, x - em, x + em);
    } else if (what == LEGEND_CLEAR) {
        at.lanes.wall_top = 0.8 * em;
        sm_schedule__line(strip->pen, x - em, y + 0.2 * em, x + em, y + 0.2 * em,
                          sm_schedule__strip_stroke(strip, SM_INK_LINE, 1.8));
        sm_schedule__strip_connection(&at, x - 0.25 * em, x + 0.25 * em, x - 0.9 * em, x + 0.9 * em, false);
    } else if (what == LEGEND_DOUBT) {
        strip->pen->text(strip->pen, (struct sm_point){x, y},
                         (struct sm_type){em, true, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "?");
    } else {
        sm_schedule__strip_mark(&at, (struct sm_point){x, y - 0.35 * em}, treatment[what],
                                what == LEGEND_LEFT);
    }
}

/* @return height used. */
double sm_schedule__strip_legend(const struct sm_strip_work *strip, double top)
{
    static const char *const words[N_LEGEND] = {
        "liner and stop",         "to be covered (target)",  "line",
        "prepare, then line",     "refer: a person decides", "not repaired",
        "connection, kept clear", "nothing to do",           "place in doubt"};
    double em = strip->em, x = 0, y = top + 1.6 * em;
    struct sm_type type = {em, false, SM_ANCHOR_START, SM_INK_LINE};
    for (int i = 0; i < N_LEGEND; i++) {
        if (i == LEGEND_NONE && strip->opts->is_work_only) {
            continue;
        }
        double width = 3.0 * em + strip->pen->text_width(strip->pen, type, words[i]) + 1.4 * em;
        if (x + width > strip->opts->width && x > 0) {
            x = 0;
            y += 2.1 * em;
        }
        draw_sample(strip, (enum legend)i, x + 1.2 * em, y);
        strip->pen->text(strip->pen, (struct sm_point){x + 2.7 * em, y}, type, words[i]);
        x += width;
    }
    type.ink = SM_INK_SOFT;
    y += 1.7 * em;
    sm_schedule__strip_fitted(strip, (struct sm_point){0, y}, type,
                              "Lengths along the pipe are to scale, across it they are not.",
                              strip->opts->width);
    return y + 0.6 * em - top;
}
