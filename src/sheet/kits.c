/*
 * The kits table (liners that can be bought) and the cure table. Columns are found by their heads, in any
 * order, with the unit in the head or in the cell. A row that makes no sense is an error with its line: a
 * wrong kit buries a wrong liner.
 */
#include "sheet_internal.h"

#include <math.h>
#include <string.h>

#define COLUMNS_MAX 10

/* One column of a table and where its cell goes. */
struct column {
    const char *name, *other_name; /* folded */
    bool is_required;
    size_t offset;
    enum { CELL_TEXT, CELL_QUANTITY, CELL_COUNT } kind;
    enum sm_quantity quantity;
    const char *unit;       /* of a cell whose column head has none */
    double scale;           /* from the quantity's own unit to the field's */
    double least, greatest; /* in the field's unit */
};

/* A kit while it is read: like struct sm_kit, but every number is a double. */
struct kit_draft {
    const char *name, *cure;
    double diameter_min_mm, diameter_max_mm, length_mm, cost, layers, resin_l, test_pressure_kpa,
        max_pressure_kpa;
};

static const struct column kit_columns[] = {
    {"kit", "name", true, offsetof(struct kit_draft, name), CELL_TEXT, SM_PLAIN, "", 1, 0, 0},
    {"diameter min", "dn min", true, offsetof(struct kit_draft, diameter_min_mm), CELL_QUANTITY, SM_LENGTH,
     "mm", 1000, 20, 6000},
    {"diameter max", "dn max", true, offsetof(struct kit_draft, diameter_max_mm), CELL_QUANTITY, SM_LENGTH,
     "mm", 1000, 20, 6000},
    {"length", "liner length", true, offsetof(struct kit_draft, length_mm), CELL_QUANTITY, SM_LENGTH, "mm",
     1000, 50, 50000},
    {"cost", "price", true, offsetof(struct kit_draft, cost), CELL_QUANTITY, SM_PLAIN, "", 1, 0, 1e9},
    {"layers", "plies", false, offsetof(struct kit_draft, layers), CELL_COUNT, SM_PLAIN, "", 1, 1, 50},
    {"resin", "resin volume", false, offsetof(struct kit_draft, resin_l), CELL_QUANTITY, SM_VOLUME, "l", 1, 0,
     1000},
    {"test pressure", "test", false, offsetof(struct kit_draft, test_pressure_kpa), CELL_QUANTITY,
     SM_PRESSURE, "kPa", 1, 0, 2000},
    {"max pressure", "pressure max", false, offsetof(struct kit_draft, max_pressure_kpa), CELL_QUANTITY,
     SM_PRESSURE, "kPa", 1, 0, 2000},
    {"cure", "cure name", false, offsetof(struct kit_draft, cure), CELL_TEXT, SM_PLAIN, "", 1, 0, 0},
};
static const struct column cure_columns[] = {
    {"cure", "name", true, offsetof(struct sm_cure_row, name), CELL_TEXT, SM_PLAIN, "", 1, 0, 0},
    {"temperature", "pipe temperature", true, offsetof(struct sm_cure_row, temperature_c), CELL_QUANTITY,
     SM_TEMPERATURE, "C", 1, -30, 150},
    {"working", "working time", true, offsetof(struct sm_cure_row, working_min), CELL_QUANTITY, SM_TIME,
     "min", 1.0 / 60, 0.5, 10000},
    {"cure", "cure time", true, offsetof(struct sm_cure_row, cure_min), CELL_QUANTITY, SM_TIME, "min",
     1.0 / 60, 0.5, 100000},
};
#define N_KIT_COLUMNS (sizeof kit_columns / sizeof kit_columns[0])
#define N_CURE_COLUMNS (sizeof cure_columns / sizeof cure_columns[0])
_Static_assert(N_KIT_COLUMNS <= COLUMNS_MAX && N_CURE_COLUMNS <= COLUMNS_MAX,
               "a table has at most COLUMNS_MAX columns");

/* A table being read: its cells and which field each column of ours has. */
struct table {
    struct sm_sheet *sheet;
    const char *path, *what;
    const struct column *column;
    size_t n_columns;
    struct sm_csv *csv;
    size_t at[COLUMNS_MAX]; /* field index, SIZE_MAX = not there */
    char unit[COLUMNS_MAX][16];
};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

/* ---- heads
 * ------------------------------------------------------------------------------------------------- */

/* Column of ours that a head names. In the cure table "cure" is the name, "cure_min" (a unit in the head) the
 * time. */
