/* Progress as one line of a terminal, and a clean stop on Ctrl-C: the work is told to end where it can. */
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

#define REFRESH_S 0.1
#define BAR_CELLS 20
#define MOST_TIME_S 3.6e6
#define LEAST_SHARE 0.02
#define FORECAST_AFTER_S 1.5 /* too early a forecast only jumps about */

static volatile sig_atomic_t is_stopped;

static void stop(int signal_number)
{
    (void)signal_number;
    is_stopped = 1;
}

static double clock_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* What is ignored stays so: a run under nohup goes on when its terminal closes. A second Ctrl-C ends the
 * program at once. */
static void heed(int signal_number)
{
    struct sigaction present;
    struct sigaction action = {.sa_handler = stop, .sa_flags = (int)SA_RESETHAND};
    sigemptyset(&action.sa_mask);
    if (sigaction(signal_number, NULL, &present) == 0 && present.sa_handler != SIG_IGN) {
        sigaction(signal_number, &action, NULL);
    }
}

struct sm_cli_progress sm_cli_progress_start(const struct sm_cli_common *common)
{
    heed(SIGINT);
    heed(SIGTERM);
    heed(SIGHUP);
    return (struct sm_cli_progress){.is_shown = !common->is_quiet && isatty(STDERR_FILENO)};
}

static void show_bar(double share)
{
    char bar[BAR_CELLS + 1];
    for (int i = 0; i < BAR_CELLS; i++) {
        bar[i] = share * BAR_CELLS >= i + 1 ? '=' : share * BAR_CELLS > i ? '-' : ' ';
    }
    bar[BAR_CELLS] = '\0';
    fprintf(stderr, " [%s] %d %%", bar, (int)(share * 100));
}

bool sm_cli_is_stopped(void)
{
    return is_stopped;
}

/* As H:MM:SS or M:SS. */
static void show_time(double time_s)
{
    int whole = time_s < MOST_TIME_S ? (int)(time_s + 0.5) : (int)MOST_TIME_S;
    if (whole >= 3600) {
        fprintf(stderr, "%d:%02d:%02d", whole / 3600, whole / 60 % 60, whole % 60);
    } else {
        fprintf(stderr, "%d:%02d", whole / 60, whole % 60);
    }
}

/* How fast a recording is read (1x = as it plays), and what is left at that rate. */
static void show_forecast(const struct sm_cli_progress *progress, double spent_s, double done, double share)
{
    if (strcmp(progress->doing, SM_JOB_READING) == 0) {
        fprintf(stderr, ", %dx speed", (int)(done / spent_s));
    }
    fputs(", ", stderr);
    show_time(spent_s * (1 - share) / share);
    fputs(" left", stderr);
}

static void show(struct sm_cli_progress *progress, double now_s, double done, double total)
{
    double spent_s = now_s - progress->begun_s;
    fprintf(stderr, "\r\033[K%s", progress->doing);
    if (total > 0 && done >= 0) {
        double share = done < total ? done / total : 1;
        show_bar(share);
        if (spent_s > FORECAST_AFTER_S && share > LEAST_SHARE) {
            show_forecast(progress, spent_s, done, share);
        }
    }
    fflush(stderr);
    progress->has_line = true;
    progress->last_s = now_s;
}

bool sm_cli_progress_tell(void *user, const char *doing, double done, double total)
{
    struct sm_cli_progress *progress = user;
    if (progress->is_shown) {
        double now_s = clock_s();
        bool is_new = !progress->doing || strcmp(progress->doing, doing) != 0;
        if (is_new) {
            progress->doing = doing;
            progress->begun_s = now_s;
        }
        if (is_new || now_s - progress->last_s >= REFRESH_S) {
            show(progress, now_s, done, total);
        }
    }
    return !is_stopped;
}

bool sm_cli_progress_line(struct sm_cli_progress *progress, const char *line)
{
    double now_s = progress->is_shown ? clock_s() : 0;
    if (progress->is_shown && now_s - progress->last_s >= REFRESH_S) {
        fprintf(stderr, "\r\033[K%s", line);
        fflush(stderr);
        progress->has_line = true;
        progress->last_s = now_s;
    }
    return !is_stopped;
}

void sm_cli_progress_end(struct sm_cli_progress *progress)
{
    if (progress->has_line) {
        fputs("\r\033[K", stderr);
        progress->has_line = false;
    }
}
