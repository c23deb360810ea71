/**
 * @file obslog.h
 * The operator's log, whatever wrote it: CSV, EN 13508-2 text, ISYBAU XML, DWA-M 150 XML, told apart by content.
 *
 * Entries hold what stands in the file. A distance is along the camera's run, and a clock position is as the camera sees
 * it (12 = crown, looking the way the camera goes), for runs against the flow too: sm_obslog_mirror_clock() turns it round.
 * Every data row is an entry or a finding; nothing is dropped silently.
 */
#ifndef STOPMARK_OBSLOG_H
#define STOPMARK_OBSLOG_H

#include "stopmark/model.h"

struct sm_obslog_opts {
    const char *segment; /**< pick this segment's inspection from a file with several; NULL = the only or first */
    enum sm_unit unit;   /**< of distances without a unit; SM_UNIT_UNKNOWN = metres */
    int32_t inspection;  /**< pick the n-th inspection of the file (of the segment, when one is named), from 1; 0 = the first */
};
/**
 * Read a log file. Rows that cannot be used are findings with line and remedy; the good ones survive.
 * @param out [new] free with sm_obslog_free(). @param opts NULL = defaults.
 * @return SM_OK; SM_E_IO; SM_E_FORMAT no format recognised or broken beyond use; SM_E_RANGE too large; SM_E_NOTFOUND no such
 *         segment; SM_E_UNSUPPORTED a document type declaration in XML.
 */
enum sm_status sm_obslog_read(struct sm_obslog **out, const char *path, const struct sm_obslog_opts *opts,
                              struct sm_error *err) SM_CHECKED;
enum sm_status sm_obslog_parse(struct sm_obslog **out, const char *data, size_t n, const char *source,
                               const struct sm_obslog_opts *opts, struct sm_error *err) SM_CHECKED;
void sm_obslog_free(struct sm_obslog **log);

/** One inspection of a file, from its header. Strings belong to the list. */
struct sm_obslog_inspection {
    struct sm_segment segment;  /**< ids NULL and sizes NAN where the file does not say */
    const char *date;           /**< YYYY-MM-DD, NULL = not said */
    const char *video;          /**< path as opened, NULL = not said */
    double inspection_length_m; /**< NAN = not said */
    bool is_against_flow;
    bool has_datum;             /**< the file says where the counter was zeroed */
    enum sm_datum datum;
    uint32_t line;              /**< where it starts */
    size_t n_rows;              /**< data rows of it */
};
struct sm_obslog_list {
    struct sm_arena *arena;
    const char *format; /**< as in struct sm_obslog */
    struct sm_obslog_inspection *inspection; /**< in file order */
    size_t n_inspections;
};
/** The inspections of a file, for work on many. @param out [new] free with sm_obslog_list_free(). @return as sm_obslog_read(). */
enum sm_status sm_obslog_list(struct sm_obslog_list **out, const char *path, struct sm_error *err) SM_CHECKED;
enum sm_status sm_obslog_list_parse(struct sm_obslog_list **out, const char *data, size_t n, const char *source,
                                    struct sm_error *err) SM_CHECKED;
void sm_obslog_list_free(struct sm_obslog_list **list);

/**
 * Turn a clock position as seen from the other end: left and right change, 12 and 6 stay, and a range still runs clockwise
 * (2 to 4 becomes 8 to 10). 0 = none stays.
 */
void sm_obslog_mirror_clock(int32_t *from_h, int32_t *to_h);

#endif
