/*
 * The as-built file: a table whose columns are found by name. It is written on a tailgate: a cell that cannot be read
 * is told and kept as written in the remark, and the row counts all the same. Only a file that is no such table is
 * refused.
 */
#include "asbuilt_internal.h"

#include <stdlib.h>
#include <string.h>

enum { LIMIT_BYTES = 64 * 1024 * 1024 };

enum cell { CELL_TEXT, CELL_NUMBER, CELL_TIME, CELL_DATE, CELL_CORRECTS };

struct column {
    const char *name, *other_name;
    enum cell cell;
    size_t offset; /* in struct sm_as_built */
    enum sm_quantity quantity;
    const char *unit; /* of a number without one */
    double least, greatest;
};
#define AT(field) offsetof(struct sm_as_built, field)
/* Dates come before the times that take their day from them. */
static const struct column columns[] = {
    {"repair", "repair id", CELL_TEXT, AT(repair), SM_PLAIN, "", 0, 0},
    {"segment", "pipe", CELL_TEXT, AT(segment), SM_PLAIN, "", 0, 0},
    {"date", "day", CELL_DATE, AT(date), SM_PLAIN, "", 0, 0},
    {"crew", "team", CELL_TEXT, AT(crew), SM_PLAIN, "", 0, 0},
    {"kit", "liner", CELL_TEXT, AT(kit), SM_PLAIN, "", 0, 0},
    {"lot", "batch", CELL_TEXT, AT(lot), SM_PLAIN, "", 0, 0},
    {"result", "outcome", CELL_TEXT, AT(result), SM_PLAIN, "", 0, 0},
    {"remark", "remarks", CELL_TEXT, AT(remark), SM_PLAIN, "", 0, 0},
    {"liner length", "length", CELL_NUMBER, AT(liner_length_m), SM_LENGTH, "m", 0.01, 100},
    {"stop", "stop distance", CELL_NUMBER, AT(stop_m), SM_LENGTH, "m", -10, 10000},
    {"mark", "rod mark", CELL_NUMBER, AT(mark_m), SM_LENGTH, "m", -10, 10000},
    {"test pressure", "", CELL_NUMBER, AT(test_pressure_kpa), SM_PRESSURE, "kPa", 0, 10000},
    {"pressure", "packer pressure", CELL_NUMBER, AT(pressure_kpa), SM_PRESSURE, "kPa", 0, 10000},
    {"pipe temperature", "temperature", CELL_NUMBER, AT(pipe_temperature_c), SM_TEMPERATURE, "C", -60, 120},
    {"mixed", "", CELL_TIME, AT(mixed), SM_PLAIN, "", 0, 0},
    {"inflated", "", CELL_TIME, AT(inflated), SM_PLAIN, "", 0, 0},
    {"deflated", "", CELL_TIME, AT(deflated), SM_PLAIN, "", 0, 0},
    {"corrects", "correction", CELL_CORRECTS, AT(is_correction), SM_PLAIN, "", 0, 0},
};
enum { N_COLUMNS = sizeof columns / sizeof *columns, REPAIR = 0 };

struct reading {
    struct sm_as_built_file *file;
    struct sm_csv *csv;
    size_t at[N_COLUMNS]; /* field index, SIZE_MAX = not there */
    char unit[N_COLUMNS][16];
    struct sm_text remark; /* of the row under work */
    struct sm_error *err;
};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static enum sm_status tell(struct reading *r, uint32_t line, enum sm_severity severity, const char *fmt, ...)
    SM_PRINTF(4, 5);
static enum sm_status tell(struct reading *r, uint32_t line, enum sm_severity severity, const char *fmt, ...)
{
    va_list args;
    va_start(args, fmt);
    char *message = sm_arena_vprintf(r->file->arena, fmt, args);
    va_end(args);
    bool is_told = message && sm_findings_add(&r->file->findings, SM_FLAG_ROW_ODD, severity, r->file->source, line,
                                              SM_NAN, -1, "%s", message) == SM_OK;
    return is_told ? SM_OK : no_memory(r->err);
}

/* ---- heads ---- */

static size_t column_of(const struct reading *r, const char *name)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        bool is_named = strcmp(columns[k].name, name) == 0 || strcmp(columns[k].other_name, name) == 0;
        if (is_named && r->at[k] == SIZE_MAX) {
            return k;
        }
    }
    return SIZE_MAX;
}

