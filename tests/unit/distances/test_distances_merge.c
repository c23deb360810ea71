/* A list held against a trace: borne out, filled in, doubted, refused with the reason. */
#include "sm_test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stopmark/distances.h"
#include "stopmark/trace.h"

enum { N_READINGS = 301, N_ENTRIES = 61 };

/* A run of a minute at 0.1 m/s, a reading each 0.2 s and an entry each second, 2 decimals, metres. */
struct run {
    struct sm_trace *trace;
    struct sm_distances *list;
    struct sm_findings findings;
    struct sm_distances_match match;
};

static int64_t counts_at(double time_s)
{
    return llround(10 * fmax(0, time_s - 5)); /* stands for 5 s */
}

static struct sm_trace *trace_new(void)
{
    struct sm_trace *trace = sm_calloc(1, sizeof *trace);
    assert_non_null(trace);
    trace->reading = sm_calloc(N_READINGS, sizeof *trace->reading);
    assert_non_null(trace->reading);
    trace->format = (struct sm_counter_format){.unit = SM_UNIT_M, .decimals = 2};
    trace->duration_s = 60;
    trace->n_readings = N_READINGS;
    for (int i = 0; i < N_READINGS; i++) {
        trace->reading[i] = (struct sm_reading){0.2 * i, counts_at(0.2 * i), 0.99F, SM_READING_READ};
    }
    return trace;
}

/* A list that says factor x the truth + offset (in counts), late by delay_s. */
static struct sm_distances *list_new(double factor, double offset, double delay_s)
{
    struct sm_distances *list = NULL;
    struct sm_text text = {0};
    struct sm_error err = {0};
    sm_text_add(&text, "time,distance\n");
    for (int i = 0; i < N_ENTRIES; i++) {
        sm_text_addf(&text, "%d,", i);
        sm_text_add_fixed(&text, (factor * (double)counts_at(i - delay_s) + offset) / 100, 2);
        sm_text_add(&text, "\n");
    }
    assert_ok(sm_distances_new(&list, &err), &err);
    assert_ok(sm_distances_add_data(list, text.data, text.length, "list", 0, &err), &err);
    sm_text_release(&text);
    return list;
}

static struct run run_new(double factor, double offset, double delay_s)
{
    return (struct run){.trace = trace_new(), .list = list_new(factor, offset, delay_s)};
}

static void merge(struct run *run)
{
    struct sm_error err = {0};
    assert_ok(sm_distances_merge(&run->match, run->trace, run->list, &run->findings, &err), &err);
}

static void run_free(struct run *run)
{
    sm_trace_free(&run->trace);
    sm_distances_free(&run->list);
    sm_findings_release(&run->findings);
}

static bool has_finding(const struct run *run, const char *words)
{
    for (size_t i = 0; i < run->findings.n; i++) {
        if (strstr(run->findings.item[i].message, words)) {
            return true;
        }
    }
    return false;
}

static void hide(struct sm_trace *trace, size_t first, size_t last)
{
    for (size_t i = first; i <= last; i++) {
        trace->reading[i].state = SM_READING_HIDDEN;
        trace->reading[i].counts = 0;
        trace->reading[i].confidence = 0;
    }
}

static void test_merge__a_list_that_agrees_fills_what_is_hidden(void **state)
{
    (void)state;
    struct run run = run_new(1, 0, 0);
    hide(run.trace, 100, 150);
    merge(&run);
    assert_true(run.match.is_used);
    assert_int_equal(run.match.n_agreed, run.match.n_compared);
    assert_int_equal(run.match.n_filled, 51);
    for (size_t i = 100; i <= 150; i++) {
        assert_int_equal(run.trace->reading[i].state, SM_READING_CARRIED); /* never said to be seen */
        assert_true(llabs(run.trace->reading[i].counts - counts_at(0.2 * (double)i)) <= 1);
        assert_true(run.trace->reading[i].confidence > 0.2F && run.trace->reading[i].confidence <= 0.95F);
    }
    assert_int_equal(run.trace->n_readings, N_READINGS);
    assert_int_equal(run.trace->reading[99].state, SM_READING_READ);
    assert_true(has_finding(&run, "stand in for 51"));
    run_free(&run);
}

static void test_merge__entries_where_the_picture_was_not_looked_at(void **state)
{
    (void)state;
    struct run run = run_new(1, 0, 0);
    run.trace->n_readings = 150; /* up to 29.8 s */
    merge(&run);
    assert_true(run.match.is_used);
    struct sm_reading reading = sm_trace_at(run.trace, 50);
    assert_int_equal(reading.counts, counts_at(50));
    assert_int_equal(reading.state, SM_READING_CARRIED);
    for (size_t i = 1; i < run.trace->n_readings; i++) {
        assert_true(run.trace->reading[i].time_s > run.trace->reading[i - 1].time_s);
    }
    run_free(&run);
}

