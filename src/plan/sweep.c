/*
 * The cheapest row of liners for a component, exactly.
 *
 * For every kit k and every whole micrometre E let f_k(E) be the least weight of a row whose last liner is of kit k and
 * ends at E, and which deals with every target that begins before E (covered, or reaching on beyond E and then owed by
 * the next liner). Let g(s) be the least weight of a row after which a liner may begin a new run at s, touching nothing.
 * With s = E - length_k, w_k the kit's weight and o the overlap:
 *
 *     f_k(E) = w_k + min of   g(s)                                          a new run
 *                             f_k'(E')  for E' in [s + o, s + min(length_k, length_k') - 1]   lapping kit k'
 *     g(s)   = min of f_k'(E')  for E' in [M(s), s],   M(s) = furthest end of the targets that begin before s;
 *              0 when no target begins before s.
 *
 * The upper end of the lapping window says that starts and ends of neighbours both rise: a liner inside another serves
 * nothing. A liner may begin only at the places in its list of allowed intervals (inside the pipe, clear of the
 * keep-clear stretches or covering one whole). The best row's weight is g(beyond the last target).
 *
 * This is a recursion over all places on the micrometre grid, so there is no set of candidate places that could lack
 * one. It is fast because all functions are piecewise constant: a lane holds one function as a list of pieces, and the
 * sweep jumps from one place where some function can change to the next. f_k can change at E only where s enters or
 * leaves an allowed interval, where g changes at s, or where a piece of some f_k' enters or leaves the lapping window;
 * g only where a piece enters its window or M changes.
 *
 * Reopening: a stretch may be covered only whole, so no liner ends or begins inside one, and a run from S to E pays for
 * just the stretches that end in (S, E]. With G(x) the price of all coverable stretches that end at or before x, a run
 * pays G(E) - G(S), once for each stretch however many of its liners cover it. Inside a run the lanes keep f - G(E)
 * ("lap"), to which nothing needs adding when the run goes on; f itself ("full") is for the next run.
 *
 * Slack: with slack t every target and keep-clear stretch grows by t on both sides, cut at the pipe ends, the overlap
 * grows by t, and liners that do not lap stay t apart. Rows of that stricter problem are just the rows of the given one
 * with slack t everywhere (see slack.c for the definition).
 */
#include "plan_internal.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define NEVER INT64_MAX
#define MAX_PIECES ((size_t)20000000)

struct piece {
    int64_t first, last; /* last = NEVER while it goes on */
    struct sm_plan__weight lap, full;
};
/* A piecewise constant function; between pieces it is infinite. */
struct lane {
    size_t n, capacity;
    struct piece *piece;
};
/* The pieces [low, high) of a lane that a moving window meets. */
struct window {
    size_t low, high;
};
struct interval {
    int64_t first, last;
};
struct allowed {
    size_t n, at; /* at: the interval the sweep is in or before */
    struct interval *interval;
};
struct sweep {
    const struct sm_plan__problem *problem;
    int64_t slack, overlap;
    int64_t low, high;               /* no liner leaves this stretch */
    size_t n_targets;
    struct sm_plan__stretch *target; /* grown by the slack */
    int64_t *reach;                  /* furthest end of targets 0..i */
    size_t n_stretches;
    struct sm_plan__stretch *stretch; /* keep-clear stretches grown by the slack */
    size_t n_tolls;
    int64_t *toll;                   /* ends of coverable stretches, rising */
    size_t toll_at;                  /* how many ends lie at or before the sweep */
    size_t n_kits;
    struct lane *end;                /* f, one a kit */
    struct lane start;               /* g */
    struct window *lapping;          /* [reader * n_kits + read] */
    size_t *start_at;                /* per kit: piece of start it is in or before */
    struct window *touching;         /* per kit read by start */
    size_t begun;                    /* targets that begin before the sweep */
    size_t begun_seen;               /* as of the last time g looked back */
    struct sm_plan__weight least;    /* of the pieces in g's window */
    struct allowed *allowed;
    size_t n_pieces;
    bool failed;
};

static const struct sm_plan__weight infinite = {INT64_MAX, INT64_MAX};

static bool is_finite(struct sm_plan__weight weight)
{
    return weight.cost != INT64_MAX;
}

