/*
 * Which pictures are worth a look. Most of a survey is steady travel and standstill, so a few pictures far
 * apart say all of it; where they do not, one looks closer:
 *
 *   samples spread over the recording -> path -> which stretches between two neighbours are in doubt?
 *     ^                                             |  a picture in the middle that decodes alone, else
 *     +---------------------------------------------+  on through the stretch until the rest follows
 *
 * A stretch is in doubt unless it is short, or hardly anything moved, or it lies on one straight line with
 * what comes before or after it, or travel begins or ends in it where the sizes of the coded pictures say so,
 * too (corner.c). Readings that are unsure, or missing, put the stretches beside them in
 * doubt, so that a bad picture is read as closely as it needs. A stretch gone through is settled for good.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_ROUNDS 16
#define SAMPLE_STEP_S 1.9     /* pictures that decode alone: about this far apart */
#define CHUNK_S 60.0          /* of samples in one wish; fixed, so that threads change nothing */
#define AROUND_S 0.12         /* beside an asked time, and twice as far */
#define MOST_AROUND 20000     /* with more times asked for than this, neighbours support each other */
#define DENSE_STEP_S 0.2      /* longest spacing where one looks closely */
#define STEP_COUNTS 2.0       /* a camera at ordinary speed moves the counter by so much from one to the next */
#define ORDINARY_M_PER_S 0.15
#define SURE 0.6f             /* a reading below it puts what lies beside it in doubt; one above it that is
                                 wrong does so by being off the line */
#define SHORT_S 0.5           /* a corner in a stretch this short is seen well enough, */
#define SHORT_COUNTS 6        /* if it is no longer than this */
#define LONGEST_S 20.0        /* nothing is taken on trust for longer */
#define LONGEST_HIDDEN_S 4.0  /* a counter may come and go unseen for this long */
#define STILL_COUNTS 2        /* moved by no more, the line cannot be off by more than half of it */
#define ON_LINE_COUNTS 1.01   /* two roundings */
#define LONG_S 3.0            /* speeds of an operator's hand keep for about this long */
#define NEAR_LINE_COUNTS 1.5  /* for longer stretches at most: a speed need not be that even to be one */
#define UNEVEN 0.005          /* of the way, */
#define SLOW_SHARE 0.8        /* of the pace beside it: slower than that, it may hide a standstill */
#define STEADY_SHARE 0.75     /* of lines through three samples that go on through a fourth */
#define STEADY_SHARE_LONG 0.35 /* the same with samples far apart, where few legs hold four */
#define REST_S 1.2            /* before the rest is believed it must have gone this way for so long */
#define ALONE_NATS 2.0        /* a single picture's reading is believed from here on */
#define PROBE_S 2.5           /* looked at picture by picture, to see how the display moves on */
#define N_PROBES 3

/* ---- spans
 * ------------------------------------------------------------------------------------------------- */

static enum sm_status span_add(struct sm_counter__spans *spans, double start_s, double end_s)
{
    enum sm_status status = sm_grow(&spans->item, spans->n, &spans->capacity, sizeof *spans->item);
    if (status != SM_OK) {
        return status;
    }
    size_t i = spans->n++;
    while (i > 0 && spans->item[i - 1].start_s > start_s) {
        spans->item[i] = spans->item[i - 1];
        i--;
    }
    spans->item[i] = (struct sm_counter__span){start_s, end_s};
    return SM_OK;
}

/** Does one of the spans hold the whole stretch? They do not overlap: the last that starts before it tells. */
static bool span_holds(const struct sm_counter__spans *spans, double start_s, double end_s)
{
    size_t low = 0, high = spans->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (spans->item[middle].start_s > start_s + 1e-6) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return low > 0 && spans->item[low - 1].end_s >= end_s - 1e-6;
}

void sm_counter__watch_release(struct sm_counter__watch *watch)
{
    sm_counter__sightings_release(&watch->seen);
    sm_free(watch->settled.item);
    sm_free(watch->no_middle.item);
    sm_free(watch->reading);
    sm_free(watch->jump_s);
    sm_free(watch->is_straight);
    sm_free(watch->moving);
    memset(watch, 0, sizeof *watch);
}

/* ---- wishes
 * ------------------------------------------------------------------------------------------------ */

