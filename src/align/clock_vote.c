/*
 * Which clock offset do most entries claim? Each place of the log claims intervals of offsets: wide ones
 * where the camera stood, narrow ones where it drove. The offset is where the claims of most places meet; a
 * wrong distance claims some other offset, alone, and is outvoted. Two passes: count claims widened by a
 * slack (an entry is keyed a second early or late), then find the least sum of misses within the best stretch
 * of offsets.
 */
#include "align_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What a wrong distance may cost: little more than whole seconds do, so that it cannot draw the offset its
 * way. */
#define CAP_S 1.0
/* Offsets that cost this little more cannot be told apart: one time in whole seconds. */
#define ALIKE_S 0.5
/* Of offsets that fit alike the greater make entries early in their standstills, which is a little likelier:
 * who has stopped writes, and drives on when he has written. Common practice, no source. */
#define EARLY_FRAC 0.7
#define MOST_CANDIDATES 2000

/* A claim begins (+1) or ends (-1). */
struct edge {
    double at_s;
    int32_t step;
};
struct stretch {
    double low_s, high_s;
    size_t n;
};

static int compare_claims(const void *a, const void *b)
{
    const struct sm_align__claim *x = a;
    const struct sm_align__claim *y = b;
    if (x->place_idx != y->place_idx) {
        return x->place_idx < y->place_idx ? -1 : 1;
    }
    return (x->low_s > y->low_s) - (x->low_s < y->low_s);
}

/* Ends after starts at the same offset: intervals are closed. */
static int compare_edges(const void *a, const void *b)
{
    const struct edge *x = a;
    const struct edge *y = b;
    if (x->at_s != y->at_s) {
        return x->at_s < y->at_s ? -1 : 1;
    }
    return (y->step > x->step) - (y->step < x->step);
}

/* Widened claims of one place that overlap are one, so that no place counts twice. @return number of edges.
 */
static size_t make_edges(struct edge *edge, const struct sm_align__claim *claim, size_t n, double slack_s)
{
    size_t n_edges = 0;
    for (size_t i = 0; i < n;) {
        double high_s = claim[i].high_s + slack_s;
        size_t next = i + 1;
        while (next < n && claim[next].place_idx == claim[i].place_idx &&
               claim[next].low_s - slack_s <= high_s) {
            high_s = fmax(high_s, claim[next].high_s + slack_s);
            next++;
        }
        edge[n_edges++] = (struct edge){claim[i].low_s - slack_s, +1};
        edge[n_edges++] = (struct edge){high_s, -1};
        i = next;
    }
    qsort(edge, n_edges, sizeof *edge, compare_edges);
    return n_edges;
}

/*
 * The best stretch of offsets with its middle outside [not_low_s, not_high_s] (NAN: anywhere). Of equal ones
 * the widest: it asks the least of chance.
 */
static struct stretch best_stretch(const struct edge *edge, size_t n_edges, double not_low_s,
                                   double not_high_s)
{
    struct stretch best = {SM_NAN, SM_NAN, 0};
    size_t n = 0;
    for (size_t i = 0; i + 1 < n_edges; i++) {
        n = edge[i].step > 0 ? n + 1 : n - 1;
        struct stretch here = {edge[i].at_s, edge[i + 1].at_s, n};
        double middle_s = (here.low_s + here.high_s) / 2;
        bool is_excluded = middle_s >= not_low_s && middle_s <= not_high_s;
        bool is_wider = here.n == best.n && here.high_s - here.low_s > best.high_s - best.low_s;
        if (!is_excluded && here.n > 0 && (here.n > best.n || is_wider)) {
            best = here;
        }
    }
    return best;
}

/* How far an offset is from what a place claims; claims of one place stand together. */
static double miss_of_place(const struct sm_align__claim *claim, size_t n, double offset_s)
{
    double least_s = HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        double miss_s = fmax(0, fmax(claim[i].low_s - offset_s, offset_s - claim[i].high_s));
        least_s = fmin(least_s, miss_s);
    }
    return least_s;
}

struct misses {
    double all_s;   /* sum over all places, each at most the cap */
    double agree_s; /* over those within the slack */
    size_t n_agree;
};

static struct misses sum_misses(const struct sm_align__claim *claim, size_t n, double offset_s,
                                double slack_s)
{
    struct misses sum = {0, 0, 0};
    for (size_t i = 0; i < n;) {
        size_t end = i;
        while (end < n && claim[end].place_idx == claim[i].place_idx) {
            end++;
        }
        double miss_s = miss_of_place(&claim[i], end - i, offset_s);
        sum.all_s += fmin(miss_s, CAP_S);
        if (miss_s <= slack_s) {
            sum.agree_s += miss_s;
            sum.n_agree++;
        }
        i = end;
    }
    return sum;
}

