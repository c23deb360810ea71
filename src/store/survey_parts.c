/*
 * What a survey is made of: the tables that hang on its number, for copying it whole and for a digest of all that was
 * stored. The digest stands in the history, so that a number changed later by another program shows.
 */
#include "store_internal.h"

#include <string.h>

#define PART(table, columns)                                                                                 \
    {                                                                                                        \
        table, columns, "SELECT " columns " FROM " table " WHERE survey_id = ? ORDER BY 1, 2"                 \
    }
/* A part that got columns after jobs had been digested without them: copied like the others, digested apart (see later). */
#define PART_GROWN(table, columns, added)                                                                     \
    {                                                                                                        \
        table, columns ", " added, "SELECT " columns " FROM " table " WHERE survey_id = ? ORDER BY 1, 2"      \
    }
const struct sm_store__part sm_store__parts[SM_STORE__N_PARTS] = {
    PART("input", "role, ordinal, path, size_bytes, sha256"),
    PART("setting", "name, value"),
    PART_GROWN("trace", "unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px, has_leading_zeros, has_decimal_comma,"
               " duration_s, n_readings, readings, n_jumps, jumps", SM_STORE__PICTURE_CLOCK_COLUMNS),
    PART("alignment", "method, clock_offset_s, clock_residual_s, misclosure_m, length_m, is_length_assumed, tie_misfit_m"),
    PART("tie", "ordinal, reading, true_m"),
    PART("kit", "ordinal, name, diameter_min_mm, diameter_max_mm, length_um, cost, layers, resin_l, test_pressure_kpa,"             " max_pressure_kpa, cure"),
    PART("cure", "ordinal, name, temperature_c, working_min, cure_min"),
    PART("plan", "cost, full_lining_cost, advice"),
    PART("finding", "stage, ordinal, flag, severity, source, line, time_s, entry_idx, message"),
    PART("observation", "ordinal, name, log_line, entry_idx, end_entry_idx, code, ch1, ch2, q1, q2, q1_value, q2_value, clock_from_h,"      " clock_to_h, is_at_joint, diameter_mm, remark, time_s, reading_time_s, reading_counts, reading_confidence,"      " reading_state, logged_m, distance_m, distance_source, start_m, end_m, error_m, error_placement_m, error_reading_m,"      " error_distance_m, treatment, reason, prepare, flags, is_node, is_connection"),
    PART("repair", "ordinal, name, kit_ordinal, start_um, length_um, mark_m, slack_m, cost"),
};

/* What hangs on observations and repairs, by their place in the survey. */
static const char *const linked[] = {
    "SELECT o.ordinal, t.ordinal, t.start_um, t.end_um FROM target t JOIN observation o USING (observation_id)"
    " WHERE o.survey_id = ? ORDER BY 1, 2",
    "SELECT o.ordinal, t.ordinal, t.reason FROM unrepaired t JOIN observation o USING (observation_id)"
    " WHERE o.survey_id = ? ORDER BY 1, 2",
    "SELECT r.ordinal, t.relation, t.ordinal, o.ordinal FROM repair_observation t JOIN repair r USING (repair_id)"
    " JOIN observation o USING (observation_id) WHERE r.survey_id = ? ORDER BY 1, 2, 3",
    "SELECT r.ordinal, t.ordinal, t.work FROM repair_work t JOIN repair r USING (repair_id) WHERE r.survey_id = ?"
    " ORDER BY 1, 2",
    "SELECT g.name, kind, date, operator, stored_at, from_node, to_node, length_m, diameter_mm, pipe_unit_length_m, material,"
    " flow FROM survey JOIN segment g USING (segment_id) WHERE survey_id = ?",
};

static const char later[] = "SELECT " SM_STORE__PICTURE_CLOCK_COLUMNS " FROM trace WHERE survey_id = ? AND " SM_STORE__HAS_PICTURE_CLOCK;

/* A value with its type, so that no two rows look alike. */
static void add_value(struct sm_text *text, sqlite3_stmt *stmt, int column)
{
    double real;
    uint64_t bits;
    switch (sqlite3_column_type(stmt, column)) {
    case SQLITE_NULL:
        sm_text_add(text, "-\n");
        break;
    case SQLITE_INTEGER:
        sm_text_addf(text, "i%lld\n", (long long)sqlite3_column_int64(stmt, column));
        break;
    case SQLITE_FLOAT:
        real = sqlite3_column_double(stmt, column);
        memcpy(&bits, &real, sizeof bits);
        sm_text_addf(text, "r%016llx\n", (unsigned long long)bits);
        break;
    default:
        sm_text_addf(text, "t%d:", sqlite3_column_bytes(stmt, column));
        sm_text_add_n(text, sqlite3_column_blob(stmt, column), (size_t)sqlite3_column_bytes(stmt, column));
        sm_text_add(text, "\n");
        break;
    }
}

static enum sm_status add_rows(struct sm_text *text, struct sm_store *store, const char *sql,
                               const struct sm_store__value *values, size_t n, struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(store, &stmt, sql, values, n, err);
    sm_text_add(text, "*\n");
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        for (int i = 0; i < sqlite3_column_count(stmt); i++) {
            add_value(text, stmt, i);
        }
    }
    return status;
}

/* Rows of columns that are younger than some jobs: where they hold nothing the digest is what it was without them. */
static enum sm_status add_later_rows(struct sm_text *text, struct sm_store *store, const char *sql,
                                     const struct sm_store__value *values, size_t n, struct sm_error *err)
{
    struct sm_text rows = {0};
    enum sm_status status = add_rows(&rows, store, sql, values, n, err);
    text->failed |= rows.failed;
    if (rows.length > strlen("*\n")) {
        sm_text_add(text, rows.data);
    }
    sm_text_release(&rows);
    return status;
}

static enum sm_status end_digest(char hex[65], struct sm_text *text, enum sm_status status, struct sm_error *err)
{
    if (status == SM_OK && text->failed) {
        status = sm_store__no_memory(err);
    }
    if (status == SM_OK) {
        sm_sha256(text->data, text->length, hex);
    }
    sm_text_release(text);
    return status;
}

enum sm_status sm_store__digest(char hex[65], struct sm_store *store, int64_t survey_id, struct sm_error *err)
{
    struct sm_text text = {0};
    const struct sm_store__value value = sm_store__int(survey_id);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < SM_STORE__N_PARTS; i++) {
        status = add_rows(&text, store, sm_store__parts[i].digest_sql, &value, 1, err);
    }
    for (size_t i = 0; status == SM_OK && i < sizeof linked / sizeof *linked; i++) {
        status = add_rows(&text, store, linked[i], &value, 1, err);
    }
    if (status == SM_OK) {
        status = add_later_rows(&text, store, later, &value, 1, err);
    }
    return end_digest(hex, &text, status, err);
}

enum sm_status sm_store__digest_rows(char hex[65], struct sm_store *store, const char *sql, const char *later_sql,
                                     const struct sm_store__value *values, size_t n, struct sm_error *err)
{
    struct sm_text text = {0};
    enum sm_status status = add_rows(&text, store, sql, values, n, err);
    if (status == SM_OK && later_sql) {
        status = add_later_rows(&text, store, later_sql, values, n, err);
    }
    return end_digest(hex, &text, status, err);
}
