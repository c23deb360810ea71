/*
 * The counter of thirty made-up surveys, read without being told anything: nine faces, three codecs, PAL and
 * NTSC sizes, metres and feet, with what real screens carry beside the counter. Under sanitizers two
 * short ones are enough.
 */
#include "read_score.h"
#include "simulator.h"
#include "sm_test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define IS_SANITIZED
#endif
#elif defined(__SANITIZE_ADDRESS__)
#define IS_SANITIZED
#endif
#ifdef IS_SANITIZED
#define CLIP_STEP 17
#define CLIP_LIMIT "limit=6"
#else
#define CLIP_STEP 1
#define CLIP_LIMIT "limit=11"
#endif

#define N_CLIPS 30

static const char *const faces[] = {
    "DejaVu Sans Mono", "DejaVu Sans", "DejaVu Serif",    "psf:Lat15-VGA16", "psf:Uni2-Terminus20x10",
    "Liberation Mono",  "OCRA",        "Liberation Sans", "seven-segment",
};
static const char *const sizes[][4] = {
    {"width=720", "height=576", "rate_num=25", "rate_den=1"},
    {"width=352", "height=288", "rate_num=25", "rate_den=1"},
    {"width=720", "height=480", "rate_num=30000", "rate_den=1001"},
    {"width=640", "height=480", "rate_num=30", "rate_den=1"},
};
static const char *const codecs[][2] = {
    {"codec=mpeg2", "container=ps"},
    {"codec=h264", "container=mp4"},
    {"codec=mpeg4", "container=avi"},
};
static const char *const counters[][4] = {
    {"unit=m", "decimals=2", "suffix=_m", "fill=none"}, {"unit=ft", "decimals=1", "suffix=_FT", "fill=zero"},
    {"unit=m", "decimals=1", "suffix=m", "fill=blank"}, {"unit=ft", "decimals=1", "suffix='", "fill=zero"},
    {"unit=m", "decimals=2", "suffix=", "fill=zero"},
};
/* Ink and edge, as screens have them. */
static const char *const inks[][4] = {
    {"colour=ffffff", "outline=1", "shadow=0", "ground=none"},
    {"colour=f8f840", "outline=0", "shadow=2", "ground=none"},
    {"colour=ffffff", "outline=0", "shadow=0", "ground=band"},
    {"colour=40f060", "outline=2", "shadow=0", "ground=none"},
};

static void set(struct sm_sim_opts *opts, const char *assignment)
{
    struct sm_error err;
    assert_ok(sm_sim_opts_set(opts, assignment, &err), &err);
}

static void set_all(struct sm_sim_opts *opts, const char *const *assignments, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        set(opts, assignments[i]);
    }
}

static struct sm_sim_opts clip_opts(int k)
{
    static const char *const quick[] = {CLIP_LIMIT,    "length=3",  "observations=2", "stand_min=1",
                                        "stand_max=2", "lead_in=1", "speed_min=0.08", "speed_max=0.2",
                                        "title=0",     "gaps=0",    "text_pages=0",   "sentence=0",
                                        "vfr=no",      "bitrate=0", "gop=0",          "not_running=0",
                                        "black=0",     "update=0",  "lag=0",          "set_at=-1"};
    struct sm_sim_opts opts = sm_sim_opts_random(9000 + k, SM_SIM_VARIED);
    char text[96];
    set_all(&opts, quick, sizeof quick / sizeof *quick);
    set_all(&opts, sizes[k % 4], 4);
    set_all(&opts, codecs[k % 3], 2);
    set_all(&opts, counters[k % 5], 4);
    set_all(&opts, inks[(k / 3) % 4], 4);
    snprintf(text, sizeof text, "font=%s", faces[k % 9]);
    set(&opts, text);
    snprintf(text, sizeof text, "digit_px=%d", k % 4 == 1 ? 14 + k % 3 : 18 + k % 9);
    set(&opts, text);
    set(&opts, "bframes=-1");
    return opts;
}

static void test_read__simulated_surveys(void **state)
{
    (void)state;
    struct read_score sum = {0};
    for (int k = 0; k < N_CLIPS; k += CLIP_STEP) {
        const struct read_score_opts score_opts = {.n_frames = 60};
        struct sm_sim_opts opts = clip_opts(k);
        struct read_score score;
        struct sm_error err = {0};
        char dir[256], name[64];
        sm_test_dir_make(dir);
        assert_ok(sm_sim_write_survey(&opts, dir, &err), &err);
        enum sm_status status = read_score_clip(&score, dir, &score_opts, &err);
        snprintf(name, sizeof name, "%d %s", k, faces[k % 9]);
        read_score_print(name, &score);
        if (status != SM_OK) {
            print_message("    %s\n", err.text);
        }
        read_score_add(&sum, &score);
        if (!getenv("SM_KEEP")) {
            sm_test_dir_remove(dir);
        }
    }
    read_score_print("all", &sum);
    assert_true(sum.n_visible > 0);
    assert_true(read_score_percent(sum.n_exact, sum.n_visible) >= 97.0);
    assert_true(read_score_percent(sum.n_sure_wrong, sum.n_sure) <= 0.5);
    assert_int_equal(sum.n_ghost, 0);
    assert_true(read_score_percent(sum.n_format_right, sum.n_clips) >= 90.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_read__simulated_surveys)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
