/*
 * Where between two sightings far apart travel begins or ends, without decoding what lies between. Two things
 * that know nothing of each other must say the same:
 *
 *   the readings: standing at one end and moving at the pace seen beyond the other, there is one time at which
 *                 it must have started (stopped)
 *   the coded pictures: while the camera stands, the usual one is smaller than while it moves
 *
 * A camera that rests once more on the way, or comes back, makes them disagree.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdlib.h>

#define MOST_PICTURES 1024    /* of one stretch */
#define LEAST_PICTURES 10     /* on either side of the corner, to tell how large is usual there */
#define LEAST_SIDE_S 0.6
#define LEAST_RATIO 1.15      /* of the usual sizes; nearer ones tell nothing */
#define AGREE_S 0.4
#define LEAST_RIGHT 0.65      /* share of pictures on either side whose size says the same */

static int size_order(const void *left, const void *right)
{
    uint32_t a = *(const uint32_t *)left, b = *(const uint32_t *)right;
    return a < b ? -1 : a > b;
}

/** Median size of the pictures from first to end; 0 = too few. */
static double usual_size(const struct sm_coded_picture *picture, size_t first, size_t end)
{
    uint32_t size[MOST_PICTURES];
    size_t n = 0;
    for (size_t i = first; i < end; i++) {
        size[n++] = picture[i].size_bytes;
    }
    if (n < LEAST_PICTURES) {
        return 0;
    }
    qsort(size, n, sizeof *size, size_order);
    return fmax(1, (double)size[n / 2]);
}

/** Pictures that need others; those that decode alone are large anyway. @return how many. */
static size_t leave_out_keys(struct sm_coded_picture *picture, size_t n)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (!picture[i].is_key) {
            picture[kept++] = picture[i];
        }
    }
    return kept;
}

/** Do the sizes change from one side's to the other's at corner (the first picture behind it)? */
static bool change_at(const struct sm_coded_picture *picture, size_t n, size_t corner, bool moves_after)
{
    double before = usual_size(picture, 0, corner), after = usual_size(picture, corner, n);
    double small = moves_after ? before : after, large = moves_after ? after : before;
    if (before <= 0 || after <= 0 || large < LEAST_RATIO * small) {
        return false;
    }
    double limit = sqrt(small * large);
    int64_t score = 0, best = INT64_MIN;
    size_t best_idx = 0, n_right[2] = {0, 0};
    for (size_t i = 0; i <= n; i++) {
        if (score > best) {
            best = score;
            best_idx = i;
        }
        if (i < n) {
            bool is_like_before = ((double)picture[i].size_bytes < limit) == moves_after;
            score += is_like_before ? 1 : -1;
            n_right[i >= corner] += is_like_before == (i < corner);
        }
    }
    double best_s = picture[best_idx < n ? best_idx : n - 1].time_s;
    return fabs(best_s - picture[corner].time_s) <= AGREE_S &&
           (double)n_right[0] >= LEAST_RIGHT * (double)corner &&
           (double)n_right[1] >= LEAST_RIGHT * (double)(n - corner);
}

static bool sizes_agree(const struct sm_counter__sizes *sizes, double start_s, double end_s, double corner_s,
                        bool moves_after)
{
    struct sm_coded_picture picture[MOST_PICTURES];
    size_t n = leave_out_keys(picture, sizes->get(sizes->user, start_s, end_s, picture, MOST_PICTURES));
    size_t corner = 0;
    while (corner < n && picture[corner].time_s < corner_s) {
        corner++;
    }
    return corner < n && change_at(picture, n, corner, moves_after);
}

bool sm_counter__corner(struct sm_counter__span *moving, const struct sm_counter__sizes *sizes, const struct sm_reading *a,
                        const struct sm_reading *b, const struct sm_reading *beyond)
{
    bool moves_after = beyond->time_s > b->time_s;
    const struct sm_reading *near = moves_after ? b : a;
    double pace = (double)(beyond->counts - near->counts) / (beyond->time_s - near->time_s);
    double moved = (double)(b->counts - a->counts);
    if (!sizes->get || pace * moved <= 0) {
        return false;
    }
    double travel_s = moved / pace;
    double at_s = moves_after ? b->time_s - travel_s : a->time_s + travel_s;
    if (at_s < a->time_s + LEAST_SIDE_S || at_s > b->time_s - LEAST_SIDE_S ||
        !sizes_agree(sizes, a->time_s, b->time_s, at_s, moves_after)) {
        return false;
    }
    *moving = moves_after ? (struct sm_counter__span){at_s, b->time_s} : (struct sm_counter__span){a->time_s, at_s};
    return true;
}

int64_t sm_counter__between(const struct sm_reading *a, const struct sm_reading *b,
                            const struct sm_counter__span *moving, double time_s)
{
    double share = fmin(1, fmax(0, (time_s - moving->start_s) / (moving->end_s - moving->start_s)));
    return a->counts + llround((double)(b->counts - a->counts) * share);
}