/* Only claims near a stretch matter to what is settled inside of it. @return how many are left. */
static size_t keep_near(struct sm_align__claim *claim, size_t n, struct stretch around)
{
    size_t n_kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (claim[i].high_s >= around.low_s - CAP_S && claim[i].low_s <= around.high_s + CAP_S) {
            claim[n_kept++] = claim[i];
        }
    }
    return n_kept;
}

/* Offsets at which the sum of misses, piecewise linear as it is, can be least: ends of claims within a
 * stretch. */
static size_t list_candidates(double *at_s, const struct sm_align__claim *claim, size_t n,
                              struct stretch within)
{
    size_t n_at = 0;
    at_s[n_at++] = within.low_s;
    at_s[n_at++] = within.high_s;
    size_t every = n / MOST_CANDIDATES + 1;
    for (size_t i = 0; i < n; i += every) {
        if (claim[i].low_s > within.low_s && claim[i].low_s < within.high_s) {
            at_s[n_at++] = claim[i].low_s;
        }
        if (claim[i].high_s > within.low_s && claim[i].high_s < within.high_s) {
            at_s[n_at++] = claim[i].high_s;
        }
    }
    sm_align__sort(at_s, n_at);
    return n_at;
}

/* Of the runs of candidates that cost least, the widest. cost_s is filled for all. @return the first of it;
 * *last. */
static size_t cheapest_run(size_t *last, const double *at_s, const double *cost_s, size_t n)
{
    size_t best = 0;
    double least_s = cost_s[0];
    for (size_t i = 1; i < n; i++) {
        least_s = fmin(least_s, cost_s[i]);
    }
    double widest_s = -1;
    for (size_t i = 0; i < n; i++) {
        size_t end = i;
        while (end < n && cost_s[end] <= least_s + 1e-9) {
            end++;
        }
        if (end > i && at_s[end - 1] - at_s[i] > widest_s) {
            widest_s = at_s[end - 1] - at_s[i];
            best = i;
            *last = end - 1;
        }
        i = end > i ? end - 1 : i;
    }
    return best;
}

static void settle(struct sm_align__verdict *out, double *at_s, double *cost_s,
                   const struct sm_align__claim *claim, size_t n, struct stretch within, double slack_s)
{
    size_t n_at = list_candidates(at_s, claim, n, within);
    for (size_t i = 0; i < n_at; i++) {
        cost_s[i] = sum_misses(claim, n, at_s[i], slack_s).all_s;
    }
    size_t last = 0;
    size_t first = cheapest_run(&last, at_s, cost_s, n_at);
    double alike_s = cost_s[first] + ALIKE_S;
    out->offset_s = at_s[first] + EARLY_FRAC * (at_s[last] - at_s[first]);
    while (first > 0 && cost_s[first - 1] <= alike_s) {
        first--;
    }
    while (last + 1 < n_at && cost_s[last + 1] <= alike_s) {
        last++;
    }
    struct misses sum = sum_misses(claim, n, out->offset_s, slack_s);
    out->halfwidth_s = fmax(at_s[last] - out->offset_s, out->offset_s - at_s[first]);
    out->cost_s = sum.all_s;
    out->n_agree = sum.n_agree;
    out->residual_s = sum.n_agree ? sum.agree_s / (double)sum.n_agree : SM_NAN;
}

enum sm_status sm_align__vote(struct sm_align__verdict *out, struct sm_align__claim *claim, size_t n_claims,
                              double slack_s, double away_s, struct sm_error *err)
{
    *out = (struct sm_align__verdict){
        .offset_s = SM_NAN, .halfwidth_s = SM_NAN, .residual_s = SM_NAN, .rival_s = SM_NAN};
    if (n_claims == 0) {
        return SM_OK;
    }
    struct edge *edge = sm_calloc(2 * n_claims, sizeof *edge);
    double *at_s = sm_calloc(2 * n_claims + 2, sizeof *at_s);
    double *cost_s = sm_calloc(2 * n_claims + 2, sizeof *cost_s);
    enum sm_status status = SM_OK;
    if (!edge || !at_s || !cost_s) {
        status = sm_error_set(err, SM_E_NOMEM, "no memory to compare %zu clock offsets", n_claims);
        goto out;
    }
    qsort(claim, n_claims, sizeof *claim, compare_claims);
    size_t n_edges = make_edges(edge, claim, n_claims, slack_s);
    struct stretch best = best_stretch(edge, n_edges, SM_NAN, SM_NAN);
    struct stretch rival = best_stretch(edge, n_edges, best.low_s - away_s, best.high_s + away_s);
    out->n_rival = rival.n;
    out->rival_s = (rival.low_s + rival.high_s) / 2;
    struct stretch around = {best.low_s - 2 * slack_s, best.high_s + 2 * slack_s, best.n};
    settle(out, at_s, cost_s, claim, keep_near(claim, n_claims, around), around, slack_s);
out:
    sm_free(edge);
    sm_free(at_s);
    sm_free(cost_s);
    return status;
}
