/* What else comes to light: repairs planned and not made, what a recheck logs anew, openings that liners came near. */
#include "audit_internal.h"

#include <string.h>

static size_t count_observations(const struct sm_audit_survey *survey, size_t n_surveys)
{
    size_t n = 0;
    for (size_t i = 0; i < n_surveys; i++) {
        n += survey[i].alignment->n_observations;
    }
    return n;
}

/* ---- planned and not made ---- */

static bool is_recorded(const struct sm_audit__work *w, size_t first_idx, const struct sm_repair *repair,
                        const struct sm_as_built **failed)
{
    *failed = NULL;
    for (size_t i = 0; i < w->about->n_rows; i++) {
        const struct sm_audit_row *row = &w->about->row[i];
        if (row->survey == &w->about->first[first_idx] && row->repair == repair) {
            if (row->recorded->row.is_in_place) {
                return true;
            }
            *failed = &row->recorded->row;
        }
    }
    return false;
}

enum sm_status sm_audit__find_not_made(struct sm_audit__work *w)
{
    size_t n = 0;
    for (size_t f = 0; f < w->about->n_first; f++) {
        n += w->about->first[f].plan ? w->about->first[f].plan->n_repairs : 0;
    }
    struct sm_audit_not_made *list = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *list);
    w->audit->not_made = list;
    for (size_t f = 0; list && f < w->about->n_first; f++) {
        const struct sm_plan *plan = w->about->first[f].plan;
        for (size_t i = 0; plan && i < plan->n_repairs; i++) {
            const struct sm_as_built *failed;
            if (is_recorded(w, f, &plan->repair[i], &failed)) {
                continue;
            }
            if (failed) {
                sm_text_addf(&w->text, "tried%s%s: %s%s%s", *failed->date ? " on " : "", failed->date, failed->result,
                             *failed->remark ? ", " : "", failed->remark);
            } else {
                sm_text_add(&w->text, "not recorded");
            }
            const char *reason = sm_audit__keep(w);
            if (!reason) {
                return SM_E_NOMEM;
            }
            list[w->audit->n_not_made++] = (struct sm_audit_not_made){(int32_t)f, (int32_t)i, reason};
        }
    }
    return list ? SM_OK : SM_E_NOMEM;
}

/* ---- logged anew ---- */

static const char *name_liner_at(struct sm_audit__work *w, const struct sm_audit_sighting *s)
{
    for (size_t i = 0; i < w->audit->n_liners; i++) {
        struct sm_audit_span span = sm_audit_liner_on(w->audit, i, 0);
        if (w->liner[i].has_place && s->start_m < (double)span.end_um / SM_AUDIT__UM_PER_M &&
            s->end_m > (double)span.start_um / SM_AUDIT__UM_PER_M) {
            sm_text_addf(&w->text, "in %s", w->liner[i].row->recorded->row.repair);
            return sm_audit__keep(w);
        }
    }
    return "";
}

static bool is_known_to_any(const struct sm_audit__work *w, size_t recheck_idx, size_t observation_idx)
{
    for (size_t f = 0; f < w->about->n_first; f++) {
        if (w->again[f * w->about->n_rechecks + recheck_idx][observation_idx] >= 0) {
            return true;
        }
    }
    return false;
}

static bool calls_for_work(const struct sm_observation *o)
{
    return !o->is_node && !o->is_connection &&
           (o->treatment == SM_TREATMENT_LINE || o->treatment == SM_TREATMENT_PREPARE || o->treatment == SM_TREATMENT_REFER);
}

enum sm_status sm_audit__find_new(struct sm_audit__work *w)
{
    size_t n = count_observations(w->about->recheck, w->about->n_rechecks);
    struct sm_audit_new_defect *list = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *list);
    w->audit->new_defect = list;
    for (size_t r = 0; list && r < w->about->n_rechecks; r++) {
        const struct sm_alignment *alignment = w->about->recheck[r].alignment;
        const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, 0, r);
        for (size_t i = 0; i < alignment->n_observations; i++) {
            if (!calls_for_work(&alignment->observation[i]) || is_known_to_any(w, r, i)) {
                continue;
            }
            const char *where = name_liner_at(w, &axis->sighting[i]);
            if (!where) {
                return SM_E_NOMEM;
            }
            list[w->audit->n_new++] = (struct sm_audit_new_defect){(int32_t)r, (int32_t)i, axis->sighting[i].start_m,
                                                                   axis->sighting[i].end_m, where};
        }
    }
    return list ? SM_OK : SM_E_NOMEM;
}

