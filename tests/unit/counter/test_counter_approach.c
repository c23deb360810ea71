/*
 * Looking sparsely against the truth, on made-up surveys without pictures: legs of travel, standstills, short
 * ways back, a counter set anew, stretches without a counter, displays that move on in steps. Wherever
 * pictures that decode alone stand, the trace must be the truth to one last digit, and looking must not cost
 * much more than it has to.
 */
#include "counter_samples.h"

#include <math.h>
#include <stdlib.h>

#define RATE_HZ 25.0
#define FRAME_S (1 / RATE_HZ)
#define MOST_FRAMES (15 * 60 * 25)
#define MINUTE_FRAMES (60 * 25)

/** A made-up survey: what each frame shows. */
struct survey {
    size_t n_frames;
    int64_t counts[MOST_FRAMES];
    bool is_hidden[MOST_FRAMES];
    bool has_sizes; /**< of coded pictures */
    int64_t key_frames; /**< every so many frames one decodes alone */
    double p;           /**< of each right digit */
    struct sm_test_random random;
    struct sm_counter__layout layout;
    size_t n_decoded, n_sighted;
};

/* ---- making
 * ------------------------------------------------------------------------------------------------ */

struct motion {
    double speed_m_s, wander; /**< share by which the speed changes every few seconds */
    double update_s;          /**< interval of the display */
    double reversals;
};

static void survey_add(struct survey *s, double place_m, double per_m)
{
    if (s->n_frames < MOST_FRAMES) {
        s->counts[s->n_frames++] = llround(place_m * per_m);
    }
}

/** Travel to a place with a ramp at both ends. */
static double travel(struct survey *s, const struct motion *m, double from_m, double to_m, double per_m)
{
    double place_m = from_m, speed = 0, wanted = m->speed_m_s;
    double sign = to_m > from_m ? 1 : -1;
    while (sign * (to_m - place_m) > 1e-3 && s->n_frames < MOST_FRAMES) {
        if (sm_test_int(&s->random, 0, 75) == 0) {
            wanted = m->speed_m_s * (1 + m->wander * sm_test_uniform(&s->random, -1, 1));
        }
        double brake = sqrt(2 * 0.25 * fabs(to_m - place_m)) + 1e-3;
        speed = fmin(fmin(speed + 0.25 * FRAME_S, fmax(wanted, speed - 0.25 * FRAME_S)), brake);
        place_m += sign * fmin(speed * FRAME_S, fabs(to_m - place_m));
        survey_add(s, place_m, per_m);
    }
    return to_m;
}

static void stand(struct survey *s, double place_m, double for_s, double per_m)
{
    for (int64_t n = llround(for_s * RATE_HZ); n > 0; n--) {
        survey_add(s, place_m, per_m);
    }
}

/** The display shows what was true at its last update. */
static void hold_display(struct survey *s, double update_s)
{
    size_t hold = (size_t)llround(update_s * RATE_HZ);
    for (size_t i = 0; hold > 1 && i < s->n_frames; i++) {
        s->counts[i] = s->counts[i - i % hold];
    }
}

static struct survey *survey_make(uint64_t seed, size_t n_frames, const struct motion *motion,
                                  int32_t decimals)
{
    struct survey *s = sm_calloc(1, sizeof *s);
    assert_non_null(s);
    s->random = sm_test_seed(seed);
    s->layout = sample_layout(decimals + 3, decimals, 0, SM_UNIT_M);
    s->p = 0.98;
    double per_m = pow(10, decimals), place_m = 0;
    while (s->n_frames < n_frames) {
        double to_m = place_m + motion->speed_m_s * sm_test_uniform(&s->random, 30, 60);
        if (sm_test_uniform(&s->random, 0, 1) < motion->reversals) {
            double past_m = to_m + sm_test_uniform(&s->random, 0.1, 0.4);
            place_m = travel(s, motion, place_m, past_m, per_m);
            stand(s, place_m, sm_test_uniform(&s->random, 0.3, 2), per_m);
        }
        place_m = travel(s, motion, place_m, to_m, per_m);
        stand(s, place_m, sm_test_uniform(&s->random, 5, 20), per_m);
    }
    s->n_frames = n_frames;
    hold_display(s, motion->update_s);
    return s;
}

