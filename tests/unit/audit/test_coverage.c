/* Where liners lie, and what they cover: against every chain there is, on random pipes. */
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"
#include "stopmark/audit.h"

enum { MAX_LINERS = 7 };

static int compare(const void *a, const void *b)
{
    const struct sm_audit_span *x = a;
    const struct sm_audit_span *y = b;
    return (x->start_um > y->start_um) - (x->start_um < y->start_um);
}

/* Does this very set, from first to last, make a chain over the target? Straight from the words of the rule. */
static bool is_chain(struct sm_audit_span target, const struct sm_audit_span *sorted, unsigned set, int64_t overlap_um)
{
    const struct sm_audit_span *before = NULL;
    for (int i = 0; i < MAX_LINERS; i++) {
        if (!(set >> i & 1)) {
            continue;
        }
        if (before ? before->end_um - sorted[i].start_um < overlap_um : sorted[i].start_um > target.start_um) {
            return false;
        }
        before = &sorted[i];
    }
    return before && before->end_um >= target.end_um;
}

static bool is_covered_by_any(struct sm_audit_span target, const struct sm_audit_span *liner, size_t n, int64_t overlap_um)
{
    struct sm_audit_span sorted[MAX_LINERS];
    memcpy(sorted, liner, n * sizeof *sorted);
    qsort(sorted, n, sizeof *sorted, compare);
    for (unsigned set = 1; set < 1U << n; set++) {
        if (is_chain(target, sorted, set, overlap_um)) {
            return true;
        }
    }
    return false;
}

static void test_covered__as_every_chain_says(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(6);
    int n_covered = 0;
    for (int round = 0; round < 20000; round++) {
        struct sm_audit_span liner[MAX_LINERS];
        size_t n = (size_t)sm_test_int(&random, 0, MAX_LINERS);
        for (size_t i = 0; i < n; i++) { /* coarse places, so that ends meet exactly often */
            liner[i].start_um = sm_test_int(&random, 0, 20);
            liner[i].end_um = liner[i].start_um + sm_test_int(&random, 2, 8);
        }
        struct sm_audit_span target = {sm_test_int(&random, 2, 12), 0};
        target.end_um = target.start_um + sm_test_int(&random, 0, 12);
        int64_t overlap_um = sm_test_int(&random, 0, 3);
        bool expected = is_covered_by_any(target, liner, n, overlap_um);
        assert_int_equal(sm_audit_is_covered(target, liner, n, overlap_um), expected);
        n_covered += expected;
    }
    assert_in_range(n_covered, 2000, 18000); /* both answers are asked for */
}

static void test_place(void **state)
{
    (void)state;
    struct sm_repair repair = {.start_um = 11750000, .length_um = 500000, .mark_m = 14.4};
    struct sm_as_built row = {.liner_length_m = 0.6, .stop_m = 12.04, .mark_m = 14.5};
    struct sm_audit_span span;
    const char *how = NULL;
    assert_true(sm_audit_place(&span, &row, &repair, false, &how));
    assert_int_equal(span.start_um, 11740000);
    assert_int_equal(span.end_um, 12340000);
    row.stop_m = SM_NAN; /* the mark is 0.10 farther out than planned */
    assert_true(sm_audit_place(&span, &row, &repair, false, &how));
    assert_int_equal(span.start_um, 11800000);
    assert_true(sm_audit_place(&span, &row, &repair, true, &how)); /* from the other end: nearer the datum */
    assert_int_equal(span.start_um, 11600000);
    row.mark_m = SM_NAN;
    row.liner_length_m = SM_NAN;
    assert_true(sm_audit_place(&span, &row, &repair, false, &how));
    assert_int_equal(span.start_um, 11750000);
    assert_non_null(strstr(how, "planned"));
    assert_false(sm_audit_place(&span, &row, NULL, false, &how));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_covered__as_every_chain_says),
        cmocka_unit_test(test_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
