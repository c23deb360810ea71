/* What the rechecks show: which defects are logged again, and whether each liner is seen where it should be. */
#include "audit_internal.h"

#include <string.h>

/* A lining is logged at its start, its middle or its end, as the operator is used to. */
#define LINING_REACH_M 0.3
/* Two looks at one defect differ by this much at least. */
#define AGAIN_REACH_M 0.1

static double gap(double a_start, double a_end, double b_start, double b_end)
{
    return fmax(0, fmax(b_start - a_end, a_start - b_end));
}

/* ---- logged again ---- */

/* The defect nearest to what a recheck logged that could be the same one; -1 = none. */
static int32_t nearest_same(const struct sm_audit_survey *first, const struct sm_observation *o,
                            const struct sm_audit_sighting *s)
{
    int32_t best = -1;
    double best_m = SM_INFINITY;
    for (size_t i = 0; i < first->alignment->n_observations; i++) {
        const struct sm_observation *a = &first->alignment->observation[i];
        if (a->is_node || a->is_connection || isnan(a->start_m) || !sm_audit__may_be_same(a->code, o->code) ||
            !sm_audit__clocks_meet(a->clock_from_h, a->clock_to_h, s->clock_from_h, s->clock_to_h)) {
            continue;
        }
        double off_m = gap(a->start_m, a->end_m, s->start_m, s->end_m);
        double middle_m = fabs((a->start_m + a->end_m) - (s->start_m + s->end_m)) / 2;
        double reach_m = fmax(AGAIN_REACH_M, (isnan(a->error_m) ? 0 : a->error_m) + s->error_m);
        if (off_m <= reach_m && off_m + middle_m / 1000 < best_m) {
            best_m = off_m + middle_m / 1000; /* of those that overlap the one whose middle is nearer */
            best = (int32_t)i;
        }
    }
    return best;
}

static bool is_defect(const struct sm_observation *o)
{
    bool calls = o->treatment == SM_TREATMENT_LINE || o->treatment == SM_TREATMENT_PREPARE ||
                 o->treatment == SM_TREATMENT_REFER;
    return calls && !o->is_node && !o->is_connection;
}

enum sm_status sm_audit__match_defects(struct sm_audit__work *w)
{
    const struct sm_audit_case *about = w->about;
    size_t n = about->n_first * about->n_rechecks;
    w->again = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *w->again);
    for (size_t k = 0; w->again && k < n; k++) {
        const struct sm_audit_survey *recheck = &about->recheck[k % about->n_rechecks];
        size_t n_observations = recheck->alignment->n_observations;
        w->again[k] = sm_arena_alloc(w->audit->arena, (n_observations + 1) * sizeof **w->again);
        if (!w->again[k]) {
            return SM_E_NOMEM;
        }
        for (size_t i = 0; i < n_observations; i++) {
            const struct sm_observation *o = &recheck->alignment->observation[i];
            const struct sm_audit_sighting *s = &w->axis[k].sighting[i];
            bool may_match = is_defect(o) && !sm_audit__is_lining_defect(o) && isfinite(s->start_m);
            w->again[k][i] = may_match ? nearest_same(&about->first[k / about->n_rechecks], o, s) : -1;
        }
    }
    return w->again ? SM_OK : SM_E_NOMEM;
}

/* ---- liners ---- */

static bool is_day(const char *text)
{
    return text && strlen(text) >= 10 && text[4] == '-';
}

bool sm_audit__is_after(const struct sm_audit_survey *recheck, const struct sm_audit_liner *liner)
{
    const char *work = liner->row->recorded->row.date;
    return !is_day(recheck->date) || !is_day(work) || strncmp(recheck->date, work, 10) >= 0;
}

static const struct sm_verdict *verdict_on(const struct sm_audit_case *about, const struct sm_audit_survey *recheck,
                                           const char *repair)
{
    for (size_t i = about->n_verdicts; i-- > 0;) { /* the latest counts */
        const struct sm_verdict *v = &about->verdict[i];
        if (*repair && strcmp(v->survey_key, recheck->key) == 0 && sm_ascii_ieq(v->repair, repair)) {
            return v;
        }
    }
    return NULL;
}

static enum sm_audit_sight sight_of_word(const char *word)
{
    return strcmp(word, "seen") == 0       ? SM_AUDIT_SIGHT_SEEN
           : strcmp(word, "not seen") == 0 ? SM_AUDIT_SIGHT_NOT_SEEN
                                           : SM_AUDIT_SIGHT_DEFECTIVE;
}

/* Of the liners here the one nearest to a logged lining, so that one entry does not speak for two. */
static int32_t nearest_liner(const struct sm_audit__work *w, size_t home, const struct sm_audit_survey *recheck,
                             const struct sm_audit_sighting *s)
{
    int32_t best = -1;
    double best_m = SM_INFINITY;
    for (size_t i = 0; i < w->audit->n_liners; i++) {
        const struct sm_audit_liner *liner = &w->liner[i];
        if (!liner->has_place || !sm_audit__is_after(recheck, liner)) {
            continue;
        }
        struct sm_audit_span span = sm_audit_liner_on(w->audit, i, home);
        double start_m = (double)span.start_um / SM_AUDIT__UM_PER_M;
        double end_m = (double)span.end_um / SM_AUDIT__UM_PER_M;
        double off_m = gap(start_m, end_m, s->start_m, s->end_m);
        double middle_m = fabs(start_m + end_m - s->start_m - s->end_m) / 2;
        if (off_m <= s->error_m + LINING_REACH_M && off_m + middle_m / 1000 < best_m) {
            best_m = off_m + middle_m / 1000;
            best = (int32_t)i;
        }
    }
    return best;
}

