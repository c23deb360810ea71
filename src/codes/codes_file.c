/*
 * A user's code table: CSV, one row a meaning, a rule or both. Its rows are tried before those of the
 * built-in system it names. A row that makes no sense is an error: what is done about a defect must not
 * depend on a typing slip.
 */
#include "codes_internal.h"

#include <string.h>

enum { FILE_LIMIT_BYTES = 16 << 20 };

enum column_id {
    COL_SYSTEM,
    COL_CODE,
    COL_CH1,
    COL_CH2,
    COL_MEANING,
    COL_Q1_UNIT,
    COL_Q2_UNIT,
    COL_KIND,
    COL_MEASURE,
    COL_AT_LEAST,
    COL_BELOW,
    COL_OVER,
    COL_UP_TO,
    COL_TREATMENT,
    COL_PREPARE,
    COL_REASON,
    COL_SOURCE,
    N_COLUMNS
};
static const char *const column_names[N_COLUMNS] = {
    [COL_SYSTEM] = "system",
    [COL_CODE] = "code",
    [COL_CH1] = "ch1",
    [COL_CH2] = "ch2",
    [COL_MEANING] = "meaning",
    [COL_Q1_UNIT] = "q1 unit",
    [COL_Q2_UNIT] = "q2 unit",
    [COL_KIND] = "kind",
    [COL_MEASURE] = "measure",
    [COL_AT_LEAST] = "at least",
    [COL_BELOW] = "below",
    [COL_OVER] = "diameter over",
    [COL_UP_TO] = "diameter up to",
    [COL_TREATMENT] = "treatment",
    [COL_PREPARE] = "prepare",
    [COL_REASON] = "reason",
    [COL_SOURCE] = "source",
};

struct reader {
    struct sm_codes *codes;
    const char *source;
    const struct sm_csv *csv;
    size_t at[N_COLUMNS]; /* field index, SIZE_MAX = no such column */
    struct sm_csv_row row;
    bool is_system_set;
};

static const char *const no_patterns[] = {NULL};
static const struct sm_code_table no_table = {NULL,
                                              0,
                                              NULL,
                                              0,
                                              NULL,
                                              0,
                                              NULL,
                                              0,
                                              no_patterns,
                                              no_patterns,
                                              "hours 1 to 12, 12 at the crown, clockwise",
                                              "common practice, no source"};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static const char *cell(const struct reader *reader, enum column_id column)
{
    return reader->at[column] < reader->row.n_fields ? reader->row.field[reader->at[column]] : "";
}

static enum sm_status cell_error(const struct reader *reader, enum column_id column, const char *remedy,
                                 struct sm_error *err)
{
    sm_error_at(err, SM_E_FORMAT, reader->source, reader->row.line, 0, "%s \"%.60s\" makes no sense",
                column_names[column], cell(reader, column));
    return sm_error_remedy(err, "%s", remedy);
}

/* ---- words
 * ------------------------------------------------------------------------------------------------- */

struct word {
    const char *text;
    int value;
};
static const struct word kind_words[] = {{"", SM_CODE_PLAIN},
                                         {"plain", SM_CODE_PLAIN},
                                         {"start", SM_CODE_START},
                                         {"finish", SM_CODE_FINISH},
                                         {"node", SM_CODE_NODE},
                                         {"connection", SM_CODE_CONNECTION},
                                         {"abandoned", SM_CODE_ABANDONED},
                                         {NULL, 0}};
static const struct word measure_words[] = {{"", SM_MEASURE_NONE},
                                            {"q1", SM_MEASURE_Q1},
                                            {"q2", SM_MEASURE_Q2},
                                            {"clock", SM_MEASURE_CLOCK_H},
                                            {"q1 of diameter", SM_MEASURE_Q1_DN_PCT},
                                            {NULL, 0}};
static const struct word treatment_words[] = {
    {"none", SM_TREATMENT_NONE},   {"line", SM_TREATMENT_LINE},   {"prepare", SM_TREATMENT_PREPARE},
    {"refer", SM_TREATMENT_REFER}, {"clear", SM_TREATMENT_CLEAR}, {NULL, 0}};

static bool find_word(const struct word *words, const char *text, int *value)
{
    char folded[64];
    sm_key_fold(folded, sizeof folded, text);
    for (; words->text; words++) {
        if (strcmp(words->text, folded) == 0) {
            *value = words->value;
            return true;
        }
    }
    return false;
}

/* ---- cells
 * ------------------------------------------------------------------------------------------------- */

/* A number, or fallback where the cell is empty. */
static bool read_number(const struct reader *reader, enum column_id column, double fallback, double *value)
{
    const char *text = cell(reader, column);
    *value = fallback;
    return !*text || (sm_parse_number(text, value) && isfinite(*value));
}

