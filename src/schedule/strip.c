/*
 * Strip drawing. One row of it, from the top: who is at the ends and which way the water flows; stops;
 * connections with the stretches kept clear; the pipe with liners along its walls and what was seen on its
 * axis; targets; names of what was seen; the scale. Only lengths along the pipe are to scale. Everything is
 * told apart by shape, never by ink alone.
 */
#include "strip.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MAX_LABEL_LINES 3
#define LEGEND_HEIGHT 10.0     /* in text sizes, at most */
#define GAP_BETWEEN_LABELS 0.5 /* in text sizes */

struct label {
    double at_x;     /* where on the pipe it points */
    double width, x; /* x = left edge once placed */
    int rank;        /* the lowest ranks go first where room is short */
    size_t idx;      /* of the repair or observation */
    bool is_dropped;
    int n_lines;
    char line[MAX_LABEL_LINES][40];
};
struct labels {
    struct label *item;
    size_t n;
};
/* Heights of the lanes of a row, from its top. */
struct lanes {
    double head, stop_top, stop_bottom, wall_top, wall_bottom, target, name_top, scale, bottom;
};
struct strip {
    struct sm_pen *pen;
    const struct sm_schedule *s;
    const struct sm_strip_opts *opts;
    double em;     /* text size */
    double x0, x1; /* ends of the pipe in every row */
    double length_m;
    int n_rows, row;
    double y;            /* top of the row */
    double from_m, to_m; /* stretch of the row */
    struct lanes lanes;
    struct labels stops, names; /* of the row */
    size_t n_unnamed;
    bool *has_failed;
};

static const struct sm_stroke no_stroke = {SM_INK_NONE, 0, SM_DASH_NONE};

static struct sm_stroke stroke_of(const struct strip *strip, enum sm_ink ink, double width)
{
    return (struct sm_stroke){ink, width * strip->em / 12, SM_DASH_NONE};
}

static double x_at(const struct strip *strip, double distance_m)
{
    double share = (distance_m - strip->from_m) / (strip->to_m - strip->from_m);
    return strip->x0 + fmin(fmax(share, 0), 1) * (strip->x1 - strip->x0);
}

/* Is a stretch on this row? The ends of the pipe take in what lies beyond them. */
static bool is_on_row(const struct strip *strip, double start_m, double end_m)
{
    bool is_before_end = start_m < strip->to_m || strip->row == strip->n_rows - 1;
    bool is_after_start =
        end_m > strip->from_m || strip->row == 0 || (start_m == end_m && start_m == strip->from_m);
    return isfinite(start_m) && isfinite(end_m) && is_before_end && is_after_start;
}

static bool holds_centre(const struct strip *strip, double distance_m)
{
    return isfinite(distance_m) && (distance_m >= strip->from_m || strip->row == 0) &&
           (distance_m < strip->to_m || strip->row == strip->n_rows - 1);
}

static void set_row(struct strip *strip, int row, int n_rows)
{
    strip->row = row;
    strip->n_rows = n_rows;
    strip->from_m = strip->length_m * row / n_rows;
    strip->to_m = strip->length_m * (row + 1) / n_rows;
}

/* ---- words ---- */

void sm_schedule__add_repair_title(struct sm_text *text, const struct sm_schedule *s,
                                   const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    sm_text_addf(text, "%s: stop ", repair->id);
    sm_schedule__add_length(text, s, sm_schedule__repair_stop_m(repair));
    sm_text_add(text, ", mark ");
    sm_schedule__add_length(text, s, repair->mark_m);
    sm_text_addf(text, ", %s, liner from ", kit ? kit->name : "kit not known");
    sm_schedule__add_length(text, s, sm_schedule__repair_start_m(repair));
    sm_text_add(text, " to ");
    sm_schedule__add_length(text, s, sm_schedule__repair_end_m(repair));
    sm_text_add(text, ", for ");
    sm_schedule__add_ids(text, s, repair->covers, repair->n_covers, ", ");
}

