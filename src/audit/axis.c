/*
 * A recheck on the first survey's axis. Two counters never agree; what both surveys logged ties them together. Matching
 * is careful rather than complete: a wrong tie bends the axis, a missing one only makes it less sure.
 */
#include "audit_internal.h"

#include <stdlib.h>
#include <string.h>

#include "stopmark/align.h"

/* Farther apart than this (or the share of the pipe's length) two entries are not one place. */
#define TIE_REACH_M 1.0
#define TIE_REACH_FRAC 0.02
/* What is left of the error at the best of times: a logged distance's digits. */
#define LEAST_ERROR_M 0.02

struct matching {
    const struct sm_alignment *first, *recheck;
    double *recheck_m; /* of each recheck observation, mirrored where the run is; NAN */
    struct sm_audit_tie *tie;
    size_t n_ties;
    double length_m;
    struct sm_audit_axis *axis;
};

static bool is_same_name(const char *a, const char *b)
{
    return a && b && *a && *b && sm_ascii_ieq(a, b);
}

/* Entered at the other end? The access points say. */
static bool is_reverse(const struct sm_segment *first, const struct sm_segment *recheck)
{
    return is_same_name(first->from, recheck->to) || is_same_name(first->to, recheck->from);
}

static enum sm_status place_recheck(struct matching *m, struct sm_arena *arena)
{
    size_t n = m->recheck->n_observations;
    m->recheck_m = sm_arena_alloc(arena, n * sizeof *m->recheck_m);
    m->tie = sm_arena_alloc(arena, (n + 1) * sizeof *m->tie);
    for (size_t i = 0; m->recheck_m && i < n; i++) {
        double distance_m = m->recheck->observation[i].distance_m;
        m->recheck_m[i] = m->axis->is_reverse ? m->length_m - distance_m : distance_m;
    }
    return m->recheck_m && m->tie ? SM_OK : SM_E_NOMEM;
}

/* Could these two entries be one place that stays where it is, lined or not? */
static bool may_tie(const struct matching *m, size_t first_idx, size_t recheck_idx)
{
    const struct sm_observation *a = &m->first->observation[first_idx];
    const struct sm_observation *b = &m->recheck->observation[recheck_idx];
    int32_t from_h = b->clock_from_h;
    int32_t to_h = b->clock_to_h;
    if (isnan(a->distance_m) || isnan(m->recheck_m[recheck_idx])) {
        return false;
    }
    if (m->axis->is_reverse) {
        sm_align_mirror_clock(&from_h, &to_h);
    }
    if (a->is_node || b->is_node) {
        return a->is_node && b->is_node;
    }
    bool is_kind = (a->is_connection && b->is_connection) ||
                   (a->is_at_joint && b->is_at_joint && strcmp(a->code, b->code) == 0);
    return is_kind && sm_audit__clocks_meet(a->clock_from_h, a->clock_to_h, from_h, to_h);
}

static int compare_ties(const void *a, const void *b)
{
    const struct sm_audit_tie *x = a;
    const struct sm_audit_tie *y = b;
    return (x->recheck_m > y->recheck_m) - (x->recheck_m < y->recheck_m);
}

/* Place on the first survey's axis, by the ties there are so far (rising). */
static double bring_over(const struct sm_audit_tie *tie, size_t n, double recheck_m)
{
    size_t k = 0;
    while (k < n && tie[k].recheck_m < recheck_m) {
        k++;
    }
    if (n == 0) {
        return recheck_m;
    }
    if (k == 0 || k == n) {
        const struct sm_audit_tie *end = &tie[k ? n - 1 : 0];
        return recheck_m + end->first_m - end->recheck_m;
    }
    double span_m = tie[k].recheck_m - tie[k - 1].recheck_m;
    double share = span_m > 0 ? (recheck_m - tie[k - 1].recheck_m) / span_m : 0;
    return tie[k - 1].first_m + share * (tie[k].first_m - tie[k - 1].first_m);
}

static bool fits_between(const struct matching *m, const struct sm_audit_tie *candidate)
{
    for (size_t i = 0; i < m->n_ties; i++) {
        const struct sm_audit_tie *tie = &m->tie[i];
        bool is_free = tie->first_idx != candidate->first_idx && tie->recheck_idx != candidate->recheck_idx;
        double rising = (candidate->first_m - tie->first_m) * (candidate->recheck_m - tie->recheck_m);
        if (!is_free || rising <= 0) {
            return false;
        }
    }
    return true;
}

