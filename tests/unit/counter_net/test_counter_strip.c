/** Strips of pictures whose resampling is known in closed form. */
#include "sm_test.h"

#include "strip.h"

#include <math.h>
#include <string.h>

#define WIDTH 96
#define HEIGHT 48

static uint8_t luma[HEIGHT][WIDTH], blue[HEIGHT / 2][WIDTH / 2], red[HEIGHT / 2][WIDTH / 2];
static float strip[SM_STRIP_HEIGHT * SM_STRIP_MAX_WIDTH];

static struct sm_image picture(void)
{
    return (struct sm_image){.width_px = WIDTH,
                             .height_px = HEIGHT,
                             .y = luma[0],
                             .u = blue[0],
                             .v = red[0],
                             .stride_y = WIDTH,
                             .stride_u = WIDTH / 2,
                             .stride_v = WIDTH / 2,
                             .chroma_shift_x = 1,
                             .chroma_shift_y = 1};
}

static void fill(uint8_t (*level)(int x, int y))
{
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            luma[y][x] = level(x, y);
        }
    }
    memset(blue, 128, sizeof blue);
    memset(red, 128, sizeof red);
}

static int32_t make(const struct sm_counter__line *line)
{
    struct sm_error err;
    struct sm_image image = picture();
    int32_t width = sm_counter__strip_width(line);
    assert_ok(sm_counter__strip_make(strip, width, &image, line, &err), &err);
    return width;
}

static uint8_t ramp(int x, int y)
{
    (void)y;
    return (uint8_t)(20 + 2 * x);
}

static uint8_t digit_rows(int x, int y)
{
    (void)x;
    return y >= 12 && y < 32 ? 200 : 50;
}

static uint8_t even(int x, int y)
{
    (void)x;
    (void)y;
    return 90;
}

/** A ramp stays a ramp whatever the size: equal rows, equal steps from column to column. */
static void check_ramp(double digit_height)
{
    struct sm_counter__line line = {.left_px = 20.0,
                                    .right_px = 70.0,
                                    .top_px = 10.0,
                                    .baseline_px = 10.0 + digit_height,
                                    .weight_y = 1.0F};
    fill(ramp);
    int32_t width = make(&line);
    assert_int_equal(width, (int32_t)lround(50.0 * 20.0 / digit_height));
    double step = ((double)strip[width - 1] - (double)strip[0]) / (width - 1);
    assert_true(step > 0.0);
    for (int32_t y = 0; y < SM_STRIP_HEIGHT; y++) {
        for (int32_t c = 0; c < width; c++) {
            assert_close((double)strip[y * width + c], (double)strip[0] + c * step, 0.01);
        }
    }
    /* median 0, root mean square 1: the ends of n equal steps lie at sqrt(3 (n - 1) / (n + 1)); the median is
     * good to a step */
    assert_close((double)strip[width - 1], sqrt(3.0 * (width - 1) / (width + 1)), 1.1 * step);
}

static void test_ramp_of_same_size(void **state)
{
    (void)state;
    check_ramp(20.0);
}

static void test_ramp_enlarged(void **state)
{
    (void)state;
    check_ramp(8.5);
}

static void test_ramp_shrunk(void **state)
{
    (void)state;
    check_ramp(33.0);
}

static void test_digits_fill_their_rows(void **state)
{
    (void)state;
    struct sm_counter__line line = {
        .left_px = 5.0, .right_px = 85.0, .top_px = 12.0, .baseline_px = 32.0, .weight_y = 1.0F};
    fill(digit_rows);
    int32_t width = make(&line);
    float low = strip[0], high = strip[(SM_STRIP_DIGIT_TOP + 3) * width];
    assert_true(high > low + 1.0F);
    for (int32_t y = 0; y < SM_STRIP_HEIGHT; y++) {
        bool is_digit = y >= SM_STRIP_DIGIT_TOP && y < SM_STRIP_DIGIT_BASE;
        assert_close((double)strip[y * width + width / 2], (double)(is_digit ? high : low), 1e-5);
    }
}