void sm_schedule__add_observation_title(struct sm_text *text, const struct sm_schedule *s,
                                        size_t observation_idx)
{
    const struct sm_observation *observation = &s->alignment->observation[observation_idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, observation_idx);
    const char *meaning = sm_schedule__meaning(s, observation);
    const char *reason = sm_schedule__unrepaired_reason(s, observation_idx);
    sm_text_addf(text, "%s: ", observation->id);
    sm_schedule__add_length(text, s, observation->distance_m);
    sm_text_add(text, " \u00b1 ");
    sm_schedule__add_error(text, s, observation->error_m);
    sm_text_add(text, ", ");
    sm_schedule__add_code(text, observation);
    sm_text_addf(text, "%s%s, %s", *meaning ? " " : "", meaning, sm_treatment_name(observation->treatment));
    if (repair) {
        sm_text_addf(text, ", %s", repair->id);
    } else if (reason) {
        sm_text_addf(text, ", not repaired: %s", reason);
    }
    if (sm_schedule__is_flagged(observation)) {
        sm_text_add(text, "; ");
        sm_schedule__add_flag_words(text, observation->flags, ", ");
    }
}

static void add_label_line(const struct strip *strip, struct label *label, const struct sm_text *text)
{
    struct sm_type type = {strip->em, label->n_lines == 0, SM_ANCHOR_MIDDLE, SM_INK_LINE};
    char *line = label->line[label->n_lines++];
    sm_strcopy(line, sizeof label->line[0], sm_text_str(text));
    label->width = fmax(label->width, strip->pen->text_width(strip->pen, type, line));
}

static void add_length_line(const struct strip *strip, struct label *label, double length_m)
{
    struct sm_text text = {0};
    sm_schedule__add_cell_length(&text, strip->s, length_m);
    add_label_line(strip, label, &text);
    sm_schedule__drop(&text, strip->has_failed);
}

static struct label stop_label(const struct strip *strip, size_t idx)
{
    const struct sm_repair *repair = &strip->s->plan->repair[idx];
    double stop_m = sm_schedule__repair_stop_m(repair);
    struct label label = {.at_x = x_at(strip, stop_m), .rank = 9, .idx = idx};
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s", repair->id, sm_schedule__repair_is_doubtful(strip->s, repair) ? " ?" : "");
    add_label_line(strip, &label, &text);
    sm_schedule__drop(&text, strip->has_failed);
    add_length_line(strip, &label, stop_m);
    return label;
}

static int rank_of(const struct sm_observation *observation)
{
    static const int ranks[] = {[SM_TREATMENT_NONE] = 0,
                                [SM_TREATMENT_LINE] = 3,
                                [SM_TREATMENT_PREPARE] = 3,
                                [SM_TREATMENT_REFER] = 3,
                                [SM_TREATMENT_CLEAR] = 2};
    return ranks[observation->treatment] + (sm_schedule__is_doubtful(observation) ? 1 : 0);
}

static struct label name_label(const struct strip *strip, size_t idx)
{
    const struct sm_observation *observation = &strip->s->alignment->observation[idx];
    struct label label = {
        .at_x = x_at(strip, observation->distance_m), .rank = rank_of(observation), .idx = idx};
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s", observation->id, sm_schedule__is_doubtful(observation) ? " ?" : "");
    add_label_line(strip, &label, &text);
    sm_schedule__clear(&text, strip->has_failed);
    if (!strip->opts->is_work_only) {
        sm_text_add(&text, observation->code ? observation->code : "");
        if (text.length > 8) {
            sm_schedule__clear(&text, strip->has_failed);
            sm_text_add(&text, "\u2026");
        }
        add_label_line(strip, &label, &text);
    }
    sm_schedule__drop(&text, strip->has_failed);
    add_length_line(strip, &label, observation->distance_m);
    return label;
}

/* Nodes are the ends of the drawing already. */
static bool is_drawn(const struct strip *strip, const struct sm_observation *observation)
{
    bool is_idle = observation->treatment == SM_TREATMENT_NONE && !sm_schedule__is_doubtful(observation);
    return isfinite(observation->distance_m) && !observation->is_node &&
           !(is_idle && strip->opts->is_work_only);
}

/* ---- placing labels ---- */

static void collect_labels(struct strip *strip)
{
    const struct sm_schedule *s = strip->s;
    strip->stops.n = strip->names.n = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        if (holds_centre(strip, sm_schedule__repair_stop_m(&s->plan->repair[i]))) {
            strip->stops.item[strip->stops.n++] = stop_label(strip, i);
        }
    }
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        if (is_drawn(strip, observation) && holds_centre(strip, observation->distance_m)) {
            strip->names.item[strip->names.n++] = name_label(strip, i);
        }
    }
}