static enum sm_status no_table(struct reading *r, uint32_t line, const char *what)
{
    sm_error_at(r->err, SM_E_FORMAT, r->file->source, line, 0, "%s", what);
    sm_error_remedy(r->err, "name the columns in the first row: repair, date, crew, liner_length, stop, mark ...");
    return SM_E_FORMAT;
}

static enum sm_status read_heads(struct reading *r)
{
    size_t n_rows = sm_csv_n_rows(r->csv);
    if (n_rows == 0) {
        return no_table(r, 1, "the as-built table is empty");
    }
    struct sm_csv_row row = sm_csv_row(r->csv, 0);
    for (size_t k = 0; k < N_COLUMNS; k++) {
        r->at[k] = SIZE_MAX;
    }
    for (size_t i = 0; i < row.n_fields; i++) {
        char name[64];
        char unit[16];
        sm_column_split(row.field[i], name, sizeof name, unit, sizeof unit);
        size_t k = column_of(r, name);
        if (k != SIZE_MAX) {
            r->at[k] = i;
            memcpy(r->unit[k], unit, sizeof unit);
        }
    }
    if (r->at[REPAIR] == SIZE_MAX) {
        return no_table(r, row.line, "the as-built table has no column \"repair\"");
    }
    return n_rows > 1 ? SM_OK : no_table(r, row.line, "the as-built table has no row below its header");
}

/* ---- cells ---- */

static void keep_in_remark(struct reading *r, const char *head, const char *cell)
{
    sm_text_addf(&r->remark, "%s%s: %s", r->remark.length ? "; " : "", head, cell);
}

/* Size of the last digit of a number as written, in metres; feet and inches are read off a tape, to a sixteenth. */
static double digit_of_stop_m(const char *cell, const char *unit)
{
    const char *point = strpbrk(cell, ".,");
    int decimals = point ? (int)strspn(point + 1, "0123456789") : 0;
    char text[32] = "1";
    if (decimals > 0 && decimals < 9) {
        memcpy(text, "0.000000000", 12);
        text[decimals + 1] = '1';
        text[decimals + 2] = '\0';
    }
    const char *tail = cell + strcspn(cell, "abcdefghijklmnopqrstuvwxyz'\"");
    double digit_m = SM_NAN;
    size_t n = strlen(text);
    if (strpbrk(cell, "'\"") || strstr(cell, "in")) {
        return 0.0254 / 16;
    }
    sm_strcopy(text + n, sizeof text - n, tail);
    return sm_parse_quantity(text, SM_LENGTH, unit, &digit_m, NULL) == SM_OK ? digit_m : SM_NAN;
}

static enum sm_status put_number(struct reading *r, struct sm_as_built *row, size_t k, const char *cell)
{
    const struct column *column = &columns[k];
    const char *unit = *r->unit[k] ? r->unit[k] : column->unit;
    double value;
    struct sm_error why = {0};
    enum sm_status status = sm_parse_quantity(cell, column->quantity, unit, &value, &why);
    bool is_sane = status == SM_OK && value >= column->least && value <= column->greatest;
    if (!is_sane) {
        keep_in_remark(r, column->name, cell);
        return tell(r, row->line, SM_SEVERITY_WARNING, "%s \"%.60s\" %s: kept in the remark, not used", column->name,
                    cell, status == SM_OK ? "makes no sense" : "cannot be read as a number with a unit");
    }
    memcpy((char *)row + column->offset, &value, sizeof value);
    if (column->offset == AT(stop_m)) {
        row->stop_digit_m = digit_of_stop_m(cell, unit);
    }
    return SM_OK;
}

static enum sm_status put_string(struct reading *r, struct sm_as_built *row, size_t k, const char *text)
{
    const char *copy = sm_arena_strdup(r->file->arena, text);
    if (!copy) {
        return no_memory(r->err);
    }
    memcpy((char *)row + columns[k].offset, &copy, sizeof copy);
    return SM_OK;
}

/* A clock that went round midnight takes no day from its row: 00:05 after 23:30 is the day after. */
static const char *without_wrong_day(const struct sm_as_built *row, size_t k, const char *text)
{
    const char *before = columns[k].offset == AT(inflated)   ? row->mixed
                         : columns[k].offset != AT(deflated) ? ""
                         : *row->inflated                    ? row->inflated
                                                             : row->mixed;
    return strlen(text) > 11 && sm_asbuilt_minutes_between(before, text) < -12 * 60 ? text + 11 : text;
}

