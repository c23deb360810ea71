/*
 * A survey under review. The job file is the only truth: a decision is planned first, stored then, and counts from
 * then on; a review opened again from the file is where it was.
 *
 *   first (no decision) --decisions that count--> now
 */
#include "review_internal.h"

#include <string.h>

/* ---- planning ---- */

/* The trace to start from: as stored, or as read again in the box marked last. */
static enum sm_status base_trace(const struct sm_trace **out, struct sm_arena *arena,
                                 const struct sm_job_review *review, const struct sm_job__decisions *decisions,
                                 struct sm_error *err)
{
    *out = review->record->trace;
    for (size_t i = decisions->n; i-- > 0;) {
        if (decisions->is_active[i] && decisions->item[i].act == SM_REVIEW_BOX) {
            struct sm_trace *trace = NULL;
            enum sm_status status = sm_store_get_reread(&trace, arena, review->store,
                                                        review->record->survey.key, decisions->item[i].box, err);
            *out = trace;
            return status;
        }
    }
    return SM_OK;
}

static enum sm_status plan(struct sm_job **out, const struct sm_job_review *review,
                           const struct sm_job__decisions *decisions, struct sm_error *err)
{
    struct sm_arena *arena = NULL;
    const struct sm_trace *trace;
    if (sm_arena_new(&arena) != SM_OK) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = base_trace(&trace, arena, review, decisions, err);
    if (status == SM_OK) {
        status = sm_job__replan(out, &review->kept, trace, review->first, decisions, err);
    }
    sm_arena_free(&arena);
    return status;
}

enum sm_status sm_job__review_adopt(struct sm_job_review *review, struct sm_store_decisions *decisions,
                            struct sm_error *err)
{
    bool *is_active = sm_job__decisions_active(decisions->item, decisions->n);
    struct sm_job *now = NULL;
    const struct sm_job__decisions list = {decisions->n, decisions->item, is_active};
    enum sm_status status = is_active ? plan(&now, review, &list, err) : sm_job__no_memory(err);
    if (status != SM_OK) {
        sm_free(is_active);
        return status;
    }
    sm_job_free(&review->now);
    sm_store_decisions_free(&review->decisions);
    sm_free(review->is_active);
    review->now = now;
    review->decisions = decisions;
    review->is_active = is_active;
    return SM_OK;
}

enum sm_status sm_job__review_as_issued(struct sm_job **out, const struct sm_job_review *review, struct sm_error *err)
{
    const struct sm_review_decision *item = review->decisions->item;
    size_t n = review->decisions->n - sm_job_review_unissued(review);
    const char *last = sm_job__review_issued_up_to(review);
    if (n && *last && (n > review->decisions->n || strcmp(item[n - 1].key, last) != 0)) {
        sm_error_set(err, SM_E_CONFLICT, "decisions of another job came in between those that %s was issued with",
                     review->record->survey.segment.id);
        return sm_error_remedy(err, "issue it again in stopmark review");
    }
    bool *is_active = sm_job__decisions_active(review->decisions->item, n);
    const struct sm_job__decisions list = {n, review->decisions->item, is_active};
    enum sm_status status = is_active ? plan(out, review, &list, err) : sm_job__no_memory(err);
    sm_free(is_active);
    return status;
}

enum sm_status sm_job_review_refresh(struct sm_job_review *review, bool *has_changed, struct sm_error *err)
{
    struct sm_store_decisions *decisions = NULL;
    enum sm_status status =
        sm_store_list_decisions(&decisions, review->store, review->record->survey.key, err);
    bool is_same = status == SM_OK && review->decisions && decisions->n == review->decisions->n;
    if (status == SM_OK && !is_same) {
        status = sm_job__review_adopt(review, decisions, err);
        decisions = status == SM_OK ? NULL : decisions;
    }
    sm_store_decisions_free(&decisions);
    if (status == SM_OK) {
        *has_changed = !is_same;
    }
    return status;
}

/* ---- deciding ---- */

/* The decisions so far with n more behind, on probation. Free all three with free_probe(). */
struct probe {
    struct sm_review_decision *item;
    bool *is_active;
    size_t n;
};

static void free_probe(struct probe *probe)
{
    sm_free(probe->item);
    sm_free(probe->is_active);
}

