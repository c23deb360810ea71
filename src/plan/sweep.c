/*
 * The cheapest row of liners for a component, exactly.
 *
 * For every kit k and every whole micrometre E let f_k(E) be the least weight of a row whose last liner is of
 * kit k and ends at E, and which deals with every target that begins before E (covered, or reaching on beyond
 * E and then owed by the next liner). Let g(s) be the least weight of a row after which a liner may begin a
 * new run at s, touching nothing. With s = E - length_k, w_k the kit's weight and o the overlap:
 *
 *     f_k(E) = w_k + min of   g(s)                                          a new run
 *                             f_k'(E')  for E' in [s + o, s + min(length_k, length_k') - 1]   lapping kit k'
 *     g(s)   = min of f_k'(E')  for E' in [M(s), s],   M(s) = furthest end of the targets that begin before
 * s; 0 when no target begins before s.
 *
 * The upper end of the lapping window says that starts and ends of neighbours both rise: a liner inside
 * another serves nothing. A liner may begin only at the places in its list of allowed intervals (inside the
 * pipe, clear of the keep-clear stretches or covering one whole). The best row's weight is g(beyond the last
 * target).
 *
 * This is a recursion over all places on the micrometre grid, so there is no set of candidate places that
 * could lack one. It is fast because all functions are piecewise constant: a lane holds one function as a
 * list of pieces, and the sweep jumps from one place where some function can change to the next. f_k can
 * change at E only where s enters or leaves an allowed interval, where g changes at s, or where a piece of
 * some f_k' enters or leaves the lapping window; g only where a piece enters its window or M changes.
 *
 * Reopening: a stretch may be covered only whole, so no liner ends or begins inside one, and a run from S to
 * E pays for just the stretches that end in (S, E]. With G(x) the price of all coverable stretches that end
 * at or before x, a run pays G(E) - G(S), once for each stretch however many of its liners cover it. Inside a
 * run the lanes keep f - G(E)
 * ("lap"), to which nothing needs adding when the run goes on; f itself ("full") is for the next run.
 *
 * Slack: with slack t every target and keep-clear stretch grows by t on both sides, cut at the pipe ends, the
 * overlap grows by t (lanes.c), and liners that do not lap stay t apart. Rows of that stricter problem are
 * just the rows of the given one with slack t everywhere (see slack.c for the definition).
 */
#include "lanes.h"

#include <assert.h>

/* Twenty kilometres of one defect and eleven odd kits take two million. */
#define MAX_STEPS ((size_t)5000000)

/* The pieces [low, high) of a lane that a moving window meets. */
struct window {
    size_t low, high;
};
struct sweep {
    struct sm_plan__field field;
    const struct sm_plan__kit *kit;
    size_t n_kits;
    struct sm_plan__lane *end;    /* f, one a kit */
    struct sm_plan__lane start;   /* g */
    struct window *lapping;       /* [reader * n_kits + read] */
    int64_t *next;                /* per kit: when its f may change next */
    size_t *start_at;             /* per kit: piece of start it is in or before */
    struct window *touching;      /* per kit read by start */
    size_t toll_at;               /* how many tolls lie at or before the sweep */
    size_t begun;                 /* targets that begin before the sweep */
    size_t begun_seen;            /* as of the last time g looked back */
    struct sm_plan__weight least; /* of the pieces in g's window */
    size_t n_steps;
    bool failed;
};

static int64_t tolls_paid(const struct sweep *sweep)
{
    return (int64_t)sweep->toll_at * sweep->field.problem->reopen_cost;
}

static struct sm_plan__weight untolled(const struct sweep *sweep)
{
    return (struct sm_plan__weight){0, -tolls_paid(sweep), 0};
}

static void window_move(struct window *window, const struct sm_plan__lane *lane, int64_t first, int64_t last)
{
    while (window->high < lane->n && lane->piece[window->high].first <= last) {
        window->high++;
    }
    while (window->low < window->high && lane->piece[window->low].last < first) {
        window->low++;
    }
}

/* ---- the value of f and g at a place */

static bool is_allowed(struct sm_plan__allowed *allowed, int64_t start)
{
    while (allowed->at < allowed->n && allowed->interval[allowed->at].last < start) {
        allowed->at++;
    }
    return allowed->at < allowed->n && allowed->interval[allowed->at].first <= start;
}

