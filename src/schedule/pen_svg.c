/* The pen that writes SVG 1.1 text. Colours are attributes, so that any viewer shows them; classes let a page
 * restyle. */
#include "pen.h"
#include "schedule_internal.h"

#include <math.h>
#include <string.h>

/* Blue, orange and grey of clearly different lightness: told apart in any kind of colour blindness and on a
 * grey copier. */
static const struct {
    const char *colour, *name;
} inks[SM_N_INKS] = {
    [SM_INK_NONE] = {"none", "none"},         [SM_INK_LINE] = {"#1b2227", "line"},
    [SM_INK_SOFT] = {"#59656d", "soft"},      [SM_INK_LINER] = {"#0a4a6e", "liner"},
    [SM_INK_DEFECT] = {"#b4480a", "defect"},  [SM_INK_KEEP] = {"#59656d", "keep"},
    [SM_INK_TAPE] = {"#e8a200", "tape"},      [SM_INK_FILL] = {"#ece7dc", "fill"},
    [SM_INK_PAPER] = {"#fffefa", "paper"},    [SM_INK_SHADE_1] = {"#dbe4e9", "shade1"},
    [SM_INK_SHADE_2] = {"#a9bfcc", "shade2"}, [SM_INK_SHADE_3] = {"#6f93a9", "shade3"},
    [SM_INK_SHADE_4] = {"#0a4a6e", "shade4"},
};

const char *sm_schedule__ink_colour(enum sm_ink ink)
{
    return inks[ink].colour;
}

const char *sm_schedule__ink_class(enum sm_ink ink)
{
    return inks[ink].name;
}

static void add_number(struct sm_text *out, double value)
{
    sm_text_add_number(out, value, 0, 2);
}

static void add_attribute(struct sm_text *out, const char *name, double value)
{
    sm_text_addf(out, " %s=\"", name);
    add_number(out, value);
    sm_text_add(out, "\"");
}

static void add_paint(struct sm_text *out, enum sm_ink fill, struct sm_stroke stroke)
{
    sm_text_addf(out, " fill=\"%s\"", inks[fill].colour);
    if (stroke.ink != SM_INK_NONE) {
        sm_text_addf(out, " stroke=\"%s\"", inks[stroke.ink].colour);
        add_attribute(out, "stroke-width", stroke.width);
    }
    if (stroke.dash != SM_DASH_NONE) {
        sm_text_addf(out, " stroke-dasharray=\"%s\"", stroke.dash == SM_DASH_SHORT ? "4 3" : "9 3 2 3");
    }
    sm_text_addf(out, " class=\"f-%s s-%s\"/>\n", inks[fill].name, inks[stroke.ink].name);
}

static void svg_polygon(struct sm_pen *pen, const struct sm_point *point, size_t n, bool is_closed,
                        enum sm_ink fill, struct sm_stroke stroke)
{
    struct sm_text *out = ((struct sm_svg_pen *)pen)->out;
    sm_text_add(out, "<path d=\"");
    for (size_t i = 0; i < n; i++) {
        sm_text_add(out, i ? "L" : "M");
        add_number(out, point[i].x);
        sm_text_add(out, " ");
        add_number(out, point[i].y);
    }
    sm_text_add(out, is_closed ? "Z\"" : "\"");
    add_paint(out, fill, stroke);
}

static void svg_circle(struct sm_pen *pen, struct sm_point centre, double radius, enum sm_ink fill,
                       struct sm_stroke stroke)
{
    struct sm_text *out = ((struct sm_svg_pen *)pen)->out;
    sm_text_add(out, "<circle");
    add_attribute(out, "cx", centre.x);
    add_attribute(out, "cy", centre.y);
    add_attribute(out, "r", radius);
    add_paint(out, fill, stroke);
}

static void svg_text(struct sm_pen *pen, struct sm_point at, struct sm_type type, const char *text)
{
    static const char *const anchors[] = {"start", "middle", "end"};
    struct sm_text *out = ((struct sm_svg_pen *)pen)->out;
    sm_text_add(out, "<text");
    add_attribute(out, "x", at.x);
    add_attribute(out, "y", at.y);
    add_attribute(out, "font-size", type.size);
    sm_text_addf(out, " text-anchor=\"%s\"%s fill=\"%s\" class=\"f-%s\">", anchors[type.anchor],
                 type.is_bold ? " font-weight=\"700\"" : "", inks[type.ink].colour, inks[type.ink].name);
    sm_text_add_html(out, text);
    sm_text_add(out, "</text>\n");
}