static struct sm_plan__weight plus(struct sm_plan__weight a, int64_t cost, int64_t tie)
{
    return (struct sm_plan__weight){a.cost + cost, a.tie + tie};
}

static int64_t kit_tie(const struct sm_plan__kit *kit)
{
    return ((int64_t)1 << SM_PLAN__LENGTH_BITS) + kit->length_um;
}

/* ---- lanes */

static int64_t tolls_paid(const struct sweep *sweep)
{
    return (int64_t)sweep->toll_at * sweep->problem->reopen_cost;
}

/* From place on the lane's value is lap (without tolls). */
static void lane_set(struct sweep *sweep, struct lane *lane, int64_t place, struct sm_plan__weight lap)
{
    struct sm_plan__weight full = is_finite(lap) ? plus(lap, tolls_paid(sweep), 0) : infinite;
    struct piece *open = lane->n && lane->piece[lane->n - 1].last == NEVER ? &lane->piece[lane->n - 1] : NULL;
    if (open && sm_plan__compare(open->lap, lap) == 0 && sm_plan__compare(open->full, full) == 0) {
        return;
    }
    if (open) {
        open->last = place - 1;
    }
    if (!is_finite(lap)) {
        return;
    }
    if (++sweep->n_pieces > MAX_PIECES ||
        sm_grow(&lane->piece, lane->n, &lane->capacity, sizeof *lane->piece) != SM_OK) {
        sweep->failed = true;
        return;
    }
    lane->piece[lane->n++] = (struct piece){place, NEVER, lap, full};
}

/* First piece that does not end before place. */
static size_t lane_find(const struct lane *lane, int64_t place)
{
    size_t low = 0, high = lane->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (lane->piece[middle].last < place) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

static void window_move(struct window *window, const struct lane *lane, int64_t first, int64_t last)
{
    while (window->high < lane->n && lane->piece[window->high].first <= last) {
        window->high++;
    }
    while (window->low < window->high && lane->piece[window->low].last < first) {
        window->low++;
    }
}

/* ---- the value of f and g at a place */

/* Most that a liner of kit k can reach into one of kit other, both starts and ends rising. */
static int64_t deepest_lap(const struct sweep *sweep, size_t kit, size_t other)
{
    return sm_plan__min(sweep->problem->kit[kit].length_um, sweep->problem->kit[other].length_um) - 1;
}

static bool is_allowed(struct allowed *allowed, int64_t start)
{
    while (allowed->at < allowed->n && allowed->interval[allowed->at].last < start) {
        allowed->at++;
    }
    return allowed->at < allowed->n && allowed->interval[allowed->at].first <= start;
}

static struct sm_plan__weight find_end(struct sweep *sweep, size_t kit, int64_t place)
{
    const struct sm_plan__kit *liner = &sweep->problem->kit[kit];
    int64_t start = place - liner->length_um;
    struct sm_plan__weight best = infinite;
    size_t *at = &sweep->start_at[kit];
    while (*at < sweep->start.n && sweep->start.piece[*at].last < start) {
        ++*at;
    }
    if (*at < sweep->start.n && sweep->start.piece[*at].first <= start) {
        best = sweep->start.piece[*at].lap;
    }
    for (size_t other = 0; other < sweep->n_kits; other++) {
        struct window *window = &sweep->lapping[kit * sweep->n_kits + other];
        const struct lane *lane = &sweep->end[other];
        if (deepest_lap(sweep, kit, other) < sweep->overlap) {
            continue;
        }
        window_move(window, lane, start + sweep->overlap, start + deepest_lap(sweep, kit, other));
        for (size_t i = window->low; i < window->high; i++) {
            best = sm_plan__compare(lane->piece[i].lap, best) < 0 ? lane->piece[i].lap : best;
        }
    }
    bool may_begin = is_allowed(&sweep->allowed[kit], start);
    return may_begin && is_finite(best) ? plus(best, liner->cost, kit_tie(liner)) : infinite;
}

/* The window of g has a piece in it only from here on. Needs a target that has begun. */
static int64_t owed_until(const struct sweep *sweep)
{
    return sweep->reach[sweep->begun - 1] + sweep->slack;
}

/* Take up the pieces that came into g's window since it was looked at last; with another M all of them. */
static void look_back(struct sweep *sweep, size_t kit, int64_t place, bool is_new_reach)
{
    struct window *window = &sweep->touching[kit];
    const struct lane *lane = &sweep->end[kit];
    size_t seen = window->high;
    window_move(window, lane, sweep->reach[sweep->begun - 1], place - sweep->slack);
    for (size_t i = is_new_reach || seen < window->low ? window->low : seen; i < window->high; i++) {
        struct sm_plan__weight full = lane->piece[i].full;
        sweep->least = sm_plan__compare(full, sweep->least) < 0 ? full : sweep->least;
    }
}

/* g less the tolls up to the place. */
static struct sm_plan__weight find_start(struct sweep *sweep, int64_t place)
{
    while (sweep->begun < sweep->n_targets && sweep->target[sweep->begun].start_um < place) {
        sweep->begun++;
    }
    if (sweep->begun == 0) {
        return (struct sm_plan__weight){-tolls_paid(sweep), 0};
    }
    if (place < owed_until(sweep)) {
        return infinite;
    }
    bool is_new_reach = sweep->begun != sweep->begun_seen;
    sweep->least = is_new_reach ? infinite : sweep->least;
    sweep->begun_seen = sweep->begun;
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        look_back(sweep, kit, place, is_new_reach);
    }
    return is_finite(sweep->least) ? plus(sweep->least, -tolls_paid(sweep), 0) : infinite;
}

