/* The history: rows that are only ever added, each chained by hash to the one before. */
#include "store_internal.h"

#include <string.h>

enum sm_status sm_store__hash_fields(char hex[65], const char *const *field, size_t n, struct sm_error *err)
{
    struct sm_text text = {0};
    for (size_t i = 0; i < n; i++) {
        sm_text_addf(&text, "%zu:%s\n", strlen(field[i]), field[i]);
    }
    if (!text.failed) {
        sm_sha256(text.data, text.length, hex);
    }
    enum sm_status status = text.failed ? sm_store__no_memory(err) : SM_OK;
    sm_text_release(&text);
    return status;
}

static enum sm_status event_key(char hex[65], const struct sm_store_event *event, struct sm_error *err)
{
    const char *const field[] = {event->at,         event->who,     event->event, event->segment,
                                 event->survey_key, event->subject, event->detail};
    return sm_store__hash_fields(hex, field, sizeof field / sizeof *field, err);
}

static enum sm_status last_chain(struct sm_store *store, char chain[65], struct sm_error *err)
{
    sqlite3_stmt *stmt;
    bool has_row = false;
    enum sm_status status = sm_store__query(
        store, &stmt, "SELECT chain FROM history ORDER BY history_id DESC LIMIT 1", NULL, 0, err);
    if (status == SM_OK) {
        status = sm_store__next(store, stmt, &has_row, err);
    }
    sm_strcopy(chain, 65, has_row ? sm_store__column_text(stmt, 0) : "");
    while (status == SM_OK && has_row) {
        status = sm_store__next(store, stmt, &has_row, err);
    }
    return status;
}

static enum sm_status put_event(struct sm_store *store, const struct sm_store_event *event,
                                struct sm_error *err)
{
    char key[65];
    char before[65];
    char chain[65];
    enum sm_status status = event_key(key, event, err);
    if (status == SM_OK) {
        status = last_chain(store, before, err);
    }
    if (status == SM_OK) {
        status = sm_store__hash_fields(chain, (const char *const[]){before, key}, 2, err);
    }
    if (status != SM_OK) {
        return status;
    }
    return SM_STORE__RUN(
        store, err,
        "INSERT INTO history (key, chain, at, who, event, segment, survey_key, subject, detail)"
        " SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9 WHERE NOT EXISTS (SELECT 1 FROM history WHERE key = ?1)",
        sm_store__text(key), sm_store__text(chain), sm_store__text(event->at), sm_store__text(event->who),
        sm_store__text(event->event), sm_store__text(event->segment), sm_store__text(event->survey_key),
        sm_store__text(event->subject), sm_store__text(event->detail));
}

enum sm_status sm_store_put_event(struct sm_store *store, const struct sm_store_event *event,
                                  struct sm_error *err)
{
    bool is_own = false;
    enum sm_status status = sm_store__join(store, &is_own, err);
    if (status == SM_OK) {
        status = put_event(store, event, err);
    }
    return sm_store__leave(store, is_own, status, err);
}

static enum sm_status take_event(struct sm_store_event *event, struct sm_arena *arena, sqlite3_stmt *stmt,
                                 struct sm_error *err)
{
    const char **const field[] = {&event->at,         &event->who,     &event->event, &event->segment,
                                  &event->survey_key, &event->subject, &event->detail};
    return sm_store__copy_texts(field, sizeof field / sizeof *field, 0, arena, stmt, 0, err);
}

void sm_store_events_free(struct sm_store_events **events)
{
    if (events && *events) {
        sm_arena_free(&(*events)->arena);
        sm_free((*events)->item);
        sm_free(*events);
        *events = NULL;
    }
}

#define EVENTS_SQL "SELECT at, who, event, segment, survey_key, subject, detail FROM history"

