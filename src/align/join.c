/*
 * Several runs of one segment on one axis. Sightings are listed, all pairs of two runs that could be one
 * defect are ranked by how near they lie, and taken nearest first; a defect is a chain of sightings with at
 * most one of each run.
 */
#include "align_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WORST_FRAC 0.005
#define WORST_M 0.3
/* More sightings than any segment has; the pairs of more would take too long. */
#define MOST_SIGHTINGS 20000

static int32_t mirror_hour(int32_t hour)
{
    return hour > 0 && hour < 12 ? 12 - hour : hour;
}

void sm_align_mirror_clock(int32_t *from_h, int32_t *to_h)
{
    int32_t from = mirror_hour(*from_h);
    int32_t to = mirror_hour(*to_h);
    *from_h = to > 0 ? to : from;
    *to_h = to > 0 ? from : to;
}

/* A sighting and the defect it went into. */
struct item {
    struct sm_sighting sighting;
    const char *code;
    double error_m;
    size_t next;   /* next sighting of the same defect, itself = none; a ring */
    size_t n_seen; /* sightings of its defect, kept at the ring's first */
    size_t first;  /* the ring's first */
};
struct pair {
    size_t a, b;
    double apart_m;
};
struct join {
    struct item *item;
    size_t n;
    struct pair *pair;
    size_t n_pairs, capacity;
    double length_m, tolerance_m;
    struct sm_joined *out;
};

static double known_length(const struct sm_run *run, size_t n_runs)
{
    double length_m = SM_NAN;
    for (size_t i = 0; i < n_runs; i++) {
        const struct sm_alignment *alignment = run[i].alignment;
        if (isnan(length_m) && !alignment->is_length_assumed) {
            length_m = alignment->length_m;
        }
    }
    return length_m;
}

static void mirror(struct sm_sighting *sighting, double length_m)
{
    double start_m = sighting->start_m;
    double within_m = sighting->distance_m - start_m; /* at its start or in its middle: so it stays */
    sighting->start_m = length_m - sighting->end_m;
    sighting->end_m = length_m - start_m;
    sighting->distance_m = sighting->start_m + within_m;
    sm_align_mirror_clock(&sighting->clock_from_h, &sighting->clock_to_h);
}

static void list_run(struct join *join, const struct sm_run *run, size_t run_idx)
{
    for (size_t i = 0; i < run->alignment->n_observations; i++) {
        const struct sm_observation *seen = &run->alignment->observation[i];
        if (seen->is_node) {
            continue;
        }
        struct item *item = &join->item[join->n];
        item->sighting = (struct sm_sighting){.run_idx = run_idx,
                                              .observation_idx = (int32_t)i,
                                              .id = seen->id,
                                              .distance_m = seen->distance_m,
                                              .start_m = seen->start_m,
                                              .end_m = seen->end_m,
                                              .clock_from_h = seen->clock_from_h,
                                              .clock_to_h = seen->clock_to_h};
        if (run->is_reverse) {
            mirror(&item->sighting, join->length_m);
        }
        item->code = seen->code;
        item->error_m = seen->error_m;
        item->next = item->first = join->n;
        item->n_seen = 1;
        join->n++;
    }
}

/* Hours may be read one off; none at all says nothing against it. */
static bool clocks_fit(const struct sm_sighting *a, const struct sm_sighting *b)
{
    bool is_known = a->clock_from_h > 0 && b->clock_from_h > 0 && a->clock_to_h == 0 && b->clock_to_h == 0;
    if (!is_known) {
        return true;
    }
    int32_t apart = abs(a->clock_from_h - b->clock_from_h) % 12;
    return apart <= 1 || apart == 11;
}

static enum sm_status add_pair(struct join *join, size_t a, size_t b, struct sm_error *err)
{
    const struct sm_sighting *x = &join->item[a].sighting;
    const struct sm_sighting *y = &join->item[b].sighting;
    double apart_m = fabs(x->distance_m - y->distance_m);
    bool fits = x->run_idx != y->run_idx && apart_m <= join->tolerance_m &&
                strcmp(join->item[a].code, join->item[b].code) == 0 && clocks_fit(x, y);
    if (!fits) {
        return SM_OK;
    }
    if (sm_grow(&join->pair, join->n_pairs, &join->capacity, sizeof *join->pair) != SM_OK) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for pairs of %zu sightings", join->n);
    }
    join->pair[join->n_pairs++] = (struct pair){a, b, apart_m};
    return SM_OK;
}

