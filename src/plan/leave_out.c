/*
 * Targets that cannot all be covered together: the fewest to leave out, and of all ways to do that the
 * cheapest.
 *
 * The recursion is that of sweep.c with one thing more to know about a row that ends at E: which of the
 * targets that have begun in its last run and reach beyond E are still owed. Those are best all that end at
 * or before some end
 * ("owed until"), so that end, one of the targets' ends beyond E, or nothing at all, is the layer of a state.
 * Each target left out is counted once, when the row passes its start:
 *
 *   a liner that carries a run from E' (or begins it at s = E') to E     counts targets with E' <= start < E
 * that end beyond E and beyond what is owed until a gap from E' to s, which only a run that owes nothing can
 * end with  counts targets with E' <= start < s that end beyond E'
 *
 * Counts depend on places only through the order of places and target starts and ends, so all functions stay
 * piecewise constant when the pieces are broken there. This search is wanted rarely and for few targets at a
 * time; it looks at every live state at every place where any of them can change.
 */
#include "lanes.h"

#include <stdlib.h>
#include <string.h>

#define MAX_PIECES ((size_t)20000000)

/* Places where something can change, as a binary heap: the least on top. */
struct agenda {
    size_t n, capacity;
    int64_t *place;
};
struct search {
    struct sm_plan__field field;
    const struct sm_plan__kit *kit;
    size_t n_kits, n_layers;
    int64_t *until;            /* per layer: owed until; layer 0 owes nothing (0), the others rise */
    int64_t *begins;           /* per layer: the first start of a target that ends there */
    struct sm_plan__lane *end; /* [layer * n_kits + kit] */
    struct sm_plan__lane start;
    struct sm_plan__weight
        least;        /* of full weights behind the sweep that owe nothing, less the targets begun there */
    size_t *start_at; /* per kit of layer 0: pieces that least has taken up */
    size_t toll_at;
    struct agenda agenda;
    size_t n_pieces; /* looked at, kept or not */
    bool failed, is_too_much;
};
/* A state: a liner of the kit ends here, owing what the layer says. */
struct state {
    size_t layer, kit;
    int64_t end;
};
/* The best state to come from: none of its own for the first liner of a run. */
struct origin {
    struct sm_plan__weight weight;
    bool is_run_start;
    struct state state;
};

/* ---- the agenda */

static void agenda_add(struct search *search, int64_t place)
{
    struct agenda *agenda = &search->agenda;
    if (place < search->field.low || place > search->field.high) {
        return;
    }
    if (sm_grow(&agenda->place, agenda->n, &agenda->capacity, sizeof *agenda->place) != SM_OK) {
        search->failed = true;
        return;
    }
    size_t i = agenda->n++;
    for (; i > 0 && agenda->place[(i - 1) / 2] > place; i = (i - 1) / 2) {
        agenda->place[i] = agenda->place[(i - 1) / 2];
    }
    agenda->place[i] = place;
}

static int64_t agenda_take(struct agenda *agenda)
{
    int64_t least = agenda->place[0], moved = agenda->place[--agenda->n];
    size_t i = 0;
    for (size_t child = 1; child < agenda->n; child = 2 * i + 1) {
        child += child + 1 < agenda->n && agenda->place[child + 1] < agenda->place[child];
        if (agenda->place[child] >= moved) {
            break;
        }
        agenda->place[i] = agenda->place[child];
        i = child;
    }
    agenda->place[i] = moved;
    return least;
}

/* A place where liners may begin or end otherwise than before. */
static void agenda_add_start(struct search *search, int64_t start)
{
    agenda_add(search, start);
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        agenda_add(search, start + search->kit[kit].length_um);
    }
}

/* A piece of a lane of this kit begins at place, or the one before ends. */
static void agenda_add_piece(struct search *search, size_t other, int64_t place)
{
    agenda_add(search, place + 1);
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        int64_t length = search->kit[kit].length_um,
                deepest = sm_plan__deepest_lap(search->field.problem, kit, other);
        if (deepest >= search->field.overlap) {
            agenda_add(search, place - deepest + length);
            agenda_add(search, place - search->field.overlap + length);
        }
    }
}

/* ---- what is left out */

static struct sm_plan__weight left_out(int64_t n)
{
    return (struct sm_plan__weight){n, 0, 0};
}

