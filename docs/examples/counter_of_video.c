/*
 * The distance counter of a survey video at times of your choice, with the installed library:
 *
 *   cc counter_of_video.c $(pkg-config --cflags --libs stopmark) -o counter_of_video
 *   ./counter_of_video run1.mpg 72 95.5
 */
#include <stdio.h>
#include <stdlib.h>

#include <stopmark/job.h>
#include <stopmark/trace.h>

enum { MOST_TIMES = 100 };

static int fail(const struct sm_error *err)
{
    fprintf(stderr, "%s: %s; %s\n", err->source, err->text, err->remedy);
    return EXIT_FAILURE;
}

/* A reading is what the picture shows; how sure it is stands beside it. Below 0.9 look for yourself. */
static void tell(const struct sm_trace *trace, const struct sm_reading *reading)
{
    struct sm_text shown = {0};
    sm_text_add_reading(&shown, reading, trace->format.decimals);
    printf("%8.2f s: %s %s, %s, confidence %.2f\n", reading->time_s, shown.length ? shown.data : "nothing",
           sm_unit_name(trace->format.unit), sm_reading_state_name(reading->state), (double)reading->confidence);
    sm_text_release(&shown);
}

int main(int argc, char **argv)
{
    double at_s[MOST_TIMES];
    size_t n_at = 0;
    for (int i = 2; i < argc && n_at < MOST_TIMES; i++) {
        const char *end;
        if (!sm_scan_number(argv[i], false, false, &at_s[n_at++], &end) || *end) {
            fprintf(stderr, "%s is no time in seconds\n", argv[i]);
            return 2;
        }
    }
    if (n_at == 0) {
        fprintf(stderr, "usage: counter_of_video VIDEO SECONDS...\n");
        return 2;
    }
    const char *const video[] = {argv[1]};
    struct sm_job_read_opts opts = {.n_videos = 1, .video = video, .n_at = n_at, .at_s = at_s};
    struct sm_trace *trace = NULL;
    struct sm_error err = {0};
    if (sm_job_read(&trace, &opts, NULL, &err) != SM_OK) {
        return fail(&err);
    }
    for (size_t i = 0; i < trace->n_readings; i++) {
        tell(trace, &trace->reading[i]);
    }
    sm_trace_free(&trace);
    return EXIT_SUCCESS;
}
