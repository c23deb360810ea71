#include "counter_samples.h"

#include <math.h>
#include <stdlib.h>

#define N 300
#define STEP_S 0.2

struct run {
    struct sm_counter__layout layout;
    struct sm_counter__sighting sighting[N];
    int64_t truth[N];
    struct sm_reading reading[N];
    double *jump_s;
    size_t n_jumps;
};

/** Travel, standstill, a little back, travel. */
static int64_t motion(int i)
{
    double m = i < 100   ? 0.02 * i
               : i < 180 ? 2.0
               : i < 190 ? 2.0 - 0.02 * (i - 180)
                         : 1.8 + 0.025 * (i - 190);
    return llround(m * 100);
}

static void run_path(struct run *run)
{
    struct sm_error err;
    assert_ok(
        sm_counter__path(run->reading, &run->jump_s, &run->n_jumps, run->sighting, N, &run->layout, &err),
        &err);
}

static struct run *run_make(double p)
{
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(6, 2, 0, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = motion(i);
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], p);
    }
    return run;
}

static void run_free(struct run *run)
{
    sm_free(run->jump_s);
    sm_free(run);
}

static void test_path__clean(void **state)
{
    (void)state;
    struct run *run = run_make(0.98);
    run_path(run);
    for (int i = 0; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
        assert_int_equal(run->reading[i].state, SM_READING_READ);
        assert_true(run->reading[i].confidence > 0.95f);
    }
    assert_int_equal(run->n_jumps, 0);
    run_free(run);
}

/** A tenth of all leading digits are seen wrong, and surely so: the laws of the counter put them right. */
static void test_path__wrong_digits_put_right(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(7);
    struct run *run = run_make(0.95);
    for (int i = 0; i < N; i++) {
        if (sm_test_int(&random, 0, 9) == 0) {
            sample_misread(&run->sighting[i], 2, (int32_t)sm_test_int(&random, 3, 9), 0.9);
        }
    }
    run_path(run);
    int wrong = 0;
    for (int i = 0; i < N; i++) {
        wrong += run->reading[i].counts != run->truth[i];
    }
    assert_int_equal(wrong, 0);
    run_free(run);
}

static void test_path__rezero_is_a_jump(void **state)
{
    (void)state;
    struct run *run = run_make(0.97);
    for (int i = 150; i < N; i++) {
        run->truth[i] = (i - 150) * 2;
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.97);
    }
    run_path(run);
    assert_int_equal(run->n_jumps, 1);
    assert_close(run->jump_s[0], 149.5 * STEP_S, 1e-9);
    assert_int_equal(run->reading[149].counts, run->truth[149]);
    assert_int_equal(run->reading[150].counts, 0);
    run_free(run);
}

static void test_path__hidden_pictures_are_never_read(void **state)
{
    (void)state;
    struct run *run = run_make(0.97);
    for (int i = 120; i < 170; i++) {
        run->sighting[i] = sample_hidden(&run->layout, i * STEP_S);
    }
    for (int i = 0; i < 10; i++) {
        run->sighting[i] = sample_hidden(&run->layout, i * STEP_S);
    }
    run_path(run);
    sm_counter__carry(run->reading, N, run->jump_s, run->n_jumps);
    for (int i = 0; i < N; i++) {
        bool hidden = i < 10 || (i >= 120 && i < 170);
        assert_int_equal(run->reading[i].state == SM_READING_READ, !hidden);
        assert_int_equal(run->reading[i].state == SM_READING_CARRIED, i >= 120 && i < 170);
    }
    assert_int_equal(run->reading[150].counts, 200); /* it stood all the while, or so it seems */
    assert_true(run->reading[150].confidence < 0.9f);
    run_free(run);
}