/* A viewer's font is not known here: counted generously, so that words never run into each other. */
static double svg_text_width(struct sm_pen *pen, struct sm_type type, const char *text)
{
    (void)pen;
    double em = 0;
    for (const char *s = text; *s; s++) {
        if (((unsigned char)*s & 0xc0U) != 0x80) {
            em += strchr(" .,:;'\"!|il", *s) ? 0.36 : strchr("MW@", *s) ? 0.95 : 0.64;
        }
    }
    return em * type.size * (type.is_bold ? 1.08 : 1.0);
}

static void svg_begin_group(struct sm_pen *pen, const char *id, const char *title)
{
    struct sm_svg_pen *svg = (struct sm_svg_pen *)pen;
    svg->is_link_open = id && svg->link_prefix;
    if (svg->is_link_open) {
        sm_text_addf(svg->out, "<a class=\"item\" href=\"%s", svg->link_prefix);
        sm_text_add_html(svg->out, id);
    } else {
        sm_text_add(svg->out, "<g class=\"item\" tabindex=\"0\" role=\"img");
    }
    sm_text_add(svg->out, "\" aria-label=\"");
    sm_text_add_html(svg->out, title);
    sm_text_add(svg->out, "\"><title>");
    sm_text_add_html(svg->out, title);
    sm_text_add(svg->out, "</title>\n");
}

static void svg_end_group(struct sm_pen *pen)
{
    struct sm_svg_pen *svg = (struct sm_svg_pen *)pen;
    sm_text_add(svg->out, svg->is_link_open ? "</a>\n" : "</g>\n");
}

void sm_schedule__svg_pen_init(struct sm_svg_pen *svg, struct sm_text *out, const char *link_prefix)
{
    *svg = (struct sm_svg_pen){
        .pen = {svg_polygon, svg_circle, svg_text, svg_text_width, svg_begin_group, svg_end_group},
        .out = out,
        .link_prefix = link_prefix,
    };
}

/* ---- shapes for any pen ---- */

void sm_schedule__line(struct sm_pen *pen, double x1, double y1, double x2, double y2,
                       struct sm_stroke stroke)
{
    pen->polygon(pen, (struct sm_point[]){{x1, y1}, {x2, y2}}, 2, false, SM_INK_NONE, stroke);
}

void sm_schedule__rect(struct sm_pen *pen, struct sm_rect r, enum sm_ink fill, struct sm_stroke stroke)
{
    const struct sm_point corner[] = {
        {r.x, r.y}, {r.x + r.width, r.y}, {r.x + r.width, r.y + r.height}, {r.x, r.y + r.height}};
    pen->polygon(pen, corner, 4, true, fill, stroke);
}

/*
 * A rising line with parameter c is y = bottom - (x - c); it meets the rectangle for c from left - height to
 * right. Falling lines are the same mirrored.
 */
void sm_schedule__hatch(struct sm_pen *pen, struct sm_rect r, double spacing, int slope,
                        struct sm_stroke stroke)
{
    double first = ceil((r.x - r.height) / spacing) * spacing; /* on one grid, so that neighbours match */
    for (double c = first; c < r.x + r.width; c += spacing) {
        double x1 = fmax(c, r.x), x2 = fmin(c + r.height, r.x + r.width);
        if (x2 - x1 < 0.3) {
            continue;
        }
        double rise1 = x1 - c, rise2 = x2 - c;
        double y1 = slope > 0 ? r.y + r.height - rise1 : r.y + rise1;
        double y2 = slope > 0 ? r.y + r.height - rise2 : r.y + rise2;
        sm_schedule__line(pen, x1, y1, x2, y2, stroke);
    }
}

void sm_schedule__arrow(struct sm_pen *pen, struct sm_point a, struct sm_point b, double head,
                        struct sm_stroke stroke)
{
    double length = hypot(b.x - a.x, b.y - a.y);
    if (length <= 0) {
        return;
    }
    double ux = (b.x - a.x) / length * head, uy = (b.y - a.y) / length * head;
    const struct sm_point tip[] = {
        b, {b.x - ux - uy * 0.38, b.y - uy + ux * 0.38}, {b.x - ux + uy * 0.38, b.y - uy - ux * 0.38}};
    sm_schedule__line(pen, a.x, a.y, b.x - ux * 0.8, b.y - uy * 0.8, stroke);
    pen->polygon(pen, tip, 3, true, stroke.ink, (struct sm_stroke){SM_INK_NONE, 0, SM_DASH_NONE});
}
