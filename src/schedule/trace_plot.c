/* The trace as a picture: time to the right, counter reading upwards, observations where they were seen. */
#include "pen.h"
#include "report.h"
#include "strip.h"

#include <math.h>

#define WIDTH 1072.0
#define HEIGHT 330.0
#define LEFT 70.0
#define BOTTOM 42.0
#define TEXT 12.5
#define LEAST_STEP 0.7 /* points nearer than this on the drawing add nothing */

struct plot {
    struct sm_pen *pen;
    struct sm_text *out;
    const struct sm_schedule *s;
    double end_s, low, high; /* axes: 0..end_s, low..high in the counter's unit */
};

static double x_at(const struct plot *plot, double time_s)
{
    return LEFT + time_s / plot->end_s * (WIDTH - LEFT - 10);
}

static double y_at(const struct plot *plot, double reading)
{
    return HEIGHT - BOTTOM - (reading - plot->low) / (plot->high - plot->low) * (HEIGHT - BOTTOM - 16);
}

static double value_of(const struct plot *plot, const struct sm_reading *reading)
{
    return sm_reading_value(reading, plot->s->trace->format.decimals);
}

static bool find_axes(struct plot *plot)
{
    const struct sm_trace *trace = plot->s->trace;
    plot->low = HUGE_VAL;
    plot->high = -HUGE_VAL;
    plot->end_s = isfinite(trace->duration_s) ? trace->duration_s : 0;
    for (size_t i = 0; i < trace->n_readings; i++) {
        if (trace->reading[i].state != SM_READING_HIDDEN) {
            double value = value_of(plot, &trace->reading[i]);
            plot->low = fmin(plot->low, value);
            plot->high = fmax(plot->high, value);
            plot->end_s = fmax(plot->end_s, trace->reading[i].time_s);
        }
    }
    plot->high = plot->high > plot->low ? plot->high : plot->low + 1;
    return isfinite(plot->low) && plot->end_s > 0;
}

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

static void draw_axes(const struct plot *plot)
{
    struct sm_pen *pen = plot->pen;
    struct sm_stroke axis = {SM_INK_LINE, 1.4, SM_DASH_NONE}, grid = {SM_INK_SOFT, 0.4, SM_DASH_NONE};
    struct sm_text words = {0};
    double step = nice_step(plot->high - plot->low, 6), step_s = nice_time_step(plot->end_s, 9);
    for (double v = ceil(plot->low / step) * step; v <= plot->high; v += step) {
        sm_schedule__line(pen, LEFT, y_at(plot, v), WIDTH - 10, y_at(plot, v), grid);
        sm_text_add_number(&words, v, 0, 3);
        pen->text(pen, (struct sm_point){LEFT - 8, y_at(plot, v) + 4},
                  (struct sm_type){TEXT, false, SM_ANCHOR_END, SM_INK_SOFT}, sm_text_str(&words));
        sm_schedule__clear(&words, &plot->out->failed);
    }
    for (double t = 0; t <= plot->end_s; t += step_s) {
        sm_schedule__line(pen, x_at(plot, t), HEIGHT - BOTTOM, x_at(plot, t), HEIGHT - BOTTOM + 5, axis);
        sm_schedule__add_time(&words, t);
        pen->text(pen, (struct sm_point){x_at(plot, t), HEIGHT - BOTTOM + 19},
                  (struct sm_type){TEXT, false, SM_ANCHOR_MIDDLE, SM_INK_SOFT}, sm_text_str(&words));
        sm_schedule__clear(&words, &plot->out->failed);
    }
    sm_schedule__line(pen, LEFT, HEIGHT - BOTTOM, WIDTH - 10, HEIGHT - BOTTOM, axis);
    sm_schedule__line(pen, LEFT, 10, LEFT, HEIGHT - BOTTOM, axis);
    pen->text(pen, (struct sm_point){WIDTH - 10, HEIGHT - 6},
              (struct sm_type){TEXT, false, SM_ANCHOR_END, SM_INK_SOFT}, "time in the video");
    sm_text_addf(&words, "counter, %s", sm_unit_name(sm_schedule__counter_unit(plot->s)));
    pen->text(pen, (struct sm_point){LEFT + 6, 18},
              (struct sm_type){TEXT, false, SM_ANCHOR_START, SM_INK_SOFT}, sm_text_str(&words));
    sm_schedule__drop(&words, &plot->out->failed);
}

