/* Looking up, standstills and the files of a trace. */
#include "sm_test.h"

#include <math.h>
#include <string.h>

#include "stopmark/trace.h"

#define N(array) (sizeof(array) / sizeof *(array))

static struct sm_reading seen(double time_s, int64_t counts)
{
    return (struct sm_reading){time_s, counts, 0.99F, SM_READING_READ};
}

static struct sm_trace trace_of(struct sm_reading *reading, size_t n)
{
    return (struct sm_trace){.format = {.box = {520, 30, 160, 28}, .unit = SM_UNIT_M, .decimals = 2},
                             .n_readings = n,
                             .reading = reading,
                             .duration_s = 100};
}

static void test_at__takes_the_stored_reading(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(1, 100), seen(2, 110), seen(3, 130)};
    struct sm_trace trace = trace_of(reading, N(reading));
    struct sm_reading found = sm_trace_at(&trace, 2.0);
    assert_int_equal(found.state, SM_READING_READ);
    assert_int_equal(found.counts, 110);
    assert_close((double)found.confidence, 0.99, 1e-6);
    /* the same frame, its time written to the millisecond */
    assert_int_equal(sm_trace_at(&trace, 2.0004).state, SM_READING_READ);
    assert_int_equal(sm_trace_at(&trace, 1.9996).counts, 110);
}

static void test_at__carries_between_readings_and_rounds(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, 100), seen(10, 103)};
    struct sm_trace trace = trace_of(reading, N(reading));
    struct sm_reading found = sm_trace_at(&trace, 5.1);
    assert_int_equal(found.state, SM_READING_CARRIED);
    assert_int_equal(found.counts, 102); /* 101.53 */
    assert_close(found.time_s, 5.1, 0);
    assert_true((double)found.confidence < 0.9);
}

static void test_at__carried_confidence_falls_with_gap_and_change(void **state)
{
    (void)state;
    struct sm_reading still[] = {seen(0, 100), seen(2, 100)};
    struct sm_reading still_long[] = {seen(0, 100), seen(60, 100)};
    struct sm_reading slow[] = {seen(0, 100), seen(2, 101)};
    struct sm_reading fast[] = {seen(0, 100), seen(2, 140)};
    struct sm_trace a = trace_of(still, 2);
    struct sm_trace b = trace_of(still_long, 2);
    struct sm_trace c = trace_of(slow, 2);
    struct sm_trace d = trace_of(fast, 2);
    double at_still = (double)sm_trace_at(&a, 1).confidence;
    double at_long = (double)sm_trace_at(&b, 30).confidence;
    double at_slow = (double)sm_trace_at(&c, 1).confidence;
    double at_fast = (double)sm_trace_at(&d, 1).confidence;
    assert_true(at_still > 0.9 && at_still < 0.99);
    assert_true(at_long < 0.6);
    assert_true(at_slow <= 0.5); /* one digit changed somewhere in between: at half way the odds are even */
    assert_true(at_fast < 0.1);
}

static void test_at__is_hidden_outside_and_across_jumps(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(10, 4000), seen(20, 4100), seen(22, 0), seen(30, 50)};
    struct sm_trace trace = trace_of(reading, N(reading));
    double jump_s[] = {21};
    trace.n_jumps = 1;
    trace.jump_time_s = jump_s;
    assert_int_equal(sm_trace_at(&trace, 9).state, SM_READING_HIDDEN);
    assert_int_equal(sm_trace_at(&trace, 31).state, SM_READING_HIDDEN);
    assert_int_equal(sm_trace_at(&trace, SM_NAN).state, SM_READING_HIDDEN);
    assert_int_equal(sm_trace_at(&trace, 20.5).state, SM_READING_HIDDEN);
    assert_int_equal(sm_trace_at(&trace, 21.5).state, SM_READING_HIDDEN);
    assert_int_equal(sm_trace_at(&trace, 15).state, SM_READING_CARRIED);
    assert_int_equal(sm_trace_at(&trace, 26).counts, 25);
    assert_int_equal(sm_trace_stretch_at(&trace, 20.9), 0);
    assert_int_equal(sm_trace_stretch_at(&trace, 21), 1);
    struct sm_trace empty = trace_of(NULL, 0);
    assert_int_equal(sm_trace_at(&empty, 0).state, SM_READING_HIDDEN);
}

static void test_at__passes_over_hidden_readings(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, 100), {1, 0, 0.0F, SM_READING_HIDDEN}, seen(2, 100)};
    struct sm_trace trace = trace_of(reading, N(reading));
    struct sm_reading found = sm_trace_at(&trace, 1);
    assert_int_equal(found.state, SM_READING_CARRIED);
    assert_int_equal(found.counts, 100);
}

static void test_bracket__skips_what_is_not_sure(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, 100), {1, 700, 0.3F, SM_READING_READ}, seen(2, 104)};
    struct sm_trace trace = trace_of(reading, N(reading));
    struct sm_trace_bracket around;
    assert_true(sm_trace_bracket_at(&around, &trace, 1, 0.9));
    assert_int_equal(around.before.counts, 100);
    assert_int_equal(around.after.counts, 104);
    assert_false(sm_trace_bracket_at(&around, &trace, 3, 0.9));
}

