/* Laying a trace out and drawing it. What the camera does is told column by column of the drawing, so that a
 * recording of any length costs the same. */
#include "trace_drawing.h"

#include <math.h>

#include "stopmark/trace.h"

#define COLUMN_WIDTH 1.0
#define LEAST_STEP 0.7 /* points nearer than this on the drawing add nothing */
#define STANDSTILL_S 2.0
#define NEAR_S 1.5     /* readings this near each other speak for the time between */
#define RIBBON_GAP 0.5 /* in text sizes, like all below */
#define RIBBON 1.1
#define AXIS 3.3       /* ticks, times and the axis' name */
#define LEFT 5.6       /* numbers beside the plot */
#define LABEL_ROOM 3.0 /* a label needs this much beside the last */
#define MOST_JUMP_LABELS 12
#define N_SHADES 4
#define LEGEND_ROW 1.7

static const struct sm_stroke no_stroke = {SM_INK_NONE, 0, SM_DASH_NONE};

static double value_of(const struct sm_trace_drawing *d, const struct sm_reading *reading)
{
    return sm_reading_value(reading, d->trace->format.decimals);
}

struct sm_point sm_schedule__trace_point(const struct sm_trace_drawing *d, double time_s, double value)
{
    return (struct sm_point){d->plot.x + time_s / d->end_s * d->plot.width,
                             d->plot.y + d->plot.height -
                                 (value - d->low) / (d->high - d->low) * (d->plot.height - d->text_size)};
}

static double x_at(const struct sm_trace_drawing *d, double time_s)
{
    return sm_schedule__trace_point(d, time_s, d->low).x;
}

static double bottom_of(const struct sm_trace_drawing *d)
{
    return d->plot.y + d->plot.height;
}

/* ---- laying out ---- */

static void find_axes(struct sm_trace_drawing *d)
{
    const struct sm_trace *trace = d->trace;
    d->low = HUGE_VAL;
    d->high = -HUGE_VAL;
    d->end_s = isfinite(trace->duration_s) ? trace->duration_s : 0;
    for (size_t i = 0; i < trace->n_readings; i++) {
        d->end_s = fmax(d->end_s, trace->reading[i].time_s);
        if (trace->reading[i].state != SM_READING_HIDDEN) {
            d->low = fmin(d->low, value_of(d, &trace->reading[i]));
            d->high = fmax(d->high, value_of(d, &trace->reading[i]));
        }
    }
    d->has_readings = d->high >= d->low;
    d->low = d->has_readings ? d->low : 0;
    d->high = d->high > d->low ? d->high : d->low + 1;
    d->end_s = d->end_s > 0 ? d->end_s : 1;
}

static bool is_standing(const struct sm_trace_drawing *d, double time_s, size_t *next)
{
    while (*next < d->n_standstills && d->standstill[*next].end_s < time_s) {
        (*next)++;
    }
    return *next < d->n_standstills && d->standstill[*next].start_s <= time_s;
}

/* How sure a time is: that of the readings beside it where they are near, else what is left of it between
 * them. */
static double confidence_at(const struct sm_trace_drawing *d, double time_s, const struct sm_reading *now)
{
    struct sm_trace_bracket around;
    bool is_near = sm_trace_bracket_at(&around, d->trace, time_s, 0) &&
                   around.after.time_s - around.before.time_s <= NEAR_S;
    return is_near ? (double)fminf(around.before.confidence, around.after.confidence)
                   : (double)now->confidence;
}

/* Where the last digit has not turned within a column, the camera goes on as before: a slow one is none that
 * stands. */
static void fill_columns(struct sm_trace_drawing *d)
{
    double step_s = d->end_s / (double)d->n_columns;
    enum sm_motion last = SM_MOTION_RISING;
    struct sm_reading before = {.state = SM_READING_HIDDEN};
    size_t standstill = 0;
    for (size_t i = 0; i < d->n_columns; i++) {
        double time_s = ((double)i + 0.5) * step_s;
        struct sm_reading now = sm_trace_at(d->trace, time_s);
        bool is_read = now.state != SM_READING_HIDDEN;
        bool is_joined =
            is_read && before.state != SM_READING_HIDDEN &&
            sm_trace_stretch_at(d->trace, before.time_s) == sm_trace_stretch_at(d->trace, time_s);
        if (!is_joined) {
            last = SM_MOTION_RISING;
        } else if (now.counts != before.counts) {
            last = now.counts > before.counts ? SM_MOTION_RISING : SM_MOTION_FALLING;
        }
        d->column[i].confidence = is_read ? confidence_at(d, time_s, &now) : 0;
        d->column[i].motion = !is_read                              ? SM_MOTION_UNREAD
                              : is_standing(d, time_s, &standstill) ? SM_MOTION_STANDING
                                                                    : last;
        before = now;
    }
}