/* What a recheck's log says of a liner. A lining defect weighs more than the lining. */
static void look_in_log(struct sm_audit__work *w, size_t liner_idx, size_t home, size_t recheck_idx)
{
    struct sm_audit_liner *liner = &w->liner[liner_idx];
    const struct sm_audit_survey *recheck = &w->about->recheck[recheck_idx];
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, home, recheck_idx);
    for (size_t i = 0; i < recheck->alignment->n_observations; i++) {
        const struct sm_observation *o = &recheck->alignment->observation[i];
        const struct sm_audit_sighting *s = &axis->sighting[i];
        bool is_bad = sm_audit__is_lining_defect(o);
        if ((!is_bad && !sm_audit__is_lining(o)) || isnan(s->start_m) ||
            nearest_liner(w, home, recheck, s) != (int32_t)liner_idx) {
            continue;
        }
        if (!is_bad && s->end_m - s->start_m > 0.05) {
            liner->seen_start_m = s->start_m;
            liner->seen_end_m = s->end_m;
        }
        if (is_bad || liner->sight != SM_AUDIT_SIGHT_DEFECTIVE) {
            liner->sight = is_bad ? SM_AUDIT_SIGHT_DEFECTIVE : SM_AUDIT_SIGHT_SEEN;
            liner->recheck_observation_idx = (int32_t)i;
        }
    }
}

static const char *words_of_sight(struct sm_audit__work *w, const struct sm_audit_liner *liner,
                                  const struct sm_verdict *verdict)
{
    const struct sm_audit_survey *recheck = &w->about->recheck[liner->recheck_idx];
    if (verdict) {
        sm_text_addf(&w->text, "%s says: %s%s%s", *verdict->who ? verdict->who : "the reviewer", verdict->word,
                     *verdict->remark ? ", " : "", verdict->remark);
    } else if (liner->recheck_observation_idx >= 0) {
        const struct sm_observation *o = &recheck->alignment->observation[liner->recheck_observation_idx];
        sm_text_addf(&w->text, "%s %s logged as %s%s%s",
                     liner->sight == SM_AUDIT_SIGHT_DEFECTIVE ? "a lining defect" : "a lining", o->id, o->code,
                     *o->ch1 ? " " : "", o->ch1);
    } else {
        sm_text_add(&w->text, liner->sight == SM_AUDIT_SIGHT_UNSEEN ? "the camera did not see this stretch"
                                                                    : "the camera passed, no lining was logged");
    }
    if (*recheck->date) {
        sm_text_addf(&w->text, " (%s)", recheck->date);
    }
    return sm_audit__keep(w);
}

static enum sm_status look_at(struct sm_audit__work *w, size_t liner_idx, size_t recheck_idx)
{
    struct sm_audit_liner *liner = &w->liner[liner_idx];
    size_t home = sm_audit__home(w->about, liner->row);
    const struct sm_audit_survey *recheck = &w->about->recheck[recheck_idx];
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, home, recheck_idx);
    struct sm_audit_span span = sm_audit_liner_on(w->audit, liner_idx, home);
    bool is_passed = liner->has_place && sm_audit_is_seen(axis, (double)span.start_um / SM_AUDIT__UM_PER_M,
                                                          (double)span.end_um / SM_AUDIT__UM_PER_M);
    liner->recheck_idx = (int32_t)recheck_idx;
    liner->recheck_observation_idx = -1;
    liner->sight = is_passed ? SM_AUDIT_SIGHT_NOT_SEEN : SM_AUDIT_SIGHT_UNSEEN;
    look_in_log(w, liner_idx, home, recheck_idx);
    const struct sm_verdict *verdict = verdict_on(w->about, recheck, liner->row->recorded->row.repair);
    if (verdict) {
        liner->sight = sight_of_word(verdict->word);
    }
    liner->sight_how = words_of_sight(w, liner, verdict);
    return liner->sight_how ? SM_OK : SM_E_NOMEM;
}

/* The latest recheck after the work that saw the liner's stretch decides; else the latest that did not. */
enum sm_status sm_audit__look_at_liners(struct sm_audit__work *w)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < w->audit->n_liners; i++) {
        int32_t unseen_by = -1;
        for (size_t r = w->about->n_rechecks; status == SM_OK && r-- > 0;) {
            if (!sm_audit__is_after(&w->about->recheck[r], &w->liner[i])) {
                continue;
            }
            status = look_at(w, i, r);
            if (w->liner[i].sight != SM_AUDIT_SIGHT_UNSEEN) {
                break;
            }
            unseen_by = unseen_by < 0 ? (int32_t)r : unseen_by;
        }
        if (status == SM_OK && w->liner[i].sight == SM_AUDIT_SIGHT_UNSEEN && unseen_by >= 0) {
            status = look_at(w, i, (size_t)unseen_by);
        }
    }
    return status;
}
