/*
 * The state of every defect. In the order of what can be shown:
 *   referred -> open -> planned -> installed | missed   by what the crew recorded and exact coverage, then
 *   installed | missed -> remains | proven | unseen       by the latest recheck after the work that saw the place.
 * A liner that is not shown to cover its target stays missed whatever a recheck shows or does not.
 */
#include "audit_internal.h"

#include <assert.h>
#include <string.h>

#include "stopmark/asbuilt.h"

static const char *const state_names[SM_AUDIT_N_STATES] = {"open",   "planned", "installed", "missed",
                                                           "proven", "remains", "unseen",    "referred"};

const char *sm_audit_state_name(enum sm_audit_state state)
{
    return state_names[state];
}

const char *sm_audit_sight_name(enum sm_audit_sight sight)
{
    static const char *const names[] = {"", "seen", "not seen", "defective", "unseen"};
    return names[sight];
}

const struct sm_audit_axis *sm_audit_get_axis(const struct sm_audit *audit, size_t first_idx, size_t recheck_idx)
{
    assert(first_idx < audit->about->n_first && recheck_idx < audit->about->n_rechecks);
    return &audit->axis[first_idx * audit->about->n_rechecks + recheck_idx];
}

const char *sm_audit__keep(struct sm_audit__work *w)
{
    const char *kept = w->text.failed ? NULL : sm_arena_strdup(w->audit->arena, sm_text_str(&w->text));
    sm_text_clear(&w->text);
    return kept;
}

/* ---- ages ---- */

static bool is_iso(const char *day)
{
    return day && strlen(day) >= 10 && day[4] == '-' && day[7] == '-';
}

/* Days from one ISO day to another; -1 = not known. */
static int32_t days_between(const char *from, const char *to)
{
    char a[24];
    char b[24];
    if (!is_iso(from) || !is_iso(to)) {
        return -1;
    }
    memcpy(a, from, 10);
    memcpy(a + 10, "T00:00", 7);
    memcpy(b, to, 10);
    memcpy(b + 10, "T00:00", 7);
    double minutes = sm_asbuilt_minutes_between(a, b);
    return isfinite(minutes) && minutes >= 0 ? (int32_t)(minutes / 1440) : -1;
}

/* ---- all of it ---- */

static enum sm_status audit_defect(struct sm_audit__work *w, struct sm_audit_defect *d)
{
    const struct sm_audit_survey *first = &w->about->first[d->first_idx];
    struct sm_audit_span *span = NULL;
    size_t n = 0;
    size_t n_shown = 0;
    size_t n_to_do = 0;
    sm_audit__find_target(d, first, &first->alignment->observation[d->observation_idx]);
    enum sm_status status = sm_audit__relate_liners(w, d);
    if (status == SM_OK) {
        status = sm_audit__name_repairs(w, d, &n_to_do);
    }
    if (status == SM_OK) {
        status = sm_audit__gather_spans(w, d, &span, &n, &n_shown);
    }
    if (status == SM_OK) {
        sm_audit__decide_by_work(w, d, span, n, n_to_do);
        int64_t overlap_um = sm_audit__um(first->sheet->rules.overlap_m);
        sm_audit__decide_by_rechecks(w, d, d->has_target && sm_audit_is_covered(d->target, span, n_shown, overlap_um));
        d->reason = sm_audit__keep(w);
        d->age_d = days_between(first->date, w->about->today);
        status = d->reason ? SM_OK : SM_E_NOMEM;
    }
    sm_free(span);
    return status;
}

static bool calls_for_repair(const struct sm_observation *o)
{
    return o->treatment == SM_TREATMENT_LINE || o->treatment == SM_TREATMENT_PREPARE || o->treatment == SM_TREATMENT_REFER;
}

static enum sm_status audit_defects(struct sm_audit__work *w)
{
    size_t n = 0;
    for (size_t f = 0; f < w->about->n_first; f++) {
        n += w->about->first[f].alignment->n_observations;
    }
    w->defect = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *w->defect);
    enum sm_status status = w->defect ? SM_OK : SM_E_NOMEM;
    for (size_t f = 0; status == SM_OK && f < w->about->n_first; f++) {
        const struct sm_alignment *alignment = w->about->first[f].alignment;
        for (size_t i = 0; status == SM_OK && i < alignment->n_observations; i++) {
            if (!calls_for_repair(&alignment->observation[i])) {
                continue;
            }
            struct sm_audit_defect *d = &w->defect[w->audit->n_defects++];
            *d = (struct sm_audit_defect){.first_idx = (int32_t)f, .observation_idx = (int32_t)i, .recheck_idx = -1,
                                          .recheck_observation_idx = -1};
            status = audit_defect(w, d);
            w->audit->count[d->state] += status == SM_OK;
        }
    }
    w->audit->defect = w->defect;
    return status;
}

static enum sm_status make_axes(struct sm_audit__work *w)
{
    size_t n = w->about->n_first * w->about->n_rechecks;
    w->axis = sm_arena_alloc(w->audit->arena, (n + 1) * sizeof *w->axis);
    enum sm_status status = w->axis ? SM_OK : SM_E_NOMEM;
    for (size_t k = 0; status == SM_OK && k < n; k++) {
        status = sm_audit_axis_make(&w->axis[k], w->audit->arena, &w->about->first[k / w->about->n_rechecks],
                                    &w->about->recheck[k % w->about->n_rechecks], w->err);
    }
    w->audit->axis = w->axis;
    return status;
}

/* Without a first survey there is no axis to look along: only what the crew did is told. */
static enum sm_status look(struct sm_audit__work *w)
{
    static enum sm_status (*const steps[])(struct sm_audit__work *) = {
        make_axes, sm_audit__match_defects, sm_audit__look_at_liners, audit_defects, sm_audit__find_not_made,
        sm_audit__find_new, sm_audit__find_openings, sm_audit__accept,
    };
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](w);
    }
    return status;
}

void sm_audit_free(struct sm_audit **audit)
{
    if (audit && *audit) {
        sm_arena_free(&(*audit)->arena);
        sm_free(*audit);
        *audit = NULL;
    }
}

enum sm_status sm_audit_make(struct sm_audit **out, const struct sm_audit_case *about, struct sm_error *err)
{
    struct sm_audit *audit = sm_calloc(1, sizeof *audit);
    if (!audit || sm_arena_new(&audit->arena) != SM_OK) {
        sm_free(audit);
        return sm_audit__no_memory(err);
    }
    audit->about = about;
    struct sm_audit__work w = {.about = about, .audit = audit, .err = err};
    enum sm_status status = sm_audit__list_liners(&w);
    if (status == SM_OK && about->n_first) {
        status = look(&w);
    }
    if (status == SM_OK) {
        status = sm_audit__measure_repaired(&w);
    }
    if (status == SM_OK) {
        status = sm_audit__rate_all(audit);
    }
    sm_text_release(&w.text);
    if (status != SM_OK) {
        sm_audit_free(&audit);
        return sm_audit__no_memory(err);
    }
    *out = audit;
    return SM_OK;
}