enum sm_status sm_schedule__trace_lay_out(struct sm_trace_drawing *d, struct sm_pen *pen,
                                          const struct sm_trace *trace, enum sm_unit unit,
                                          struct sm_rect into, double text_size, struct sm_error *err)
{
    double below = (2 * (RIBBON + RIBBON_GAP) + AXIS) * text_size;
    *d = (struct sm_trace_drawing){.pen = pen,
                                   .trace = trace,
                                   .unit = unit,
                                   .text_size = text_size,
                                   .plot = {into.x + LEFT * text_size, into.y,
                                            into.width - (LEFT + 0.8) * text_size, into.height - below}};
    find_axes(d);
    d->n_columns = (size_t)(d->plot.width / COLUMN_WIDTH);
    d->column = sm_calloc(d->n_columns, sizeof *d->column);
    if (!d->column) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the drawing of the trace");
    }
    enum sm_status status = sm_trace_standstills(&d->standstill, &d->n_standstills, trace, STANDSTILL_S, err);
    if (status == SM_OK) {
        fill_columns(d);
    }
    return status;
}

void sm_schedule__trace_release(struct sm_trace_drawing *d)
{
    sm_free(d->column);
    sm_free(d->standstill);
    d->column = NULL;
    d->standstill = NULL;
}

/* ---- axes ---- */

/* 1, 2 or 5 times a power of ten, about n steps in a range. */
static double nice_step(double range, int n)
{
    double step = pow(10, floor(log10(range / n)));
    double share = range / n / step;
    return step * (share > 5 ? 10 : share > 2 ? 5 : share > 1 ? 2 : 1);
}

static double nice_time_step(double range_s, int n)
{
    static const double steps_s[] = {1,   2,   5,   10,   15,   30,   60,    120,
                                     300, 600, 900, 1800, 3600, 7200, 14400, 36000};
    size_t i = 0;
    while (i + 1 < sizeof steps_s / sizeof steps_s[0] && steps_s[i] < range_s / n) {
        i++;
    }
    return fmax(steps_s[i], range_s / 50);
}

static void put_words(const struct sm_trace_drawing *d, double x, double y, enum sm_anchor anchor,
                      enum sm_ink ink, const char *words)
{
    d->pen->text(d->pen, (struct sm_point){x, y}, (struct sm_type){d->text_size, false, anchor, ink}, words);
}

static double words_width(const struct sm_trace_drawing *d, const char *words)
{
    return d->pen->text_width(d->pen, (struct sm_type){d->text_size, false, SM_ANCHOR_START, SM_INK_LINE},
                              words);
}

/* Words on a ground of their own, so that no grid line runs through them. */
static void put_label(const struct sm_trace_drawing *d, double x, double y, enum sm_ink ink,
                      const char *words)
{
    struct sm_type type = {d->text_size, false, SM_ANCHOR_MIDDLE, ink};
    double width = 0.9 * d->pen->text_width(d->pen, type, words);
    sm_schedule__rect(d->pen,
                      (struct sm_rect){x - width / 2, y - 0.8 * d->text_size, width, 0.9 * d->text_size},
                      SM_INK_PAPER, no_stroke);
    d->pen->text(d->pen, (struct sm_point){x, y}, type, words);
}

static void draw_scale(struct sm_trace_drawing *d)
{
    struct sm_stroke grid = {SM_INK_SHADE_2, 0.5, SM_DASH_NONE};
    struct sm_text words = {0};
    double step = nice_step(d->high - d->low, 6), right = d->plot.x + d->plot.width;
    for (double k = ceil(d->low / step - 1e-9); k * step <= d->high + 1e-9 * step; k++) {
        double y = sm_schedule__trace_point(d, 0, k * step).y;
        sm_schedule__line(d->pen, d->plot.x, y, right, y, grid);
        sm_text_add_number(&words, k * step, 0, 3);
        put_words(d, d->plot.x - 0.6 * d->text_size, y + 0.35 * d->text_size, SM_ANCHOR_END, SM_INK_SOFT,
                  sm_text_str(&words));
        sm_schedule__clear(&words, &d->has_failed);
    }
    sm_schedule__drop(&words, &d->has_failed);
}