static enum sm_status fill_events(struct sm_store_events *events, struct sm_store *store, const char *segment,
                                  struct sm_error *err)
{
    sqlite3_stmt *stmt;
    enum sm_status status =
        segment ? SM_STORE__QUERY(store, &stmt, err, EVENTS_SQL " WHERE segment = ? ORDER BY history_id",
                                  sm_store__text(segment))
                : sm_store__query(store, &stmt, EVENTS_SQL " ORDER BY history_id", NULL, 0, err);
    size_t capacity = 0;
    bool has_row = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&events->item, events->n, &capacity, sizeof *events->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            status = take_event(&events->item[events->n++], events->arena, stmt, err);
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store_list_events(struct sm_store_events **out, struct sm_store *store, const char *segment,
                                    struct sm_error *err)
{
    struct sm_store_events *events = sm_calloc(1, sizeof *events);
    if (!events || sm_arena_new(&events->arena) != SM_OK) {
        sm_free(events);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill_events(events, store, segment, err);
    if (status != SM_OK) {
        sm_store_events_free(&events);
        return status;
    }
    *out = events;
    return SM_OK;
}

enum sm_status sm_store_history_end(struct sm_store *store, int64_t *n, char chain[65], struct sm_error *err)
{
    enum sm_status status = sm_store__get_int(store, n, "SELECT count(*) FROM history", err);
    return status == SM_OK ? last_chain(store, chain, err) : status;
}

/* Recompute key and chain of the row that stmt stands on (its columns 7 and 8). */
static enum sm_status verify_row(sqlite3_stmt *stmt, char chain[65], struct sm_error *err)
{
    struct sm_store_event event = {.at = NULL};
    const char **const field[] = {&event.at,         &event.who,     &event.event, &event.segment,
                                  &event.survey_key, &event.subject, &event.detail};
    for (int i = 0; i < 7; i++) {
        *field[i] = sm_store__column_text(stmt, i);
        if (!*field[i]) {
            return sm_store__no_memory(err);
        }
    }
    char key[65];
    enum sm_status status = event_key(key, &event, err);
    if (status == SM_OK) {
        status = sm_store__hash_fields(chain, (const char *const[]){chain, key}, 2, err);
    }
    const char *stored_key = sm_store__column_text(stmt, 7);
    const char *stored_chain = sm_store__column_text(stmt, 8);
    if (status == SM_OK && (strcmp(stored_key, key) != 0 || strcmp(stored_chain, chain) != 0)) {
        sm_error_set(err, SM_E_CONFLICT,
                     "history row of %s (\"%s\") was changed, or rows before it were removed or moved",
                     event.at, event.event);
        sm_error_remedy(err, "compare with the last copy of the job file you trust");
        return SM_E_CONFLICT;
    }
    return status;
}

/* Rows cut off at the end leave no gap in the chain, but the numbers given out say how many there were. */
static enum sm_status verify_count(struct sm_store *store, struct sm_error *err)
{
    int64_t n_missing = 0;
    enum sm_status status =
        sm_store__get_int(store, &n_missing,
                          "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'history'), 0)"
                          " - (SELECT count(*) FROM history)",
                          err);
    if (status == SM_OK && n_missing != 0) {
        sm_error_at(err, SM_E_CONFLICT, store->path, 0, 0, "%lld rows of the history were removed",
                    (long long)n_missing);
        sm_error_remedy(err, "compare with the last copy of the job file you trust");
        return SM_E_CONFLICT;
    }
    return status;
}

enum sm_status sm_store_verify_history(struct sm_store *store, struct sm_error *err)
{
    sqlite3_stmt *stmt;
    enum sm_status status =
        sm_store__query(store, &stmt,
                        "SELECT at, who, event, segment, survey_key, subject, detail, key, chain"
                        " FROM history ORDER BY history_id",
                        NULL, 0, err);
    char chain[65] = "";
    bool has_row = false;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        status = verify_row(stmt, chain, err);
        if (status != SM_OK) {
            sqlite3_reset(stmt);
            sm_error_source(err, store->path);
        }
    }
    return status == SM_OK ? verify_count(store, err) : status;
}