static enum sm_status read_limits(const struct reader *reader, struct sm_code_rule *rule,
                                  struct sm_error *err)
{
    int measure;
    if (!find_word(measure_words, cell(reader, COL_MEASURE), &measure)) {
        return cell_error(reader, COL_MEASURE, "write q1, q2, clock, q1 of diameter, or nothing", err);
    }
    rule->measure = (enum sm_code_measure)measure;
    bool has_limit = *cell(reader, COL_AT_LEAST) || *cell(reader, COL_BELOW);
    if (has_limit && rule->measure == SM_MEASURE_NONE) {
        return cell_error(reader, COL_MEASURE,
                          "say what the limits are about: q1, q2, clock or q1 of diameter", err);
    }
    if (!read_number(reader, COL_AT_LEAST, -HUGE_VAL, &rule->least)) {
        return cell_error(reader, COL_AT_LEAST, "write a number or nothing", err);
    }
    if (!read_number(reader, COL_BELOW, HUGE_VAL, &rule->below) || rule->below <= rule->least) {
        return cell_error(reader, COL_BELOW, "write a number above \"at least\", or nothing", err);
    }
    if (!read_number(reader, COL_OVER, 0, &rule->over_mm)) {
        return cell_error(reader, COL_OVER, "write a diameter in mm or nothing", err);
    }
    if (!read_number(reader, COL_UP_TO, HUGE_VAL, &rule->up_to_mm) || rule->up_to_mm <= rule->over_mm) {
        return cell_error(reader, COL_UP_TO, "write a diameter in mm above \"diameter over\", or nothing",
                          err);
    }
    if (!has_limit && rule->measure != SM_MEASURE_NONE) {
        rule->least = rule->below = SM_NAN; /* "when it was not logged" */
    }
    return SM_OK;
}

static const char *keep(const struct reader *reader, enum column_id column)
{
    return sm_arena_strdup(reader->codes->arena, cell(reader, column));
}

static enum sm_status add_meaning(struct reader *reader, const char *meaning, int kind, struct sm_error *err)
{
    struct sm_codes *codes = reader->codes;
    enum sm_status status =
        sm_grow(&codes->meaning, codes->n_meanings, &codes->meanings_capacity, sizeof *codes->meaning);
    struct sm_code_meaning made = {keep(reader, COL_CODE),    sm_arena_strdup(codes->arena, meaning),
                                   keep(reader, COL_Q1_UNIT), keep(reader, COL_Q2_UNIT),
                                   (enum sm_code_kind)kind,   keep(reader, COL_SOURCE)};
    if (status != SM_OK || !made.code || !made.meaning || !made.q1_unit || !made.q2_unit || !made.source) {
        return no_memory(err);
    }
    codes->meaning[codes->n_meanings++] = made;
    return SM_OK;
}