static enum sm_status make_probe(struct probe *probe, const struct sm_job_review *review,
                                 const struct sm_review_decision *more, size_t n, struct sm_error *err)
{
    size_t n_before = review->decisions->n;
    *probe = (struct probe){.item = sm_calloc(n_before + n, sizeof *probe->item), .n = n_before + n};
    if (!probe->item) {
        return sm_job__no_memory(err);
    }
    if (n_before) {
        memcpy(probe->item, review->decisions->item, n_before * sizeof *probe->item);
    }
    memcpy(probe->item + n_before, more, n * sizeof *more);
    probe->is_active = sm_job__decisions_active(probe->item, probe->n);
    return probe->is_active ? SM_OK : sm_job__no_memory(err);
}

enum sm_status sm_job_review_try(struct sm_job **out, const struct sm_job_review *review,
                                 const struct sm_review_decision *decision, size_t n, struct sm_error *err)
{
    struct probe probe = {0};
    enum sm_status status = make_probe(&probe, review, decision, n, err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_job__decision_check(&decision[i], review->now, err);
    }
    if (status == SM_OK) {
        const struct sm_job__decisions list = {probe.n, probe.item, probe.is_active};
        status = plan(out, review, &list, err);
    }
    free_probe(&probe);
    return status;
}

/* Undo and redo get to know what they mean. */
static enum sm_status resolve(struct sm_review_decision *decision, const struct sm_job_review *review,
                              struct sm_error *err)
{
    const struct sm_store_decisions *all = review->decisions;
    if (!sm_job__decision_is_switch(decision)) {
        return SM_OK;
    }
    bool is_undo = decision->act == SM_REVIEW_UNDO;
    if (!decision->of_key || !*decision->of_key) {
        decision->of_key = sm_job__decision_latest(all->item, review->is_active, all->n, decision->act);
    }
    size_t of = sm_job__decision_find(all->item, all->n, decision->of_key);
    if (of >= all->n || sm_job__decision_is_switch(&all->item[of]) || review->is_active[of] != is_undo) {
        sm_error_set(err, SM_E_NOTFOUND, is_undo ? "there is nothing to undo" : "there is nothing to redo");
        sm_error_remedy(err, "look at the list of decisions");
        return SM_E_NOTFOUND;
    }
    decision->observation = all->item[of].observation;
    return SM_OK;
}

/* Within the transaction nobody else adds: what is tried is what is stored. */
static enum sm_status decide(struct sm_job_review *review, const struct sm_review_decision *asked,
                             struct sm_error *err)
{
    bool has_changed;
    struct sm_review_decision decision = *asked;
    struct sm_job *tried = NULL;
    struct sm_text words = {0};
    enum sm_status status = sm_job_review_refresh(review, &has_changed, err);
    if (status == SM_OK) {
        status = resolve(&decision, review, err);
    }
    if (status == SM_OK) {
        status = sm_job_review_try(&tried, review, &decision, 1, err);
    }
    sm_job_free(&tried);
    if (status == SM_OK) {
        sm_job_decision_words(&words, &decision);
        status = words.failed ? sm_job__no_memory(err)
                              : sm_store_put_decision(review->store, &review->record->survey, &decision,
                                                      sm_text_str(&words), err);
    }
    sm_text_release(&words);
    return status == SM_OK ? sm_job_review_refresh(review, &has_changed, err) : status;
}

enum sm_status sm_job_review_decide(struct sm_job_review *review, const struct sm_review_decision *decision,
                                    struct sm_error *err)
{
    enum sm_status status = sm_store_begin(review->store, err);
    if (status != SM_OK) {
        return status;
    }
    status = decide(review, decision, err);
    if (status == SM_OK) {
        status = sm_store_commit(review->store, err);
    }
    if (status != SM_OK) {
        bool has_changed;
        sm_store_rollback(review->store);
        /* What was taken over did not come to be; err already says why. */
        if (sm_job_review_refresh(review, &has_changed, NULL) != SM_OK) {
            return status;
        }
    }
    return status;
}

enum sm_status sm_job_review_keep_reread(struct sm_job_review *review, const struct sm_review_decision *decision,
                                         const struct sm_trace *trace, struct sm_error *err)
{
    return sm_store_put_reread(review->store, &review->record->survey, decision, trace, err);
}
