/*
 * The state of every defect. In the order of what can be shown:
 *   referred -> open -> planned -> installed | missed   by what the crew recorded and exact coverage, then
 *   installed | missed -> remains | proven | unseen       by the latest recheck after the work that saw the place.
 * A liner that is not shown to cover its target stays missed whatever a recheck shows or does not.
 */
#include "audit_internal.h"

#include <assert.h>
#include <stdlib.h>
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

size_t sm_audit__home(const struct sm_audit_case *about, const struct sm_audit_row *row)
{
    for (size_t i = 0; i < about->n_first; i++) {
        if (row->survey == &about->first[i]) {
            return i;
        }
    }
    return 0;
}

static bool is_other_way(const struct sm_audit_survey *a, const struct sm_audit_survey *b)
{
    const char *a_from = a->sheet->segment.from;
    const char *b_to = b->sheet->segment.to;
    return a_from && b_to && *a_from && sm_ascii_ieq(a_from, b_to);
}

struct sm_audit_span sm_audit_liner_on(const struct sm_audit *audit, size_t liner_idx, size_t first_idx)
{
    const struct sm_audit_liner *liner = &audit->liner[liner_idx];
    const struct sm_audit_survey *first = &audit->about->first[first_idx];
    double length_m = first->alignment->length_m;
    if (!liner->row->survey || !isfinite(length_m) || !is_other_way(liner->row->survey, first)) {
        return liner->span;
    }
    int64_t length_um = sm_audit__um(length_m);
    return (struct sm_audit_span){length_um - liner->span.end_um, length_um - liner->span.start_um};
}

const char *sm_audit__keep(struct sm_audit__work *w)
{
    const char *kept = w->text.failed ? NULL : sm_arena_strdup(w->audit->arena, sm_text_str(&w->text));
    sm_text_clear(&w->text);
    return kept;
}

/* ---- liners ---- */

static void place_liner(struct sm_audit_liner *liner)
{
    const struct sm_as_built *row = &liner->row->recorded->row;
    bool enters_at_to = liner->row->survey && liner->row->survey->sheet->access.enters_at_to;
    liner->has_place = sm_audit_place(&liner->span, row, liner->row->repair, enters_at_to, &liner->place_how);
    if (liner->has_place && isfinite(row->stop_digit_m)) {
        int64_t half_um = sm_audit__um(row->stop_digit_m / 2); /* what rounding alone may have moved it */
        liner->span.start_um -= half_um;
        liner->span.end_um += half_um;
    }
}

static enum sm_status list_liners(struct sm_audit__work *w)
{
    struct sm_audit *audit = w->audit;
    w->liner = sm_arena_alloc(audit->arena, (w->about->n_rows + 1) * sizeof *w->liner);
    for (size_t i = 0; w->liner && i < w->about->n_rows; i++) {
        if (w->about->row[i].recorded->row.is_in_place) {
            struct sm_audit_liner *liner = &w->liner[audit->n_liners++];
            *liner = (struct sm_audit_liner){.row = &w->about->row[i], .place_how = "", .sight_how = "", .recheck_idx = -1,
                                             .recheck_observation_idx = -1, .seen_start_m = SM_NAN, .seen_end_m = SM_NAN};
            place_liner(liner);
        }
    }
    audit->liner = w->liner;
    return w->liner ? SM_OK : SM_E_NOMEM;
}

/* ---- targets ---- */

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
static void find_target(struct sm_audit_defect *d, const struct sm_audit_survey *first, const struct sm_observation *o)
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

/* ---- which liners and repairs a defect has to do with ---- */

static bool covers(const struct sm_repair *repair, int32_t observation_idx)
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

