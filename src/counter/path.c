/*
 * Sightings through time -> readings.
 *
 * Every picture by itself gives odds for every value the counter could show. A counter also obeys laws: it
 * stands, creeps on, sometimes back, never faster than a camera travels, and is very rarely set anew. The
 * likeliest path through the candidates of all pictures settles what single pictures leave open (Viterbi),
 * and the share of probability that runs through the chosen value is the confidence (forward-backward).
 *
 * A sighting that shows no counter at all takes no part in the path.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BEAM 6              /* partial numbers kept while candidates are made */
#define OWN_CANDIDATES 10   /* from the picture itself */
#define LENT_CANDIDATES 3   /* taken over from each of the pictures beside it */
#define NEIGHBOURS 2        /* how many of these on each side */
#define BRIDGE_CANDIDATES 6 /* that keep the low digits and do without a jump */
#define MAX_CANDIDATES (OWN_CANDIDATES + 2 * NEIGHBOURS * LENT_CANDIDATES + BRIDGE_CANDIDATES)
#define SPEED_LIMIT_M_PER_S 0.6
#define HIDDEN_PRIOR_NATS 2.5 /* a counter that was found is usually in the picture */
#define EVIDENCE_TEMPER                                                                                      \
    0.75 /* neighbouring columns of the network are not independent; fitted on simulated surveys */
#define JUMP_NATS 13.0
#define ALIKE_NATS                                                                                           \
    8.0 /* more for a jump that leaves the low digits as they were: likelier a misread leading digit */
#define ALIKE_COUNTS 10.0
#define STAND_NATS 1.0
#define PACE_WINDOW 3 /* steps on each side that tell the pace */
#define PACE_WIDTH_COUNTS 0.7
#define EVEN_PACE 0.02 /* a steady camera keeps its speed as well as this */
#define FLOOR_NATS 9.0 /* one slot alone never rules a value out for good: compression can wreck a digit */
#define LOOKS_OF_A_STAY 2.0f /* so many by themselves tell as much as LOOKS_PICTURES of a mark that stays */
#define LOOKS_PICTURES 25.0f
#define LOOKS_MOST 6.0f
#define LOOKS_ROUNDS 2 /* from the path to how often its marks were seen, and back */

struct candidate {
    int64_t counts;
    double cost; /**< nats, of the picture alone */
};
struct node {
    size_t sighting_idx;
    double time_s;
    double expected; /**< counts by which the counter usually moves from the node before to this one; SM_NAN =
                        not known yet */
    float weight[SM_COUNTER_MAX_SLOTS]; /**< how much what is seen in a slot counts, 0..1 */
    int32_t n;
    struct candidate candidate[MAX_CANDIDATES];
};

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

static void candidate_add(struct candidate *list, int32_t *n, int32_t capacity, int64_t counts, double cost)
{
    for (int32_t i = 0; i < *n; i++) {
        if (list[i].counts == counts) {
            list[i].cost = fmin(list[i].cost, cost);
            return;
        }
    }
    if (*n < capacity) {
        list[(*n)++] = (struct candidate){counts, cost};
        return;
    }
    int32_t worst = 0;
    for (int32_t i = 1; i < *n; i++) {
        worst = list[i].cost > list[worst].cost ? i : worst;
    }
    if (cost < list[worst].cost) {
        list[worst] = (struct candidate){counts, cost};
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
static void candidates_at(struct candidate *list, int32_t *n, const struct sm_counter__sighting *s,
                          int32_t anchor, const struct sm_counter__layout *layout)
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
        memcpy(beam, next, sizeof beam);
        n_beam = n_next;
        if (slot < layout->decimals || slot + 1 < layout->fixed_digits) {
            continue;
        }
        for (int32_t b = 0; b < n_beam; b++) {
            int64_t v = beam[b].value;
            if (digits_needed(v, layout) == slot + 1) {
                candidate_add(list, n, OWN_CANDIDATES, v, value_cost_at(s, anchor, v, layout, all_counts));
                candidate_add(list, n, OWN_CANDIDATES, -v, value_cost_at(s, anchor, -v, layout, all_counts));
            }
        }
    }
}

