/*
 * A leading digit that no picture shows well is no candidate anywhere, and the path can but jump around it.
 * So where it jumps, it is offered to run on with the low digits it has seen.
 */
#include "path_internal.h"

int64_t sm_counter__nearest_alike(int64_t counts, int64_t stood, int64_t modulus)
{
    int64_t ahead = (counts - stood) % modulus;
    ahead += ahead < 0 ? modulus : 0;
    return stood + (ahead > modulus / 2 ? ahead - modulus : ahead);
}

/** From a jump on (step 1) or back (-1) to the next: the values that follow on from what stood beyond the
 * jump. */
static void bridge_offer(struct sm_counter__way *way, size_t first, int step, int64_t modulus)
{
    int64_t stood = sm_counter__chosen(way, first - (size_t)step);
    for (size_t i = first; i < way->n; i += (size_t)step) { /* below 0 it wraps and ends as well */
        if (i != first && sm_counter__is_jump_before(way, step > 0 ? i : i + 1)) {
            return;
        }
        stood = sm_counter__nearest_alike(sm_counter__chosen(way, i), stood, modulus);
        sm_counter__node_offer(way, i, stood);
    }
}

void sm_counter__bridges_offer(struct sm_counter__way *way)
{
    for (size_t i = 1; i < way->n; i++) {
        if (!sm_counter__is_jump_before(way, i)) {
            continue;
        }
        int64_t modulus = 10;
        for (int32_t slot = 1; slot < way->layout->n_slots; slot++, modulus *= 10) {
            bridge_offer(way, i, 1, modulus);
            bridge_offer(way, i - 1, -1, modulus);
        }
    }
}
