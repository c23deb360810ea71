/*
 * How long a step through the footage takes: bench_review VIDEO...
 * Steps forwards, backwards, jumps to anywhere and playing at four times the speed, at the pace of a person (a step every
 * 120 ms at most), each timed from asking to having the JPEG.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "stopmark/job.h"

enum { N_STEPS = 200, N_JUMPS = 60, N_LIKELY = 30, LOOK_S = 15, PACE_MS = 120, CACHE_MB = 192 };

static double seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Ask, then rest until the next step is due. @return milliseconds waited for the frame. */
static double step_ms(struct sm_job_frames *frames, size_t idx, int heading)
{
    struct sm_text jpeg = {0};
    double begun_s = seconds();
    if (sm_job_frames_get(frames, idx, heading, &jpeg, NULL) != SM_OK) {
        fprintf(stderr, "no frame %zu\n", idx);
    }
    double took_ms = (seconds() - begun_s) * 1000;
    sm_text_release(&jpeg);
    if (took_ms < PACE_MS) {
        struct timespec rest = {.tv_nsec = (long)((PACE_MS - took_ms) * 1e6)};
        nanosleep(&rest, NULL);
    }
    return took_ms;
}

static void tell(const char *what, double *took_ms, size_t n)
{
    size_t n_under = 0;
    for (size_t i = 0; i < n; i++) {
        n_under += took_ms[i] < 150;
    }
    qsort(took_ms, n, sizeof *took_ms, compare);
    printf("  %-10s %4zu  median %6.1f ms  95 %% %6.1f ms  worst %6.1f ms  under 150 ms %5.1f %%\n", what, n, took_ms[n / 2],
           took_ms[n * 95 / 100], took_ms[n - 1], 100.0 * (double)n_under / (double)n);
}

static size_t random_frame(uint64_t *seed, size_t n)
{
    *seed = *seed * 6364136223846793005U + 1442695040888963407U;
    return (size_t)(*seed >> 33) % n;
}

/* As to the observations of a survey: told before, and jumped to after the reviewer has looked at the first picture a while. */
static void measure_likely(struct sm_job_frames *frames, uint64_t *seed)
{
    double time_s[N_LIKELY];
    double took_ms[N_LIKELY];
    for (size_t i = 0; i < N_LIKELY; i++) {
        time_s[i] = sm_job_frames_time(frames, random_frame(seed, sm_job_frames_count(frames)));
    }
    if (sm_job_frames_expect(frames, time_s, N_LIKELY, NULL) != SM_OK) {
        return;
    }
    nanosleep(&(struct timespec){.tv_sec = LOOK_S}, NULL);
    for (size_t i = 0; i < N_LIKELY; i++) {
        took_ms[i] = step_ms(frames, sm_job_frames_at(frames, time_s[i]), 0);
    }
    tell("to entries", took_ms, N_LIKELY);
}

static void measure(struct sm_job_frames *frames)
{
    double took_ms[N_STEPS];
    size_t n = sm_job_frames_count(frames);
    size_t at = n / 3;
    for (size_t i = 0; i < N_STEPS && at + 1 < n; i++) {
        took_ms[i] = step_ms(frames, ++at, 1);
    }
    tell("forwards", took_ms, N_STEPS);
    at = n * 2 / 3;
    for (size_t i = 0; i < N_STEPS && at > 0; i++) {
        took_ms[i] = step_ms(frames, --at, -1);
    }
    tell("backwards", took_ms, N_STEPS);
    at = n / 10;
    for (size_t i = 0; i < N_STEPS && at + 4 < n; i++) {
        took_ms[i] = step_ms(frames, at += 4, 4);
    }
    tell("play x4", took_ms, N_STEPS);
    uint64_t seed = 1;
    for (size_t i = 0; i < N_JUMPS; i++) {
        took_ms[i] = step_ms(frames, random_frame(&seed, n), 0);
    }
    tell("jumps", took_ms, N_JUMPS);
    measure_likely(frames, &seed);
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        struct sm_job_frames *frames = NULL;
        struct sm_error err = {0};
        const char *path = argv[i];
        const char *slash = strrchr(path, '/');
        if (sm_job_frames_open(&frames, &path, 1, (size_t)CACHE_MB << 20, &err) != SM_OK) {
            fprintf(stderr, "%s: %s\n", path, err.text);
            return 1;
        }
        printf("%s, %zu frames\n", slash ? slash + 1 : path, sm_job_frames_count(frames));
        if (sm_job_frames_count(frames) > 4 * N_STEPS) {
            measure(frames);
        }
        sm_job_frames_close(&frames);
    }
    return 0;
}
