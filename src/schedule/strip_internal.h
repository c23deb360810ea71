/* What the parts of the strip share: the row being drawn, its labels, and the marks on it. */
#ifndef STOPMARK_SCHEDULE_STRIP_INTERNAL_H
#define STOPMARK_SCHEDULE_STRIP_INTERNAL_H

#include "strip.h"

#define MAX_LABEL_LINES 3

struct sm_strip_label {
    double at_x;     /* where on the pipe it points */
    double width, x; /* x = left edge once placed */
    int rank;        /* the lowest ranks go first where room is short */
    size_t idx;      /* of the repair or observation */
    bool is_dropped;
    int n_lines;
    char line[MAX_LABEL_LINES][40];
};
struct sm_strip_labels {
    struct sm_strip_label *item;
    size_t n;
};
/* Heights of the lanes of a row, from its top. */
struct sm_strip_lanes {
    double head, stop_top, stop_bottom, wall_top, wall_bottom, target, name_top, scale, bottom;
};
struct sm_strip_work {
    struct sm_pen *pen;
    const struct sm_schedule *s;
    const struct sm_strip_opts *opts;
    double em;     /* text size */
    double x0, x1; /* ends of the pipe in every row */
    double length_m;
    int n_rows, row;
    double y;            /* top of the row */
    double from_m, to_m; /* stretch of the row */
    struct sm_strip_lanes lanes;
    struct sm_strip_labels stops, names; /* of the row */
    size_t n_unnamed;
    bool *has_failed;
};

/* ---- places: strip.c ---- */

/* Of a width at the common text size. */
struct sm_stroke sm_schedule__strip_stroke(const struct sm_strip_work *strip, enum sm_ink ink, double width);
/* Where a distance lies on the row, ends of the pipe at most. */
double sm_schedule__strip_x(const struct sm_strip_work *strip, double distance_m);
/* Is a place on this row? */
bool sm_schedule__strip_holds(const struct sm_strip_work *strip, double distance_m);

/* ---- labels: strip_labels.c ---- */

/* Go to one row of several. */
void sm_schedule__strip_set_row(struct sm_strip_work *strip, int row, int n_rows);
/* Names of what stands on the row, not yet placed. */
void sm_schedule__strip_collect_labels(struct sm_strip_work *strip);
/* Side by side, the least important left out where room is short. */
void sm_schedule__strip_place_labels(struct sm_strip_work *strip, struct sm_strip_labels *labels);
/* The fewest rows on which liners are wide enough and names fit. */
int sm_schedule__strip_choose_rows(struct sm_strip_work *strip);
/* Is an observation shown at all? */
bool sm_schedule__strip_shows(const struct sm_strip_work *strip, const struct sm_observation *observation);

/* ---- marks: strip_marks.c ---- */

/* What was seen, by what is done about it. */
void sm_schedule__strip_mark(const struct sm_strip_work *strip, struct sm_point c,
                             enum sm_treatment treatment, bool is_left_over);
void sm_schedule__strip_liner(const struct sm_strip_work *strip, double x1, double x2, int slope);
void sm_schedule__strip_stop(const struct sm_strip_work *strip, double x);
void sm_schedule__strip_bracket(const struct sm_strip_work *strip, double x1, double x2);
void sm_schedule__strip_connection(const struct sm_strip_work *strip, double x1, double x2, double clear1,
                                   double clear2, bool is_reopened);
/* Words shortened to a width. */
void sm_schedule__strip_fitted(const struct sm_strip_work *strip, struct sm_point at, struct sm_type type,
                               const char *text, double room);
/* What all marks mean. @return height used. */
double sm_schedule__strip_legend(const struct sm_strip_work *strip, double top);

#endif
