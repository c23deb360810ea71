/*
 * What is not seen but follows: readings of pictures without a legible counter, between others that have one.
 */
#include "counter_internal.h"

#include <math.h>

#define CARRY_LIMIT_S 120.0
#define STOOD 0.97      /* a counter that shows the same before and after has stood between */
#define DOUBT_PER_S 0.1 /* but may have gone out and back, the longer the likelier */

/** Does a jump lie between two times? */
static bool has_jump(const double *jump_s, size_t n_jumps, double from_s, double to_s)
{
    for (size_t i = 0; i < n_jumps; i++) {
        if (jump_s[i] > from_s && jump_s[i] < to_s) {
            return true;
        }
    }
    return false;
}

/** Straight line between two readings; the surer the less happened between them. */
static void carry_between(struct sm_reading *r, const struct sm_reading *a, const struct sm_reading *b)
{
    double share = (r->time_s - a->time_s) / (b->time_s - a->time_s);
    double moved = (double)(b->counts - a->counts);
    double off =
        fabs(moved) * fmin(share, 1 - share); /* counts by which the true way may differ from the line */
    double least = fmin((double)a->confidence, (double)b->confidence);
    r->counts = a->counts + llrint(moved * share);
    double stood = STOOD / (1.0 + DOUBT_PER_S * (b->time_s - a->time_s));
    r->confidence = (float)(least * (moved == 0 ? stood : fmin(stood, 0.8 / (1.0 + 0.5 * off))));
    r->state = SM_READING_CARRIED;
}

void sm_counter__carry(struct sm_reading *readings, size_t n, const double *jump_s, size_t n_jumps)
{
    size_t before = n;
    for (size_t i = 0; i < n; i++) {
        if (readings[i].state != SM_READING_READ) {
            continue;
        }
        const struct sm_reading *a = before < n ? &readings[before] : NULL, *b = &readings[i];
        if (a && b->time_s - a->time_s < CARRY_LIMIT_S && !has_jump(jump_s, n_jumps, a->time_s, b->time_s)) {
            for (size_t k = before + 1; k < i; k++) {
                carry_between(&readings[k], a, b);
            }
        }
        before = i;
    }
}