static int candidate_order(const void *a, const void *b)
{
    const struct candidate *ca = a, *cb = b;
    if (ca->cost != cb->cost) {
        return ca->cost < cb->cost ? -1 : 1;
    }
    return ca->counts < cb->counts ? -1 : ca->counts > cb->counts;
}

bool sm_counter__alone(int64_t *counts, double *margin_nats, const struct sm_counter__sighting *sighting,
                       const struct sm_counter__layout *layout)
{
    struct candidate list[OWN_CANDIDATES];
    int32_t n = 0;
    for (int32_t a = 0; a < layout->n_anchors; a++) {
        candidates_at(list, &n, sighting, a, layout);
    }
    if (n == 0) {
        return false;
    }
    qsort(list, (size_t)n, sizeof *list, candidate_order);
    if (list[0].cost > hidden_cost(sighting, layout)) {
        return false;
    }
    *counts = list[0].counts;
    *margin_nats = n > 1 ? list[1].cost - list[0].cost : FLOOR_NATS;
    return true;
}

/** Nodes for the sightings that show a counter. @return their number. */
static size_t nodes_make(struct node *nodes, const struct sm_counter__sighting *sightings, size_t n,
                         const struct sm_counter__layout *layout)
{
    size_t n_nodes = 0;
    for (size_t i = 0; i < n; i++) {
        struct node *node = &nodes[n_nodes];
        node->n = 0;
        for (int32_t a = 0; a < layout->n_anchors; a++) {
            candidates_at(node->candidate, &node->n, &sightings[i], a, layout);
        }
        if (node->n == 0) {
            continue;
        }
        qsort(node->candidate, (size_t)node->n, sizeof *node->candidate, candidate_order);
        if (node->candidate[0].cost > hidden_cost(&sightings[i], layout)) {
            continue;
        }
        node->sighting_idx = i;
        node->time_s = sightings[i].time_s;
        node->expected = SM_NAN;
        n_nodes++;
    }
    return n_nodes;
}

/** Let each node also consider what its neighbours see best. */
static void candidates_lend(struct node *nodes, size_t n_nodes, const struct sm_counter__sighting *sightings,
                            const struct sm_counter__layout *layout)
{
    for (size_t i = 0; i < n_nodes; i++) {
        for (int32_t d = -NEIGHBOURS; d <= NEIGHBOURS; d++) {
            if (d == 0 || (d < 0 && i < (size_t)-d) || i + (size_t)(d < 0 ? 0 : d) >= n_nodes) {
                continue;
            }
            const struct node *other = &nodes[(size_t)((int64_t)i + d)];
            for (int32_t k = 0; k < LENT_CANDIDATES && k < other->n && k < OWN_CANDIDATES; k++) {
                int64_t counts = other->candidate[k].counts;
                double cost = value_cost(&sightings[nodes[i].sighting_idx], counts, layout, all_counts);
                candidate_add(nodes[i].candidate, &nodes[i].n, MAX_CANDIDATES, counts, cost);
            }
        }
    }
}

/* ---- the path
 * ---------------------------------------------------------------------------------------------- */

/** Does a move of d counts leave the last two digits nearly as they were? */
static bool is_alike(double d)
{
    return fabs(d - 100 * round(d / 100)) <= ALIKE_COUNTS;
}

/** Cost of the counter going from a to b within dt_s; per_m = counts a metre. */
static double move_cost(int64_t a, int64_t b, double dt_s, double per_m)
{
    double reach = SPEED_LIMIT_M_PER_S * per_m * dt_s + 1.5;
    double d = (double)(b - a);
    if (d == 0) {
        return STAND_NATS;
    }
    double spread = log(reach + 1) + (d < 0 ? 3.0 : 0.9);
    double excess = fabs(d) / reach;
    if (excess > 1) {
        spread += 4.0 * (excess - 1);
    }
    return fmin(spread, JUMP_NATS + log(reach + 1) + (is_alike(d) ? ALIKE_NATS : 0));
}