static enum sm_status add_rule(struct reader *reader, struct sm_error *err)
{
    struct sm_codes *codes = reader->codes;
    int treatment;
    struct sm_code_rule rule = {.code = keep(reader, COL_CODE),
                                .ch1 = keep(reader, COL_CH1),
                                .ch2 = keep(reader, COL_CH2),
                                .prepare = keep(reader, COL_PREPARE),
                                .reason = keep(reader, COL_REASON),
                                .source = keep(reader, COL_SOURCE)};
    if (!rule.code || !rule.ch1 || !rule.ch2 || !rule.prepare || !rule.reason || !rule.source) {
        return no_memory(err);
    }
    if (!find_word(treatment_words, cell(reader, COL_TREATMENT), &treatment)) {
        return cell_error(reader, COL_TREATMENT, "write line, prepare, refer, clear or none", err);
    }
    rule.treatment = (enum sm_treatment)treatment;
    enum sm_status status = read_limits(reader, &rule, err);
    if (status != SM_OK) {
        return status;
    }
    if (!*rule.reason) {
        rule.reason = "by the owner's code table";
    }
    if (sm_grow(&codes->rule, codes->n_rules, &codes->rules_capacity, sizeof *codes->rule) != SM_OK) {
        return no_memory(err);
    }
    codes->rule[codes->n_rules++] = rule;
    return SM_OK;
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

static enum sm_status take_system(struct reader *reader, struct sm_error *err)
{
    const char *name = cell(reader, COL_SYSTEM);
    if (!*name) {
        return SM_OK;
    }
    const struct sm_code_table *named = sm_ascii_ieq(name, "EN")     ? &sm_codes__en
                                        : sm_ascii_ieq(name, "NA")   ? &sm_codes__na
                                        : sm_ascii_ieq(name, "none") ? &no_table
                                                                     : NULL;
    if (!named || (reader->is_system_set && named != reader->codes->builtin)) {
        return cell_error(reader, COL_SYSTEM, "write EN, NA or none, the same in all rows", err);
    }
    reader->codes->builtin = named;
    reader->is_system_set = true;
    return SM_OK;
}

static enum sm_status take_row(struct reader *reader, struct sm_error *err)
{
    int kind;
    if (!*cell(reader, COL_CODE)) {
        sm_error_at(err, SM_E_FORMAT, reader->source, reader->row.line, 0, "the row has no code");
        return sm_error_remedy(err, "fill the column code, or take the row out");
    }
    if (!find_word(kind_words, cell(reader, COL_KIND), &kind)) {
        return cell_error(reader, COL_KIND, "write plain, start, finish, node, connection or abandoned", err);
    }
    const char *meaning = cell(reader, COL_MEANING);
    bool has_rule = *cell(reader, COL_TREATMENT) != '\0';
    if (!has_rule && !*meaning) {
        sm_error_at(err, SM_E_FORMAT, reader->source, reader->row.line, 0,
                    "the row says neither a meaning nor a treatment");
        return sm_error_remedy(err, "fill one of the two columns, or take the row out");
    }
    enum sm_status status = SM_OK;
    if (*meaning || !sm_codes__find_meaning(reader->codes, cell(reader, COL_CODE))) {
        status = add_meaning(reader, *meaning ? meaning : cell(reader, COL_CODE), kind, err);
    }
    return status == SM_OK && has_rule ? add_rule(reader, err) : status;
}

static enum sm_status read_heads(struct reader *reader, struct sm_error *err)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        reader->at[k] = SIZE_MAX;
    }
    for (size_t i = 0; sm_csv_n_rows(reader->csv) > 0 && i < sm_csv_row(reader->csv, 0).n_fields; i++) {
        struct sm_csv_row head = sm_csv_row(reader->csv, 0);
        char name[64], unit[16];
        size_t k = 0;
        sm_column_split(head.field[i], name, sizeof name, unit, sizeof unit);
        while (k < N_COLUMNS && strcmp(column_names[k], name) != 0) {
            k++;
        }
        if (k < N_COLUMNS) {
            reader->at[k] = i;
        } else if (*name) {
            const char *near = sm_nearest_word(name, column_names, N_COLUMNS);
            sm_error_at(err, SM_E_FORMAT, reader->source, head.line, 0,
                        "a code table has no column \"%.60s\"", head.field[i]);
            return sm_error_remedy(
                err, near ? "did you mean %s?" : "%sthe columns are listed in docs/formats/codes.md",
                near ? near : "");
        }
    }
    if (reader->at[COL_CODE] == SIZE_MAX) {
        sm_error_at(err, SM_E_FORMAT, reader->source, 1, 0, "the code table has no column \"code\"");
        return sm_error_remedy(err, "name the columns in the first row; docs/formats/codes.md lists them");
    }
    return SM_OK;
}

/* The system first, from whichever row names it, so that the other rows know what they add to. */
static enum sm_status read_rows(struct reader *reader, struct sm_error *err)
{
    enum sm_status status = read_heads(reader, err);
    for (size_t i = 1; status == SM_OK && i < sm_csv_n_rows(reader->csv); i++) {
        reader->row = sm_csv_row(reader->csv, i);
        status = take_system(reader, err);
    }
    for (size_t i = 1; status == SM_OK && i < sm_csv_n_rows(reader->csv); i++) {
        reader->row = sm_csv_row(reader->csv, i);
        status = take_row(reader, err);
    }
    return status;
}

enum sm_status sm_codes_parse(struct sm_codes **out, const char *data, size_t n, const char *source,
                              struct sm_error *err)
{
    struct sm_csv *csv = NULL;
    struct sm_codes *codes = NULL;
    enum sm_status status = sm_codes_builtin(&codes, SM_CODES_EN, err);
    if (status == SM_OK) {
        status = sm_csv_parse(&csv, data, n, 0, source, err);
    }
    if (status == SM_OK) {
        struct reader reader = {.codes = codes, .source = source, .csv = csv};
        status = read_rows(&reader, err);
    }
    sm_csv_free(&csv);
    if (status != SM_OK) {
        sm_codes_free(&codes);
        return status;
    }
    *out = codes;
    return SM_OK;
}

enum sm_status sm_codes_read(struct sm_codes **out, const char *path, struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, FILE_LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_codes_parse(out, data, n, path, err);
    }
    sm_free(data);
    return status;
}
