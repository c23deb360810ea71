/* A pipe to scale with tracks of marks below it: one row, whatever its length, since the table beside it has the numbers. */
#include <math.h>

#include "report.h"
#include "still.h"
#include "tracks.h"

#define NAME_WIDTH 90.0
#define RIGHT_PAD 14.0
#define TRACK_HEIGHT 19.0
#define BAR_HEIGHT 9.0
#define AXIS_HEIGHT 30.0
#define LEAST_WIDTH 2.5 /* of a mark, so that a point is seen */
#define TEXT 8.0

static const struct sm_stroke thin = {SM_INK_LINE, 0.7, SM_DASH_NONE};
static const struct sm_stroke soft = {SM_INK_SOFT, 0.6, SM_DASH_NONE};
static const struct sm_stroke none = {SM_INK_NONE, 0, SM_DASH_NONE};

struct drawing {
    struct sm_pen *pen;
    const struct sm_tracks *t;
    double width, scale; /* points a metre */
};

static double at(const struct drawing *d, double place_m)
{
    double inside_m = fmax(0, fmin(d->t->length_m, place_m));
    return NAME_WIDTH + inside_m * d->scale;
}

static void add_value(struct sm_text *text, double length_m, enum sm_unit unit)
{
    double value = unit == SM_UNIT_FT ? length_m / SM_M_PER_FT : length_m;
    sm_text_add_number(text, value, 0, 1);
}

/* A round step in the people's unit that leaves room for its numbers. */
static double tick_step_m(const struct drawing *d)
{
    static const double steps[] = {0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000};
    double unit_m = d->t->unit == SM_UNIT_FT ? SM_M_PER_FT : 1;
    size_t i = 0;
    while (i + 1 < sizeof steps / sizeof *steps && steps[i] * unit_m * d->scale < 34) {
        i++;
    }
    return steps[i] * unit_m;
}

static void draw_axis(const struct drawing *d, double y)
{
    double step_m = tick_step_m(d);
    struct sm_text words = {0};
    struct sm_type type = {TEXT - 1, false, SM_ANCHOR_MIDDLE, SM_INK_SOFT};
    sm_schedule__line(d->pen, at(d, 0), y, at(d, d->t->length_m), y, thin);
    for (int i = 0; i * step_m <= d->t->length_m + 1e-9 && i < 1000; i++) {
        double x = at(d, i * step_m);
        sm_schedule__line(d->pen, x, y, x, y + 3, thin);
        sm_text_clear(&words);
        add_value(&words, i * step_m, d->t->unit);
        d->pen->text(d->pen, (struct sm_point){x, y + 11}, type, sm_text_str(&words));
    }
    sm_text_release(&words);
    type.anchor = SM_ANCHOR_START;
    d->pen->text(d->pen, (struct sm_point){0, y + 11}, type, d->t->unit == SM_UNIT_FT ? "feet" : "metres");
    type = (struct sm_type){TEXT, true, SM_ANCHOR_START, SM_INK_LINE};
    if (d->t->from) {
        d->pen->text(d->pen, (struct sm_point){at(d, 0), y + 21}, type, d->t->from);
    }
    type.anchor = SM_ANCHOR_END;
    if (d->t->to) {
        d->pen->text(d->pen, (struct sm_point){at(d, d->t->length_m), y + 21}, type, d->t->to);
    }
}

static struct sm_rect bar_of(const struct drawing *d, const struct sm_track_mark *mark, double y)
{
    double x = at(d, mark->start_m);
    double width = at(d, mark->end_m) - x;
    if (width < LEAST_WIDTH) {
        x -= (LEAST_WIDTH - width) / 2;
        width = LEAST_WIDTH;
    }
    return (struct sm_rect){x, y, width, BAR_HEIGHT};
}