static size_t column_of(const struct table *table, const char *name, const char *unit)
{
    for (size_t k = 0; k < table->n_columns; k++) {
        const struct column *column = &table->column[k];
        bool is_named = strcmp(column->name, name) == 0 || strcmp(column->other_name, name) == 0;
        bool is_text_with_unit = column->kind == CELL_TEXT && *unit;
        if (is_named && !is_text_with_unit && table->at[k] == SIZE_MAX) {
            return k;
        }
    }
    return SIZE_MAX;
}

static enum sm_status note_unknown_column(const struct table *table, uint32_t line, const char *head)
{
    const char *list[COLUMNS_MAX];
    for (size_t k = 0; k < table->n_columns; k++) {
        list[k] = table->column[k].name;
    }
    const char *near = sm_nearest_word(head, list, table->n_columns);
    return sm_findings_add(&table->sheet->findings, 0, SM_SEVERITY_NOTE, table->path, line, SM_NAN, -1,
                           "the column \"%s\" is not used%s%s%s", head, near ? "; did you mean \"" : "",
                           near ? near : "", near ? "\"?" : "");
}

static enum sm_status check_heads(const struct table *table, uint32_t line, struct sm_error *err)
{
    for (size_t k = 0; k < table->n_columns; k++) {
        const struct column *column = &table->column[k];
        if (column->is_required && table->at[k] == SIZE_MAX) {
            sm_error_at(err, SM_E_FORMAT, table->path, line, 0, "the %s table has no column \"%s\"",
                        table->what, column->name);
            return sm_error_remedy(err, "name the columns in the first row; docs/formats/kits.md lists them");
        }
    }
    return SM_OK;
}

static enum sm_status read_heads(struct table *table, struct sm_error *err)
{
    if (sm_csv_n_rows(table->csv) == 0) {
        sm_error_at(err, SM_E_FORMAT, table->path, 1, 0, "the %s table is empty", table->what);
        return sm_error_remedy(err, "name the columns in the first row; docs/formats/kits.md lists them");
    }
    struct sm_csv_row row = sm_csv_row(table->csv, 0);
    for (size_t k = 0; k < COLUMNS_MAX; k++) {
        table->at[k] = SIZE_MAX;
    }
    for (size_t i = 0; i < row.n_fields; i++) {
        char name[64], unit[16];
        sm_column_split(row.field[i], name, sizeof name, unit, sizeof unit);
        size_t k = column_of(table, name, unit);
        if (k != SIZE_MAX) {
            table->at[k] = i;
            memcpy(table->unit[k], unit, sizeof unit);
        } else if (*name) {
            enum sm_status status = note_unknown_column(table, row.line, row.field[i]);
            if (status != SM_OK) {
                return status;
            }
        }
    }
    return check_heads(table, row.line, err);
}

/* ---- cells
 * ------------------------------------------------------------------------------------------------- */

static enum sm_status cell_error(const struct table *table, uint32_t line, const struct column *column,
                                 const char *cell, struct sm_error *err)
{
    struct sm_text limits = {0};
    sm_text_add_number(&limits, column->least, 0, 3);
    sm_text_add(&limits, " to ");
    sm_text_add_number(&limits, column->greatest, 0, 3);
    sm_error_at(err, SM_E_RANGE, table->path, line, 0, "%s \"%.60s\" makes no sense", column->name, cell);
    sm_error_remedy(err, "write a %snumber from %s%s%s", column->kind == CELL_COUNT ? "whole " : "",
                    sm_text_str(&limits), *column->unit ? " " : "", column->unit);
    sm_text_release(&limits);
    return SM_E_RANGE;
}

static enum sm_status put_number(const struct table *table, size_t k, const char *cell, uint32_t line,
                                 char *record, struct sm_error *err)
{
    const struct column *column = &table->column[k];
    const char *unit = *table->unit[k] ? table->unit[k] : column->unit;
    double value;
    enum sm_status status = sm_parse_quantity(cell, column->quantity, unit, &value, err);
    if (status == SM_E_FORMAT) {
        return cell_error(table, line, column, cell, err);
    }
    if (status != SM_OK) {
        if (err) {
            err->line = line;
        }
        sm_error_source(err, table->path);
        return status;
    }
    value *= column->scale;
    if (!(value >= column->least && value <= column->greatest) ||
        (column->kind == CELL_COUNT && value != floor(value))) {
        return cell_error(table, line, column, cell, err);
    }
    memcpy(record + column->offset, &value, sizeof value);
    return SM_OK;
}

static enum sm_status put_text(const struct table *table, const struct column *column, const char *cell,
                               char *record, struct sm_error *err)
{
    const char *copy = sm_arena_strdup(table->sheet->arena, cell);
    if (!copy) {
        return no_memory(err);
    }
    memcpy(record + column->offset, &copy, sizeof copy);
    return SM_OK;
}

