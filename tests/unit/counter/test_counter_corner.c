/* One corner between two readings, told by the readings beyond them and the sizes of coded pictures. */
#include "counter_internal.h"
#include "sm_test.h"

#include <math.h>

#define FRAME_S 0.04

/** A camera that moves from start_s to end_s but for a rest; its pictures are larger while it moves. */
struct motion {
    double start_s, end_s, rest_start_s, rest_end_s;
    double moving_bytes;
};

static size_t coded(void *user, double start_s, double end_s, struct sm_coded_picture *out, size_t capacity)
{
    const struct motion *m = user;
    size_t n = 0;
    for (size_t f = (size_t)ceil(start_s / FRAME_S - 1e-6); n < capacity && (double)f * FRAME_S < end_s; f++) {
        double at_s = (double)f * FRAME_S;
        bool moves = at_s >= m->start_s && at_s < m->end_s && !(at_s >= m->rest_start_s && at_s < m->rest_end_s);
        double noise = (double)(f * 761 % 1000) / 1000;
        double bytes = (moves ? m->moving_bytes : 6000) * exp(0.8 * noise - 0.4);
        out[n++] = (struct sm_coded_picture){at_s, (uint32_t)bytes, f % 250 == 0};
    }
    return n;
}

static struct sm_reading reading(double time_s, int64_t counts)
{
    return (struct sm_reading){.time_s = time_s, .counts = counts, .state = SM_READING_READ, .confidence = 1};
}

/** From 10 s to 20 s; the camera makes 10 counts a second. */
static bool corner(struct sm_counter__span *moving, struct motion *motion, int64_t from, int64_t to,
                   struct sm_reading beyond)
{
    struct sm_counter__sizes sizes = {coded, motion};
    struct sm_reading a = reading(10, from), b = reading(20, to);
    return sm_counter__corner(moving, &sizes, &a, &b, &beyond);
}

static void test_corner__start_and_stop(void **state)
{
    (void)state;
    struct sm_counter__span moving;
    struct motion starts = {.start_s = 14, .end_s = 99, .moving_bytes = 9000};
    assert_true(corner(&moving, &starts, 100, 160, reading(30, 260)));
    assert_close(moving.start_s, 14, 1e-9);
    assert_close(moving.end_s, 20, 1e-9);
    struct motion stops = {.start_s = 0, .end_s = 17, .moving_bytes = 9000};
    assert_true(corner(&moving, &stops, 100, 170, reading(0, 0)));
    assert_close(moving.start_s, 10, 1e-9);
    assert_close(moving.end_s, 17, 1e-9);
    assert_true(corner(&moving, &stops, 100, 30, reading(0, 200))); /* running back */
}

static void test_corner__a_rest_on_the_way_is_noticed(void **state)
{
    (void)state;
    struct sm_counter__span moving;
    struct motion rests = {.start_s = 12, .end_s = 99, .rest_start_s = 14, .rest_end_s = 17, .moving_bytes = 9000};
    assert_false(corner(&moving, &rests, 100, 150, reading(30, 250)));
}

static void test_corner__sizes_that_tell_nothing(void **state)
{
    (void)state;
    struct sm_counter__span moving;
    struct motion alike = {.start_s = 14, .end_s = 99, .moving_bytes = 6200};
    assert_false(corner(&moving, &alike, 100, 160, reading(30, 260)));
    struct motion smaller = {.start_s = 14, .end_s = 99, .moving_bytes = 4000};
    assert_false(corner(&moving, &smaller, 100, 160, reading(30, 260)));
    struct sm_counter__sizes none = {0};
    struct sm_reading a = reading(10, 100), b = reading(20, 160), beyond = reading(30, 260);
    assert_false(sm_counter__corner(&moving, &none, &a, &b, &beyond));
}

static void test_corner__motion_that_cannot_be(void **state)
{
    (void)state;
    struct sm_counter__span moving;
    struct motion starts = {.start_s = 14, .end_s = 99, .moving_bytes = 9000};
    assert_false(corner(&moving, &starts, 100, 160, reading(30, 100))); /* the other way */
    assert_false(corner(&moving, &starts, 100, 260, reading(30, 360))); /* faster than beyond */
    assert_false(corner(&moving, &starts, 100, 103, reading(30, 203))); /* too near an end to tell */
}

static void test_between__stands_then_moves(void **state)
{
    (void)state;
    struct sm_reading a = reading(10, 100), b = reading(20, 160);
    struct sm_counter__span moving = {14, 20};
    assert_int_equal(sm_counter__between(&a, &b, &moving, 12), 100);
    assert_int_equal(sm_counter__between(&a, &b, &moving, 17), 130);
    assert_int_equal(sm_counter__between(&a, &b, &moving, 20), 160);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_corner__start_and_stop),
        cmocka_unit_test(test_corner__a_rest_on_the_way_is_noticed),
        cmocka_unit_test(test_corner__sizes_that_tell_nothing),
        cmocka_unit_test(test_corner__motion_that_cannot_be),
        cmocka_unit_test(test_between__stands_then_moves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
