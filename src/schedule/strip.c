/*
 * Strip drawing. One row of it, from the top: who is at the ends and which way the water flows; stops;
 * connections with the stretches kept clear; the pipe with liners along its walls and what was seen on its
 * axis; targets; names of what was seen; the scale. Only lengths along the pipe are to scale. Everything is
 * told apart by shape, never by ink alone.
 */
#include "strip_internal.h"

#include <math.h>

#define LEGEND_HEIGHT 10.0 /* in text sizes, at most */

struct sm_stroke sm_schedule__strip_stroke(const struct sm_strip_work *strip, enum sm_ink ink, double width)
{
    return (struct sm_stroke){ink, width * strip->em / 12, SM_DASH_NONE};
}

double sm_schedule__strip_x(const struct sm_strip_work *strip, double distance_m)
{
    double share = (distance_m - strip->from_m) / (strip->to_m - strip->from_m);
    return strip->x0 + fmin(fmax(share, 0), 1) * (strip->x1 - strip->x0);
}

/* Is a stretch on this row? The ends of the pipe take in what lies beyond them. */
static bool is_on_row(const struct sm_strip_work *strip, double start_m, double end_m)
{
    bool is_before_end = start_m < strip->to_m || strip->row == strip->n_rows - 1;
    bool is_after_start =
        end_m > strip->from_m || strip->row == 0 || (start_m == end_m && start_m == strip->from_m);
    return isfinite(start_m) && isfinite(end_m) && is_before_end && is_after_start;
}

bool sm_schedule__strip_holds(const struct sm_strip_work *strip, double distance_m)
{
    return isfinite(distance_m) && (distance_m >= strip->from_m || strip->row == 0) &&
           (distance_m < strip->to_m || strip->row == strip->n_rows - 1);
}

/* ---- what stands on a row ---- */

/* ---- a row ---- */

static void draw_label(const struct sm_strip_work *strip, const struct sm_strip_label *label, double top,
                       double leader_from, double leader_to)
{
    struct sm_pen *pen = strip->pen;
    double x = label->x + label->width / 2, step = leader_to - leader_from;
    const struct sm_point leader[] = {{label->at_x, leader_from},
                                      {label->at_x, leader_from + 0.2 * step},
                                      {x, leader_from + 0.8 * step},
                                      {x, leader_to}};
    struct sm_stroke stroke = sm_schedule__strip_stroke(strip, SM_INK_SOFT, 0.8);
    pen->polygon(pen, leader, 4, false, SM_INK_NONE, stroke);
    for (int i = 0; i < label->n_lines; i++) {
        struct sm_type type = {strip->em, i == 0, SM_ANCHOR_MIDDLE, SM_INK_LINE};
        pen->text(pen, (struct sm_point){x, top + (0.9 + 1.12 * i) * strip->em}, type, label->line[i]);
    }
}

static const struct sm_strip_label *label_of(const struct sm_strip_labels *labels, size_t idx)
{
    for (size_t i = 0; i < labels->n; i++) {
        if (labels->item[i].idx == idx && !labels->item[i].is_dropped) {
            return &labels->item[i];
        }
    }
    return NULL;
}

static void draw_repair(const struct sm_strip_work *strip, size_t idx)
{
    const struct sm_schedule *s = strip->s;
    const struct sm_repair *repair = &s->plan->repair[idx];
    double start_m = sm_schedule__repair_start_m(repair), end_m = sm_schedule__repair_end_m(repair);
    if (!is_on_row(strip, start_m, end_m)) {
        return;
    }
    struct sm_text title = {0};
    sm_schedule__add_repair_title(&title, s, repair);
    strip->pen->begin_group(strip->pen, repair->id, sm_text_str(&title));
    sm_schedule__strip_liner(strip, sm_schedule__strip_x(strip, start_m), sm_schedule__strip_x(strip, end_m),
                             idx % 2 ? -1 : 1);
    const struct sm_strip_label *label = label_of(&strip->stops, idx);
    double stop_m = sm_schedule__repair_stop_m(repair);
    if (sm_schedule__strip_holds(strip, stop_m)) {
        sm_schedule__strip_stop(strip, sm_schedule__strip_x(strip, stop_m));
    }
    if (label) {
        draw_label(strip, label, strip->y + strip->lanes.stop_top, strip->y + strip->lanes.stop_bottom,
                   strip->y + strip->lanes.stop_top + 2.35 * strip->em);
    }
    strip->pen->end_group(strip->pen);
    sm_schedule__drop(&title, strip->has_failed);
}

