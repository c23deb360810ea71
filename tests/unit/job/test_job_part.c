/* A part of a recording: scans stay inside it, times stay those of the recording. */
#include "job_internal.h"
#include "sm_test.h"

struct asked {
    int n_scans;
    double start_s, end_s;
};

static enum sm_status scan(void *user, double start_s, double end_s, double step_s, bool cheap_only,
                           sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    (void)step_s, (void)cheap_only, (void)fn, (void)fn_user, (void)err;
    struct asked *asked = user;
    *asked = (struct asked){asked->n_scans + 1, start_s, end_s};
    return SM_OK;
}

static void test_part__clips(void **state)
{
    (void)state;
    static const struct {
        double part[2], asked[2], got[2];
        bool is_empty;
    } cases[] = {
        {{10, 50}, {0, 100}, {10, 50}, false}, {{10, 50}, {20, 30}, {20, 30}, false},
        {{10, 50}, {60, 70}, {0, 0}, true},    {{10, 50}, {0, 9}, {0, 0}, true},
        {{10, 50}, {50, 70}, {50, 50}, false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct asked asked = {0};
        struct sm_job__part part = {
            {.user = &asked, .duration_s = 100, .scan = scan}, cases[i].part[0], cases[i].part[1]};
        struct sm_frame_source source = sm_job__part_source(&part);
        assert_ok(source.scan(source.user, cases[i].asked[0], cases[i].asked[1], 1, false, NULL, NULL, NULL),
                  NULL);
        assert_int_equal(asked.n_scans, !cases[i].is_empty);
        assert_close(asked.start_s, cases[i].got[0], 0);
        assert_close(asked.end_s, cases[i].got[1], 0);
        assert_close(source.duration_s, 50, 0);
    }
}

static void test_part__open_ends(void **state)
{
    (void)state;
    struct asked asked = {0};
    struct sm_job__part part = {{.user = &asked, .duration_s = 100, .scan = scan}, SM_NAN, SM_NAN};
    struct sm_frame_source source = sm_job__part_source(&part);
    assert_close(source.duration_s, 100, 0);
    assert_ok(source.scan(source.user, 5, 90, 1, false, NULL, NULL, NULL), NULL);
    assert_close(asked.start_s, 5, 0);
    assert_close(asked.end_s, 90, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_part__clips),
        cmocka_unit_test(test_part__open_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