/* ---- the next place after the given one where something can change */

static int64_t next_of_interval(int64_t first, int64_t last, int64_t offset, int64_t place)
{
    if (first + offset > place) {
        return first + offset;
    }
    return last == NEVER ? NEVER : last + 1 + offset;
}

/* When a piece enters, or the first one leaves, the part of lane that kit's lapping window sees. */
static int64_t next_lapping(const struct sweep *sweep, size_t kit, size_t other)
{
    const struct lane *lane = &sweep->end[other];
    const struct window *window = &sweep->lapping[kit * sweep->n_kits + other];
    int64_t length = sweep->problem->kit[kit].length_um, deepest = deepest_lap(sweep, kit, other), next = NEVER;
    if (deepest < sweep->overlap) {
        return NEVER;
    }
    if (window->high < lane->n) {
        next = lane->piece[window->high].first - deepest + length;
    }
    if (window->low < window->high && lane->piece[window->low].last != NEVER) {
        next = sm_plan__min(next, lane->piece[window->low].last + 1 - sweep->overlap + length);
    }
    return next;
}

static int64_t next_end(const struct sweep *sweep, size_t kit, int64_t place)
{
    int64_t length = sweep->problem->kit[kit].length_um, next = NEVER;
    const struct allowed *allowed = &sweep->allowed[kit];
    if (allowed->at == allowed->n) {
        return NEVER;
    }
    const struct interval *interval = &allowed->interval[allowed->at];
    next = next_of_interval(interval->first, interval->last, length, place);
    if (sweep->start_at[kit] < sweep->start.n) {
        const struct piece *piece = &sweep->start.piece[sweep->start_at[kit]];
        next = sm_plan__min(next, next_of_interval(piece->first, piece->last, length, place));
    }
    for (size_t other = 0; other < sweep->n_kits; other++) {
        next = sm_plan__min(next, next_lapping(sweep, kit, other));
    }
    return next;
}

/* May be the present place: a liner that ends here lets the next begin here. */
static int64_t next_start(const struct sweep *sweep)
{
    int64_t next = sweep->begun < sweep->n_targets ? sweep->target[sweep->begun].start_um + 1 : NEVER;
    if (sweep->begun != sweep->begun_seen) {
        return sm_plan__min(next, owed_until(sweep));
    }
    for (size_t kit = 0; kit < sweep->n_kits && sweep->begun > 0; kit++) {
        const struct lane *lane = &sweep->end[kit];
        size_t high = sweep->touching[kit].high;
        if (high < lane->n) {
            next = sm_plan__min(next, lane->piece[high].first + sweep->slack);
        }
    }
    return next;
}

static int64_t next_place(const struct sweep *sweep, int64_t place)
{
    int64_t next = sweep->toll_at < sweep->n_tolls ? sweep->toll[sweep->toll_at] : NEVER;
    next = sm_plan__min(next, next_start(sweep));
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        next = sm_plan__min(next, next_end(sweep, kit, place));
    }
    return next;
}

