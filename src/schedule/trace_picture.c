/* A trace by itself as a picture: SVG, and one page of PDF for printing. */
#include "crew_page.h"
#include "trace_drawing.h"

#include <string.h>

#define SVG_WIDTH 1120.0
#define SVG_HEIGHT 560.0
#define SVG_TEXT 12.5
#define PDF_TEXT 9.0
#define MARGIN 24.0
#define HEAD 3.9   /* in text sizes: title and summary */
#define LEGEND 3.9 /* two lines and air */

static const char font[] = "font-family=\"DejaVu Sans, Verdana, Segoe UI, Helvetica, sans-serif\"";

/* Title, summary, drawing and legend in a rectangle. */
static enum sm_status draw(struct sm_pen *pen, const struct sm_trace *trace, const char *name,
                           struct sm_rect into, double text_size, struct sm_error *err)
{
    struct sm_trace_drawing drawing;
    struct sm_text words = {0};
    struct sm_rect body = {into.x, into.y + HEAD * text_size, into.width,
                           into.height - (HEAD + LEGEND) * text_size};
    enum sm_status status =
        sm_schedule__trace_lay_out(&drawing, pen, trace, trace->format.unit, body, text_size, err);
    if (status == SM_OK) {
        pen->text(pen, (struct sm_point){into.x, into.y + 1.2 * text_size},
                  (struct sm_type){1.35 * text_size, true, SM_ANCHOR_START, SM_INK_LINE}, name);
        sm_schedule__trace_add_summary(&words, &drawing);
        pen->text(pen, (struct sm_point){into.x, into.y + 2.8 * text_size},
                  (struct sm_type){text_size, false, SM_ANCHOR_START, SM_INK_LINE}, sm_text_str(&words));
        sm_schedule__trace_draw(&drawing);
        sm_schedule__trace_legend(&drawing,
                                  (struct sm_point){drawing.plot.x, body.y + body.height + 1.9 * text_size},
                                  drawing.plot.width);
    }
    sm_schedule__drop(&words, &drawing.has_failed);
    sm_schedule__trace_release(&drawing);
    return status == SM_OK && drawing.has_failed
               ? sm_error_set(err, SM_E_NOMEM, "no memory for the drawing of the trace")
               : status;
}

static void add_head(struct sm_text *out, const char *name)
{
    sm_text_add(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    sm_text_addf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"group\" %s ",
                 (int)SVG_WIDTH, (int)SVG_HEIGHT, font);
    sm_text_add(out, "stroke-linejoin=\"round\" aria-label=\"Counter reading against time in the video. ");
    sm_text_add_html(out, name);
    sm_text_addf(out, "\">\n<rect width=\"100%%\" height=\"100%%\" fill=\"%s\" class=\"f-paper\"/>\n",
                 sm_schedule__ink_colour(SM_INK_PAPER));
}

enum sm_status sm_schedule_write_trace_svg(struct sm_text *out, const struct sm_trace *trace,
                                           const char *name, struct sm_error *err)
{
    struct sm_svg_pen svg;
    struct sm_rect into = {MARGIN, MARGIN, SVG_WIDTH - 2 * MARGIN, SVG_HEIGHT - 2 * MARGIN};
    add_head(out, name);
    sm_schedule__svg_pen_init(&svg, out, NULL);
    enum sm_status status = draw(&svg.pen, trace, name, into, SVG_TEXT, err);
    sm_text_add(out, "</svg>\n");
    return status == SM_OK ? sm_schedule__finish(out, err) : status;
}

enum sm_status sm_schedule_write_trace_pdf(struct sm_text *out, const struct sm_trace *trace,
                                           const char *name, enum sm_paper paper, struct sm_error *err)
{
    struct sm_crew page;
    struct sm_crew_names names = {.kind = "Trace", .name = name, .paper = paper, .is_landscape = true};
    enum sm_status status = sm_schedule__crew_open(&page, out, NULL, &names, err);
    if (status != SM_OK) {
        return status;
    }
    sm_text_add(&page.head, name);
    sm_schedule__crew_new_page(&page, NULL);
    double left = sm_schedule__crew_left(&page);
    struct sm_rect into = {left, left, sm_schedule__crew_right(&page) - left, page.height - 2 * left};
    status = draw(&page.pen, trace, name, into, PDF_TEXT, err);
    enum sm_status closed = sm_schedule__crew_close(&page, status == SM_OK ? err : NULL);
    return status == SM_OK ? closed : status;
}
