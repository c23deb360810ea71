/*
 * A table of times and distances: a header row that names the two, then one entry a row. A trace that `read`
 * wrote is such a table too; of it only what was really read counts.
 */
#include "distances_internal.h"

#include <string.h>

#define HEAD_ROWS 20
#define NO_COLUMN SIZE_MAX

enum column { COLUMN_TIME, COLUMN_DISTANCE, COLUMN_UNIT, COLUMN_STATE, COLUMN_CODE, N_COLUMNS };

static const char *const names[N_COLUMNS] = {
    [COLUMN_TIME] = "|time|video time|timecode|time code|t|",
    [COLUMN_DISTANCE] =
        "|distance|dist|reading|counter|chainage|station|position|metre|metres|meters|feet|footage|",
    [COLUMN_UNIT] = "|unit|units|",
    [COLUMN_STATE] = "|state|",
    [COLUMN_CODE] = "|code|main code|defect code|observation code|",
};

struct table {
    struct sm_csv *csv;
    size_t at[N_COLUMNS];
    char time_unit[16];
    enum sm_unit unit; /* of the distance column */
};

/** @param list names, a stroke before and after each. */
static bool is_named(const char *list, const char *name)
{
    size_t n = strlen(name);
    for (const char *s = n ? strstr(list + 1, name) : NULL; s; s = strstr(s + 1, name)) {
        if (s[-1] == '|' && s[n] == '|') {
            return true;
        }
    }
    return false;
}

static enum sm_unit unit_named(const char *name)
{
    return sm_ascii_ieq(name, "m")                                  ? SM_UNIT_M
           : sm_ascii_ieq(name, "ft") || sm_ascii_ieq(name, "feet") ? SM_UNIT_FT
                                                                    : SM_UNIT_UNKNOWN;
}

static void note_column(struct table *table, const char *head, size_t field_idx)
{
    char name[64], unit[16];
    sm_column_split(head, name, sizeof name, unit, sizeof unit);
    for (int c = 0; c < N_COLUMNS; c++) {
        if (table->at[c] == NO_COLUMN && is_named(names[c], name)) {
            table->at[c] = field_idx;
            if (c == COLUMN_TIME) {
                sm_strcopy(table->time_unit, sizeof table->time_unit, unit);
            } else if (c == COLUMN_DISTANCE) {
                table->unit = unit_named(*unit                                                       ? unit
                                         : strcmp(name, "feet") == 0 || strcmp(name, "footage") == 0 ? "ft"
                                                                                                     : "");
            }
            return;
        }
    }
}

/* Is this row the header? */
static bool take_head(struct table *table, struct sm_csv_row row)
{
    for (int c = 0; c < N_COLUMNS; c++) {
        table->at[c] = NO_COLUMN;
    }
    for (size_t i = 0; i < row.n_fields; i++) {
        note_column(table, row.field[i], i);
    }
    return table->at[COLUMN_TIME] != NO_COLUMN && table->at[COLUMN_DISTANCE] != NO_COLUMN;
}

static size_t find_head(struct table *table)
{
    size_t n = sm_csv_n_rows(table->csv);
    for (size_t i = 0; i < n && i < HEAD_ROWS; i++) {
        if (take_head(table, sm_csv_row(table->csv, i))) {
            return i;
        }
    }
    return n;
}

static const char *cell(const struct table *table, struct sm_csv_row row, enum column column)
{
    return table->at[column] < row.n_fields ? row.field[table->at[column]] : "";
}

/* A plain distance: the cell is the number and perhaps its unit, nothing else. */
static bool is_plain(const char *text)
{
    return text[strspn(text, "+-0123456789., mftMFT'eEoOrRsS\xe2\x88\x92")] == '\0';
}

static enum sm_status add_row(struct sm_distances__build *build, const struct table *table,
                              struct sm_csv_row row, struct sm_error *err)
{
    const char *time = cell(table, row, COLUMN_TIME), *distance = cell(table, row, COLUMN_DISTANCE);
    const char *state = cell(table, row, COLUMN_STATE);
    struct sm_distance item = {.end_s = SM_NAN, .line = row.line};
    struct sm_error why = {0};
    int32_t decimals;
    enum sm_unit unit;
    if ((*state && strcmp(state, "read") != 0) || !*distance) {
        return SM_OK; /* nothing was seen then */
    }
    if (sm_parse_quantity(time, SM_TIME, table->time_unit, &item.time_s, &why) != SM_OK) {
        return sm_distances__pass_over(build, row.line, err, "the time %s; passed over", why.text);
    }
    if (!is_plain(distance) || !sm_distances_scan(distance, &item.counts, &decimals, &unit)) {
        return sm_distances__pass_over(build, row.line, err, "the distance \"%.40s\" is none; passed over",
                                       distance);
    }
    if (unit == SM_UNIT_UNKNOWN) {
        unit = table->unit != SM_UNIT_UNKNOWN ? table->unit : unit_named(cell(table, row, COLUMN_UNIT));
    }
    return sm_distances__add(build, &item, decimals, unit, err);
}

static enum sm_status refuse_log(const struct sm_distances__build *build, struct sm_csv_row head,
                                 struct sm_error *err)
{
    sm_error_at(err, SM_E_UNSUPPORTED, build->source, head.line, 0,
                "this is an operator's log (it has a column of codes), not a list of distances");
    return sm_error_remedy(err, "name it with log = in the sheet's [survey] section");
}

static enum sm_status read_rows(struct sm_distances__build *build, struct table *table, size_t head,
                                struct sm_error *err)
{
    size_t n = sm_csv_n_rows(table->csv);
    if (head == n) {
        sm_error_at(err, SM_E_FORMAT, build->source, 0, 0, "no header row names a time and a distance");
        return sm_error_remedy(err, "start the table with a row like time,distance");
    }
    if (table->at[COLUMN_CODE] != NO_COLUMN) {
        return refuse_log(build, sm_csv_row(table->csv, head), err);
    }
    build->list->is_own_trace |= table->at[COLUMN_STATE] != NO_COLUMN;
    enum sm_status status = SM_OK;
    for (size_t i = head + 1; status == SM_OK && i < n; i++) {
        status = add_row(build, table, sm_csv_row(table->csv, i), err);
    }
    return status;
}

/* The table, cut at the separator that gives it a header: with decimal commas the likeliest one may not. */
static enum sm_status find_table(struct table *table, size_t *head, const char *text, size_t n,
                                 const char *source, struct sm_error *err)
{
    static const char separators[] = {0, ';', '\t', ','};
    enum sm_status status = SM_OK;
    *head = 0;
    for (size_t i = 0; i < sizeof separators; i++) {
        sm_csv_free(&table->csv);
        status = sm_csv_parse(&table->csv, text, n, separators[i], source, err);
        if (status != SM_OK || (*head = find_head(table)) < sm_csv_n_rows(table->csv)) {
            break;
        }
    }
    return status;
}

static enum sm_status read_csv(struct sm_distances__build *build, const char *text, size_t n,
                               struct sm_error *err)
{
    struct table table = {0};
    size_t head;
    enum sm_status status = find_table(&table, &head, text, n, build->source, err);
    if (status == SM_OK) {
        status = read_rows(build, &table, head, err);
    }
    sm_csv_free(&table.csv);
    return status;
}

static bool is_csv(const char *text)
{
    return strpbrk(text, ",;\t") != NULL;
}

const struct sm_distances__reader sm_distances__csv = {"csv", is_csv, read_csv};
