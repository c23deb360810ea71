/* strip.svg, and the same drawing as it stands inside the report. */
#include "strip.h"

#define DRAWING_WIDTH 1120.0
#define MARGIN 24.0
#define TEXT_SIZE 12.5
#define MAX_ROWS 400

static const char font[] = "font-family=\"DejaVu Sans, Verdana, Segoe UI, Helvetica, sans-serif\"";

static void add_name(struct sm_text *out, const struct sm_schedule *s)
{
    const struct sm_segment *segment = s->segment;
    sm_text_add(out, "Segment ");
    sm_text_add_html(out, segment->id ? segment->id : "");
    sm_text_add(out, " from ");
    sm_text_add_html(out, segment->from ? segment->from : "the near end");
    sm_text_add(out, " to ");
    sm_text_add_html(out, segment->to ? segment->to : "the far end");
}

void sm_schedule__add_svg(struct sm_text *out, const struct sm_schedule *s, const char *link_prefix)
{
    struct sm_text body = {0};
    struct sm_svg_pen svg;
    struct sm_strip_opts opts = {.width = DRAWING_WIDTH - 2 * MARGIN,
                                 .text_size = TEXT_SIZE,
                                 .max_rows = MAX_ROWS,
                                 .has_legend = true};
    sm_schedule__svg_pen_init(&svg, &body, link_prefix);
    struct sm_strip strip = sm_schedule__strip_draw(&svg.pen, s, &opts);
    sm_text_addf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d ", (int)DRAWING_WIDTH);
    sm_text_add_number(out, strip.height + 2 * MARGIN, 0, 2);
    sm_text_addf(out, "\" role=\"group\" %s aria-label=\"Strip drawing. ", font);
    add_name(out, s);
    sm_text_addf(out, "\">\n<rect width=\"100%%\" height=\"100%%\" fill=\"%s\" class=\"f-paper\"/>\n",
                 sm_schedule__ink_colour(SM_INK_PAPER));
    sm_text_addf(out, "<g transform=\"translate(%d %d)\" stroke-linejoin=\"round\">\n", (int)MARGIN,
                 (int)MARGIN);
    sm_text_add(out, sm_text_str(&body));
    sm_text_add(out, "</g>\n</svg>\n");
    out->failed |= strip.has_failed;
    sm_schedule__drop(&body, &out->failed);
}

enum sm_status sm_schedule_write_svg(struct sm_text *out, const struct sm_schedule *schedule,
                                     struct sm_error *err)
{
    sm_text_add(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    sm_schedule__add_svg(out, schedule, NULL);
    return sm_schedule__finish(out, err);
}
