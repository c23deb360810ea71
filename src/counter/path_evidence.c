/* Sightings -> candidates: what each picture could show, and how likely it is to show that. */
#include "path_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BEAM 6                /* partial numbers kept while candidates are made */
#define HIDDEN_PRIOR_NATS 2.5 /* a counter that was found is usually in the picture */
#define NO_SIGN_NATS 40.0     /* a negative number where no sign is */
#define FLOOR_NATS 9.0 /* one slot alone never rules a value out for good: compression can wreck a digit */

static const float all_counts[SM_COUNTER_MAX_SLOTS] = {1, 1, 1, 1, 1, 1, 1, 1};

static double nats(uint8_t cost)
{
    return fmin((double)cost / (double)SM_COUNTER_COST_SCALE, FLOOR_NATS);
}

/* ---- candidates of one sighting
 * ---------------------------------------------------------------------------- */

struct partial {
    int64_t value;
    double cost;
};

/** Cost of everything left of a number that used n_digits slots: nothing there, or a sign and then nothing.
 */
static double rest_cost(const struct sm_counter__sighting *s, int32_t anchor, int32_t n_digits,
                        int32_t n_slots, bool minus, const float *weight)
{
    double cost = 0;
    int32_t slot = n_digits;
    if (minus) {
        if (slot >= n_slots) {
            return 1e9;
        }
        cost += (double)weight[slot] * nats(s->cost[anchor][slot][SM_COUNTER_MINUS]);
        slot++;
    }
    for (; slot < n_slots; slot++) {
        cost += (double)weight[slot] * nats(s->cost[anchor][slot][SM_COUNTER_NO_DIGIT]);
    }
    return cost;
}

static int32_t digits_needed(int64_t magnitude, const struct sm_counter__layout *layout)
{
    int32_t n = 1;
    for (int64_t rest = magnitude / 10; rest > 0; rest /= 10) {
        n++;
    }
    int32_t least = layout->fixed_digits > layout->decimals + 1 ? layout->fixed_digits : layout->decimals + 1;
    return n > least ? n : least;
}

/** Cost in nats of seeing counts at one anchor. */
static double value_cost_at(const struct sm_counter__sighting *s, int32_t anchor, int64_t counts,
                            const struct sm_counter__layout *layout, const float *weight)
{
    int64_t magnitude = counts < 0 ? -counts : counts;
    int32_t n_digits = digits_needed(magnitude, layout);
    /* With leading zeros the sign takes the place of a zero or stands before them. */
    if (n_digits > layout->n_slots) {
        return 1e9;
    }
    double cost = -(double)layout->anchor_logprior[anchor];
    if (layout->decimals > 0) {
        cost += nats(s->separator_cost[anchor]);
    }
    for (int32_t slot = 0; slot < n_digits; slot++, magnitude /= 10) {
        cost += (double)weight[slot] * nats(s->cost[anchor][slot][magnitude % 10]);
    }
    return cost + rest_cost(s, anchor, n_digits, layout->n_slots, counts < 0, weight);
}

int32_t sm_counter__n_digits(int64_t counts, const struct sm_counter__layout *layout)
{
    return digits_needed(llabs(counts), layout);
}

int32_t sm_counter__best_anchor(const struct sm_counter__sighting *sighting, int64_t counts,
                                const struct sm_counter__layout *layout)
{
    int32_t best = 0;
    for (int32_t a = 1; a < layout->n_anchors; a++) {
        if (value_cost_at(sighting, a, counts, layout, all_counts) <
            value_cost_at(sighting, best, counts, layout, all_counts)) {
            best = a;
        }
    }
    return best;
}

static double value_cost(const struct sm_counter__sighting *s, int64_t counts,
                         const struct sm_counter__layout *layout, const float *weight)
{
    double best = 1e9;
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        best = fmin(best, value_cost_at(s, a, counts, layout, weight));
    }
    return best;
}

static double hidden_cost(const struct sm_counter__sighting *s, const struct sm_counter__layout *layout)
{
    double best = 1e9;
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        double cost = HIDDEN_PRIOR_NATS + rest_cost(s, a, 0, layout->n_slots, false, all_counts);
        if (layout->decimals > 0) {
            cost += nats(s->no_separator_cost[a]);
        }
        best = fmin(best, cost);
    }
    return best;
}

