/* The trace as a picture: what must stand in it, and that nothing a recording can hold breaks it. */
#include "sm_test.h"
#include "sm_test_alloc.h"

#include <string.h>

#include "stopmark/schedule.h"

enum { N_READINGS = 200 };

/* Up for 40 s, stands 20 s, back 20 s, hidden 20 s, set anew, up. */
static void fill(struct sm_reading *reading)
{
    for (int i = 0; i < N_READINGS; i++) {
        int64_t counts = i < 80 ? 5 * i : i < 120 ? 400 : i < 160 ? 400 - 3 * (i - 120) : 10 + i - 160;
        bool is_hidden = i >= 130 && i < 170;
        reading[i] = (struct sm_reading){0.5 * i, counts, i < 20 ? 0.5F : 0.99F,
                                         is_hidden ? SM_READING_HIDDEN : SM_READING_READ};
    }
}

static struct sm_trace trace_of(struct sm_reading *reading, double *jump_s)
{
    *jump_s = 80;
    return (struct sm_trace){.format = {.unit = SM_UNIT_M, .decimals = 2},
                             .n_readings = N_READINGS,
                             .reading = reading,
                             .duration_s = 100,
                             .n_jumps = 1,
                             .jump_time_s = jump_s};
}

static void test_svg__shows_what_the_camera_did(void **state)
{
    (void)state;
    struct sm_reading reading[N_READINGS];
    double jump_s;
    struct sm_text out = {0}, again = {0};
    struct sm_error err = {0};
    fill(reading);
    struct sm_trace trace = trace_of(reading, &jump_s);
    assert_ok(sm_schedule_write_trace_svg(&out, &trace, "run <1>.mpg", &err), &err);
    const char *svg = sm_text_str(&out);
    assert_non_null(strstr(svg, "run &lt;1&gt;.mpg"));
    assert_null(strstr(svg, "<1>"));
    assert_non_null(strstr(
        svg, ", 0.00 to 4.00 m, 1 standstill, 1 run back, counter set anew once, 21 % of the time not read"));
    assert_non_null(strstr(svg, ">counter set</text>"));
    assert_non_null(strstr(svg, ">not read</text>"));
    assert_non_null(strstr(svg, ">4.00</text>")); /* where it stood */
    assert_non_null(strstr(svg, "f-shade2"));     /* unsure at the start */
    assert_non_null(strstr(svg, "f-shade4"));
    assert_ok(sm_schedule_write_trace_svg(&again, &trace, "run <1>.mpg", &err), &err);
    assert_string_equal(svg, sm_text_str(&again));
    sm_text_release(&out);
    sm_text_release(&again);
}

static void test_pdf__is_one_page_and_the_same_each_time(void **state)
{
    (void)state;
    struct sm_reading reading[N_READINGS];
    double jump_s;
    struct sm_text out = {0}, again = {0};
    struct sm_error err = {0};
    fill(reading);
    struct sm_trace trace = trace_of(reading, &jump_s);
    assert_ok(sm_schedule_write_trace_pdf(&out, &trace, "run1.mpg", SM_PAPER_A4, &err), &err);
    assert_memory_equal(out.data, "%PDF", 4);
    assert_ok(sm_schedule_write_trace_pdf(&again, &trace, "run1.mpg", SM_PAPER_A4, &err), &err);
    assert_int_equal(out.length, again.length);
    assert_memory_equal(out.data, again.data, out.length);
    sm_text_release(&out);
    sm_text_release(&again);
}

static void draw(struct sm_trace *trace)
{
    struct sm_text out = {0};
    struct sm_error err = {0};
    assert_ok(sm_schedule_write_trace_svg(&out, trace, "", &err), &err);
    assert_null(strstr(sm_text_str(&out), "\"nan"));
    assert_null(strstr(sm_text_str(&out), "\"inf"));
    sm_text_release(&out);
}

static void test_svg__of_next_to_nothing(void **state)
{
    (void)state;
    struct sm_reading reading[2] = {{.state = SM_READING_HIDDEN}, {.time_s = 1, .state = SM_READING_HIDDEN}};
    struct sm_trace trace = {.duration_s = 0};
    draw(&trace);
    trace = (struct sm_trace){.n_readings = 2, .reading = reading, .duration_s = 2};
    draw(&trace); /* nothing was read */
    reading[1] = (struct sm_reading){1, -5, 1, SM_READING_READ};
    draw(&trace); /* one reading, no range */
    reading[0] = (struct sm_reading){0, INT64_C(999999999), 1, SM_READING_READ};
    trace.duration_s = SM_NAN;
    draw(&trace);
    trace.duration_s = 1e6; /* eleven days */
    draw(&trace);
}

static int draw_one(void *user)
{
    struct sm_reading reading[N_READINGS];
    double jump_s;
    struct sm_text out = {0};
    (void)user;
    fill(reading);
    struct sm_trace trace = trace_of(reading, &jump_s);
    enum sm_status status = sm_schedule_write_trace_svg(&out, &trace, "run", NULL);
    sm_text_release(&out);
    return status;
}

static void test_svg__every_allocation_failed_in_turn(void **state)
{
    (void)state;
    sm_test_alloc_all(draw_one, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_svg__shows_what_the_camera_did),
        cmocka_unit_test(test_pdf__is_one_page_and_the_same_each_time),
        cmocka_unit_test(test_svg__of_next_to_nothing),
        cmocka_unit_test(test_svg__every_allocation_failed_in_turn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
