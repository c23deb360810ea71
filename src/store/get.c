/* Surveys out of the job file: the list, and one survey as it was put. Nothing read is believed: indices and
 * sizes are checked. */
#include "store_internal.h"

#include <assert.h>
#include <string.h>

/* What the parts of one reading share. */
struct getting {
    struct sm_store *store;
    struct sm_arena *arena;
    struct sm_error *err;
    int64_t survey_id;
    bool wants_trace;
};

static enum sm_status damaged(struct getting *g, const char *what)
{
    sm_error_at(g->err, SM_E_FORMAT, g->store->path, 0, 0, "survey %lld: %s", (long long)g->survey_id, what);
    sm_error_remedy(g->err,
                    "the job file is damaged or was changed by another program: take the last good copy");
    return SM_E_FORMAT;
}

/* Copy text columns one after the other, from first on. */
static enum sm_status copy_texts(struct getting *g, sqlite3_stmt *stmt, int first, const char **const *out,
                                 size_t n)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_store__copy_text(out[i], g->arena, stmt, first + (int)i, g->err);
    }
    return status;
}

static int index_of(const char *const *words, int n, const char *word)
{
    for (int i = 0; i < n; i++) {
        if (word && words[i] && strcmp(words[i], word) == 0) {
            return i;
        }
    }
    return -1;
}

/* One row into the item given; called for each row of a query. */
typedef enum sm_status take_row_fn(struct getting *g, sqlite3_stmt *stmt, void *item);

/* All rows of a query about this survey into an arena array. @param items [out] address of the array pointer.
 */