static int compare_items(const void *a, const void *b)
{
    const struct sm_sighting *x = &((const struct item *)a)->sighting;
    const struct sm_sighting *y = &((const struct item *)b)->sighting;
    if (isnan(x->distance_m) != isnan(y->distance_m)) {
        return isnan(x->distance_m) ? 1 : -1; /* without a place: last */
    }
    if (!isnan(x->distance_m) && x->distance_m != y->distance_m) {
        return x->distance_m < y->distance_m ? -1 : 1;
    }
    if (x->run_idx != y->run_idx) {
        return x->run_idx < y->run_idx ? -1 : 1;
    }
    return (x->observation_idx > y->observation_idx) - (x->observation_idx < y->observation_idx);
}

static int compare_pairs(const void *a, const void *b)
{
    const struct pair *x = a;
    const struct pair *y = b;
    if (x->apart_m != y->apart_m) {
        return x->apart_m < y->apart_m ? -1 : 1;
    }
    if (x->a != y->a) {
        return x->a < y->a ? -1 : 1;
    }
    return (x->b > y->b) - (x->b < y->b);
}

/* Items are sorted by distance, so only near ones are looked at. */
static enum sm_status list_pairs(struct join *join, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < join->n; i++) {
        double reach_m = join->item[i].sighting.distance_m + join->tolerance_m;
        for (size_t k = i + 1; status == SM_OK && k < join->n && join->item[k].sighting.distance_m <= reach_m;
             k++) {
            status = add_pair(join, i, k, err);
        }
    }
    if (join->n_pairs > 1) {
        qsort(join->pair, join->n_pairs, sizeof *join->pair, compare_pairs);
    }
    return status;
}

static bool share_run(const struct join *join, size_t a, size_t b)
{
    size_t i = a;
    do {
        size_t k = b;
        do {
            if (join->item[i].sighting.run_idx == join->item[k].sighting.run_idx) {
                return true;
            }
            k = join->item[k].next;
        } while (k != b);
        i = join->item[i].next;
    } while (i != a);
    return false;
}

/* Two rings become one: the ends change places. */
static void unite(struct join *join, size_t a, size_t b)
{
    size_t keep = join->item[a].first;
    size_t i = b;
    do {
        join->item[i].first = keep;
        join->item[keep].n_seen++;
        i = join->item[i].next;
    } while (i != b);
    size_t next = join->item[a].next;
    join->item[a].next = join->item[b].next;
    join->item[b].next = next;
}

static int compare_sightings(const void *a, const void *b)
{
    const struct sm_sighting *x = a;
    const struct sm_sighting *y = b;
    return (x->run_idx > y->run_idx) - (x->run_idx < y->run_idx);
}

static bool make_defect(struct sm_joined_defect *defect, const struct join *join, size_t first)
{
    size_t n = join->item[first].n_seen;
    struct sm_sighting *sighting = sm_arena_alloc(join->out->arena, n * sizeof *sighting);
    *defect = (struct sm_joined_defect){.code = sm_arena_strdup(join->out->arena, join->item[first].code),
                                        .n_sightings = n,
                                        .sighting = sighting,
                                        .start_m = SM_NAN,
                                        .end_m = SM_NAN};
    if (!sighting || !defect->code) {
        return false;
    }
    double weight = 0;
    double sum_m = 0;
    double low_m = SM_NAN;
    double high_m = SM_NAN;
    size_t i = first;
    for (size_t k = 0; k < n; k++, i = join->item[i].next) {
        const struct item *item = &join->item[i];
        double error_m =
            fmax(item->error_m, 1e-3); /* a sighting without an error is worth no more than a sure one */
        sighting[k] = item->sighting;
        sighting[k].id = sm_arena_strdup(join->out->arena, item->sighting.id);
        if (!sighting[k].id) {
            return false;
        }
        weight += 1 / (error_m * error_m);
        sum_m += item->sighting.distance_m / (error_m * error_m);
        low_m = fmin(low_m, item->sighting.distance_m);
        high_m = fmax(high_m, item->sighting.distance_m);
        defect->start_m = fmin(defect->start_m, item->sighting.start_m);
        defect->end_m = fmax(defect->end_m, item->sighting.end_m);
    }
    qsort(sighting, n, sizeof *sighting, compare_sightings);
    defect->distance_m = sum_m / weight;
    defect->difference_m = n > 1 ? high_m - low_m : SM_NAN;
    return true;
}

