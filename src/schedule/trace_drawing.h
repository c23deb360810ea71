/*
 * The trace as a drawing for any pen: time to the right, counter reading upwards, and two ribbons on the same
 * time axis that say what the camera does and how sure the readings are. Every mark differs from the others
 * without colour.
 */
#ifndef STOPMARK_SCHEDULE_TRACE_DRAWING_H
#define STOPMARK_SCHEDULE_TRACE_DRAWING_H

#include "pen.h"
#include "schedule_internal.h"

enum sm_motion { SM_MOTION_UNREAD, SM_MOTION_STANDING, SM_MOTION_RISING, SM_MOTION_FALLING };

/* One step of the time axis. */
struct sm_trace_column {
    enum sm_motion motion;
    double confidence; /* 0 where nothing is read */
};

struct sm_trace_drawing {
    struct sm_pen *pen;
    const struct sm_trace *trace;
    enum sm_unit unit;
    struct sm_rect plot; /* the plot's own rectangle; ribbons lie below it */
    double text_size;
    double end_s, low, high; /* axes: 0..end_s, low..high in the counter's unit */
    bool has_readings;
    size_t n_columns, n_standstills;
    struct sm_trace_column *column;
    struct sm_standstill *standstill;
    bool has_failed; /* memory ran out: the drawing is not whole */
};

/* Lay out in a rectangle that takes plot, ribbons and axis. Release afterwards, whatever it says. */
enum sm_status sm_schedule__trace_lay_out(struct sm_trace_drawing *drawing, struct sm_pen *pen,
                                          const struct sm_trace *trace, enum sm_unit unit,
                                          struct sm_rect into, double text_size,
                                          struct sm_error *err) SM_CHECKED;
void sm_schedule__trace_draw(struct sm_trace_drawing *drawing);
void sm_schedule__trace_release(struct sm_trace_drawing *drawing);

/* Where a reading stands in the plot. */
struct sm_point sm_schedule__trace_point(const struct sm_trace_drawing *drawing, double time_s, double value);

/* Whether the reading of a standstill there is written below it: no room above. */
bool sm_schedule__trace_is_label_below(const struct sm_trace_drawing *drawing, struct sm_point at);

/* What the marks mean, in one line or as many as it takes from a point on. @return height. */
double sm_schedule__trace_legend(struct sm_trace_drawing *drawing, struct sm_point at, double width);

/* "3:37, 0.00 to 20.00 m, 8 standstills, 2 runs back, 3 % not read" */
void sm_schedule__trace_add_summary(struct sm_text *out, const struct sm_trace_drawing *drawing);

#endif