/* ---- openings ---- */

/* A recheck's entry for this connection, or for none. */
static const struct sm_observation *connection_again(const struct sm_audit__work *w, size_t first_idx, size_t recheck_idx,
                                                     const struct sm_observation *o)
{
    const struct sm_alignment *alignment = w->about->recheck[recheck_idx].alignment;
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, first_idx, recheck_idx);
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_audit_sighting *s = &axis->sighting[i];
        double reach_m = fmax(0.2, s->error_m + (isnan(o->error_m) ? 0 : o->error_m));
        if (alignment->observation[i].is_connection && fabs(s->start_m - o->distance_m) <= reach_m &&
            sm_audit__clocks_meet(o->clock_from_h, o->clock_to_h, s->clock_from_h, s->clock_to_h)) {
            return &alignment->observation[i];
        }
    }
    return NULL;
}

/* EN 13508-2: BCA characterisation 2 B is a closed connection. */
static bool is_closed(const struct sm_observation *o)
{
    return strcmp(o->code, "BCA") == 0 && strcmp(o->ch2, "B") == 0;
}

/* "" = it is where it should be and nothing has to be said. */
static const char *state_of_opening(const struct sm_audit__work *w, size_t first_idx, size_t liner_idx,
                                    const struct sm_observation *o, bool is_covered, const char **words)
{
    size_t recheck_idx = w->about->n_rechecks;
    while (recheck_idx > 0 && (!sm_audit__is_after(&w->about->recheck[recheck_idx - 1], &w->liner[liner_idx]) ||
                               !sm_audit_is_seen(sm_audit_get_axis(w->audit, first_idx, recheck_idx - 1), o->distance_m,
                                                 o->distance_m))) {
        recheck_idx--;
    }
    if (!is_covered) {
        *words = "the liner ends closer to the connection than the rules allow";
        return "too close";
    }
    if (recheck_idx == 0) {
        *words = "the liner covers the connection; no recheck has seen whether it was opened again";
        return "unseen";
    }
    const struct sm_observation *again = connection_again(w, first_idx, recheck_idx - 1, o);
    bool is_open = again && !is_closed(again);
    *words = is_open ? "the recheck logs the connection open" : "the liner covers the connection; the recheck does not log it open";
    return is_open ? "reopened" : "covered";
}

static bool add_opening(struct sm_audit__work *w, struct sm_audit_opening *list, size_t first_idx, size_t observation_idx,
                        size_t liner_idx)
{
    const struct sm_audit_survey *first = &w->about->first[first_idx];
    const struct sm_observation *o = &first->alignment->observation[observation_idx];
    const struct sm_rules *rules = &first->sheet->rules;
    double half_m = (isnan(o->diameter_mm) ? rules->connection_diameter_mm : o->diameter_mm) / 2000;
    struct sm_audit_span span = sm_audit_liner_on(w->audit, liner_idx, first_idx);
    double start_m = (double)span.start_um / SM_AUDIT__UM_PER_M;
    double end_m = (double)span.end_um / SM_AUDIT__UM_PER_M;
    double clear_m = half_m + rules->keep_clear_m - 0.01; /* a centimetre is lost in the notes */
    if (end_m <= o->distance_m - clear_m || start_m >= o->distance_m + clear_m) {
        return false;
    }
    bool is_covered = start_m < o->distance_m + half_m && end_m > o->distance_m - half_m;
    struct sm_audit_opening *opening = &list[w->audit->n_openings++];
    *opening = (struct sm_audit_opening){(int32_t)first_idx, (int32_t)observation_idx, (int32_t)liner_idx, "", ""};
    opening->state = state_of_opening(w, first_idx, liner_idx, o, is_covered, &opening->words);
    return true;
}

enum sm_status sm_audit__find_openings(struct sm_audit__work *w)
{
    size_t n = count_observations(w->about->first, w->about->n_first);
    struct sm_audit_opening *list = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *list);
    w->audit->opening = list;
    for (size_t f = 0; list && f < w->about->n_first; f++) {
        const struct sm_alignment *alignment = w->about->first[f].alignment;
        for (size_t i = 0; i < alignment->n_observations; i++) {
            bool is_opening = alignment->observation[i].is_connection && isfinite(alignment->observation[i].distance_m);
            for (size_t k = 0; is_opening && k < w->audit->n_liners; k++) {
                if (w->liner[k].has_place && add_opening(w, list, f, i, k)) {
                    break; /* one word a connection */
                }
            }
        }
    }
    return list ? SM_OK : SM_E_NOMEM;
}
