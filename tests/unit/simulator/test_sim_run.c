/* What is planted, how the camera goes along, and what the counter makes of it. */
#include "sm_test.h"
#include "sim_internal.h"

#include <math.h>
#include <string.h>

struct made {
    struct sm_sim_opts opts;
    struct sm_sim_scenario scenario;
    struct sm_sim_path path;
};

static void make(struct made *made)
{
    struct sm_error err = {0};
    assert_ok(sm_sim__scenario_make(&made->scenario, &made->opts, &err), &err);
    assert_ok(sm_sim__path_make(&made->path, &made->opts, &made->scenario, &err), &err);
}

static void release(struct made *made)
{
    sm_sim__scenario_release(&made->scenario);
    sm_sim__path_release(&made->path);
}

static void test_sim_run__a_plan_is_planted_as_written(void **state)
{
    (void)state;
    struct made made = {.opts = sm_sim_opts_default()};
    (void)sm_strcopy(made.opts.pipe.plan, sizeof made.opts.pipe.plan,
                     " roots:9@12 long_crack:4.30-4.95@2  crack:2 ");
    make(&made);
    assert_int_equal(made.scenario.n_items, 5);
    static const enum sm_sim_kind kinds[] = {SM_SIM_START_NODE, SM_SIM_CRACK, SM_SIM_LONG_CRACK, SM_SIM_ROOTS,
                                             SM_SIM_FINISH_NODE};
    static const double places_m[] = {0, 2, 4.30, 9, 20};
    for (size_t i = 0; i < 5; i++) {
        assert_int_equal(made.scenario.item[i].kind, kinds[i]);
        assert_close(made.scenario.item[i].distance_m, places_m[i], 1e-9);
    }
    assert_close(made.scenario.item[2].end_m, 4.95, 1e-9);
    assert_int_equal(made.scenario.item[2].clock_from_h, 2);
    assert_int_equal(made.scenario.item[2].continuous_id, 1);
    assert_int_equal(made.scenario.item[3].clock_from_h, 12);
    release(&made);
}

static void test_sim_run__a_bad_plan_is_refused(void **state)
{
    (void)state;
    static const char *const plans[] = {"crack",     "crack:",   "crack:x",     "crak:3",   "crack:3@13",
                                        "crack:5-4", "crack:21", "crack:3-4-5", "crack:3@", "crack:-1"};
    for (size_t i = 0; i < sizeof plans / sizeof plans[0]; i++) {
        struct made made = {.opts = sm_sim_opts_default()};
        struct sm_error err = {0};
        (void)sm_strcopy(made.opts.pipe.plan, sizeof made.opts.pipe.plan, plans[i]);
        assert_int_not_equal(sm_sim__scenario_make(&made.scenario, &made.opts, &err), SM_OK);
        assert_true(err.text[0] != '\0');
    }
}

/* The camera stands where each item is, for the time asked, and is never faster than asked. */
static void test_sim_run__the_camera_keeps_to_its_limits(void **state)
{
    (void)state;
    for (int64_t seed = 1; seed <= 12; seed++) {
        struct made made = {.opts = sm_sim_opts_default()};
        made.opts.seed = seed;
        make(&made);
        for (size_t i = 1; i < made.path.n; i++) {
            double step_m = fabs(made.path.place_m[i] - made.path.place_m[i - 1]);
            assert_true(step_m <= made.opts.motion.speed_max_m_s / SM_SIM_PATH_HZ + 1e-9);
        }
        assert_true(made.path.n_stops >= made.scenario.n_items);
        for (size_t i = 0; i < made.path.n_stops; i++) {
            const struct sm_sim_stop *stop = &made.path.stop[i];
            double stood_s = stop->end_s - stop->start_s;
            assert_true(stood_s >= made.opts.motion.stand_min_s && stood_s <= made.opts.motion.stand_max_s);
            assert_close(sm_sim__path_at(&made.path, stop->start_s + 0.01), stop->place_m, 1e-3);
            assert_close(sm_sim__path_at(&made.path, stop->end_s - 0.02), stop->place_m, 1e-9);
            const struct sm_sim_item *item = &made.scenario.item[stop->item_idx];
            assert_close(stop->place_m, stop->is_end ? item->end_m : item->distance_m, 1e-9);
        }
        release(&made);
    }
}

static size_t count_backward(const struct sm_sim_path *path)
{
    size_t n = 0;
    for (size_t i = 1; i < path->n; i++) {
        n += path->place_m[i] < path->place_m[i - 1];
    }
    return n;
}

static void test_sim_run__reversals_happen_when_asked_for(void **state)
{
    (void)state;
    struct made never = {.opts = sm_sim_opts_default()}, always = {.opts = sm_sim_opts_default()};
    never.opts.motion.reversal_chance = 0;
    always.opts.motion.reversal_chance = 1;
    make(&never);
    make(&always);
    assert_int_equal(count_backward(&never.path), 0);
    assert_true(count_backward(&always.path) > 100);
    release(&never);
    release(&always);
}

static void test_sim_run__a_run_given_up_ends_there(void **state)
{
    (void)state;
    struct made made = {.opts = sm_sim_opts_default()};
    made.opts.motion.stop_at_m = 7.5;
    make(&made);
    assert_close(made.path.place_m[made.path.n - 1], 7.5, 0.011);
    release(&made);
}

/* ---- counter
 * ----------------------------------------------------------------------------------------------- */

