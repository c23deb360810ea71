/*
 * Every row of liners with rising starts and ends on the grid, judged by the rules as they are written. For
 * the rows of the best worth the largest least slack follows from their structure by difference constraints
 * (Bellman-Ford). None of this is how the planner works.
 */
#include "plan_brute.h"

#include <string.h>

#define MAX_ROW 64
#define FAR (INT64_MAX / 8)

struct placed {
    int64_t start, length;
    bool is_lapping;
};
struct search {
    const struct plan_case *problem;
    struct placed row[MAX_ROW];
    size_t n;
    int64_t cost;
    struct case_worth best;
    int64_t slack_um;
};

static int64_t end_of(const struct placed *liner)
{
    return liner->start + liner->length;
}

static int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

/* A keep-clear stretch as far as it lies in the pipe. @return false when it does not. */
static bool clip(const struct plan_case *problem, size_t i, struct case_stretch *out)
{
    out->start = most(problem->connection[i].start, 0);
    out->end = least(problem->connection[i].end, problem->length);
    return problem->connection[i].end > 0 && problem->connection[i].start < problem->length;
}

static bool may_lie(const struct search *search, const struct placed *liner)
{
    for (size_t i = 0; i < search->problem->n_connections; i++) {
        struct case_stretch clear;
        if (!clip(search->problem, i, &clear) || end_of(liner) <= clear.start || liner->start >= clear.end) {
            continue;
        }
        if (!search->problem->may_reopen || liner->start > clear.start || end_of(liner) < clear.end) {
            return false;
        }
    }
    return end_of(liner) <= search->problem->length;
}

static bool covers(const struct search *search, const struct case_stretch *target, size_t *first,
                   size_t *last)
{
    for (size_t i = 0; i < search->n; i++) {
        *first = search->row[i].is_lapping ? *first : i;
        *last = i;
        if (search->row[*first].start <= target->start && end_of(&search->row[i]) >= target->end) {
            while (*last + 1 < search->n && search->row[*last + 1].is_lapping) {
                ++*last;
            }
            return true;
        }
    }
    return false;
}

/* ---- slack of a structure */

struct edge {
    size_t from, to; /* place[to] <= place[from] + length; 0 is the datum */
    int64_t length;
};
struct graph {
    size_t n_edges;
    struct edge edge[40 * MAX_ROW];
};

static void bound(struct graph *graph, size_t from, size_t to, int64_t length)
{
    graph->edge[graph->n_edges++] = (struct edge){from, to, length};
}

/* start of liner i (1-based) at most or at least a place */
static void at_most(struct graph *graph, size_t i, int64_t place)
{
    bound(graph, 0, i, place);
}

static void at_least(struct graph *graph, size_t i, int64_t place)
{
    bound(graph, i, 0, -place);
}

static void add_keep_clear(struct graph *graph, const struct search *search, size_t i, int64_t slack)
{
    int64_t grid = search->problem->grid_um, pipe = search->problem->length * grid;
    const struct placed *liner = &search->row[i];
    int64_t length = liner->length * grid;
    for (size_t j = 0; j < search->problem->n_connections; j++) {
        struct case_stretch clear;
        if (!clip(search->problem, j, &clear)) {
            continue;
        }
        int64_t from = most(0, clear.start * grid - slack), to = least(pipe, clear.end * grid + slack);
        if (clear.end <= liner->start) {
            at_least(graph, i + 1, to);
        } else if (clear.start >= end_of(liner)) {
            at_most(graph, i + 1, from - length);
        } else {
            at_most(graph, i + 1, from);
            at_least(graph, i + 1, to - length);
        }
    }
}

static void add_links(struct graph *graph, const struct search *search, size_t i, int64_t slack)
{
    int64_t grid = search->problem->grid_um;
    int64_t before = search->row[i - 1].length * grid, own = search->row[i].length * grid;
    bound(graph, i + 1, i, -1);               /* starts rise */
    bound(graph, i + 1, i, own - before - 1); /* ends rise */
    if (search->row[i].is_lapping) {
        bound(graph, i, i + 1, before - search->problem->overlap * grid - slack);
    } else {
        bound(graph, i + 1, i, -before - slack);
    }
}