static bool is_reopened(const struct sm_plan *plan, size_t observation_idx)
{
    for (size_t i = 0; i < plan->n_repairs; i++) {
        for (size_t k = 0; k < plan->repair[i].n_reopens; k++) {
            if ((size_t)plan->repair[i].reopens[k] == observation_idx) {
                return true;
            }
        }
    }
    return false;
}

/* Whether a reach along the axis would only stick out of the mark drawn over it. */
static bool is_under_mark(const struct sm_strip_work *strip, const struct sm_observation *observation,
                          double x1, double x2)
{
    double x = sm_schedule__strip_x(strip, observation->distance_m), hidden = 0.9 * strip->em;
    return sm_schedule__strip_holds(strip, observation->distance_m) && x1 >= x - hidden && x2 <= x + hidden;
}

static void draw_extent(const struct sm_strip_work *strip, const struct sm_observation *observation)
{
    double x1 = sm_schedule__strip_x(strip, observation->start_m),
           x2 = sm_schedule__strip_x(strip, observation->end_m);
    double y = strip->y + (strip->lanes.wall_top + strip->lanes.wall_bottom) / 2, h = 0.34 * strip->em;
    if (x2 - x1 < 2 || is_under_mark(strip, observation, x1, x2)) {
        return;
    }
    struct sm_rect bar = {x1, y - h, x2 - x1, 2 * h};
    sm_schedule__hatch(strip->pen, bar, 0.35 * strip->em, -1,
                       sm_schedule__strip_stroke(strip, SM_INK_DEFECT, 1.0));
    sm_schedule__rect(strip->pen, bar, SM_INK_NONE, sm_schedule__strip_stroke(strip, SM_INK_DEFECT, 1.2));
}

static void draw_observation_marks(const struct sm_strip_work *strip, size_t idx)
{
    const struct sm_schedule *s = strip->s;
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_target *target = sm_schedule__target(s, idx);
    double clear1_m, clear2_m;
    if (target) {
        double x1 = sm_schedule__strip_x(strip, sm_schedule__um_to_m(target->start_um)),
               x2 = sm_schedule__strip_x(strip, sm_schedule__um_to_m(target->end_um));
        sm_schedule__strip_bracket(strip, x1, x2);
    }
    bool is_plain_opening = observation->treatment == SM_TREATMENT_CLEAR; /* the connection says it all */
    if (!is_plain_opening) {
        draw_extent(strip, observation);
    }
    if (sm_schedule__keep_clear(s, observation, &clear1_m, &clear2_m)) {
        double keep_m = s->sheet->rules.keep_clear_m;
        sm_schedule__strip_connection(strip, sm_schedule__strip_x(strip, clear1_m + keep_m),
                                      sm_schedule__strip_x(strip, clear2_m - keep_m),
                                      sm_schedule__strip_x(strip, clear1_m),
                                      sm_schedule__strip_x(strip, clear2_m), is_reopened(s->plan, idx));
    }
    if (!is_plain_opening && sm_schedule__strip_holds(strip, observation->distance_m)) {
        double y = strip->y + (strip->lanes.wall_top + strip->lanes.wall_bottom) / 2;
        sm_schedule__strip_mark(strip,
                                (struct sm_point){sm_schedule__strip_x(strip, observation->distance_m), y},
                                observation->treatment, sm_schedule__unrepaired_reason(s, idx) != NULL);
    }
}

static void draw_observation(const struct sm_strip_work *strip, size_t idx)
{
    const struct sm_observation *observation = &strip->s->alignment->observation[idx];
    bool is_here = is_on_row(strip, observation->start_m, observation->end_m) ||
                   sm_schedule__strip_holds(strip, observation->distance_m);
    if (!sm_schedule__strip_shows(strip, observation) || !is_here) {
        return;
    }
    struct sm_text title = {0};
    sm_schedule__add_observation_title(&title, strip->s, idx);
    strip->pen->begin_group(strip->pen, observation->id, sm_text_str(&title));
    draw_observation_marks(strip, idx);
    const struct sm_strip_label *label = label_of(&strip->names, idx);
    if (label) {
        draw_label(strip, label, strip->y + strip->lanes.name_top,
                   strip->y + strip->lanes.target + 0.5 * strip->em, strip->y + strip->lanes.name_top);
    }
    strip->pen->end_group(strip->pen);
    sm_schedule__drop(&title, strip->has_failed);
}