/* One row into a record whose fields are all "not said". */
static enum sm_status read_row(const struct table *table, const struct sm_csv_row *row, void *record,
                               struct sm_error *err)
{
    for (size_t k = 0; k < table->n_columns; k++) {
        const struct column *column = &table->column[k];
        const char *cell = table->at[k] < row->n_fields ? row->field[table->at[k]] : "";
        enum sm_status status = SM_OK;
        if (!*cell && column->is_required) {
            sm_error_at(err, SM_E_FORMAT, table->path, row->line, 0, "the row has no %s", column->name);
            return sm_error_remedy(err, "fill the cell, or take the row out");
        }
        if (*cell) {
            status = column->kind == CELL_TEXT ? put_text(table, column, cell, record, err)
                                               : put_number(table, k, cell, row->line, record, err);
        }
        if (status != SM_OK) {
            return status;
        }
    }
    return SM_OK;
}

static enum sm_status read_table(struct sm_sheet *sheet, char **text, size_t *n, const char *path, struct sm_error *err)
{
    return sheet->read ? sheet->read(sheet->read_user, text, n, path, SM_SHEET_TABLE_LIMIT_BYTES, err)
                       : sm_file_read(text, n, path, SM_SHEET_TABLE_LIMIT_BYTES, err);
}

static enum sm_status open_table(struct table *table, struct sm_error *err)
{
    char *text = NULL;
    size_t n;
    enum sm_status status = read_table(table->sheet, &text, &n, table->path, err);
    if (status == SM_OK) {
        status = sm_csv_parse(&table->csv, text, n, 0, table->path, err);
    }
    sm_free(text);
    sm_error_source(status == SM_OK ? NULL : err, table->path);
    return status == SM_OK ? read_heads(table, err) : status;
}

/* ---- kits
 * -------------------------------------------------------------------------------------------------- */

static enum sm_status check_kit(const struct table *table, uint32_t line, const struct kit_draft *draft,
                                const struct sm_kit *kits, size_t n_kits, struct sm_error *err)
{
    if (draft->diameter_min_mm > draft->diameter_max_mm) {
        sm_error_at(err, SM_E_RANGE, table->path, line, 0,
                    "the diameters of kit \"%.60s\" are the wrong way round", draft->name);
        return sm_error_remedy(err, "write the smaller one as diameter_min_mm");
    }
    if (draft->test_pressure_kpa > draft->max_pressure_kpa) {
        sm_error_at(err, SM_E_RANGE, table->path, line, 0,
                    "the test pressure of kit \"%.60s\" is above its max pressure", draft->name);
        return sm_error_remedy(err, "take both from the maker's data sheet");
    }
    for (size_t k = 0; k < n_kits; k++) {
        if (strcmp(kits[k].name, draft->name) == 0) {
            sm_error_at(err, SM_E_CONFLICT, table->path, line, 0, "the kit \"%.60s\" stands twice",
                        draft->name);
            return sm_error_remedy(err, "give each kit its own name");
        }
    }
    return SM_OK;
}

static struct sm_kit finish_kit(const struct kit_draft *draft)
{
    return (struct sm_kit){
        .name = draft->name,
        .diameter_min_mm = draft->diameter_min_mm,
        .diameter_max_mm = draft->diameter_max_mm,
        .length_um = (int64_t)llround(draft->length_mm * 1000),
        .cost = draft->cost,
        .layers = isnan(draft->layers) ? 0 : (int32_t)draft->layers,
        .resin_l = draft->resin_l,
        .test_pressure_kpa = draft->test_pressure_kpa,
        .max_pressure_kpa = draft->max_pressure_kpa,
        .cure = draft->cure,
    };
}

static enum sm_status fill_kits(const struct table *table, struct sm_kit **out, size_t *n_out,
                                struct sm_error *err)
{
    size_t n_rows = sm_csv_n_rows(table->csv);
    struct sm_kit *kits = sm_arena_alloc(table->sheet->arena, n_rows * sizeof *kits);
    if (!kits) {
        return no_memory(err);
    }
    for (size_t i = 1; i < n_rows; i++) {
        struct sm_csv_row row = sm_csv_row(table->csv, i);
        struct kit_draft draft = {
            .layers = SM_NAN, .resin_l = SM_NAN, .test_pressure_kpa = SM_NAN, .max_pressure_kpa = SM_NAN};
        enum sm_status status = read_row(table, &row, &draft, err);
        if (status == SM_OK) {
            status = check_kit(table, row.line, &draft, kits, i - 1, err);
        }
        if (status != SM_OK) {
            return status;
        }
        kits[i - 1] = finish_kit(&draft);
    }
    *out = kits;
    *n_out = n_rows - 1;
    return SM_OK;
}