static enum sm_status relate_liners(struct sm_audit__work *w, struct sm_audit_defect *d)
{
    int32_t *list = sm_arena_alloc(w->audit->arena, (w->audit->n_liners + 1) * sizeof *list);
    for (size_t i = 0; list && i < w->audit->n_liners; i++) {
        const struct sm_audit_row *row = w->liner[i].row;
        bool is_meant = row->survey == &w->about->first[d->first_idx] && covers(row->repair, d->observation_idx);
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
static enum sm_status name_repairs(struct sm_audit__work *w, struct sm_audit_defect *d, size_t *n_to_do)
{
    const struct sm_plan *plan = w->about->first[d->first_idx].plan;
    *n_to_do = 0;
    for (size_t i = 0; i < d->n_liners; i++) {
        add_name(&w->text, w->liner[d->liner[i]].row->recorded->row.repair);
    }
    for (size_t i = 0; plan && i < plan->n_repairs; i++) {
        if (covers(&plan->repair[i], d->observation_idx) && !is_made(w, (size_t)d->first_idx, &plan->repair[i])) {
            add_name(&w->text, plan->repair[i].id);
            (*n_to_do)++;
        }
    }
    d->repair = sm_audit__keep(w);
    return d->repair ? SM_OK : SM_E_NOMEM;
}

/* ---- coverage ---- */

/* Where a recheck shows both ends of a liner and they differ from the crew's note by more than they could, the pipe is
 * right and the note is not. */
static struct sm_audit_span true_span(const struct sm_audit__work *w, size_t liner_idx, size_t first_idx)
{
    const struct sm_audit_liner *liner = &w->liner[liner_idx];
    struct sm_audit_span span = sm_audit_liner_on(w->audit, liner_idx, first_idx);
    if (isnan(liner->seen_start_m) || sm_audit__home(w->about, liner->row) != first_idx) {
        return span;
    }
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, first_idx, (size_t)liner->recheck_idx);
    struct sm_audit_span seen = {sm_audit__um(liner->seen_start_m), sm_audit__um(liner->seen_end_m)};
    double error_m = axis->error_m + 0.1;
    if (liner->recheck_observation_idx >= 0) {
        error_m = fmax(error_m, axis->sighting[liner->recheck_observation_idx].error_m);
    }
    int64_t error_um = sm_audit__um(error_m);
    bool agrees = llabs(seen.start_um - span.start_um) <= error_um && llabs(seen.end_um - span.end_um) <= error_um;
    return agrees ? span : seen;
}

/* Spans of a defect's liners, those first that the recheck shows. @param n_shown [out] how many these are. */
static enum sm_status gather_spans(const struct sm_audit__work *w, const struct sm_audit_defect *d,
                                   struct sm_audit_span **out, size_t *n, size_t *n_shown)
{
    struct sm_audit_span *span = sm_calloc(d->n_liners + 1, sizeof *span);
    *n = 0;
    for (int is_shown = 1; span && is_shown >= 0; is_shown--) {
        for (size_t i = 0; i < d->n_liners; i++) {
            const struct sm_audit_liner *liner = &w->liner[d->liner[i]];
            if (liner->has_place && (liner->sight == SM_AUDIT_SIGHT_SEEN) == (is_shown == 1)) {
                span[(*n)++] = true_span(w, (size_t)d->liner[i], (size_t)d->first_idx);
            }
        }
        *n_shown = is_shown ? *n : *n_shown;
    }
    *out = span;
    return span ? SM_OK : SM_E_NOMEM;
}

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
            covers(row->repair, d->observation_idx)) {
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

static void decide_by_work(struct sm_audit__work *w, struct sm_audit_defect *d, const struct sm_audit_span *span, size_t n,
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

/* ---- by a recheck ---- */

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
        struct sm_audit_span span = true_span(w, (size_t)d->liner[i], (size_t)d->first_idx);
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

static void decide_by_rechecks(struct sm_audit__work *w, struct sm_audit_defect *d, bool is_shown)
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
    find_target(d, first, &first->alignment->observation[d->observation_idx]);
    enum sm_status status = relate_liners(w, d);
    if (status == SM_OK) {
        status = name_repairs(w, d, &n_to_do);
    }
    if (status == SM_OK) {
        status = gather_spans(w, d, &span, &n, &n_shown);
    }
    if (status == SM_OK) {
        decide_by_work(w, d, span, n, n_to_do);
        int64_t overlap_um = sm_audit__um(first->sheet->rules.overlap_m);
        decide_by_rechecks(w, d, d->has_target && sm_audit_is_covered(d->target, span, n_shown, overlap_um));
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

static int compare_spans(const void *a, const void *b)
{
    const struct sm_audit_span *x = a;
    const struct sm_audit_span *y = b;
    return (x->start_um > y->start_um) - (x->start_um < y->start_um);
}

/* Metres of pipe under liners, on the first survey's axis. */
static enum sm_status measure_repaired(struct sm_audit__work *w)
{
    struct sm_audit_span *span = sm_calloc(w->audit->n_liners + 1, sizeof *span);
    size_t n = 0;
    int64_t total_um = 0;
    int64_t reached_um = INT64_MIN;
    for (size_t i = 0; span && i < w->audit->n_liners; i++) {
        if (w->liner[i].has_place) {
            span[n++] = w->about->n_first ? sm_audit_liner_on(w->audit, i, 0) : w->liner[i].span;
            double digit_m = w->liner[i].row->recorded->row.stop_digit_m;
            int64_t half_um = isfinite(digit_m) ? sm_audit__um(digit_m / 2) : 0;
            span[n - 1].start_um += half_um;
            span[n - 1].end_um -= half_um;
        }
    }
    if (span) {
        qsort(span, n, sizeof *span, compare_spans);
    }
    for (size_t i = 0; span && i < n; i++) {
        int64_t from_um = span[i].start_um > reached_um ? span[i].start_um : reached_um;
        total_um += span[i].end_um > from_um ? span[i].end_um - from_um : 0;
        reached_um = span[i].end_um > reached_um ? span[i].end_um : reached_um;
    }
    w->audit->repaired_m = (double)total_um / SM_AUDIT__UM_PER_M;
    enum sm_status status = span ? SM_OK : SM_E_NOMEM;
    sm_free(span);
    return status;
}

/* Without a first survey there is no axis to look along: only what the crew did is told. */
static enum sm_status look(struct sm_audit__work *w)
{
    static enum sm_status (*const steps[])(struct sm_audit__work *) = {
        make_axes, sm_audit__match_defects, sm_audit__look_at_liners, audit_defects, sm_audit__find_not_made,
        sm_audit__find_new, sm_audit__find_openings,
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
    enum sm_status status = list_liners(&w);
    if (status == SM_OK && about->n_first) {
        status = look(&w);
    }
    if (status == SM_OK) {
        status = measure_repaired(&w);
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