static void step(struct sweep *sweep, int64_t before, int64_t place)
{
    bool is_toll = false;
    while (sweep->toll_at < sweep->n_tolls && sweep->toll[sweep->toll_at] <= place) {
        sweep->toll_at++;
        is_toll = true;
    }
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        if (is_toll || next_end(sweep, kit, before) <= place) {
            lane_set(sweep, &sweep->end[kit], place, find_end(sweep, kit, place));
        }
    }
    if (is_toll || next_start(sweep) <= place) {
        lane_set(sweep, &sweep->start, place, find_start(sweep, place));
    }
}

static void run(struct sweep *sweep)
{
    int64_t place = sweep->low;
    lane_set(sweep, &sweep->start, place, find_start(sweep, place));
    while (!sweep->failed) {
        int64_t next = next_place(sweep, place);
        if (next > sweep->high) {
            return;
        }
        step(sweep, place, next);
        place = next;
    }
}

/* ---- setting up */

static int by_first(const void *left, const void *right)
{
    const struct interval *a = left, *b = right;
    return a->first != b->first ? (a->first < b->first ? -1 : 1) : (a->last > b->last) - (a->last < b->last);
}

/* Open intervals (first, last) in which a liner of this length must not begin. */
static size_t forbidden(const struct sweep *sweep, int64_t length, struct interval *out)
{
    size_t n = 0;
    for (size_t i = 0; i < sweep->n_stretches; i++) {
        struct sm_plan__stretch stretch = sweep->stretch[i];
        if (stretch.may_cover) {
            out[n++] = (struct interval){stretch.start_um, stretch.end_um};
            out[n++] = (struct interval){stretch.start_um - length, stretch.end_um - length};
        } else {
            out[n++] = (struct interval){stretch.start_um - length, stretch.end_um};
        }
    }
    qsort(out, n, sizeof *out, by_first);
    return n;
}

static void find_allowed(struct sweep *sweep, size_t kit, struct interval *scratch)
{
    int64_t length = sweep->problem->kit[kit].length_um;
    int64_t from = sweep->low, last = sweep->high - length;
    struct allowed *allowed = &sweep->allowed[kit];
    size_t n = forbidden(sweep, length, scratch);
    for (size_t i = 0; i < n && from <= last; i++) {
        if (scratch[i].first >= from) {
            allowed->interval[allowed->n++] = (struct interval){from, sm_plan__min(scratch[i].first, last)};
        }
        from = sm_plan__max(from, scratch[i].last);
    }
    if (from <= last) {
        allowed->interval[allowed->n++] = (struct interval){from, last};
    }
}

/* A stretch of the pipe grown by the slack; the pipe's own ends are no limit. */
static struct sm_plan__stretch grown(const struct sweep *sweep, struct sm_plan__stretch stretch)
{
    stretch.start_um = sm_plan__max(0, stretch.start_um - sweep->slack);
    stretch.end_um = sm_plan__min(sweep->problem->length_um, stretch.end_um + sweep->slack);
    return stretch;
}

static bool grow_targets(struct sweep *sweep, struct sm_plan__targets targets)
{
    const struct sm_plan__problem *problem = sweep->problem;
    sweep->target = sm_calloc(targets.n + 1, sizeof *sweep->target);
    sweep->reach = sm_calloc(targets.n + 1, sizeof *sweep->reach);
    if (!sweep->target || !sweep->reach) {
        return false;
    }
    sweep->n_targets = targets.n;
    for (size_t i = 0; i < targets.n; i++) {
        sweep->target[i] = grown(sweep, targets.target[i]);
        sweep->reach[i] = sm_plan__max(sweep->target[i].end_um, i ? sweep->reach[i - 1] : 0);
    }
    /* Whatever lies further off than one liner serves none of these targets. */
    sweep->low = sm_plan__max(0, sweep->target[0].start_um - problem->longest_um);
    sweep->high = sm_plan__min(problem->length_um, sweep->reach[targets.n - 1] + problem->longest_um);
    return true;
}