static enum sm_status fill_cures(const struct table *table, struct sm_cure_row **out, size_t *n_out,
                                 struct sm_error *err)
{
    size_t n_rows = sm_csv_n_rows(table->csv);
    struct sm_cure_row *cures = sm_arena_alloc(table->sheet->arena, n_rows * sizeof *cures);
    if (!cures) {
        return no_memory(err);
    }
    for (size_t i = 1; i < n_rows; i++) {
        struct sm_csv_row row = sm_csv_row(table->csv, i);
        enum sm_status status = read_row(table, &row, &cures[i - 1], err);
        if (status != SM_OK) {
            return status;
        }
        if (cures[i - 1].working_min > cures[i - 1].cure_min) {
            sm_error_at(err, SM_E_RANGE, table->path, row.line, 0,
                        "the working time of cure \"%.60s\" is longer than its cure time", cures[i - 1].name);
            return sm_error_remedy(err, "take both from the resin maker's data sheet");
        }
    }
    *out = cures;
    *n_out = n_rows - 1;
    return SM_OK;
}

/* Is there a file at path? One that is there and cannot be read is told when it is read. */
static enum sm_status look_for(bool *is_there, struct sm_sheet *sheet, const char *path)
{
    char *text = NULL;
    size_t n;
    enum sm_status status = read_table(sheet, &text, &n, path, NULL);
    sm_free(text);
    *is_there = status != SM_E_IO;
    return status == SM_E_NOMEM ? status : SM_OK;
}

/* The cure table the sheet names, else cure.csv beside the kits when there is one; NULL = none. */
static enum sm_status find_cure_file(struct sm_sheet *sheet, const char **path, struct sm_error *err)
{
    struct sm_text text = {0};
    bool is_there = false;
    *path = sheet->cure_file;
    if (*path || !sheet->kits_file) {
        return SM_OK;
    }
    enum sm_status status = sm_path_beside(&text, sheet->kits_file, "cure.csv");
    if (status == SM_OK) {
        status = look_for(&is_there, sheet, sm_text_str(&text));
    }
    if (status == SM_OK && is_there) {
        *path = sm_arena_strdup(sheet->arena, sm_text_str(&text));
        status = *path ? SM_OK : SM_E_NOMEM;
    }
    sm_text_release(&text);
    return status == SM_OK ? SM_OK : no_memory(err);
}

/* Kits whose cure is not in the cure table: the crew sheet will have no times for them. */
static enum sm_status note_missing_cures(struct sm_sheet *sheet)
{
    if (sheet->kits_file && sheet->n_kits == 0) {
        return sm_findings_add(&sheet->findings, 0, SM_SEVERITY_WARNING, sheet->kits_file, 0, SM_NAN, -1,
                               "the kits table has no rows, so nothing can be repaired");
    }
    for (size_t i = 0; i < sheet->n_kits; i++) {
        const struct sm_kit *kit = &sheet->kit[i];
        bool is_found = !kit->cure;
        for (size_t k = 0; k < sheet->n_cure_rows && !is_found; k++) {
            is_found = strcmp(sheet->cure_row[k].name, kit->cure) == 0;
        }
        if (!is_found) {
            enum sm_status status = sm_findings_add(
                &sheet->findings, 0, SM_SEVERITY_WARNING, sheet->kits_file, 0, SM_NAN, -1,
                "kit \"%s\" cures as \"%s\", which the cure table does not have", kit->name, kit->cure);
            if (status != SM_OK) {
                return status;
            }
        }
    }
    return SM_OK;
}

enum sm_status sm_sheet__read_kits(struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_kit *kits = NULL;
    struct sm_cure_row *cures = NULL;
    size_t n_kits = 0, n_cures = 0;
    struct table kit_table = {sheet, sheet->kits_file, "kits", kit_columns, N_KIT_COLUMNS, NULL, {0}, {{0}}};
    struct table cure_table = {sheet, NULL, "cure", cure_columns, N_CURE_COLUMNS, NULL, {0}, {{0}}};
    enum sm_status status = find_cure_file(sheet, &cure_table.path, err);
    if (status == SM_OK && kit_table.path) {
        status = open_table(&kit_table, err);
        status = status == SM_OK ? fill_kits(&kit_table, &kits, &n_kits, err) : status;
    }
    if (status == SM_OK && cure_table.path) {
        status = open_table(&cure_table, err);
        status = status == SM_OK ? fill_cures(&cure_table, &cures, &n_cures, err) : status;
    }
    sm_csv_free(&kit_table.csv);
    sm_csv_free(&cure_table.csv);
    if (status != SM_OK) {
        return status;
    }
    sheet->kit = kits;
    sheet->n_kits = n_kits;
    sheet->cure_row = cures;
    sheet->n_cure_rows = n_cures;
    sheet->cure_used = cure_table.path;
    return note_missing_cures(sheet);
}
