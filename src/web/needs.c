/*
 * What needs a decision, most consequential first. A doubt weighs as much as what hangs on it: a place that may be
 * metres off under a liner comes before an odd word beside a connection. Weights: common practice, no source.
 */
#include "web_internal.h"

#include <stdlib.h>
#include <string.h>

#define UNREPAIRED_WEIGHT 70.0
#define METRES_WEIGHT 10.0 /* a metre of disagreement ... */
#define METRES_LIMIT 30.0  /* ... up to this */
#define NEAR_S 0.05

struct doubt {
    enum sm_flag flag;
    double weight;
    const char *title, *text;
};
static const struct doubt doubts[] = {
    {SM_FLAG_NO_DISTANCE, 100, "No place", "Neither the picture nor the log says where it is. Find it in the footage and move it there."},
    {SM_FLAG_BEYOND_SEGMENT, 90, "Outside the pipe", "Its distance lies outside the pipe: a wrong distance, a wrong length, or another zero."},
    {SM_FLAG_UNKNOWN_CODE, 75, "Unknown code", "No code table has this code. Give the code that is meant, or say what is to be done."},
    {SM_FLAG_OPEN_CONTINUOUS, 65, "No end logged", "It starts and never ends in the log. Find its end in the footage and stretch it to there."},
    {SM_FLAG_LOG_DISAGREES, 60, "Log and picture differ", "The logged distance is not what the counter shows. One of the two is wrong."},
    {SM_FLAG_UNSURE, 55, "Reading unsure", "The counter could not be read with confidence here. Look, and correct it if need be."},
    {SM_FLAG_COUNTER_UNREAD, 50, "Counter not seen", "The counter was not seen on this frame; the place follows from what is around it."},
    {SM_FLAG_COUNTER_JUMP, 45, "Counter was set", "The counter was set to another value on the way here. The place rests on how the stretches were joined."},
    {SM_FLAG_CLOCK_DOUBTFUL, 40, "Time unsure", "The log's clock could not be brought to the video, so its times were not used."},
    {SM_FLAG_TIME_OUTSIDE_VIDEO, 35, "Not in the video", "It was logged before the video starts or after it ends."},
    {SM_FLAG_ROW_ODD, 25, "Odd row", "Something in its log row could not be used."},
};
enum { N_DOUBTS = sizeof doubts / sizeof *doubts };

static const struct doubt *doubt_of(uint32_t flag)
{
    for (size_t i = 0; i < N_DOUBTS; i++) {
        if ((uint32_t)doubts[i].flag == flag) {
            return &doubts[i];
        }
    }
    return NULL;
}

bool sm_web__is_settled(const struct sm_job_review *review, const struct sm_observation *observation)
{
    const struct sm_review_decision *decision;
    const bool *is_active;
    size_t n = sm_job_review_decisions(review, &decision, &is_active);
    for (size_t i = 0; i < n; i++) {
        bool is_its = decision[i].observation && strcmp(decision[i].observation, observation->id) == 0;
        bool is_its_reading = decision[i].act == SM_REVIEW_READING &&
                              fabs(decision[i].time_s - observation->time_s) < NEAR_S;
        if (is_active[i] && (is_its || is_its_reading)) {
            return true;
        }
    }
    return false;
}

static double stake_of(const struct sm_observation *observation)
{
    static const double stakes[] = {0.2, 1.0, 1.0, 0.6, 0.8}; /* none line prepare refer clear */
    return observation->is_node ? 0.5 : stakes[observation->treatment];
}

static double difference_m(const struct sm_observation *observation)
{
    double logged_m = observation->logged_m;
    double other_m = observation->distance_m;
    return isfinite(logged_m) && isfinite(other_m) ? fabs(logged_m - other_m) : 0;
}

static bool weigh(struct sm_web__need *need, const struct sm_observation *observation)
{
    for (size_t i = 0; i < N_DOUBTS; i++) {
        if (observation->flags & (uint32_t)doubts[i].flag) {
            double weight = doubts[i].weight;
            if (doubts[i].flag == SM_FLAG_LOG_DISAGREES) {
                weight += fmin(METRES_LIMIT, METRES_WEIGHT * difference_m(observation));
            }
            if (weight > need->weight) {
                need->weight = weight;
                need->flag = (uint32_t)doubts[i].flag;
            }
        }
    }
    need->weight *= stake_of(observation);
    return need->weight > 0;
}

static bool is_unrepaired(const struct sm_plan *plan, size_t observation_idx)
{
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        if ((size_t)plan->unrepaired[i].observation_idx == observation_idx) {
            return true;
        }
    }
    return false;
}

static int compare(const void *left, const void *right)
{
    const struct sm_web__need *a = left;
    const struct sm_web__need *b = right;
    if (a->weight != b->weight) {
        return a->weight > b->weight ? -1 : 1;
    }
    return (a->observation_idx > b->observation_idx) - (a->observation_idx < b->observation_idx);
}

size_t sm_web__needs(struct sm_web__need *need, const struct sm_job_review *review)
{
    const struct sm_schedule *schedule = sm_job_get_schedule(sm_job_review_get_job(review));
    size_t n = 0;
    for (size_t i = 0; i < schedule->alignment->n_observations; i++) {
        const struct sm_observation *observation = &schedule->alignment->observation[i];
        struct sm_web__need one = {.observation_idx = i};
        bool is_left = is_unrepaired(schedule->plan, i) && observation->treatment != SM_TREATMENT_REFER;
        bool is_doubtful = weigh(&one, observation);
        if (is_left && one.weight < UNREPAIRED_WEIGHT) {
            one.flag = 0;
            one.weight = UNREPAIRED_WEIGHT;
        }
        if ((is_left || is_doubtful) && !sm_web__is_settled(review, observation)) {
            need[n++] = one;
        }
    }
    if (n) {
        qsort(need, n, sizeof *need, compare);
    }
    return n;
}

void sm_web__need_words(struct sm_text *title, struct sm_text *text, const struct sm_web__need *need,
                        const struct sm_schedule *schedule)
{
    const struct doubt *doubt = doubt_of(need->flag);
    sm_text_add(title, doubt ? doubt->title : "Cannot be repaired");
    if (doubt) {
        sm_text_add(text, doubt->text);
        return;
    }
    for (size_t i = 0; i < schedule->plan->n_unrepaired; i++) {
        if ((size_t)schedule->plan->unrepaired[i].observation_idx == need->observation_idx) {
            sm_text_add(text, schedule->plan->unrepaired[i].reason);
        }
    }
}