/* First target that begins at or after place. */
static size_t first_from(const struct search *search, int64_t place)
{
    size_t low = 0, high = search->field.n_targets;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (search->field.target[middle].start_um < place) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/* Targets that begin in [from, to) and end beyond a place. */
static struct sm_plan__weight count(const struct search *search, int64_t from, int64_t to, int64_t beyond)
{
    int64_t n = 0;
    for (size_t i = first_from(search, from); i < search->field.n_targets; i++) {
        if (search->field.target[i].start_um >= to) {
            break;
        }
        n += search->field.target[i].end_um > beyond;
    }
    return left_out(n);
}

/*
 * Targets that begin before place, and those of no length there: what a row that ends at place has dealt
 * with.
 */
static int64_t dealt_with(const struct search *search, int64_t place)
{
    size_t n = first_from(search, place);
    while (n < search->field.n_targets && search->field.target[n].end_um == place &&
           search->field.target[n].start_um == place) {
        n++;
    }
    return (int64_t)n;
}

/* ---- the recursion */

static bool may_begin(const struct search *search, size_t kit, int64_t start)
{
    const struct sm_plan__allowed *allowed = &search->field.allowed[kit];
    size_t low = 0, high = allowed->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (allowed->interval[middle].last < start) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low < allowed->n && allowed->interval[low].first <= start;
}

static void consider(struct origin *best, struct sm_plan__weight weight, bool is_run_start,
                     struct state state)
{
    if (sm_plan__compare(weight, best->weight) < 0) {
        *best = (struct origin){weight, is_run_start, state};
    }
}

/* Come from a state that owes what layer says; the new liner's own state owes to_layer. */
static void consider_layer(const struct search *search, struct origin *best, size_t layer, struct state to)
{
    int64_t start = to.end - search->kit[to.kit].length_um;
    int64_t beyond = sm_plan__max(to.end, search->until[to.layer]);
    if (search->until[layer] > beyond) {
        return;
    }
    for (size_t other = 0; other < search->n_kits; other++) {
        const struct sm_plan__lane *lane = &search->end[layer * search->n_kits + other];
        int64_t first = start + search->field.overlap;
        int64_t last = start + sm_plan__deepest_lap(search->field.problem, to.kit, other);
        for (size_t i = sm_plan__lane_find(lane, first); i < lane->n && first <= last; i++) {
            if (lane->piece[i].first > last) {
                break;
            }
            int64_t from = sm_plan__max(first, lane->piece[i].first);
            struct sm_plan__weight weight =
                sm_plan__plus(lane->piece[i].lap, count(search, from, to.end, beyond));
            consider(best, weight, false, (struct state){layer, other, from});
        }
    }
}

static bool is_live(const struct search *search, size_t layer, int64_t place)
{
    return layer == 0 || (search->begins[layer] < place && search->until[layer] > place);
}

/* Could a liner that ends at place lap one of the layer? */
static bool is_near(const struct search *search, size_t layer, int64_t place)
{
    return layer == 0 || (search->begins[layer] < place &&
                          search->until[layer] > place - search->field.problem->longest_um);
}

static struct origin find_origin(const struct search *search, struct state to)
{
    int64_t start = to.end - search->kit[to.kit].length_um;
    int64_t beyond = sm_plan__max(to.end, search->until[to.layer]);
    struct origin best = {sm_plan__infinite(), true, {0, 0, 0}};
    if (!may_begin(search, to.kit, start)) {
        return best;
    }
    const struct sm_plan__piece *run = sm_plan__lane_at(&search->start, start);
    if (run) {
        consider(&best, sm_plan__plus(run->lap, count(search, start, to.end, beyond)), true, best.state);
    }
    for (size_t layer = 0; layer < search->n_layers; layer++) {
        if (is_near(search, layer, to.end)) {
            consider_layer(search, &best, layer, to);
        }
    }
    return best;
}

static int64_t tolls_paid(const struct search *search)
{
    return (int64_t)search->toll_at * search->field.problem->reopen_cost;
}

/* Least weight of a row after which a run may begin at place. */
static struct sm_plan__weight find_start(struct search *search, int64_t place)
{
    struct sm_plan__weight best = left_out((int64_t)first_from(search, place));
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        const struct sm_plan__lane *lane = &search->end[kit];
        size_t *at = &search->start_at[kit];
        for (; *at < lane->n && lane->piece[*at].first < place; ++*at) {
            int64_t dealt = dealt_with(search, lane->piece[*at].first);
            search->least =
                sm_plan__lesser(search->least, sm_plan__plus(lane->piece[*at].full, left_out(-dealt)));
        }
        const struct sm_plan__piece *touching = sm_plan__lane_at(lane, place);
        best = touching ? sm_plan__lesser(best, touching->full) : best;
    }
    best = sm_plan__lesser(best, sm_plan__plus(search->least, left_out((int64_t)first_from(search, place))));
    return sm_plan__plus(best, (struct sm_plan__weight){0, -tolls_paid(search), 0});
}

