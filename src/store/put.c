/* A survey with all that was made of it goes into the job file: recognised when known, else row by row in one
 * transaction. */
#include "store_internal.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* What the parts of one put share. */
struct putting {
    struct sm_store *store;
    const struct sm_store_put *put;
    struct sm_error *err;
    char key[65];
    int64_t survey_id;
    int64_t *observation_id; /* of each observation */
};

#define RUN(p, sql, ...) SM_STORE__RUN((p)->store, (p)->err, sql, __VA_ARGS__)

static const char *kind_name(enum sm_survey_kind kind)
{
    return kind == SM_SURVEY_RECHECK ? "recheck" : "survey";
}

/* ---- the key ---- */

static int compare_settings(const void *a, const void *b)
{
    const struct sm_store_setting *const *left = a;
    const struct sm_store_setting *const *right = b;
    return strcmp((*left)->name, (*right)->name);
}

static enum sm_status add_settings(struct sm_text *text, const struct sm_store_put *put)
{
    const struct sm_store_setting **order = sm_calloc(put->n_settings, sizeof *order);
    if (!order) {
        return SM_E_NOMEM;
    }
    for (size_t i = 0; i < put->n_settings; i++) {
        order[i] = &put->setting[i];
    }
    if (put->n_settings) {
        qsort(order, put->n_settings, sizeof *order, compare_settings);
    }
    for (size_t i = 0; i < put->n_settings; i++) {
        sm_text_addf(text, "%zu:%s=%zu:%s\n", strlen(order[i]->name), order[i]->name, strlen(order[i]->value),
                     order[i]->value);
    }
    sm_free(order);
    return SM_OK;
}

/* Names and places of files do not count: a survey copied elsewhere is the same survey. */
enum sm_status sm_store_make_key(char key[65], const struct sm_store_put *put, struct sm_error *err)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%s\n%zu:%s\n", kind_name(put->kind), strlen(put->segment->id), put->segment->id);
    for (size_t i = 0; i < put->n_inputs; i++) {
        sm_text_addf(&text, "%s %s\n", put->input[i].role, put->input[i].sha256);
    }
    enum sm_status status = add_settings(&text, put);
    if (status != SM_OK || text.failed) {
        status = sm_store__no_memory(err);
    } else {
        sm_sha256(text.data, text.length, key);
    }
    sm_text_release(&text);
    return status;
}

/* ---- survey, inputs, settings ---- */

enum sm_status sm_store_find_key(int64_t *survey_id, struct sm_store *store, const char *key,
                                 struct sm_error *err)
{
    sqlite3_stmt *stmt;
    int64_t found = 0;
    bool has_row = false;
    enum sm_status status = SM_STORE__QUERY(
        store, &stmt, err, "SELECT survey_id FROM survey WHERE key = ?", sm_store__text(key));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        found = sqlite3_column_int64(stmt, 0);
    }
    if (status == SM_OK) {
        *survey_id = found;
    }
    return status;
}

static enum sm_status find_known(struct putting *p, bool *is_known)
{
    enum sm_status status = sm_store_find_key(&p->survey_id, p->store, p->key, p->err);
    *is_known = status == SM_OK && p->survey_id;
    return status;
}

static enum sm_status put_survey(struct putting *p)
{
    static const char *const flows[] = {NULL, "from-to", "to-from"};
    const struct sm_segment *segment = p->put->segment;
    enum sm_status status =
        RUN(p, "INSERT INTO segment (name) VALUES (?) ON CONFLICT DO NOTHING", sm_store__text(segment->id));
    if (status != SM_OK) {
        return status;
    }
    status = RUN(
        p,
        "INSERT INTO survey (key, segment_id, kind, date, operator, stored_at, from_node, to_node, length_m,"
        " diameter_mm, pipe_unit_length_m, material, flow)"
        " VALUES (?, (SELECT segment_id FROM segment WHERE name = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        sm_store__text(p->key), sm_store__text(segment->id), sm_store__text(kind_name(p->put->kind)),
        sm_store__text(p->put->date), sm_store__text(p->put->operator_name),
        sm_store__words(p->put->stored_at), sm_store__text(segment->from), sm_store__text(segment->to),
        sm_store__real(segment->length_m), sm_store__real(segment->diameter_mm),
        sm_store__real(segment->pipe_unit_length_m), sm_store__text(segment->material),
        sm_store__text(flows[segment->flow]));
    p->survey_id = sqlite3_last_insert_rowid(p->store->db);
    return status;
}