static void name_scale(struct sm_trace_drawing *d)
{
    struct sm_text words = {0};
    sm_text_add(&words, d->unit == SM_UNIT_UNKNOWN ? "counter" : "counter, ");
    sm_text_add(&words, sm_unit_name(d->unit));
    double width = words_width(d, sm_text_str(&words));
    put_label(d, d->plot.x + 0.5 * d->text_size + width / 2, d->plot.y + 0.8 * d->text_size, SM_INK_SOFT,
              sm_text_str(&words));
    sm_schedule__drop(&words, &d->has_failed);
}

static void draw_times(struct sm_trace_drawing *d)
{
    struct sm_stroke axis = {SM_INK_LINE, 1.4, SM_DASH_NONE};
    struct sm_text words = {0};
    double step_s = nice_time_step(d->end_s, 9), right = d->plot.x + d->plot.width;
    double y = bottom_of(d) + 2 * (RIBBON + RIBBON_GAP) * d->text_size + 0.4 * d->text_size;
    sm_schedule__line(d->pen, d->plot.x, y, right, y, axis);
    for (double k = 0; k * step_s <= d->end_s; k++) {
        double x = x_at(d, k * step_s);
        sm_schedule__line(d->pen, x, y, x, y + 0.4 * d->text_size, axis);
        sm_schedule__add_time(&words, k * step_s);
        put_words(d, x, y + 1.5 * d->text_size, SM_ANCHOR_MIDDLE, SM_INK_SOFT, sm_text_str(&words));
        sm_schedule__clear(&words, &d->has_failed);
    }
    put_words(d, right, y + 2.7 * d->text_size, SM_ANCHOR_END, SM_INK_SOFT, "time in the video");
    sm_schedule__line(d->pen, d->plot.x, bottom_of(d), right, bottom_of(d), axis);
    sm_schedule__line(d->pen, d->plot.x, d->plot.y, d->plot.x, bottom_of(d), axis);
    sm_schedule__drop(&words, &d->has_failed);
}

/* ---- ribbons ---- */

static int shade_of(double confidence)
{
    return confidence >= 0.9 ? 4 : confidence >= 0.6 ? 3 : confidence >= 0.3 ? 2 : confidence > 0 ? 1 : 0;
}

static enum sm_ink ink_of_shade(int shade)
{
    static const enum sm_ink inks[N_SHADES + 1] = {SM_INK_NONE, SM_INK_SHADE_1, SM_INK_SHADE_2,
                                                   SM_INK_SHADE_3, SM_INK_SHADE_4};
    return inks[shade];
}

/* The mark of a motion within a rectangle: standing full, falling hatched, rising open, not read empty. */
static void draw_motion(const struct sm_trace_drawing *d, struct sm_rect rect, enum sm_motion motion)
{
    struct sm_stroke thin = {SM_INK_LINE, 0.7, SM_DASH_NONE};
    if (motion == SM_MOTION_STANDING) {
        sm_schedule__rect(d->pen, rect, SM_INK_SHADE_3, no_stroke);
    } else if (motion == SM_MOTION_FALLING) {
        sm_schedule__rect(d->pen, rect, SM_INK_PAPER, no_stroke);
        sm_schedule__hatch(d->pen, rect, 0.32 * d->text_size, -1,
                           (struct sm_stroke){SM_INK_DEFECT, 1.3, SM_DASH_NONE});
    } else if (motion == SM_MOTION_RISING) {
        double middle = rect.y + rect.height / 2;
        sm_schedule__line(d->pen, rect.x, middle, rect.x + rect.width, middle, thin);
    }
}

static struct sm_rect ribbon_part(const struct sm_trace_drawing *d, int ribbon, size_t first, size_t end)
{
    double width = d->plot.width / (double)d->n_columns;
    double y = bottom_of(d) + (RIBBON_GAP + ribbon * (RIBBON + RIBBON_GAP)) * d->text_size;
    return (struct sm_rect){d->plot.x + (double)first * width, y, (double)(end - first) * width,
                            RIBBON * d->text_size};
}