/* ---- the sweep */

static bool is_break(const struct search *search, int64_t place)
{
    size_t at = first_from(search, place), before = first_from(search, place - 1);
    return before < at || (at < search->field.n_targets && search->field.target[at].start_um == place);
}

static void set(struct search *search, struct sm_plan__lane *lane, size_t kit, int64_t place,
                struct sm_plan__weight lap, bool must_break)
{
    size_t n = lane->n;
    bool was_open = n && lane->piece[n - 1].last == SM_PLAN__NEVER;
    search->is_too_much |= sm_plan__is_too_many(lap) || ++search->n_pieces > MAX_PIECES;
    search->failed |= !sm_plan__lane_set(lane, place, lap, tolls_paid(search), must_break);
    bool is_open = lane->n && lane->piece[lane->n - 1].last == SM_PLAN__NEVER;
    if (lane->n == n && was_open == is_open) {
        return;
    }
    if (lane == &search->start) {
        agenda_add_start(search, place);
    } else {
        agenda_add_piece(search, kit, place);
    }
}

static void step(struct search *search, int64_t place)
{
    bool must_break = is_break(search, place);
    while (search->toll_at < search->field.n_tolls && search->field.toll[search->toll_at] <= place) {
        search->toll_at++;
    }
    for (size_t layer = 0; layer < search->n_layers; layer++) {
        for (size_t kit = 0; kit < search->n_kits && is_near(search, layer, place); kit++) {
            struct sm_plan__weight weight = sm_plan__infinite();
            if (is_live(search, layer, place)) {
                weight = find_origin(search, (struct state){layer, kit, place}).weight;
                weight = sm_plan__plus(weight, sm_plan__kit_weight(&search->kit[kit]));
            }
            set(search, &search->end[layer * search->n_kits + kit], kit, place, weight, must_break);
        }
    }
    set(search, &search->start, 0, place, find_start(search, place), false);
}

static void run(struct search *search)
{
    int64_t before = search->field.low - 1;
    while (search->agenda.n && !search->failed && !search->is_too_much) {
        int64_t place = agenda_take(&search->agenda);
        if (place > before) {
            step(search, place);
            before = place;
        }
    }
}

/* ---- setting up */

static int by_end(const void *left, const void *right)
{
    const struct sm_plan__stretch *a = left, *b = right;
    if (a->end_um != b->end_um) {
        return a->end_um < b->end_um ? -1 : 1;
    }
    return (a->start_um > b->start_um) - (a->start_um < b->start_um);
}

/* One layer for each end that targets have, after the one that owes nothing. */
static bool list_layers(struct search *search)
{
    size_t n = search->field.n_targets;
    struct sm_plan__stretch *sorted = sm_calloc(n, sizeof *sorted);
    search->until = sm_calloc(n + 1, sizeof *search->until);
    search->begins = sm_calloc(n + 1, sizeof *search->begins);
    search->n_layers = 1;
    if (!sorted || !search->until || !search->begins) {
        sm_free(sorted);
        return false;
    }
    memcpy(sorted, search->field.target, n * sizeof *sorted);
    qsort(sorted, n, sizeof *sorted, by_end);
    for (size_t i = 0; i < n; i++) {
        if (i == 0 || sorted[i].end_um != sorted[i - 1].end_um) {
            search->until[search->n_layers] = sorted[i].end_um;
            search->begins[search->n_layers++] = sorted[i].start_um;
        }
    }
    sm_free(sorted);
    return true;
}

/* All places known from the start; the others follow from pieces as they come. */
static void fill_agenda(struct search *search)
{
    agenda_add(search, search->field.low);
    for (size_t i = 0; i < search->field.n_targets; i++) {
        for (int64_t beside = 0; beside <= 1; beside++) {
            agenda_add_start(search, search->field.target[i].start_um + beside);
            agenda_add_start(search, search->field.target[i].end_um + beside);
        }
    }
    for (size_t i = 0; i < search->field.n_tolls; i++) {
        agenda_add_start(search, search->field.toll[i]);
    }
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        const struct sm_plan__allowed *allowed = &search->field.allowed[kit];
        for (size_t i = 0; i < allowed->n; i++) {
            agenda_add(search, allowed->interval[i].first + search->kit[kit].length_um);
            agenda_add(search, allowed->interval[i].last + 1 + search->kit[kit].length_um);
        }
    }
}

