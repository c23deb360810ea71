/* Starting, talking to and ending a process of our own. */
#include "stopmark/process.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

/* ---- starting ---- */

/* The mask too: whoever starts us may have blocked signals for its own threads. */
static void reset_signals(void)
{
    static const int signals[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE, SIGCHLD, SIGALRM};
    struct sigaction usual = {.sa_handler = SIG_DFL};
    sigemptyset(&usual.sa_mask);
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++) {
        sigaction(signals[i], &usual, NULL);
    }
    sigprocmask(SIG_SETMASK, &usual.sa_mask, NULL);
}

/* _exit(): what the parent registered to happen at its end, and what it has not flushed, is the parent's. */
static _Noreturn void be_child(sm_process_fn *fn, void *user, int channel, pid_t parent)
{
    reset_signals();
    (void)setpgid(0, 0);
    (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
    if (getppid() != parent) { /* it ended before we could ask to be told */
        _exit(126);
    }
    _exit(fn(user, channel));
}

enum sm_status sm_process_start(struct sm_process *out, sm_process_fn *fn, void *user, struct sm_error *err)
{
    int ends[2];
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0) {
        sm_error_set(err, SM_E_IO, "no channel to a process of its own: %s", strerror(errno));
        return sm_error_remedy(err, "close other programs, or raise the limit of open files");
    }
    pid_t parent = getpid();
    pid_t pid = fork();
    if (pid == 0) {
        close(ends[0]);
        be_child(fn, user, ends[1], parent);
    }
    int code = errno;
    close(ends[1]);
    if (pid < 0) {
        close(ends[0]);
        sm_error_set(err, SM_E_IO, "the system starts no further process: %s", strerror(code));
        return sm_error_remedy(err, "close other programs, or ask for fewer workers");
    }
    (void)setpgid(pid, pid); /* on both sides: whichever comes first */
    *out = (struct sm_process){pid, ends[0]};
    return SM_OK;
}

/* ---- talking ---- */

bool sm_process_send(int channel, const void *data, size_t n)
{
    const char *from = data;
    while (n) {
        ssize_t put = send(channel, from, n, MSG_NOSIGNAL);
        if (put < 0 && errno != EINTR) {
            return false;
        }
        if (put > 0) {
            from += put;
            n -= (size_t)put;
        }
    }
    return true;
}

/* Errors of poll() other than an interruption show again in recv(). */
static bool is_ready(int channel, int wait_ms)
{
    struct pollfd fd = {.fd = channel, .events = POLLIN};
    int ready;
    do {
        ready = poll(&fd, 1, wait_ms);
    } while (ready < 0 && errno == EINTR && wait_ms < 0);
    return ready > 0;
}

enum sm_process_got sm_process_receive(int channel, void *data, size_t n, int wait_ms)
{
    char *to = data;
    if (n && wait_ms >= 0 && !is_ready(channel, wait_ms)) {
        return SM_PROCESS_LATE;
    }
    while (n) {
        ssize_t got = recv(channel, to, n, 0);
        if (got == 0 || (got < 0 && errno != EINTR)) {
            return SM_PROCESS_GONE;
        }
        if (got > 0) {
            to += got;
            n -= (size_t)got;
        }
    }
    return SM_PROCESS_GOT;
}

/* ---- ending ---- */

bool sm_process_ended(struct sm_process *process, bool is_blocking, struct sm_process_end *end)
{
    int status = 0;
    pid_t pid;
    do {
        pid = waitpid((pid_t)process->pid, &status, is_blocking ? 0 : WNOHANG);
    } while (pid < 0 && errno == EINTR);
    if (pid == 0) {
        return false;
    }
    bool is_signal = pid > 0 && WIFSIGNALED(status);
    *end = (struct sm_process_end){.exit_status = pid > 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1,
                                   .signal = is_signal ? WTERMSIG(status) : 0};
    if (process->channel >= 0) {
        close(process->channel);
    }
    *process = (struct sm_process){.channel = -1};
    return true;
}

/* Both: until the child has made its group, only its pid reaches it. */
void sm_process_stop(const struct sm_process *process, bool is_forced)
{
    if (process->pid > 0) {
        int signal_number = is_forced ? SIGKILL : SIGTERM;
        (void)kill((pid_t)-process->pid, signal_number);
        (void)kill((pid_t)process->pid, signal_number);
    }
}

void sm_process_close(struct sm_process *process)
{
    struct sm_process_end end;
    if (process->pid > 0) {
        sm_process_stop(process, true);
        sm_process_ended(process, true, &end);
    }
}

double sm_process_cpu_s(const struct sm_process *process)
{
    clockid_t clock;
    struct timespec used;
    if (process->pid <= 0 || clock_getcpuclockid((pid_t)process->pid, &clock) != 0 ||
        clock_gettime(clock, &used) != 0) {
        return SM_NAN;
    }
    return (double)used.tv_sec + (double)used.tv_nsec * 1e-9;
}