static void candidate_add(struct sm_counter__candidate *list, int32_t *n, int32_t capacity, int64_t counts,
                          double cost_nats)
{
    const struct sm_counter__candidate added = {(int32_t)counts, (float)cost_nats};
    for (int32_t i = 0; i < *n; i++) {
        if (list[i].counts == added.counts) {
            list[i].cost = fminf(list[i].cost, added.cost);
            return;
        }
    }
    if (*n < capacity) {
        list[(*n)++] = added;
        return;
    }
    int32_t worst = 0;
    for (int32_t i = 1; i < *n; i++) {
        worst = list[i].cost > list[worst].cost ? i : worst;
    }
    if (added.cost < list[worst].cost) {
        list[worst] = added;
    }
}

static void partial_keep(struct partial *beam, int32_t *n, struct partial p)
{
    int32_t i = *n < BEAM ? (*n)++ : BEAM;
    if (i == BEAM) {
        if (beam[BEAM - 1].cost <= p.cost) {
            return;
        }
        i = BEAM - 1;
    }
    while (i > 0 && beam[i - 1].cost > p.cost) {
        beam[i] = beam[i - 1];
        i--;
    }
    beam[i] = p;
}

/** The best values one anchor offers: digits chosen from the right, the likeliest partial numbers kept. */
static void candidates_at(struct sm_counter__candidate *list, int32_t *n,
                          const struct sm_counter__sighting *s, int32_t anchor,
                          const struct sm_counter__layout *layout)
{
    struct partial beam[BEAM] = {{0, 0}};
    int32_t n_beam = 1;
    int64_t power = 1;
    for (int32_t slot = 0; slot < layout->n_slots; slot++, power *= 10) {
        struct partial next[BEAM];
        int32_t n_next = 0;
        for (int32_t b = 0; b < n_beam; b++) {
            for (int32_t d = 0; d < 10; d++) {
                partial_keep(next, &n_next,
                             (struct partial){beam[b].value + d * power,
                                              beam[b].cost + nats(s->cost[anchor][slot][d])});
            }
        }
        memcpy(beam, next, (size_t)n_next * sizeof *next);
        n_beam = n_next;
        if (slot < layout->decimals || slot + 1 < layout->fixed_digits) {
            continue;
        }
        for (int32_t b = 0; b < n_beam; b++) {
            int64_t v = beam[b].value;
            if (digits_needed(v, layout) == slot + 1) {
                candidate_add(list, n, SM_PATH_OWN, v, value_cost_at(s, anchor, v, layout, all_counts));
                candidate_add(list, n, SM_PATH_OWN, -v, value_cost_at(s, anchor, -v, layout, all_counts));
            }
        }
    }
}

static int candidate_order(const void *a, const void *b)
{
    const struct sm_counter__candidate *ca = a, *cb = b;
    if (ca->cost != cb->cost) {
        return ca->cost < cb->cost ? -1 : 1;
    }
    return ca->counts < cb->counts ? -1 : ca->counts > cb->counts;
}

bool sm_counter__alone(int64_t *counts, double *margin_nats, const struct sm_counter__sighting *sighting,
                       const struct sm_counter__layout *layout)
{
    struct sm_counter__candidate list[SM_PATH_OWN];
    int32_t n = 0;
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        candidates_at(list, &n, sighting, a, layout);
    }
    if (n == 0) {
        return false;
    }
    qsort(list, (size_t)n, sizeof *list, candidate_order);
    if ((double)list[0].cost > hidden_cost(sighting, layout)) {
        return false;
    }
    *counts = list[0].counts;
    *margin_nats = n > 1 ? (double)(list[1].cost - list[0].cost) : FLOOR_NATS;
    return true;
}

/* ---- nodes
 * ---------------------------------------------------------------------------------------------- */

/** A sighting's own candidates, likeliest first. @return false when it shows no counter. */
static bool node_make(struct sm_counter__node *node, const struct sm_counter__sighting *sighting,
                      const struct sm_counter__layout *layout)
{
    node->n = 0;
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        candidates_at(node->candidate, &node->n, sighting, a, layout);
    }
    if (node->n == 0) {
        return false;
    }
    qsort(node->candidate, (size_t)node->n, sizeof *node->candidate, candidate_order);
    node->time_s = sighting->time_s;
    node->expected = SM_NAN;
    memcpy(node->weight, all_counts, sizeof node->weight);
    return (double)node->candidate[0].cost <= hidden_cost(sighting, layout);
}