/* ---- looking
 * ----------------------------------------------------------------------------------------------- */

static enum sm_status see(struct survey *s, size_t frame, double time_s, struct sm_counter__sightings *seen)
{
    struct sm_counter__sighting sighting = s->is_hidden[frame]
                                               ? sample_hidden(&s->layout, time_s)
                                               : sample_sighting(&s->layout, time_s, s->counts[frame], s->p);
    s->n_sighted++;
    return sm_counter__sightings_add(seen, &sighting);
}

static size_t frame_at(const struct survey *s, double time_s)
{
    double frame = floor(time_s * RATE_HZ + 0.02);
    return frame < 0 ? 0 : frame >= (double)s->n_frames ? s->n_frames - 1 : (size_t)frame;
}

/** Frames that must be decoded to see this one, counted from its key. */
static size_t depth(const struct survey *s, size_t frame)
{
    return frame % (size_t)s->key_frames + 1;
}

static enum sm_status fulfil_cheap(struct survey *s, struct sm_counter__look *look,
                                   struct sm_counter__sightings *seen)
{
    double due_s = look->start_s;
    enum sm_status status = SM_OK;
    for (size_t f = 0; status == SM_OK && f < s->n_frames; f += (size_t)s->key_frames) {
        double time_s = (double)f * FRAME_S;
        if (time_s < due_s - 0.5 * FRAME_S || time_s < look->start_s || time_s > look->end_s) {
            continue;
        }
        status = see(s, f, time_s, seen);
        s->n_decoded++;
        look->has_seen = true;
        due_s = look->kind == SM_LOOK_MIDDLE
                    ? 1e9
                    : due_s + look->step_s * ceil((time_s + 1e-3 - due_s) / look->step_s);
    }
    return status;
}

static enum sm_status fulfil_on(struct survey *s, struct sm_counter__look *look,
                                struct sm_counter__sightings *seen)
{
    struct sm_counter__rest rest = {0};
    size_t first = (size_t)ceil(look->start_s * RATE_HZ - 1e-6);
    size_t step = look->kind == SM_LOOK_ALL ? 1 : (size_t)fmax(1, round(look->step_s * RATE_HZ));
    enum sm_status status = SM_OK;
    s->n_decoded += depth(s, first) - 1;
    for (size_t f = first; status == SM_OK && f < s->n_frames && (double)f * FRAME_S <= look->end_s;
         f += step) {
        s->n_decoded += step;
        status = see(s, f, (double)f * FRAME_S, seen);
        look->has_seen = true;
        if (look->kind == SM_LOOK_THROUGH && status == SM_OK &&
            sm_counter__rest_follows(&rest, look, &seen->item[seen->n - 1], &s->layout)) {
            break;
        }
    }
    return status;
}

static enum sm_status look(void *user, struct sm_counter__look *looks, size_t n,
                           struct sm_counter__sightings *seen, struct sm_error *err)
{
    (void)err;
    struct survey *s = user;
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        struct sm_counter__look *l = &looks[i];
        assert_true(l->start_s <= l->end_s || l->kind == SM_LOOK_AT);
        if (l->kind == SM_LOOK_AT) {
            size_t frame = frame_at(s, l->start_s);
            s->n_decoded += depth(s, frame);
            status = see(s, frame, l->start_s, seen);
        } else {
            bool is_cheap = l->kind == SM_LOOK_SAMPLE || l->kind == SM_LOOK_MIDDLE;
            status = is_cheap ? fulfil_cheap(s, l, seen) : fulfil_on(s, l, seen);
        }
    }
    return status;
}

/** While it moves a picture takes half as much again, more or less; one that decodes alone, a lot. */
static size_t coded(void *user, double start_s, double end_s, struct sm_coded_picture *out, size_t capacity)
{
    const struct survey *s = user;
    size_t n = 0;
    for (size_t f = frame_at(s, start_s); f < s->n_frames && n < capacity && (double)f * FRAME_S < end_s; f++) {
        bool is_key = f % (size_t)s->key_frames == 0;
        bool moves = s->counts[f < 5 ? 0 : f - 5] != s->counts[f + 5 < s->n_frames ? f + 5 : f];
        double noise = (double)(f * 2654435761U % 1000) / 1000; /* the same for a frame whenever it is asked for */
        double size = (moves ? 9000 : 6000) * exp(0.8 * noise - 0.4);
        out[n++] = (struct sm_coded_picture){(double)f * FRAME_S, is_key ? 60000 : (uint32_t)size, is_key};
    }
    return n;
}

