/* A process of its own: messages, ends of all kinds, limits, and what a confined one cannot do. */
#include <errno.h>
#include <fcntl.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <signal.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <unistd.h>

#include "sm_test.h"
#include "stopmark/process.h"

static struct sm_process start(sm_process_fn *fn, void *user)
{
    struct sm_process process = {0};
    struct sm_error err = {0};
    assert_int_equal(sm_process_start(&process, fn, user, &err), SM_OK);
    return process;
}

static struct sm_process_end end_of(struct sm_process *process)
{
    struct sm_process_end end;
    assert_true(sm_process_ended(process, true, &end));
    assert_int_equal(process->channel, -1);
    return end;
}

/* ---- talking ---- */

static int echo(void *user, int channel)
{
    char text[8];
    (void)user;
    while (sm_process_receive(channel, text, sizeof text, -1) == SM_PROCESS_GOT) {
        if (!sm_process_send(channel, text, sizeof text)) {
            return 1;
        }
    }
    return 7;
}

static void test_process__messages_go_both_ways(void **state)
{
    (void)state;
    struct sm_process process = start(echo, NULL);
    char back[8];
    assert_true(sm_process_send(process.channel, "1234567", 8));
    assert_int_equal(sm_process_receive(process.channel, back, sizeof back, 10000), SM_PROCESS_GOT);
    assert_string_equal(back, "1234567");
    assert_int_equal(sm_process_receive(process.channel, back, sizeof back, 10), SM_PROCESS_LATE);
    assert_int_equal(shutdown(process.channel, SHUT_WR), 0);
    assert_int_equal(end_of(&process).exit_status, 7);
}

static int crash(void *user, int channel)
{
    (void)user;
    (void)channel;
    signal(SIGSEGV, SIG_DFL); /* the sanitizer would make an exit of it */
    raise(SIGSEGV);
    return 0;
}

static void test_process__a_crash_is_told(void **state)
{
    (void)state;
    struct sm_process process = start(crash, NULL);
    char byte;
    assert_int_equal(sm_process_receive(process.channel, &byte, 1, 10000), SM_PROCESS_GONE);
    assert_false(sm_process_send(process.channel, "x", 1));
    struct sm_process_end end = end_of(&process);
    assert_int_equal(end.exit_status, -1);
    assert_int_equal(end.signal, SIGSEGV);
}

static int hang(void *user, int channel)
{
    char byte;
    (void)user;
    while (sm_process_receive(channel, &byte, 1, 1000) != SM_PROCESS_GOT) {
        pause();
    }
    return 0;
}

static void test_process__a_hang_is_ended(void **state)
{
    (void)state;
    struct sm_process process = start(hang, NULL);
    struct sm_process_end end;
    assert_false(sm_process_ended(&process, false, &end));
    sm_process_stop(&process, false);
    assert_int_equal(end_of(&process).signal, SIGTERM);
    process = start(hang, NULL);
    sm_process_close(&process);
    assert_int_equal(process.pid, 0);
    sm_process_close(&process);
}

/* ---- limits ---- */

static int take_memory(void *user, int channel)
{
    (void)user;
    (void)channel;
    struct sm_process_limits limits = {.memory_bytes = 64 << 20};
    if (!sm_process_limit(&limits)) {
        return 2;
    }
    char *volatile little =
        malloc(1 << 20); /* volatile: a compiler may leave out an allocation nobody looks into */
    char *volatile much = malloc((size_t)256 << 20);
    int result = !little ? 3 : much ? 4 : 0;
    free(little);
    free(much);
    return result;
}

static int take_time(void *user, int channel)
{
    (void)user;
    (void)channel;
    volatile unsigned n = 0;
    struct sm_process_limits limits = {.cpu_s = 1};
    if (!sm_process_limit(&limits)) {
        return 2;
    }
    while (n < 2000000000U) {
        n = (n + 1) % 1000000000U;
    }
    return 3;
}

static void test_process__limits_hold(void **state)
{
    (void)state;
#if !defined __SANITIZE_ADDRESS__
    struct sm_process hungry = start(take_memory, NULL);
    assert_int_equal(end_of(&hungry).exit_status, 0);
#else
    (void)take_memory;
#endif
    struct sm_process slow = start(take_time, NULL);
    int signal_number = end_of(&slow).signal;
    assert_true(signal_number == SIGXCPU || signal_number == SIGKILL);
}

/* ---- confinement ---- */

/* What a hostile file would have the decoder do; each answers 0 when it is kept from it. */
static int opens_to_read(int channel)
{
    (void)channel;
    return open("/etc/passwd", O_RDONLY) >= 0;
}
static int opens_to_write(int channel)
{
    (void)channel;
    return open("/tmp/stopmark-test-confine", O_WRONLY | O_CREAT, 0600) >= 0;
}
static int removes(int channel)
{
    (void)channel;
    return unlink("/tmp/stopmark-test-confine-there") == 0;
}
static int writes_elsewhere(int channel)
{
    (void)channel;
    return write(STDOUT_FILENO, "!", 1) == 1;
}
static int writes_to_what_it_reads(int channel)
{
    return write(channel + 1, "!", 1) == 1 || ftruncate(channel + 1, 0) == 0;
}
static int forks(int channel)
{
    (void)channel;
    pid_t pid = fork();
    if (pid == 0) {
        _exit(0);
    }
    return pid > 0;
}
static int signals_parent(int channel)
{
    (void)channel;
    return kill(getppid(), 0) == 0;
}
/* These end the process. */
static int opens_socket(int channel)
{
    (void)channel;
    return socket(AF_INET, SOCK_STREAM, 0) >= 0;
}
static int runs_program(int channel)
{
    (void)channel;
    return execl("/bin/true", "true", (char *)NULL) == 0;
}

