/**
 * @file asbuilt.h
 * What the crew did: the as-built file (CSV) as rows. Nothing is checked against a plan here.
 */
#ifndef STOPMARK_ASBUILT_H
#define STOPMARK_ASBUILT_H

#include "stopmark/model.h"

/**
 * Read an as-built file: `repair,date,crew,liner_length,stop,mark,test_pressure,pressure,pipe_temperature,mixed,inflated,
 * deflated,kit,lot,result,remark`, columns in any order, others kept with the remark; also `segment` and `corrects`.
 * Units may follow numbers or stand in the head; else metres, kPa, degrees C. A cell that cannot be read is a finding and
 * stands in the remark as written.
 * @param out [new] free with sm_asbuilt_free().
 * @return SM_OK; SM_E_FORMAT no such table (no header, no column `repair`, no row); SM_E_IO; SM_E_RANGE; SM_E_NOMEM.
 */
enum sm_status sm_asbuilt_read(struct sm_as_built_file **out, const char *path, struct sm_error *err) SM_CHECKED;
/** As sm_asbuilt_read() from memory. @param source [borrow] its name in messages. */
enum sm_status sm_asbuilt_parse(struct sm_as_built_file **out, const char *data, size_t n, const char *source,
                                struct sm_error *err) SM_CHECKED;
void sm_asbuilt_free(struct sm_as_built_file **file);

/**
 * Minutes of a time as it stands in a row: since 1970-01-01 where it has a day, else since midnight.
 * @param has_day [out]. @return false when it is no such time ("" too).
 */
bool sm_asbuilt_minute(const char *time, double *minute, bool *has_day);
/**
 * Minutes from one time to a later one. Where neither has a day, or only one, the shorter way round the clock forward
 * counts: 23:50 to 00:10 is 20. NAN when one is not known. Negative only when both have their day.
 */
double sm_asbuilt_minutes_between(const char *from, const char *to);

#endif