/* What an input held, once for all surveys that share it. */
static enum sm_status put_content(struct putting *p, const struct sm_store_input *input)
{
    return input->content ? RUN(p, "INSERT OR IGNORE INTO input_content VALUES (?, ?)",
                                sm_store__text(input->sha256),
                                sm_store__blob(input->content, (size_t)input->size_bytes))
                          : SM_OK;
}

static enum sm_status put_inputs(struct putting *p)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < p->put->n_inputs; i++) {
        const struct sm_store_input *input = &p->put->input[i];
        status =
            RUN(p,
                "INSERT INTO input (survey_id, role, ordinal, path, size_bytes, sha256) VALUES (?, ?, ?, ?, "
                "?, ?)",
                sm_store__int(p->survey_id), sm_store__text(input->role), sm_store__int((int64_t)i),
                sm_store__text(input->path), sm_store__int(input->size_bytes), sm_store__text(input->sha256));
        status = status == SM_OK ? put_content(p, input) : status;
    }
    for (size_t i = 0; status == SM_OK && i < p->put->n_settings; i++) {
        status = RUN(p, "INSERT INTO setting (survey_id, name, value) VALUES (?, ?, ?)",
                     sm_store__int(p->survey_id), sm_store__text(p->put->setting[i].name),
                     sm_store__text(p->put->setting[i].value));
    }
    return status;
}

/* ---- trace and alignment ---- */

enum sm_status sm_store__put_trace_row(struct sm_store *store, const char *sql, const struct sm_store__value *whose,
                                    size_t n_whose, const struct sm_trace *trace, struct sm_error *err)
{
    enum { N_COLUMNS = 17, MAX_WHOSE = 2 };
    assert(n_whose <= MAX_WHOSE);
    const struct sm_counter_format *format = &trace->format;
    const char *unit = sm_unit_name(format->unit);
    struct sm_text readings = {0};
    struct sm_text jumps = {0};
    sm_store__pack_readings(&readings, trace);
    sm_store__pack_jumps(&jumps, trace);
    struct sm_store__value all[MAX_WHOSE + N_COLUMNS];
    const struct sm_store__value columns[N_COLUMNS] = {
        sm_store__text(*unit ? unit : NULL),
        sm_store__int(format->decimals),
        sm_store__int(format->box.x_px),
        sm_store__int(format->box.y_px),
        sm_store__int(format->box.width_px),
        sm_store__int(format->box.height_px),
        sm_store__int(format->has_leading_zeros),
        sm_store__int(format->has_decimal_comma),
        sm_store__real(trace->duration_s),
        sm_store__int((int64_t)trace->n_readings),
        sm_store__blob(readings.data, readings.length),
        sm_store__int((int64_t)trace->n_jumps),
        sm_store__blob(jumps.data, jumps.length),
        sm_store__real(trace->clock.is_known ? trace->clock.at_zero_s : SM_NAN),
        sm_store__real(trace->clock.is_known ? trace->clock.error_s : SM_NAN),
        sm_store__int((int64_t)trace->clock.n_seen),
        sm_store__real(trace->frame_rate_hz > 0 ? trace->frame_rate_hz : SM_NAN),
    };
    memcpy(all, whose, n_whose * sizeof *whose);
    memcpy(all + n_whose, columns, sizeof columns);
    enum sm_status status = readings.failed || jumps.failed
                                ? sm_store__no_memory(err)
                                : sm_store__run(store, sql, all, n_whose + N_COLUMNS, err);
    sm_text_release(&readings);
    sm_text_release(&jumps);
    return status;
}

