/*
 * A table of text for a terminal: columns as wide as they need, wrapped where the screen is too narrow,
 * control characters of field data never passed on.
 */
#ifndef STOPMARK_SCHEDULE_GRID_H
#define STOPMARK_SCHEDULE_GRID_H

#include "stopmark/base.h"

#define SM_GRID_MAX_COLUMNS 12

struct sm_grid_column {
    const char *head;
    bool is_right; /* numbers stand to the right */
    bool may_wrap; /* words may be broken over lines */
};
/* Cells row by row; a note is a row of its own across all columns. Zero-initialise with columns set; release
 * when done. */
struct sm_grid {
    const struct sm_grid_column *column;
    size_t n_columns;
    struct sm_text cells; /* all cells, each followed by a NUL */
    struct sm_grid_cell {
        size_t offset;
        bool is_note;
    } * cell;
    size_t n_cells, capacity;
};

/* Next cell, in reading order. */
void sm_schedule__grid_cell(struct sm_grid *grid, const char *text);
/* A line below the row before, across the table. */
void sm_schedule__grid_note(struct sm_grid *grid, const char *text);
/* The table, at most width columns wide where its words allow; only ASCII unless utf8. */
void sm_schedule__grid_print(struct sm_text *out, struct sm_grid *grid, int width, bool utf8);
void sm_schedule__grid_release(struct sm_grid *grid);

/* Text of unknown origin made fit for a terminal: one line, no control characters, only ASCII unless utf8. */
void sm_schedule__add_plain(struct sm_text *out, const char *text, bool utf8);
/* Words wrapped to width, lines after the first indented. */
void sm_schedule__add_wrapped(struct sm_text *out, const char *text, int width, int indent, bool utf8);

#endif
