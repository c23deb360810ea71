/**
 * @file obslog.h
 * The operator's log, whatever wrote it: CSV, EN 13508-2 text, ISYBAU XML, DWA-M 150 XML, told apart by
 * content.
 *
 * Entries hold what stands in the file. A distance is along the camera's run, and a clock position is as the
 * camera sees it (12 = crown, looking the way the camera goes), for runs against the flow too:
 * sm_obslog_mirror_clock() turns it round. Every data row is an entry or a finding; nothing is dropped
 * silently.
 */
#ifndef STOPMARK_OBSLOG_H
#define STOPMARK_OBSLOG_H

#include "stopmark/model.h"

struct sm_obslog_opts {
    const char
        *segment; /**< pick this segment's inspection from a file with several; NULL = the only or first */
    enum sm_unit unit;  /**< of distances without a unit; SM_UNIT_UNKNOWN = metres */
    int32_t inspection; /**< pick the n-th inspection of the file (of the segment, when one is named), from 1;
                           0 = the first */
};
/**
 * Read a log file. Rows that cannot be used are findings with line and remedy; the good ones survive.
 * @param out [new] free with sm_obslog_free(). @param opts NULL = defaults.
 * @return SM_OK; SM_E_IO; SM_E_FORMAT no format recognised or broken beyond use; SM_E_RANGE too large;
 * SM_E_NOTFOUND no such segment; SM_E_UNSUPPORTED a document type declaration in XML.
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
    bool has_datum; /**< the file says where the counter was zeroed */
    enum sm_datum datum;
    uint32_t line; /**< where it starts */
    size_t n_rows; /**< data rows of it */
};
struct sm_obslog_list {
    struct sm_arena *arena;
    const char *format;                      /**< as in struct sm_obslog */
    struct sm_obslog_inspection *inspection; /**< in file order */
    size_t n_inspections;
};
/** The inspections of a file, for work on many. @param out [new] free with sm_obslog_list_free(). @return as
 * sm_obslog_read(). */
enum sm_status sm_obslog_list(struct sm_obslog_list **out, const char *path, struct sm_error *err) SM_CHECKED;
enum sm_status sm_obslog_list_parse(struct sm_obslog_list **out, const char *data, size_t n,
                                    const char *source, struct sm_error *err) SM_CHECKED;
void sm_obslog_list_free(struct sm_obslog_list **list);

/**
 * A file with all its inspections, read once: for work on many of them, which sm_obslog_read() would read it for again
 * each time. Nothing of it changes.
 */
struct sm_obslog_file;
/** @param unit of distances without one; SM_UNIT_UNKNOWN = metres. @param out [new] free with sm_obslog_file_free().
 * @return as sm_obslog_read(), but what is missing is told by the two below. @cost linear in the file. */
enum sm_status sm_obslog_file_read(struct sm_obslog_file **out, const char *path, enum sm_unit unit,
                                   struct sm_error *err) SM_CHECKED;
enum sm_status sm_obslog_file_parse(struct sm_obslog_file **out, const char *data, size_t n, const char *source,
                                    enum sm_unit unit, struct sm_error *err) SM_CHECKED;
void sm_obslog_file_free(struct sm_obslog_file **file);
/** One inspection as a log of its own, what sm_obslog_read() gives. @param opts NULL = defaults; its unit says nothing here.
 * @cost linear in that inspection, and in the number of inspections where a segment is named. */
enum sm_status sm_obslog_file_pick(struct sm_obslog **out, const struct sm_obslog_file *file,
                                   const struct sm_obslog_opts *opts, struct sm_error *err) SM_CHECKED;
/** What sm_obslog_list() gives. */
enum sm_status sm_obslog_file_list(struct sm_obslog_list **out, const struct sm_obslog_file *file,
                                   struct sm_error *err) SM_CHECKED;

/** The format that the first bytes of a file speak of: "csv", "en13508", "isybau", "m150"; NULL = none. The rest may still
 * be broken. */
const char *sm_obslog_guess_format(const char *data, size_t n);

/**
 * Turn a clock position as seen from the other end: left and right change, 12 and 6 stay, and a range still
 * runs clockwise (2 to 4 becomes 8 to 10). 0 = none stays.
 */
void sm_obslog_mirror_clock(int32_t *from_h, int32_t *to_h);

/** A code and the characterisations written behind it. */
struct sm_obslog_code {
    char code[64], ch1[16], ch2[16]; /**< code in upper case */
};
/** "BABBA", "BAB B A", "BAB.B", "BCDXP" into their parts; what is no such thing stays whole. @return false when cut. */
bool sm_obslog_split_code(struct sm_obslog_code *out, const char *text);

/* ---- out again
 * --------------------------------------------------------------------------------------------- */

/** A place in time: what the log's clock said, and where that is in the video. */
struct sm_obslog_offset {
    double log_time_s, video_time_s;
};
struct sm_obslog_write_opts {
    const char *date;      /**< YYYY-MM-DD, where the log has none; needed by ISYBAU */
    double fps;            /**< frames a second of timecodes and film, whole and 1..240; 0 = 25 */
    double video_length_s; /**< of the film, 0 = up to the last entry */
    const struct sm_obslog_offset *offset; /**< how the log's times lie in the film, rising; ISYBAU only */
    size_t n_offsets;
};
/**
 * Write a log as an EN 13508-2 text file (edition 2003+A1:2011, UTF-8, separator ';'). Distances to the
 * millimetre, times to the second. Reading it again gives the same log, as far as the format can hold it: no
 * diameters apart from BCA's first quantification, no groups, no line breaks in remarks.
 * @param out text is added. @param findings [inout] entries that the format cannot hold are left out and told
 * here; NULL = such an entry is an error.
 * @return SM_OK; SM_E_RANGE an entry cannot be written; SM_E_NOMEM.
 */
enum sm_status sm_obslog_write_en13508(struct sm_text *out, const struct sm_obslog *log,
                                       struct sm_findings *findings, struct sm_error *err) SM_CHECKED;
/**
 * Write a log as ISYBAU XML, format version 2013-02, valid against its schema. Distances to the centimetre,
 * below 1000 m; times to the frame. @param opts NULL = defaults. @param findings as above; also texts that
 * had to be cut.
 * @return SM_OK; SM_E_NOTFOUND no date; SM_E_RANGE; SM_E_NOMEM.
 */
enum sm_status sm_obslog_write_isybau(struct sm_text *out, const struct sm_obslog *log,
                                      const struct sm_obslog_write_opts *opts, struct sm_findings *findings,
                                      struct sm_error *err) SM_CHECKED;

#endif