static struct sm_plan__weight find_end(struct sweep *sweep, size_t kit, int64_t place)
{
    const struct sm_plan__kit *liner = &sweep->kit[kit];
    int64_t start = place - liner->length_um;
    struct sm_plan__weight best = sm_plan__infinite();
    size_t *at = &sweep->start_at[kit];
    while (*at < sweep->start.n && sweep->start.piece[*at].last < start) {
        ++*at;
    }
    if (*at < sweep->start.n && sweep->start.piece[*at].first <= start) {
        best = sweep->start.piece[*at].lap;
    }
    for (size_t other = 0; other < sweep->n_kits; other++) {
        struct window *window = &sweep->lapping[kit * sweep->n_kits + other];
        const struct sm_plan__lane *lane = &sweep->end[other];
        if (sm_plan__deepest_lap(sweep->field.problem, kit, other) < sweep->field.overlap) {
            continue;
        }
        window_move(window, lane, start + sweep->field.overlap,
                    start + sm_plan__deepest_lap(sweep->field.problem, kit, other));
        for (size_t i = window->low; i < window->high; i++) {
            best = sm_plan__lesser(best, lane->piece[i].lap);
        }
    }
    bool may_begin = is_allowed(&sweep->field.allowed[kit], start);
    return may_begin ? sm_plan__plus(best, sm_plan__kit_weight(liner)) : sm_plan__infinite();
}

/* The window of g has a piece in it only from here on. Needs a target that has begun. */
static int64_t owed_until(const struct sweep *sweep)
{
    return sweep->field.reach[sweep->begun - 1] + sweep->field.slack;
}

/* Take up the pieces that came into g's window since it was looked at last; with another M all of them. */
static void look_back(struct sweep *sweep, size_t kit, int64_t place, bool is_new_reach)
{
    struct window *window = &sweep->touching[kit];
    const struct sm_plan__lane *lane = &sweep->end[kit];
    size_t seen = window->high;
    window_move(window, lane, sweep->field.reach[sweep->begun - 1], place - sweep->field.slack);
    for (size_t i = is_new_reach || seen < window->low ? window->low : seen; i < window->high; i++) {
        sweep->least = sm_plan__lesser(sweep->least, lane->piece[i].full);
    }
}

/* g less the tolls up to the place. */
static struct sm_plan__weight find_start(struct sweep *sweep, int64_t place)
{
    while (sweep->begun < sweep->field.n_targets && sweep->field.target[sweep->begun].start_um < place) {
        sweep->begun++;
    }
    if (sweep->begun == 0) {
        return untolled(sweep);
    }
    if (place < owed_until(sweep)) {
        return sm_plan__infinite();
    }
    bool is_new_reach = sweep->begun != sweep->begun_seen;
    sweep->least = is_new_reach ? sm_plan__infinite() : sweep->least;
    sweep->begun_seen = sweep->begun;
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        look_back(sweep, kit, place, is_new_reach);
    }
    return sm_plan__plus(sweep->least, untolled(sweep));
}

/* ---- the next place after the given one where something can change */

static int64_t next_of_interval(int64_t first, int64_t last, int64_t offset, int64_t place)
{
    if (first + offset > place) {
        return first + offset;
    }
    return last == SM_PLAN__NEVER ? SM_PLAN__NEVER : last + 1 + offset;
}

/* When a piece enters, or the first one leaves, the part of lane that kit's lapping window sees. */
static int64_t next_lapping(const struct sweep *sweep, size_t kit, size_t other)
{
    const struct sm_plan__lane *lane = &sweep->end[other];
    const struct window *window = &sweep->lapping[kit * sweep->n_kits + other];
    int64_t length = sweep->kit[kit].length_um, next = SM_PLAN__NEVER;
    int64_t deepest = sm_plan__deepest_lap(sweep->field.problem, kit, other);
    if (deepest < sweep->field.overlap) {
        return SM_PLAN__NEVER;
    }
    if (window->high < lane->n) {
        next = lane->piece[window->high].first - deepest + length;
    }
    if (window->low < window->high && lane->piece[window->low].last != SM_PLAN__NEVER) {
        next = sm_plan__min(next, lane->piece[window->low].last + 1 - sweep->field.overlap + length);
    }
    return next;
}

/* When kit's start comes to another piece of g, after place. */
static int64_t next_run(const struct sweep *sweep, size_t kit, int64_t place)
{
    size_t at = sweep->start_at[kit];
    if (at == sweep->start.n) {
        return SM_PLAN__NEVER;
    }
    const struct sm_plan__piece *piece = &sweep->start.piece[at];
    return next_of_interval(piece->first, piece->last, sweep->kit[kit].length_um, place);
}

