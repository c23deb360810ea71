/* The state of a defect before any recheck: by what was planned and recorded, and exact coverage. */
#include "audit_internal.h"

#include <string.h>

static void add_stretch(struct sm_text *text, int64_t start_um, int64_t end_um, enum sm_unit unit)
{
    double start_m = (double)start_um / SM_AUDIT__UM_PER_M;
    sm_text_add_fixed(text, unit == SM_UNIT_FT ? start_m / SM_M_PER_FT : start_m, 2);
    sm_text_add(text, " to ");
    sm_audit__add_people_length(text, (double)end_um / SM_AUDIT__UM_PER_M, unit);
}

/* What of the target no liner covers, or that laps are short. */
static void add_gaps(struct sm_text *text, struct sm_audit_span target, const struct sm_audit_span *span, size_t n,
                     enum sm_unit unit)
{
    int64_t at_um = target.start_um;
    size_t n_gaps = 0;
    while (at_um < target.end_um) {
        int64_t reach_um = at_um;
        int64_t next_um = target.end_um;
        for (size_t i = 0; i < n; i++) {
            if (span[i].start_um <= at_um && span[i].end_um > reach_um) {
                reach_um = span[i].end_um;
            } else if (span[i].start_um > at_um && span[i].start_um < next_um) {
                next_um = span[i].start_um;
            }
        }
        if (reach_um > at_um) {
            at_um = reach_um;
            continue;
        }
        sm_text_add(text, n_gaps++ ? ", " : "not covered: ");
        add_stretch(text, at_um, next_um, unit);
        at_um = next_um;
    }
    if (n_gaps == 0) {
        sm_text_add(text, "the liners lap by less than the rules ask");
    }
}

/* ---- reasons ---- */

static const char *unrepaired_reason(const struct sm_audit_survey *first, int32_t observation_idx)
{
    for (size_t i = 0; first->plan && i < first->plan->n_unrepaired; i++) {
        if (first->plan->unrepaired[i].observation_idx == observation_idx) {
            return first->plan->unrepaired[i].reason;
        }
    }
    return NULL;
}

/* The latest try at one of a defect's planned repairs that left no liner; NULL = none. */
static const struct sm_as_built *failed_try(const struct sm_audit__work *w, const struct sm_audit_defect *d)
{
    const struct sm_as_built *found = NULL;
    for (size_t i = 0; i < w->about->n_rows; i++) {
        const struct sm_audit_row *row = &w->about->row[i];
        if (!row->recorded->row.is_in_place && row->survey == &w->about->first[d->first_idx] &&
            sm_audit__is_meant_for(row->repair, d->observation_idx)) {
            found = &row->recorded->row;
        }
    }
    return found;
}

static void add_day(struct sm_text *text, const char *day)
{
    if (*day) {
        sm_text_addf(text, " on %s", day);
    }
}

static void say_not_in_place(struct sm_audit__work *w, const struct sm_audit_defect *d)
{
    const struct sm_as_built *tried = failed_try(w, d);
    const char *why = unrepaired_reason(&w->about->first[d->first_idx], d->observation_idx);
    if (d->state == SM_AUDIT_PLANNED && tried) {
        sm_text_addf(&w->text, "%s was tried", tried->repair);
        add_day(&w->text, tried->date);
        sm_text_addf(&w->text, " and left no liner: %s%s%s", tried->result, *tried->remark ? ", " : "", tried->remark);
    } else if (d->state == SM_AUDIT_PLANNED) {
        sm_text_addf(&w->text, "%s", d->n_liners ? "not all of its repairs are recorded yet" : "not recorded yet");
    } else {
        sm_text_add(&w->text, why ? why : "no repair is planned");
    }
}

static void say_in_place(struct sm_audit__work *w, const struct sm_audit_defect *d, const struct sm_audit_span *span,
                         size_t n)
{
    const struct sm_audit_liner *liner = &w->liner[d->liner[0]];
    const struct sm_as_built *row = &liner->row->recorded->row;
    sm_text_addf(&w->text, "%s in place", d->repair);
    add_day(&w->text, row->date);
    if (d->state == SM_AUDIT_MISSED) {
        sm_text_add(&w->text, "; ");
        if (n == 0) {
            sm_text_add(&w->text, "where it lies is not known");
        } else {
            add_gaps(&w->text, d->target, span, n, sm_audit__unit(w->audit));
        }
    }
    if (strcmp(liner->place_how, "stop as noted") != 0) {
        sm_text_addf(&w->text, "; placed %s", liner->place_how);
    }
}

/* ---- before any recheck ---- */

void sm_audit__decide_by_work(struct sm_audit__work *w, struct sm_audit_defect *d, const struct sm_audit_span *span, size_t n,
                           size_t n_to_do)
{
    const struct sm_audit_survey *first = &w->about->first[d->first_idx];
    const struct sm_observation *o = &first->alignment->observation[d->observation_idx];
    int64_t overlap_um = sm_audit__um(first->sheet->rules.overlap_m);
    bool is_covered = d->has_target && sm_audit_is_covered(d->target, span, n, overlap_um);
    if (is_covered) {
        d->state = SM_AUDIT_INSTALLED;
    } else if (o->treatment == SM_TREATMENT_REFER) {
        d->state = SM_AUDIT_REFERRED;
    } else if (n_to_do) {
        d->state = SM_AUDIT_PLANNED;
    } else {
        d->state = d->n_liners ? SM_AUDIT_MISSED : SM_AUDIT_OPEN;
    }
    if (d->state == SM_AUDIT_REFERRED) {
        sm_text_addf(&w->text, "referred: %s%s", o->reason ? o->reason : "", d->n_liners ? "; " : "");
        if (d->n_liners) {
            sm_text_addf(&w->text, "%s lies here but ", d->repair);
            add_gaps(&w->text, d->target, span, n, sm_audit__unit(w->audit));
        }
    } else if (d->state == SM_AUDIT_INSTALLED || d->state == SM_AUDIT_MISSED) {
        say_in_place(w, d, span, n);
    } else {
        say_not_in_place(w, d);
    }
}
