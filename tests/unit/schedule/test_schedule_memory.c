/* Every allocation of every writer failed in turn: each failure is told, nothing leaks, no half document is
 * handed on. */
#include "sm_test.h"
#include "sm_test_alloc.h"
#include "survey_builder.h"

typedef enum sm_status write_fn(struct sm_text *out, const struct sm_schedule *schedule,
                                struct sm_error *err);

static enum sm_status write_table(struct sm_text *out, const struct sm_schedule *schedule,
                                  struct sm_error *err)
{
    return sm_schedule_write_table(out, schedule, 90, false, err);
}

static enum sm_status write_once(write_fn *write, const struct survey *survey)
{
    struct sm_text text = {0};
    enum sm_status status = write(&text, &survey->schedule, NULL);
    sm_text_release(&text);
    return status;
}

/* Fail allocation first, first + stride ... until the writer gets by without. */
static void fail_in_turn(write_fn *write, long stride)
{
    struct survey survey;
    survey_build(&survey, SURVEY_SHORT);
    bool has_failed = true;
    for (long n = 1; has_failed; n += stride) {
        sm_test_alloc_fail(n);
        enum sm_status status = write_once(write, &survey);
        has_failed = sm_test_alloc_failed();
        sm_test_alloc_fail(0);
        if (status != (has_failed ? SM_E_NOMEM : SM_OK)) {
            fail_msg("allocation %ld failed and the writer said \"%s\"", n, sm_status_text(status));
        }
    }
    survey_release(&survey);
}

static void test_writers__tell_every_failure(void **state)
{
    (void)state;
    fail_in_turn(sm_schedule_write_json, 1);
    fail_in_turn(sm_schedule_write_csv, 1);
    fail_in_turn(write_table, 1);
    fail_in_turn(sm_schedule_write_svg, 1);
}

/* The large documents take many allocations and their time: strides that share no factor with what repeats in
 * them. */
static void test_documents__tell_failures(void **state)
{
    (void)state;
    fail_in_turn(sm_schedule_write_html, 7);
    fail_in_turn(sm_schedule_write_pdf, 53);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_writers__tell_every_failure),
        cmocka_unit_test(test_documents__tell_failures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
