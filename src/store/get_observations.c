/* Observations out of the job file: words and numbers as they were put, each checked. */
#include "get_internal.h"

#include <string.h>

static int index_of(const char *const *words, int n, const char *word)
{
    for (int i = 0; i < n; i++) {
        if (word && words[i] && strcmp(words[i], word) == 0) {
            return i;
        }
    }
    return -1;
}

static int treatment_of(const char *word)
{
    for (int t = SM_TREATMENT_NONE; t <= SM_TREATMENT_CLEAR; t++) {
        if (strcmp(sm_treatment_name((enum sm_treatment)t), word) == 0) {
            return t;
        }
    }
    return -1;
}

static int source_of(const char *word)
{
    for (int s = SM_DISTANCE_UNKNOWN; s <= SM_DISTANCE_LOG; s++) {
        if (strcmp(sm_distance_source_name((enum sm_distance_source)s), word) == 0) {
            return s;
        }
    }
    return -1;
}

/* An observation with its row numbers. */
struct stored_observation {
    struct sm_observation observation;
    int64_t observation_id;
    uint32_t log_line;
};

static const char observation_columns[] =
    "SELECT name, code, ch1, ch2, q1, q2, remark, reason, prepare, flags, treatment, distance_source, "
    "reading_state,"
    " observation_id, log_line, entry_idx, end_entry_idx, clock_from_h, clock_to_h, is_at_joint, is_node, "
    "is_connection, reading_counts,"
    " q1_value, q2_value, diameter_mm, time_s, reading_time_s, reading_confidence, logged_m, distance_m, "
    "start_m, end_m, error_m,"
    " error_placement_m, error_reading_m, error_distance_m"
    " FROM observation WHERE survey_id = ? ORDER BY ordinal";
enum { FIRST_WORD = 9, FIRST_WHOLE = 13, FIRST_REAL = 23 };

static enum sm_status take_words(struct sm_store__getting *g, sqlite3_stmt *stmt, struct sm_observation *o)
{
    static const char *const states[] = {"hidden", "carried", "read"};
    int treatment = treatment_of(sm_store__column_text(stmt, FIRST_WORD + 1));
    int source = source_of(sm_store__column_text(stmt, FIRST_WORD + 2));
    int state = index_of(states, 3, sm_store__column_text(stmt, FIRST_WORD + 3));
    if (treatment < 0 || source < 0 || state < 0) {
        return sm_store__get_damaged(g, "an observation has a word that is not known");
    }
    o->flags = sm_store__get_flags(sm_store__column_text(stmt, FIRST_WORD));
    o->treatment = (enum sm_treatment)treatment;
    o->source = (enum sm_distance_source)source;
    o->reading.state = (enum sm_reading_state)state;
    return SM_OK;
}

static enum sm_status take_observation(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct stored_observation *stored = item;
    struct sm_observation *o = &stored->observation;
    const char *name = NULL;
    const char **const text[] = {&name,  &o->code,   &o->ch1,    &o->ch2,    &o->q1,
                                 &o->q2, &o->remark, &o->reason, &o->prepare};
    enum sm_status status = sm_store__get_texts(g, stmt, 0, text, FIRST_WORD, 0);
    if (status == SM_OK) {
        status = take_words(g, stmt, o);
    }
    if (status != SM_OK) {
        return status;
    }
    sm_strcopy(o->id, sizeof o->id, name);
    stored->observation_id = sqlite3_column_int64(stmt, FIRST_WHOLE);
    stored->log_line = (uint32_t)sqlite3_column_int64(stmt, FIRST_WHOLE + 1);
    int32_t *const whole[] = {&o->entry_idx, &o->end_entry_idx, &o->clock_from_h, &o->clock_to_h};
    for (int i = 0; i < 4; i++) {
        *whole[i] = sqlite3_column_int(stmt, FIRST_WHOLE + 2 + i);
    }
    bool *const truth[] = {&o->is_at_joint, &o->is_node, &o->is_connection};
    for (int i = 0; i < 3; i++) {
        *truth[i] = sqlite3_column_int(stmt, FIRST_WHOLE + 6 + i) != 0;
    }
    o->reading.counts = sqlite3_column_int64(stmt, FIRST_WHOLE + 9);
    double confidence = 0;
    double *const real[] = {&o->q1_value,        &o->q2_value,        &o->diameter_mm, &o->time_s,
                            &o->reading.time_s,  &confidence,         &o->logged_m,    &o->distance_m,
                            &o->start_m,         &o->end_m,           &o->error_m,     &o->error_placement_m,
                            &o->error_reading_m, &o->error_distance_m};
    for (int i = 0; i < (int)(sizeof real / sizeof *real); i++) {
        *real[i] = sm_store__column_real(stmt, FIRST_REAL + i);
    }
    o->reading.confidence = isnan(confidence) ? 0 : (float)confidence;
    return SM_OK;
}

enum sm_status sm_store__get_observations(struct sm_store__getting *g, struct sm_store_record *record)
{
    struct stored_observation *stored = NULL;
    size_t n = 0;
    enum sm_status status = sm_store__get_rows(g, observation_columns, &stored, &n, sizeof *stored, take_observation);
    if (status != SM_OK) {
        return status;
    }
    record->alignment->observation = sm_arena_alloc(g->arena, n * sizeof *record->alignment->observation);
    record->observation_id = sm_arena_alloc(g->arena, n * sizeof *record->observation_id);
    record->log_line = sm_arena_alloc(g->arena, n * sizeof *record->log_line);
    if (!record->alignment->observation || !record->observation_id || !record->log_line) {
        return sm_store__no_memory(g->err);
    }
    for (size_t i = 0; i < n; i++) {
        record->alignment->observation[i] = stored[i].observation;
        record->observation_id[i] = stored[i].observation_id;
        record->log_line[i] = stored[i].log_line;
    }
    record->alignment->n_observations = n;
    return SM_OK;
}