static void test_sim_run__the_counter_follows_scale_offset_and_unit(void **state)
{
    (void)state;
    struct made made = {.opts = sm_sim_opts_default()};
    made.opts.counter.offset_m = -0.5;
    made.opts.counter.scale = 0.98;
    make(&made);
    double end_s = made.path.duration_s - 0.5; /* stands at 20 m */
    assert_int_equal(sm_sim__counter_counts(&made.opts, &made.path, end_s), llround((20 + 0.5) * 0.98 * 100));
    made.opts.counter.unit = SM_SIM_FEET;
    made.opts.counter.decimals = 1;
    assert_int_equal(sm_sim__counter_counts(&made.opts, &made.path, end_s),
                     llround((20 + 0.5) * 0.98 / 0.3048 * 10));
    release(&made);
}

static void test_sim_run__the_counter_is_set_anew_where_asked(void **state)
{
    (void)state;
    struct made made = {.opts = sm_sim_opts_default()};
    made.opts.counter.set_at_m = 8;
    made.opts.counter.set_to = 100;
    make(&made);
    assert_true(made.path.set_s > 0);
    int64_t before = sm_sim__counter_counts(&made.opts, &made.path, made.path.set_s - 0.05);
    int64_t after = sm_sim__counter_counts(&made.opts, &made.path, made.path.set_s + 0.05);
    assert_true(before >= 795 && before <= 800);
    assert_true(after >= 10000 && after <= 10005);
    release(&made);
}

static void test_sim_run__the_display_lags_and_updates_in_steps(void **state)
{
    (void)state;
    struct made made = {.opts = sm_sim_opts_default()};
    make(&made);
    made.opts.counter.update_s = 0.4;
    int64_t last = sm_sim__counter_counts(&made.opts, &made.path, 30);
    size_t n_changes = 0;
    for (int32_t i = 1; i <= 500; i++) {
        int64_t now = sm_sim__counter_counts(&made.opts, &made.path, 30 + i * 0.04);
        n_changes += now != last;
        last = now;
    }
    assert_true(n_changes > 0 && n_changes <= 51); /* 20 s in steps of 0.4 s */
    made.opts.counter.update_s = 0;
    int64_t earlier = sm_sim__counter_counts(&made.opts, &made.path, 40 - 0.25);
    made.opts.counter.lag_s = 0.25;
    assert_int_equal(sm_sim__counter_counts(&made.opts, &made.path, 40), earlier);
    release(&made);
}

static void test_sim_run__the_counter_is_written_in_every_form(void **state)
{
    (void)state;
    static const struct {
        struct sm_sim_counter_opts counter;
        int64_t counts;
        const char *text, *reading, *idle;
    } cases[] = {
        {{.int_digits = 4, .decimals = 1, .fill = SM_SIM_FILL_ZERO, .suffix = "'"},
         458,
         "0045.8'",
         "45.8",
         "____._'"},
        {{.int_digits = 2, .decimals = 2, .prefix = "D:", .suffix = "M"},
         4142,
         "D:41.42M",
         "41.42",
         "D:__.__M"},
        {{.int_digits = 3, .decimals = 2, .fill = SM_SIM_FILL_BLANK, .suffix = "_m"},
         337,
         "  3.37 m",
         "3.37",
         "___.__ m"},
        {{.int_digits = 3, .decimals = 2, .fill = SM_SIM_FILL_ZERO, .has_comma = true},
         5,
         "000,05",
         "0.05",
         "___,__"},
        {{.int_digits = 2, .decimals = 2, .fill = SM_SIM_FILL_ZERO}, -30, "-00.30", "-0.30", "__.__"},
        {{.int_digits = 1, .decimals = 2, .sign = SM_SIM_SIGN_ALWAYS, .suffix = "m"},
         1234,
         "+12.34m",
         "12.34",
         "_.__m"},
        {{.int_digits = 4, .decimals = 0, .fill = SM_SIM_FILL_ZERO, .suffix = "FT"},
         123,
         "0123FT",
         "123",
         "____FT"},
        {{.int_digits = 2, .decimals = 3, .prefix = "L="}, 123456, "L=123.456", "123.456", "L=__.___"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sm_text text = {0}, reading = {0}, idle = {0};
        sm_sim__counter_text(&cases[i].counter, cases[i].counts, &text);
        sm_sim__counter_reading(cases[i].counts, cases[i].counter.decimals, &reading);
        sm_sim__counter_idle_text(&cases[i].counter, &idle);
        assert_string_equal(sm_text_str(&text), cases[i].text);
        assert_string_equal(sm_text_str(&reading), cases[i].reading);
        assert_string_equal(sm_text_str(&idle), cases[i].idle);
        sm_text_release(&text);
        sm_text_release(&reading);
        sm_text_release(&idle);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_run__a_plan_is_planted_as_written),
        cmocka_unit_test(test_sim_run__a_bad_plan_is_refused),
        cmocka_unit_test(test_sim_run__the_camera_keeps_to_its_limits),
        cmocka_unit_test(test_sim_run__reversals_happen_when_asked_for),
        cmocka_unit_test(test_sim_run__a_run_given_up_ends_there),
        cmocka_unit_test(test_sim_run__the_counter_follows_scale_offset_and_unit),
        cmocka_unit_test(test_sim_run__the_counter_is_set_anew_where_asked),
        cmocka_unit_test(test_sim_run__the_display_lags_and_updates_in_steps),
        cmocka_unit_test(test_sim_run__the_counter_is_written_in_every_form),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