/* Shaft of an access point, or the torn edge where the row goes on. */
static void draw_end(const struct sm_strip_work *strip, bool is_right)
{
    struct sm_pen *pen = strip->pen;
    bool is_shaft = is_right ? strip->row == strip->n_rows - 1 : strip->row == 0;
    double x = is_right ? strip->x1 : strip->x0, out = is_right ? 1 : -1;
    double top = strip->y + strip->lanes.wall_top, bottom = strip->y + strip->lanes.wall_bottom;
    struct sm_stroke wall = sm_schedule__strip_stroke(strip, SM_INK_LINE, 2.2);
    if (is_shaft) {
        double wide = 1.7 * strip->em, high = 1.5 * strip->em;
        const struct sm_point shaft[] = {
            {x, top}, {x, top - high}, {x + out * wide, top - high}, {x + out * wide, bottom}, {x, bottom}};
        pen->polygon(pen, shaft, 5, false, SM_INK_FILL, wall);
        return;
    }
    double h = (bottom - top) / 4, w = 0.35 * strip->em * out;
    const struct sm_point torn[] = {
        {x, top - 0.5 * h}, {x + w, top + h}, {x - w, top + 3 * h}, {x, bottom + 0.5 * h}};
    pen->polygon(pen, torn, 4, false, SM_INK_NONE, sm_schedule__strip_stroke(strip, SM_INK_LINE, 1.2));
}

static void draw_pipe(const struct sm_strip_work *strip)
{
    double top = strip->y + strip->lanes.wall_top, bottom = strip->y + strip->lanes.wall_bottom;
    struct sm_stroke wall = sm_schedule__strip_stroke(strip, SM_INK_LINE, 2.2);
    sm_schedule__line(strip->pen, strip->x0, top, strip->x1, top, wall);
    sm_schedule__line(strip->pen, strip->x0, bottom, strip->x1, bottom, wall);
    draw_end(strip, false);
    draw_end(strip, true);
}

static void add_end_words(struct sm_text *text, const struct sm_strip_work *strip, bool is_right)
{
    const struct sm_schedule *s = strip->s;
    bool is_end = is_right ? strip->row == strip->n_rows - 1 : strip->row == 0;
    if (!is_end) {
        sm_text_add(text, is_right ? "" : "\u2026 from ");
        sm_schedule__add_length(text, s, is_right ? strip->to_m : strip->from_m);
        sm_text_add(text, is_right ? " \u2026" : "");
        return;
    }
    const char *name = is_right ? s->segment->to : s->segment->from;
    bool is_crew = s->sheet->access.enters_at_to == is_right;
    sm_text_add(text, name && *name ? name : is_right ? "far end" : "near end");
    sm_text_add(text, !is_right ? ", camera entered" : "");
    sm_text_add(text, is_crew ? ", crew works here" : "");
}

static void draw_head(const struct sm_strip_work *strip)
{
    double y = strip->y + strip->lanes.head, em = strip->em, width = strip->opts->width, x = width / 2;
    struct sm_text words = {0};
    add_end_words(&words, strip, false);
    sm_schedule__strip_fitted(strip, (struct sm_point){0, y},
                              (struct sm_type){em, true, SM_ANCHOR_START, SM_INK_LINE}, sm_text_str(&words),
                              0.4 * width);
    sm_schedule__clear(&words, strip->has_failed);
    add_end_words(&words, strip, true);
    sm_schedule__strip_fitted(strip, (struct sm_point){width, y},
                              (struct sm_type){em, true, SM_ANCHOR_END, SM_INK_LINE}, sm_text_str(&words),
                              0.4 * width);
    sm_schedule__drop(&words, strip->has_failed);
    if (strip->s->segment->flow != SM_FLOW_UNKNOWN) {
        double way = strip->s->segment->flow == SM_FLOW_FROM_TO ? 1 : -1;
        struct sm_point tail = {x - way * 2.6 * em, y + 0.35 * em}, tip = {x + way * 2.6 * em, y + 0.35 * em};
        sm_schedule__arrow(strip->pen, tail, tip, 0.8 * em,
                           sm_schedule__strip_stroke(strip, SM_INK_LINE, 1.6));
        strip->pen->text(strip->pen, (struct sm_point){x, y - 0.1 * em},
                         (struct sm_type){em, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "flow");
    }
}

/* A step of 1, 2 or 5 times a power of ten, in the people's unit, with room for its numbers. */
static double scale_step_m(const struct sm_strip_work *strip)
{
    double unit_m = strip->s->people_unit == SM_UNIT_FT ? SM_M_PER_FT : 1;
    double m_per_px = (strip->to_m - strip->from_m) / (strip->x1 - strip->x0);
    double least = m_per_px * 4.5 * strip->em / unit_m, step = 1e-3;
    static const double factors[] = {2, 2.5, 2};
    for (int i = 0; step < least && step < 1e9; i++) {
        step *= factors[i % 3];
    }
    return step * unit_m;
}

static void draw_scale(const struct sm_strip_work *strip)
{
    double y = strip->y + strip->lanes.scale, em = strip->em, step_m = scale_step_m(strip);
    bool is_feet = strip->s->people_unit == SM_UNIT_FT;
    struct sm_stroke stroke = sm_schedule__strip_stroke(strip, SM_INK_SOFT, 1.0);
    struct sm_type type = {0.92 * em, false, SM_ANCHOR_MIDDLE, SM_INK_SOFT};
    sm_schedule__line(strip->pen, strip->x0, y, strip->x1, y, stroke);
    for (double k = ceil(strip->from_m / step_m - 1e-9); k * step_m <= strip->to_m + 1e-9; k++) {
        double x = sm_schedule__strip_x(strip, k * step_m);
        struct sm_text words = {0};
        sm_text_add_number(&words, is_feet ? k * step_m / SM_M_PER_FT : k * step_m, 0, 3);
        sm_text_add(&words, is_feet ? " ft" : " m");
        sm_schedule__line(strip->pen, x, y, x, y + 0.4 * em, stroke);
        strip->pen->text(strip->pen, (struct sm_point){x, y + 1.35 * em}, type, sm_text_str(&words));
        sm_schedule__drop(&words, strip->has_failed);
    }
}

static void draw_row(struct sm_strip_work *strip, int row)
{
    const struct sm_schedule *s = strip->s;
    sm_schedule__strip_set_row(strip, row, strip->n_rows);
    sm_schedule__strip_collect_labels(strip);
    sm_schedule__strip_place_labels(strip, &strip->stops);
    sm_schedule__strip_place_labels(strip, &strip->names);
    draw_head(strip);
    draw_pipe(strip);
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        draw_repair(strip, i);
    }
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        draw_observation(strip, i);
    }
    draw_scale(strip);
}