struct wishes {
    struct sm_counter__look *item;
    size_t n, capacity;
};

static enum sm_status wish(struct wishes *wishes, struct sm_counter__look look)
{
    enum sm_status status = sm_grow(&wishes->item, wishes->n, &wishes->capacity, sizeof *wishes->item);
    if (status == SM_OK) {
        wishes->item[wishes->n++] = look;
    }
    return status;
}

/** Between two pictures a straight line must keep within one last digit: the finer the counter, the closer. */
static double dense_step_s(const struct sm_counter__watch *watch)
{
    return fmin(DENSE_STEP_S, STEP_COUNTS / (ORDINARY_M_PER_S * sm_counter__per_m(watch->layout)));
}

static enum sm_status wish_samples(struct wishes *wishes, const struct sm_counter__watch *watch)
{
    enum sm_status status = SM_OK;
    double end_s = watch->end_s + watch->frame_s;
    for (double at_s = watch->start_s; status == SM_OK && at_s < watch->end_s; at_s += CHUNK_S) {
        double to_s = fmin(at_s + CHUNK_S, end_s);
        struct sm_counter__look look = {.kind = watch->is_dense ? SM_LOOK_ALL : SM_LOOK_SAMPLE,
                                        .start_s = at_s,
                                        .end_s = to_s - 0.5 * watch->frame_s,
                                        .step_s = watch->is_dense ? dense_step_s(watch) : SAMPLE_STEP_S,
                                        .stretch = {at_s, to_s}};
        status = wish(wishes, look);
    }
    return status;
}

static enum sm_status wish_at(struct wishes *wishes, const struct sm_counter__watch *watch, double at_s)
{
    bool is_inside = at_s >= 0 && at_s <= watch->end_s + watch->frame_s;
    return is_inside ? wish(wishes, (struct sm_counter__look){.kind = SM_LOOK_AT, .start_s = at_s}) : SM_OK;
}

/** Times asked for, each with support from pictures beside it, and the last picture of all. */
static enum sm_status wish_asked(struct wishes *wishes, const struct sm_counter__watch *watch,
                                 const double *at_s, size_t n_at)
{
    enum sm_status status = wish_at(wishes, watch, watch->end_s);
    int reach = n_at <= MOST_AROUND && !watch->is_dense ? 2 : 0;
    for (size_t i = 0; i < n_at; i++) {
        for (int d = -reach; status == SM_OK && d <= reach; d++) {
            status = wish_at(wishes, watch, at_s[i] + d * AROUND_S);
        }
    }
    return status;
}

/* ---- judging stretches
 * ------------------------------------------------------------------------------------- */

static const struct sm_reading *reading_of(const struct sm_counter__watch *watch, size_t i)
{
    return &watch->reading[i];
}

static bool is_sure(const struct sm_reading *reading)
{
    return reading->state == SM_READING_READ && reading->confidence >= SURE;
}

static int64_t moved(const struct sm_counter__watch *watch, size_t i)
{
    return llabs(watch->reading[i + 1].counts - watch->reading[i].counts);
}

/** Counts by which the middle one of three readings is off the line through the others. */
static double off_line(const struct sm_reading *a, const struct sm_reading *b, const struct sm_reading *c)
{
    double share = (b->time_s - a->time_s) / (c->time_s - a->time_s);
    return fabs((double)(b->counts - a->counts) - share * (double)(c->counts - a->counts));
}

/**
 * A reading before the stretch from i to i + 1 (step = -1) or after it (1), at least half its length and at
 * most about twice its length away: nearer ones would agree with anything. NULL = none.
 */
static const struct sm_reading *beside(const struct sm_counter__watch *watch, size_t i, int step)
{
    double length_s = watch->reading[i + 1].time_s - watch->reading[i].time_s;
    size_t k = step < 0 ? i : i + 1;
    double near_s = watch->reading[k].time_s;
    while (step < 0 ? k > 0 : k + 1 < watch->seen.n) {
        k += (size_t)step;
        double away_s = fabs(watch->reading[k].time_s - near_s);
        if (away_s > 2.1 * length_s) {
            return NULL;
        }
        if (away_s >= 0.5 * length_s && is_sure(&watch->reading[k])) {
            return &watch->reading[k];
        }
    }
    return NULL;
}