/* The nearest pair that may still be tied; false = none. */
static bool nearest_pair(const struct matching *m, bool is_of_nodes, struct sm_audit_tie *best)
{
    double reach_m = fmax(TIE_REACH_M, isfinite(m->length_m) ? TIE_REACH_FRAC * m->length_m : 0);
    double best_m = reach_m;
    bool is_found = false;
    for (size_t a = 0; a < m->first->n_observations; a++) {
        if (m->first->observation[a].is_node != is_of_nodes) {
            continue;
        }
        for (size_t b = 0; b < m->recheck->n_observations; b++) {
            struct sm_audit_tie tie = {m->first->observation[a].distance_m, m->recheck_m[b], (int32_t)a, (int32_t)b};
            double off_m = fabs(bring_over(m->tie, m->n_ties, tie.recheck_m) - tie.first_m);
            if (may_tie(m, a, b) && off_m <= best_m && (off_m < best_m || !is_found) && fits_between(m, &tie)) {
                best_m = off_m;
                *best = tie;
                is_found = true;
            }
        }
    }
    return is_found;
}

/* Nodes first: they stand at the pipe's ends and say how far the two counters run apart on the way. */
static void match(struct matching *m)
{
    for (int pass = 0; pass < 2; pass++) {
        struct sm_audit_tie tie;
        while (nearest_pair(m, pass == 0, &tie)) {
            m->tie[m->n_ties++] = tie;
            qsort(m->tie, m->n_ties, sizeof *m->tie, compare_ties);
        }
    }
}