static int compare_defects(const void *a, const void *b)
{
    double x = ((const struct sm_joined_defect *)a)->distance_m;
    double y = ((const struct sm_joined_defect *)b)->distance_m;
    if (isnan(x) || isnan(y)) {
        return (isnan(x) ? 1 : 0) - (isnan(y) ? 1 : 0);
    }
    return (x > y) - (x < y);
}

/* How the later run of each shared defect differs from the first: a constant part and the rest. */
static enum sm_status measure(struct sm_joined *out, struct sm_error *err)
{
    double *difference_m = sm_calloc(out->n_defects + 1, sizeof *difference_m);
    if (!difference_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu defects", out->n_defects);
    }
    size_t n = 0;
    for (size_t i = 0; i < out->n_defects; i++) {
        const struct sm_joined_defect *defect = &out->defect[i];
        if (defect->n_sightings > 1) {
            const struct sm_sighting *last = &defect->sighting[defect->n_sightings - 1];
            difference_m[n++] = last->distance_m - defect->sighting[0].distance_m;
        }
    }
    out->n_shared = n;
    sm_align__sort(difference_m, n);
    out->shift_m = n ? (difference_m[n / 2] + difference_m[(n - 1) / 2]) / 2 : SM_NAN;
    for (size_t i = 0; i < n; i++) {
        difference_m[i] = fabs(difference_m[i] - out->shift_m);
    }
    sm_align__sort(difference_m, n);
    out->spread_m = n ? (difference_m[n / 2] + difference_m[(n - 1) / 2]) / 2 : SM_NAN;
    sm_free(difference_m);
    return SM_OK;
}

/* What the runs are called, copied: a result does not depend on what it was made of. */
static bool name_runs(struct sm_joined *out, const struct sm_run *run, size_t n_runs)
{
    out->run = sm_arena_alloc(out->arena, (n_runs + 1) * sizeof *out->run);
    for (size_t i = 0; out->run && i < n_runs; i++) {
        struct sm_joined_run *named = &out->run[out->n_runs++];
        *named = (struct sm_joined_run){
            .name = sm_arena_strdup(out->arena, run[i].name ? run[i].name : ""),
            .from = run[i].from ? sm_arena_strdup(out->arena, run[i].from) : NULL,
            .date = run[i].date ? sm_arena_strdup(out->arena, run[i].date) : NULL,
            .is_reverse = run[i].is_reverse,
        };
        if (!named->name || (run[i].from && !named->from) || (run[i].date && !named->date)) {
            return false;
        }
    }
    return out->run != NULL;
}

static enum sm_status collect(struct join *join, struct sm_error *err)
{
    struct sm_joined_defect *defect = sm_arena_alloc(join->out->arena, (join->n + 1) * sizeof *defect);
    size_t n = 0;
    for (size_t i = 0; defect && i < join->n; i++) {
        if (join->item[i].first == i) {
            if (!make_defect(&defect[n++], join, i)) {
                defect = NULL;
            }
        }
    }
    if (!defect) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu defects", join->n);
    }
    qsort(defect, n, sizeof *defect, compare_defects);
    join->out->defect = defect;
    join->out->n_defects = n;
    join->out->length_m = join->length_m;
    join->out->tolerance_m = join->tolerance_m;
    return measure(join->out, err);
}