static double pace(const struct sm_reading *a, const struct sm_reading *b)
{
    return fabs((double)(b->counts - a->counts)) / fabs(b->time_s - a->time_s);
}

/**
 * Is the stretch from i to i + 1 on one line with what lies beside it? One side is enough where speeds keep,
 * unless the other side is faster: two halves of a standstill between two legs make a line, too.
 */
static bool is_on_line(const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = &watch->reading[i], *b = a + 1;
    const struct sm_reading *before = beside(watch, i, -1), *after = beside(watch, i, 1);
    double slack = b->time_s - a->time_s > LONG_S ? UNEVEN * (double)moved(watch, i) : 0;
    double most = fmin(ON_LINE_COUNTS + slack, NEAR_LINE_COUNTS);
    bool goes_before = before && off_line(before, a, b) <= most;
    bool goes_after = after && off_line(a, b, after) <= most;
    double fastest = fmax(before ? pace(before, a) : 0, after ? pace(b, after) : 0);
    bool needs_both = !watch->is_steady || pace(a, b) < SLOW_SHARE * fastest;
    return needs_both ? goes_before && goes_after : goes_before || goes_after;
}

/** Hardly anything moved: a standstill, if it has lasted or goes on, or is too short to hide a way out and back. */
static bool is_still(const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = &watch->reading[i], *b = a + 1;
    const struct sm_reading *before = beside(watch, i, -1), *after = beside(watch, i, 1);
    if (moved(watch, i) > STILL_COUNTS) {
        return false;
    }
    return b->time_s - a->time_s <= SHORT_S || (before && llabs(a->counts - before->counts) <= STILL_COUNTS) ||
           (after && llabs(after->counts - b->counts) <= STILL_COUNTS);
}

/** Both ends seen for sure: does what lies between follow? */
static bool follows(const struct sm_counter__watch *watch, size_t i)
{
    double length_s = watch->reading[i + 1].time_s - watch->reading[i].time_s;
    int64_t counts = moved(watch, i);
    if (length_s > LONGEST_S) {
        return false;
    }
    if (watch->is_stepping) {
        return counts == 0 || length_s < 1.5 * watch->frame_s;
    }
    return is_still(watch, i) || (length_s <= SHORT_S && counts <= SHORT_COUNTS) || is_on_line(watch, i);
}

static bool is_doubted(const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = reading_of(watch, i), *b = reading_of(watch, i + 1);
    double length_s = b->time_s - a->time_s;
    if (length_s < 1.5 * watch->frame_s) {
        return false;
    }
    bool is_read_a = a->state == SM_READING_READ, is_read_b = b->state == SM_READING_READ;
    if (!is_read_a && !is_read_b) {
        return length_s > LONGEST_HIDDEN_S;
    }
    if (!is_read_a || !is_read_b) {
        return length_s > SHORT_S;
    }
    if (!is_sure(a) || !is_sure(b)) {
        return length_s > 1.5 * dense_step_s(watch);
    }
    return !follows(watch, i);
}

/**
 * A stretch on which the counter stands for a part and moves for the rest, as the readings beyond it and the
 * sizes of the coded pictures say. Shorter ones are cheap to look into.
 */
static bool has_corner(struct sm_counter__span *moving, const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = &watch->reading[i], *b = a + 1;
    double length_s = b->time_s - a->time_s;
    if (!watch->is_steady || watch->is_stepping || !is_sure(a) || !is_sure(b) || length_s <= LONG_S ||
        length_s > LONGEST_S || moved(watch, i) <= STILL_COUNTS) {
        return false;
    }
    for (int step = -1; step <= 1; step += 2) {
        const struct sm_reading *beyond = beside(watch, i, step);
        if (beyond && llabs(beyond->counts - (step < 0 ? a : b)->counts) > STILL_COUNTS &&
            sm_counter__corner(moving, &watch->sizes, a, b, beyond)) {
            return true;
        }
    }
    return false;
}

static struct sm_counter__known known_of(const struct sm_counter__watch *watch, size_t i)
{
    bool is_known = i < watch->seen.n && is_sure(&watch->reading[i]);
    return is_known ? (struct sm_counter__known){true, watch->reading[i].time_s, watch->reading[i].counts}
                    : (struct sm_counter__known){0};
}