static void draw_motions(const struct sm_trace_drawing *d)
{
    for (size_t i = 0, end; i < d->n_columns; i = end) {
        for (end = i + 1; end < d->n_columns && d->column[end].motion == d->column[i].motion;) {
            end++;
        }
        draw_motion(d, ribbon_part(d, 0, i, end), d->column[i].motion);
    }
}

static void draw_shades(const struct sm_trace_drawing *d)
{
    for (size_t i = 0, end; i < d->n_columns; i = end) {
        int shade = shade_of(d->column[i].confidence);
        for (end = i + 1; end < d->n_columns && shade_of(d->column[end].confidence) == shade;) {
            end++;
        }
        if (shade) {
            sm_schedule__rect(d->pen, ribbon_part(d, 1, i, end), ink_of_shade(shade), no_stroke);
        }
    }
}

static void draw_ribbons(const struct sm_trace_drawing *d)
{
    static const char *const names[] = {"camera", "sure"};
    struct sm_stroke frame = {SM_INK_SOFT, 0.6, SM_DASH_NONE};
    draw_motions(d);
    draw_shades(d);
    for (int ribbon = 0; ribbon < 2; ribbon++) {
        struct sm_rect all = ribbon_part(d, ribbon, 0, d->n_columns);
        sm_schedule__rect(d->pen, all, SM_INK_NONE, frame);
        put_words(d, d->plot.x - 0.6 * d->text_size, all.y + 0.85 * d->text_size, SM_ANCHOR_END, SM_INK_SOFT,
                  names[ribbon]);
    }
}

/* ---- plot ---- */

/* Stretches without a reading as hatched bands, through the plot and down to the ribbons. */
static void draw_unread(const struct sm_trace_drawing *d)
{
    struct sm_stroke hatch = {SM_INK_SOFT, 0.5, SM_DASH_NONE};
    for (size_t i = 0, end; i < d->n_columns; i = end) {
        for (end = i + 1; end < d->n_columns && d->column[end].motion == d->column[i].motion;) {
            end++;
        }
        struct sm_rect part = ribbon_part(d, 0, i, end);
        if (d->column[i].motion != SM_MOTION_UNREAD || part.width < 2 * COLUMN_WIDTH) {
            continue;
        }
        struct sm_rect band = {part.x, d->plot.y, part.width, d->plot.height};
        sm_schedule__hatch(d->pen, band, 0.7 * d->text_size, 1, hatch);
        if (part.width > 7 * d->text_size) {
            struct sm_rect ground = {part.x + part.width / 2 - 3 * d->text_size,
                                     d->plot.y + d->plot.height / 2 - 1.1 * d->text_size, 6 * d->text_size,
                                     1.6 * d->text_size};
            sm_schedule__rect(d->pen, ground, SM_INK_PAPER, no_stroke);
            put_words(d, part.x + part.width / 2, d->plot.y + d->plot.height / 2, SM_ANCHOR_MIDDLE,
                      SM_INK_LINE, "not read");
        }
    }
}

/* How a stretch of the line is drawn. */
struct manner {
    enum sm_reading_state state;
    bool is_sure;
};

static struct sm_stroke stroke_of(struct manner manner)
{
    struct sm_stroke stroke = {SM_INK_LINER, manner.is_sure ? 2.2 : 1.1,
                               manner.state == SM_READING_CARRIED ? SM_DASH_SHORT : SM_DASH_NONE};
    return stroke;
}

static bool is_jump_between(const struct sm_trace_drawing *d, const struct sm_reading *a,
                            const struct sm_reading *b)
{
    return sm_trace_stretch_at(d->trace, a->time_s) != sm_trace_stretch_at(d->trace, b->time_s);
}

/* The line under way: points of one manner. */
struct line {
    struct sm_point *point;
    size_t n;
    struct manner manner;
};

static void end_line(const struct sm_trace_drawing *d, struct line *line)
{
    if (line->n > 1) {
        d->pen->polygon(d->pen, line->point, line->n, false, SM_INK_NONE, stroke_of(line->manner));
    } else if (line->n == 1) {
        d->pen->circle(d->pen, line->point[0], 1.2, SM_INK_LINER, no_stroke);
    }
    line->n = 0;
}

/* Readings that were seen as a full line, inferred ones dashed, unsure ones thin; hidden stretches and jumps
 * stay open. */