static bool has_places(const struct graph *graph, size_t n)
{
    int64_t place[MAX_ROW + 1] = {0};
    for (size_t round = 0; round <= n + 1; round++) {
        bool has_changed = false;
        for (size_t i = 0; i < graph->n_edges; i++) {
            const struct edge *edge = &graph->edge[i];
            if (place[edge->from] + edge->length < place[edge->to]) {
                place[edge->to] = place[edge->from] + edge->length;
                has_changed = true;
            }
        }
        if (!has_changed) {
            return true;
        }
    }
    return false;
}

static bool has_slack(const struct search *search, int64_t slack)
{
    static struct graph graph;
    const struct plan_case *problem = search->problem;
    int64_t grid = problem->grid_um, pipe = problem->length * grid;
    graph.n_edges = 0;
    for (size_t i = 0; i < search->n; i++) {
        at_least(&graph, i + 1, 0);
        at_most(&graph, i + 1, pipe - search->row[i].length * grid);
        add_keep_clear(&graph, search, i, slack);
        if (i > 0) {
            add_links(&graph, search, i, slack);
        }
    }
    for (size_t i = 0; i < problem->n_targets; i++) {
        size_t first = 0, last = 0;
        if (covers(search, &problem->target[i], &first, &last)) {
            at_most(&graph, first + 1, most(0, problem->target[i].start * grid - slack));
            at_least(&graph, last + 1,
                     least(pipe, problem->target[i].end * grid + slack) - search->row[last].length * grid);
        }
    }
    return has_places(&graph, search->n);
}

/* The largest slack all liners can have at once; one never counts more than its own length. */
static int64_t slack_of(const struct search *search, int64_t at_least_um)
{
    int64_t low = at_least_um, high = FAR;
    for (size_t i = 0; i < search->n; i++) {
        high = least(high, search->row[i].length * search->problem->grid_um + 1);
    }
    low = least(low, high - 1);
    while (high - low > 1) {
        int64_t middle = low + (high - low) / 2;
        *(has_slack(search, middle) ? &low : &high) = middle;
    }
    return low;
}

/* ---- the search */

static void judge(struct search *search)
{
    const struct plan_case *problem = search->problem;
    struct case_worth worth = {0, search->cost, (int64_t)search->n, 0};
    for (size_t i = 0; i < problem->n_targets; i++) {
        size_t first = 0, last = 0;
        worth.left_out += !covers(search, &problem->target[i], &first, &last);
    }
    for (size_t i = 0; i < search->n; i++) {
        worth.length += search->row[i].length;
    }
    for (size_t i = 0; i < problem->n_connections; i++) {
        struct case_stretch clear;
        bool is_covered = false;
        for (size_t j = 0; j < search->n && clip(problem, i, &clear); j++) {
            is_covered |= search->row[j].start < clear.end && end_of(&search->row[j]) > clear.start;
        }
        worth.cost += is_covered ? problem->reopen_cost : 0;
    }
    int order = case_worth_compare(&worth, &search->best);
    if (order < 0) {
        search->best = worth;
        search->slack_um = -1;
    }
    if (order <= 0 && has_slack(search, search->slack_um + 1)) {
        search->slack_um = slack_of(search, search->slack_um + 1);
    }
}

static bool may_follow(const struct search *search, struct placed *liner)
{
    if (search->n == 0) {
        liner->is_lapping = false;
        return true;
    }
    const struct placed *before = &search->row[search->n - 1];
    int64_t lap = end_of(before) - liner->start;
    liner->is_lapping = lap >= search->problem->overlap;
    return (lap <= 0 || liner->is_lapping) && end_of(liner) > end_of(before);
}

static void extend(struct search *search, int64_t from)
{
    judge(search);
    for (int64_t start = from; start < search->problem->length; start++) {
        for (size_t kit = 0; kit < search->problem->n_kits; kit++) {
            struct placed liner = {start, search->problem->kit[kit].length, false};
            if (!may_lie(search, &liner) || !may_follow(search, &liner)) {
                continue;
            }
            search->row[search->n++] = liner;
            search->cost += search->problem->kit[kit].cost + search->problem->set_up_cost;
            extend(search, start + 1);
            search->cost -= search->problem->kit[kit].cost + search->problem->set_up_cost;
            search->n--;
        }
    }
}

void plan_brute(const struct plan_case *problem, struct case_worth *best, int64_t *least_slack_um)
{
    static struct search search;
    memset(&search, 0, sizeof search);
    search.problem = problem;
    search.best = (struct case_worth){FAR, FAR, FAR, FAR};
    extend(&search, 0);
    *best = search.best;
    *least_slack_um = search.n == 0 && best->liners == 0 ? INT64_MAX : search.slack_um;
}