/** How to look into the stretch from i to i + 1. */
static struct sm_counter__look look_into(const struct sm_counter__watch *watch, size_t i)
{
    const struct sm_reading *a = reading_of(watch, i), *b = reading_of(watch, i + 1);
    double length_s = b->time_s - a->time_s, middle_s = 0.5 * (a->time_s + b->time_s);
    double key_s = fmax(watch->key_interval_s, watch->frame_s);
    struct sm_counter__look look = {.start_s = a->time_s + 0.5 * watch->frame_s,
                                    .end_s = b->time_s - 0.5 * watch->frame_s,
                                    .step_s = dense_step_s(watch),
                                    .stretch = {a->time_s, b->time_s}};
    bool is_hidden = a->state != SM_READING_READ && b->state != SM_READING_READ;
    if (length_s > 1.5 * key_s && !span_holds(&watch->no_middle, a->time_s, b->time_s)) {
        look.kind = SM_LOOK_MIDDLE;
        look.start_s = fmax(a->time_s + 0.25 * length_s, middle_s - 0.5 * key_s);
    } else if (is_hidden && length_s <= LONGEST_S) {
        look.kind = SM_LOOK_AT;
        look.start_s = middle_s;
    } else {
        look.kind = watch->is_stepping ? SM_LOOK_ALL : SM_LOOK_THROUGH;
    }
    if (look.kind == SM_LOOK_THROUGH) {
        look.is_line_enough = watch->is_steady || length_s <= LONG_S;
        look.end = known_of(watch, i + 1);
        look.after = known_of(watch, i + 2);
    }
    return look;
}

/** Could a look into i or i + 1 be spared by a look into its neighbour? On a leg between two corners, both in
 * long stretches, the one that moves most is likely straight, and will be seen to be once its neighbours are
 * gone through. */
static bool can_wait(const struct sm_counter__watch *watch, size_t i, const bool *is_open)
{
    double length_s = watch->reading[i + 1].time_s - watch->reading[i].time_s;
    if (length_s <= LONG_S || length_s > LONGEST_S || i == 0 || i + 2 >= watch->seen.n) {
        return false;
    }
    bool is_fastest = moved(watch, i) >= moved(watch, i - 1) && moved(watch, i) > moved(watch, i + 1);
    return is_fastest && is_sure(&watch->reading[i]) && is_sure(&watch->reading[i + 1]) &&
           (is_open[i - 1] || is_open[i + 1]);
}

static enum sm_status wish_closer(struct wishes *wishes, const struct sm_counter__watch *watch)
{
    enum sm_status status = SM_OK;
    size_t n = watch->seen.n;
    bool *is_open = sm_calloc(n + 1, sizeof *is_open);
    if (!is_open) {
        return SM_E_NOMEM;
    }
    for (size_t i = 0; i + 1 < n; i++) {
        watch->moving[i] = (struct sm_counter__span){watch->reading[i].time_s, watch->reading[i + 1].time_s};
        watch->is_straight[i] = !is_doubted(watch, i) || has_corner(&watch->moving[i], watch, i);
        is_open[i] = !watch->is_straight[i] &&
                     !span_holds(&watch->settled, watch->reading[i].time_s, watch->reading[i + 1].time_s);
    }
    for (size_t i = 0; status == SM_OK && i + 1 < n; i++) {
        if (is_open[i] && !can_wait(watch, i, is_open)) {
            status = wish(wishes, look_into(watch, i));
        }
    }
    sm_free(is_open);
    return status;
}

/** What a look that is over says about where to look next. */
static enum sm_status take_note(struct sm_counter__watch *watch, const struct sm_counter__look *look)
{
    const struct sm_counter__span *stretch = &look->stretch;
    if (look->kind == SM_LOOK_THROUGH || look->kind == SM_LOOK_ALL) {
        return span_add(&watch->settled, stretch->start_s, stretch->end_s);
    }
    bool is_vain = look->kind == SM_LOOK_MIDDLE && !look->has_seen;
    return is_vain ? span_add(&watch->no_middle, stretch->start_s, stretch->end_s) : SM_OK;
}

/* ---- how this survey moves
 * --------------------------------------------------------------------------------- */

