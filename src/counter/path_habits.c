/* A path so far -> what it tells about itself: how long its marks stay, at what pace it goes, where it jumps.
 */
#include "path_internal.h"

#include <math.h>
#include <stdlib.h>

#define ALIKE_COUNTS 10.0
#define CLEAR_SIGN_NATS 3.0  /* by which a sign is likelier that is beyond doubt */
#define NO_SIGN_NATS 1.0     /* by which no sign is likelier in the mean of a stretch that has none */
#define PACE_WINDOW 3        /* steps on each side that tell the pace */
#define LOOKS_OF_A_STAY 2.0f /* so many by themselves tell as much as LOOKS_PICTURES of a mark that stays */
#define LOOKS_PICTURES 25.0f
#define LOOKS_MOST 6.0f

/* ---- jumps ---- */

bool sm_counter__is_alike(double d)
{
    return fabs(d - 100 * round(d / 100)) <= ALIKE_COUNTS;
}

bool sm_counter__is_jump_before(const struct sm_counter__way *way, size_t i)
{
    if (i == 0 || i >= way->n) {
        return false;
    }
    double dt_s = way->node[i].time_s - way->node[i - 1].time_s;
    double moved = (double)(sm_counter__chosen(way, i) - sm_counter__chosen(way, i - 1));
    return fabs(moved) > 3 * (SM_PATH_SPEED_LIMIT_M_PER_S * way->per_m * dt_s + 1.5);
}

/** A jump after which the low digits do not run on, or to zero. */
static bool is_reset_before(const struct sm_counter__way *way, size_t i)
{
    if (!sm_counter__is_jump_before(way, i)) {
        return false;
    }
    double from = (double)sm_counter__chosen(way, i - 1), to = (double)sm_counter__chosen(way, i);
    return !sm_counter__is_alike(to - from) || fabs(to) <= ALIKE_COUNTS;
}

/* ---- signs ---- */

/** From one side of zero as far to the other at once: a counter never does. */
static bool is_mirrored_before(const struct sm_counter__way *way, size_t i)
{
    return sm_counter__is_jump_before(way, i) &&
           llabs(sm_counter__chosen(way, i - 1) + sm_counter__chosen(way, i)) <= (int64_t)ALIKE_COUNTS;
}

/**
 * The equals sign of "L=" in few pixels now and then passes for a minus, and a camera that runs back to zero
 * would as well come from below: one move after the other, the path would rather count up. But a sign that is
 * there is seen in most pictures, and the run does not jump to its mirror image. So a stretch of negative
 * numbers is held against what stands before them.
 */
bool sm_counter__signs_judge(struct sm_counter__way *way)
{
    bool is_new = false;
    for (size_t first = 0, end; first < way->n; first = end) {
        double sum_nats = 0;
        for (end = first; end < way->n && sm_counter__chosen(way, end) < 0; end++) {
            sum_nats += sm_counter__no_sign_nats(&way->sightings[way->node[end].sighting_idx],
                                                 sm_counter__chosen(way, end), way->layout);
        }
        bool is_mirrored = is_mirrored_before(way, first) || is_mirrored_before(way, end);
        double least_nats = (is_mirrored ? -CLEAR_SIGN_NATS : NO_SIGN_NATS) * (double)(end - first);
        for (size_t i = first; i < end && sum_nats > least_nats; i++) {
            way->node[i].has_no_sign = is_new = true;
        }
        end += end == first;
    }
    return is_new;
}

/* ---- pace ---- */

static int double_order(const void *a, const void *b)
{
    double da = *(const double *)a, db = *(const double *)b;
    return da < db ? -1 : da > db;
}

/** Counts a second from node i - 1 to node i. */
static double pace_of(const struct sm_counter__way *way, size_t i)
{
    double moved = (double)(sm_counter__chosen(way, i) - sm_counter__chosen(way, i - 1));
    return moved / (way->node[i].time_s - way->node[i - 1].time_s);
}

/** The median of the steps beside each step. */
void sm_counter__pace_learn(struct sm_counter__way *way)
{
    for (size_t i = 1; i < way->n; i++) {
        double pace[2 * PACE_WINDOW + 1];
        size_t n = 0;
        size_t first = i > PACE_WINDOW ? i - PACE_WINDOW : 1;
        for (size_t k = first; k <= i + PACE_WINDOW && k < way->n; k++) {
            pace[n++] = pace_of(way, k);
        }
        qsort(pace, n, sizeof *pace, double_order);
        double usual = n % 2 ? pace[n / 2] : 0.5 * (pace[n / 2] + pace[n / 2 - 1]);
        way->node[i].expected = usual * (way->node[i].time_s - way->node[i - 1].time_s);
    }
}

/* ---- weights ---- */

/** Weight of each of n pictures in which a mark stays: a longer stay tells more, but not in step. */
static float stay_weight(size_t n)
{
    float looks = LOOKS_OF_A_STAY * sqrtf(fmaxf(1, (float)n / LOOKS_PICTURES));
    return fminf(1, fminf(looks, LOOKS_MOST) / (float)n);
}

/** One past the last node up to which the mark of node first stays in this slot. */
static size_t stay_end(const struct sm_counter__way *way, size_t first, int32_t slot)
{
    int32_t mark = sm_counter__mark_of(sm_counter__chosen(way, first), slot, way->layout);
    size_t end = first + 1;
    while (end < way->n && sm_counter__mark_of(sm_counter__chosen(way, end), slot, way->layout) == mark) {
        end++;
    }
    return end;
}

/**
 * A leading digit that looks like another one does so in every picture while it stays: seen a hundred times
 * it is still one misreading, and must not buy a jump of the counter. So what is seen in a slot while its
 * mark stays counts as a few looks, whatever the number of pictures: all have their say, with different
 * wall behind them. Where the counter is set anew one counts in full, to tell when it was.
 */
void sm_counter__weights_learn(struct sm_counter__way *way)
{
    for (size_t i = 0; i < way->n; i++) {
        way->node[i].weight[0] = 1; /* the last digit alone buys no jump */
    }
    for (int32_t slot = 1; slot < way->layout->n_slots; slot++) {
        for (size_t first = 0, end; first < way->n; first = end) {
            end = stay_end(way, first, slot);
            for (size_t i = first; i < end; i++) {
                way->node[i].weight[slot] = stay_weight(end - first);
            }
            if (is_reset_before(way, first)) {
                way->node[first].weight[slot] = 1;
            }
            if (is_reset_before(way, end)) {
                way->node[end - 1].weight[slot] = 1;
            }
        }
    }
}
