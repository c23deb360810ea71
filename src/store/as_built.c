/*
 * What the crew did, as rows that are only ever added. A row is known by its content, so that a file taken in twice, or
 * on two machines, stands once; a correction names the row it takes the place of.
 */
#include "store_internal.h"

#include <assert.h>
#include <string.h>

/* ---- content ---- */

static int64_t micrometres(double length_m)
{
    return isfinite(length_m) ? (int64_t)llround(length_m * 1e6) : INT64_MIN;
}

static struct sm_store__value length_value(double length_m)
{
    return sm_store__int_or_null(micrometres(length_m), INT64_MIN);
}

static void add_length(struct sm_text *text, double length_m)
{
    sm_text_addf(text, "%lld\n", (long long)micrometres(length_m));
}

static void add_number(struct sm_text *text, double value)
{
    sm_text_add_number(text, value, 0, 6);
    sm_text_add(text, "\n");
}

/* Where the row stands in which file does not count; a copy elsewhere says the same. */
static enum sm_status content_of(char hex[65], const struct sm_recorded *a, struct sm_error *err)
{
    const struct sm_as_built *r = &a->row;
    const char *const words[] = {r->segment, a->survey_key, r->repair, r->date,  r->crew,     r->kit,     r->lot,
                                 r->result,  r->remark,     r->mixed,  r->inflated, r->deflated};
    struct sm_text text = {0};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        sm_text_addf(&text, "%zu:%s\n", strlen(words[i]), words[i]);
    }
    sm_text_addf(&text, "%d %d\n", (int)r->occurrence, (int)r->is_in_place);
    add_length(&text, r->liner_length_m);
    add_length(&text, r->stop_m);
    add_length(&text, r->mark_m);
    add_number(&text, r->test_pressure_kpa);
    add_number(&text, r->pressure_kpa);
    add_number(&text, r->pipe_temperature_c);
    if (!text.failed) {
        sm_sha256(text.data, text.length, hex);
    }
    enum sm_status status = text.failed ? sm_store__no_memory(err) : SM_OK;
    sm_text_release(&text);
    return status;
}

enum sm_status sm_store__as_built_key(char content[65], char key[65], const struct sm_recorded *a, struct sm_error *err)
{
    enum sm_status status = content_of(content, a, err);
    return status == SM_OK ? sm_store__hash_fields(key, (const char *const[]){content, a->corrects}, 2, err) : status;
}

/* Apart, since jobs made apart may agree on a row and not on what was found about it. */
enum sm_status sm_store__as_built_digests(char noted[65], char found[65], struct sm_store *store, const char *key,
                                          struct sm_error *err)
{
    const struct sm_store__value value = sm_store__text(key);
    enum sm_status status = sm_store__digest_rows(
        noted, store, "SELECT " SM_STORE__AS_BUILT_COLUMNS " FROM as_built WHERE key = ?", NULL, &value, 1, err);
    return status == SM_OK ? sm_store__digest_rows(found, store,
                                                   "SELECT ordinal, concerns, severity, message FROM as_built_finding"
                                                   " WHERE as_built_key = ? ORDER BY ordinal",
                                                   NULL, &value, 1, err)
                           : status;
}

/* ---- what is there already ---- */

/* First column of the first row as text; "" = no row. */
static enum sm_status first_text(struct sm_store *store, sqlite3_stmt *stmt, char *out, size_t size,
                                 struct sm_error *err)
{
    bool has_row = false;
    enum sm_status status = sm_store__next(store, stmt, &has_row, err);
    sm_strcopy(out, size, status == SM_OK && has_row ? sm_store__column_text(stmt, 0) : "");
    if (status == SM_OK && has_row) {
        sqlite3_reset(stmt);
    }
    return status;
}

static enum sm_status find_same(struct sm_store *store, const char *content, char in_force[8], struct sm_error *err)
{
    sqlite3_stmt *stmt;
    enum sm_status status = SM_STORE__QUERY(
        store, &stmt, err,
        "SELECT CASE WHEN EXISTS (SELECT 1 FROM as_built_in_force f WHERE f.as_built_id = a.as_built_id) THEN 'yes' "
        "ELSE 'no' END AS counts FROM as_built a WHERE content = ? ORDER BY counts DESC LIMIT 1",
        sm_store__text(content));
    return status == SM_OK ? first_text(store, stmt, in_force, 8, err) : status;
}