static enum sm_status take_rows(struct getting *g, const char *sql, void *items, size_t *n, size_t size,
                                take_row_fn *take)
{
    sqlite3_stmt *stmt;
    enum sm_status status = SM_STORE__QUERY(g->store, &stmt, g->err, sql, sm_store__int(g->survey_id));
    unsigned char *block = NULL;
    size_t count = 0;
    size_t capacity = 0;
    bool has_row = false;
    while (status == SM_OK && (status = sm_store__next(g->store, stmt, &has_row, g->err)) == SM_OK &&
           has_row) {
        if (sm_grow(&block, count, &capacity, size) != SM_OK) {
            status = sm_store__no_memory(g->err);
        } else {
            memset(block + count * size, 0, size);
            status = take(g, stmt, block + count * size);
            count++;
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    void *kept = status == SM_OK ? sm_arena_alloc(g->arena, count * size) : NULL;
    if (status == SM_OK && !kept) {
        status = sm_store__no_memory(g->err);
    }
    if (status == SM_OK) {
        if (count) {
            memcpy(kept, block, count * size);
        }
        memcpy(items, &kept, sizeof kept);
        *n = count;
    }
    sm_free(block);
    return status;
}

/* ---- the list ---- */

#define SURVEY_COLUMNS                                                                                       \
    "SELECT s.survey_id, s.kind, coalesce(s.superseded_by, 0), s.key, s.date, s.operator, s.stored_at, "     \
    "g.name, s.from_node,"                                                                                   \
    " s.to_node, s.material, s.flow, s.length_m, s.diameter_mm, s.pipe_unit_length_m,"                       \
    " (SELECT count(*) FROM observation o WHERE o.survey_id = s.survey_id),"                                 \
    " (SELECT count(*) FROM repair r WHERE r.survey_id = s.survey_id),"                                      \
    " (SELECT count(*) FROM unrepaired u JOIN observation o USING (observation_id) WHERE o.survey_id = "     \
    "s.survey_id)"                                                                                           \
    " FROM survey s JOIN segment g USING (segment_id)"

static enum sm_status take_survey(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_survey *survey = item;
    struct sm_segment *segment = &survey->segment;
    const char *flow = NULL;
    const char **const text[] = {&survey->key,       &survey->date,      &survey->operator_name,
                                 &survey->stored_at, &segment->id,       &segment->from,
                                 &segment->to,       &segment->material, &flow};
    enum sm_status status = copy_texts(g, stmt, 3, text, sizeof text / sizeof *text);
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
    struct getting g = {.store = store, .arena = surveys->arena, .err = err};
    sqlite3_stmt *stmt;
    enum sm_status status =
        segment ? SM_STORE__QUERY(store, &stmt, err, SURVEY_COLUMNS " WHERE g.name = ? ORDER BY s.survey_id",
                                  sm_store__text(segment))
                : sm_store__query(store, &stmt, SURVEY_COLUMNS " ORDER BY g.name, s.survey_id", NULL, 0, err);
    size_t capacity = 0;
    bool has_row = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&surveys->item, surveys->n, &capacity, sizeof *surveys->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            surveys->item[surveys->n] = (struct sm_store_survey){0};
            status = take_survey(&g, stmt, &surveys->item[surveys->n++]);
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

/* ---- inputs, settings, trace ---- */

static enum sm_status take_input(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_input *input = item;
    const char **const text[] = {&input->role, &input->path};
    input->size_bytes = sqlite3_column_int64(stmt, 2);
    sm_strcopy(input->sha256, sizeof input->sha256, sm_store__column_text(stmt, 3));
    return copy_texts(g, stmt, 0, text, 2);
}

static enum sm_status take_setting(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_setting *setting = item;
    const char **const text[] = {&setting->name, &setting->value};
    return copy_texts(g, stmt, 0, text, 2);
}

/* Every packed reading takes at least three bytes, every jump one: a larger count is a lie. */
static enum sm_status take_trace(struct getting *g, sqlite3_stmt *stmt, void *item)
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
    int64_t n_readings = sqlite3_column_int64(stmt, 9);
    int64_t n_jumps = sqlite3_column_int64(stmt, 11);
    size_t readings_bytes = (size_t)sqlite3_column_bytes(stmt, 10);
    size_t jumps_bytes = (size_t)sqlite3_column_bytes(stmt, 12);
    bool is_sound = trace->format.decimals >= 0 && trace->format.decimals <= 9 && n_readings >= 0 &&
                    n_jumps >= 0 && (size_t)n_readings <= readings_bytes / 3 &&
                    (size_t)n_jumps <= jumps_bytes;
    if (!is_sound) {
        return damaged(g, "its trace is damaged");
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

/* ---- alignment ---- */

static enum sm_status take_alignment(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_alignment *alignment = item;
    alignment->clock_offset_s = sm_store__column_real(stmt, 1);
    alignment->clock_residual_s = sm_store__column_real(stmt, 2);
    alignment->misclosure_m = sm_store__column_real(stmt, 3);
    alignment->length_m = sm_store__column_real(stmt, 4);
    alignment->is_length_assumed = sqlite3_column_int(stmt, 5) != 0;
    alignment->tie_misfit_m = sm_store__column_real(stmt, 6);
    return copy_texts(g, stmt, 0, (const char **const[]){&alignment->method}, 1);
}

static enum sm_status take_tie(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(struct sm_tie *)item = (struct sm_tie){sqlite3_column_double(stmt, 0), sqlite3_column_double(stmt, 1)};
    return SM_OK;
}

static uint32_t flags_of(const char *words)
{
    uint32_t flags = 0;
    for (unsigned bit = 0; bit < SM_N_FLAGS; bit++) {
        const char *name = sm_flag_name((enum sm_flag)(1U << bit));
        size_t n = strlen(name);
        for (const char *at = words; (at = strstr(at, name)); at += n) {
            bool is_whole = (at == words || at[-1] == ' ') && (at[n] == ' ' || !at[n]);
            flags |= is_whole ? 1U << bit : 0;
        }
    }
    return flags;
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

static enum sm_status take_words(struct getting *g, sqlite3_stmt *stmt, struct sm_observation *o)
{
    static const char *const states[] = {"hidden", "carried", "read"};
    int treatment = treatment_of(sm_store__column_text(stmt, FIRST_WORD + 1));
    int source = source_of(sm_store__column_text(stmt, FIRST_WORD + 2));
    int state = index_of(states, 3, sm_store__column_text(stmt, FIRST_WORD + 3));
    if (treatment < 0 || source < 0 || state < 0) {
        return damaged(g, "an observation has a word that is not known");
    }
    o->flags = flags_of(sm_store__column_text(stmt, FIRST_WORD));
    o->treatment = (enum sm_treatment)treatment;
    o->source = (enum sm_distance_source)source;
    o->reading.state = (enum sm_reading_state)state;
    return SM_OK;
}

static enum sm_status take_observation(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct stored_observation *stored = item;
    struct sm_observation *o = &stored->observation;
    const char *name = NULL;
    const char **const text[] = {&name,  &o->code,   &o->ch1,    &o->ch2,    &o->q1,
                                 &o->q2, &o->remark, &o->reason, &o->prepare};
    enum sm_status status = copy_texts(g, stmt, 0, text, FIRST_WORD);
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

static enum sm_status get_observations(struct getting *g, struct sm_store_record *record)
{
    struct stored_observation *stored = NULL;
    size_t n = 0;
    enum sm_status status = take_rows(g, observation_columns, &stored, &n, sizeof *stored, take_observation);
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

/* ---- plan ---- */

static enum sm_status take_cure(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_cure_row *row = item;
    row->temperature_c = sm_store__column_real(stmt, 1);
    row->working_min = sm_store__column_real(stmt, 2);
    row->cure_min = sm_store__column_real(stmt, 3);
    return copy_texts(g, stmt, 0, (const char **const[]){&row->name}, 1);
}

static enum sm_status take_kit(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_kit *kit = item;
    const char **const text[] = {&kit->name, &kit->cure};
    kit->diameter_min_mm = sm_store__column_real(stmt, 2);
    kit->diameter_max_mm = sm_store__column_real(stmt, 3);
    kit->length_um = sqlite3_column_int64(stmt, 4);
    kit->cost = sm_store__column_real(stmt, 5);
    kit->layers = sqlite3_column_int(stmt, 6);
    kit->resin_l = sm_store__column_real(stmt, 7);
    kit->test_pressure_kpa = sm_store__column_real(stmt, 8);
    kit->max_pressure_kpa = sm_store__column_real(stmt, 9);
    return copy_texts(g, stmt, 0, text, 2);
}

static enum sm_status take_plan(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_plan *plan = item;
    plan->cost = sm_store__column_real(stmt, 1);
    plan->full_lining_cost = sm_store__column_real(stmt, 2);
    return copy_texts(g, stmt, 0, (const char **const[]){&plan->advice}, 1);
}

static enum sm_status take_target(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(struct sm_target *)item = (struct sm_target){sqlite3_column_int(stmt, 0), sqlite3_column_int64(stmt, 1),
                                                   sqlite3_column_int64(stmt, 2)};
    return SM_OK;
}

static enum sm_status take_unrepaired(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_unrepaired *unrepaired = item;
    unrepaired->observation_idx = sqlite3_column_int(stmt, 0);
    return copy_texts(g, stmt, 1, (const char **const[]){&unrepaired->reason}, 1);
}

struct stored_repair {
    struct sm_repair repair;
    int64_t repair_id;
};

static enum sm_status take_repair(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    struct stored_repair *stored = item;
    struct sm_repair *repair = &stored->repair;
    sm_strcopy(repair->id, sizeof repair->id, sm_store__column_text(stmt, 0));
    stored->repair_id = sqlite3_column_int64(stmt, 1);
    repair->kit_idx = sqlite3_column_int(stmt, 2);
    repair->start_um = sqlite3_column_int64(stmt, 3);
    repair->length_um = sqlite3_column_int64(stmt, 4);
    repair->mark_m = sm_store__column_real(stmt, 5);
    repair->slack_m = sm_store__column_real(stmt, 6);
    repair->cost = sm_store__column_real(stmt, 7);
    return SM_OK;
}

static enum sm_status take_idx(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(int32_t *)item = sqlite3_column_int(stmt, 0);
    return SM_OK;
}

static enum sm_status take_work(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    return copy_texts(g, stmt, 0, (const char **const[]){(const char **)item}, 1);
}

static enum sm_status get_repair_parts(struct getting *g, struct sm_repair *repair, int64_t repair_id)
{
    struct getting of_repair = {g->store, g->arena, g->err, repair_id, false};
    int32_t *covers = NULL;
    int32_t *reopens = NULL;
    const char **prepare = NULL;
    enum sm_status status =
        take_rows(&of_repair,
                  "SELECT o.ordinal FROM repair_observation x JOIN observation o USING (observation_id)"
                  " WHERE x.repair_id = ? AND x.relation = 'covers' ORDER BY x.ordinal",
                  &covers, &repair->n_covers, sizeof *covers, take_idx);
    if (status == SM_OK) {
        status =
            take_rows(&of_repair,
                      "SELECT o.ordinal FROM repair_observation x JOIN observation o USING (observation_id)"
                      " WHERE x.repair_id = ? AND x.relation = 'reopens' ORDER BY x.ordinal",
                      &reopens, &repair->n_reopens, sizeof *reopens, take_idx);
    }
    if (status == SM_OK) {
        status = take_rows(&of_repair, "SELECT work FROM repair_work WHERE repair_id = ? ORDER BY ordinal",
                           &prepare, &repair->n_prepare, sizeof *prepare, take_work);
    }
    repair->covers = covers;
    repair->reopens = reopens;
    repair->prepare = prepare;
    return status;
}

static enum sm_status get_repairs(struct getting *g, struct sm_store_record *record)
{
    struct stored_repair *stored = NULL;
    size_t n = 0;
    enum sm_status status = take_rows(
        g,
        "SELECT name, repair_id, kit_ordinal, start_um, length_um, mark_m, slack_m, cost FROM repair"
        " WHERE survey_id = ? ORDER BY ordinal",
        &stored, &n, sizeof *stored, take_repair);
    if (status != SM_OK) {
        return status;
    }
    struct sm_repair *repair = sm_arena_alloc(g->arena, n * sizeof *repair);
    record->repair_id = sm_arena_alloc(g->arena, n * sizeof *record->repair_id);
    if (!repair || !record->repair_id) {
        return sm_store__no_memory(g->err);
    }
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        repair[i] = stored[i].repair;
        record->repair_id[i] = stored[i].repair_id;
        bool has_kit = repair[i].kit_idx >= 0 && (size_t)repair[i].kit_idx < record->n_kits;
        status = has_kit ? get_repair_parts(g, &repair[i], stored[i].repair_id)
                         : damaged(g, "a repair has no kit");
    }
    record->plan->repair = repair;
    record->plan->n_repairs = n;
    return status;
}

static enum sm_status get_plan(struct getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    struct sm_target *target = NULL;
    struct sm_unrepaired *unrepaired = NULL;
    enum sm_status status =
        take_rows(g, "SELECT advice, cost, full_lining_cost FROM plan WHERE survey_id = ?", &record->plan, &n,
                  sizeof *record->plan, take_plan);
    if (status != SM_OK || n == 0) {
        record->plan = NULL;
        return status;
    }
    status = take_rows(
        g,
        "SELECT o.ordinal, t.start_um, t.end_um FROM target t JOIN observation o USING (observation_id)"
        " WHERE o.survey_id = ? ORDER BY t.ordinal",
        &target, &record->plan->n_targets, sizeof *target, take_target);
    record->plan->target = target;
    if (status == SM_OK) {
        status =
            take_rows(g,
                      "SELECT o.ordinal, u.reason FROM unrepaired u JOIN observation o USING (observation_id)"
                      " WHERE o.survey_id = ? ORDER BY u.ordinal",
                      &unrepaired, &record->plan->n_unrepaired, sizeof *unrepaired, take_unrepaired);
        record->plan->unrepaired = unrepaired;
    }
    return status == SM_OK ? get_repairs(g, record) : status;
}

/* Every index must point at an observation of this survey, whatever the file says. */
static bool is_within(const int32_t *idx, size_t n, size_t n_observations)
{
    for (size_t i = 0; i < n; i++) {
        if (idx[i] < 0 || (size_t)idx[i] >= n_observations) {
            return false;
        }
    }
    return true;
}

static enum sm_status check_plan(struct getting *g, const struct sm_store_record *record)
{
    const struct sm_plan *plan = record->plan;
    size_t n = record->alignment->n_observations;
    bool is_sound = true;
    for (size_t i = 0; plan && i < plan->n_targets; i++) {
        is_sound = is_sound && is_within(&plan->target[i].observation_idx, 1, n);
    }
    for (size_t i = 0; plan && i < plan->n_unrepaired; i++) {
        is_sound = is_sound && is_within(&plan->unrepaired[i].observation_idx, 1, n);
    }
    for (size_t i = 0; plan && i < plan->n_repairs; i++) {
        const struct sm_repair *repair = &plan->repair[i];
        is_sound = is_sound && is_within(repair->covers, repair->n_covers, n) &&
                   is_within(repair->reopens, repair->n_reopens, n);
    }
    return is_sound ? SM_OK : damaged(g, "its plan speaks of observations that are not there");
}

/* ---- findings ---- */

struct stored_finding {
    const char *stage;
    struct sm_finding finding;
};

static enum sm_status take_finding(struct getting *g, sqlite3_stmt *stmt, void *item)
{
    struct stored_finding *stored = item;
    struct sm_finding *finding = &stored->finding;
    const char *flag = NULL;
    const char **const text[] = {&stored->stage, &flag, &finding->source, &finding->message};
    finding->severity =
        strcmp(sm_store__column_text(stmt, 4), "warning") == 0 ? SM_SEVERITY_WARNING : SM_SEVERITY_NOTE;
    finding->line = (uint32_t)sqlite3_column_int64(stmt, 5);
    finding->time_s = sm_store__column_real(stmt, 6);
    finding->entry_idx = sqlite3_column_int(stmt, 7);
    enum sm_status status = copy_texts(g, stmt, 0, text, 4);
    finding->flag = flag ? (enum sm_flag)flags_of(flag) : (enum sm_flag)0;
    return status;
}

/* Rows come by stage; each run of one stage becomes a list over the rows themselves. */
static enum sm_status get_findings(struct getting *g, struct sm_store_record *record)
{
    struct stored_finding *stored = NULL;
    size_t n = 0;
    enum sm_status status =
        take_rows(g,
                  "SELECT stage, flag, source, message, severity, line, time_s, entry_idx FROM finding"
                  " WHERE survey_id = ? ORDER BY stage, ordinal",
                  &stored, &n, sizeof *stored, take_finding);
    if (status != SM_OK) {
        return status;
    }
    struct sm_finding *item = sm_arena_alloc(g->arena, n * sizeof *item);
    struct sm_findings *list = sm_arena_alloc(g->arena, n * sizeof *list);
    record->findings = sm_arena_alloc(g->arena, n * sizeof *record->findings);
    if (!item || !list || !record->findings) {
        return sm_store__no_memory(g->err);
    }
    for (size_t i = 0; i < n; i++) {
        item[i] = stored[i].finding;
        if (i == 0 || strcmp(stored[i].stage, stored[i - 1].stage) != 0) {
            list[record->n_stages] = (struct sm_findings){.item = &item[i]};
            record->findings[record->n_stages] =
                (struct sm_store_findings){stored[i].stage, &list[record->n_stages]};
            record->n_stages++;
        }
        list[record->n_stages - 1].n++;
    }
    return SM_OK;
}

/* ---- one survey ---- */

static enum sm_status get_head(struct getting *g, struct sm_store_record *record)
{
    struct sm_store_survey *survey = NULL;
    size_t n = 0;
    enum sm_status status =
        take_rows(g, SURVEY_COLUMNS " WHERE s.survey_id = ?", &survey, &n, sizeof *survey, take_survey);
    if (status == SM_OK && n == 0) {
        return sm_error_at(g->err, SM_E_NOTFOUND, g->store->path, 0, 0, "no survey %lld",
                           (long long)g->survey_id);
    }
    if (status == SM_OK) {
        record->survey = *survey;
        status = take_rows(
            g, "SELECT role, path, size_bytes, sha256 FROM input WHERE survey_id = ? ORDER BY ordinal",
            &record->input, &record->n_inputs, sizeof *record->input, take_input);
    }
    if (status == SM_OK) {
        status = take_rows(g, "SELECT name, value FROM setting WHERE survey_id = ? ORDER BY name",
                           &record->setting, &record->n_settings, sizeof *record->setting, take_setting);
    }
    return status;
}

static enum sm_status get_trace(struct getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    enum sm_status status = take_rows(
        g,
        "SELECT unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px, has_leading_zeros,"
        " has_decimal_comma, duration_s, n_readings, readings, n_jumps, jumps FROM trace WHERE survey_id = ?",
        &record->trace, &n, sizeof *record->trace, take_trace);
    if (n == 0) {
        record->trace = NULL;
    }
    return status;
}

static enum sm_status get_measured(struct getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    enum sm_status status = g->wants_trace ? get_trace(g, record) : SM_OK;
    if (status == SM_OK) {
        status = take_rows(g,
                           "SELECT method, clock_offset_s, clock_residual_s, misclosure_m, length_m, "
                           "is_length_assumed, tie_misfit_m"
                           " FROM alignment WHERE survey_id = ?",
                           &record->alignment, &n, sizeof *record->alignment, take_alignment);
    }
    if (status == SM_OK && n == 0) {
        return damaged(g, "it has no alignment");
    }
    if (status == SM_OK) {
        status = take_rows(g, "SELECT reading, true_m FROM tie WHERE survey_id = ? ORDER BY ordinal",
                           &record->alignment->tie, &record->alignment->n_ties,
                           sizeof *record->alignment->tie, take_tie);
    }
    return status == SM_OK ? get_observations(g, record) : status;
}

static enum sm_status fill_record(struct getting *g, struct sm_store_record *record)
{
    enum sm_status status = get_head(g, record);
    if (status == SM_OK) {
        status = get_measured(g, record);
    }
    if (status == SM_OK) {
        status = take_rows(g,
                           "SELECT name, cure, diameter_min_mm, diameter_max_mm, length_um, cost, layers, "
                           "resin_l, test_pressure_kpa,"
                           " max_pressure_kpa FROM kit WHERE survey_id = ? ORDER BY ordinal",
                           &record->kit, &record->n_kits, sizeof *record->kit, take_kit);
    }
    if (status == SM_OK) {
        status = take_rows(
            g, "SELECT name, temperature_c, working_min, cure_min FROM cure WHERE survey_id = ? ORDER BY ordinal",
            &record->cure_row, &record->n_cure_rows, sizeof *record->cure_row, take_cure);
    }
    if (status == SM_OK) {
        status = get_plan(g, record);
    }
    if (status == SM_OK) {
        status = check_plan(g, record);
    }
    return status == SM_OK ? get_findings(g, record) : status;
}

void sm_store_record_free(struct sm_store_record **record)
{
    if (record && *record) {
        sm_arena_free(&(*record)->arena);
        sm_free(*record);
        *record = NULL;
    }
}

static enum sm_status get_record(struct sm_store_record **out, struct sm_store *store, int64_t survey_id,
                                 bool wants_trace, struct sm_error *err)
{
    struct sm_store_record *record = sm_calloc(1, sizeof *record);
    if (!record || sm_arena_new(&record->arena) != SM_OK) {
        sm_free(record);
        return sm_store__no_memory(err);
    }
    struct getting g = {store, record->arena, err, survey_id, wants_trace};
    enum sm_status status = fill_record(&g, record);
    if (status != SM_OK) {
        sm_store_record_free(&record);
        return status;
    }
    *out = record;
    return SM_OK;
}

enum sm_status sm_store_get_reread(struct sm_trace **out, struct sm_arena *arena, struct sm_store *store,
                                   const char *survey_key, struct sm_box asked, struct sm_error *err)
{
    struct getting g = {store, arena, err, 0, false};
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
                                 "n_jumps, jumps FROM reread"
                                 " WHERE survey_key IN (SELECT key FROM line) AND asked = ?2 LIMIT 1",
                                 sm_store__text(survey_key), sm_store__text(place));
    bool has_row = false;
    bool is_found = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        is_found = true;
        status = take_trace(&g, stmt, trace);
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

enum sm_status sm_store_get_survey(struct sm_store_record **out, struct sm_store *store, int64_t survey_id,
                                   struct sm_error *err)
{
    return get_record(out, store, survey_id, true, err);
}

enum sm_status sm_store_get_results(struct sm_store_record **out, struct sm_store *store, int64_t survey_id,
                                    struct sm_error *err)
{
    return get_record(out, store, survey_id, false, err);
}
