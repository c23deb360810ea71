/*
 * Whole surveys: the same options repeat to the byte, every codec and container holds the frames and times
 * that the truth says (asked of ffprobe, not of the code that wrote them), and "visible" means what a person
 * would call so.
 */
#include "sim_check.h"

#include <string.h>

static void test_sim_survey__same_options_same_bytes(void **state)
{
    (void)state;
    static const char *const files[] = {"run.mp4",     "truth.csv", "truth.json",
                                        "defects.csv", "log.csv",   "sheet.ini"};
    static const char *const plain[] = {"limit=2", "dropouts=20", "crawl=0.5", "vfr=yes", NULL};
    static const char *const other[] = {"limit=2", "dropouts=20", "crawl=0.5", "vfr=yes", "seed=2", NULL};
    char dir[3][256], hash[3][65];
    struct sm_sim_opts opts;
    for (size_t i = 0; i < 3; i++) {
        sm_test_dir_make(dir[i]);
        sim_check_make(&opts, i == 2 ? other : plain, dir[i]);
    }
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        for (size_t k = 0; k < 3; k++) {
            sim_check_hash(dir[k], files[i], hash[k]);
        }
        assert_string_equal(hash[0], hash[1]);
        if (i < 3) {
            assert_string_not_equal(hash[0], hash[2]);
        }
    }
    for (size_t i = 0; i < 3; i++) {
        sm_test_dir_remove(dir[i]);
    }
}

/* Shares of the frames with a counter text, with a reading, and visible. */
struct shares {
    double text, reading, visible;
};
static struct shares count_shares(const char *dir)
{
    struct sm_csv *truth = sim_check_table(dir, "truth.csv");
    size_t n = sm_csv_n_rows(truth) - 1;
    struct shares shares = {0};
    for (size_t i = 0; i < n; i++) {
        shares.text += sim_check_field(truth, i, "counter_text")[0] != '\0';
        shares.reading += sim_check_field(truth, i, "reading")[0] != '\0';
        shares.visible += sim_check_number(truth, i, "visible");
    }
    sm_csv_free(&truth);
    return (struct shares){shares.text / (double)n, shares.reading / (double)n, shares.visible / (double)n};
}

static struct shares shares_of(const char *const *settings)
{
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts, settings, dir);
    struct shares shares = count_shares(dir);
    sm_test_dir_remove(dir);
    return shares;
}

static void test_sim_survey__visible_means_that_it_can_be_made_out(void **state)
{
    (void)state;
    struct shares clear = shares_of((const char *const[]){"limit=2", "material=clay", NULL});
    assert_close(clear.text, 1, 0);
    assert_true(clear.visible > 0.95);
    struct shares lost = shares_of((const char *const[]){"limit=2", "material=liner", "brightness=3",
                                                         "outline=0", "place=top_left", "glare=1", NULL});
    assert_close(lost.text, 1, 0);
    assert_close(lost.reading, 1, 0);
    assert_true(lost.visible < 0.1);
    struct shares boxed =
        shares_of((const char *const[]){"limit=2", "material=liner", "brightness=3", "outline=0",
                                        "place=top_left", "glare=1", "ground=text", NULL});
    assert_true(boxed.visible > 0.95);
}

static void test_sim_survey__no_counter_where_it_is_hidden_or_does_not_run(void **state)
{
    (void)state;
    struct shares black = shares_of((const char *const[]){"black=1", "title=1", "limit=4", NULL});
    assert_close(black.text, 0.5, 0.011);
    struct shares idle = shares_of((const char *const[]){"not_running=2", "limit=4", NULL});
    assert_close(idle.text, 1, 0);
    assert_close(idle.reading, 0.5, 0.011);
    assert_close(idle.visible, 0.5, 0.03);
    struct shares gap = shares_of((const char *const[]){"gaps=1", "gap=1", "length=2", NULL});
    assert_true(gap.text < 0.95 && gap.text > 0.7);
    struct shares page = shares_of((const char *const[]){"text_pages=1", "length=2.5", NULL});
    assert_true(page.text < 0.9 && page.text > 0.5);
}

/* The counter on the picture is that of the moment: its text follows the true distance. */
static void test_sim_survey__texts_follow_the_truth(void **state)
{
    (void)state;
    char dir[256];
    struct sm_sim_opts opts;
    sm_test_dir_make(dir);
    sim_check_make(&opts, (const char *const[]){"counter_scale=1.01", "counter_offset=-0.4", NULL}, dir);
    struct sm_csv *truth = sim_check_table(dir, "truth.csv");
    size_t n = sm_csv_n_rows(truth) - 1;
    for (size_t i = 0; i < n; i++) {
        double value = (sim_check_number(truth, i, "true_m") + 0.4) * 1.01;
        assert_close(sim_check_number(truth, i, "reading"), value, 0.0052);
        assert_non_null(
            strstr(sim_check_field(truth, i, "counter_text"), sim_check_field(truth, i, "reading")));
    }
    assert_close(sim_check_number(truth, n - 1, "true_m"), 1.2, 0.001);
    sm_csv_free(&truth);
    sm_test_dir_remove(dir);
}

static void test_sim_survey__what_cannot_be_made_is_refused(void **state)
{
    (void)state;
    struct sm_sim_opts opts = sm_sim_opts_default();
    struct sm_error err = {0};
    char dir[256];
    sm_test_dir_make(dir);
    (void)sm_strcopy(opts.overlay.font, sizeof opts.overlay.font, "No Such Font At All");
    assert_int_equal(sm_sim_write_survey(&opts, dir, &err), SM_E_NOTFOUND);
    opts = sm_sim_opts_default();
    opts.overlay.digit_px = 150;
    assert_int_equal(sm_sim_write_survey(&opts, dir, &err), SM_E_RANGE);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_survey__same_options_same_bytes),
        cmocka_unit_test(test_sim_survey__visible_means_that_it_can_be_made_out),
        cmocka_unit_test(test_sim_survey__no_counter_where_it_is_hidden_or_does_not_run),
        cmocka_unit_test(test_sim_survey__texts_follow_the_truth),
        cmocka_unit_test(test_sim_survey__what_cannot_be_made_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