/* The row that counts and that this one takes the place of: of the same day before one of no day, before (for one that
 * says it is a correction) one of another day. */
static enum sm_status find_corrected(struct sm_store *store, const struct sm_recorded *a, char key[65],
                                     struct sm_error *err)
{
    sqlite3_stmt *stmt;
    enum sm_status status = SM_STORE__QUERY(
        store, &stmt, err,
        "SELECT key FROM as_built_in_force WHERE segment = ?1 AND survey_key = ?2 AND repair = ?3 AND repair <> ''"
        " AND (occurrence = ?4 OR ?6) AND (coalesce(date, '') = ?5 OR ?5 = '' OR date IS NULL OR ?6)"
        " ORDER BY coalesce(date, '') = ?5 DESC, occurrence = ?4 DESC, recorded_at DESC, key DESC LIMIT 1",
        sm_store__text(a->row.segment), sm_store__text(a->survey_key), sm_store__text(a->row.repair),
        sm_store__int(a->row.occurrence), sm_store__text(a->row.date), sm_store__int(a->row.is_correction));
    return status == SM_OK ? first_text(store, stmt, key, 65, err) : status;
}

/* ---- putting ---- */

struct putting {
    struct sm_store *store;
    const struct sm_recorded *as_built;
    struct sm_error *err;
    char content[65], corrects[65], key[65];
};

static enum sm_status insert_row(struct putting *p)
{
    const struct sm_recorded *a = p->as_built;
    const struct sm_as_built *r = &a->row;
    return SM_STORE__RUN(
        p->store, p->err,
        "INSERT INTO as_built (" SM_STORE__AS_BUILT_COLUMNS ")"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, nullif(?, ''), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, nullif(?, ''),"
        " nullif(?, ''), nullif(?, ''), ?, ?, ?, ?, ?)",
        sm_store__text(p->key), sm_store__text(p->content), sm_store__text(p->corrects), sm_store__text(r->segment),
        sm_store__text(a->survey_key), sm_store__text(r->repair), sm_store__int(a->is_planned),
        sm_store__int(r->occurrence), sm_store__text(r->date), sm_store__text(r->crew), sm_store__text(r->kit),
        sm_store__text(r->lot), sm_store__text(r->result),
        sm_store__text(r->is_in_place ? "in place" : "not in place"), sm_store__text(r->remark),
        length_value(r->liner_length_m), length_value(r->stop_m), length_value(r->stop_digit_m), length_value(r->mark_m),
        sm_store__real(r->test_pressure_kpa), sm_store__real(r->pressure_kpa), sm_store__real(r->pipe_temperature_c),
        sm_store__text(r->mixed), sm_store__text(r->inflated), sm_store__text(r->deflated), sm_store__text(a->source),
        sm_store__text(a->source_sha256), sm_store__int(r->line), sm_store__text(a->recorded_at),
        sm_store__text(a->who));
}

static enum sm_status insert_remarks(struct putting *p)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < p->as_built->n_remarks; i++) {
        const struct sm_remark *remark = &p->as_built->remark[i];
        status = SM_STORE__RUN(p->store, p->err, "INSERT INTO as_built_finding VALUES (?, ?, ?, ?, ?)",
                               sm_store__text(p->key), sm_store__int((int64_t)i), sm_store__text(remark->concerns),
                               sm_store__text(remark->severity == SM_SEVERITY_WARNING ? "warning" : "note"),
                               sm_store__text(remark->message));
    }
    return status;
}

/* Key and digests in the history tie the row to the chain: a row taken out later leaves its event behind. */
static enum sm_status tell(struct putting *p)
{
    const struct sm_recorded *a = p->as_built;
    char noted[65];
    char found[65];
    enum sm_status digested = sm_store__as_built_digests(noted, found, p->store, p->key, p->err);
    if (digested != SM_OK) {
        return digested;
    }
    struct sm_text detail = {0};
    sm_text_addf(&detail, "row %s", p->key);
    if (*p->corrects) {
        sm_text_addf(&detail, " in place of %s", p->corrects);
    }
    sm_text_addf(&detail, ", noted %s, found %s", noted, found);
    struct sm_store_event event = {
        .at = a->recorded_at,
        .who = a->who,
        .event = *p->corrects ? "as-built corrected" : "as-built recorded",
        .segment = a->row.segment,
        .survey_key = a->survey_key,
        .subject = a->row.repair,
        .detail = sm_text_str(&detail),
    };
    enum sm_status status =
        detail.failed ? sm_store__no_memory(p->err) : sm_store_put_event(p->store, &event, p->err);
    sm_text_release(&detail);
    return status;
}