/** Cost of a move at a pace that keeps to the expected one with this width, counts. */
static double pace_cost(double off, double width)
{
    return -log(0.5 / width) + fabs(off) / width;
}

/**
 * As move_cost(), once the usual pace around the step is known (expected, counts): most steps keep it, many
 * of them very nearly, which settles last digits that one picture leaves open.
 */
static double step_cost(int64_t a, int64_t b, double dt_s, double per_m, double expected)
{
    double broad = move_cost(a, b, dt_s, per_m);
    if (isnan(expected)) {
        return broad;
    }
    double off = (double)(b - a) - expected;
    double near = pace_cost(off, fmax(PACE_WIDTH_COUNTS, 0.25 * fabs(expected)));
    double even = pace_cost(off, fmax(PACE_WIDTH_COUNTS, EVEN_PACE * fabs(expected)));
    double least = fmin(broad, fmin(near, even));
    return least - log(0.5 * exp(least - broad) + 0.25 * exp(least - near) + 0.25 * exp(least - even));
}

static double log_add(double a, double b)
{
    double top = a > b ? a : b;
    return top + log1p(exp(-fabs(a - b)));
}

struct lattice {
    double *best, *forward,
        *backward; /**< n_nodes x MAX_CANDIDATES; best is a cost, the others log probabilities */
    uint8_t *from;
};

static void lattice_release(struct lattice *l)
{
    sm_free(l->best);
    sm_free(l->forward);
    sm_free(l->backward);
    sm_free(l->from);
}

static enum sm_status lattice_make(struct lattice *l, size_t n_nodes)
{
    size_t n = n_nodes * MAX_CANDIDATES;
    *l = (struct lattice){sm_calloc(n, sizeof(double)), sm_calloc(n, sizeof(double)),
                          sm_calloc(n, sizeof(double)), sm_calloc(n, 1)};
    if (!l->best || !l->forward || !l->backward || !l->from) {
        lattice_release(l);
        return SM_E_NOMEM;
    }
    return SM_OK;
}

static void run_forward(struct lattice *l, const struct node *nodes, size_t n_nodes, double per_m)
{
    for (size_t i = 0; i < n_nodes; i++) {
        size_t here = i * MAX_CANDIDATES, before = here - MAX_CANDIDATES;
        for (int32_t c = 0; c < nodes[i].n; c++) {
            double own = EVIDENCE_TEMPER * nodes[i].candidate[c].cost;
            double best = i ? 1e18 : 0, sum = i ? -1e18 : 0;
            uint8_t from = 0;
            for (int32_t p = 0; i && p < nodes[i - 1].n; p++) {
                double move = step_cost(nodes[i - 1].candidate[p].counts, nodes[i].candidate[c].counts,
                                        nodes[i].time_s - nodes[i - 1].time_s, per_m, nodes[i].expected);
                sum = log_add(sum, l->forward[before + (size_t)p] - move);
                if (l->best[before + (size_t)p] + move < best) {
                    best = l->best[before + (size_t)p] + move;
                    from = (uint8_t)p;
                }
            }
            l->best[here + (size_t)c] = best + own;
            l->forward[here + (size_t)c] = sum - own;
            l->from[here + (size_t)c] = from;
        }
    }
}

static void run_backward(struct lattice *l, const struct node *nodes, size_t n_nodes, double per_m)
{
    for (size_t i = n_nodes - 1; i-- > 0;) {
        size_t here = i * MAX_CANDIDATES, after = here + MAX_CANDIDATES;
        for (int32_t c = 0; c < nodes[i].n; c++) {
            double sum = -1e18;
            for (int32_t q = 0; q < nodes[i + 1].n; q++) {
                double move = step_cost(nodes[i].candidate[c].counts, nodes[i + 1].candidate[q].counts,
                                        nodes[i + 1].time_s - nodes[i].time_s, per_m, nodes[i + 1].expected);
                sum = log_add(sum, l->backward[after + (size_t)q] - move -
                                       EVIDENCE_TEMPER * nodes[i + 1].candidate[q].cost);
            }
            l->backward[here + (size_t)c] = sum;
        }
    }
}

