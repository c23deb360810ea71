/* The strip: the whole segment to scale along the pipe, in as many rows as it needs to be read. */
#ifndef STOPMARK_SCHEDULE_STRIP_H
#define STOPMARK_SCHEDULE_STRIP_H

#include "pen.h"
#include "schedule_internal.h"

struct sm_strip_opts {
    double width;     /* of the drawing */
    double text_size; /* of the labels */
    int max_rows;
    bool has_legend;
    bool is_work_only; /* leave out observations that nothing is done about */
    /* Room for the next piece of height at y; @return where it goes, on a new page 0. NULL = there is always
     * room. */
    double (*make_room)(void *user, double y, double height);
    void *user;
};
struct sm_strip {
    double height;    /* what was drawn takes this much */
    size_t n_unnamed; /* marks drawn without their label for want of room */
    bool has_failed;  /* memory ran out: the drawing is not whole */
};
/* Draw from the pen's origin. */
struct sm_strip sm_schedule__strip_draw(struct sm_pen *pen, const struct sm_schedule *s,
                                        const struct sm_strip_opts *opts);
/* What a hover title or a screen reader says of one item. */
void sm_schedule__add_repair_title(struct sm_text *text, const struct sm_schedule *s,
                                   const struct sm_repair *repair);
void sm_schedule__add_observation_title(struct sm_text *text, const struct sm_schedule *s,
                                        size_t observation_idx);
/* The strip as one <svg> element. Items link to link_prefix + id; NULL = they only take the focus. */
void sm_schedule__add_svg(struct sm_text *out, const struct sm_schedule *s, const char *link_prefix);

#endif
