/*
 * What the parts of the path share: nodes with their candidates.
 *   path.c          the likeliest way through the nodes, and how sure it is
 *   path_evidence.c sightings -> candidates with their costs
 *   path_habits.c   a path -> how much its marks count, its pace, its jumps
 *   path_stays.c    how sure a last digit can be that stays
 *   path_bridge.c   where a path jumps: candidates that do without
 */
#ifndef SM_COUNTER_PATH_INTERNAL_H
#define SM_COUNTER_PATH_INTERNAL_H

#include "counter_internal.h"

#define SM_PATH_OWN 10       /* candidates from the picture itself */
#define SM_PATH_LENT 3       /* taken over from each of the pictures beside it */
#define SM_PATH_NEIGHBOURS 2 /* how many of these on each side */
#define SM_PATH_MENDED 6     /* own low digits with the leading ones of the pictures beside it */
#define SM_PATH_BRIDGES 6    /* that keep the low digits and do without a jump */
#define SM_PATH_CANDIDATES                                                                                   \
    (SM_PATH_OWN + 2 * SM_PATH_NEIGHBOURS * SM_PATH_LENT + SM_PATH_MENDED + SM_PATH_BRIDGES)
#define SM_PATH_SPEED_LIMIT_M_PER_S 0.6

/** Small, since a recording of hours has a million of them. */
struct sm_counter__candidate {
    int32_t counts; /**< SM_COUNTER_MAX_SLOTS digits fit */
    float cost;     /**< nats, of the picture alone */
};
_Static_assert(SM_COUNTER_MAX_SLOTS <= 9, "a candidate holds any number the slots can show");
struct sm_counter__node {
    size_t sighting_idx;
    double time_s;
    double expected; /**< counts by which the counter usually moves from the node before to this one; SM_NAN =
                        not known yet */
    float weight[SM_COUNTER_MAX_SLOTS]; /**< how much what is seen in a slot counts, 0..1 */
    bool has_no_sign;                   /**< known to show none: its negative candidates are out */
    int32_t n;
    struct sm_counter__candidate candidate[SM_PATH_CANDIDATES];
};
/** A path so far: nodes, and which candidate of each it runs through. */
struct sm_counter__way {
    struct sm_counter__node *node;
    uint8_t *choice;
    size_t n;
    double per_m; /**< counts a metre */
    const struct sm_counter__sighting *sightings;
    const struct sm_counter__layout *layout;
};

/* ---- path_evidence.c ---- */

/** Nodes for the sightings that show a counter, each with its own candidates and its neighbours' best. */
void sm_counter__nodes_make(struct sm_counter__way *way, size_t n_sightings);
/** Another candidate at its node, if there is room. */
void sm_counter__node_offer(struct sm_counter__way *way, size_t i, int64_t counts);
/** Costs anew by what the slots count. */
void sm_counter__costs_renew(struct sm_counter__way *way);
/** By how much no sign is likelier than one before this value, nats; 0 where there is no room for one. */
double sm_counter__no_sign_nats(const struct sm_counter__sighting *s, int64_t counts,
                                const struct sm_counter__layout *layout);
/** What a value shows in a slot: a digit, the sign, nothing. */
int32_t sm_counter__mark_of(int64_t counts, int32_t slot, const struct sm_counter__layout *layout);

/* ---- path_habits.c ---- */

static inline int64_t sm_counter__chosen(const struct sm_counter__way *way, size_t i)
{
    return way->node[i].candidate[way->choice[i]].counts;
}
/** Does a move of d counts leave the last two digits nearly as they were? */
bool sm_counter__is_alike(double d);
/** Does the path jump from node i - 1 to i? False before the first and after the last. */
bool sm_counter__is_jump_before(const struct sm_counter__way *way, size_t i);
/** How much each slot counts in each picture. */
void sm_counter__weights_learn(struct sm_counter__way *way);
/** Which pictures show no sign, whatever the path takes them for. @return whether any is new */
bool sm_counter__signs_judge(struct sm_counter__way *way);
/** The pace around each step. */
void sm_counter__pace_learn(struct sm_counter__way *way);

/* ---- path_stays.c ---- */

/** Lower the confidence of readings whose last digit stays and might be another one. */
void sm_counter__stays_doubt(struct sm_reading *readings, const struct sm_counter__way *way);

/* ---- path_bridge.c ---- */

/** The value with the low digits of counts that lies nearest to where the counter stood. modulus: 10, 100,
 * ... */
int64_t sm_counter__nearest_alike(int64_t counts, int64_t stood, int64_t modulus);
/** Where the path jumps, offer it to run on with the low digits that were seen. */
void sm_counter__bridges_offer(struct sm_counter__way *way);

#endif