struct attempt {
    int (*fn)(int channel);
    int keep;
    unsigned bars;
};

static int attempt_confined(void *user, int channel)
{
    const struct attempt *attempt = user;
    int keep = dup2(attempt->keep, channel + 1);
    unsigned bars = sm_process_confine(&keep, 1, channel);
    if (!(bars & SM_PROCESS_BAR_CALLS)) {
        return 100;
    }
    char byte = 0;
    if (pread(keep, &byte, 1, 0) != 1 || byte != 'v') { /* what it was given it can read */
        return 101;
    }
    void *memory = malloc(1 << 20); /* and compute */
    free(memory);
    return memory ? attempt->fn(channel) : 102;
}

static void test_process__a_confined_one_reaches_nothing(void **state)
{
    (void)state;
    static int (*const refused[])(int) = {opens_to_read,    opens_to_write,          removes,
                                          writes_elsewhere, writes_to_what_it_reads, forks,
                                          signals_parent};
    static int (*const deadly[])(int) = {opens_socket, runs_program};
    char name[] = "/tmp/stopmark-test-XXXXXX";
    int video = mkstemp(name);
    assert_true(video >= 0 && write(video, "video", 5) == 5);
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        struct attempt attempt = {.fn = refused[i], .keep = video};
        struct sm_process process = start(attempt_confined, &attempt);
        struct sm_process_end end = end_of(&process);
        if (end.exit_status == 100) {
            print_message("no seccomp here: not tested\n");
            break;
        }
        if (end.exit_status != 0) {
            fail_msg("attempt %zu: exit status %d, signal %d", i, end.exit_status, end.signal);
        }
    }
    for (size_t i = 0; i < sizeof deadly / sizeof *deadly; i++) {
        struct attempt attempt = {.fn = deadly[i], .keep = video};
        struct sm_process process = start(attempt_confined, &attempt);
        struct sm_process_end end = end_of(&process);
        assert_true(end.signal == SIGSYS || end.exit_status == 100);
    }
    char content[5];
    assert_int_equal(pread(video, content, 5, 0), 5);
    assert_memory_equal(content, "video", 5);
    close(video);
    unlink(name);
}

/* ---- a kernel with less ---- */

/* From here on a call, or prctl() with this first argument, is refused as an old kernel would. */
static bool take_away(int number, int first_argument)
{
    struct sock_filter step[] = {
        BPF_STMT(BPF_LD | BPF_W | BPF_ABS, (uint32_t)offsetof(struct seccomp_data, nr)),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)number, 0, 3),
        BPF_STMT(BPF_LD | BPF_W | BPF_ABS, (uint32_t)offsetof(struct seccomp_data, args[0])),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)first_argument, 0, 1),
        BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ERRNO | ENOSYS),
        BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW),
    };
    struct sock_fprog program = {sizeof step / sizeof *step, step};
    return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 && prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program, 0, 0) == 0;
}

/* @return the bars, 50 = none could be asked for, 100 = nothing can be taken away here. */
static int bars_without(void *user, int channel)
{
    const int *taken = user;
    unsigned bars = 50;
    (void)channel;
    if (taken && !take_away(taken[0], taken[1])) {
        return 100;
    }
    return sm_process_bars_here(&bars) ? (int)bars : 50;
}

static void test_process__missing_bars_are_told(void **state)
{
    (void)state;
    int landlock[] = {SYS_landlock_create_ruleset, 0}, seccomp[] = {SYS_prctl, PR_SET_SECCOMP};
    struct sm_process process = start(bars_without, NULL);
    int whole = end_of(&process).exit_status;
    process = start(bars_without, landlock);
    int without_landlock = end_of(&process).exit_status;
    if (without_landlock == 100) {
        print_message("no seccomp here: not tested\n");
        return;
    }
    assert_in_range(whole, SM_PROCESS_BAR_CALLS, SM_PROCESS_BAR_CALLS | SM_PROCESS_BAR_FILES);
    assert_int_equal(without_landlock, SM_PROCESS_BAR_CALLS);
    process = start(bars_without, seccomp);
    assert_int_equal(end_of(&process).exit_status, whole & ~SM_PROCESS_BAR_CALLS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_process__messages_go_both_ways),
        cmocka_unit_test(test_process__a_crash_is_told),
        cmocka_unit_test(test_process__a_hang_is_ended),
        cmocka_unit_test(test_process__limits_hold),
        cmocka_unit_test(test_process__a_confined_one_reaches_nothing),
        cmocka_unit_test(test_process__missing_bars_are_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