static enum sm_status put_time(struct reading *r, struct sm_as_built *row, size_t k, const char *cell)
{
    char text[SM_ASBUILT__TIME_SIZE];
    bool is_date = columns[k].cell == CELL_DATE;
    if (is_date ? sm_asbuilt__date(text, cell) : sm_asbuilt__time(text, cell, row->date)) {
        bool is_bare = !is_date && !strchr(cell, '-');
        return put_string(r, row, k, is_bare ? without_wrong_day(row, k, text) : text);
    }
    keep_in_remark(r, columns[k].name, cell);
    return tell(r, row->line, SM_SEVERITY_WARNING, "%s \"%.60s\" is no %s: kept in the remark, not used",
                columns[k].name, cell, is_date ? "day; write 2031-03-20" : "time; write 09:40 or 2031-03-20T09:40");
}

static enum sm_status put_cell(struct reading *r, struct sm_as_built *row, size_t k, const char *cell)
{
    char folded[16];
    switch (columns[k].cell) {
    case CELL_TEXT:
        return put_string(r, row, k, cell);
    case CELL_NUMBER:
        return put_number(r, row, k, cell);
    case CELL_TIME:
    case CELL_DATE:
        return put_time(r, row, k, cell);
    case CELL_CORRECTS:
        sm_key_fold(folded, sizeof folded, cell);
        row->is_correction = strcmp(folded, "no") != 0 && strcmp(folded, "0") != 0;
        return SM_OK;
    }
    return SM_OK;
}

/* ---- the result ---- */

static bool is_one_of(const char *word, const char *const *list)
{
    for (; *list; list++) {
        if (strcmp(word, *list) == 0) {
            return true;
        }
    }
    return false;
}

/* A word we do not know leaves the liner in place: one too many is looked at, one too few is forgotten. */
static enum sm_status judge_result(struct reading *r, struct sm_as_built *row)
{
    static const char *const good[] = {"",     "ok",     "okay",   "good", "done",     "installed", "placed",
                                       "yes",  "pass",   "passed", "set",  "in place", "cured",     "complete",
                                       "fine", "accepted", NULL};
    static const char *const none[] = {"failed",  "fail",    "pulled",        "removed",  "withdrawn", "abandoned",
                                       "not made", "not done", "not installed", "no",      "none",      "skipped",
                                       "cancelled", "not placed", "pulled out", "lost", "not in place", NULL};
    char folded[64];
    sm_key_fold(folded, sizeof folded, row->result);
    row->is_in_place = !is_one_of(folded, none);
    if (!row->is_in_place || is_one_of(folded, good)) {
        return SM_OK;
    }
    return tell(r, row->line, SM_SEVERITY_NOTE,
                "result \"%.60s\" is no word known here: the liner is taken to be in place; write ok or failed",
                row->result);
}

/* ---- rows ---- */

static bool is_known_column(const struct reading *r, size_t field)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        if (r->at[k] == field) {
            return true;
        }
    }
    return false;
}

static void keep_other_columns(struct reading *r, const struct sm_csv_row *cells)
{
    struct sm_csv_row heads = sm_csv_row(r->csv, 0);
    for (size_t i = 0; i < cells->n_fields; i++) {
        if (*cells->field[i] && !is_known_column(r, i)) {
            keep_in_remark(r, i < heads.n_fields && *heads.field[i] ? heads.field[i] : "further", cells->field[i]);
        }
    }
}

static enum sm_status finish_remark(struct reading *r, struct sm_as_built *row)
{
    if (r->remark.length) {
        row->remark = sm_arena_printf(r->file->arena, "%s%s%s", row->remark, *row->remark ? "; " : "", r->remark.data);
    }
    return r->remark.failed || !row->remark ? no_memory(r->err) : SM_OK;
}

