/* One survey as it was put. Nothing read is believed: indices and sizes are checked. */
#include "get_internal.h"

#include <assert.h>
#include <string.h>

enum sm_status sm_store__get_damaged(struct sm_store__getting *g, const char *what)
{
    sm_error_at(g->err, SM_E_FORMAT, g->store->path, 0, 0, "survey %lld: %s", (long long)g->survey_id, what);
    sm_error_remedy(g->err,
                    "the job file is damaged or was changed by another program: take the last good copy");
    return SM_E_FORMAT;
}

enum sm_status sm_store__get_texts(struct sm_store__getting *g, sqlite3_stmt *stmt, int first, const char **const *out,
                                 size_t n, unsigned may_be_null)
{
    return sm_store__copy_texts(out, n, may_be_null, g->arena, stmt, first, g->err);
}

enum sm_status sm_store__get_rows(struct sm_store__getting *g, const char *sql, void *items, size_t *n, size_t size,
                                sm_store__take_row_fn *take)
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

uint32_t sm_store__get_flags(const char *words)
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

/* ---- parts ---- */

static enum sm_status take_input(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_input *input = item;
    const char **const text[] = {&input->role, &input->path};
    input->size_bytes = sqlite3_column_int64(stmt, 2);
    sm_strcopy(input->sha256, sizeof input->sha256, sm_store__column_text(stmt, 3));
    return sm_store__get_texts(g, stmt, 0, text, 2, 0);
}

static enum sm_status take_setting(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_store_setting *setting = item;
    const char **const text[] = {&setting->name, &setting->value};
    return sm_store__get_texts(g, stmt, 0, text, 2, 0);
}

static enum sm_status take_alignment(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_alignment *alignment = item;
    alignment->clock_offset_s = sm_store__column_real(stmt, 1);
    alignment->clock_residual_s = sm_store__column_real(stmt, 2);
    alignment->misclosure_m = sm_store__column_real(stmt, 3);
    alignment->length_m = sm_store__column_real(stmt, 4);
    alignment->is_length_assumed = sqlite3_column_int(stmt, 5) != 0;
    alignment->tie_misfit_m = sm_store__column_real(stmt, 6);
    return sm_store__get_texts(g, stmt, 0, (const char **const[]){&alignment->method}, 1, 0);
}

static enum sm_status take_tie(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(struct sm_tie *)item = (struct sm_tie){sqlite3_column_double(stmt, 0), sqlite3_column_double(stmt, 1)};
    return SM_OK;
}

static enum sm_status take_cure(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_cure_row *row = item;
    row->temperature_c = sm_store__column_real(stmt, 1);
    row->working_min = sm_store__column_real(stmt, 2);
    row->cure_min = sm_store__column_real(stmt, 3);
    return sm_store__get_texts(g, stmt, 0, (const char **const[]){&row->name}, 1, 0);
}

static enum sm_status take_kit(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
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
    return sm_store__get_texts(g, stmt, 0, text, 2, 1U << 1);
}

/* ---- findings ---- */

struct stored_finding {
    const char *stage;
    struct sm_finding finding;
};

static enum sm_status take_finding(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
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
    enum sm_status status = sm_store__get_texts(g, stmt, 0, text, 4, 1U << 1 | 1U << 2);
    finding->flag = flag ? (enum sm_flag)sm_store__get_flags(flag) : (enum sm_flag)0;
    return status;
}

/* Rows come by stage; each run of one stage becomes a list over the rows themselves. */
static enum sm_status get_findings(struct sm_store__getting *g, struct sm_store_record *record)
{
    struct stored_finding *stored = NULL;
    size_t n = 0;
    enum sm_status status =
        sm_store__get_rows(g,
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

static enum sm_status get_head(struct sm_store__getting *g, struct sm_store_record *record)
{
    struct sm_store_survey *survey = NULL;
    size_t n = 0;
    enum sm_status status =
        sm_store__get_rows(g, SM_STORE__SURVEY_COLUMNS " WHERE s.survey_id = ?", &survey, &n, sizeof *survey, sm_store__take_survey);
    if (status == SM_OK && n == 0) {
        return sm_error_at(g->err, SM_E_NOTFOUND, g->store->path, 0, 0, "no survey %lld",
                           (long long)g->survey_id);
    }
    if (status == SM_OK) {
        record->survey = *survey;
        status = sm_store__get_rows(
            g, "SELECT role, path, size_bytes, sha256 FROM input WHERE survey_id = ? ORDER BY ordinal",
            &record->input, &record->n_inputs, sizeof *record->input, take_input);
    }
    if (status == SM_OK) {
        status = sm_store__get_rows(g, "SELECT name, value FROM setting WHERE survey_id = ? ORDER BY name",
                           &record->setting, &record->n_settings, sizeof *record->setting, take_setting);
    }
    return status;
}

static enum sm_status get_measured(struct sm_store__getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    enum sm_status status = g->wants_trace ? sm_store__get_trace(g, record) : SM_OK;
    if (status == SM_OK) {
        status = sm_store__get_rows(g,
                           "SELECT method, clock_offset_s, clock_residual_s, misclosure_m, length_m, "
                           "is_length_assumed, tie_misfit_m"
                           " FROM alignment WHERE survey_id = ?",
                           &record->alignment, &n, sizeof *record->alignment, take_alignment);
    }
    if (status == SM_OK && n == 0) {
        return sm_store__get_damaged(g, "it has no alignment");
    }
    if (status == SM_OK) {
        status = sm_store__get_rows(g, "SELECT reading, true_m FROM tie WHERE survey_id = ? ORDER BY ordinal",
                           &record->alignment->tie, &record->alignment->n_ties,
                           sizeof *record->alignment->tie, take_tie);
    }
    return status == SM_OK ? sm_store__get_observations(g, record) : status;
}

static enum sm_status fill_record(struct sm_store__getting *g, struct sm_store_record *record)
{
    enum sm_status status = get_head(g, record);
    if (status == SM_OK) {
        status = get_measured(g, record);
    }
    if (status == SM_OK) {
        status = sm_store__get_rows(g,
                           "SELECT name, cure, diameter_min_mm, diameter_max_mm, length_um, cost, layers, "
                           "resin_l, test_pressure_kpa,"
                           " max_pressure_kpa FROM kit WHERE survey_id = ? ORDER BY ordinal",
                           &record->kit, &record->n_kits, sizeof *record->kit, take_kit);
    }
    if (status == SM_OK) {
        status = sm_store__get_rows(
            g, "SELECT name, temperature_c, working_min, cure_min FROM cure WHERE survey_id = ? ORDER BY ordinal",
            &record->cure_row, &record->n_cure_rows, sizeof *record->cure_row, take_cure);
    }
    if (status == SM_OK) {
        status = sm_store__get_plan(g, record);
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
    struct sm_store__getting g = {store, record->arena, err, survey_id, wants_trace};
    enum sm_status status = fill_record(&g, record);
    if (status != SM_OK) {
        sm_store_record_free(&record);
        return status;
    }
    *out = record;
    return SM_OK;
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
