/** Every allocation of the strip and the reader fails once: told as such, nothing lost, and the next try
 * works. */
#include "sm_test.h"
#include "sm_test_alloc.h"

#include "net.h"
#include "strip.h"

#define WIDTH 60

static uint8_t luma[40][80];
static float strip[SM_STRIP_HEIGHT * WIDTH], logprob[WIDTH / 2 * SM_GLYPH_COUNT];

static int cut(void *user)
{
    (void)user;
    const struct sm_image image = {.width_px = 80, .height_px = 40, .y = luma[0], .stride_y = 80};
    const struct sm_counter__line line = {
        .left_px = 5.0, .right_px = 5.0 + WIDTH, .top_px = 10.0, .baseline_px = 30.0, .weight_y = 1.0F};
    return sm_counter__strip_make(strip, WIDTH, &image, &line, NULL);
}

static int read_strip(void *user)
{
    (void)user;
    struct sm_counter__net *net = NULL;
    enum sm_status status = sm_counter__net_new(&net, &sm_counter__trained_weights, NULL);
    if (status == SM_OK) {
        status = sm_counter__net_run(net, strip, WIDTH, logprob, NULL);
    }
    sm_counter__net_free(&net);
    return status;
}

/** A reader that could not grow once still reads later. */
static int grow_twice(void *user)
{
    struct sm_counter__net *net = user;
    enum sm_status status = sm_counter__net_run(net, strip, WIDTH, logprob, NULL);
    sm_test_alloc_fail(0);
    assert_ok(sm_counter__net_run(net, strip, WIDTH / 2, logprob, NULL), NULL);
    return status;
}

static void test_strip(void **state)
{
    (void)state;
    sm_test_alloc_all(cut, NULL);
}

static void test_reader(void **state)
{
    (void)state;
    sm_test_alloc_all(read_strip, NULL);
}

static void test_reader_outlives_a_failure(void **state)
{
    (void)state;
    struct sm_counter__net *net = NULL;
    assert_ok(sm_counter__net_new(&net, &sm_counter__trained_weights, NULL), NULL);
    sm_test_alloc_fail(3);
    assert_int_equal(grow_twice(net), SM_E_NOMEM);
    assert_int_equal(grow_twice(net), SM_OK);
    sm_counter__net_free(&net);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_strip),
        cmocka_unit_test(test_reader),
        cmocka_unit_test(test_reader_outlives_a_failure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