static void test_path__negative_start(void **state)
{
    (void)state;
    struct run *run = run_make(0.97);
    for (int i = 0; i < N; i++) {
        run->truth[i] = i - 60;
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.95);
    }
    run_path(run);
    for (int i = 0; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/**
 * A leading digit that looks like another one for a long while, in every picture: it is one misreading, and
 * does not buy two jumps of the counter.
 */
static void test_path__a_standing_misreading_is_no_jump(void **state)
{
    (void)state;
    struct run *run = run_make(0.95);
    for (int i = 100; i < 200; i++) {
        sample_misread(&run->sighting[i], 3, 4, 0.8);
    }
    run_path(run);
    assert_int_equal(run->n_jumps, 0);
    for (int i = 0; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/** The wall behind a digit that stays makes it look like another one at the start and at the end: what is
 * seen in between has its say. */
static void test_path__a_digit_that_stays_is_judged_by_all_pictures(void **state)
{
    (void)state;
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(6, 2, 5, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = motion(i);
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.95);
        if (i < N / 6 || i >= N - N / 6) {
            sample_misread(&run->sighting[i], 4, 8, 0.95);
        }
    }
    run_path(run);
    assert_int_equal(run->n_jumps, 0);
    for (int i = 0; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/** The leading digit cannot be seen for a while (white wall behind it): the number does not lose it, neither
 * there nor before and after. */
static void test_path__a_leading_digit_lost_for_a_while_stays(void **state)
{
    (void)state;
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(6, 2, 0, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = 2000 + motion(i);
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.95);
        if (i >= 150 && i < 175) {
            sample_misread(&run->sighting[i], 3, SM_COUNTER_NO_DIGIT, 0.97);
        }
    }
    run_path(run);
    assert_int_equal(run->n_jumps, 0);
    for (int i = 0; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/** A mark before the number that often looks like a minus, the equals sign of "L=" in few pixels, is no sign.
 */
static void test_path__a_doubtful_sign_does_not_turn_the_run_round(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(11);
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(4, 1, 0, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = i / 4;
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.97);
        int32_t slot = run->truth[i] < 100 ? 2 : 3;
        double p = 0.3 + 0.06 * (double)sm_test_int(&random, 0, 8);
        run->sighting[i].cost[0][slot][SM_COUNTER_MINUS] = (uint8_t)lrint(-16 * log(p));
        run->sighting[i].cost[0][slot][SM_COUNTER_NO_DIGIT] = (uint8_t)lrint(-16 * log(1 - p));
    }
    run_path(run);
    assert_int_equal(run->n_jumps, 0);
    for (int i = 4; i < N; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/** The same while the camera runs back: counting up below zero explains the moves as well, but a counter does
 * not jump to the mirror image of where it stood. */
static void test_path__running_back_is_not_counting_up_below_zero(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(13);
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(5, 2, 0, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = i < 100 ? 100 + 2 * i : i < 180 ? 300 - 2 * (i - 100) : 140 + 2 * (i - 180);
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.97);
        double p = i < 100 || i >= 180 ? 0.1 : 0.2 + 0.07 * (double)sm_test_int(&random, 0, 8);
        run->sighting[i].cost[0][3][SM_COUNTER_MINUS] = (uint8_t)lrint(-16 * log(p));
        run->sighting[i].cost[0][3][SM_COUNTER_NO_DIGIT] = (uint8_t)lrint(-16 * log(1 - p));
    }
    run_path(run);
    for (int i = 0; i < N; i++) {
        assert_in_range(run->reading[i].counts, run->truth[i] - 2, run->truth[i] + 2);
    }
    run_free(run);
}

/** A sign taken for a digit in one picture while the counter moves: the digits that were seen go on counting.
 */
static void test_path__one_wrong_leading_digit_leaves_the_others(void **state)
{
    (void)state;
    struct run *run = sm_calloc(1, sizeof *run);
    assert_non_null(run);
    run->layout = sample_layout(7, 2, 0, SM_UNIT_M);
    for (int i = 0; i < N; i++) {
        run->truth[i] = motion(i);
        run->sighting[i] = sample_sighting(&run->layout, i * STEP_S, run->truth[i], 0.999);
    }
    /* All the likeliest numbers of this picture begin with one digit or other. */
    sample_misread(&run->sighting[62], 3, 4, 0.97);
    sample_misread(&run->sighting[62], 0, (int32_t)(run->truth[62] % 10), 0.95);
    run->sighting[62].cost[0][3][SM_COUNTER_NO_DIGIT] = 150;
    run->sighting[62].cost[0][4][SM_COUNTER_MINUS] = 40;
    run_path(run);
    assert_int_equal(run->n_jumps, 0);
    for (int i = 60; i < 65; i++) {
        assert_int_equal(run->reading[i].counts, run->truth[i]);
    }
    run_free(run);
}

/** Where the picture is wiped to even odds, the confidence must say so. */
static void test_path__doubt_lowers_confidence(void **state)
{
    (void)state;
    struct run *run = run_make(0.95);
    for (int32_t slot = 0; slot < 2; slot++) {
        sample_misread(&run->sighting[250], slot, 0, 0.1);
    }
    run_path(run);
    assert_true(run->reading[250].confidence < 0.8f);
    assert_true(run->reading[240].confidence > 0.9f);
    run_free(run);
}

/** A last digit that looks a little more like an 8 than the 3 it is, alike in all pictures of a standstill,
 * is not seen 80 times over; the same doubt in one picture of a moving counter is settled by those beside it.
 */
static void test_path__a_standing_last_digit_is_no_surer_for_standing(void **state)
{
    (void)state;
    struct run *run = run_make(0.98);
    for (int i = 100; i < 180; i++) {
        run->sighting[i].cost[0][0][8] = (uint8_t)(SM_COUNTER_COST_SCALE / 5);
        run->sighting[i].cost[0][0][0] = (uint8_t)(6 * SM_COUNTER_COST_SCALE / 5);
    }
    run->sighting[40].cost[0][0][(run->truth[40] + 2) % 10] =
        run->sighting[40].cost[0][0][run->truth[40] % 10];
    run_path(run);
    for (int i = 110; i < 170; i++) {
        assert_true(run->reading[i].counts == run->truth[i] || run->reading[i].confidence < 0.9f);
    }
    assert_int_equal(run->reading[40].counts, run->truth[40]);
    assert_true(run->reading[40].confidence > 0.9f);
    run_free(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_path__clean),
        cmocka_unit_test(test_path__wrong_digits_put_right),
        cmocka_unit_test(test_path__rezero_is_a_jump),
        cmocka_unit_test(test_path__hidden_pictures_are_never_read),
        cmocka_unit_test(test_path__negative_start),
        cmocka_unit_test(test_path__a_standing_misreading_is_no_jump),
        cmocka_unit_test(test_path__a_digit_that_stays_is_judged_by_all_pictures),
        cmocka_unit_test(test_path__a_leading_digit_lost_for_a_while_stays),
        cmocka_unit_test(test_path__a_doubtful_sign_does_not_turn_the_run_round),
        cmocka_unit_test(test_path__running_back_is_not_counting_up_below_zero),
        cmocka_unit_test(test_path__one_wrong_leading_digit_leaves_the_others),
        cmocka_unit_test(test_path__doubt_lowers_confidence),
        cmocka_unit_test(test_path__a_standing_last_digit_is_no_surer_for_standing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