static void draw_line(struct sm_trace_drawing *d)
{
    const struct sm_trace *trace = d->trace;
    struct line line = {.point = sm_calloc(trace->n_readings + 1, sizeof *line.point)};
    const struct sm_reading *last = NULL;
    d->has_failed |= !line.point;
    for (size_t i = 0; line.point && i < trace->n_readings; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        if (reading->state == SM_READING_HIDDEN || (last && is_jump_between(d, last, reading))) {
            end_line(d, &line);
        }
        if (reading->state == SM_READING_HIDDEN) {
            continue;
        }
        struct manner manner = {reading->state, reading->confidence >= 0.9F};
        struct sm_point at = sm_schedule__trace_point(d, reading->time_s, value_of(d, reading));
        if (line.n && (manner.state != line.manner.state || manner.is_sure != line.manner.is_sure)) {
            line.point[line.n++] = at; /* join to the stretch that follows */
            end_line(d, &line);
        }
        line.manner = manner;
        if (line.n == 0 ||
            hypot(at.x - line.point[line.n - 1].x, at.y - line.point[line.n - 1].y) > LEAST_STEP) {
            line.point[line.n++] = at;
        }
        last = reading;
    }
    end_line(d, &line);
    sm_free(line.point);
}

static void draw_jumps(const struct sm_trace_drawing *d)
{
    struct sm_stroke stroke = {SM_INK_DEFECT, 1.4, SM_DASH_SHORT};
    double last_x = -HUGE_VAL;
    for (size_t i = 0; i < d->trace->n_jumps && i < MOST_JUMP_LABELS; i++) {
        double x = x_at(d, d->trace->jump_time_s[i]);
        sm_schedule__line(d->pen, x, d->plot.y, x, bottom_of(d), stroke);
        if (x - last_x > 7 * d->text_size) {
            bool is_left = x + 7 * d->text_size > d->plot.x + d->plot.width;
            put_words(d, x + (is_left ? -0.4 : 0.4) * d->text_size, d->plot.y + 2.2 * d->text_size,
                      is_left ? SM_ANCHOR_END : SM_ANCHOR_START, SM_INK_DEFECT, "counter set");
            last_x = x;
        }
    }
}

bool sm_schedule__trace_is_label_below(const struct sm_trace_drawing *d, struct sm_point at)
{
    return at.y < d->plot.y + 2 * d->text_size;
}

/* The reading at each standstill that has room for it: where the camera stopped to look. */
static void draw_stops(struct sm_trace_drawing *d)
{
    double free_x = d->plot.x + 0.5 * LABEL_ROOM * d->text_size;
    struct sm_text words = {0};
    for (size_t i = 0; i < d->n_standstills; i++) {
        const struct sm_standstill *stop = &d->standstill[i];
        struct sm_reading reading = {.counts = stop->counts, .state = SM_READING_READ};
        struct sm_point at =
            sm_schedule__trace_point(d, 0.5 * (stop->start_s + stop->end_s), value_of(d, &reading));
        if (at.x < free_x || at.x > d->plot.x + d->plot.width - LABEL_ROOM * d->text_size / 2) {
            continue;
        }
        bool is_low = sm_schedule__trace_is_label_below(d, at);
        sm_text_add_reading(&words, &reading, d->trace->format.decimals);
        put_label(d, at.x, at.y + (is_low ? 1.3 : -0.6) * d->text_size, SM_INK_LINE, sm_text_str(&words));
        sm_schedule__clear(&words, &d->has_failed);
        free_x = at.x + LABEL_ROOM * d->text_size;
    }
    sm_schedule__drop(&words, &d->has_failed);
}

void sm_schedule__trace_draw(struct sm_trace_drawing *d)
{
    draw_scale(d);
    draw_unread(d);
    draw_ribbons(d);
    draw_times(d);
    name_scale(d);
    draw_jumps(d);
    draw_stops(d);
    draw_line(d);
}

/* ---- words ---- */

static double add_key(struct sm_trace_drawing *d, struct sm_point *at, struct sm_point from, double width,
                      const char *words)
{
    struct sm_type type = {d->text_size, false, SM_ANCHOR_START, SM_INK_LINE};
    double needed = (2.6 + 1.6) * d->text_size + d->pen->text_width(d->pen, type, words);
    if (at->x + needed > from.x + width && at->x > from.x) {
        at->x = from.x;
        at->y += LEGEND_ROW * d->text_size;
    }
    double x = at->x;
    put_words(d, x + 2.6 * d->text_size, at->y, SM_ANCHOR_START, SM_INK_LINE, words);
    at->x += needed;
    return x;
}