/* A difference that most shared defects have is told: a datum or a length is wrong. */
static enum sm_status report_shift(const struct join *join, struct sm_error *err)
{
    const struct sm_joined *out = join->out;
    if (out->n_shared < 2 || fabs(out->shift_m) <= join->tolerance_m / 4 ||
        fabs(out->shift_m) < 2 * out->spread_m) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_addf(&text, "%zu defects seen by two runs lie ", out->n_shared);
    sm_text_add_fixed(&text, fabs(out->shift_m), 2);
    sm_text_add(&text, " m apart, the later run's ");
    sm_text_add(&text, out->shift_m > 0 ? "farther on" : "nearer");
    sm_text_add(&text, ": is the length of the pipe right, and do both runs count from the pipe edge?");
    enum sm_status status = text.failed
                                ? SM_E_NOMEM
                                : sm_findings_add(&join->out->findings, (enum sm_flag)0, SM_SEVERITY_WARNING,
                                                  NULL, 0, SM_NAN, -1, "%s", sm_text_str(&text));
    sm_text_release(&text);
    return status == SM_OK ? SM_OK : sm_error_set(err, status, "no memory for the findings");
}

static enum sm_status prepare(struct join *join, const struct sm_run *run, size_t n_runs, double length_m,
                              double tolerance_m, struct sm_error *err)
{
    size_t n = 0;
    bool has_reverse = false;
    for (size_t i = 0; i < n_runs; i++) {
        n += run[i].alignment->n_observations;
        has_reverse |= run[i].is_reverse;
    }
    join->length_m = isnan(length_m) ? known_length(run, n_runs) : length_m;
    if (has_reverse && isnan(join->length_m)) {
        sm_error_set(err, SM_E_RANGE, "runs from both ends and no length of the pipe to bring them together");
        (void)sm_error_remedy(err, "give [segment] length, pipe edge to pipe edge");
        return SM_E_RANGE;
    }
    if (n > MOST_SIGHTINGS) {
        return sm_error_set(err, SM_E_RANGE, "%zu observations in one segment are more than can be compared",
                            n);
    }
    double worst_m = fmax(WORST_M, WORST_FRAC * join->length_m); /* fmax passes over a NAN */
    join->tolerance_m = isnan(tolerance_m) ? 2 * worst_m : tolerance_m;
    join->item = sm_calloc(n + 1, sizeof *join->item);
    join->out = sm_calloc(1, sizeof *join->out);
    if (!join->item || !join->out || sm_arena_new(&join->out->arena) != SM_OK ||
        !name_runs(join->out, run, n_runs)) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu sightings", n);
    }
    return SM_OK;
}

/* Sort, then number: rings are made of places in the sorted list. */
static void sort_items(struct join *join)
{
    if (join->n > 1) {
        qsort(join->item, join->n, sizeof *join->item, compare_items);
    }
    for (size_t i = 0; i < join->n; i++) {
        join->item[i].next = join->item[i].first = i;
    }
}

enum sm_status sm_align_join(struct sm_joined **out, const struct sm_run *run, size_t n_runs, double length_m,
                             double tolerance_m, struct sm_error *err)
{
    struct join join = {0};
    enum sm_status status = prepare(&join, run, n_runs, length_m, tolerance_m, err);
    for (size_t i = 0; status == SM_OK && i < n_runs; i++) {
        list_run(&join, &run[i], i);
    }
    if (status == SM_OK) {
        sort_items(&join);
        status = list_pairs(&join, err);
    }
    for (size_t i = 0; status == SM_OK && i < join.n_pairs; i++) {
        if (!share_run(&join, join.pair[i].a, join.pair[i].b)) {
            unite(&join, join.pair[i].a, join.pair[i].b);
        }
    }
    if (status == SM_OK) {
        status = collect(&join, err);
    }
    if (status == SM_OK) {
        status = report_shift(&join, err);
    }
    if (status == SM_OK) {
        *out = join.out;
        join.out = NULL;
    }
    sm_joined_free(&join.out);
    sm_free(join.item);
    sm_free(join.pair);
    return status;
}

void sm_joined_free(struct sm_joined **joined)
{
    if (!joined || !*joined) {
        return;
    }
    sm_findings_release(&(*joined)->findings);
    sm_arena_free(&(*joined)->arena);
    sm_free(*joined);
    *joined = NULL;
}
