/* What a defect has to do with: its target, the liners meant for it or touching it, the repairs still to do. */
#include "audit_internal.h"

#include <string.h>

static const struct sm_target *planned_target(const struct sm_audit_survey *first, size_t observation_idx)
{
    for (size_t i = 0; first->plan && i < first->plan->n_targets; i++) {
        if ((size_t)first->plan->target[i].observation_idx == observation_idx) {
            return &first->plan->target[i];
        }
    }
    return NULL;
}

/* The plan's target; for a referred defect, which has none, by the same rule. */
void sm_audit__find_target(struct sm_audit_defect *d, const struct sm_audit_survey *first, const struct sm_observation *o)
{
    const struct sm_target *planned = planned_target(first, (size_t)d->observation_idx);
    double length_m = first->alignment->length_m;
    if (planned) {
        d->target = (struct sm_audit_span){planned->start_um, planned->end_um};
        d->has_target = true;
    } else if (isfinite(o->start_m) && isfinite(o->end_m)) {
        double cover_m = first->sheet->rules.end_cover_m + (isnan(o->error_m) ? 0 : o->error_m);
        d->target.start_um = sm_audit__um(fmax(0, o->start_m - cover_m));
        d->target.end_um = sm_audit__um(isfinite(length_m) ? fmin(length_m, o->end_m + cover_m) : o->end_m + cover_m);
        d->has_target = d->target.start_um <= d->target.end_um;
    }
}

bool sm_audit__is_meant_for(const struct sm_repair *repair, int32_t observation_idx)
{
    for (size_t i = 0; repair && i < repair->n_covers; i++) {
        if (repair->covers[i] == observation_idx) {
            return true;
        }
    }
    return false;
}

static bool touches(struct sm_audit_span a, struct sm_audit_span b)
{
    return a.start_um < b.end_um && b.start_um < a.end_um;
}

enum sm_status sm_audit__relate_liners(struct sm_audit__work *w, struct sm_audit_defect *d)
{
    int32_t *list = sm_arena_alloc(w->audit->arena, (w->audit->n_liners + 1) * sizeof *list);
    for (size_t i = 0; list && i < w->audit->n_liners; i++) {
        const struct sm_audit_row *row = w->liner[i].row;
        bool is_meant = row->survey == &w->about->first[d->first_idx] && sm_audit__is_meant_for(row->repair, d->observation_idx);
        bool is_there = d->has_target && w->liner[i].has_place &&
                        touches(sm_audit_liner_on(w->audit, i, (size_t)d->first_idx), d->target);
        if (is_meant || is_there) {
            list[d->n_liners++] = (int32_t)i;
        }
    }
    d->liner = list;
    return list ? SM_OK : SM_E_NOMEM;
}

/* Is a planned repair in the pipe: recorded under its name, or a liner of another plan lies where it was to be? */
static bool is_made(const struct sm_audit__work *w, size_t first_idx, const struct sm_repair *repair)
{
    for (size_t i = 0; i < w->audit->n_liners; i++) {
        const struct sm_audit_row *row = w->liner[i].row;
        if (row->survey == &w->about->first[first_idx] && row->repair == repair) {
            return true;
        }
        struct sm_audit_span span = sm_audit_liner_on(w->audit, i, first_idx);
        int64_t room_um = sm_audit__um(w->about->first[first_idx].sheet->rules.placement_m);
        if (w->liner[i].has_place && span.start_um <= repair->start_um + room_um &&
            span.end_um >= repair->start_um + repair->length_um - room_um) {
            return true;
        }
    }
    return false;
}

static bool add_name(struct sm_text *text, const char *name)
{
    const char *shown = *name ? name : "unnamed";
    size_t n = strlen(shown);
    for (const char *at = sm_text_str(text); (at = strstr(at, shown)); at += n) {
        if ((at == text->data || at[-1] == ' ') && (at[n] == ' ' || !at[n])) {
            return false;
        }
    }
    sm_text_addf(text, "%s%s", text->length ? " " : "", shown);
    return true;
}

/* Liners that are in, then planned repairs that are not. @param n_to_do [out] of the latter. */
enum sm_status sm_audit__name_repairs(struct sm_audit__work *w, struct sm_audit_defect *d, size_t *n_to_do)
{
    const struct sm_plan *plan = w->about->first[d->first_idx].plan;
    *n_to_do = 0;
    for (size_t i = 0; i < d->n_liners; i++) {
        add_name(&w->text, w->liner[d->liner[i]].row->recorded->row.repair);
    }
    for (size_t i = 0; plan && i < plan->n_repairs; i++) {
        if (sm_audit__is_meant_for(&plan->repair[i], d->observation_idx) && !is_made(w, (size_t)d->first_idx, &plan->repair[i])) {
            add_name(&w->text, plan->repair[i].id);
            (*n_to_do)++;
        }
    }
    d->repair = sm_audit__keep(w);
    return d->repair ? SM_OK : SM_E_NOMEM;
}

enum sm_status sm_audit__gather_spans(const struct sm_audit__work *w, const struct sm_audit_defect *d,
                                   struct sm_audit_span **out, size_t *n, size_t *n_shown)
{
    struct sm_audit_span *span = sm_calloc(d->n_liners + 1, sizeof *span);
    *n = 0;
    for (int is_shown = 1; span && is_shown >= 0; is_shown--) {
        for (size_t i = 0; i < d->n_liners; i++) {
            const struct sm_audit_liner *liner = &w->liner[d->liner[i]];
            if (liner->has_place && (liner->sight == SM_AUDIT_SIGHT_SEEN) == (is_shown == 1)) {
                span[(*n)++] = sm_audit__true_span(w, (size_t)d->liner[i], (size_t)d->first_idx);
            }
        }
        *n_shown = is_shown ? *n : *n_shown;
    }
    *out = span;
    return span ? SM_OK : SM_E_NOMEM;
}