static enum sm_status put_trace(struct putting *p)
{
    struct sm_store__value whose = sm_store__int(p->survey_id);
    return p->put->trace
               ? sm_store__put_trace_row(p->store,
                               "INSERT INTO trace VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", &whose,
                               1, p->put->trace, p->err)
               : SM_OK;
}

static enum sm_status put_alignment(struct putting *p)
{
    const struct sm_alignment *alignment = p->put->alignment;
    enum sm_status status =
        RUN(p, "INSERT INTO alignment VALUES (?, ?, ?, ?, ?, ?, ?, ?)", sm_store__int(p->survey_id),
            sm_store__words(alignment->method), sm_store__real(alignment->clock_offset_s),
            sm_store__real(alignment->clock_residual_s), sm_store__real(alignment->misclosure_m),
            sm_store__real(alignment->length_m), sm_store__int(alignment->is_length_assumed),
            sm_store__real(alignment->tie_misfit_m));
    for (size_t i = 0; status == SM_OK && i < alignment->n_ties; i++) {
        status = RUN(p, "INSERT INTO tie VALUES (?, ?, ?, ?)", sm_store__int(p->survey_id),
                     sm_store__int((int64_t)i), sm_store__real(alignment->tie[i].reading),
                     sm_store__real(alignment->tie[i].true_m));
    }
    return status;
}

static void flag_words(struct sm_text *text, uint32_t flags)
{
    for (unsigned bit = 0; bit < SM_N_FLAGS; bit++) {
        if (flags & 1U << bit) {
            sm_text_addf(text, "%s%s", text->length ? " " : "", sm_flag_name((enum sm_flag)(1U << bit)));
        }
    }
}

static int64_t log_line(const struct sm_store_put *put, const struct sm_observation *observation)
{
    bool is_there =
        put->log && observation->entry_idx >= 0 && (size_t)observation->entry_idx < put->log->n_entries;
    return is_there ? put->log->entry[observation->entry_idx].line : 0;
}

static enum sm_status put_observation(struct putting *p, size_t idx)
{
    const struct sm_observation *o = &p->put->alignment->observation[idx];
    const struct sm_reading *reading = &o->reading;
    bool has_reading = reading->state != SM_READING_HIDDEN;
    struct sm_text flags = {0};
    flag_words(&flags, o->flags);
    if (flags.failed) {
        return sm_store__no_memory(p->err);
    }
    enum sm_status status = RUN(
        p,
        "INSERT INTO observation (survey_id, ordinal, name, log_line, entry_idx, end_entry_idx, code, ch1, "
        "ch2, q1, q2, q1_value,"
        " q2_value, clock_from_h, clock_to_h, is_at_joint, diameter_mm, remark, time_s, reading_time_s, "
        "reading_counts,"
        " reading_confidence, reading_state, logged_m, distance_m, distance_source, start_m, end_m, error_m, "
        "error_placement_m,"
        " error_reading_m, error_distance_m, treatment, reason, prepare, flags, is_node, is_connection)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
        "?, ?, ?, ?, ?, ?, ?, ?)",
        sm_store__int(p->survey_id), sm_store__int((int64_t)idx), sm_store__text(o->id),
        sm_store__int_or_null(log_line(p->put, o), 0), sm_store__int(o->entry_idx),
        sm_store__int(o->end_entry_idx), sm_store__words(o->code), sm_store__words(o->ch1),
        sm_store__words(o->ch2), sm_store__words(o->q1), sm_store__words(o->q2), sm_store__real(o->q1_value),
        sm_store__real(o->q2_value), sm_store__int(o->clock_from_h), sm_store__int(o->clock_to_h),
        sm_store__int(o->is_at_joint), sm_store__real(o->diameter_mm), sm_store__words(o->remark),
        sm_store__real(o->time_s), sm_store__real(has_reading ? reading->time_s : SM_NAN),
        has_reading ? sm_store__int(reading->counts) : sm_store__text(NULL),
        sm_store__real(has_reading ? (double)reading->confidence : SM_NAN),
        sm_store__text(sm_reading_state_name(reading->state)), sm_store__real(o->logged_m),
        sm_store__real(o->distance_m), sm_store__text(sm_distance_source_name(o->source)),
        sm_store__real(o->start_m), sm_store__real(o->end_m), sm_store__real(o->error_m),
        sm_store__real(o->error_placement_m), sm_store__real(o->error_reading_m),
        sm_store__real(o->error_distance_m), sm_store__text(sm_treatment_name(o->treatment)),
        sm_store__words(o->reason), sm_store__words(o->prepare), sm_store__words(flags.data),
        sm_store__int(o->is_node), sm_store__int(o->is_connection));
    p->observation_id[idx] = sqlite3_last_insert_rowid(p->store->db);
    sm_text_release(&flags);
    return status;
}

