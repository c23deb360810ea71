/* The state of a defect by the latest recheck after the work that saw its place. */
#include "audit_internal.h"

static int32_t logged_again(const struct sm_audit__work *w, const struct sm_audit_defect *d, size_t recheck_idx)
{
    const int32_t *again = w->again[(size_t)d->first_idx * w->about->n_rechecks + recheck_idx];
    for (size_t i = 0; i < w->about->recheck[recheck_idx].alignment->n_observations; i++) {
        if (again[i] == d->observation_idx) {
            return (int32_t)i;
        }
    }
    return -1;
}

static bool is_after_all(const struct sm_audit__work *w, const struct sm_audit_defect *d, size_t recheck_idx)
{
    for (size_t i = 0; i < d->n_liners; i++) {
        if (!sm_audit__is_after(&w->about->recheck[recheck_idx], &w->liner[d->liner[i]])) {
            return false;
        }
    }
    return true;
}

/* Inside or outside of the liners' ends? */
static const char *where_again(const struct sm_audit__work *w, const struct sm_audit_defect *d, size_t recheck_idx)
{
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, (size_t)d->first_idx, recheck_idx);
    const struct sm_audit_sighting *s = &axis->sighting[d->recheck_observation_idx];
    bool is_inside = false;
    bool is_touched = false;
    for (size_t i = 0; i < d->n_liners; i++) {
        struct sm_audit_span span = sm_audit__true_span(w, (size_t)d->liner[i], (size_t)d->first_idx);
        double start_m = (double)span.start_um / SM_AUDIT__UM_PER_M;
        double end_m = (double)span.end_um / SM_AUDIT__UM_PER_M;
        is_inside = is_inside || (s->start_m >= start_m && s->end_m <= end_m);
        is_touched = is_touched || (s->start_m < end_m && s->end_m > start_m);
    }
    return is_inside ? "inside the liner's ends" : is_touched ? "partly outside the liner's ends" : "outside the liner's ends";
}

/* What the liners' sight says for a defect they cover: all seen, or the worst of them. */
static const struct sm_audit_liner *telling_liner(const struct sm_audit__work *w, const struct sm_audit_defect *d,
                                                  size_t recheck_idx, bool is_shown)
{
    static const int weights[2][5] = {{0, 1, 3, 4, 2}, {0, 3, 1, 4, 2}};
    const int *weight = weights[is_shown];
    const struct sm_audit_liner *found = NULL;
    for (size_t i = 0; i < d->n_liners; i++) {
        const struct sm_audit_liner *liner = &w->liner[d->liner[i]];
        bool is_of_this = liner->recheck_idx == (int32_t)recheck_idx;
        if (is_of_this && (!found || weight[liner->sight] > weight[found->sight])) {
            found = liner;
        }
    }
    return found;
}

/* @param is_shown the liners that are shown cover the target without the others' help. */
static void decide_by_look(struct sm_audit__work *w, struct sm_audit_defect *d, size_t recheck_idx, bool is_shown)
{
    const struct sm_audit_liner *liner = telling_liner(w, d, recheck_idx, is_shown);
    enum sm_audit_sight sight = liner ? liner->sight : SM_AUDIT_SIGHT_NOT_SEEN;
    if (d->state == SM_AUDIT_MISSED) {
        sm_text_add(&w->text, "; a recheck passes and does not log the defect");
    } else if (sight == SM_AUDIT_SIGHT_SEEN) {
        d->state = SM_AUDIT_PROVEN;
        sm_text_addf(&w->text, "; the liner is seen and the defect is not: %s", liner->sight_how);
    } else if (sight == SM_AUDIT_SIGHT_DEFECTIVE) {
        sm_text_addf(&w->text, "; the liner is defective: %s", liner->sight_how);
    } else {
        sm_text_add(&w->text, "; a recheck passes and logs neither defect nor liner: look at its video and say whether "
                              "the liner is there");
    }
}

/* @return true when this recheck has the last word. */
static bool decide_by_recheck(struct sm_audit__work *w, struct sm_audit_defect *d, size_t recheck_idx, bool is_shown)
{
    const struct sm_audit_survey *recheck = &w->about->recheck[recheck_idx];
    const struct sm_audit_survey *first = &w->about->first[d->first_idx];
    const struct sm_observation *o = &first->alignment->observation[d->observation_idx];
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, (size_t)d->first_idx, recheck_idx);
    int32_t again = logged_again(w, d, recheck_idx);
    if (again >= 0) {
        d->recheck_idx = (int32_t)recheck_idx;
        d->recheck_observation_idx = again;
        d->state = SM_AUDIT_REMAINS;
        const struct sm_observation *seen = &recheck->alignment->observation[again];
        sm_text_addf(&w->text, "; logged again as %s at ", seen->code);
        sm_audit__add_people_length(&w->text, axis->sighting[again].start_m, sm_audit__unit(w->audit));
        sm_text_addf(&w->text, ", %s", where_again(w, d, recheck_idx));
        return true;
    }
    if (!sm_audit_is_seen(axis, o->start_m, o->end_m)) {
        d->recheck_idx = d->recheck_idx < 0 ? (int32_t)recheck_idx : d->recheck_idx;
        return false;
    }
    d->recheck_idx = (int32_t)recheck_idx;
    decide_by_look(w, d, recheck_idx, is_shown);
    return true;
}

void sm_audit__decide_by_rechecks(struct sm_audit__work *w, struct sm_audit_defect *d, bool is_shown)
{
    if (d->state != SM_AUDIT_INSTALLED && d->state != SM_AUDIT_MISSED) {
        return;
    }
    for (size_t r = w->about->n_rechecks; r-- > 0;) {
        if (is_after_all(w, d, r) && decide_by_recheck(w, d, r, is_shown)) {
            return;
        }
    }
    if (d->recheck_idx >= 0) {
        d->state = d->state == SM_AUDIT_INSTALLED ? SM_AUDIT_UNSEEN : d->state;
        sm_text_add(&w->text, "; the recheck did not reach this place or could not see it");
    }
}