/** Share of all paths' probability that runs through candidate c of node i. */
static double posterior(const struct lattice *l, const struct node *nodes, size_t i, int32_t c)
{
    size_t here = i * MAX_CANDIDATES;
    double total = -1e18;
    for (int32_t k = 0; k < nodes[i].n; k++) {
        total = log_add(total, l->forward[here + (size_t)k] + l->backward[here + (size_t)k]);
    }
    return exp(l->forward[here + (size_t)c] + l->backward[here + (size_t)c] - total);
}

double sm_counter__per_m(const struct sm_counter__layout *layout)
{
    double per_unit = pow(10.0, layout->decimals);
    return layout->unit == SM_UNIT_M ? per_unit : per_unit / SM_M_PER_FT;
}

/** Walk the best path back; the chosen candidate of each node goes to choice. */
static void path_choose(uint8_t *choice, const struct lattice *l, const struct node *nodes, size_t n_nodes)
{
    size_t last = (n_nodes - 1) * MAX_CANDIDATES;
    uint8_t c = 0;
    for (int32_t k = 1; k < nodes[n_nodes - 1].n; k++) {
        c = l->best[last + (size_t)k] < l->best[last + c] ? (uint8_t)k : c;
    }
    for (size_t i = n_nodes; i-- > 0;) {
        choice[i] = c;
        c = l->from[i * MAX_CANDIDATES + c];
    }
}

static void path_take(struct sm_reading *readings, const uint8_t *choice, const struct lattice *l,
                      const struct node *nodes, size_t n_nodes)
{
    for (size_t i = 0; i < n_nodes; i++) {
        struct sm_reading *r = &readings[nodes[i].sighting_idx];
        r->counts = nodes[i].candidate[choice[i]].counts;
        r->confidence = (float)posterior(l, nodes, i, choice[i]);
        r->state = SM_READING_READ;
    }
}

static int double_order(const void *a, const void *b)
{
    double da = *(const double *)a, db = *(const double *)b;
    return da < db ? -1 : da > db;
}

/** The pace around each step of the path chosen so far: the median of the steps beside it. */
static void pace_learn(struct node *nodes, const uint8_t *choice, size_t n_nodes)
{
    for (size_t i = 1; i < n_nodes; i++) {
        double pace[2 * PACE_WINDOW + 1];
        size_t n = 0;
        size_t first = i > PACE_WINDOW ? i - PACE_WINDOW : 1;
        for (size_t k = first; k <= i + PACE_WINDOW && k < n_nodes; k++) {
            double moved =
                (double)(nodes[k].candidate[choice[k]].counts - nodes[k - 1].candidate[choice[k - 1]].counts);
            pace[n++] = moved / (nodes[k].time_s - nodes[k - 1].time_s);
        }
        qsort(pace, n, sizeof *pace, double_order);
        double usual = n % 2 ? pace[n / 2] : 0.5 * (pace[n / 2] + pace[n / 2 - 1]);
        nodes[i].expected = usual * (nodes[i].time_s - nodes[i - 1].time_s);
    }
}

static bool is_jump(const struct node *before, int64_t a, const struct node *after, int64_t b, double per_m)
{
    double dt_s = after->time_s - before->time_s;
    return fabs((double)(b - a)) > 3 * (SPEED_LIMIT_M_PER_S * per_m * dt_s + 1.5);
}

static int64_t chosen(const struct node *nodes, const uint8_t *choice, size_t i)
{
    return nodes[i].candidate[choice[i]].counts;
}

static bool is_jump_before(const struct node *nodes, const uint8_t *choice, size_t n_nodes, size_t i,
                           double per_m)
{
    return i > 0 && i < n_nodes &&
           is_jump(&nodes[i - 1], chosen(nodes, choice, i - 1), &nodes[i], chosen(nodes, choice, i), per_m);
}

/** A jump after which the low digits do not run on, or to zero. */
static bool is_reset_before(const struct node *nodes, const uint8_t *choice, size_t n_nodes, size_t i,
                            double per_m)
{
    if (!is_jump_before(nodes, choice, n_nodes, i, per_m)) {
        return false;
    }
    double from = (double)chosen(nodes, choice, i - 1), to = (double)chosen(nodes, choice, i);
    return !is_alike(to - from) || fabs(to) <= ALIKE_COUNTS;
}

