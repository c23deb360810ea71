/* The list of surveys. */
#include "get_internal.h"

#include <string.h>

enum sm_status sm_store__take_survey(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_survey *survey = item;
    struct sm_segment *segment = &survey->segment;
    const char *flow = NULL;
    const char **const text[] = {&survey->key,       &survey->date,      &survey->operator_name,
                                 &survey->stored_at, &segment->id,       &segment->from,
                                 &segment->to,       &segment->material, &flow};
    const unsigned may_be_null = 1U << 1 | 1U << 2 | 1U << 5 | 1U << 6 | 1U << 7 | 1U << 8; /* date, operator, from, to, material, flow */
    enum sm_status status = sm_store__get_texts(g, stmt, 3, text, sizeof text / sizeof *text, may_be_null);
    if (status != SM_OK) {
        return status;
    }
    survey->survey_id = sqlite3_column_int64(stmt, 0);
    survey->kind =
        strcmp(sm_store__column_text(stmt, 1), "recheck") == 0 ? SM_SURVEY_RECHECK : SM_SURVEY_FIRST;
    survey->superseded_by = sqlite3_column_int64(stmt, 2);
    segment->flow = !flow                          ? SM_FLOW_UNKNOWN
                    : strcmp(flow, "from-to") == 0 ? SM_FLOW_FROM_TO
                                                   : SM_FLOW_TO_FROM;
    segment->length_m = sm_store__column_real(stmt, 12);
    segment->diameter_mm = sm_store__column_real(stmt, 13);
    segment->pipe_unit_length_m = sm_store__column_real(stmt, 14);
    survey->n_observations = sqlite3_column_int64(stmt, 15);
    survey->n_repairs = sqlite3_column_int64(stmt, 16);
    survey->n_unrepaired = sqlite3_column_int64(stmt, 17);
    return SM_OK;
}

void sm_store_surveys_free(struct sm_store_surveys **surveys)
{
    if (surveys && *surveys) {
        sm_arena_free(&(*surveys)->arena);
        sm_free((*surveys)->item);
        sm_free(*surveys);
        *surveys = NULL;
    }
}

static enum sm_status fill_list(struct sm_store_surveys *surveys, struct sm_store *store, const char *segment,
                                struct sm_error *err)
{
    struct sm_store__getting g = {.store = store, .arena = surveys->arena, .err = err};
    sqlite3_stmt *stmt;
    enum sm_status status =
        segment ? SM_STORE__QUERY(store, &stmt, err, SM_STORE__SURVEY_COLUMNS " WHERE g.name = ? ORDER BY s.survey_id",
                                  sm_store__text(segment))
                : sm_store__query(store, &stmt, SM_STORE__SURVEY_COLUMNS " ORDER BY g.name, s.survey_id", NULL, 0, err);
    size_t capacity = 0;
    bool has_row = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&surveys->item, surveys->n, &capacity, sizeof *surveys->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            surveys->item[surveys->n] = (struct sm_store_survey){0};
            status = sm_store__take_survey(&g, stmt, &surveys->item[surveys->n++]);
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store_list_surveys(struct sm_store_surveys **out, struct sm_store *store,
                                     const char *segment, struct sm_error *err)
{
    struct sm_store_surveys *surveys = sm_calloc(1, sizeof *surveys);
    if (!surveys || sm_arena_new(&surveys->arena) != SM_OK) {
        sm_free(surveys);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill_list(surveys, store, segment, err);
    if (status != SM_OK) {
        sm_store_surveys_free(&surveys);
        return status;
    }
    *out = surveys;
    return SM_OK;
}
