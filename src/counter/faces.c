/*
 * The video's own digits.
 *
 * Once a few pictures are read for sure, they show how the ten digits look in this very video: this face,
 * this size, this codec's damage. The mean picture of each (a face) is then compared with every cell, beside
 * the network's opinion. Thin bitmap digits that differ in a few pixels only are told apart this way.
 */
#include "counter_internal.h"

#include <math.h>
#include <string.h>

#define ROW_FIRST (SM_STRIP_DIGIT_TOP - 2)
#define N_ROWS (SM_STRIP_DIGIT_HEIGHT + 4)
#define HALF_WIDTH SM_COUNTER_FACE_HALF_WIDTH
#define N_COLUMNS (2 * HALF_WIDTH + 1)
#define LEAST_EXAMPLES 2
#define LEAST_TAUGHT 5         /* digits that must be known before faces are used at all */
#define LEAST_TOLD_APART 0.95f /* share of the cells shown that are most like their own digit's face */
#define NET_SHARE 0.8f
#define FACE_SHARE 0.8f
#define FACE_LIMIT_NATS 5.0f /* likeness alone never rules a digit out for good: a picture can fail a face */

_Static_assert(N_ROWS *N_COLUMNS == SM_COUNTER_FACE_SIZE, "a face is as large as its cell");

/** Cut the cell around x out of the strip; mean 0, length 1. @return false when it is flat or outside. */
static bool cell_cut(float cell[SM_COUNTER_FACE_SIZE], const struct sm_counter__columns *columns, float x_px,
                     float shift, int32_t half_width)
{
    float sx = (x_px - columns->x0_px) / columns->column_px * SM_NET_COLUMN_PX + 0.5f * SM_NET_COLUMN_PX -
               0.5f + shift;
    float sum = 0, n = 0;
    memset(cell, 0, SM_COUNTER_FACE_SIZE * sizeof *cell);
    if (sx - (float)half_width < 0 || sx + (float)half_width + 1 >= (float)columns->strip_width_px) {
        return false;
    }
    for (int32_t r = 0; r < N_ROWS; r++) {
        const float *row = columns->strip + (size_t)(ROW_FIRST + r) * (size_t)columns->strip_width_px;
        for (int32_t c = -half_width; c <= half_width; c++) {
            float x = sx + (float)c, whole = floorf(x);
            float share = x - whole;
            float v = row[(int32_t)whole] * (1 - share) + row[(int32_t)whole + 1] * share;
            cell[r * N_COLUMNS + c + HALF_WIDTH] = v;
            sum += v;
            n += 1;
        }
    }
    float square = 0;
    for (int32_t r = 0; r < N_ROWS; r++) {
        for (int32_t c = HALF_WIDTH - half_width; c <= HALF_WIDTH + half_width; c++) {
            cell[r * N_COLUMNS + c] -= sum / n;
            square += cell[r * N_COLUMNS + c] * cell[r * N_COLUMNS + c];
        }
    }
    if (square < 1e-3f * n) {
        return false;
    }
    float scale = 1 / sqrtf(square);
    for (int32_t i = 0; i < SM_COUNTER_FACE_SIZE; i++) {
        cell[i] *= scale;
    }
    return true;
}

static float dot(const float *a, const float *b)
{
    float sum = 0;
    for (int32_t i = 0; i < SM_COUNTER_FACE_SIZE; i++) {
        sum += a[i] * b[i];
    }
    return sum;
}

static float length_of(const float *face)
{
    return sqrtf(fmaxf(dot(face, face), 1e-12f));
}

void sm_counter__faces_begin(struct sm_counter__faces *faces, float pitch_strip_px)
{
    memset(faces, 0, sizeof *faces);
    int32_t half = (int32_t)lrintf(0.5f * pitch_strip_px + 0.5f);
    faces->half_width = half < 4 ? 4 : half > HALF_WIDTH ? HALF_WIDTH : half;
}

void sm_counter__faces_show(struct sm_counter__faces *faces, const struct sm_counter__columns *columns,
                            float x_px, int32_t digit)
{
    float cell[SM_COUNTER_FACE_SIZE];
    if (!cell_cut(cell, columns, x_px, 0, faces->half_width)) {
        return;
    }
    for (int32_t i = 0; i < SM_COUNTER_FACE_SIZE; i++) {
        faces->sum[digit][i] += cell[i];
    }
    faces->n[digit]++;
    if (faces->n_kept < SM_COUNTER_FACES_KEPT) {
        memcpy(faces->kept[faces->n_kept], cell, sizeof cell);
        faces->kept_digit[faces->n_kept++] = (uint8_t)digit;
    }
}

/** Likeness of a kept cell to every face; to its own without itself. */
static void likeness(float like[10], const struct sm_counter__faces *faces, int32_t kept_idx)
{
    const float *cell = faces->kept[kept_idx];
    for (int32_t d = 0; d < 10; d++) {
        float face[SM_COUNTER_FACE_SIZE];
        bool is_own = d == faces->kept_digit[kept_idx];
        like[d] = -2;
        if (faces->n[d] - is_own < LEAST_EXAMPLES) {
            continue;
        }
        for (int32_t i = 0; i < SM_COUNTER_FACE_SIZE; i++) {
            face[i] = faces->sum[d][i] - (is_own ? cell[i] : 0);
        }
        like[d] = dot(cell, face) / length_of(face);
    }
}

