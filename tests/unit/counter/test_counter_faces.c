/* The video's own digits: what they settle, and what they must leave to the network. */
#include "counter_samples.h"

#include <math.h>
#include <string.h>

#define WIDTH 60
#define PITCH 14.0f

/* A strip with one cell in its middle: column d of the cell and a bar of its own height tell digit d. */
static void draw(float strip[SM_STRIP_HEIGHT * WIDTH], int digit, float noise)
{
    for (int y = 0; y < SM_STRIP_HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            bool is_ink = x - 25 == digit || (y - 8 == 2 * digit && x > 25 && x < 36);
            float shade = noise * (float)((x * 7 + y * 13) % 11 - 5) / 5;
            strip[y * WIDTH + x] = (is_ink ? 2.0f : -0.3f) + shade;
        }
    }
}

static struct sm_counter__columns columns_of(const float *strip)
{
    return (struct sm_counter__columns){
        .n = WIDTH / 2, .x0_px = 1, .column_px = 2, .strip = strip, .strip_width_px = WIDTH};
}

/* Faces of all digits but 6, each shown eight times. */
static void teach(struct sm_counter__faces *faces)
{
    float strip[SM_STRIP_HEIGHT * WIDTH] = {0};
    struct sm_counter__columns columns = columns_of(strip);
    sm_counter__faces_begin(faces, PITCH);
    for (int i = 0; i < 80; i++) {
        if (i % 10 != 6) {
            draw(strip, i % 10, 0.1f * (float)(i / 10));
            sm_counter__faces_show(faces, &columns, 30, i % 10);
        }
    }
    sm_counter__faces_end(faces);
    assert_true(faces->is_ready);
}

/* The network's opinion: p for one digit, the rest shared. @return the digit thought likeliest in the end. */
static int judge(const struct sm_counter__faces *faces, int shown, int net_digit, float p, float logp[10])
{
    float strip[SM_STRIP_HEIGHT * WIDTH] = {0};
    struct sm_counter__columns columns = columns_of(strip);
    int best = 0;
    draw(strip, shown, 0.2f);
    for (int d = 0; d < 10; d++) {
        logp[d] = logf(d == net_digit ? p : (1 - p) / 9);
    }
    sm_counter__faces_judge(logp, faces, &columns, 30);
    for (int d = 1; d < 10; d++) {
        best = logp[d] > logp[best] ? d : best;
    }
    return best;
}

static void test_faces__settle_what_the_network_leaves_open(void **state)
{
    (void)state;
    static struct sm_counter__faces faces;
    float logp[10];
    teach(&faces);
    assert_int_equal(judge(&faces, 3, 8, 0.3f, logp), 3);
    assert_int_equal(judge(&faces, 3, 3, 0.5f, logp), 3);
}

/* A digit never shown is neither preferred, because nothing resembles it less, nor ruled out. */
static void test_faces__say_nothing_of_a_digit_never_shown(void **state)
{
    (void)state;
    static struct sm_counter__faces faces;
    float logp[10];
    teach(&faces);
    assert_int_equal(judge(&faces, 6, 6, 0.9f, logp), 6);
    assert_true(logp[6] > logf(0.8f));
    assert_int_equal(judge(&faces, 3, 3, 0.9f, logp), 3);
    assert_true(logp[6] < logf(0.05f));
}

/* A picture can fail its face (half of a turning digit, a torn line): a sure network is not overruled. */
static void test_faces__do_not_overrule_a_sure_network(void **state)
{
    (void)state;
    static struct sm_counter__faces faces;
    float logp[10];
    teach(&faces);
    assert_int_equal(judge(&faces, 8, 1, 0.999f, logp), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_faces__settle_what_the_network_leaves_open),
        cmocka_unit_test(test_faces__say_nothing_of_a_digit_never_shown),
        cmocka_unit_test(test_faces__do_not_overrule_a_sure_network),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