/* Readings that were seen as a full line, inferred ones dashed; hidden stretches and jumps stay open. */
static void draw_line(const struct plot *plot)
{
    const struct sm_trace *trace = plot->s->trace;
    struct sm_point *point = sm_calloc(trace->n_readings + 1, sizeof *point);
    size_t n = 0;
    plot->out->failed |= !point;
    enum sm_reading_state state = SM_READING_HIDDEN;
    for (size_t i = 0; point && i <= trace->n_readings; i++) {
        const struct sm_reading *reading = i < trace->n_readings ? &trace->reading[i] : NULL;
        enum sm_reading_state now = reading ? reading->state : SM_READING_HIDDEN;
        struct sm_point at = {0, 0};
        if (now != SM_READING_HIDDEN) {
            at = (struct sm_point){x_at(plot, reading->time_s), y_at(plot, value_of(plot, reading))};
        }
        if (now != state && n > 0) {
            if (now != SM_READING_HIDDEN) {
                point[n++] = at; /* join to the stretch that follows */
            }
            struct sm_stroke stroke = {SM_INK_LINER, 2,
                                       state == SM_READING_CARRIED ? SM_DASH_SHORT : SM_DASH_NONE};
            plot->pen->polygon(plot->pen, point, n, false, SM_INK_NONE, stroke);
            n = 0;
        }
        if (now != SM_READING_HIDDEN &&
            (n == 0 || hypot(at.x - point[n - 1].x, at.y - point[n - 1].y) > LEAST_STEP)) {
            point[n++] = at;
        }
        state = now;
    }
    sm_free(point);
}

static void draw_jumps(const struct plot *plot)
{
    const struct sm_trace *trace = plot->s->trace;
    struct sm_stroke stroke = {SM_INK_DEFECT, 1.4, SM_DASH_SHORT};
    for (size_t i = 0; i < trace->n_jumps; i++) {
        double x = x_at(plot, trace->jump_time_s[i]);
        sm_schedule__line(plot->pen, x, 10, x, HEIGHT - BOTTOM, stroke);
        plot->pen->text(plot->pen, (struct sm_point){x + 4, 34},
                        (struct sm_type){TEXT, false, SM_ANCHOR_START, SM_INK_DEFECT}, "counter set");
    }
}

static void draw_observations(const struct plot *plot)
{
    const struct sm_alignment *alignment = plot->s->alignment;
    double last_x = -HUGE_VAL;
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *observation = &alignment->observation[i];
        if (!isfinite(observation->time_s) || observation->reading.state == SM_READING_HIDDEN ||
            observation->time_s < 0 || observation->time_s > plot->end_s) {
            continue;
        }
        struct sm_point at = {x_at(plot, observation->time_s),
                              y_at(plot, value_of(plot, &observation->reading))};
        struct sm_text title = {0};
        bool is_doubtful = sm_schedule__is_doubtful(observation);
        sm_schedule__add_observation_title(&title, plot->s, i);
        plot->pen->begin_group(plot->pen, observation->id, sm_text_str(&title));
        plot->pen->circle(plot->pen, at, 5, is_doubtful ? SM_INK_PAPER : SM_INK_DEFECT,
                          (struct sm_stroke){SM_INK_DEFECT, 1.6, SM_DASH_NONE});
        if (at.x - last_x > 34) { /* a name each where there is room */
            plot->pen->text(plot->pen, (struct sm_point){at.x, at.y - 10},
                            (struct sm_type){TEXT, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, observation->id);
            last_x = at.x;
        }
        plot->pen->end_group(plot->pen);
        sm_schedule__drop(&title, &plot->out->failed);
    }
}

void sm_schedule__add_trace_plot(struct sm_text *out, const struct sm_schedule *s)
{
    struct sm_svg_pen svg;
    struct plot plot = {.pen = &svg.pen, .out = out, .s = s};
    if (!s->trace || !find_axes(&plot)) {
        return;
    }
    sm_text_add(out, "<section id=\"trace\" aria-labelledby=\"h-trace\"><h2 id=\"h-trace\">Counter through "
                     "the video</h2>\n<figure>");
    sm_text_addf(out,
                 "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"group\" "
                 "aria-label=\"Counter reading "
                 "against time in the video, with the observations\" stroke-linejoin=\"round\">\n",
                 (int)WIDTH, (int)HEIGHT);
    sm_schedule__svg_pen_init(&svg, out, "#row-");
    draw_axes(&plot);
    draw_line(&plot);
    draw_jumps(&plot);
    draw_observations(&plot);
    sm_text_add(
        out, "</svg><figcaption>Full line: read off the picture. Dashed: inferred between readings. Open: "
             "not readable. "
             "Circles: observations, hollow where the place is in doubt.</figcaption></figure></section>\n");
}
