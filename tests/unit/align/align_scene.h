/* A small survey to align: a camera's drive, the trace it leaves, and the rows of a log. */
#ifndef ALIGN_SCENE_H
#define ALIGN_SCENE_H

#include "sm_test.h"

#include "stopmark/align.h"
#include "stopmark/sheet.h"

#define SCENE_MOST_ROWS 64

/* A piece of the drive: even motion to a place, reached at a time. */
struct scene_leg {
    double end_s, end_m;
};
struct scene {
    struct sm_sheet *sheet;
    struct sm_codes *codes;
    struct sm_obslog log;
    struct sm_log_entry row[SCENE_MOST_ROWS];
    struct sm_trace *trace; /* NULL until scene_drive() */
    struct sm_alignment *alignment;
    double start_m; /* of the drive */
    const struct scene_leg *leg;
    size_t n_legs;
};

/* Sheet with all defaults, no trace, no rows, 43.80 m of pipe. */
void scene_start(struct scene *scene);
void scene_end(struct scene *scene);

/* Trace of a drive from 0 s and start_m, one reading each step_s, counts in the counter's unit and decimals.
 */
void scene_drive(struct scene *scene, double start_m, const struct scene_leg *leg, size_t n_legs,
                 double step_s, enum sm_unit unit, int32_t decimals);
/* What the program does between its two looks at the video: find each entry's time and read the picture
 * exactly there. */
void scene_look(struct scene *scene);
/* Readings within [start_s, end_s] become hidden. */
void scene_hide(struct scene *scene, double start_s, double end_s);

/* A row; time and distance may be NAN; the distance has two decimals. @return it, to be changed further. */
struct sm_log_entry *scene_log(struct scene *scene, double time_s, double distance_m, const char *code);
/* A row of a continuous defect. */
struct sm_log_entry *scene_log_part(struct scene *scene, double distance_m, const char *code,
                                    enum sm_continuous continuous, int32_t id);
void scene_tie(struct scene *scene, double reading, double true_m);

/* sm_align() must succeed. */
void scene_align(struct scene *scene);
const struct sm_observation *scene_observation(const struct scene *scene, size_t idx);
/* Is there a finding with these words in it? */
bool scene_says(const struct scene *scene, const char *words);

#endif