static enum sm_status put_observations(struct putting *p)
{
    size_t n = p->put->alignment->n_observations;
    p->observation_id = sm_calloc(n, sizeof *p->observation_id);
    enum sm_status status = p->observation_id ? SM_OK : sm_store__no_memory(p->err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = put_observation(p, i);
    }
    return status;
}

/* ---- plan ---- */

static enum sm_status put_kits(struct putting *p)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < p->put->n_kits; i++) {
        const struct sm_kit *kit = &p->put->kit[i];
        status =
            RUN(p, "INSERT INTO kit VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", sm_store__int(p->survey_id),
                sm_store__int((int64_t)i), sm_store__words(kit->name), sm_store__real(kit->diameter_min_mm),
                sm_store__real(kit->diameter_max_mm), sm_store__int(kit->length_um),
                sm_store__real(kit->cost), sm_store__int_or_null(kit->layers, 0),
                sm_store__real(kit->resin_l), sm_store__real(kit->test_pressure_kpa),
                sm_store__real(kit->max_pressure_kpa), sm_store__text(kit->cure));
    }
    for (size_t i = 0; status == SM_OK && i < p->put->n_cure_rows; i++) {
        const struct sm_cure_row *row = &p->put->cure_row[i];
        status = RUN(p, "INSERT INTO cure VALUES (?, ?, ?, ?, ?, ?)", sm_store__int(p->survey_id),
                     sm_store__int((int64_t)i), sm_store__words(row->name), sm_store__real(row->temperature_c),
                     sm_store__real(row->working_min), sm_store__real(row->cure_min));
    }
    return status;
}

static int64_t row_of(const struct putting *p, int32_t observation_idx)
{
    assert(observation_idx >= 0 && (size_t)observation_idx < p->put->alignment->n_observations);
    return p->observation_id[observation_idx];
}

static enum sm_status put_relations(struct putting *p, int64_t repair_id, const char *relation,
                                    const int32_t *idx, size_t n)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = RUN(p, "INSERT INTO repair_observation VALUES (?, ?, ?, ?)", sm_store__int(repair_id),
                     sm_store__text(relation), sm_store__int((int64_t)i), sm_store__int(row_of(p, idx[i])));
    }
    return status;
}

static enum sm_status put_repair(struct putting *p, size_t idx)
{
    const struct sm_repair *repair = &p->put->plan->repair[idx];
    enum sm_status status =
        RUN(p,
            "INSERT INTO repair (survey_id, ordinal, name, kit_ordinal, start_um, length_um, mark_m, "
            "slack_m, cost)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            sm_store__int(p->survey_id), sm_store__int((int64_t)idx), sm_store__text(repair->id),
            sm_store__int(repair->kit_idx), sm_store__int(repair->start_um), sm_store__int(repair->length_um),
            sm_store__real(repair->mark_m), sm_store__real(repair->slack_m), sm_store__real(repair->cost));
    int64_t repair_id = sqlite3_last_insert_rowid(p->store->db);
    if (status == SM_OK) {
        status = put_relations(p, repair_id, "covers", repair->covers, repair->n_covers);
    }
    if (status == SM_OK) {
        status = put_relations(p, repair_id, "reopens", repair->reopens, repair->n_reopens);
    }
    for (size_t i = 0; status == SM_OK && i < repair->n_prepare; i++) {
        status = RUN(p, "INSERT INTO repair_work VALUES (?, ?, ?)", sm_store__int(repair_id),
                     sm_store__int((int64_t)i), sm_store__words(repair->prepare[i]));
    }
    return status;
}

