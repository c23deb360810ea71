/*
 * What it costs to look at a video: bench_media FILE... prints, for each file, CPU time of opening, key-frame
 * scans, a sparse scan and thirty exact frames, as a share of what the ffmpeg command needs to decode the
 * file in full on one thread, measured in the same run. Every measurement is a process of its own, so that
 * memory is told apart too.
 */
#define _DEFAULT_SOURCE /* wait4 */
#include "stopmark/media.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

struct cost {
    double cpu_s, resident_mib;
    bool is_good;
};

typedef void work_fn(const char *path);

static enum sm_status ignore(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)user;
    (void)frame;
    (void)err;
    return SM_OK;
}

static struct sm_media *open_or_exit(const char *path)
{
    struct sm_media *media = NULL;
    struct sm_error err = {0};
    if (sm_media_open(&media, &path, 1, &err) != SM_OK) {
        fprintf(stderr, "%s: %s; %s\n", path, err.text, err.remedy);
        _exit(1);
    }
    return media;
}

static void decode_in_full(const char *path)
{
    execlp("ffmpeg", "ffmpeg", "-nostdin", "-v", "error", "-threads", "1", "-i", path, "-map", "0:v:0",
           "-fps_mode", "passthrough", "-f", "null", "-", (char *)NULL);
    _exit(1);
}

static void open_only(const char *path)
{
    struct sm_media *media = open_or_exit(path);
    sm_media_close(&media);
}

static void scan(const char *path, double step_s, bool cheap_only)
{
    struct sm_media *media = open_or_exit(path);
    if (sm_media_scan(media, 0, SM_INFINITY, step_s, cheap_only, ignore, NULL, NULL) != SM_OK) {
        _exit(1);
    }
    sm_media_close(&media);
}

static void scan_keys(const char *path)
{
    scan(path, 0.4, true);
}

static void scan_keys_sparsely(const char *path)
{
    scan(path, 2, true);
}

static void scan_frames_sparsely(const char *path)
{
    scan(path, 5, false);
}

static void scan_all(const char *path)
{
    scan(path, 0, false);
}

/* Thirty places all over the recording, as observations are. */
static void thirty_frames(const char *path)
{
    struct sm_media *media = open_or_exit(path);
    double time_s[30];
    for (int i = 0; i < 30; i++) {
        time_s[i] = sm_media_get_info(media)->duration_s * fmod(0.37 + i * 0.618034, 1.0);
    }
    if (sm_media_at(media, time_s, 30, NULL, ignore, NULL, NULL) != SM_OK) {
        _exit(1);
    }
    sm_media_close(&media);
}

static double seconds_of(struct timeval time)
{
    return (double)time.tv_sec + 1e-6 * (double)time.tv_usec;
}

/* The work in a process of its own, which reports its own use of CPU and memory by ending. */
static struct cost measure(work_fn *work, const char *path)
{
    fflush(stdout);
    pid_t child = fork();
    if (child == 0) {
        work(path);
        _exit(0);
    }
    int status = 0;
    struct rusage usage;
    if (child < 0 || wait4(child, &status, 0, &usage) < 0) {
        return (struct cost){0};
    }
    return (struct cost){seconds_of(usage.ru_utime) + seconds_of(usage.ru_stime),
                         (double)usage.ru_maxrss / 1024, WIFEXITED(status) && WEXITSTATUS(status) == 0};
}

int main(int n_args, char **arg)
{
    static const struct {
        const char *name;
        work_fn *work;
    } works[] = {{"open", open_only},
                 {"keys 0.4 s", scan_keys},
                 {"keys 2 s", scan_keys_sparsely},
                 {"any 5 s", scan_frames_sparsely},
                 {"30 frames", thirty_frames},
                 {"all", scan_all}};
    enum { N_WORKS = sizeof works / sizeof works[0] };
    printf("%-28s %9s", "file", "full, s");
    for (int k = 0; k < N_WORKS; k++) {
        printf(" %10s", works[k].name);
    }
    printf(" %9s\n", "MiB");
    for (int i = 1; i < n_args; i++) {
        struct cost cost[N_WORKS];
        double largest_mib = 0;
        for (int k = 0; k < N_WORKS; k++) {
            cost[k] = measure(works[k].work, arg[i]);
            if (!cost[k].is_good) {
                return 1;
            }
            largest_mib = fmax(largest_mib, cost[k].resident_mib);
        }
        struct cost full = measure(decode_in_full, arg[i]);
        if (!full.is_good || !(full.cpu_s > 0)) {
            return 1;
        }
        printf("%-28s %9.2f", arg[i], full.cpu_s);
        for (int k = 0; k < N_WORKS; k++) {
            printf(" %10.3f", cost[k].cpu_s / full.cpu_s);
        }
        printf(" %9.1f\n", largest_mib);
    }
    return 0;
}