static bool set_up(struct search *search, const struct sm_plan__problem *problem,
                   struct sm_plan__targets targets)
{
    search->kit = problem->kit;
    search->n_kits = problem->n_kits;
    search->least = sm_plan__infinite();
    if (!sm_plan__field_new(&search->field, problem, targets, 0) || !list_layers(search)) {
        return false;
    }
    search->end = sm_calloc(search->n_layers * search->n_kits, sizeof *search->end);
    search->start_at = sm_calloc(search->n_kits, sizeof *search->start_at);
    if (search->end && search->start_at) {
        fill_agenda(search);
    }
    return search->end && search->start_at && !search->failed;
}

static void tear_down(struct search *search)
{
    for (size_t i = 0; search->end && i < search->n_layers * search->n_kits; i++) {
        sm_free(search->end[i].piece);
    }
    sm_free(search->end);
    sm_free(search->start.piece);
    sm_free(search->start_at);
    sm_free(search->until);
    sm_free(search->begins);
    sm_free(search->agenda.place);
    sm_plan__field_release(&search->field);
}

/* ---- reading the answer back from its end */

/* The state that a row of the best worth ends in. @return false when it has no liners. */
static bool find_last(const struct search *search, struct state *last)
{
    struct sm_plan__weight best = left_out((int64_t)search->field.n_targets);
    bool is_found = false;
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        const struct sm_plan__lane *lane = &search->end[kit];
        for (size_t i = 0; i < lane->n; i++) {
            int64_t after = (int64_t)search->field.n_targets - dealt_with(search, lane->piece[i].first);
            struct sm_plan__weight weight = sm_plan__plus(lane->piece[i].full, left_out(after));
            if (sm_plan__compare(weight, best) < 0) {
                best = weight;
                *last = (struct state){0, kit, lane->piece[i].first};
                is_found = true;
            }
        }
    }
    return is_found;
}

/* The state a row is in before a run begins at start. @return false when that run is its first. */
static bool find_before(const struct search *search, int64_t start, struct state *before)
{
    struct sm_plan__weight worth = sm_plan__lane_at(&search->start, start)->full;
    int64_t begun = (int64_t)first_from(search, start);
    for (size_t kit = 0; kit < search->n_kits; kit++) {
        const struct sm_plan__lane *lane = &search->end[kit];
        for (size_t i = 0; i < lane->n && lane->piece[i].first <= start; i++) {
            const struct sm_plan__piece *piece = &lane->piece[i];
            int64_t skipped = begun - dealt_with(search, piece->first);
            bool is_touching = piece->last >= start && sm_plan__compare(piece->full, worth) == 0;
            bool is_apart = piece->first < start &&
                            sm_plan__compare(sm_plan__plus(piece->full, left_out(skipped)), worth) == 0;
            if (is_touching || is_apart) {
                *before = (struct state){0, kit, is_touching ? start : piece->first};
                return true;
            }
        }
    }
    return false;
}

static void take_run(const struct search *search, bool *is_out, int64_t start, int64_t end)
{
    for (size_t i = first_from(search, start); i < search->field.n_targets; i++) {
        const struct sm_plan__stretch *target = &search->field.target[i];
        if (target->start_um > end) {
            return;
        }
        is_out[i] = is_out[i] && target->end_um > end;
    }
}

static void read_back(const struct search *search, bool *is_out)
{
    struct state at = {0, 0, 0};
    bool is_found = find_last(search, &at);
    int64_t run_end = at.end;
    while (is_found) {
        struct origin origin = find_origin(search, at);
        int64_t start = at.end - search->kit[at.kit].length_um;
        at = origin.state;
        if (origin.is_run_start) {
            take_run(search, is_out, start, run_end);
            is_found = find_before(search, start, &at);
            run_end = at.end;
        }
    }
}

enum sm_status sm_plan__leave_out(bool *is_out, const struct sm_plan__problem *problem,
                                  struct sm_plan__targets targets, struct sm_error *err)
{
    struct search search = {0};
    bool is_ready = set_up(&search, problem, targets);
    if (is_ready) {
        run(&search);
    }
    bool is_done = is_ready && !search.failed && !search.is_too_much;
    for (size_t i = 0; i < targets.n; i++) {
        is_out[i] = true;
    }
    if (is_done) {
        read_back(&search, is_out);
    }
    tear_down(&search);
    if (search.is_too_much) {
        return sm_plan__too_many(err);
    }
    return is_done ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
}