static void test_negative_weight_turns_polarity(void **state)
{
    (void)state;
    struct sm_counter__line line = {
        .left_px = 5.0, .right_px = 85.0, .top_px = 12.0, .baseline_px = 32.0, .weight_y = -1.0F};
    fill(digit_rows);
    int32_t width = make(&line);
    assert_true(strip[(SM_STRIP_DIGIT_TOP + 3) * width] < strip[0]);
}

static void test_colour_is_seen_through_its_weight(void **state)
{
    (void)state;
    struct sm_counter__line line = {
        .left_px = 8.0, .right_px = 88.0, .top_px = 12.0, .baseline_px = 32.0, .weight_u = 1.0F};
    fill(ramp);
    for (int y = 0; y < HEIGHT / 2; y++) {
        memset(blue[y], 60, WIDTH / 4);
    }
    int32_t width = make(&line); /* 80 columns; the colour changes at picture column 48, strip column 40 */
    assert_close((double)strip[10 * width + 38], (double)strip[0], 1e-5);
    assert_close((double)strip[10 * width + 42], (double)strip[10 * width + width - 1], 1e-5);
    assert_true(strip[10 * width + 42] > strip[10 * width + 38] + 1.0F);
    line.weight_v = 1.0F;
    line.weight_u = 0.0F;
    width = make(&line);
    assert_close((double)strip[10 * width + 38], (double)strip[10 * width + 42], 1e-5);
}

static void test_even_ground_is_not_amplified(void **state)
{
    (void)state;
    struct sm_counter__line line = {
        .left_px = 0.0, .right_px = 90.0, .top_px = 12.0, .baseline_px = 32.0, .weight_y = 1.0F};
    fill(even);
    luma[20][40] = 91;
    int32_t width = make(&line);
    for (int32_t i = 0; i < width * SM_STRIP_HEIGHT; i++) {
        assert_true(fabsf(strip[i]) < 0.7F);
    }
}

static void test_line_over_the_edge_repeats_it(void **state)
{
    (void)state;
    struct sm_counter__line line = {
        .left_px = -30.0, .right_px = 20.0, .top_px = -10.0, .baseline_px = 10.0, .weight_y = 1.0F};
    fill(ramp);
    int32_t width = make(&line);
    assert_close((double)strip[0], (double)strip[25], 1e-6);
    assert_true(strip[width - 1] > strip[0]);
}

static void test_senseless_lines_are_refused(void **state)
{
    (void)state;
    const struct sm_counter__line bad[] = {
        {.left_px = 10.0, .right_px = 10.0, .top_px = 0.0, .baseline_px = 20.0, .weight_y = 1.0F},
        {.left_px = 0.0, .right_px = 50.0, .top_px = 10.0, .baseline_px = 13.0, .weight_y = 1.0F},
        {.left_px = 0.0, .right_px = (double)NAN, .top_px = 0.0, .baseline_px = 20.0, .weight_y = 1.0F},
        {.left_px = 0.0, .right_px = 90000.0, .top_px = 0.0, .baseline_px = 20.0, .weight_y = 1.0F},
        {.left_px = 0.0,
         .right_px = 50.0,
         .top_px = -(double)INFINITY,
         .baseline_px = 20.0,
         .weight_y = 1.0F},
    };
    struct sm_image image = picture();
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(sm_counter__strip_width(&bad[i]), 0);
        assert_int_equal(sm_counter__strip_make(strip, 50, &image, &bad[i], NULL), SM_E_RANGE);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ramp_of_same_size),
        cmocka_unit_test(test_ramp_enlarged),
        cmocka_unit_test(test_ramp_shrunk),
        cmocka_unit_test(test_digits_fill_their_rows),
        cmocka_unit_test(test_negative_weight_turns_polarity),
        cmocka_unit_test(test_colour_is_seen_through_its_weight),
        cmocka_unit_test(test_even_ground_is_not_amplified),
        cmocka_unit_test(test_line_over_the_edge_repeats_it),
        cmocka_unit_test(test_senseless_lines_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
