/* Findings own their strings; readings print as the picture shows them; names cover every value. */
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "sm_test.h"
#include "sm_test_alloc.h"
#include "stopmark/model.h"

static void test_reading__text_and_value(void **state)
{
    (void)state;
    static const struct {
        int64_t counts;
        int32_t decimals;
        const char *text;
        double value;
    } cases[] = {
        {1234, 2, "12.34", 12.34},
        {-30, 2, "-0.30", -0.3},
        {5, 2, "0.05", 0.05},
        {0, 1, "0.0", 0},
        {42, 0, "42", 42},
        {-7, 0, "-7", -7},
        {1000, 3, "1.000", 1},
        {-1, 3, "-0.001", -0.001},
        {INT64_MIN, 0, "-9223372036854775808", -9223372036854775808.0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_reading reading = {.counts = cases[i].counts, .state = SM_READING_READ};
        struct sm_text text = {0};
        sm_text_add_reading(&text, &reading, cases[i].decimals);
        assert_string_equal(text.data, cases[i].text);
        assert_close(sm_reading_value(&reading, cases[i].decimals), cases[i].value, 0);
        sm_text_release(&text);
    }
    struct sm_reading hidden = {.counts = 12, .state = SM_READING_HIDDEN};
    struct sm_text text = {0};
    sm_text_add_reading(&text, &hidden, 2);
    assert_string_equal(sm_text_str(&text), "");
}

static void test_last_digit__metres(void **state)
{
    (void)state;
    assert_close(sm_last_digit_m(&(struct sm_counter_format){.unit = SM_UNIT_M, .decimals = 2}), 0.01, 1e-15);
    assert_close(sm_last_digit_m(&(struct sm_counter_format){.unit = SM_UNIT_FT, .decimals = 1}), 0.03048,
                 1e-15);
    assert_close(sm_last_digit_m(&(struct sm_counter_format){.unit = SM_UNIT_UNKNOWN, .decimals = 0}), 1, 0);
}

static void test_findings__own_their_strings(void **state)
{
    (void)state;
    struct sm_findings findings = {0};
    char source[] = "log.csv";
    for (int i = 0; i < 100; i++) {
        assert_int_equal(sm_findings_add(&findings, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, source, (uint32_t)i,
                                         SM_NAN, i, "row %d", i),
                         SM_OK);
    }
    assert_int_equal(sm_findings_add(&findings, 0, SM_SEVERITY_NOTE, NULL, 0, 2.5, -1, "note"), SM_OK);
    memset(source, 'x', sizeof source - 1);
    assert_int_equal(findings.n, 101);
    assert_string_equal(findings.item[42].message, "row 42");
    assert_string_equal(findings.item[42].source, "log.csv");
    assert_int_equal(findings.item[42].entry_idx, 42);
    assert_null(findings.item[100].source);
    assert_close(findings.item[100].time_s, 2.5, 0);
    sm_findings_release(&findings);
    assert_int_equal(findings.n, 0);
}

static int add_some(void *user)
{
    (void)user;
    struct sm_findings findings = {0};
    int status = SM_OK;
    for (int i = 0; status == SM_OK && i < 40; i++) {
        status = sm_findings_add(&findings, 0, SM_SEVERITY_NOTE, "s", 1, SM_NAN, -1, "%0200d", i);
    }
    sm_findings_release(&findings);
    return status;
}

static void test_findings__memory_failures(void **state)
{
    (void)state;
    sm_test_alloc_all(add_some, NULL);
}

static void test_names__flags_differ(void **state)
{
    (void)state;
    for (int a = 0; a < SM_N_FLAGS; a++) {
        const char *name = sm_flag_name((enum sm_flag)(1U << a));
        assert_non_null(name);
        for (int b = 0; b < a; b++) {
            assert_string_not_equal(name, sm_flag_name((enum sm_flag)(1U << b)));
        }
    }
    assert_null(sm_flag_name((enum sm_flag)(1U << SM_N_FLAGS)));
    assert_null(sm_flag_name((enum sm_flag)0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reading__text_and_value),     cmocka_unit_test(test_last_digit__metres),
        cmocka_unit_test(test_findings__own_their_strings), cmocka_unit_test(test_findings__memory_failures),
        cmocka_unit_test(test_names__flags_differ),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
