/* The trace in the report: the drawing with the observations where they were seen. */
#include "report.h"
#include "strip.h"
#include "trace_drawing.h"

#include <math.h>

#define WIDTH 1072.0
#define HEIGHT 400.0
#define TEXT 12.5
#define LABEL_ROOM 34.0

static bool is_seen(const struct sm_trace_drawing *drawing, const struct sm_observation *observation)
{
    return isfinite(observation->time_s) && observation->reading.state != SM_READING_HIDDEN &&
           observation->time_s >= 0 && observation->time_s <= drawing->end_s;
}

/* Baseline of an observation's name: beneath its circle, as the reading of a standstill stands above; above
 * that reading where the plot ends beneath; above the circle at the top, where the reading gives way. */
static double name_y(const struct sm_trace_drawing *drawing, struct sm_point at)
{
    if (sm_schedule__trace_is_label_below(drawing, at)) {
        return at.y - 10;
    }
    bool has_room = at.y + 8 + TEXT < drawing->plot.y + drawing->plot.height;
    return has_room ? at.y + 7 + TEXT * 0.8 : at.y - 9 - TEXT;
}

static void draw_observations(struct sm_trace_drawing *drawing, const struct sm_schedule *s)
{
    struct sm_pen *pen = drawing->pen;
    double last_x = -HUGE_VAL;
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        if (!is_seen(drawing, observation)) {
            continue;
        }
        double value = sm_reading_value(&observation->reading, s->trace->format.decimals);
        struct sm_point at = sm_schedule__trace_point(drawing, observation->time_s, value);
        struct sm_text title = {0};
        sm_schedule__add_observation_title(&title, s, i);
        pen->begin_group(pen, observation->id, sm_text_str(&title));
        pen->circle(pen, at, 5, sm_schedule__is_doubtful(observation) ? SM_INK_PAPER : SM_INK_DEFECT,
                    (struct sm_stroke){SM_INK_DEFECT, 1.6, SM_DASH_NONE});
        if (at.x - last_x > LABEL_ROOM) { /* a name each where there is room */
            pen->text(pen, (struct sm_point){at.x, name_y(drawing, at)},
                      (struct sm_type){TEXT, false, SM_ANCHOR_MIDDLE, SM_INK_LINE}, observation->id);
            last_x = at.x;
        }
        pen->end_group(pen);
        sm_schedule__drop(&title, &drawing->has_failed);
    }
}

static void add_figure(struct sm_text *out, struct sm_trace_drawing *drawing, const struct sm_schedule *s)
{
    struct sm_text summary = {0};
    sm_text_addf(out,
                 "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"group\" "
                 "aria-label=\"Counter reading against time in the video, with the observations\" "
                 "stroke-linejoin=\"round\">\n",
                 (int)WIDTH, (int)HEIGHT);
    sm_schedule__trace_draw(drawing);
    draw_observations(drawing, s);
    sm_text_add(out, "</svg><figcaption>");
    sm_schedule__trace_add_summary(&summary, drawing);
    sm_text_add_html(out, sm_text_str(&summary));
    sm_text_add(
        out,
        ". Full line: read off the picture. Thin: unsure. Dashed: inferred between readings. Hatched: "
        "not read. Below, the camera: a thin line counts up, grey stands, hatched runs back; the darker, "
        "the surer. Circles: observations, hollow where the place is in doubt.</figcaption>");
    sm_schedule__drop(&summary, &drawing->has_failed);
}

void sm_schedule__add_trace_plot(struct sm_text *out, const struct sm_schedule *s)
{
    struct sm_svg_pen svg;
    struct sm_trace_drawing drawing;
    if (!s->trace) {
        return;
    }
    sm_schedule__svg_pen_init(&svg, out, "#row-");
    enum sm_status status =
        sm_schedule__trace_lay_out(&drawing, &svg.pen, s->trace, sm_schedule__counter_unit(s),
                                   (struct sm_rect){0, 10, WIDTH, HEIGHT - 10}, TEXT, NULL);
    if (status == SM_OK && drawing.has_readings) {
        sm_text_add(out,
                    "<section id=\"trace\" aria-labelledby=\"h-trace\"><h2 id=\"h-trace\">Counter through "
                    "the video</h2>\n<figure>");
        add_figure(out, &drawing, s);
        sm_text_add(out, "</figure></section>\n");
    }
    sm_schedule__trace_release(&drawing);
    out->failed |= status != SM_OK || drawing.has_failed;
}