static double widths(const struct labels *labels, double gap)
{
    double total = 0;
    for (size_t i = 0; i < labels->n; i++) {
        total += labels->item[i].is_dropped ? 0 : labels->item[i].width + gap;
    }
    return total;
}

/* Leave out the least important labels until the rest fits; among equals the last. @return how many were left
 * out. */
static size_t drop_labels(struct labels *labels, double gap, double room)
{
    size_t n_dropped = 0;
    while (widths(labels, gap) > room) {
        struct label *least = NULL;
        for (size_t i = 0; i < labels->n; i++) {
            struct label *label = &labels->item[i];
            if (!label->is_dropped && (!least || label->rank <= least->rank)) {
                least = label;
            }
        }
        if (!least) {
            break;
        }
        least->is_dropped = true;
        n_dropped++;
    }
    return n_dropped;
}

static void sort_labels(struct labels *labels)
{
    for (size_t i = 1; i < labels->n; i++) { /* few, and nearly in order: insertion keeps equals in place */
        struct label moved = labels->item[i];
        size_t k = i;
        for (; k > 0 && labels->item[k - 1].at_x > moved.at_x; k--) {
            labels->item[k] = labels->item[k - 1];
        }
        labels->item[k] = moved;
    }
}

/*
 * Side by side without overlap, each as near to its place as its neighbours let it: with the widths before it
 * taken off, the places must not fall, and the nearest such places in the sense of least squares are means of
 * blocks (pool adjacent violators: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order
 * Restrictions, 1972).
 */
static void spread_labels(struct labels *labels, double gap, double low, double high, bool *has_failed)
{
    double offset = 0;
    size_t n_blocks = 0;
    struct block {
        double sum;
        size_t n;
    } *block = sm_calloc(labels->n ? labels->n : 1, sizeof *block);
    if (!block) {
        *has_failed = true;
        return;
    }
    for (size_t i = 0; i < labels->n; i++) {
        struct label *label = &labels->item[i];
        if (label->is_dropped) {
            continue;
        }
        block[n_blocks++] = (struct block){label->at_x - label->width / 2 - offset, 1};
        offset += label->width + gap;
        while (n_blocks > 1 && block[n_blocks - 2].sum / (double)block[n_blocks - 2].n >=
                                   block[n_blocks - 1].sum / (double)block[n_blocks - 1].n) {
            block[n_blocks - 2].sum += block[n_blocks - 1].sum;
            block[n_blocks - 2].n += block[n_blocks - 1].n;
            n_blocks--;
        }
    }
    double last = high - (offset - gap);
    size_t i_block = 0, used = 0;
    offset = 0;
    for (size_t i = 0; i < labels->n; i++) {
        struct label *label = &labels->item[i];
        if (label->is_dropped) {
            continue;
        }
        double mean = block[i_block].sum / (double)block[i_block].n;
        label->x = fmax(fmin(mean, last), low) + offset;
        offset += label->width + gap;
        if (++used == block[i_block].n) {
            used = 0;
            i_block++;
        }
    }
    sm_free(block);
}

static void place_labels(struct strip *strip, struct labels *labels)
{
    double gap = GAP_BETWEEN_LABELS * strip->em;
    sort_labels(labels);
    strip->n_unnamed += drop_labels(labels, gap, strip->opts->width);
    spread_labels(labels, gap, 0, strip->opts->width, strip->has_failed);
}

/* ---- how many rows ---- */

static double shortest_liner_m(const struct sm_plan *plan)
{
    double shortest_m = HUGE_VAL;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        shortest_m = fmin(shortest_m, sm_schedule__um_to_m(plan->repair[i].length_um));
    }
    return shortest_m;
}