double sm_schedule__trace_legend(struct sm_trace_drawing *d, struct sm_point from, double width)
{
    static const struct {
        enum sm_motion motion;
        const char *words;
    } motions[] = {{SM_MOTION_RISING, "counting up"},
                   {SM_MOTION_FALLING, "running back"},
                   {SM_MOTION_STANDING, "standing"}};
    static const struct {
        struct manner manner;
        const char *words;
    } lines[] = {{{SM_READING_READ, true}, "read"},
                 {{SM_READING_READ, false}, "read, unsure"},
                 {{SM_READING_CARRIED, true}, "inferred"}};
    static const struct {
        int shade;
        const char *words;
    } shades[] = {
        {4, "confidence 0.9 or more"}, {3, "0.6 or more"}, {2, "0.3 or more"}, {1, "less"}, {0, "not read"}};
    struct sm_point at = from;
    double swatch = 2 * d->text_size, high = RIBBON * d->text_size;
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        double x = add_key(d, &at, from, width, lines[i].words), y = at.y - 0.35 * d->text_size;
        sm_schedule__line(d->pen, x, y, x + swatch, y, stroke_of(lines[i].manner));
    }
    for (size_t i = 0; i < sizeof motions / sizeof *motions; i++) {
        double x = add_key(d, &at, from, width, motions[i].words);
        struct sm_rect rect = {x, at.y - 0.85 * d->text_size, swatch, high};
        draw_motion(d, rect, motions[i].motion);
        sm_schedule__rect(d->pen, rect, SM_INK_NONE, (struct sm_stroke){SM_INK_SOFT, 0.6, SM_DASH_NONE});
    }
    at = (struct sm_point){from.x, at.y + LEGEND_ROW * d->text_size};
    for (size_t i = 0; i < sizeof shades / sizeof *shades; i++) {
        double x = add_key(d, &at, from, width, shades[i].words);
        struct sm_rect rect = {x, at.y - 0.85 * d->text_size, swatch, high};
        sm_schedule__rect(d->pen, rect, ink_of_shade(shades[i].shade),
                          (struct sm_stroke){SM_INK_SOFT, 0.6, SM_DASH_NONE});
    }
    return at.y - from.y + LEGEND_ROW * d->text_size;
}

static size_t n_runs(const struct sm_trace_drawing *d, enum sm_motion motion)
{
    size_t n = 0;
    for (size_t i = 0; i < d->n_columns; i++) {
        n += d->column[i].motion == motion && (i == 0 || d->column[i - 1].motion != motion);
    }
    return n;
}

static void add_count(struct sm_text *out, size_t n, const char *one, const char *many)
{
    if (n) {
        sm_text_addf(out, ", %zu %s", n, n == 1 ? one : many);
    }
}

void sm_schedule__trace_add_summary(struct sm_text *out, const struct sm_trace_drawing *d)
{
    size_t n_unread = 0;
    for (size_t i = 0; i < d->n_columns; i++) {
        n_unread += d->column[i].motion == SM_MOTION_UNREAD;
    }
    sm_schedule__add_time(out, d->end_s);
    if (d->has_readings) {
        sm_text_add(out, ", ");
        sm_text_add_fixed(out, d->low, d->trace->format.decimals);
        sm_text_add(out, " to ");
        sm_text_add_fixed(out, d->high, d->trace->format.decimals);
        sm_text_addf(out, "%s%s", d->unit == SM_UNIT_UNKNOWN ? "" : " ", sm_unit_name(d->unit));
    }
    add_count(out, d->n_standstills, "standstill", "standstills");
    add_count(out, n_runs(d, SM_MOTION_FALLING), "run back", "runs back");
    if (d->trace->n_jumps) {
        sm_text_add(out, ", counter set anew ");
        sm_text_addf(out, d->trace->n_jumps > 1 ? "%zu times" : "once", d->trace->n_jumps);
    }
    if (n_unread) {
        size_t percent = (100 * n_unread + d->n_columns / 2) / d->n_columns;
        sm_text_addf(out, percent ? ", %zu %% of the time not read" : ", less than 1 %% of the time not read",
                     percent);
    }
}
