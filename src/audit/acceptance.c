/*
 * What owners' specifications ask to have on file before they accept repairs: a recording of the whole segment before and after
 * the work, and the distance to each connection. Asked for by a municipal specification for spot repairs and liners (South Bend,
 * Indiana, 4-3.11(b)): both recordings, accurate length of the whole segment, distance to each lateral.
 */
#include "audit_internal.h"

#include <string.h>

static bool has_video(const struct sm_audit_survey *survey)
{
    for (size_t i = 0; i < survey->n_files; i++) {
        if (strcmp(survey->file[i].role, "video") == 0) {
            return true;
        }
    }
    return false;
}

/* Did the recheck come after every liner that is in? */
static bool is_after_work(const struct sm_audit__work *w, size_t recheck_idx)
{
    for (size_t i = 0; i < w->audit->n_liners; i++) {
        if (!sm_audit__is_after(&w->about->recheck[recheck_idx], &w->liner[i])) {
            return false;
        }
    }
    return true;
}

/* The latest recheck after all the work; -1 = none. */
static int32_t last_recheck(const struct sm_audit__work *w)
{
    for (size_t r = w->about->n_rechecks; r-- > 0;) {
        if (is_after_work(w, r)) {
            return (int32_t)r;
        }
    }
    return -1;
}

/* Where the recheck put the same connection: the two are a tie of the axes. */
static double seen_again_m(const struct sm_audit_axis *axis, size_t observation_idx)
{
    for (size_t i = 0; axis && i < axis->n_ties; i++) {
        if (axis->tie[i].first_idx == (int32_t)observation_idx) {
            return axis->tie[i].recheck_m;
        }
    }
    return SM_NAN;
}

static enum sm_status list_connections(struct sm_audit__work *w, struct sm_audit_acceptance *a, const struct sm_audit_axis *axis)
{
    const struct sm_alignment *alignment = w->about->first[0].alignment;
    struct sm_audit_connection *list = sm_arena_alloc(w->audit->arena, (alignment->n_observations + 1) * sizeof *list);
    for (size_t i = 0; list && i < alignment->n_observations; i++) {
        const struct sm_observation *o = &alignment->observation[i];
        if (o->is_connection) {
            list[a->n_connections++] = (struct sm_audit_connection){(int32_t)i, o->distance_m, seen_again_m(axis, i)};
        }
    }
    a->connection = list;
    return list ? SM_OK : SM_E_NOMEM;
}

/* ---- what is missing, in words ---- */

static void add_missing(struct sm_audit__work *w, bool is_missing, const char *words)
{
    if (is_missing) {
        sm_text_addf(&w->text, "%s%s", w->text.length ? "; " : "", words);
    }
}

static void add_connections(struct sm_audit__work *w, const struct sm_audit_acceptance *a)
{
    const struct sm_observation *observation = w->about->first[0].alignment->observation;
    for (size_t i = 0; i < a->n_connections; i++) {
        const struct sm_audit_connection *c = &a->connection[i];
        bool has_both = isfinite(c->survey_m) && (a->recheck_idx < 0 || isfinite(c->recheck_m));
        if (!has_both) {
            sm_text_addf(&w->text, "%sthe distance to connection %s %s", w->text.length ? "; " : "",
                         observation[c->observation_idx].id, isfinite(c->survey_m) ? "after the work" : "before the work");
        }
    }
}

enum sm_status sm_audit__accept(struct sm_audit__work *w)
{
    struct sm_audit_acceptance *a = sm_arena_alloc(w->audit->arena, sizeof *a);
    if (!a) {
        return SM_E_NOMEM;
    }
    *a = (struct sm_audit_acceptance){.recheck_idx = last_recheck(w), .missing = ""};
    const struct sm_audit_axis *axis = a->recheck_idx >= 0 ? sm_audit_get_axis(w->audit, 0, (size_t)a->recheck_idx) : NULL;
    double length_m = w->about->first[0].alignment->length_m;
    a->has_video_before = has_video(&w->about->first[0]);
    a->has_video_after = axis && has_video(&w->about->recheck[a->recheck_idx]);
    a->is_whole_seen = axis && isfinite(length_m) && sm_audit_is_seen(axis, 0, length_m);
    enum sm_status status = list_connections(w, a, axis);
    add_missing(w, !a->has_video_before, "a recording before the work");
    add_missing(w, !a->has_video_after, "a recording after the work");
    add_missing(w, axis && !a->is_whole_seen, "the whole length after the work");
    add_connections(w, a);
    a->missing = sm_audit__keep(w);
    w->audit->acceptance = w->audit->n_liners ? a : NULL;
    return status == SM_OK && !a->missing ? SM_E_NOMEM : status;
}