/** The value with the low digits of counts that lies nearest to where the counter stood. */
static int64_t nearest_alike(int64_t counts, int64_t stood, int64_t modulus)
{
    int64_t ahead = (counts - stood) % modulus;
    ahead += ahead < 0 ? modulus : 0;
    return stood + (ahead > modulus / 2 ? ahead - modulus : ahead);
}

/** From a jump on (step 1) or back (-1) to the next: the values that follow on from what stood beyond the
 * jump. */
static void candidates_bridge_one(struct node *nodes, const uint8_t *choice, size_t n_nodes, size_t first,
                                  int step, int64_t modulus, double per_m,
                                  const struct sm_counter__sighting *sightings,
                                  const struct sm_counter__layout *layout)
{
    int64_t stood = chosen(nodes, choice, first - (size_t)step);
    for (size_t i = first; i < n_nodes; i += (size_t)step) { /* below 0 it wraps and ends as well */
        size_t before = i - (size_t)step;
        if (i != first &&
            is_jump(&nodes[i < before ? i : before], chosen(nodes, choice, i < before ? i : before),
                    &nodes[i < before ? before : i], chosen(nodes, choice, i < before ? before : i), per_m)) {
            return;
        }
        int64_t counts = nearest_alike(chosen(nodes, choice, i), stood, modulus);
        if (nodes[i].n < MAX_CANDIDATES) {
            candidate_add(nodes[i].candidate, &nodes[i].n, MAX_CANDIDATES, counts,
                          value_cost(&sightings[nodes[i].sighting_idx], counts, layout, all_counts));
        }
        stood = counts;
    }
}

/**
 * A leading digit that no picture shows well is no candidate anywhere, and the path can but jump around it.
 * So where it jumps, it is offered to run on with the low digits it has seen.
 */
static void candidates_bridge(struct node *nodes, const uint8_t *choice, size_t n_nodes, double per_m,
                              const struct sm_counter__sighting *sightings,
                              const struct sm_counter__layout *layout)
{
    for (size_t i = 1; i < n_nodes; i++) {
        if (!is_jump_before(nodes, choice, n_nodes, i, per_m)) {
            continue;
        }
        int64_t modulus = 10;
        for (int32_t slot = 1; slot < layout->n_slots; slot++, modulus *= 10) {
            candidates_bridge_one(nodes, choice, n_nodes, i, 1, modulus, per_m, sightings, layout);
            candidates_bridge_one(nodes, choice, n_nodes, i - 1, -1, modulus, per_m, sightings, layout);
        }
    }
}

/** What a value shows in a slot: a digit, the sign, nothing. */
static int32_t mark_of(int64_t counts, int32_t slot, const struct sm_counter__layout *layout)
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

/** Weight of each of n pictures in which a mark stays: a longer stay tells more, but not in step. */
static float stay_weight(size_t n)
{
    float looks = LOOKS_OF_A_STAY * sqrtf(fmaxf(1, (float)n / LOOKS_PICTURES));
    return fminf(1, fminf(looks, LOOKS_MOST) / (float)n);
}

/**
 * A leading digit that looks like another one does so in every picture while it stays: seen a hundred times
 * it is still one misreading, and must not buy a jump of the counter. So what is seen in a slot while its
 * mark stays counts as a few looks, whatever the number of pictures: all have their say, with different
 * wall behind them. Where the counter is set anew one counts in full, to tell when it was.
 */