static void draw_shape(const struct drawing *d, const struct sm_track_mark *mark, struct sm_rect r)
{
    struct sm_stroke liner = {SM_INK_LINER, 0.9, SM_DASH_NONE};
    struct sm_stroke fine = {SM_INK_LINER, 0.6, SM_DASH_NONE};
    switch (mark->look) {
    case SM_TRACK_DEFECT:
        sm_schedule__rect(d->pen, r, SM_INK_DEFECT, none);
        break;
    case SM_TRACK_DONE:
        sm_schedule__rect(d->pen, r, SM_INK_PAPER, (struct sm_stroke){SM_INK_DEFECT, 0.9, SM_DASH_NONE});
        break;
    case SM_TRACK_LINER:
    case SM_TRACK_DOUBT:
        sm_schedule__rect(d->pen, r, SM_INK_PAPER, liner);
        sm_schedule__hatch(d->pen, r, 4, 1, fine);
        if (mark->look == SM_TRACK_DOUBT) {
            sm_schedule__hatch(d->pen, r, 4, -1, fine);
        }
        break;
    case SM_TRACK_KEEP:
        d->pen->circle(d->pen, (struct sm_point){r.x + r.width / 2, r.y + r.height / 2}, 3.2, SM_INK_PAPER, thin);
        break;
    case SM_TRACK_SEEN:
        sm_schedule__line(d->pen, r.x, r.y + r.height / 2, r.x + r.width, r.y + r.height / 2,
                          (struct sm_stroke){SM_INK_LINE, 2, SM_DASH_NONE});
        break;
    }
}

/* Labels stand behind their mark where nothing is in the way. */
static void draw_track(const struct drawing *d, const struct sm_track *track, double y)
{
    struct sm_type type = {TEXT, false, SM_ANCHOR_START, SM_INK_LINE};
    d->pen->text(d->pen, (struct sm_point){0, y + 8}, (struct sm_type){TEXT, true, SM_ANCHOR_START, SM_INK_LINE}, track->name);
    sm_schedule__line(d->pen, at(d, 0), y + BAR_HEIGHT / 2, at(d, d->t->length_m), y + BAR_HEIGHT / 2, soft);
    for (size_t i = 0; i < track->n_marks; i++) {
        const struct sm_track_mark *mark = &track->mark[i];
        struct sm_rect r = bar_of(d, mark, y);
        double next = i + 1 < track->n_marks ? bar_of(d, &track->mark[i + 1], y).x : d->width;
        d->pen->begin_group(d->pen, NULL, mark->title);
        draw_shape(d, mark, r);
        double width = *mark->label ? d->pen->text_width(d->pen, type, mark->label) : 0;
        if (*mark->label && r.x + r.width + 2 + width <= fmin(next - 1, d->width)) {
            double x = r.x + r.width + 2;
            sm_schedule__rect(d->pen, (struct sm_rect){x - 1, y, width + 2, BAR_HEIGHT}, SM_INK_PAPER, none);
            d->pen->text(d->pen, (struct sm_point){x, y + 8}, type, mark->label);
        }
        d->pen->end_group(d->pen);
    }
}

double sm_schedule__tracks_height(const struct sm_tracks *tracks)
{
    return (double)tracks->n_tracks * TRACK_HEIGHT + AXIS_HEIGHT;
}

void sm_schedule__tracks_draw(struct sm_pen *pen, const struct sm_tracks *tracks, double width)
{
    struct drawing d = {pen, tracks, width, 0};
    if (!(tracks->length_m > 0)) {
        return;
    }
    d.scale = (width - NAME_WIDTH - RIGHT_PAD) / tracks->length_m;
    for (size_t i = 0; i < tracks->n_tracks; i++) {
        draw_track(&d, &tracks->track[i], (double)i * TRACK_HEIGHT + 2);
    }
    draw_axis(&d, (double)tracks->n_tracks * TRACK_HEIGHT + 4);
}

/* ---- for pages ---- */

void sm_schedule_add_tracks(struct sm_text *out, const struct sm_tracks *tracks)
{
    enum { WIDTH = 900 };
    struct sm_svg_pen svg;
    sm_schedule__svg_pen_init(&svg, out, NULL);
    sm_text_addf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d ", WIDTH);
    sm_text_add_number(out, sm_schedule__tracks_height(tracks), 0, 1);
    sm_text_add(out, "\" font-family=\"'DejaVu Sans',Verdana,Helvetica,sans-serif\" role=\"group\">\n");
    sm_schedule__tracks_draw(&svg.pen, tracks, WIDTH);
    sm_text_add(out, "</svg>\n");
}

void sm_schedule_add_style(struct sm_text *out)
{
    sm_schedule__add_report_style(out);
}

bool sm_schedule_add_picture(struct sm_text *out, const char *folder, const char *name, const char *alt)
{
    struct sm_still still;
    bool is_read = name && sm_schedule__still_open(&still, folder, name, &out->failed);
    if (!is_read) {
        return false;
    }
    sm_text_add(out, "<img class=\"pair\" alt=\"");
    sm_text_add_html(out, alt);
    sm_text_add(out, "\" src=\"data:image/jpeg;base64,");
    sm_schedule__add_base64(out, still.data, still.n);
    sm_text_add(out, "\">");
    sm_schedule__still_release(&still);
    return true;
}
