/**
 * @file schedule.h
 * The repair schedule as documents: JSON, CSV, a table for the terminal, strip drawing, report, crew sheet.
 */
#ifndef STOPMARK_SCHEDULE_H
#define STOPMARK_SCHEDULE_H

#include "stopmark/codes.h"
#include "stopmark/model.h"

/** All that a writer needs, borrowed. */
struct sm_schedule {
    const struct sm_sheet *sheet;
    const struct sm_segment *segment; /**< merged from sheet and log */
    const struct sm_obslog *log;
    const struct sm_trace *trace;     /**< NULL = worked from the log alone */
    const struct sm_alignment *alignment;
    const struct sm_plan *plan;
    const char *const *still;         /**< per observation: path relative to the output folder, NULL = none */
    const char *out_dir;              /**< where the stills lie, for documents that embed them; NULL = nowhere */
    enum sm_unit people_unit;         /**< for what people read; SM_UNIT_UNKNOWN counts as metres */
    const struct sm_codes *codes;     /**< for the codes' meanings in words; NULL = codes only */
    enum sm_paper paper;              /**< of the crew sheet; A4 */
    const struct sm_joined *joined;   /**< with other runs of the segment; NULL = there are none */
    const struct sm_findings *video_findings; /**< what is odd about the video and its counter; NULL = nothing */
};