static enum sm_status put_row(struct putting *p, enum sm_store_taken *taken)
{
    char in_force[8];
    enum sm_status status = content_of(p->content, p->as_built, p->err);
    if (status == SM_OK) {
        status = find_same(p->store, p->content, in_force, p->err);
    }
    if (status != SM_OK) {
        return status;
    }
    if (strcmp(in_force, "yes") == 0 || (*in_force && !p->as_built->row.is_correction)) {
        *taken = strcmp(in_force, "yes") == 0 ? SM_STORE_TAKEN_KNOWN : SM_STORE_TAKEN_OUTDATED;
        return SM_OK;
    }
    status = find_corrected(p->store, p->as_built, p->corrects, p->err);
    if (status == SM_OK) {
        status = sm_store__hash_fields(p->key, (const char *const[]){p->content, p->corrects}, 2, p->err);
    }
    static enum sm_status (*const steps[])(struct putting *) = {insert_row, insert_remarks, tell};
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](p);
    }
    *taken = *p->corrects ? SM_STORE_TAKEN_CORRECTION : SM_STORE_TAKEN_NEW;
    return status;
}

enum sm_status sm_store_put_as_built(struct sm_store *store, const struct sm_recorded *as_built,
                                     enum sm_store_taken *taken, struct sm_error *err)
{
    assert(as_built->recorded_at && as_built->who && as_built->survey_key && *as_built->row.segment);
    struct putting p = {.store = store, .as_built = as_built, .err = err};
    enum sm_store_taken outcome = SM_STORE_TAKEN_NEW;
    bool is_own = false;
    enum sm_status status = sm_store__join(store, &is_own, err);
    if (status == SM_OK) {
        status = put_row(&p, &outcome);
    }
    status = sm_store__leave(store, is_own, status, err);
    if (status == SM_OK) {
        *taken = outcome;
    }
    return status;
}

/* ---- listing ---- */

void sm_store_as_builts_free(struct sm_store_as_builts **rows)
{
    if (rows && *rows) {
        sm_arena_free(&(*rows)->arena);
        sm_free((*rows)->item);
        sm_free(*rows);
        *rows = NULL;
    }
}

static double column_m(sqlite3_stmt *stmt, int column)
{
    return sm_store__column_real(stmt, column) / 1e6;
}

static enum sm_status take_row(struct sm_recorded *a, struct sm_arena *arena, sqlite3_stmt *stmt,
                               struct sm_error *err)
{
    struct sm_as_built *r = &a->row;
    const char **const words[] = {
        &a->key,      &a->content,   &a->corrects, &r->segment, &a->survey_key,    &r->repair,      &r->date, &r->crew,
        &r->kit,      &r->lot,       &r->result,   &r->remark,  &r->mixed,         &r->inflated,    &r->deflated,
        &a->source,   &a->source_sha256, &a->recorded_at, &a->who};
    enum { N_WORDS = sizeof words / sizeof *words };
    const unsigned may_be_null = 1U << 6 | 1U << 12 | 1U << 13 | 1U << 14; /* date and times */
    enum sm_status status = sm_store__copy_texts(words, N_WORDS, may_be_null, arena, stmt, 0, err);
    if (status != SM_OK) {
        return status;
    }
    a->is_planned = sqlite3_column_int(stmt, N_WORDS) != 0;
    r->occurrence = sqlite3_column_int(stmt, N_WORDS + 1);
    r->line = (uint32_t)sqlite3_column_int64(stmt, N_WORDS + 2);
    r->is_in_place = sqlite3_column_int(stmt, N_WORDS + 3) != 0;
    a->counts = sqlite3_column_int(stmt, N_WORDS + 4) != 0;
    a->is_disputed = sqlite3_column_int(stmt, N_WORDS + 5) != 0;
    r->liner_length_m = column_m(stmt, N_WORDS + 6);
    r->stop_m = column_m(stmt, N_WORDS + 7);
    r->mark_m = column_m(stmt, N_WORDS + 8);
    r->test_pressure_kpa = sm_store__column_real(stmt, N_WORDS + 9);
    r->pressure_kpa = sm_store__column_real(stmt, N_WORDS + 10);
    r->pipe_temperature_c = sm_store__column_real(stmt, N_WORDS + 11);
    r->stop_digit_m = column_m(stmt, N_WORDS + 12);
    return SM_OK;
}

