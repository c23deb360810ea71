/* Every codec and container holds the frames and times that the truth says, asked of ffprobe and not of the
 * code that wrote them. */
#include "sim_check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MAX_FRAMES 2000

/* Times of all frames as ffprobe tells them, from the first frame on; NAN where it knows none. @return their
 * number. */
static size_t probe_times(const char *path, double *time_s)
{
    char command[1024], line[256];
    snprintf(command, sizeof command,
             "ffprobe -v error -select_streams v:0 -show_entries frame=best_effort_timestamp_time -of "
             "csv=p=0 '%s'",
             path);
    FILE *pipe = popen(command, "r"); /* NOLINT: a fixed command on our own scratch file */
    assert_non_null(pipe);
    size_t n = 0;
    while (fgets(line, sizeof line, pipe) && n < MAX_FRAMES) {
        const char *end = NULL;
        if (line[0] != '\n') {
            time_s[n] = SM_NAN;
            (void)sm_scan_number(line, false, false, &time_s[n], &end);
            n++;
        }
    }
    assert_int_equal(pclose(pipe), 0);
    for (size_t i = n; i-- > 0;) {
        time_s[i] -= time_s[0];
    }
    return n;
}

static void check_against_ffprobe(const struct sm_sim_opts *opts, const char *dir)
{
    static double time_s[MAX_FRAMES];
    char path[512];
    snprintf(path, sizeof path, "%s/%s", dir, sm_sim_video_name(opts));
    size_t n = probe_times(path, time_s);
    struct sm_csv *truth = sim_check_table(dir, "truth.csv");
    assert_int_equal(n, sm_csv_n_rows(truth) - 1);
    assert_true(n > 20);
    bool has_times = opts->video.container != SM_SIM_AVI; /* AVI frames only have a number */
    size_t n_told = 0;
    for (size_t i = 0; has_times && i < n; i++) {
        n_told += isnan(time_s[i]) ? 0 : 1;
        assert_close(isnan(time_s[i]) ? 0 : sim_check_number(truth, i, "time_s") - time_s[i], 0, 0.0011);
    }
    assert_true(!has_times || n_told + 1 >= n); /* a program stream may leave the last one out */
    sm_csv_free(&truth);
}

static void test_sim_codecs__every_codec_and_container(void **state)
{
    (void)state;
    static const char *const cases[][3] = {
        {"codec=mpeg1", "container=ps", ""},           {"codec=mpeg2", "container=ps", "interlaced=yes"},
        {"codec=mpeg2", "container=ts", ""},           {"codec=mpeg4", "container=avi", ""},
        {"codec=mpeg4", "container=avi", "bframes=2"}, {"codec=mjpeg", "container=avi", ""},
        {"codec=h264", "container=mp4", ""},           {"codec=h264", "container=mkv", "vfr=yes"},
        {"codec=hevc", "container=mp4", ""},           {"codec=hevc", "container=mkv", "vfr=yes"},
        {"codec=wmv2", "container=asf", ""},           {"codec=h264", "container=ts", "bframes=0"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        bool is_ntsc = i % 2 == 1;
        const char *settings[] = {"limit=1.2",
                                  cases[i][0],
                                  cases[i][1],
                                  is_ntsc ? "rate_num=30000" : "rate_num=25",
                                  is_ntsc ? "rate_den=1001" : "rate_den=1",
                                  cases[i][2][0] ? cases[i][2] : NULL,
                                  NULL};
        char dir[256];
        struct sm_sim_opts opts;
        sm_test_dir_make(dir);
        sim_check_make(&opts, settings, dir);
        check_against_ffprobe(&opts, dir);
        sm_test_dir_remove(dir);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_codecs__every_codec_and_container),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
