/* A segment's audit as tracks: defects by what became of them, liners, connections, and what each recheck saw. */
#include "audit_tracks.h"

#include <stdlib.h>
#include <string.h>

struct track_list {
    struct sm_track_mark *mark;
    size_t n;
};

bool sm_audit__is_done(enum sm_audit_state state)
{
    return state == SM_AUDIT_INSTALLED || state == SM_AUDIT_PROVEN;
}

static int compare_marks(const void *a, const void *b)
{
    const struct sm_track_mark *x = a;
    const struct sm_track_mark *y = b;
    return (x->start_m > y->start_m) - (x->start_m < y->start_m);
}

static bool add_track(struct sm_tracks *tracks, struct sm_track *track, const char *name, struct track_list *list)
{
    if (!name || (list->n && !list->mark)) {
        return false;
    }
    if (list->n > 1) {
        qsort(list->mark, list->n, sizeof *list->mark, compare_marks);
    }
    track[tracks->n_tracks++] = (struct sm_track){name, list->n, list->mark};
    return true;
}

static bool add_defects(struct sm_tracks *tracks, struct sm_track *track, struct sm_arena *arena,
                        const struct sm_audit *audit, size_t first_idx)
{
    const struct sm_alignment *alignment = audit->about->first[first_idx].alignment;
    struct track_list list = {sm_arena_alloc(arena, (audit->n_defects + 1) * sizeof *list.mark), 0};
    for (size_t i = 0; list.mark && i < audit->n_defects; i++) {
        const struct sm_audit_defect *d = &audit->defect[i];
        const struct sm_observation *o = &alignment->observation[d->observation_idx];
        bool is_here = d->first_idx == (int32_t)first_idx && isfinite(o->start_m) && o->start_m <= alignment->length_m;
        if (is_here) {
            const char *title = sm_arena_printf(arena, "%s %s: %s", o->id, o->code, d->reason);
            const char *label = sm_arena_printf(arena, "%s %s", o->id, sm_audit_state_name(d->state));
            list.mark[list.n++] = (struct sm_track_mark){
                o->start_m, o->end_m, sm_audit__is_done(d->state) ? SM_TRACK_DONE : SM_TRACK_DEFECT, label, title};
            if (!title || !label) {
                return false;
            }
        }
    }
    return list.mark && add_track(tracks, track, "Defects", &list);
}

static bool add_liners(struct sm_tracks *tracks, struct sm_track *track, struct sm_arena *arena,
                       const struct sm_audit *audit, size_t first_idx)
{
    struct track_list list = {sm_arena_alloc(arena, (audit->n_liners + 1) * sizeof *list.mark), 0};
    for (size_t i = 0; list.mark && i < audit->n_liners; i++) {
        const struct sm_audit_liner *liner = &audit->liner[i];
        if (liner->has_place) {
            struct sm_audit_span span = sm_audit_liner_on(audit, i, first_idx);
            bool is_bad = liner->sight == SM_AUDIT_SIGHT_DEFECTIVE || liner->sight == SM_AUDIT_SIGHT_NOT_SEEN;
            const char *title = sm_arena_printf(arena, "%s: %s", liner->row->recorded->row.repair,
                                                *liner->sight_how ? liner->sight_how : "not rechecked yet");
            if (!title) {
                return false;
            }
            list.mark[list.n++] = (struct sm_track_mark){(double)span.start_um / SM_AUDIT__UM_PER_M,
                                                         (double)span.end_um / SM_AUDIT__UM_PER_M,
                                                         is_bad ? SM_TRACK_DOUBT : SM_TRACK_LINER,
                                                         liner->row->recorded->row.repair, title};
        }
    }
    return list.mark && add_track(tracks, track, "Liners", &list);
}

static bool add_connections(struct sm_tracks *tracks, struct sm_track *track, struct sm_arena *arena,
                            const struct sm_audit *audit, size_t first_idx)
{
    const struct sm_alignment *alignment = audit->about->first[first_idx].alignment;
    struct track_list list = {sm_arena_alloc(arena, (alignment->n_observations + 1) * sizeof *list.mark), 0};
    for (size_t i = 0; list.mark && i < alignment->n_observations; i++) {
        const struct sm_observation *o = &alignment->observation[i];
        if (o->is_connection && isfinite(o->distance_m)) {
            list.mark[list.n++] = (struct sm_track_mark){o->distance_m, o->distance_m, SM_TRACK_KEEP, o->id, "connection"};
        }
    }
    return list.mark && (list.n == 0 || add_track(tracks, track, "Connections", &list));
}

static bool add_recheck(struct sm_tracks *tracks, struct sm_track *track, struct sm_arena *arena,
                        const struct sm_audit *audit, size_t first_idx, size_t recheck_idx)
{
    const struct sm_audit_axis *axis = sm_audit_get_axis(audit, first_idx, recheck_idx);
    struct track_list list = {sm_arena_alloc(arena, (axis->n_seen + 1) * sizeof *list.mark), 0};
    for (size_t i = 0; list.mark && i < axis->n_seen; i++) {
        list.mark[list.n++] =
            (struct sm_track_mark){axis->seen[i].start_m, axis->seen[i].end_m, SM_TRACK_SEEN, "", "seen by the recheck"};
    }
    const char *date = audit->about->recheck[recheck_idx].date;
    const char *name = sm_arena_printf(arena, "Seen %.10s", *date ? date : "again");
    return list.mark && add_track(tracks, track, name, &list);
}

bool sm_audit__tracks(struct sm_tracks *tracks, struct sm_arena *arena, const struct sm_audit *audit, size_t first_idx,
                      enum sm_unit unit)
{
    const struct sm_audit_survey *first = &audit->about->first[first_idx];
    struct sm_track *track = sm_arena_alloc(arena, (4 + audit->about->n_rechecks) * sizeof *track);
    *tracks = (struct sm_tracks){.length_m = first->alignment->length_m, .from = first->sheet->segment.from,
                                 .to = first->sheet->segment.to, .unit = unit, .track = track};
    bool is_made = track && add_defects(tracks, track, arena, audit, first_idx);
    is_made = is_made && add_liners(tracks, &track[0], arena, audit, first_idx);
    is_made = is_made && add_connections(tracks, track, arena, audit, first_idx);
    for (size_t r = 0; is_made && r < audit->about->n_rechecks; r++) {
        is_made = add_recheck(tracks, track, arena, audit, first_idx, r);
    }
    return is_made;
}
