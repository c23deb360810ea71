/* A plan out of the job file: targets, repairs with what they cover, what stays unrepaired. */
#include "get_internal.h"

static enum sm_status take_plan(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_plan *plan = item;
    plan->cost = sm_store__column_real(stmt, 1);
    plan->full_lining_cost = sm_store__column_real(stmt, 2);
    return sm_store__get_texts(g, stmt, 0, (const char **const[]){&plan->advice}, 1, 0);
}

static enum sm_status take_target(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(struct sm_target *)item = (struct sm_target){sqlite3_column_int(stmt, 0), sqlite3_column_int64(stmt, 1),
                                                   sqlite3_column_int64(stmt, 2)};
    return SM_OK;
}

static enum sm_status take_unrepaired(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    struct sm_unrepaired *unrepaired = item;
    unrepaired->observation_idx = sqlite3_column_int(stmt, 0);
    return sm_store__get_texts(g, stmt, 1, (const char **const[]){&unrepaired->reason}, 1, 0);
}

struct stored_repair {
    struct sm_repair repair;
    int64_t repair_id;
};

static enum sm_status take_repair(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
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

static enum sm_status take_idx(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    (void)g;
    *(int32_t *)item = sqlite3_column_int(stmt, 0);
    return SM_OK;
}

static enum sm_status take_work(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item)
{
    return sm_store__get_texts(g, stmt, 0, (const char **const[]){(const char **)item}, 1, 0);
}

static enum sm_status get_repair_parts(struct sm_store__getting *g, struct sm_repair *repair, int64_t repair_id)
{
    struct sm_store__getting of_repair = {g->store, g->arena, g->err, repair_id, false};
    int32_t *covers = NULL;
    int32_t *reopens = NULL;
    const char **prepare = NULL;
    enum sm_status status =
        sm_store__get_rows(&of_repair,
                  "SELECT o.ordinal FROM repair_observation x JOIN observation o USING (observation_id)"
                  " WHERE x.repair_id = ? AND x.relation = 'covers' ORDER BY x.ordinal",
                  &covers, &repair->n_covers, sizeof *covers, take_idx);
    if (status == SM_OK) {
        status =
            sm_store__get_rows(&of_repair,
                      "SELECT o.ordinal FROM repair_observation x JOIN observation o USING (observation_id)"
                      " WHERE x.repair_id = ? AND x.relation = 'reopens' ORDER BY x.ordinal",
                      &reopens, &repair->n_reopens, sizeof *reopens, take_idx);
    }
    if (status == SM_OK) {
        status = sm_store__get_rows(&of_repair, "SELECT work FROM repair_work WHERE repair_id = ? ORDER BY ordinal",
                           &prepare, &repair->n_prepare, sizeof *prepare, take_work);
    }
    repair->covers = covers;
    repair->reopens = reopens;
    repair->prepare = prepare;
    return status;
}

static enum sm_status get_repairs(struct sm_store__getting *g, struct sm_store_record *record)
{
    struct stored_repair *stored = NULL;
    size_t n = 0;
    enum sm_status status = sm_store__get_rows(
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
                         : sm_store__get_damaged(g, "a repair has no kit");
    }
    record->plan->repair = repair;
    record->plan->n_repairs = n;
    return status;
}

static enum sm_status take_all(struct sm_store__getting *g, struct sm_store_record *record)
{
    size_t n = 0;
    struct sm_target *target = NULL;
    struct sm_unrepaired *unrepaired = NULL;
    enum sm_status status =
        sm_store__get_rows(g, "SELECT advice, cost, full_lining_cost FROM plan WHERE survey_id = ?", &record->plan, &n,
                  sizeof *record->plan, take_plan);
    if (status != SM_OK || n == 0) {
        record->plan = NULL;
        return status;
    }
    status = sm_store__get_rows(
        g,
        "SELECT o.ordinal, t.start_um, t.end_um FROM target t JOIN observation o USING (observation_id)"
        " WHERE o.survey_id = ? ORDER BY t.ordinal",
        &target, &record->plan->n_targets, sizeof *target, take_target);
    record->plan->target = target;
    if (status == SM_OK) {
        status =
            sm_store__get_rows(g,
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

static enum sm_status check_plan(struct sm_store__getting *g, const struct sm_store_record *record)
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
    return is_sound ? SM_OK : sm_store__get_damaged(g, "its plan speaks of observations that are not there");
}

enum sm_status sm_store__get_plan(struct sm_store__getting *g, struct sm_store_record *record)
{
    enum sm_status status = take_all(g, record);
    return status == SM_OK ? check_plan(g, record) : status;
}