static int64_t next_end(const struct sweep *sweep, size_t kit, int64_t place)
{
    const struct sm_plan__allowed *allowed = &sweep->field.allowed[kit];
    if (allowed->at == allowed->n) {
        return SM_PLAN__NEVER;
    }
    const struct sm_plan__interval *interval = &allowed->interval[allowed->at];
    int64_t next = next_of_interval(interval->first, interval->last, sweep->kit[kit].length_um, place);
    next = sm_plan__min(next, next_run(sweep, kit, place));
    for (size_t other = 0; other < sweep->n_kits; other++) {
        next = sm_plan__min(next, next_lapping(sweep, kit, other));
    }
    return next;
}

/* May be the present place: a liner that ends here lets the next begin here. */
static int64_t next_start(const struct sweep *sweep)
{
    int64_t next = sweep->begun < sweep->field.n_targets ? sweep->field.target[sweep->begun].start_um + 1
                                                         : SM_PLAN__NEVER;
    if (sweep->begun != sweep->begun_seen) {
        return sm_plan__min(next, owed_until(sweep));
    }
    for (size_t kit = 0; kit < sweep->n_kits && sweep->begun > 0; kit++) {
        const struct sm_plan__lane *lane = &sweep->end[kit];
        size_t high = sweep->touching[kit].high;
        if (high < lane->n) {
            next = sm_plan__min(next, lane->piece[high].first + sweep->field.slack);
        }
    }
    return next;
}

static int64_t next_place(const struct sweep *sweep)
{
    int64_t next = sweep->toll_at < sweep->field.n_tolls ? sweep->field.toll[sweep->toll_at] : SM_PLAN__NEVER;
    next = sm_plan__min(next, next_start(sweep));
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        next = sm_plan__min(next, sweep->next[kit]);
    }
    return next;
}

static void set(struct sweep *sweep, struct sm_plan__lane *lane, int64_t place, struct sm_plan__weight lap)
{
    if (!sm_plan__lane_set(lane, place, lap, tolls_paid(sweep), false)) {
        sweep->failed = true;
    }
    if (sm_plan__is_too_many(lap)) {
        sweep->n_steps = MAX_STEPS;
    }
}

/* Find f_kit at place anew; what follows from a new piece for all kits goes into their next places. */
static void renew_end(struct sweep *sweep, size_t kit, int64_t place)
{
    set(sweep, &sweep->end[kit], place, find_end(sweep, kit, place));
    sweep->next[kit] = next_end(sweep, kit, place);
    for (size_t reader = 0; reader < sweep->n_kits; reader++) {
        sweep->next[reader] = sm_plan__min(sweep->next[reader], next_lapping(sweep, reader, kit));
    }
}

static void renew_start(struct sweep *sweep, int64_t place)
{
    set(sweep, &sweep->start, place, find_start(sweep, place));
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        sweep->next[kit] = sm_plan__min(sweep->next[kit], next_run(sweep, kit, place));
    }
}

static void step(struct sweep *sweep, int64_t place)
{
    bool is_toll = false;
    while (sweep->toll_at < sweep->field.n_tolls && sweep->field.toll[sweep->toll_at] <= place) {
        sweep->toll_at++;
        is_toll = true;
    }
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        if (is_toll || sweep->next[kit] <= place) {
            renew_end(sweep, kit, place);
        }
    }
    if (is_toll || next_start(sweep) <= place) {
        renew_start(sweep, place);
    }
}

static void run(struct sweep *sweep)
{
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        sweep->next[kit] = next_end(sweep, kit, sweep->field.low);
    }
    renew_start(sweep, sweep->field.low);
    while (!sweep->failed && ++sweep->n_steps < MAX_STEPS) {
        int64_t place = next_place(sweep);
        if (place > sweep->field.high) {
            return;
        }
        step(sweep, place);
    }
}

/* ---- setting up */

static bool set_up(struct sweep *sweep, const struct sm_plan__problem *problem,
                   struct sm_plan__targets targets, int64_t slack_um)
{
    size_t n_kits = sweep->n_kits = problem->n_kits;
    sweep->kit = problem->kit;
    sweep->end = sm_calloc(n_kits, sizeof *sweep->end);
    sweep->lapping = sm_calloc(n_kits * n_kits, sizeof *sweep->lapping);
    sweep->next = sm_calloc(n_kits, sizeof *sweep->next);
    sweep->start_at = sm_calloc(n_kits, sizeof *sweep->start_at);
    sweep->touching = sm_calloc(n_kits, sizeof *sweep->touching);
    return sm_plan__field_new(&sweep->field, problem, targets, slack_um) && sweep->end && sweep->lapping &&
           sweep->next && sweep->start_at && sweep->touching;
}

static void tear_down(struct sweep *sweep)
{
    for (size_t kit = 0; sweep->end && kit < sweep->n_kits; kit++) {
        sm_free(sweep->end[kit].piece);
    }
    sm_free(sweep->start.piece);
    sm_free(sweep->end);
    sm_free(sweep->lapping);
    sm_free(sweep->next);
    sm_free(sweep->start_at);
    sm_free(sweep->touching);
    sm_plan__field_release(&sweep->field);
}