/* One list with and one without a segment: only so does the first go by its index. */
#define LIST_SQL(where) \
    "SELECT key, content, corrects, segment, survey_key, repair, coalesce(date, ''), crew, kit, lot, result, remark," \
    " coalesce(mixed, ''), coalesce(inflated, ''), coalesce(deflated, ''), source, source_sha256, recorded_at, who," \
    " is_planned, occurrence, source_line, outcome = 'in place'," \
    " EXISTS (SELECT 1 FROM as_built_in_force f WHERE f.as_built_id = a.as_built_id)," \
    " EXISTS (SELECT 1 FROM as_built_conflict c WHERE c.counts = a.key AND c.segment = a.segment AND c.repair = a.repair)," \
    " liner_length_um, stop_um, mark_um, test_pressure_kpa, pressure_kpa, pipe_temperature_c, stop_digit_um" \
    " FROM as_built a " where \
    " ORDER BY segment, repair, date, occurrence, recorded_at, key"

static enum sm_status take_remarks(struct sm_store *store, struct sm_recorded *a, struct sm_arena *arena,
                                   struct sm_error *err)
{
    sqlite3_stmt *stmt;
    struct sm_remark *list = NULL;
    size_t capacity = 0;
    bool has_row = false;
    enum sm_status status =
        SM_STORE__QUERY(store, &stmt, err,
                        "SELECT concerns, message, severity = 'warning' FROM as_built_finding WHERE as_built_key = ?"
                        " ORDER BY ordinal",
                        sm_store__text(a->key));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&list, a->n_remarks, &capacity, sizeof *list) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            struct sm_remark *remark = &list[a->n_remarks++];
            *remark = (struct sm_remark){.severity = sqlite3_column_int(stmt, 2) ? SM_SEVERITY_WARNING
                                                                                       : SM_SEVERITY_NOTE};
            status = sm_store__copy_text(&remark->concerns, arena, stmt, 0, err);
            status = status == SM_OK ? sm_store__copy_text(&remark->message, arena, stmt, 1, err) : status;
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    struct sm_remark *kept = status == SM_OK ? sm_arena_alloc(arena, a->n_remarks * sizeof *kept) : NULL;
    if (kept && a->n_remarks) {
        memcpy(kept, list, a->n_remarks * sizeof *kept);
    }
    a->remark = kept;
    sm_free(list);
    return status == SM_OK && !kept ? sm_store__no_memory(err) : status;
}

static enum sm_status fill_list(struct sm_store_as_builts *rows, struct sm_store *store, const char *segment,
                                struct sm_error *err)
{
    sqlite3_stmt *stmt;
    size_t capacity = 0;
    bool has_row = false;
    enum sm_status status = segment ? SM_STORE__QUERY(store, &stmt, err, LIST_SQL("WHERE segment = ?"), sm_store__text(segment))
                                    : sm_store__query(store, &stmt, LIST_SQL(""), NULL, 0, err);
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&rows->item, rows->n, &capacity, sizeof *rows->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            rows->item[rows->n] = (struct sm_recorded){0};
            status = take_row(&rows->item[rows->n++], rows->arena, stmt, err);
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    for (size_t i = 0; status == SM_OK && i < rows->n; i++) {
        status = take_remarks(store, &rows->item[i], rows->arena, err);
    }
    return status;
}

enum sm_status sm_store_list_as_built(struct sm_store_as_builts **out, struct sm_store *store, const char *segment,
                                      struct sm_error *err)
{
    struct sm_store_as_builts *rows = sm_calloc(1, sizeof *rows);
    if (!rows || sm_arena_new(&rows->arena) != SM_OK) {
        sm_free(rows);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill_list(rows, store, segment, err);
    if (status != SM_OK) {
        sm_store_as_builts_free(&rows);
        return status;
    }
    *out = rows;
    return SM_OK;
}
