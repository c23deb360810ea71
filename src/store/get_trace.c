/* Traces out of the job file: the one of the recording, and those read again in a box that a reviewer marked. */
#include "get_internal.h"

#include <string.h>

/* Every packed reading takes at least three bytes, every jump one: a larger count is a lie. */
static enum sm_status sm_store__take_trace(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_trace *trace = item;
    const char *unit = sm_store__column_text(stmt, 0);
    trace->format = (struct sm_counter_format){
        .unit = strcmp(unit, "ft") == 0  ? SM_UNIT_FT
                : strcmp(unit, "m") == 0 ? SM_UNIT_M
                                         : SM_UNIT_UNKNOWN,
        .decimals = sqlite3_column_int(stmt, 1),
        .box = {sqlite3_column_int(stmt, 2), sqlite3_column_int(stmt, 3), sqlite3_column_int(stmt, 4),
                sqlite3_column_int(stmt, 5)},
        .has_leading_zeros = sqlite3_column_int(stmt, 6) != 0,
        .has_decimal_comma = sqlite3_column_int(stmt, 7) != 0,
    };
    trace->duration_s = sm_store__column_real(stmt, 8);
    trace->clock.at_zero_s = sm_store__column_real(stmt, 13);
    trace->clock.error_s = sm_store__column_real(stmt, 14);
    trace->clock.n_seen = (size_t)sqlite3_column_int64(stmt, 15);
    trace->clock.is_known = !isnan(trace->clock.at_zero_s);
    trace->frame_rate_hz = fmax(0, sm_store__column_real(stmt, 16)); /* fmax passes over a NAN */
    int64_t n_readings = sqlite3_column_int64(stmt, 9);
    int64_t n_jumps = sqlite3_column_int64(stmt, 11);
    size_t readings_bytes = (size_t)sqlite3_column_bytes(stmt, 10);
    size_t jumps_bytes = (size_t)sqlite3_column_bytes(stmt, 12);
    bool is_sound = trace->format.decimals >= 0 && trace->format.decimals <= 9 && n_readings >= 0 &&
                    n_jumps >= 0 && (size_t)n_readings <= readings_bytes / 3 &&
                    (size_t)n_jumps <= jumps_bytes;
    if (!is_sound) {
        return sm_store__get_damaged(g, "its trace is damaged");
    }
    trace->n_readings = (size_t)n_readings;
    trace->n_jumps = (size_t)n_jumps;
    trace->reading = sm_arena_alloc(g->arena, trace->n_readings * sizeof *trace->reading);
    trace->jump_time_s = sm_arena_alloc(g->arena, trace->n_jumps * sizeof *trace->jump_time_s);
    if (!trace->reading || !trace->jump_time_s) {
        return sm_store__no_memory(g->err);
    }
    enum sm_status status = sm_store__unpack_readings(trace->reading, trace->n_readings,
                                                      sqlite3_column_blob(stmt, 10), readings_bytes, g->err);
    return status == SM_OK ? sm_store__unpack_times(trace->jump_time_s, trace->n_jumps,
                                                    sqlite3_column_blob(stmt, 12), jumps_bytes, g->err)
                           : status;
}

enum sm_status sm_store__get_trace(struct sm_store__getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    enum sm_status status = sm_store__get_rows(
        g,
        "SELECT unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px, has_leading_zeros,"
        " has_decimal_comma, duration_s, n_readings, readings, n_jumps, jumps,"
        " " SM_STORE__PICTURE_CLOCK_COLUMNS " FROM trace WHERE survey_id = ?",
        &record->trace, &n, sizeof *record->trace, sm_store__take_trace);
    if (n == 0) {
        record->trace = NULL;
    }
    return status;
}

enum sm_status sm_store_get_reread(struct sm_trace **out, struct sm_arena *arena, struct sm_store *store,
                                   const char *survey_key, struct sm_box asked, struct sm_error *err)
{
    struct sm_store__getting g = {store, arena, err, 0, false};
    struct sm_trace *trace = sm_arena_alloc(arena, sizeof *trace);
    char place[SM_STORE__BOX_TEXT];
    sm_store__box_text(place, asked);
    sqlite3_stmt *stmt;
    enum sm_status status =
        !trace ? sm_store__no_memory(err)
               : SM_STORE__QUERY(store, &stmt, err,
                                 "WITH RECURSIVE line(survey_id, key) AS ("
                                 "  SELECT survey_id, key FROM survey WHERE key = ?1"
                                 "  UNION SELECT s.survey_id, s.key FROM survey s"
                                 "  JOIN line l ON s.superseded_by = l.survey_id)"
                                 " SELECT unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px, "
                                 "has_leading_zeros, has_decimal_comma, duration_s, n_readings, readings, "
                                 "n_jumps, jumps, clock_at_zero_s, clock_error_s, clock_n_seen, frame_rate_hz FROM reread"
                                 " WHERE survey_key IN (SELECT key FROM line) AND asked = ?2 LIMIT 1",
                                 sm_store__text(survey_key), sm_store__text(place));
    bool has_row = false;
    bool is_found = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        is_found = true;
        status = sm_store__take_trace(&g, stmt, trace);
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    if (status == SM_OK && !is_found) {
        status = sm_error_set(err, SM_E_NOTFOUND, "the counter was not read in %s yet", place);
    }
    *out = status == SM_OK ? trace : *out;
    return status;
}