/* ---- reading the row back from its end */

/* A liner of the row: its kit and where it ends. */
struct found {
    size_t kit;
    int64_t end;
};

/*
 * A liner that ends in [first, last] with the given weight, full or lap. Of several the one of the shortest
 * kit, ending first: any will do for the weight, but the same must be taken every time.
 */
static bool find_liner(const struct sweep *sweep, int64_t first, int64_t last, bool is_full,
                       struct sm_plan__weight weight, struct found *found)
{
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        const struct sm_plan__lane *lane = &sweep->end[kit];
        for (size_t i = sm_plan__lane_find(lane, first); i < lane->n && lane->piece[i].first <= last; i++) {
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
        const struct sm_plan__lane *lane = &sweep->end[other];
        int64_t first = start + sweep->field.overlap,
                last = start + sm_plan__deepest_lap(sweep->field.problem, kit, other);
        for (size_t i = sm_plan__lane_find(lane, first);
             i < lane->n && lane->piece[i].first <= last && first <= last; i++) {
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
    size_t low = 0, high = sweep->field.n_targets;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (sweep->field.target[middle].start_um < place) {
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
    const struct sm_plan__kit *liner = &sweep->kit[at.kit];
    const struct sm_plan__lane *lane = &sweep->end[at.kit];
    int64_t start = at.end - liner->length_um;
    struct sm_plan__weight weight = lane->piece[sm_plan__lane_find(lane, at.end)].lap;
    const struct sm_plan__weight own = sm_plan__kit_weight(liner);
    weight = sm_plan__plus(weight, (struct sm_plan__weight){0, -own.cost, -own.tie});
    size_t run = sm_plan__lane_find(&sweep->start, start);
    *is_lapping = true;
    if (run < sweep->start.n && sweep->start.piece[run].first <= start &&
        sm_plan__compare(sweep->start.piece[run].lap, weight) == 0) {
        size_t begun = targets_begun(sweep, start);
        *is_lapping = false;
        return begun > 0 && find_liner(sweep, sweep->field.reach[begun - 1], start - sweep->field.slack, true,
                                       sweep->start.piece[run].full, before);
    }
    return find_lapped(sweep, at.kit, start, weight, before);
}

static enum sm_status add_liner(struct sm_plan__row *row, const struct sweep *sweep, struct found at,
                                bool is_lapping)
{
    enum sm_status status = sm_grow(&row->liner, row->n, &row->capacity, sizeof *row->liner);
    if (status == SM_OK) {
        int64_t start = at.end - sweep->kit[at.kit].length_um;
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
    struct sm_plan__weight best = sm_plan__infinite();
    for (size_t kit = 0; kit < sweep->n_kits; kit++) {
        const struct sm_plan__lane *lane = &sweep->end[kit];
        for (size_t i = sm_plan__lane_find(lane, sweep->field.reach[sweep->field.n_targets - 1]); i < lane->n;
             i++) {
            best = sm_plan__lesser(best, lane->piece[i].full);
        }
    }
    return best;
}

static enum sm_status read_back(struct sm_plan__row *row, const struct sweep *sweep)
{
    struct found at, before = {0, 0};
    enum sm_status status = SM_OK;
    bool has_before = find_liner(sweep, sweep->field.reach[sweep->field.n_targets - 1], sweep->field.high,
                                 true, row->weight, &at);
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

static enum sm_status outcome(const struct sweep *sweep, struct sm_error *err)
{
    if (sweep->failed) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    if (sweep->n_steps >= MAX_STEPS) {
        return sm_plan__too_many(err);
    }
    return SM_OK;
}

enum sm_status sm_plan__sweep(struct sm_plan__row *row, bool *is_found,
                              const struct sm_plan__problem *problem, struct sm_plan__targets targets,
                              int64_t slack_um, struct sm_error *err)
{
    struct sweep sweep = {0};
    assert(targets.n > 0);
    row->n = 0;
    *is_found = false;
    if (problem->n_kits == 0) {
        return SM_OK;
    }
    sweep.failed = !set_up(&sweep, problem, targets, slack_um);
    if (!sweep.failed) {
        run(&sweep);
    }
    enum sm_status status = outcome(&sweep, err);
    if (status == SM_OK) {
        row->weight = least_weight(&sweep);
        *is_found = sm_plan__is_finite(row->weight);
    }
    if (*is_found && read_back(row, &sweep) != SM_OK) {
        status = sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    tear_down(&sweep);
    return status;
}