static int by_value(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left, b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static bool grow_stretches(struct sweep *sweep)
{
    const struct sm_plan__problem *problem = sweep->problem;
    sweep->stretch = sm_calloc(problem->n_keep_clear + 1, sizeof *sweep->stretch);
    sweep->toll = sm_calloc(problem->n_keep_clear + 1, sizeof *sweep->toll);
    if (!sweep->stretch || !sweep->toll) {
        return false;
    }
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        struct sm_plan__stretch stretch = grown(sweep, problem->keep_clear[i]);
        if (stretch.end_um < sweep->low || stretch.start_um > sweep->high) {
            continue;
        }
        sweep->stretch[sweep->n_stretches++] = stretch;
        if (stretch.may_cover) {
            sweep->toll[sweep->n_tolls++] = stretch.end_um;
        }
    }
    qsort(sweep->toll, sweep->n_tolls, sizeof *sweep->toll, by_value);
    return true;
}

static bool list_allowed(struct sweep *sweep)
{
    size_t most = 2 * sweep->n_stretches + 2;
    struct interval *scratch = sm_calloc(most, sizeof *scratch);
    bool is_ok = scratch != NULL;
    for (size_t kit = 0; kit < sweep->n_kits && is_ok; kit++) {
        sweep->allowed[kit].interval = sm_calloc(most, sizeof *scratch);
        is_ok = sweep->allowed[kit].interval != NULL;
        if (is_ok) {
            find_allowed(sweep, kit, scratch);
        }
    }
    sm_free(scratch);
    return is_ok;
}

static bool set_up(struct sweep *sweep, struct sm_plan__targets targets)
{
    size_t n_kits = sweep->n_kits = sweep->problem->n_kits;
    sweep->end = sm_calloc(n_kits, sizeof *sweep->end);
    sweep->lapping = sm_calloc(n_kits * n_kits, sizeof *sweep->lapping);
    sweep->start_at = sm_calloc(n_kits, sizeof *sweep->start_at);
    sweep->touching = sm_calloc(n_kits, sizeof *sweep->touching);
    sweep->allowed = sm_calloc(n_kits, sizeof *sweep->allowed);
    if (!sweep->end || !sweep->lapping || !sweep->start_at || !sweep->touching || !sweep->allowed) {
        return false;
    }
    return grow_targets(sweep, targets) && grow_stretches(sweep) && list_allowed(sweep);
}

static void tear_down(struct sweep *sweep)
{
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        sm_free(sweep->end ? sweep->end[kit].piece : NULL);
        sm_free(sweep->allowed ? sweep->allowed[kit].interval : NULL);
    }
    sm_free(sweep->start.piece);
    sm_free(sweep->end);
    sm_free(sweep->lapping);
    sm_free(sweep->start_at);
    sm_free(sweep->touching);
    sm_free(sweep->allowed);
    sm_free(sweep->target);
    sm_free(sweep->reach);
    sm_free(sweep->stretch);
    sm_free(sweep->toll);
}

/* ---- reading the row back from its end */

/* A liner of the row: its kit and where it ends. */
struct found {
    size_t kit;
    int64_t end;
};

/*
 * A liner that ends in [first, last] with the given weight, full or lap. Of several the one of the shortest kit, ending
 * first: any will do for the weight, but the same must be taken every time.
 */
static bool find_liner(const struct sweep *sweep, int64_t first, int64_t last, bool is_full,
                       struct sm_plan__weight weight, struct found *found)
{
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        const struct lane *lane = &sweep->end[kit];
        for (size_t i = lane_find(lane, first); i < lane->n && lane->piece[i].first <= last; i++) {
            struct sm_plan__weight has = is_full ? lane->piece[i].full : lane->piece[i].lap;
            if (sm_plan__compare(has, weight) == 0) {
                *found = (struct found){kit, sm_plan__max(first, lane->piece[i].first)};
                return true;
            }
        }
    }
    return false;
}

static bool find_lapped(const struct sweep *sweep, size_t kit, int64_t start, struct sm_plan__weight weight,
                        struct found *found)
{
    for (size_t other = 0; other < sweep->n_kits; other++) {
        const struct lane *lane = &sweep->end[other];
        int64_t first = start + sweep->overlap, last = start + deepest_lap(sweep, kit, other);
        for (size_t i = lane_find(lane, first); i < lane->n && lane->piece[i].first <= last && first <= last; i++) {
            if (sm_plan__compare(lane->piece[i].lap, weight) == 0) {
                *found = (struct found){other, sm_plan__max(first, lane->piece[i].first)};
                return true;
            }
        }
    }
    return false;
}