/* ---- judging
 * ----------------------------------------------------------------------------------------------- */

struct outcome {
    double right;   /**< share of visible frames within one last digit */
    double decoded; /**< frames decoded, as a share of all */
    double sighted;
    size_t n_jumps;
};

/** Reading of the trace at a frame: the line between the sightings around it. */
static double value_at(const struct sm_counter__watch *watch, double time_s, size_t *hint)
{
    while (*hint + 1 < watch->seen.n && watch->reading[*hint + 1].time_s <= time_s) {
        (*hint)++;
    }
    const struct sm_reading *a = &watch->reading[*hint];
    const struct sm_reading *b = *hint + 1 < watch->seen.n ? a + 1 : a;
    if (a->state != SM_READING_READ || b->state != SM_READING_READ || b == a) {
        return (double)(a->state == SM_READING_READ ? a : b)->counts;
    }
    return (double)sm_counter__between(a, b, &watch->moving[*hint], time_s);
}

static struct outcome judge(const struct survey *s, const struct sm_counter__watch *watch)
{
    size_t n = 0, n_right = 0, hint = 0;
    for (size_t f = 0; f < s->n_frames; f++) {
        if (!s->is_hidden[f]) {
            int64_t value = llround(value_at(watch, (double)f * FRAME_S, &hint));
            n++;
            n_right += llabs(value - s->counts[f]) <= 1;
        }
    }
    double all = (double)s->n_frames;
    return (struct outcome){(double)n_right / (double)n, (double)s->n_decoded / all,
                            (double)s->n_sighted / all, watch->n_jumps};
}

static struct outcome approach(struct survey *s, int64_t key_frames, const double *at_s, size_t n_at)
{
    struct sm_error err = {0};
    struct sm_counter__watch watch = {.layout = &s->layout,
                                      .end_s = (double)s->n_frames * FRAME_S - 0.5 * FRAME_S,
                                      .key_interval_s = key_frames == 1 ? 0 : (double)key_frames * FRAME_S,
                                      .frame_s = FRAME_S,
                                      .sizes = {s->has_sizes ? coded : NULL, s}};
    s->key_frames = key_frames;
    s->n_decoded = s->n_sighted = 0;
    assert_ok(sm_counter__approach(&watch, at_s, n_at, look, s, &err), &err);
    struct outcome outcome = judge(s, &watch);
    print_message("keys %4d: right %.4f, decoded %.3f, read %.4f, %s%s\n", (int)key_frames, outcome.right,
                  outcome.decoded, outcome.sighted, watch.is_steady ? "steady" : "wandering",
                  watch.is_stepping ? ", in steps" : "");
    for (size_t i = 0; i < n_at; i++) {
        size_t k = 0;
        while (k < watch.seen.n && watch.reading[k].time_s != at_s[i]) {
            k++;
        }
        assert_true(k < watch.seen.n);
        assert_int_equal(watch.reading[k].counts, s->counts[frame_at(s, at_s[i])]);
    }
    sm_counter__watch_release(&watch);
    return outcome;
}

/* ---- tests
 * ------------------------------------------------------------------------------------------------- */

static const int64_t spacings[] = {1, 12, 50, 250};
#define N_SPACINGS (sizeof spacings / sizeof *spacings)

static void test_approach__steady_travel_costs_little(void **state)
{
    (void)state;
    /* Key pictures ten seconds apart leave a corner unseen now and then that lies on a line by chance. */
    static const double most_decoded[N_SPACINGS] = {0.07, 0.09, 0.18, 0.75};
    static const double least_right[N_SPACINGS] = {0.99, 0.99, 0.99, 0.985};
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02, .reversals = 0.15};
    for (uint64_t seed = 1; seed <= 2; seed++) {
        struct survey *s = survey_make(seed, 10 * MINUTE_FRAMES, &motion, 2);
        double at_s[] = {11.0, 100.02, 444.4, 599.9};
        for (size_t k = 0; k < N_SPACINGS; k++) {
            struct outcome outcome = approach(s, spacings[k], at_s, 4);
            assert_true(outcome.right >= least_right[k]);
            assert_true(outcome.decoded <= most_decoded[k]);
            assert_true(outcome.sighted <= 0.18);
            assert_int_equal(outcome.n_jumps, 0);
        }
        sm_free(s);
    }
}