static void test_standstills__are_found_in_order(void **state)
{
    (void)state;
    struct sm_reading reading[] = {
        seen(0, 0),  seen(4, 0),   seen(5, 20),  seen(6, 40),  seen(7, 40),  {8, 48, 0.4F, SM_READING_READ},
        seen(9, 40), seen(12, 40), seen(13, 55), seen(14, 70), seen(15, 70), seen(40, 70)};
    struct sm_trace trace = trace_of(reading, N(reading));
    struct sm_standstill *found = NULL;
    size_t n = 0;
    struct sm_error err = {0};
    assert_ok(sm_trace_standstills(&found, &n, &trace, 3, &err), &err);
    assert_int_equal(n, 2); /* from 15 to 40 nothing was seen: who knows where the camera was */
    assert_close(found[0].end_s, 4, 0);
    assert_close(found[1].start_s, 6, 0);
    assert_close(found[1].end_s, 12, 0); /* one doubtful reading does not end it */
    assert_int_equal(found[1].counts, 40);
    sm_free(found);
}

static void test_standstills__end_at_a_jump(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, 0), seen(5, 0), seen(6, 0), seen(12, 0)};
    struct sm_trace trace = trace_of(reading, N(reading));
    double jump_s[] = {5.5};
    trace.n_jumps = 1;
    trace.jump_time_s = jump_s;
    struct sm_standstill *found = NULL;
    size_t n = 0;
    assert_ok(sm_trace_standstills(&found, &n, &trace, 3, NULL), NULL);
    assert_int_equal(n, 2);
    assert_close(found[0].end_s, 5, 0);
    sm_free(found);
}

static void test_csv__rows_as_on_the_picture(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, -30),
                                   {0.52, 1234, 0.5F, SM_READING_CARRIED},
                                   {1, 7, 0.0F, SM_READING_HIDDEN},
                                   seen(12.3456, 1230)};
    struct sm_trace trace = trace_of(reading, N(reading));
    trace.format.has_leading_zeros = true; /* shown as 0012.34: not repeated in the file */
    struct sm_text out = {0};
    assert_ok(sm_trace_write_csv(&out, &trace, NULL), NULL);
    assert_string_equal(sm_text_str(&out), "time_s,reading,unit,confidence,state\n"
                                           "0.000,-0.30,m,0.990,read\n"
                                           "0.520,12.34,m,0.500,carried\n"
                                           "1.000,,m,0.000,hidden\n"
                                           "12.346,12.30,m,0.990,read\n");
    sm_text_release(&out);
}

static void test_json__names_schema_counter_and_readings(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0.5, 123), {1, 0, 0.0F, SM_READING_HIDDEN}};
    struct sm_trace trace = trace_of(reading, N(reading));
    trace.format.unit = SM_UNIT_FT;
    trace.format.decimals = 1;
    struct sm_text out = {0};
    assert_ok(sm_trace_write_json(&out, &trace, NULL), NULL);
    const char *json = sm_text_str(&out);
    assert_non_null(strstr(json, "\"schema\": \"stopmark.trace/1\""));
    assert_non_null(strstr(json, "\"unit\": \"ft\""));
    assert_non_null(strstr(json, "\"decimals\": 1"));
    assert_non_null(strstr(json, "520"));
    assert_non_null(strstr(json, "\"12.3\""));
    assert_non_null(strstr(json, "null"));
    assert_string_equal(json + out.length - 3, "\n}\n");
    sm_text_release(&out);
}

static void test_pick__gives_one_row_for_each_asked_time(void **state)
{
    (void)state;
    struct sm_reading reading[] = {seen(0, 100), seen(2, 120)};
    struct sm_trace trace = trace_of(reading, N(reading));
    const double at_s[] = {2, 1, 50, 0};
    struct sm_trace *picked = NULL;
    assert_ok(sm_trace_pick(&picked, &trace, at_s, N(at_s), NULL), NULL);
    assert_int_equal(picked->n_readings, 4);
    assert_int_equal(picked->reading[0].counts, 120);
    assert_int_equal(picked->reading[1].counts, 110);
    assert_int_equal(picked->reading[2].state, SM_READING_HIDDEN);
    assert_close(picked->reading[2].time_s, 50, 0);
    assert_int_equal(picked->reading[3].counts, 100);
    sm_trace_free(&picked);
    assert_null(picked);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_at__takes_the_stored_reading),
        cmocka_unit_test(test_at__carries_between_readings_and_rounds),
        cmocka_unit_test(test_at__carried_confidence_falls_with_gap_and_change),
        cmocka_unit_test(test_at__is_hidden_outside_and_across_jumps),
        cmocka_unit_test(test_at__passes_over_hidden_readings),
        cmocka_unit_test(test_bracket__skips_what_is_not_sure),
        cmocka_unit_test(test_standstills__are_found_in_order),
        cmocka_unit_test(test_standstills__end_at_a_jump),
        cmocka_unit_test(test_csv__rows_as_on_the_picture),
        cmocka_unit_test(test_json__names_schema_counter_and_readings),
        cmocka_unit_test(test_pick__gives_one_row_for_each_asked_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
