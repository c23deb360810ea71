/*
 * Pages of the crew sheet: cairo and pango behind a few calls in points from the top left corner. Black,
 * greys only to fill: the sheet is copied, gets wet, and is read at arm's length.
 */
#ifndef STOPMARK_SCHEDULE_CREW_PAGE_H
#define STOPMARK_SCHEDULE_CREW_PAGE_H

#include <cairo.h>
#include <pango/pangocairo.h>

#include "pen.h"
#include "schedule_internal.h"
#include "still.h"

struct sm_crew {
    struct sm_pen pen; /* first: draws on the current page, moved to origin */
    const struct sm_schedule *s;
    struct sm_text *out; /* gets the document's bytes */
    cairo_surface_t *surface;
    cairo_t *cr;
    PangoFontMap *fonts;
    PangoContext *context;
    PangoLayout *layout;
    double width, height, margin; /* of the page */
    double y;                     /* first free line of the page's flow */
    int n_pages;
    bool has_failed;     /* memory ran out somewhere: the document is not handed on */
    struct sm_text head; /* words at the foot and, on a page that goes on, at the head */
};

enum sm_weight { SM_WEIGHT_PLAIN, SM_WEIGHT_BOLD };

/* What stands in a document's properties. */
struct sm_crew_names {
    const char *kind, *name; /* "Crew sheet", "T12-T13" */
    const char *date;        /* ISO, may be NULL */
    enum sm_paper paper;
    bool is_landscape;
};
/* Open a document that writes into out. s: NULL = none of a schedule's parts is drawn. */
enum sm_status sm_schedule__crew_open(struct sm_crew *crew, struct sm_text *out, const struct sm_schedule *s,
                                      const struct sm_crew_names *names, struct sm_error *err);
/* Finish the last page and the document; always releases everything. */
enum sm_status sm_schedule__crew_close(struct sm_crew *crew, struct sm_error *err);

void sm_schedule__crew_new_page(struct sm_crew *crew, const char *outline);
/* Room for height points, on a new page where this one has none left. @return true when it went to a new
 * page. */
bool sm_schedule__crew_need(struct sm_crew *crew, double height);

/* What is left of the page below the flow. */
double sm_schedule__crew_room(const struct sm_crew *crew);

double sm_schedule__crew_left(const struct sm_crew *crew);
double sm_schedule__crew_right(const struct sm_crew *crew);

/* One line at a baseline; never wider than room (0 = any): the size goes down to it, at most by half, then
 * letters are cut. */
void sm_schedule__crew_line(struct sm_crew *crew, struct sm_point at, struct sm_type type, double room,
                            const char *text);
/* Words wrapped to a width, from a top line. @return the height they take. Measured only when not drawn. */
double sm_schedule__crew_paragraph(struct sm_crew *crew, struct sm_rect at, double size,
                                   enum sm_weight weight, bool is_drawn, const char *text);
/* Words at the flow, over the whole width. */
void sm_schedule__crew_words(struct sm_crew *crew, const char *words);
/* An empty box to tick, its side on the baseline. */
void sm_schedule__crew_box(struct sm_crew *crew, double x, double baseline, double side);
/* A label and a line to write on, from x to x2. */
void sm_schedule__crew_field(struct sm_crew *crew, double x, double x2, double baseline, double size,
                             const char *label);
/* Heading of a section at the flow, with room for what follows. */
void sm_schedule__crew_heading(struct sm_crew *crew, const char *text, double room_after);
/* The JPEG fitted into a rectangle, from its top left corner. @return the rectangle it takes. */
struct sm_rect sm_schedule__crew_still(struct sm_crew *crew, struct sm_rect into, struct sm_still *still);
/* Pen origin for a drawing. */
void sm_schedule__crew_move(struct sm_crew *crew, double x, double y);
void sm_schedule__crew_move_back(struct sm_crew *crew);

/* ---- parts of the document ---- */

/* When what is to be done, and what to load, at the flow; nothing without repairs. */
void sm_schedule__crew_day(struct sm_crew *crew);
void sm_schedule__crew_load(struct sm_crew *crew);
/* What is cut and mixed for one repair, large enough to cut by, at the flow. */
void sm_schedule__crew_materials(struct sm_crew *crew, const struct sm_repair *repair);
void sm_schedule__crew_repair_page(struct sm_crew *crew, size_t repair_idx);
/* Rod, packer, liner, mark and reference edge with their lengths, in a frame of width at the pen. @return
 * height. */
double sm_schedule__crew_rod_drawing(struct sm_crew *crew, const struct sm_repair *repair, double width);
/* Face of a clock with the defect's part of the circumference, round a centre. */
void sm_schedule__crew_clock(struct sm_crew *crew, struct sm_point centre, double radius,
                             const struct sm_observation *observation);
/* The steps of the work with boxes and fields, at the flow. */
void sm_schedule__crew_checklist(struct sm_crew *crew, const struct sm_repair *repair);

#endif