/**
 * Where speeds keep for a while, three samples on a line are mostly followed by a fourth; where they wander, a
 * line through three is luck.
 */
static bool find_steady(const struct sm_counter__watch *watch)
{
    size_t n = 0, n_good = 0;
    bool was_line = false;
    for (size_t i = 1; i + 1 < watch->seen.n; i++) {
        const struct sm_reading *a = reading_of(watch, i - 1), *b = reading_of(watch, i),
                                *c = reading_of(watch, i + 1);
        bool counts = is_sure(a) && is_sure(b) && is_sure(c) && moved(watch, i - 1) > 2 * STILL_COUNTS &&
                      moved(watch, i) > 2 * STILL_COUNTS;
        bool is_line = counts && off_line(a, b, c) <= ON_LINE_COUNTS;
        n += was_line && counts;
        n_good += was_line && is_line;
        was_line = is_line;
    }
    double share = watch->key_interval_s > LONG_S ? STEADY_SHARE_LONG : STEADY_SHARE;
    return n >= 4 && (double)n_good >= share * (double)n;
}

/** Wish for a few short stretches picture by picture, spread over those that move. */
static enum sm_status wish_probes(struct wishes *wishes, const struct sm_counter__watch *watch)
{
    enum sm_status status = SM_OK;
    size_t n_moving = 0, n_met = 0;
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i + 1 < watch->seen.n; i++) {
            const struct sm_reading *a = reading_of(watch, i);
            if (!is_sure(a) || !is_sure(a + 1) || moved(watch, i) <= SHORT_COUNTS) {
                continue;
            }
            bool is_probe = pass == 1 && (n_met * N_PROBES + n_moving / 2) / n_moving <
                                             ((n_met + 1) * N_PROBES + n_moving / 2) / n_moving;
            n_met += pass == 1;
            n_moving += pass == 0;
            if (is_probe && status == SM_OK) {
                double to_s = fmin(a->time_s + PROBE_S, a[1].time_s);
                status = wish(wishes, (struct sm_counter__look){.kind = SM_LOOK_ALL,
                                                                .start_s = a->time_s,
                                                                .end_s = to_s - 0.5 * watch->frame_s,
                                                                .step_s = dense_step_s(watch),
                                                                .stretch = {a->time_s, to_s}});
            }
        }
    }
    return status;
}

/**
 * Does the display move on in steps of several counts? Then it stands for some pictures, and leaps.
 * Judged on the stretches looked at picture by picture.
 */
static bool find_stepping(const struct sm_counter__watch *watch)
{
    size_t n_leaps = 0, n_single = 0;
    for (size_t i = 1; i + 1 < watch->seen.n; i++) {
        const struct sm_reading *a = reading_of(watch, i - 1), *b = reading_of(watch, i),
                                *c = reading_of(watch, i + 1);
        bool is_watched = span_holds(&watch->settled, a->time_s, c->time_s) && is_sure(a) && is_sure(b) &&
                          is_sure(c) && c->time_s - b->time_s < 1.5 * watch->frame_s;
        bool stood = is_watched && b->counts == a->counts && b->time_s - a->time_s > 0.5 * watch->frame_s;
        n_leaps += stood && moved(watch, i) >= 2;
        n_single += is_watched && moved(watch, i) == 1;
    }
    return n_leaps >= 3 && n_leaps > n_single;
}

/* ---- the rest of a stretch gone through
 * -------------------------------------------------------------------- */

bool sm_counter__rest_follows(struct sm_counter__rest *rest, const struct sm_counter__look *look,
                              const struct sm_counter__sighting *sighting,
                              const struct sm_counter__layout *layout)
{
    enum { N = sizeof rest->last / sizeof *rest->last };
    struct sm_counter__known now = {.time_s = sighting->time_s};
    double margin_nats = 0;
    now.is_known = sm_counter__alone(&now.counts, &margin_nats, sighting, layout) && margin_nats > ALONE_NATS;
    rest->last[rest->n++ % N] = now;
    if (!now.is_known || !look->end.is_known || look->end.time_s - now.time_s < 2 * look->step_s) {
        return false;
    }
    bool is_still = now.counts == look->end.counts;
    if (!is_still && (!look->is_line_enough || !look->after.is_known)) {
        return false;
    }
    struct sm_reading from = {.time_s = now.time_s, .counts = now.counts};
    struct sm_reading to = {.time_s = look->end.time_s, .counts = look->end.counts};
    struct sm_reading after = {.time_s = look->after.time_s, .counts = look->after.counts};
    if (!is_still && off_line(&from, &to, &after) > ON_LINE_COUNTS) {
        return false;
    }
    for (size_t back = 1; back < N && back < rest->n; back++) {
        const struct sm_counter__known *before = &rest->last[(rest->n - 1 - back) % N];
        struct sm_reading then = {.time_s = before->time_s, .counts = before->counts};
        if (!before->is_known || off_line(&then, &from, &to) > ON_LINE_COUNTS) {
            return false;
        }
        if (now.time_s - then.time_s >= REST_S) {
            return true;
        }
    }
    return false;
}