static size_t targets_begun(const struct sweep *sweep, int64_t place)
{
    size_t low = 0, high = sweep->n_targets;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (sweep->target[middle].start_um < place) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/*
 * The liner before the one given. is_lapping tells which way they meet.
 * @return false when the given one is the first of the row.
 */
static bool step_back(const struct sweep *sweep, struct found at, struct found *before, bool *is_lapping)
{
    const struct sm_plan__kit *liner = &sweep->problem->kit[at.kit];
    const struct lane *lane = &sweep->end[at.kit];
    int64_t start = at.end - liner->length_um;
    struct sm_plan__weight weight = lane->piece[lane_find(lane, at.end)].lap;
    weight = plus(weight, -liner->cost, -kit_tie(liner));
    size_t run = lane_find(&sweep->start, start);
    *is_lapping = true;
    if (run < sweep->start.n && sweep->start.piece[run].first <= start &&
        sm_plan__compare(sweep->start.piece[run].lap, weight) == 0) {
        size_t begun = targets_begun(sweep, start);
        *is_lapping = false;
        return begun > 0 && find_liner(sweep, sweep->reach[begun - 1], start - sweep->slack, true,
                                       sweep->start.piece[run].full, before);
    }
    return find_lapped(sweep, at.kit, start, weight, before);
}

static enum sm_status add_liner(struct sm_plan__row *row, const struct sweep *sweep, struct found at, bool is_lapping)
{
    enum sm_status status = sm_grow(&row->liner, row->n, &row->capacity, sizeof *row->liner);
    if (status == SM_OK) {
        int64_t start = at.end - sweep->problem->kit[at.kit].length_um;
        row->liner[row->n++] = (struct sm_plan__liner){start, 0, (int32_t)at.kit, is_lapping};
    }
    return status;
}

static void reverse(struct sm_plan__row *row)
{
    for (size_t i = 0, j = row->n; i + 1 < j; i++) {
        struct sm_plan__liner liner = row->liner[i];
        row->liner[i] = row->liner[--j];
        row->liner[j] = liner;
    }
}

static struct sm_plan__weight least_weight(const struct sweep *sweep)
{
    struct sm_plan__weight best = infinite;
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        const struct lane *lane = &sweep->end[kit];
        for (size_t i = lane_find(lane, sweep->reach[sweep->n_targets - 1]); i < lane->n; i++) {
            best = sm_plan__compare(lane->piece[i].full, best) < 0 ? lane->piece[i].full : best;
        }
    }
    return best;
}

static enum sm_status read_back(struct sm_plan__row *row, const struct sweep *sweep)
{
    struct found at, before = {0, 0};
    enum sm_status status = SM_OK;
    bool has_before = find_liner(sweep, sweep->reach[sweep->n_targets - 1], sweep->high, true, row->weight, &at);
    assert(has_before);
    while (has_before && status == SM_OK) {
        bool is_lapping = false;
        has_before = step_back(sweep, at, &before, &is_lapping);
        status = add_liner(row, sweep, at, is_lapping);
        at = before;
    }
    reverse(row);
    return status;
}

enum sm_status sm_plan__sweep(struct sm_plan__row *row, bool *is_found, const struct sm_plan__problem *problem,
                              struct sm_plan__targets targets, int64_t slack_um, struct sm_error *err)
{
    assert(targets.n > 0);
    struct sweep sweep = {.problem = problem, .slack = slack_um, .overlap = problem->overlap_um + slack_um};
    enum sm_status status = SM_OK;
    row->n = 0;
    *is_found = false;
    if (problem->n_kits == 0) {
        return SM_OK;
    }
    if (!set_up(&sweep, targets)) {
        status = sm_error_set(err, SM_E_NOMEM, "out of memory");
    } else {
        run(&sweep);
        if (sweep.failed) {
            sm_error_set(err, SM_E_NOMEM, "the kits can be combined in too many ways that cost the same");
            status = sm_error_remedy(err, "leave out kits whose lengths hardly differ");
        }
    }
    if (status == SM_OK) {
        row->weight = least_weight(&sweep);
        *is_found = is_finite(row->weight);
        if (*is_found && read_back(row, &sweep) != SM_OK) {
            status = sm_error_set(err, SM_E_NOMEM, "out of memory");
        }
    }
    tear_down(&sweep);
    return status;
}