/** Let a node also consider what a neighbour sees best. */
static void candidates_borrow(struct sm_counter__way *way, size_t i, const struct sm_counter__node *other)
{
    for (int32_t k = 0; k < SM_PATH_LENT && k < other->n; k++) {
        int64_t counts = other->candidate[k].counts;
        double cost = value_cost(&way->sightings[way->node[i].sighting_idx], counts, way->layout, all_counts);
        candidate_add(way->node[i].candidate, &way->node[i].n, SM_PATH_CANDIDATES, counts, cost);
    }
}

/**
 * A leading digit misread for sure in one picture leaves all its own candidates with it: the low digits that
 * were seen are also tried with the leading ones of its neighbour.
 */
static void candidates_mend(struct sm_counter__way *way, size_t i, int64_t seen, int64_t beside)
{
    int64_t modulus = 100;
    for (int32_t n = 0; n < SM_PATH_MENDED / 2 && n + 2 < way->layout->n_slots; n++, modulus *= 10) {
        sm_counter__node_offer(way, i, sm_counter__nearest_alike(seen, beside, modulus));
    }
}

/** Candidates of the pictures beside each. */
static void candidates_share(struct sm_counter__way *way)
{
    for (size_t i = 0; i < way->n; i++) {
        size_t first = i > SM_PATH_NEIGHBOURS ? i - SM_PATH_NEIGHBOURS : 0;
        int64_t seen = way->node[i].candidate[0].counts;
        for (size_t k = first; k <= i + SM_PATH_NEIGHBOURS && k < way->n; k++) {
            if (k != i) {
                candidates_borrow(way, i, &way->node[k]);
            }
            if (k + 1 == i || k == i + 1) {
                candidates_mend(way, i, seen, way->node[k].candidate[0].counts);
            }
        }
    }
}

void sm_counter__nodes_make(struct sm_counter__way *way, size_t n_sightings)
{
    way->n = 0;
    for (size_t i = 0; i < n_sightings; i++) {
        way->node[way->n].sighting_idx = i;
        way->n += node_make(&way->node[way->n], &way->sightings[i], way->layout);
    }
    candidates_share(way);
}

void sm_counter__node_offer(struct sm_counter__way *way, size_t i, int64_t counts)
{
    struct sm_counter__node *node = &way->node[i];
    if (node->n < SM_PATH_CANDIDATES) {
        candidate_add(node->candidate, &node->n, SM_PATH_CANDIDATES, counts,
                      value_cost(&way->sightings[node->sighting_idx], counts, way->layout, all_counts));
    }
}

void sm_counter__costs_renew(struct sm_counter__way *way)
{
    for (size_t i = 0; i < way->n; i++) {
        struct sm_counter__node *node = &way->node[i];
        for (int32_t c = 0; c < node->n; c++) {
            struct sm_counter__candidate *candidate = &node->candidate[c];
            double cost =
                value_cost(&way->sightings[node->sighting_idx], candidate->counts, way->layout, node->weight);
            candidate->cost = (float)(cost + (node->has_no_sign && candidate->counts < 0 ? NO_SIGN_NATS : 0));
        }
    }
}

double sm_counter__no_sign_nats(const struct sm_counter__sighting *s, int64_t counts,
                                const struct sm_counter__layout *layout)
{
    int32_t slot = digits_needed(llabs(counts), layout);
    if (slot >= layout->n_slots) {
        return 0;
    }
    const uint8_t *cost = s->cost[sm_counter__best_anchor(s, counts, layout)][slot];
    return nats(cost[SM_COUNTER_MINUS]) - nats(cost[SM_COUNTER_NO_DIGIT]);
}

int32_t sm_counter__mark_of(int64_t counts, int32_t slot, const struct sm_counter__layout *layout)
{
    int32_t n_digits = digits_needed(llabs(counts), layout);
    if (slot >= n_digits) {
        return counts < 0 && slot == n_digits ? SM_COUNTER_MINUS : SM_COUNTER_NO_DIGIT;
    }
    int64_t rest = llabs(counts);
    for (int32_t k = 0; k < slot; k++) {
        rest /= 10;
    }
    return (int32_t)(rest % 10);
}
