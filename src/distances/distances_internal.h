/* What the readers of distance lists share: entries as they are found, and the text they lie in. */
#ifndef STOPMARK_DISTANCES_INTERNAL_H
#define STOPMARK_DISTANCES_INTERNAL_H

#include "stopmark/distances.h"

#define SM_DISTANCES_MOST_DECIMALS 6

/* A file being read into a list; what is added counts only once the reader is through. */
struct sm_distances__build {
    struct sm_distances *list;
    const char *source;
    double offset_s;
    size_t n_told; /* findings about entries of this source */
};

/* What reads one format. */
struct sm_distances__reader {
    const char *format;
    bool (*is_it)(const char *text);
    enum sm_status (*read)(struct sm_distances__build *build, const char *text, size_t n,
                           struct sm_error *err);
};
extern const struct sm_distances__reader sm_distances__csv, sm_distances__subrip;

/* Add an entry, its time as the file has it; one whose time runs back is passed over. */
enum sm_status sm_distances__add(struct sm_distances__build *build, const struct sm_distance *item,
                                 int32_t decimals, enum sm_unit unit, struct sm_error *err) SM_CHECKED;
/* An entry that cannot be used; the first dozen of a source are told one by one. */
enum sm_status sm_distances__pass_over(struct sm_distances__build *build, uint32_t line, struct sm_error *err,
                                       const char *fmt, ...) SM_CHECKED SM_PRINTF(4, 5);
enum sm_status sm_distances__no_memory(struct sm_error *err);

/* ---- what a list says at a time ---- */

double sm_distances__value(const struct sm_distances *list, size_t idx); /* in the list's own unit */
/* Number of entries that start at or before a time. */
size_t sm_distances__n_until(const struct sm_distances *list, double time_s);
/*
 * Least and greatest of what the list says within slack_s of a time. @return false where its entries lie too
 * far apart to say anything.
 */
bool sm_distances__range(const struct sm_distances *list, double time_s, double slack_s, double *low,
                         double *high);
/* Largest step that a camera, or a cable wound in, can make from one entry to the next, in the list's unit.
 */
bool sm_distances__is_wild(const struct sm_distances *list, size_t idx);

#endif
