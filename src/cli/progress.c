/* Progress as one line of a terminal, and a clean stop on Ctrl-C: the work is told to end where it can. */
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

#define REFRESH_S 0.1
#define FORECAST_AFTER_S 3.0 /* too early a forecast only jumps about */

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

static void show(struct sm_cli_progress *progress, double now_s, double done, double total)
{
    fprintf(stderr, "\r\033[K%s", progress->doing);
    if (total > 0 && done >= 0) {
        double share = done < total ? done / total : 1;
        fprintf(stderr, " %d %%", (int)(share * 100));
        double spent_s = now_s - progress->begun_s;
        if (spent_s > FORECAST_AFTER_S && share > 0.02) {
            int left_s = (int)(spent_s * (1 - share) / share + 0.5);
            fprintf(stderr, ", %d:%02d left", left_s / 60, left_s % 60);
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

void sm_cli_progress_end(struct sm_cli_progress *progress)
{
    if (progress->has_line) {
        fputs("\r\033[K", stderr);
        progress->has_line = false;
    }
}