/* ---- the whole ---- */

static struct sm_strip_lanes lanes_of(double em, int n_name_lines)
{
    struct sm_strip_lanes lanes;
    lanes.head = 1.0 * em;
    lanes.stop_top = 1.9 * em;
    lanes.stop_bottom = lanes.stop_top + 3.9 * em;
    lanes.wall_top = lanes.stop_bottom + 1.2 * em;
    lanes.wall_bottom = lanes.wall_top + 2.9 * em;
    lanes.target = lanes.wall_bottom + 0.75 * em;
    lanes.name_top = lanes.target + 1.9 * em;
    lanes.scale = lanes.name_top + (0.6 + 1.12 * n_name_lines) * em;
    lanes.bottom = lanes.scale + 2.9 * em;
    return lanes;
}

static double drawn_length_m(const struct sm_alignment *alignment)
{
    double length_m = isfinite(alignment->length_m) ? alignment->length_m : 0;
    for (size_t i = 0; length_m <= 0 && i < alignment->n_observations; i++) {
        length_m = fmax(length_m, alignment->observation[i].end_m);
    }
    return length_m > 0 ? length_m : 1;
}

static void make_room(struct sm_strip_work *strip, double height)
{
    if (strip->opts->make_room) {
        strip->y = strip->opts->make_room(strip->opts->user, strip->y, height);
    }
}

struct sm_strip sm_schedule__strip_draw(struct sm_pen *pen, const struct sm_schedule *s,
                                        const struct sm_strip_opts *opts)
{
    struct sm_strip_work strip = {.pen = pen,
                                  .s = s,
                                  .opts = opts,
                                  .em = opts->text_size,
                                  .x0 = 2.2 * opts->text_size,
                                  .x1 = opts->width - 2.2 * opts->text_size,
                                  .length_m = drawn_length_m(s->alignment),
                                  .lanes = lanes_of(opts->text_size, opts->is_work_only ? 2 : 3)};
    bool has_failed = false;
    strip.has_failed = &has_failed;
    strip.stops.item = sm_calloc(s->plan->n_repairs + 1, sizeof *strip.stops.item);
    strip.names.item = sm_calloc(s->alignment->n_observations + 1, sizeof *strip.names.item);
    if (strip.stops.item && strip.names.item) {
        int n_rows = sm_schedule__strip_choose_rows(&strip);
        for (int row = 0; row < n_rows; row++) {
            strip.n_rows = n_rows;
            make_room(&strip, strip.lanes.bottom);
            draw_row(&strip, row);
            strip.y += strip.lanes.bottom;
        }
        if (opts->has_legend) {
            make_room(&strip, LEGEND_HEIGHT * strip.em);
            strip.y += sm_schedule__strip_legend(&strip, strip.y);
        }
    }
    has_failed |= !strip.stops.item || !strip.names.item;
    sm_free(strip.stops.item);
    sm_free(strip.names.item);
    return (struct sm_strip){strip.y, strip.n_unnamed, has_failed};
}