static enum sm_status read_row(struct reading *r, struct sm_as_built *row, const struct sm_csv_row *cells)
{
    *row = (struct sm_as_built){
        .line = cells->line,
        .segment = "", .repair = "", .date = "", .crew = "", .kit = "", .lot = "", .result = "", .remark = "",
        .mixed = "", .inflated = "", .deflated = "",
        .liner_length_m = SM_NAN, .stop_m = SM_NAN, .mark_m = SM_NAN, .stop_digit_m = SM_NAN,
        .test_pressure_kpa = SM_NAN, .pressure_kpa = SM_NAN, .pipe_temperature_c = SM_NAN,
        .occurrence = 1,
    };
    sm_text_clear(&r->remark);
    enum sm_status status = SM_OK;
    for (size_t k = 0; status == SM_OK && k < N_COLUMNS; k++) {
        if (r->at[k] < cells->n_fields && *cells->field[r->at[k]]) {
            status = put_cell(r, row, k, cells->field[r->at[k]]);
        }
    }
    keep_other_columns(r, cells);
    if (status == SM_OK) {
        status = finish_remark(r, row);
    }
    if (status == SM_OK && !*row->repair) {
        status = tell(r, row->line, SM_SEVERITY_WARNING,
                      "the row names no repair: taken as a repair that was not planned; name it to tie it to the plan");
    }
    return status == SM_OK ? judge_result(r, row) : status;
}

static int compare_places(const struct sm_as_built *a, const struct sm_as_built *b)
{
    int order = strcmp(a->segment, b->segment);
    order = order ? order : strcmp(a->repair, b->repair);
    return order ? order : strcmp(a->date, b->date);
}

static int compare_rows(const void *a, const void *b)
{
    const struct sm_as_built *left = *(struct sm_as_built *const *)a;
    const struct sm_as_built *right = *(struct sm_as_built *const *)b;
    int order = compare_places(left, right);
    return order ? order : (left > right) - (left < right);
}

/* The second liner at one repair on one day is another liner, not a correction of the first: both stand in one file. */
static enum sm_status count_occurrences(struct reading *r)
{
    size_t n = r->file->n_rows;
    struct sm_as_built **order = sm_calloc(n, sizeof *order);
    if (!order) {
        return no_memory(r->err);
    }
    for (size_t i = 0; i < n; i++) {
        order[i] = &r->file->row[i];
    }
    qsort(order, n, sizeof *order, compare_rows);
    enum sm_status status = SM_OK;
    for (size_t i = 1; status == SM_OK && i < n; i++) {
        if (compare_places(order[i - 1], order[i]) == 0) {
            order[i]->occurrence = order[i - 1]->occurrence + 1;
            status = tell(r, order[i]->line, SM_SEVERITY_NOTE,
                          "%s stands in the file more than once for one day: taken as another liner, not as a "
                          "correction",
                          *order[i]->repair ? order[i]->repair : "a repair without a name");
        }
    }
    sm_free(order);
    return status;
}

static enum sm_status read_rows(struct reading *r)
{
    size_t n = sm_csv_n_rows(r->csv) - 1;
    r->file->row = sm_arena_alloc(r->file->arena, n * sizeof *r->file->row);
    if (!r->file->row) {
        return no_memory(r->err);
    }
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        struct sm_csv_row cells = sm_csv_row(r->csv, i + 1);
        status = read_row(r, &r->file->row[i], &cells);
        r->file->n_rows = i + 1;
    }
    sm_text_release(&r->remark);
    return status == SM_OK ? count_occurrences(r) : status;
}

void sm_asbuilt_free(struct sm_as_built_file **file)
{
    if (file && *file) {
        sm_findings_release(&(*file)->findings);
        sm_arena_free(&(*file)->arena);
        sm_free(*file);
        *file = NULL;
    }
}

enum sm_status sm_asbuilt_parse(struct sm_as_built_file **out, const char *data, size_t n, const char *source,
                                struct sm_error *err)
{
    struct sm_as_built_file *file = sm_calloc(1, sizeof *file);
    if (!file || sm_arena_new(&file->arena) != SM_OK) {
        sm_free(file);
        return no_memory(err);
    }
    struct reading r = {.file = file, .err = err};
    file->source = sm_arena_strdup(file->arena, source);
    enum sm_status status = file->source ? sm_csv_parse(&r.csv, data, n, 0, source, err) : no_memory(err);
    if (status == SM_OK) {
        status = read_heads(&r);
    }
    if (status == SM_OK) {
        status = read_rows(&r);
    }
    sm_csv_free(&r.csv);
    if (status != SM_OK) {
        sm_asbuilt_free(&file);
        return status;
    }
    *out = file;
    return SM_OK;
}

enum sm_status sm_asbuilt_read(struct sm_as_built_file **out, const char *path, struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_asbuilt_parse(out, data, n, path, err);
    }
    sm_free(data);
    return status;
}
