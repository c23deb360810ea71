/*
 * How sure a last digit can be that stays: in picture after picture it stands on the same pixels, coded
 * alike, and what makes a 3 of it an 8 does so in all of them. The path counts each picture in full, since it
 * has to tell when the digit turned; for the confidence a stay counts as the few looks it is.
 */
#include "path_internal.h"

#include <math.h>

#define LOOKS_OF_A_STAY 2 /* as many by themselves tell as much as all its pictures */
#define LOOK_TEMPER 0.75
#define MOST_NATS 9.0

static size_t stay_end(const struct sm_counter__way *way, size_t first)
{
    size_t end = first + 1;
    while (end < way->n && sm_counter__chosen(way, end) == sm_counter__chosen(way, first)) {
        end++;
    }
    return end;
}

/** Adds by how much each digit in the last slot is worse than the chosen one, nats. */
static void worse_add(double worse[10], const struct sm_counter__way *way, size_t i)
{
    int64_t counts = sm_counter__chosen(way, i);
    const struct sm_counter__sighting *s = &way->sightings[way->node[i].sighting_idx];
    const uint8_t *cost = s->cost[sm_counter__best_anchor(s, counts, way->layout)][0];
    int32_t own = sm_counter__mark_of(counts, 0, way->layout);
    for (int d = 0; d < 10; d++) {
        double off = ((double)cost[d] - (double)cost[own]) / (double)SM_COUNTER_COST_SCALE;
        worse[d] += fmax(-MOST_NATS, fmin(off, MOST_NATS));
    }
}

/** The most that a stay's confidence can be. */
static double ceiling_of(const struct sm_counter__way *way, size_t first, size_t end)
{
    double worse[10] = {0}, doubt = 0;
    for (size_t i = first; i < end; i++) {
        worse_add(worse, way, i);
    }
    for (int d = 0; d < 10; d++) {
        doubt += exp(-LOOK_TEMPER * LOOKS_OF_A_STAY * worse[d] / (double)(end - first));
    }
    return 1 / doubt; /* the chosen digit itself adds 1 */
}

void sm_counter__stays_doubt(struct sm_reading *readings, const struct sm_counter__way *way)
{
    for (size_t first = 0, end; first < way->n; first = end) {
        end = stay_end(way, first);
        if (end - first <= LOOKS_OF_A_STAY) {
            continue;
        }
        float most = (float)ceiling_of(way, first, end);
        for (size_t i = first; i < end; i++) {
            struct sm_reading *r = &readings[way->node[i].sighting_idx];
            r->confidence = fminf(r->confidence, most);
        }
    }
}