/* ---- the approach
 * ------------------------------------------------------------------------------------------ */

static enum sm_status read_all(struct sm_counter__watch *watch, struct sm_error *err)
{
    size_t n = watch->seen.n;
    sm_free(watch->reading);
    sm_free(watch->jump_s);
    sm_free(watch->is_straight);
    sm_free(watch->moving);
    watch->jump_s = NULL;
    watch->n_jumps = 0;
    watch->reading = sm_calloc(n + 1, sizeof *watch->reading);
    watch->is_straight = sm_calloc(n + 1, sizeof *watch->is_straight);
    watch->moving = sm_calloc(n + 1, sizeof *watch->moving);
    if (!watch->reading || !watch->is_straight || !watch->moving) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the readings");
    }
    return sm_counter__path(watch->reading, &watch->jump_s, &watch->n_jumps, watch->seen.item, n, watch->layout,
                            err);
}

/** Fulfil the wishes and read all anew. */
static enum sm_status look_and_read(struct sm_counter__watch *watch, struct wishes *wishes,
                                    sm_counter__look_fn *look, void *user, struct sm_error *err)
{
    enum sm_status status = look(user, wishes->item, wishes->n, &watch->seen, err);
    sm_counter__sightings_sort(&watch->seen);
    for (size_t i = 0; status == SM_OK && i < wishes->n; i++) {
        status = take_note(watch, &wishes->item[i]);
        if (status != SM_OK) {
            sm_error_set(err, status, "no memory for the readings");
        }
    }
    wishes->n = 0;
    return status == SM_OK ? read_all(watch, err) : status;
}

/** The wishes of the next round; none = all is settled. */
static enum sm_status wish_next(struct wishes *wishes, struct sm_counter__watch *watch, bool is_probing)
{
    return is_probing ? wish_probes(wishes, watch) : wish_closer(wishes, watch);
}

static enum sm_status approach_rounds(struct sm_counter__watch *watch, struct wishes *wishes,
                                      sm_counter__look_fn *look, void *user, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (int round = 0; status == SM_OK && round < MOST_ROUNDS; round++) {
        bool is_probing = !watch->is_probed && !watch->is_dense;
        if (is_probing) {
            watch->is_steady = find_steady(watch);
        }
        if (wish_next(wishes, watch, is_probing) != SM_OK) {
            return sm_error_set(err, SM_E_NOMEM, "no memory for the readings");
        }
        watch->is_probed = true;
        if (wishes->n == 0 && !is_probing) {
            break;
        }
        status = wishes->n > 0 ? look_and_read(watch, wishes, look, user, err) : SM_OK;
        if (is_probing) {
            watch->is_stepping = find_stepping(watch);
        }
    }
    return status;
}

enum sm_status sm_counter__approach(struct sm_counter__watch *watch, const double *at_s, size_t n_at,
                                    sm_counter__look_fn *look, void *user, struct sm_error *err)
{
    struct wishes wishes = {0};
    enum sm_status status = watch->seen.n == 0 ? wish_samples(&wishes, watch) : SM_OK;
    if (status == SM_OK) {
        status = wish_asked(&wishes, watch, at_s, n_at);
    }
    status = status == SM_OK ? look_and_read(watch, &wishes, look, user, err)
                             : sm_error_set(err, status, "no memory for the readings");
    if (status == SM_OK) {
        status = approach_rounds(watch, &wishes, look, user, err);
    }
    sm_free(wishes.item);
    return status;
}