static bool rows_suffice(struct strip *strip, int n_rows)
{
    double gap = GAP_BETWEEN_LABELS * strip->em;
    double px_per_m = (strip->x1 - strip->x0) * n_rows / strip->length_m;
    if (shortest_liner_m(strip->s->plan) * px_per_m < (strip->opts->is_work_only ? 0.8 : 1.1) * strip->em) {
        return false;
    }
    for (int row = 0; row < n_rows; row++) {
        set_row(strip, row, n_rows);
        collect_labels(strip);
        if (widths(&strip->stops, gap) > strip->opts->width ||
            widths(&strip->names, gap) > strip->opts->width) {
            return false;
        }
    }
    return true;
}

/* The fewest rows on which liners are wide enough and names fit; for very many, a few more than the fewest.
 */
static int choose_rows(struct strip *strip)
{
    int n_rows = 1;
    while (n_rows < strip->opts->max_rows && !rows_suffice(strip, n_rows)) {
        n_rows += 1 + n_rows / 8;
    }
    return n_rows < strip->opts->max_rows ? n_rows : strip->opts->max_rows;
}

/* ---- marks ---- */

/* What was seen, by what is done about it. */
static void draw_mark(const struct strip *strip, struct sm_point c, enum sm_treatment treatment,
                      bool is_left_over)
{
    struct sm_pen *pen = strip->pen;
    double r = 0.52 * strip->em;
    struct sm_stroke edge = stroke_of(strip, SM_INK_DEFECT, 1.4);
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
        pen->circle(pen, c, 0.42 * r, SM_INK_PAPER, stroke_of(strip, SM_INK_SOFT, 1.2));
    }
    if (is_left_over && treatment != SM_TREATMENT_REFER) { /* referred says it already */
        struct sm_stroke cross = stroke_of(strip, SM_INK_LINE, 1.8);
        sm_schedule__line(pen, c.x - 1.3 * r, c.y - 1.3 * r, c.x + 1.3 * r, c.y + 1.3 * r, cross);
        sm_schedule__line(pen, c.x - 1.3 * r, c.y + 1.3 * r, c.x + 1.3 * r, c.y - 1.3 * r, cross);
    }
}

static void draw_liner(const struct strip *strip, double x1, double x2, int slope)
{
    const struct lanes *lanes = &strip->lanes;
    double band = 0.55 * strip->em;
    struct sm_stroke edge = stroke_of(strip, SM_INK_LINER, 1.3), line = stroke_of(strip, SM_INK_LINER, 1.0);
    const double tops[] = {strip->y + lanes->wall_top, strip->y + lanes->wall_bottom - band};
    for (int i = 0; i < 2; i++) {
        struct sm_rect rect = {x1, tops[i], x2 - x1, band};
        sm_schedule__hatch(strip->pen, rect, 0.3 * strip->em, slope, line);
        sm_schedule__rect(strip->pen, rect, SM_INK_NONE, edge);
    }
}

static void draw_stop(const struct strip *strip, double x)
{
    const struct lanes *lanes = &strip->lanes;
    double r = 0.5 * strip->em, top = strip->y + lanes->wall_top;
    struct sm_stroke centre = {SM_INK_LINER, 1.1 * strip->em / 12, SM_DASH_CENTRE};
    const struct sm_point wedge[] = {{x - r, top - 1.5 * r}, {x + r, top - 1.5 * r}, {x, top}};
    sm_schedule__line(strip->pen, x, strip->y + lanes->stop_bottom, x, strip->y + lanes->wall_bottom, centre);
    strip->pen->polygon(strip->pen, wedge, 3, true, SM_INK_LINER, no_stroke);
}

static void draw_bracket(const struct strip *strip, double x1, double x2)
{
    double y = strip->y + strip->lanes.target, h = 0.28 * strip->em;
    struct sm_stroke stroke = stroke_of(strip, SM_INK_DEFECT, 1.3);
    sm_schedule__line(strip->pen, x1, y, x2, y, stroke);
    sm_schedule__line(strip->pen, x1, y - h, x1, y + h, stroke);
    sm_schedule__line(strip->pen, x2, y - h, x2, y + h, stroke);
}