static void weights_learn(struct node *nodes, const uint8_t *choice, size_t n_nodes, double per_m,
                          const struct sm_counter__layout *layout)
{
    for (size_t i = 0; i < n_nodes; i++) {
        nodes[i].weight[0] = 1; /* the last digit alone buys no jump */
    }
    for (int32_t slot = 1; slot < layout->n_slots; slot++) {
        for (size_t first = 0, end; first < n_nodes; first = end) {
            int32_t mark = mark_of(nodes[first].candidate[choice[first]].counts, slot, layout);
            for (end = first + 1; end < n_nodes; end++) {
                if (mark_of(nodes[end].candidate[choice[end]].counts, slot, layout) != mark) {
                    break;
                }
            }
            for (size_t i = first; i < end; i++) {
                nodes[i].weight[slot] = stay_weight(end - first);
            }
            if (is_reset_before(nodes, choice, n_nodes, first, per_m)) {
                nodes[first].weight[slot] = 1;
            }
            if (is_reset_before(nodes, choice, n_nodes, end, per_m)) {
                nodes[end - 1].weight[slot] = 1;
            }
        }
    }
}

static void costs_renew(struct node *nodes, size_t n_nodes, const struct sm_counter__sighting *sightings,
                        const struct sm_counter__layout *layout)
{
    for (size_t i = 0; i < n_nodes; i++) {
        for (int32_t c = 0; c < nodes[i].n; c++) {
            struct candidate *candidate = &nodes[i].candidate[c];
            candidate->cost =
                value_cost(&sightings[nodes[i].sighting_idx], candidate->counts, layout, nodes[i].weight);
        }
    }
}

static enum sm_status jumps_take(double **jump_s, size_t *n_jumps, const struct node *nodes,
                                 const uint8_t *choice, size_t n_nodes, double per_m)
{
    size_t capacity = 0;
    for (size_t i = 1; i < n_nodes; i++) {
        if (!is_jump_before(nodes, choice, n_nodes, i, per_m)) {
            continue;
        }
        if (sm_grow(jump_s, *n_jumps, &capacity, sizeof **jump_s) != SM_OK) {
            return SM_E_NOMEM;
        }
        (*jump_s)[(*n_jumps)++] = 0.5 * (nodes[i].time_s + nodes[i - 1].time_s);
    }
    return SM_OK;
}

enum sm_status sm_counter__path(struct sm_reading *readings, double **jump_s, size_t *n_jumps,
                                const struct sm_counter__sighting *sightings, size_t n_sightings,
                                const struct sm_counter__layout *layout, struct sm_error *err)
{
    double per_m = sm_counter__per_m(layout);
    struct lattice lattice = {0};
    struct node *nodes = sm_calloc(n_sightings + 1, sizeof *nodes);
    uint8_t *choice = sm_calloc(n_sightings + 1, 1);
    enum sm_status status = nodes && choice ? SM_OK : SM_E_NOMEM;
    *jump_s = NULL;
    *n_jumps = 0;
    for (size_t i = 0; i < n_sightings; i++) {
        readings[i] = (struct sm_reading){.time_s = sightings[i].time_s, .state = SM_READING_HIDDEN};
    }
    size_t n_nodes = status == SM_OK ? nodes_make(nodes, sightings, n_sightings, layout) : 0;
    if (n_nodes > 0) {
        candidates_lend(nodes, n_nodes, sightings, layout);
        status = lattice_make(&lattice, n_nodes);
    }
    if (status == SM_OK && n_nodes > 0) {
        run_forward(&lattice, nodes, n_nodes, per_m);
        path_choose(choice, &lattice, nodes, n_nodes);
        candidates_bridge(nodes, choice, n_nodes, per_m, sightings, layout);
        for (int round = 0; round < LOOKS_ROUNDS; round++) {
            weights_learn(nodes, choice, n_nodes, per_m, layout);
            costs_renew(nodes, n_nodes, sightings, layout);
            pace_learn(nodes, choice, n_nodes);
            run_forward(&lattice, nodes, n_nodes, per_m);
            path_choose(choice, &lattice, nodes, n_nodes);
        }
        run_backward(&lattice, nodes, n_nodes, per_m);
        path_take(readings, choice, &lattice, nodes, n_nodes);
        status = jumps_take(jump_s, n_jumps, nodes, choice, n_nodes, per_m);
    }
    lattice_release(&lattice);
    sm_free(nodes);
    sm_free(choice);
    return status == SM_OK ? SM_OK : sm_error_set(err, status, "no memory for the path of readings");
}
