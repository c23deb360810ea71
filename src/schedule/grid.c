/* Text tables for a terminal; see grid.h. Widths count characters, wide ones twice, combining ones not at
 * all. */
#include "grid.h"

#include <string.h>

#define GAP 2            /* blanks between columns */
#define LEAST_WRAPPED 10 /* a wrapped column is not made narrower */

/* ---- characters ---- */

static uint32_t code_point(const char *s, size_t n)
{
    static const unsigned char lead_mask[] = {0, 0x7f, 0x1f, 0x0f, 0x07};
    uint32_t code = (unsigned char)s[0] & lead_mask[n];
    for (size_t i = 1; i < n; i++) {
        code = code << 6 | ((unsigned char)s[i] & 0x3fU);
    }
    return code;
}

/* Controls, and what turns the reading direction or hides: not for a terminal. */
static bool is_unprintable(uint32_t code)
{
    return code < 0x20 || (code >= 0x7f && code < 0xa0) || (code >= 0x200b && code <= 0x200f) ||
           (code >= 0x2028 && code <= 0x202e) || (code >= 0x2060 && code <= 0x206f) || code == 0xfeff;
}

static int char_width(uint32_t code)
{
    if ((code >= 0x300 && code < 0x370) || (code >= 0xfe00 && code <= 0xfe0f)) {
        return 0;
    }
    bool is_wide = (code >= 0x1100 && code <= 0x115f) || (code >= 0x2e80 && code <= 0xa4cf) ||
                   (code >= 0xac00 && code <= 0xd7a3) || (code >= 0xf900 && code <= 0xfaff) ||
                   (code >= 0xff00 && code <= 0xff60) || (code >= 0x1f300 && code <= 0x1faff);
    return is_wide ? 2 : 1;
}

static int text_width(const char *s, size_t n)
{
    int width = 0;
    for (size_t i = 0; i < n;) {
        size_t length = sm_utf8_len(s + i);
        width += length ? char_width(code_point(s + i, length)) : 1;
        i += length ? length : 1;
    }
    return width;
}

static const char *ascii_of(uint32_t code)
{
    static const struct {
        uint32_t code;
        const char *ascii;
    } table[] = {{0xb0, " deg "}, {0xb1, "+/-"}, {0xb7, "-"},    {0x2013, "-"},
                 {0x2014, "-"},   {0x2019, "'"}, {0x2192, "->"}, {0x2500, "-"}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].code == code) {
            return table[i].ascii;
        }
    }
    return "?";
}

void sm_schedule__add_plain(struct sm_text *out, const char *text, bool utf8)
{
    for (const char *s = text ? text : ""; *s;) {
        size_t n = sm_utf8_len(s);
        uint32_t code = n ? code_point(s, n) : 0xfffd;
        if (code == '\n' || code == '\t' || code == '\r') {
            sm_text_add(out, " ");
        } else if (n == 0 || is_unprintable(code)) {
            sm_text_add(out, "?");
        } else if (code < 0x80 || utf8) {
            sm_text_add_n(out, s, n);
        } else {
            sm_text_add(out, ascii_of(code));
        }
        s += n ? n : 1;
    }
}

/* ---- wrapping ---- */

/* Bytes of s that go on a line of width characters, broken after a blank where one is in reach; at least one
 * character. */
static size_t line_bytes(const char *s, int width)
{
    size_t n = 0, after_blank = 0;
    int used = 0;
    while (s[n]) {
        size_t length = sm_utf8_len(s + n);
        length = length ? length : 1;
        int step = text_width(s + n, length);
        if (used + step > width && n > 0) {
            return s[n] == ' ' ? n : after_blank ? after_blank : n;
        }
        used += step;
        n += length;
        if (s[n - 1] == ' ') {
            after_blank = n;
        }
    }
    return n;
}

/* Take the next line off *rest. @return its start, its bytes without blanks at the end in *n; *rest NULL when
 * all is taken. */
static const char *take_line(const char **rest, int width, size_t *n)
{
    const char *line = *rest;
    size_t taken = line_bytes(line, width);
    *rest = line + taken;
    while (**rest == ' ') {
        (*rest)++;
    }
    *rest = **rest ? *rest : NULL;
    while (taken && line[taken - 1] == ' ') {
        taken--;
    }
    *n = taken;
    return line;
}

static void pad(struct sm_text *out, int n)
{
    for (int i = 0; i < n; i++) {
        sm_text_add(out, " ");
    }
}

void sm_schedule__add_wrapped(struct sm_text *out, const char *text, int width, int indent, bool utf8)
{
    struct sm_text plain = {0};
    sm_schedule__add_plain(&plain, text, utf8);
    out->failed |= plain.failed;
    const char *rest = plain.length ? sm_text_str(&plain) : NULL;
    for (bool is_first = true; rest; is_first = false) {
        size_t n;
        pad(out, is_first ? 0 : indent);
        const char *line = take_line(&rest, width - indent, &n);
        sm_text_add_n(out, line, n);
        sm_text_add(out, "\n");
    }
    sm_text_release(&plain);
}

/* ---- the grid ---- */

static void add_cell(struct sm_grid *grid, const char *text, bool is_note)
{
    if (sm_grow(&grid->cell, grid->n_cells, &grid->capacity, sizeof *grid->cell) != SM_OK) {
        grid->cells.failed = true;
        return;
    }
    grid->cell[grid->n_cells++] = (struct sm_grid_cell){grid->cells.length, is_note};
    sm_text_add(&grid->cells, text);
    sm_text_add_n(&grid->cells, "", 1);
}

void sm_schedule__grid_cell(struct sm_grid *grid, const char *text)
{
    add_cell(grid, text, false);
}