/** Mean log probability of the right digits when likeness is sharpened by kappa. */
static float fit_of(float (*like)[10], const struct sm_counter__faces *faces, float kappa)
{
    float total = 0;
    for (int32_t k = 0; k < faces->n_kept; k++) {
        float top = -2, sum = 0, own = like[k][faces->kept_digit[k]];
        if (own < -1.5f) {
            continue;
        }
        for (int32_t d = 0; d < 10; d++) {
            top = fmaxf(top, like[k][d]);
        }
        for (int32_t d = 0; d < 10; d++) {
            sum += like[k][d] > -1.5f ? expf(kappa * (like[k][d] - top)) : 0;
        }
        total += kappa * (own - top) - logf(sum);
    }
    return total;
}

/** Is the cell most like the face of its own digit? */
static bool is_told_apart(const float like[10], int32_t own_digit)
{
    for (int32_t d = 0; d < 10; d++) {
        if (d != own_digit && like[d] > like[own_digit]) {
            return false;
        }
    }
    return true;
}

void sm_counter__faces_end(struct sm_counter__faces *faces)
{
    static const float kappas[] = {3, 5, 8, 12, 16, 24, 32};
    float like[SM_COUNTER_FACES_KEPT][10];
    float best = -1e30f, own_n = 0, told_apart = 0;
    int32_t taught = 0;
    for (int32_t k = 0; k < faces->n_kept; k++) {
        likeness(like[k], faces, k);
        float own = like[k][faces->kept_digit[k]];
        if (own > -1.5f) {
            own_n++;
            told_apart += is_told_apart(like[k], faces->kept_digit[k]);
        }
    }
    for (size_t i = 0; i < sizeof kappas / sizeof *kappas; i++) {
        float fit = fit_of(like, faces, kappas[i]);
        if (fit > best) {
            best = fit;
            faces->kappa = kappas[i];
        }
    }
    for (int32_t d = 0; d < 10; d++) {
        taught += faces->n[d] >= LEAST_EXAMPLES;
        float scale = 1 / length_of(faces->sum[d]);
        for (int32_t i = 0; i < SM_COUNTER_FACE_SIZE; i++) {
            faces->sum[d][i] *= scale;
        }
    }
    faces->is_ready = taught >= LEAST_TAUGHT && own_n >= 20 && told_apart >= LEAST_TOLD_APART * own_n;
}

/** Likeness of the cell at x to every face, at the best of three places. @return false where there is no
 * cell. */
static bool likeness_at(float like[10], const struct sm_counter__faces *faces,
                        const struct sm_counter__columns *columns, float x_px)
{
    bool is_seen = false;
    for (int32_t d = 0; d < 10; d++) {
        like[d] = -1;
    }
    for (int32_t shift = -1; shift <= 1; shift++) {
        float cell[SM_COUNTER_FACE_SIZE];
        if (!cell_cut(cell, columns, x_px, (float)shift, faces->half_width)) {
            continue;
        }
        is_seen = true;
        for (int32_t d = 0; d < 10; d++) {
            if (faces->n[d] >= LEAST_EXAMPLES) {
                like[d] = fmaxf(like[d], dot(cell, faces->sum[d]));
            }
        }
    }
    return is_seen;
}

/**
 * The network says whether a digit stands there at all, and whether it is one of those that have a face;
 * which of these it is, both say together. A digit never shown must not lose to faces it could not be
 * compared with.
 */
void sm_counter__faces_judge(float logp[10], const struct sm_counter__faces *faces,
                             const struct sm_counter__columns *columns, float x_px)
{
    float like[10], mixed[10], top = -1, best = -1e30f, net_sum = 0, mixed_sum = 0;
    if (!likeness_at(like, faces, columns, x_px)) {
        return;
    }
    for (int32_t d = 0; d < 10; d++) {
        top = fmaxf(top, like[d]);
    }
    for (int32_t d = 0; d < 10; d++) {
        float face = fmaxf(faces->kappa * (like[d] - top), -FACE_LIMIT_NATS);
        mixed[d] = NET_SHARE * logp[d] + FACE_SHARE * face;
        if (faces->n[d] >= LEAST_EXAMPLES) {
            best = fmaxf(best, mixed[d]);
            net_sum += expf(logp[d]);
        }
    }
    for (int32_t d = 0; d < 10; d++) {
        mixed_sum += faces->n[d] >= LEAST_EXAMPLES ? expf(mixed[d] - best) : 0;
    }
    for (int32_t d = 0; d < 10; d++) {
        if (faces->n[d] >= LEAST_EXAMPLES) {
            logp[d] = mixed[d] - best - logf(mixed_sum) + logf(fmaxf(net_sum, 1e-12f));
        }
    }
}
