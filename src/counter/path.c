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
#include "path_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define EVIDENCE_TEMPER                                                                                      \
    0.75 /* neighbouring columns of the network are not independent; fitted on simulated surveys */
#define JUMP_NATS 13.0
#define ALIKE_NATS                                                                                           \
    8.0 /* more for a jump that leaves the low digits as they were: likelier a misread leading digit */
#define STAND_NATS 1.0
#define PACE_WIDTH_COUNTS 0.7
#define EVEN_PACE 0.02 /* a steady camera keeps its speed as well as this */
#define SIGN_ROUNDS 3  /* signs that are none can come to light one stretch after the other */
#define LOOKS_ROUNDS 2 /* from the path to how often its marks were seen, and back */

/** Cost of the counter moving on by d counts within dt_s; per_m = counts a metre. */
static double move_cost(double d, double dt_s, double per_m)
{
    double reach = SM_PATH_SPEED_LIMIT_M_PER_S * per_m * dt_s + 1.5;
    if (d == 0) {
        return STAND_NATS;
    }
    double spread = log(reach + 1) + (d < 0 ? 3.0 : 0.9);
    double excess = fabs(d) / reach;
    if (excess > 1) {
        spread += 4.0 * (excess - 1);
    }
    return fmin(spread, JUMP_NATS + log(reach + 1) + (sm_counter__is_alike(d) ? ALIKE_NATS : 0));
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
static double step_cost(int64_t moved, double dt_s, double per_m, double expected)
{
    double broad = move_cost((double)moved, dt_s, per_m);
    if (isnan(expected)) {
        return broad;
    }
    double off = (double)moved - expected;
    double near = pace_cost(off, fmax(PACE_WIDTH_COUNTS, 0.25 * fabs(expected)));
    double even = pace_cost(off, fmax(PACE_WIDTH_COUNTS, EVEN_PACE * fabs(expected)));
    double least = fmin(broad, fmin(near, even));
    return least - log(0.5 * exp(least - broad) + 0.25 * exp(least - near) + 0.25 * exp(least - even));
}

/**
 * The cost of a step depends on how far it goes, not from where: with most candidates a few counts apart,
 * most steps of a pair of nodes go as far as another one. Open addressing, emptied by a new stamp.
 */
#define STEPS_KEPT 4096 /* a power of 2, more than twice what a pair of nodes can have */
_Static_assert(STEPS_KEPT > 2 * SM_PATH_CANDIDATES * SM_PATH_CANDIDATES, "no probing without end");
struct steps {
    const struct sm_counter__node *from, *to;
    double per_m;
    uint32_t stamp, stamp_of[STEPS_KEPT];
    int64_t moved[STEPS_KEPT];
    double cost[STEPS_KEPT];
};

static void steps_begin(struct steps *steps, const struct sm_counter__node *from,
                        const struct sm_counter__node *to, double per_m)
{
    steps->from = from;
    steps->to = to;
    steps->per_m = per_m;
    steps->stamp++;
}

static double step_from_to(struct steps *steps, int32_t p, int32_t q)
{
    int64_t a = steps->from->candidate[p].counts, b = steps->to->candidate[q].counts;
    size_t i = (size_t)((uint64_t)(b - a) * 0x9e3779b97f4a7c15U >> 52) % STEPS_KEPT;
    while (steps->stamp_of[i] == steps->stamp && steps->moved[i] != b - a) {
        i = (i + 1) % STEPS_KEPT;
    }
    if (steps->stamp_of[i] != steps->stamp) {
        steps->stamp_of[i] = steps->stamp;
        steps->moved[i] = b - a;
        steps->cost[i] =
            step_cost(b - a, steps->to->time_s - steps->from->time_s, steps->per_m, steps->to->expected);
    }
    return steps->cost[i];
}

static double log_add(double a, double b)
{
    double top = a > b ? a : b;
    return top + log1p(exp(-fabs(a - b)));
}

/** Logarithm of the sum of exp(value). */
static double log_sum(const double *value, int32_t n)
{
    double top = value[0], sum = 0;
    for (int32_t i = 1; i < n; i++) {
        top = fmax(top, value[i]);
    }
    for (int32_t i = 0; i < n; i++) {
        sum += exp(value[i] - top);
    }
    return top + log(sum);
}

struct lattice {
    double *best, *forward; /**< n_nodes x SM_PATH_CANDIDATES; a cost, and a log probability as backward */
    double *backward;       /**< lies where best did: it is made when the path is chosen */
    uint8_t *from;
    struct steps *steps;
};

static void lattice_release(struct lattice *l)
{
    sm_free(l->best);
    sm_free(l->forward);
    sm_free(l->from);
    sm_free(l->steps);
}

static enum sm_status lattice_make(struct lattice *l, size_t n_nodes)
{
    size_t n = n_nodes * SM_PATH_CANDIDATES;
    *l = (struct lattice){sm_calloc(n, sizeof(double)), sm_calloc(n, sizeof(double)), NULL, sm_calloc(n, 1),
                          sm_calloc(1, sizeof *l->steps)};
    if (!l->best || !l->forward || !l->from || !l->steps) {
        lattice_release(l);
        return SM_E_NOMEM;
    }
    return SM_OK;
}

/** The best way to a candidate and the sum of all ways, from the node before. */
static void reach(struct lattice *l, const struct sm_counter__way *way, size_t i, int32_t c)
{
    size_t here = i * SM_PATH_CANDIDATES + (size_t)c, before = (i - 1) * SM_PATH_CANDIDATES;
    double through[SM_PATH_CANDIDATES];
    l->best[here] = 1e18;
    for (int32_t p = 0; p < way->node[i - 1].n; p++) {
        double move = step_from_to(l->steps, p, c), best = l->best[before + (size_t)p] + move;
        through[p] = l->forward[before + (size_t)p] - move;
        if (best < l->best[here]) {
            l->best[here] = best;
            l->from[here] = (uint8_t)p;
        }
    }
    l->forward[here] = log_sum(through, way->node[i - 1].n);
}

static void run_forward(struct lattice *l, const struct sm_counter__way *way)
{
    for (size_t i = 0; i < way->n; i++) {
        if (i > 0) {
            steps_begin(l->steps, &way->node[i - 1], &way->node[i], way->per_m);
        }
        for (int32_t c = 0; c < way->node[i].n; c++) {
            size_t here = i * SM_PATH_CANDIDATES + (size_t)c;
            double own = EVIDENCE_TEMPER * (double)way->node[i].candidate[c].cost;
            if (i > 0) {
                reach(l, way, i, c);
            } else {
                l->best[here] = l->forward[here] = 0;
            }
            l->best[here] += own;
            l->forward[here] -= own;
        }
    }
}

static void run_backward(struct lattice *l, const struct sm_counter__way *way)
{
    l->backward = l->best;
    memset(&l->backward[(way->n - 1) * SM_PATH_CANDIDATES], 0, SM_PATH_CANDIDATES * sizeof(double));
    for (size_t i = way->n - 1; i-- > 0;) {
        const struct sm_counter__node *next = &way->node[i + 1];
        size_t here = i * SM_PATH_CANDIDATES, after = here + SM_PATH_CANDIDATES;
        steps_begin(l->steps, &way->node[i], next, way->per_m);
        for (int32_t c = 0; c < way->node[i].n; c++) {
            double through[SM_PATH_CANDIDATES];
            for (int32_t q = 0; q < next->n; q++) {
                through[q] = l->backward[after + (size_t)q] - step_from_to(l->steps, c, q) -
                             EVIDENCE_TEMPER * (double)next->candidate[q].cost;
            }
            l->backward[here + (size_t)c] = log_sum(through, next->n);
        }
    }
}

/** Share of all paths' probability that runs through candidate c of node i. */
static double posterior(const struct lattice *l, const struct sm_counter__way *way, size_t i, int32_t c)
{
    size_t here = i * SM_PATH_CANDIDATES;
    double total = -1e18;
    for (int32_t k = 0; k < way->node[i].n; k++) {
        total = log_add(total, l->forward[here + (size_t)k] + l->backward[here + (size_t)k]);
    }
    return exp(l->forward[here + (size_t)c] + l->backward[here + (size_t)c] - total);
}

/** Walk the best path back. @return whether it is another one than before. */
static bool path_choose(struct sm_counter__way *way, const struct lattice *l)
{
    size_t last = (way->n - 1) * SM_PATH_CANDIDATES;
    uint8_t c = 0;
    bool is_new = false;
    for (int32_t k = 1; k < way->node[way->n - 1].n; k++) {
        c = l->best[last + (size_t)k] < l->best[last + c] ? (uint8_t)k : c;
    }
    for (size_t i = way->n; i-- > 0;) {
        is_new = is_new || way->choice[i] != c;
        way->choice[i] = c;
        c = l->from[i * SM_PATH_CANDIDATES + c];
    }
    return is_new;
}

static void path_take(struct sm_reading *readings, const struct sm_counter__way *way, const struct lattice *l)
{
    for (size_t i = 0; i < way->n; i++) {
        struct sm_reading *r = &readings[way->node[i].sighting_idx];
        r->counts = sm_counter__chosen(way, i);
        r->confidence = (float)posterior(l, way, i, way->choice[i]);
        r->state = SM_READING_READ;
    }
}

static enum sm_status jumps_take(double **jump_s, size_t *n_jumps, const struct sm_counter__way *way)
{
    size_t capacity = 0;
    for (size_t i = 1; i < way->n; i++) {
        if (!sm_counter__is_jump_before(way, i)) {
            continue;
        }
        if (sm_grow(jump_s, *n_jumps, &capacity, sizeof **jump_s) != SM_OK) {
            return SM_E_NOMEM;
        }
        (*jump_s)[(*n_jumps)++] = 0.5 * (way->node[i].time_s + way->node[i - 1].time_s);
    }
    return SM_OK;
}

/** From the path to how often its marks were seen and how fast it goes, and back, as long as that changes it.
 */
static void path_settle(struct sm_counter__way *way, struct lattice *l)
{
    run_forward(l, way);
    (void)path_choose(way, l);
    for (int round = 0; round < SIGN_ROUNDS && sm_counter__signs_judge(way); round++) {
        sm_counter__costs_renew(way);
        run_forward(l, way);
        (void)path_choose(way, l);
    }
    sm_counter__bridges_offer(way);
    bool is_new = true;
    for (int round = 0; round < LOOKS_ROUNDS && is_new; round++) {
        sm_counter__weights_learn(way);
        sm_counter__costs_renew(way);
        sm_counter__pace_learn(way);
        run_forward(l, way);
        is_new = path_choose(way, l);
    }
    run_backward(l, way);
}

double sm_counter__per_m(const struct sm_counter__layout *layout)
{
    double per_unit = pow(10.0, layout->decimals);
    return layout->unit == SM_UNIT_M ? per_unit : per_unit / SM_M_PER_FT;
}

enum sm_status sm_counter__path(struct sm_reading *readings, double **jump_s, size_t *n_jumps,
                                const struct sm_counter__sighting *sightings, size_t n_sightings,
                                const struct sm_counter__layout *layout, struct sm_error *err)
{
    struct lattice lattice = {0};
    struct sm_counter__way way = {.node = sm_calloc(n_sightings + 1, sizeof *way.node),
                                  .choice = sm_calloc(n_sightings + 1, 1),
                                  .per_m = sm_counter__per_m(layout),
                                  .sightings = sightings,
                                  .layout = layout};
    enum sm_status status = way.node && way.choice ? SM_OK : SM_E_NOMEM;
    *jump_s = NULL;
    *n_jumps = 0;
    for (size_t i = 0; i < n_sightings; i++) {
        readings[i] = (struct sm_reading){.time_s = sightings[i].time_s, .state = SM_READING_HIDDEN};
    }
    if (status == SM_OK) {
        sm_counter__nodes_make(&way, n_sightings);
        status = way.n > 0 ? lattice_make(&lattice, way.n) : SM_OK;
    }
    if (status == SM_OK && way.n > 0) {
        path_settle(&way, &lattice);
        path_take(readings, &way, &lattice);
        sm_counter__stays_doubt(readings, &way);
        status = jumps_take(jump_s, n_jumps, &way);
    }
    lattice_release(&lattice);
    sm_free(way.node);
    sm_free(way.choice);
    return status == SM_OK ? SM_OK : sm_error_set(err, status, "no memory for the path of readings");
}
