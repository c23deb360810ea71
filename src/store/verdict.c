/* The reviewer's word on a repair after the recheck: rows that are only ever added, the latest counts. */
#include "store_internal.h"

#include <string.h>

enum sm_status sm_store__verdict_key(char key[65], const struct sm_verdict *v, struct sm_error *err)
{
    const char *const fields[] = {v->segment, v->survey_key, v->repair, v->word, v->remark, v->said_at, v->who};
    return sm_store__hash_fields(key, fields, sizeof fields / sizeof *fields, err);
}

static enum sm_status put(struct sm_store *store, const struct sm_verdict *v, struct sm_error *err)
{
    char key[65];
    enum sm_status status = sm_store__verdict_key(key, v, err);
    if (status == SM_OK) {
        status = SM_STORE__RUN(store, err,
                               "INSERT INTO verdict (key, segment, survey_key, repair, word, remark, said_at, who)"
                               " VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (key) DO NOTHING",
                               sm_store__text(key), sm_store__text(v->segment), sm_store__text(v->survey_key),
                               sm_store__text(v->repair), sm_store__text(v->word), sm_store__text(v->remark),
                               sm_store__text(v->said_at), sm_store__text(v->who));
    }
    struct sm_text detail = {0};
    sm_text_addf(&detail, "liner %s%s%s, row %s", v->word, *v->remark ? ": " : "", v->remark, key);
    struct sm_store_event event = {v->said_at, v->who,      "verdict given",     v->segment,
                                   v->survey_key, v->repair, sm_text_str(&detail)};
    if (status == SM_OK) {
        status = detail.failed ? sm_store__no_memory(err) : sm_store_put_event(store, &event, err);
    }
    sm_text_release(&detail);
    return status;
}

enum sm_status sm_store_put_verdict(struct sm_store *store, const struct sm_verdict *verdict,
                                    struct sm_error *err)
{
    bool is_own = false;
    enum sm_status status = sm_store__join(store, &is_own, err);
    if (status == SM_OK) {
        status = put(store, verdict, err);
    }
    return sm_store__leave(store, is_own, status, err);
}

void sm_store_verdicts_free(struct sm_store_verdicts **verdicts)
{
    if (verdicts && *verdicts) {
        sm_arena_free(&(*verdicts)->arena);
        sm_free((*verdicts)->item);
        sm_free(*verdicts);
        *verdicts = NULL;
    }
}

static enum sm_status take_row(struct sm_verdict *v, struct sm_arena *arena, sqlite3_stmt *stmt,
                               struct sm_error *err)
{
    const char **const words[] = {&v->segment, &v->survey_key, &v->repair, &v->word, &v->remark, &v->said_at, &v->who};
    return sm_store__copy_texts(words, sizeof words / sizeof *words, 0, arena, stmt, 0, err);
}

static enum sm_status fill_list(struct sm_store_verdicts *list, struct sm_store *store, const char *segment,
                                struct sm_error *err)
{
    sqlite3_stmt *stmt;
    size_t capacity = 0;
    bool has_row = false;
    enum sm_status status =
        SM_STORE__QUERY(store, &stmt, err,
                        "SELECT segment, survey_key, repair, word, remark, said_at, who FROM verdict"
                        " WHERE ?1 IS NULL OR segment = ?1 ORDER BY segment, said_at, key",
                        sm_store__text(segment));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&list->item, list->n, &capacity, sizeof *list->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            list->item[list->n] = (struct sm_verdict){0};
            status = take_row(&list->item[list->n++], list->arena, stmt, err);
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store_list_verdicts(struct sm_store_verdicts **out, struct sm_store *store, const char *segment,
                                      struct sm_error *err)
{
    struct sm_store_verdicts *list = sm_calloc(1, sizeof *list);
    if (!list || sm_arena_new(&list->arena) != SM_OK) {
        sm_free(list);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill_list(list, store, segment, err);
    if (status != SM_OK) {
        sm_store_verdicts_free(&list);
        return status;
    }
    *out = list;
    return SM_OK;
}