/** Where sizes tell travel from standstill, some corners between key pictures far apart need no decoding. */
static void test_approach__sizes_place_corners(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02, .reversals = 0.15};
    double decoded = 0, decoded_without = 0;
    for (uint64_t seed = 2; seed <= 3; seed++) {
        struct survey *s = survey_make(seed, 5 * MINUTE_FRAMES, &motion, 2);
        decoded_without += approach(s, 250, NULL, 0).decoded;
        s->has_sizes = true;
        struct outcome outcome = approach(s, 250, NULL, 0);
        decoded += outcome.decoded;
        assert_true(outcome.right >= 0.985);
        sm_free(s);
    }
    assert_true(decoded < 0.97 * decoded_without);
}

static void test_approach__wandering_speed_is_followed(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.12, .wander = 0.5, .reversals = 0.3};
    struct survey *s = survey_make(7, 4 * MINUTE_FRAMES, &motion, 2);
    for (size_t k = 0; k < N_SPACINGS; k++) {
        assert_true(approach(s, spacings[k], NULL, 0).right >= 0.98);
    }
    sm_free(s);
}

static void test_approach__display_in_steps(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02, .update_s = 0.4};
    struct survey *s = survey_make(9, MINUTE_FRAMES, &motion, 2);
    for (size_t k = 0; k < N_SPACINGS; k++) {
        assert_true(approach(s, spacings[k], NULL, 0).right >= 0.99);
    }
    sm_free(s);
}

static void test_approach__set_anew(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02};
    struct survey *s = survey_make(4, 5 * MINUTE_FRAMES, &motion, 2);
    int64_t set_to = s->counts[6011];
    for (size_t f = 6011; f < s->n_frames; f++) {
        s->counts[f] -= set_to;
    }
    for (size_t k = 0; k < N_SPACINGS; k++) {
        struct outcome outcome = approach(s, spacings[k], NULL, 0);
        assert_true(outcome.right >= 0.99);
        assert_int_equal(outcome.n_jumps, 1);
    }
    sm_free(s);
}

static void test_approach__overlay_missing_for_a_while(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02};
    struct survey *s = survey_make(5, 7 * MINUTE_FRAMES, &motion, 2);
    for (size_t f = 0; f < s->n_frames; f++) {
        s->is_hidden[f] = f < 700 || (f > 4000 && f < 4170) || (f > 9000 && f < 9900);
    }
    for (size_t k = 0; k < N_SPACINGS; k++) {
        struct outcome outcome = approach(s, spacings[k], NULL, 0);
        assert_true(outcome.right >= 0.99);
        assert_true(outcome.decoded <= 0.65);
    }
    sm_free(s);
}

/** Bad pictures are read as closely as they need. */
static void test_approach__doubt_draws_nearer(void **state)
{
    (void)state;
    struct motion motion = {.speed_m_s = 0.1, .wander = 0.02};
    struct survey *s = survey_make(6, 2 * MINUTE_FRAMES, &motion, 2);
    struct outcome clear = approach(s, 50, NULL, 0);
    s->p = 0.55;
    struct outcome poor = approach(s, 50, NULL, 0);
    assert_true(poor.sighted > 2 * clear.sighted);
    assert_true(poor.right >= 0.99);
    sm_free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_approach__steady_travel_costs_little),
        cmocka_unit_test(test_approach__sizes_place_corners),
        cmocka_unit_test(test_approach__wandering_speed_is_followed),
        cmocka_unit_test(test_approach__display_in_steps),
        cmocka_unit_test(test_approach__set_anew),
        cmocka_unit_test(test_approach__overlay_missing_for_a_while),
        cmocka_unit_test(test_approach__doubt_draws_nearer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