static void test_merge__unsure_readings_are_borne_out_or_replaced(void **state)
{
    (void)state;
    struct run run = run_new(1, 0, 0);
    run.trace->reading[100].confidence = 0.6F;
    run.trace->reading[200].confidence = 0.3F;
    run.trace->reading[200].counts = 77;
    merge(&run);
    assert_true(run.trace->reading[100].confidence > 0.95F);
    assert_int_equal(run.trace->reading[100].state, SM_READING_READ);
    assert_int_equal(run.trace->reading[200].counts, counts_at(40));
    assert_int_equal(run.trace->reading[200].state, SM_READING_CARRIED);
    run_free(&run);
}

static void test_merge__a_sure_reading_that_differs_is_kept_in_doubt(void **state)
{
    (void)state;
    struct run run = run_new(1, 0, 0);
    for (size_t i = 200; i < 204; i++) {
        run.trace->reading[i].counts += 100;
    }
    merge(&run);
    assert_true(run.match.is_used);
    assert_int_equal(run.trace->reading[201].counts, counts_at(40.2) + 100);
    assert_int_equal(run.trace->reading[201].state, SM_READING_READ);
    assert_true(run.trace->reading[201].confidence <= 0.5F);
    assert_true(has_finding(&run, "from 40.0 s to 40.6 s the picture goes from 4.50 to 4.56"));
    run_free(&run);
}

/* A list that does not agree changes nothing, and the likely reason is told. */
static void refused(double factor, double offset, double delay_s, const char *reason)
{
    struct run run = run_new(factor, offset, delay_s);
    hide(run.trace, 100, 150);
    struct sm_trace *before = trace_new();
    hide(before, 100, 150);
    merge(&run);
    assert_false(run.match.is_used);
    assert_int_equal(run.trace->n_readings, N_READINGS);
    assert_memory_equal(run.trace->reading, before->reading, N_READINGS * sizeof *before->reading);
    if (!has_finding(&run, reason)) {
        fail_msg("\"%s\" does not say \"%s\"", run.findings.item[0].message, reason);
    }
    sm_trace_free(&before);
    run_free(&run);
}

static void test_merge__a_list_that_differs_is_refused_with_the_reason(void **state)
{
    (void)state;
    refused(1, 150, 0, "the picture shows 1.50 less throughout");
    refused(1, 0, 12, "if the list came 12 s earlier");
    refused(1, 0, -4, "if the list came 4 s later");
    refused(1 / 0.3048, 0, 0, "one of them is in feet");
    refused(-1.7, 400, 0, "is it the list of this recording?");
}

static void test_merge__units_that_are_named_are_turned(void **state)
{
    (void)state;
    struct run run = run_new(1 / 0.3048, 0, 0);
    run.list->unit = SM_UNIT_FT;
    hide(run.trace, 100, 150);
    merge(&run);
    assert_true(run.match.is_used);
    assert_true(llabs(run.trace->reading[120].counts - counts_at(24)) <= 1);
    run_free(&run);
}

static void test_merge__too_little_in_common_is_told(void **state)
{
    (void)state;
    struct run run = run_new(1, 0, 0);
    hide(run.trace, 0, N_READINGS - 3);
    merge(&run);
    assert_false(run.match.is_used);
    assert_true(has_finding(&run, "too little time in common"));
    run_free(&run);
}

static void test_trace__a_list_alone_is_carried_and_unsure(void **state)
{
    (void)state;
    struct sm_distances *list = list_new(1, 0, 0);
    struct sm_trace *trace = NULL;
    struct sm_error err = {0};
    assert_ok(sm_distances_trace(&trace, list, 10, 20, 60, &err), &err);
    assert_int_equal(trace->n_readings, 11);
    assert_close(trace->reading[0].time_s, 10, 0);
    assert_int_equal(trace->reading[0].state, SM_READING_CARRIED);
    assert_true(trace->reading[0].confidence < 0.9F);
    assert_int_equal(trace->format.box.width_px, 0);
    assert_int_equal(trace->n_jumps, 0);
    sm_trace_free(&trace);
    list->item[30].counts += 10000; /* set anew twice */
    assert_ok(sm_distances_trace(&trace, list, SM_NAN, SM_NAN, 60, &err), &err);
    assert_int_equal(trace->n_jumps, 2);
    assert_close(trace->jump_time_s[0], 30, 0);
    sm_trace_free(&trace);
    for (size_t i = 0; i < list->n; i += 3) {
        list->item[i].counts += 10000;
    }
    assert_int_equal(sm_distances_trace(&trace, list, SM_NAN, SM_NAN, 60, &err), SM_E_FORMAT);
    assert_null(trace);
    sm_distances_free(&list);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_merge__a_list_that_agrees_fills_what_is_hidden),
        cmocka_unit_test(test_merge__entries_where_the_picture_was_not_looked_at),
        cmocka_unit_test(test_merge__unsure_readings_are_borne_out_or_replaced),
        cmocka_unit_test(test_merge__a_sure_reading_that_differs_is_kept_in_doubt),
        cmocka_unit_test(test_merge__a_list_that_differs_is_refused_with_the_reason),
        cmocka_unit_test(test_merge__units_that_are_named_are_turned),
        cmocka_unit_test(test_merge__too_little_in_common_is_told),
        cmocka_unit_test(test_trace__a_list_alone_is_carried_and_unsure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