static enum sm_status put_plan(struct putting *p)
{
    const struct sm_plan *plan = p->put->plan;
    if (!plan) {
        return SM_OK;
    }
    enum sm_status status = RUN(p, "INSERT INTO plan VALUES (?, ?, ?, ?)", sm_store__int(p->survey_id),
                                sm_store__real(plan->cost), sm_store__real(plan->full_lining_cost),
                                sm_store__words(plan->advice));
    for (size_t i = 0; status == SM_OK && i < plan->n_targets; i++) {
        const struct sm_target *target = &plan->target[i];
        status = RUN(p, "INSERT INTO target VALUES (?, ?, ?, ?)",
                     sm_store__int(row_of(p, target->observation_idx)), sm_store__int((int64_t)i),
                     sm_store__int(target->start_um), sm_store__int(target->end_um));
    }
    for (size_t i = 0; status == SM_OK && i < plan->n_repairs; i++) {
        status = put_repair(p, i);
    }
    for (size_t i = 0; status == SM_OK && i < plan->n_unrepaired; i++) {
        status = RUN(p, "INSERT INTO unrepaired VALUES (?, ?, ?)",
                     sm_store__int(row_of(p, plan->unrepaired[i].observation_idx)), sm_store__int((int64_t)i),
                     sm_store__words(plan->unrepaired[i].reason));
    }
    return status;
}

static enum sm_status put_findings(struct putting *p)
{
    enum sm_status status = SM_OK;
    for (size_t s = 0; s < p->put->n_findings; s++) {
        const struct sm_store_findings *stage = &p->put->findings[s];
        for (size_t i = 0; status == SM_OK && i < stage->findings->n; i++) {
            const struct sm_finding *finding = &stage->findings->item[i];
            status = RUN(p, "INSERT INTO finding VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                         sm_store__int(p->survey_id), sm_store__text(stage->stage), sm_store__int((int64_t)i),
                         sm_store__text(sm_flag_name(finding->flag)),
                         sm_store__text(finding->severity == SM_SEVERITY_WARNING ? "warning" : "note"),
                         sm_store__text(finding->source), sm_store__int_or_null(finding->line, 0),
                         sm_store__real(finding->time_s), sm_store__int(finding->entry_idx),
                         sm_store__words(finding->message));
        }
    }
    return status;
}

/* ---- history ---- */

static enum sm_status tell(struct putting *p, const char *event, const char *survey_key, const char *detail)
{
    const struct sm_store_put *put = p->put;
    return sm_store_put_event(p->store,
                              &(struct sm_store_event){.at = put->stored_at,
                                                       .who = put->who,
                                                       .event = event,
                                                       .segment = put->segment->id,
                                                       .survey_key = survey_key,
                                                       .subject = "",
                                                       .detail = detail},
                              p->err);
}

/* Earlier current runs over the same recording: same kind and segment, the same videos and logs by content,
 * and at least one. */
static const char same_recording[] =
    "SELECT s.survey_id, s.key FROM survey s WHERE s.survey_id <> ?1 AND s.superseded_by IS NULL"
    " AND s.segment_id = (SELECT segment_id FROM survey WHERE survey_id = ?1)"
    " AND s.kind = (SELECT kind FROM survey WHERE survey_id = ?1)"
    " AND EXISTS (SELECT 1 FROM input WHERE survey_id = ?1 AND role IN ('video', 'log'))"
    " AND (SELECT group_concat(role || sha256, ' ') FROM (SELECT role, sha256 FROM input WHERE survey_id = ?1"
    "      AND role IN ('video', 'log') ORDER BY role, ordinal))"
    "   = (SELECT group_concat(role || sha256, ' ') FROM (SELECT role, sha256 FROM input WHERE survey_id = "
    "s.survey_id"
    "      AND role IN ('video', 'log') ORDER BY role, ordinal))";