static int compare_reals(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static enum sm_status measure(struct matching *m, struct sm_arena *arena)
{
    size_t n = m->n_ties;
    struct sm_audit_axis *axis = m->axis;
    double *shift_m = sm_arena_alloc(arena, (n + 1) * sizeof *shift_m);
    if (!shift_m) {
        return SM_E_NOMEM;
    }
    double apart_m = n > 1 ? (m->tie[n - 1].first_m - m->tie[n - 1].recheck_m) - (m->tie[0].first_m - m->tie[0].recheck_m)
                           : SM_NAN;
    double length_m = isfinite(m->length_m) ? m->length_m : 0;
    axis->error_m = n < 2 ? fmax(0.3, 0.005 * length_m) : n == 2 ? fmax(LEAST_ERROR_M, fabs(apart_m) / 2) : LEAST_ERROR_M;
    for (size_t i = 0; i < n; i++) {
        shift_m[i] = m->tie[i].first_m - m->tie[i].recheck_m;
        if (i > 0 && i + 1 < n) {
            struct sm_audit_tie around[2] = {m->tie[i - 1], m->tie[i + 1]};
            axis->error_m = fmax(axis->error_m, fabs(bring_over(around, 2, m->tie[i].recheck_m) - m->tie[i].first_m));
        }
    }
    qsort(shift_m, n, sizeof *shift_m, compare_reals);
    axis->shift_m = n ? shift_m[n / 2] : SM_NAN;
    axis->misclosure_m = apart_m;
    axis->tie = m->tie;
    axis->n_ties = n;
    return SM_OK;
}

static double brought_over(const struct matching *m, double distance_m)
{
    return bring_over(m->tie, m->n_ties, m->axis->is_reverse ? m->length_m - distance_m : distance_m);
}

static enum sm_status bring_sightings(struct matching *m, struct sm_arena *arena)
{
    size_t n = m->recheck->n_observations;
    struct sm_audit_sighting *sighting = sm_arena_alloc(arena, n * sizeof *sighting);
    for (size_t i = 0; sighting && i < n; i++) {
        const struct sm_observation *o = &m->recheck->observation[i];
        double a_m = brought_over(m, isnan(o->start_m) ? o->distance_m : o->start_m);
        double b_m = brought_over(m, isnan(o->end_m) ? o->distance_m : o->end_m);
        sighting[i] = (struct sm_audit_sighting){fmin(a_m, b_m), fmax(a_m, b_m),
                                                 (isnan(o->error_m) ? 0 : o->error_m) + m->axis->error_m,
                                                 o->clock_from_h, o->clock_to_h};
        if (isnan(o->distance_m)) {
            sighting[i].start_m = sighting[i].end_m = SM_NAN;
        }
        if (m->axis->is_reverse) {
            sm_align_mirror_clock(&sighting[i].clock_from_h, &sighting[i].clock_to_h);
        }
    }
    m->axis->sighting = sighting;
    return sighting ? SM_OK : SM_E_NOMEM;
}

/* ---- what was seen ---- */

/* From the access point the camera entered to the farthest entry, whichever end that was. */
static struct sm_audit_stretch reach(const struct matching *m)
{
    struct sm_audit_stretch all = {SM_INFINITY, -SM_INFINITY};
    for (size_t i = 0; i < m->recheck->n_observations; i++) {
        const struct sm_audit_sighting *s = &m->axis->sighting[i];
        if (isfinite(s->start_m)) {
            all.start_m = fmin(all.start_m, s->start_m);
            all.end_m = fmax(all.end_m, s->end_m);
        }
    }
    double entered_m = brought_over(m, 0);
    if (isfinite(entered_m)) {
        all.start_m = fmin(all.start_m, entered_m);
        all.end_m = fmax(all.end_m, entered_m);
    }
    return all;
}

/* Out of sight lasts over its extent, or where none is logged until the next entry. */
static struct sm_audit_stretch blind_stretch(const struct matching *m, size_t idx)
{
    const struct sm_audit_sighting *s = &m->axis->sighting[idx];
    struct sm_audit_stretch blind = {s->start_m, s->end_m};
    double way = m->axis->is_reverse ? -1 : 1;
    if (blind.end_m > blind.start_m) {
        return blind;
    }
    double next_m = way * SM_INFINITY;
    for (size_t i = 0; i < m->recheck->n_observations; i++) {
        double at_m = m->axis->sighting[i].start_m;
        if (way * at_m > way * s->start_m && way * at_m < way * next_m) {
            next_m = at_m;
        }
    }
    return (struct sm_audit_stretch){fmin(s->start_m, next_m), fmax(s->start_m, next_m)};
}

static size_t cut_out(struct sm_audit_stretch *seen, size_t n, struct sm_audit_stretch blind)
{
    size_t n_before = n;
    for (size_t i = 0; i < n_before; i++) {
        if (blind.end_m <= seen[i].start_m || blind.start_m >= seen[i].end_m) {
            continue;
        }
        double end_m = seen[i].end_m;
        if (blind.end_m < end_m) {
            seen[n++] = (struct sm_audit_stretch){blind.end_m, end_m};
        }
        seen[i].end_m = fmax(seen[i].start_m, blind.start_m);
    }
    return n;
}

static int compare_stretches(const void *a, const void *b)
{
    return compare_reals(&((const struct sm_audit_stretch *)a)->start_m, &((const struct sm_audit_stretch *)b)->start_m);
}

static enum sm_status find_seen(struct matching *m, struct sm_arena *arena)
{
    struct sm_audit_stretch *seen = sm_arena_alloc(arena, 1024 * sizeof *seen);
    if (!seen) {
        return SM_E_NOMEM;
    }
    size_t n = 1;
    seen[0] = reach(m);
    if (!(seen[0].start_m <= seen[0].end_m)) {
        n = 0;
    }
    for (size_t i = 0; i < m->recheck->n_observations && n < 512; i++) {
        if (sm_audit__is_out_of_sight(&m->recheck->observation[i]) && isfinite(m->axis->sighting[i].start_m)) {
            n = cut_out(seen, n, blind_stretch(m, i));
        }
    }
    qsort(seen, n, sizeof *seen, compare_stretches);
    m->axis->seen = seen;
    m->axis->n_seen = n;
    return SM_OK;
}

bool sm_audit_is_seen(const struct sm_audit_axis *axis, double start_m, double end_m)
{
    double tolerance_m = axis->error_m;
    for (size_t i = 0; i < axis->n_seen; i++) {
        const struct sm_audit_stretch *s = &axis->seen[i];
        if (s->end_m >= s->start_m && start_m >= s->start_m - tolerance_m && end_m <= s->end_m + tolerance_m) {
            return true;
        }
    }
    return false;
}

enum sm_status sm_audit_axis_make(struct sm_audit_axis *axis, struct sm_arena *arena, const struct sm_audit_survey *first,
                                  const struct sm_audit_survey *recheck, struct sm_error *err)
{
    double length_m = isfinite(first->alignment->length_m) ? first->alignment->length_m : recheck->alignment->length_m;
    struct matching m = {.first = first->alignment, .recheck = recheck->alignment, .length_m = length_m, .axis = axis};
    *axis = (struct sm_audit_axis){.is_reverse = is_reverse(&first->sheet->segment, &recheck->sheet->segment)};
    enum sm_status status = place_recheck(&m, arena);
    if (status == SM_OK) {
        match(&m);
        status = measure(&m, arena);
    }
    if (status == SM_OK) {
        status = bring_sightings(&m, arena);
    }
    if (status == SM_OK) {
        status = find_seen(&m, arena);
    }
    return status == SM_OK ? SM_OK : sm_audit__no_memory(err);
}