static void draw_connection(const struct strip *strip, double x1, double x2, double clear1, double clear2,
                            bool is_reopened)
{
    double top = strip->y + strip->lanes.wall_top, h = 1.15 * strip->em, low = 0.35 * strip->em;
    struct sm_stroke wall = stroke_of(strip, SM_INK_LINE, 1.8), fine = stroke_of(strip, SM_INK_KEEP, 0.9);
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

/* ---- a row ---- */

static void draw_label(const struct strip *strip, const struct label *label, double top, double leader_from,
                       double leader_to)
{
    struct sm_pen *pen = strip->pen;
    double x = label->x + label->width / 2, step = leader_to - leader_from;
    const struct sm_point leader[] = {{label->at_x, leader_from},
                                      {label->at_x, leader_from + 0.2 * step},
                                      {x, leader_from + 0.8 * step},
                                      {x, leader_to}};
    struct sm_stroke stroke = stroke_of(strip, SM_INK_SOFT, 0.8);
    pen->polygon(pen, leader, 4, false, SM_INK_NONE, stroke);
    for (int i = 0; i < label->n_lines; i++) {
        struct sm_type type = {strip->em, i == 0, SM_ANCHOR_MIDDLE, SM_INK_LINE};
        pen->text(pen, (struct sm_point){x, top + (0.9 + 1.12 * i) * strip->em}, type, label->line[i]);
    }
}

static const struct label *label_of(const struct labels *labels, size_t idx)
{
    for (size_t i = 0; i < labels->n; i++) {
        if (labels->item[i].idx == idx && !labels->item[i].is_dropped) {
            return &labels->item[i];
        }
    }
    return NULL;
}

static void draw_repair(const struct strip *strip, size_t idx)
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
    draw_liner(strip, x_at(strip, start_m), x_at(strip, end_m), idx % 2 ? -1 : 1);
    const struct label *label = label_of(&strip->stops, idx);
    double stop_m = sm_schedule__repair_stop_m(repair);
    if (holds_centre(strip, stop_m)) {
        draw_stop(strip, x_at(strip, stop_m));
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

static void draw_extent(const struct strip *strip, const struct sm_observation *observation)
{
    double x1 = x_at(strip, observation->start_m), x2 = x_at(strip, observation->end_m);
    double y = strip->y + (strip->lanes.wall_top + strip->lanes.wall_bottom) / 2, h = 0.34 * strip->em;
    if (x2 - x1 < 2) {
        return;
    }
    struct sm_rect bar = {x1, y - h, x2 - x1, 2 * h};
    sm_schedule__hatch(strip->pen, bar, 0.35 * strip->em, -1, stroke_of(strip, SM_INK_DEFECT, 1.0));
    sm_schedule__rect(strip->pen, bar, SM_INK_NONE, stroke_of(strip, SM_INK_DEFECT, 1.2));
}

static void draw_observation_marks(const struct strip *strip, size_t idx)
{
    const struct sm_schedule *s = strip->s;
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_target *target = sm_schedule__target(s, idx);
    double clear1_m, clear2_m;
    if (target) {
        double x1 = x_at(strip, sm_schedule__um_to_m(target->start_um)),
               x2 = x_at(strip, sm_schedule__um_to_m(target->end_um));
        draw_bracket(strip, x1, x2);
    }
    bool is_plain_opening = observation->treatment == SM_TREATMENT_CLEAR; /* the connection says it all */
    if (!is_plain_opening) {
        draw_extent(strip, observation);
    }
    if (sm_schedule__keep_clear(s, observation, &clear1_m, &clear2_m)) {
        double keep_m = s->sheet->rules.keep_clear_m;
        draw_connection(strip, x_at(strip, clear1_m + keep_m), x_at(strip, clear2_m - keep_m),
                        x_at(strip, clear1_m), x_at(strip, clear2_m), is_reopened(s->plan, idx));
    }
    if (!is_plain_opening && holds_centre(strip, observation->distance_m)) {
        double y = strip->y + (strip->lanes.wall_top + strip->lanes.wall_bottom) / 2;
        draw_mark(strip, (struct sm_point){x_at(strip, observation->distance_m), y}, observation->treatment,
                  sm_schedule__unrepaired_reason(s, idx) != NULL);
    }
}

static void draw_observation(const struct strip *strip, size_t idx)
{
    const struct sm_observation *observation = &strip->s->alignment->observation[idx];
    bool is_here = is_on_row(strip, observation->start_m, observation->end_m) ||
                   holds_centre(strip, observation->distance_m);
    if (!is_drawn(strip, observation) || !is_here) {
        return;
    }
    struct sm_text title = {0};
    sm_schedule__add_observation_title(&title, strip->s, idx);
    strip->pen->begin_group(strip->pen, observation->id, sm_text_str(&title));
    draw_observation_marks(strip, idx);
    const struct label *label = label_of(&strip->names, idx);
    if (label) {
        draw_label(strip, label, strip->y + strip->lanes.name_top,
                   strip->y + strip->lanes.target + 0.5 * strip->em, strip->y + strip->lanes.name_top);
    }
    strip->pen->end_group(strip->pen);
    sm_schedule__drop(&title, strip->has_failed);
}

/* Shaft of an access point, or the torn edge where the row goes on. */
static void draw_end(const struct strip *strip, bool is_right)
{
    struct sm_pen *pen = strip->pen;
    bool is_shaft = is_right ? strip->row == strip->n_rows - 1 : strip->row == 0;
    double x = is_right ? strip->x1 : strip->x0, out = is_right ? 1 : -1;
    double top = strip->y + strip->lanes.wall_top, bottom = strip->y + strip->lanes.wall_bottom;
    struct sm_stroke wall = stroke_of(strip, SM_INK_LINE, 2.2);
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
    pen->polygon(pen, torn, 4, false, SM_INK_NONE, stroke_of(strip, SM_INK_LINE, 1.2));
}

static void draw_pipe(const struct strip *strip)
{
    double top = strip->y + strip->lanes.wall_top, bottom = strip->y + strip->lanes.wall_bottom;
    struct sm_stroke wall = stroke_of(strip, SM_INK_LINE, 2.2);
    sm_schedule__line(strip->pen, strip->x0, top, strip->x1, top, wall);
    sm_schedule__line(strip->pen, strip->x0, bottom, strip->x1, bottom, wall);
    draw_end(strip, false);
    draw_end(strip, true);
}

/* Shorten a name to a width. */
static void draw_fitted(const struct strip *strip, struct sm_point at, struct sm_type type, const char *text,
                        double room)
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

static void add_end_words(struct sm_text *text, const struct strip *strip, bool is_right)
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

static void draw_head(const struct strip *strip)
{
    double y = strip->y + strip->lanes.head, em = strip->em, width = strip->opts->width, x = width / 2;
    struct sm_text words = {0};
    add_end_words(&words, strip, false);
    draw_fitted(strip, (struct sm_point){0, y}, (struct sm_type){em, true, SM_ANCHOR_START, SM_INK_LINE},
                sm_text_str(&words), 0.4 * width);
    sm_schedule__clear(&words, strip->has_failed);
    add_end_words(&words, strip, true);
    draw_fitted(strip, (struct sm_point){width, y}, (struct sm_type){em, true, SM_ANCHOR_END, SM_INK_LINE},
                sm_text_str(&words), 0.4 * width);
    sm_schedule__drop(&words, strip->has_failed);
    if (strip->s->segment->flow != SM_FLOW_UNKNOWN) {
        double way = strip->s->segment->flow == SM_FLOW_FROM_TO ? 1 : -1;
        struct sm_point tail = {x - way * 2.6 * em, y + 0.35 * em}, tip = {x + way * 2.6 * em, y + 0.35 * em};
        sm_schedule__arrow(strip->pen, tail, tip, 0.8 * em, stroke_of(strip, SM_INK_LINE, 1.6));
        strip->pen->text(strip->pen, (struct sm_point){x, y - 0.1 * em},
                         (struct sm_type){em, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "flow");
    }
}

/* A step of 1, 2 or 5 times a power of ten, in the people's unit, with room for its numbers. */
static double scale_step_m(const struct strip *strip)
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

static void draw_scale(const struct strip *strip)
{
    double y = strip->y + strip->lanes.scale, em = strip->em, step_m = scale_step_m(strip);
    bool is_feet = strip->s->people_unit == SM_UNIT_FT;
    struct sm_stroke stroke = stroke_of(strip, SM_INK_SOFT, 1.0);
    struct sm_type type = {0.92 * em, false, SM_ANCHOR_MIDDLE, SM_INK_SOFT};
    sm_schedule__line(strip->pen, strip->x0, y, strip->x1, y, stroke);
    for (double k = ceil(strip->from_m / step_m - 1e-9); k * step_m <= strip->to_m + 1e-9; k++) {
        double x = x_at(strip, k * step_m);
        struct sm_text words = {0};
        sm_text_add_number(&words, is_feet ? k * step_m / SM_M_PER_FT : k * step_m, 0, 3);
        sm_text_add(&words, is_feet ? " ft" : " m");
        sm_schedule__line(strip->pen, x, y, x, y + 0.4 * em, stroke);
        strip->pen->text(strip->pen, (struct sm_point){x, y + 1.35 * em}, type, sm_text_str(&words));
        sm_schedule__drop(&words, strip->has_failed);
    }
}

static void draw_row(struct strip *strip, int row)
{
    const struct sm_schedule *s = strip->s;
    set_row(strip, row, strip->n_rows);
    collect_labels(strip);
    place_labels(strip, &strip->stops);
    place_labels(strip, &strip->names);
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
static void draw_sample(const struct strip *strip, enum legend what, double x, double y)
{
    struct strip at = *strip;
    double em = strip->em;
    at.lanes = (struct lanes){
        .stop_bottom = -1.2 * em, .wall_top = -0.4 * em, .wall_bottom = 1.0 * em, .target = 0.3 * em};
    at.y = y - 0.6 * em;
    static const enum sm_treatment treatment[N_LEGEND] = {[LEGEND_LINE] = SM_TREATMENT_LINE,
                                                          [LEGEND_PREPARE] = SM_TREATMENT_PREPARE,
                                                          [LEGEND_REFER] = SM_TREATMENT_REFER,
                                                          [LEGEND_LEFT] = SM_TREATMENT_LINE,
                                                          [LEGEND_NONE] = SM_TREATMENT_NONE};
    if (what == LEGEND_LINER) {
        at.lanes.wall_top = 0;
        draw_liner(&at, x - em, x + em, 1);
        draw_stop(&at, x);
    } else if (what == LEGEND_TARGET) {
        draw_bracket(&at, x - em, x + em);
    } else if (what == LEGEND_CLEAR) {
        at.lanes.wall_top = 0.8 * em;
        sm_schedule__line(strip->pen, x - em, y + 0.2 * em, x + em, y + 0.2 * em,
                          stroke_of(strip, SM_INK_LINE, 1.8));
        draw_connection(&at, x - 0.25 * em, x + 0.25 * em, x - 0.9 * em, x + 0.9 * em, false);
    } else if (what == LEGEND_DOUBT) {
        strip->pen->text(strip->pen, (struct sm_point){x, y},
                         (struct sm_type){em, true, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "?");
    } else {
        draw_mark(&at, (struct sm_point){x, y - 0.35 * em}, treatment[what], what == LEGEND_LEFT);
    }
}

/* @return height used. */
static double draw_legend(const struct strip *strip, double top)
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
    draw_fitted(strip, (struct sm_point){0, y}, type,
                "Lengths along the pipe are to scale, across it they are not.", strip->opts->width);
    return y + 0.6 * em - top;
}

/* ---- the whole ---- */

static struct lanes lanes_of(double em, int n_name_lines)
{
    struct lanes lanes;
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

static void make_room(struct strip *strip, double height)
{
    if (strip->opts->make_room) {
        strip->y = strip->opts->make_room(strip->opts->user, strip->y, height);
    }
}

struct sm_strip sm_schedule__strip_draw(struct sm_pen *pen, const struct sm_schedule *s,
                                        const struct sm_strip_opts *opts)
{
    struct strip strip = {.pen = pen,
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
        int n_rows = choose_rows(&strip);
        for (int row = 0; row < n_rows; row++) {
            strip.n_rows = n_rows;
            make_room(&strip, strip.lanes.bottom);
            draw_row(&strip, row);
            strip.y += strip.lanes.bottom;
        }
        if (opts->has_legend) {
            make_room(&strip, LEGEND_HEIGHT * strip.em);
            strip.y += draw_legend(&strip, strip.y);
        }
    }
    has_failed |= !strip.stops.item || !strip.names.item;
    sm_free(strip.stops.item);
    sm_free(strip.names.item);
    return (struct sm_strip){strip.y, strip.n_unnamed, has_failed};
}