static enum sm_status supersede(struct putting *p)
{
    sqlite3_stmt *stmt;
    for (;;) {
        enum sm_status status =
            SM_STORE__QUERY(p->store, &stmt, p->err, same_recording, sm_store__int(p->survey_id));
        bool has_row = false;
        if (status == SM_OK) {
            status = sm_store__next(p->store, stmt, &has_row, p->err);
        }
        if (status != SM_OK || !has_row) {
            return status;
        }
        int64_t earlier = sqlite3_column_int64(stmt, 0);
        char key[65];
        sm_strcopy(key, sizeof key, sm_store__column_text(stmt, 1));
        sqlite3_reset(stmt);
        status = RUN(p, "UPDATE survey SET superseded_by = ? WHERE survey_id = ?",
                     sm_store__int(p->survey_id), sm_store__int(earlier));
        if (status == SM_OK) {
            struct sm_text detail = {0};
            sm_text_addf(&detail, "by %s", p->key);
            status =
                detail.failed ? sm_store__no_memory(p->err) : tell(p, "survey superseded", key, detail.data);
            sm_text_release(&detail);
        }
        if (status != SM_OK) {
            return status;
        }
    }
}

enum sm_status sm_store__count_kept(int64_t *n, struct sm_store *store, int64_t survey_id, struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status =
        SM_STORE__QUERY(store, &stmt, err, "SELECT count(*) FROM input JOIN input_content USING (sha256) WHERE survey_id = ?",
                        sm_store__int(survey_id));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        *n = sqlite3_column_int64(stmt, 0);
    }
    return status;
}

static enum sm_status tell_stored(struct putting *p)
{
    struct sm_text detail = {0};
    char digest[65];
    int64_t n_kept = 0;
    enum sm_status digested = sm_store__digest(digest, p->store, p->survey_id, p->err);
    digested = digested == SM_OK ? sm_store__count_kept(&n_kept, p->store, p->survey_id, p->err) : digested;
    if (digested != SM_OK) {
        return digested;
    }
    const struct sm_plan *plan = p->put->plan;
    sm_text_addf(&detail, "%zu observations", p->put->alignment->n_observations);
    if (plan) {
        sm_text_addf(&detail, ", %zu repairs, %zu unrepaired", plan->n_repairs, plan->n_unrepaired);
    }
    sm_text_addf(&detail, ", results %s, %lld inputs kept", digest, (long long)n_kept);
    enum sm_status status =
        detail.failed ? sm_store__no_memory(p->err)
                      : tell(p, p->put->kind == SM_SURVEY_RECHECK ? "recheck stored" : "survey stored",
                             p->key, detail.data);
    sm_text_release(&detail);
    return status;
}

/* ---- all of it ---- */

static enum sm_status put_all(struct putting *p)
{
    static enum sm_status (*const parts[])(struct putting *) = {
        put_survey, put_inputs, put_trace,    put_alignment, put_observations,
        put_kits,   put_plan,   put_findings, tell_stored,   supersede,
    };
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof parts / sizeof *parts; i++) {
        status = parts[i](p);
    }
    return status;
}

static enum sm_status put_if_new(struct putting *p, bool *is_known)
{
    enum sm_status status = sm_store_make_key(p->key, p->put, p->err);
    if (status == SM_OK) {
        status = find_known(p, is_known);
    }
    if (status == SM_OK && !*is_known) {
        status = put_all(p);
    }
    sm_free(p->observation_id);
    return status;
}

enum sm_status sm_store_put_schedule(struct sm_store *store, const struct sm_store_put *put,
                                     int64_t *survey_id, bool *is_known, struct sm_error *err)
{
    assert(put->segment->id && put->alignment && put->stored_at && put->who);
    struct putting p = {.store = store, .put = put, .err = err};
    bool is_own = false;
    bool known = false;
    enum sm_status status = sm_store__join(store, &is_own, err);
    if (status == SM_OK) {
        status = put_if_new(&p, &known);
    }
    status = sm_store__leave(store, is_own, status, err);
    if (status == SM_OK && survey_id) {
        *survey_id = p.survey_id;
    }
    if (status == SM_OK && is_known) {
        *is_known = known;
    }
    return status;
}
