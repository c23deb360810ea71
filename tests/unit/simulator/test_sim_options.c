/* The simulator's options: keys, values, what does not go together. */
#include "sm_test.h"
#include "simulator.h"

#include <string.h>

/* What is printed sets the same options again, whatever the seed has chosen. */
static void test_sim_options__printed_options_read_back(void **state)
{
    (void)state;
    for (int64_t seed = 1; seed <= 40; seed++) {
        struct sm_sim_opts opts = sm_sim_opts_random(seed, seed % 2 ? SM_SIM_HARD : SM_SIM_VARIED);
        struct sm_sim_opts again = sm_sim_opts_default();
        struct sm_text text = {0}, text_again = {0};
        struct sm_error err = {0};
        sm_sim_opts_print(&opts, &text);
        for (char *line = text.data; *line;) {
            char *end = strchr(line, '\n');
            *end = '\0';
            assert_ok(sm_sim_opts_set(&again, line, &err), &err);
            *end = '\n';
            line = end + 1;
        }
        sm_sim_opts_print(&again, &text_again);
        assert_string_equal(sm_text_str(&text), sm_text_str(&text_again));
        sm_text_release(&text);
        sm_text_release(&text_again);
    }
}

static void test_sim_options__random_ones_fit_together(void **state)
{
    (void)state;
    for (int64_t seed = 1; seed <= 300; seed++) {
        struct sm_sim_opts opts = sm_sim_opts_random(seed, (enum sm_sim_profile)(seed % 3));
        struct sm_error err = {0};
        assert_ok(sm_sim_opts_check(&opts, &err), &err);
    }
}

static void test_sim_options__a_bad_assignment_changes_nothing(void **state)
{
    (void)state;
    static const struct {
        const char *assignment;
        enum sm_status status;
    } cases[] = {
        {"width", SM_E_FORMAT},        {"no_such_key=1", SM_E_NOTFOUND},
        {"width=abc", SM_E_RANGE},     {"width=32", SM_E_RANGE},
        {"codec=betamax", SM_E_RANGE}, {"codec=h26", SM_E_RANGE},
        {"colour=12345", SM_E_RANGE},  {"colour=12345g", SM_E_RANGE},
        {"bold=maybe", SM_E_RANGE},    {"opacity=1.5", SM_E_RANGE},
        {"=5", SM_E_NOTFOUND},         {"codec=", SM_E_RANGE},
    };
    struct sm_text before = {0}, after = {0};
    struct sm_sim_opts opts = sm_sim_opts_default();
    sm_sim_opts_print(&opts, &before);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sm_error err = {0};
        assert_int_equal(sm_sim_opts_set(&opts, cases[i].assignment, &err), cases[i].status);
        assert_true(err.text[0] != '\0');
    }
    sm_sim_opts_print(&opts, &after);
    assert_string_equal(sm_text_str(&before), sm_text_str(&after));
    sm_text_release(&before);
    sm_text_release(&after);
}

static void test_sim_options__what_does_not_go_together_is_refused(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        {"codec=mpeg2", "container=mp4"}, {"codec=wmv2", "container=avi"},    {"container=avi", "vfr=yes"},
        {"width=360", "height=288"},      {"speed_min=0.5", "speed_max=0.2"}, {"length=5", "start_at=6"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sm_sim_opts opts = sm_sim_opts_default();
        struct sm_error err = {0};
        assert_ok(sm_sim_opts_set(&opts, cases[i][0], &err), &err);
        assert_ok(sm_sim_opts_set(&opts, cases[i][1], &err), &err);
        assert_int_equal(sm_sim_opts_check(&opts, &err), SM_E_RANGE);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_options__printed_options_read_back),
        cmocka_unit_test(test_sim_options__random_ones_fit_together),
        cmocka_unit_test(test_sim_options__a_bad_assignment_changes_nothing),
        cmocka_unit_test(test_sim_options__what_does_not_go_together_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