void sm_schedule__grid_note(struct sm_grid *grid, const char *text)
{
    add_cell(grid, text, true);
}

void sm_schedule__grid_release(struct sm_grid *grid)
{
    sm_text_release(&grid->cells);
    sm_free(grid->cell);
    grid->cell = NULL;
    grid->n_cells = grid->capacity = 0;
}

/* Cells made plain once, before anything is measured. */
static void make_plain(struct sm_grid *grid, bool utf8)
{
    struct sm_text plain = {0};
    for (size_t i = 0; i < grid->n_cells && !grid->cells.failed; i++) {
        size_t offset = plain.length;
        sm_schedule__add_plain(&plain, grid->cells.data + grid->cell[i].offset, utf8);
        sm_text_add_n(&plain, "", 1);
        grid->cell[i].offset = offset;
    }
    plain.failed |= grid->cells.failed;
    sm_text_release(&grid->cells);
    grid->cells = plain;
}

/* Heads are ours, so that only signs need replacing, never more than the buffer holds. */
struct heads {
    char text[SM_GRID_MAX_COLUMNS][32];
};

static void make_heads(struct heads *heads, struct sm_grid *grid, bool utf8)
{
    for (size_t i = 0; i < grid->n_columns; i++) {
        struct sm_text plain = {0};
        sm_schedule__add_plain(&plain, grid->column[i].head, utf8);
        sm_strcopy(heads->text[i], sizeof heads->text[i], sm_text_str(&plain));
        grid->cells.failed |= plain.failed;
        sm_text_release(&plain);
    }
}

static void natural_widths(const struct sm_grid *grid, const struct heads *heads,
                           int width[SM_GRID_MAX_COLUMNS])
{
    for (size_t i = 0; i < grid->n_columns; i++) {
        width[i] = text_width(heads->text[i], strlen(heads->text[i]));
    }
    size_t column = 0;
    for (size_t i = 0; i < grid->n_cells; i++) {
        if (grid->cell[i].is_note) {
            continue;
        }
        const char *text = grid->cells.data + grid->cell[i].offset;
        int needed = text_width(text, strlen(text));
        width[column] = needed > width[column] ? needed : width[column];
        column = (column + 1) % grid->n_columns;
    }
}

static void shrink_to_fit(const struct sm_grid *grid, int width[SM_GRID_MAX_COLUMNS], int limit)
{
    int total = -GAP;
    for (size_t i = 0; i < grid->n_columns; i++) {
        total += width[i] + GAP;
    }
    while (total > limit) {
        size_t widest = grid->n_columns;
        for (size_t i = 0; i < grid->n_columns; i++) {
            if (grid->column[i].may_wrap && width[i] > LEAST_WRAPPED &&
                (widest == grid->n_columns || width[i] > width[widest])) {
                widest = i;
            }
        }
        if (widest == grid->n_columns) {
            return; /* nothing left to give: the terminal wraps, no word is lost */
        }
        width[widest]--;
        total--;
    }
}

/* One row over as many lines as its longest wrapped cell takes. */
static void print_row(struct sm_text *out, const struct sm_grid *grid, const char *text[SM_GRID_MAX_COLUMNS],
                      const int width[SM_GRID_MAX_COLUMNS])
{
    bool has_more = true;
    while (has_more) {
        has_more = false;
        int owed = 0; /* blanks not written until something follows, so that no line ends in blanks */
        for (size_t i = 0; i < grid->n_columns; i++) {
            size_t n = 0;
            const char *line = text[i] ? take_line(&text[i], width[i], &n) : "";
            int free_width = width[i] - text_width(line, n);
            free_width = free_width > 0 ? free_width : 0;
            if (n) {
                pad(out, owed + (grid->column[i].is_right ? free_width : 0));
                sm_text_add_n(out, line, n);
                owed = grid->column[i].is_right ? 0 : free_width;
            } else {
                owed += width[i];
            }
            owed += GAP;
            has_more |= text[i] != NULL;
        }
        sm_text_add(out, "\n");
    }
}

static void print_head(struct sm_text *out, const struct sm_grid *grid, const struct heads *heads,
                       const int width[SM_GRID_MAX_COLUMNS], bool utf8)
{
    const char *text[SM_GRID_MAX_COLUMNS];
    int total = -GAP;
    for (size_t i = 0; i < grid->n_columns; i++) {
        text[i] = heads->text[i][0] ? heads->text[i] : NULL;
        total += width[i] + GAP;
    }
    print_row(out, grid, text, width);
    for (int i = 0; i < total; i++) {
        sm_text_add(out, utf8 ? "\u2500" : "-");
    }
    sm_text_add(out, "\n");
}

void sm_schedule__grid_print(struct sm_text *out, struct sm_grid *grid, int limit, bool utf8)
{
    int width[SM_GRID_MAX_COLUMNS] = {0};
    struct heads heads;
    make_plain(grid, utf8);
    make_heads(&heads, grid, utf8);
    if (grid->cells.failed) {
        out->failed = true;
        return;
    }
    natural_widths(grid, &heads, width);
    shrink_to_fit(grid, width, limit);
    print_head(out, grid, &heads, width, utf8);
    const char *text[SM_GRID_MAX_COLUMNS];
    size_t column = 0;
    for (size_t i = 0; i < grid->n_cells; i++) {
        const char *cell = grid->cells.data + grid->cell[i].offset;
        if (grid->cell[i].is_note) {
            int indent = width[0] + GAP + width[1] + GAP;
            pad(out, indent);
            sm_schedule__add_wrapped(out, cell, limit, indent, utf8);
            continue;
        }
        text[column++] = cell;
        if (column == grid->n_columns) {
            print_row(out, grid, text, width);
            column = 0;
        }
    }
}
