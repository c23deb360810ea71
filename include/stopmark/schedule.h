/**
 * @file schedule.h
 * The repair schedule as documents: JSON, CSV, a table for the terminal, strip drawing, report, crew sheet.
 */
#ifndef STOPMARK_SCHEDULE_H
#define STOPMARK_SCHEDULE_H

#include "stopmark/codes.h"
#include "stopmark/model.h"

enum sm_paper { SM_PAPER_A4, SM_PAPER_LETTER };

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

#endif