enum sm_status sm_schedule_write_json(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;
enum sm_status sm_schedule_write_csv(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;
/** Table for a terminal of width columns (0 = 100), with box drawing only when utf8. */
enum sm_status sm_schedule_write_table(struct sm_text *out, const struct sm_schedule *schedule, int columns, bool utf8,
                                       struct sm_error *err) SM_CHECKED;
enum sm_status sm_schedule_write_svg(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;
enum sm_status sm_schedule_write_html(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;
/** Crew sheet; PDF bytes. */
enum sm_status sm_schedule_write_pdf(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;

/* ---- pieces for other documents ---------------------------------------------------------------------------------- */

struct sm_table_column {
    const char *head;
    bool is_right; /**< numbers stand to the right */
    bool may_wrap; /**< words may be broken over lines */
};
/** A table of plain words, row by row; n_cells is a multiple of n_columns (1..12). Words of unknown origin are fine. */
struct sm_table {
    const struct sm_table_column *column;
    size_t n_columns;
    const char *const *cell;
    size_t n_cells;
};
/** As sm_schedule_write_table() prints its tables. */
enum sm_status sm_schedule_print_table(struct sm_text *out, const struct sm_table *table, int columns, bool utf8,
                                       struct sm_error *err) SM_CHECKED;

/** What a mark on a track means decides how it is drawn; no two differ in colour alone. */
enum sm_track_look {
    SM_TRACK_DEFECT, /**< a solid bar */
    SM_TRACK_DONE,   /**< an outlined bar */
    SM_TRACK_LINER,  /**< hatched one way */
    SM_TRACK_DOUBT,  /**< a liner in doubt: crossed */
    SM_TRACK_KEEP,   /**< a connection: an open ring */
    SM_TRACK_SEEN,   /**< a line */
};
struct sm_track_mark {
    double start_m, end_m;
    enum sm_track_look look;
    const char *label; /**< beside the mark where there is room, "" = none */
    const char *title; /**< for a pointer or a screen reader */
};
struct sm_track {
    const char *name;
    size_t n_marks;
    const struct sm_track_mark *mark;
};
/** A pipe drawn to scale with what is known about it on tracks below one another. */
struct sm_tracks {
    double length_m;
    const char *from, *to; /**< access points, may be NULL */
    enum sm_unit unit;
    size_t n_tracks;
    const struct sm_track *track;
};
/** As one svg element in the report's classes. */
void sm_schedule_add_tracks(struct sm_text *out, const struct sm_tracks *tracks);
/** The report's style sheet as a style element. */
void sm_schedule_add_style(struct sm_text *out);
/** A picture of a folder as an img element with its bytes in it; nothing when it is no JPEG that can be read. @return it was added. */
bool sm_schedule_add_picture(struct sm_text *out, const char *folder, const char *name, const char *alt);

/** A document on paper, as the crew sheet is made. Calls after one that failed do nothing; the close tells. */
struct sm_paper_doc;
struct sm_paper_names {
    const char *kind, *name; /**< "Audit", "town.job" */
    const char *date;        /**< ISO */
    enum sm_paper paper;
};
/** @param pdf [borrow] gets the bytes; must outlive the document. @param out [new] end with sm_paper_close(). */
enum sm_status sm_paper_open(struct sm_paper_doc **out, struct sm_text *pdf, const struct sm_paper_names *names,
                             struct sm_error *err) SM_CHECKED;
void sm_paper_title(struct sm_paper_doc *doc, const char *words);
void sm_paper_heading(struct sm_paper_doc *doc, const char *words);
void sm_paper_words(struct sm_paper_doc *doc, const char *words);
/** @param share of the page's width for each column, summing to 1. */
void sm_paper_table(struct sm_paper_doc *doc, const struct sm_table *table, const double *share);
void sm_paper_tracks(struct sm_paper_doc *doc, const struct sm_tracks *tracks);
/** Two pictures side by side with their captions; one that is NULL or cannot be read leaves its place empty. */
void sm_paper_pictures(struct sm_paper_doc *doc, const char *folder, const char *const name[2], const char *const caption[2]);
/** Finish and free. Sets NULL. */
enum sm_status sm_paper_close(struct sm_paper_doc **doc, struct sm_error *err) SM_CHECKED;

/* ---- the trace by itself ------------------------------------------------------------------------------------- */

/**
 * A trace as a picture for people: reading against time with standstills, runs back, jumps and what was not read, and how sure
 * it is as shade; readable without colour.
 * @param trace readings in rising time; may have none. @param name of the recording, for the title.
 */
enum sm_status sm_schedule_write_trace_svg(struct sm_text *out, const struct sm_trace *trace, const char *name,
                                           struct sm_error *err) SM_CHECKED;
/** The same as one page of PDF, on its side. */
enum sm_status sm_schedule_write_trace_pdf(struct sm_text *out, const struct sm_trace *trace, const char *name,
                                           enum sm_paper paper, struct sm_error *err) SM_CHECKED;
/* ---- two schedules side by side ---- */

/** A schedule.json read back, as far as it takes to compare. Free with sm_schedule_file_free(). */
struct sm_schedule_file;
/**
 * Read a schedule.json.
 * @param out [new]. @return SM_OK; SM_E_FORMAT no schedule, with line or key; what sm_file_read() returns.
 */
enum sm_status sm_schedule_file_read(struct sm_schedule_file **out, const char *path,
                                     struct sm_error *err) SM_CHECKED;
void sm_schedule_file_free(struct sm_schedule_file **file);
/** What differs in segment, access and rules, then as sm_plan_compare(). Lines end with '\n'. */
enum sm_status sm_schedule_file_compare(struct sm_text *text, const struct sm_schedule_file *before,
                                        const struct sm_schedule_file *after, struct sm_error *err) SM_CHECKED;
/** The same as JSON, schema stopmark.comparison/1. */
enum sm_status sm_schedule_file_write_comparison(struct sm_text *text, const struct sm_schedule_file *before,
                                                 const struct sm_schedule_file *after, struct sm_error *err) SM_CHECKED;

/** A place in a picture and what to say about it. */
struct sm_picture_mark {
    struct sm_box box;
    const char *words;
    bool is_chosen; /**< drawn full; others dashed */
};
/**
 * A picture with numbered boxes drawn in and the list of what they are below it, as PNG.
 * @param title one line above the list. @param mark n_marks of them, 0..9.
 */
enum sm_status sm_schedule_write_marked_picture(struct sm_text *png, const struct sm_image *image,
                                                const struct sm_picture_mark *mark, size_t n_marks, const char *title,
                                                struct sm_error *err) SM_CHECKED;

/* ---- what to load for several segments ------------------------------------------------------------------------ */

/** A sum that schedules are added to. */
struct sm_load;
/** @param out [new] free with sm_schedule_load_free(). */
enum sm_status sm_schedule_load_new(struct sm_load **out, struct sm_error *err) SM_CHECKED;
void sm_schedule_load_free(struct sm_load **load);
/** Liners by kit and pipe size, mat and resin. Nothing of schedule is kept. After a failure the sum is of no use: free it. */
enum sm_status sm_schedule_load_add(struct sm_load *load, const struct sm_schedule *schedule, struct sm_error *err) SM_CHECKED;
/**
 * As text in the crew's unit, or as JSON (stopmark.load/1). Spares: of each pipe size as many as the segment that asks for
 * most, of the longest liner (common practice, no source). What memory did not suffice for sets out->failed.
 */
void sm_schedule_load_write(struct sm_text *out, const struct sm_load *load);
void sm_schedule_load_write_json(struct sm_text *out, const struct sm_load *load);

#endif
