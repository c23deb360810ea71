/**
 * @file obslog.h
 * The operator's log, whatever wrote it: CSV, EN 13508-2 text, ISYBAU XML, DWA-M 150 XML, told apart by content.
 */
#ifndef STOPMARK_OBSLOG_H
#define STOPMARK_OBSLOG_H

#include "stopmark/model.h"

struct sm_obslog_opts {
    const char *segment; /**< pick this segment's inspection from a file with several; NULL = the only or first */
    enum sm_unit unit;   /**< of distances without a unit; SM_UNIT_UNKNOWN = metres */
};
/**
 * Read a log file. Rows that cannot be used are findings with line and remedy; the good ones survive.
 * @param out [new] free with sm_obslog_free(). @param opts NULL = defaults.
 * @return SM_OK; SM_E_IO; SM_E_FORMAT no format recognised or broken beyond use; SM_E_RANGE too large; SM_E_NOTFOUND no such segment.
 */
enum sm_status sm_obslog_read(struct sm_obslog **out, const char *path, const struct sm_obslog_opts *opts,
                              struct sm_error *err) SM_CHECKED;
enum sm_status sm_obslog_parse(struct sm_obslog **out, const char *data, size_t n, const char *source,
                               const struct sm_obslog_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_obslog_free(struct sm_obslog **log);

#endif
