/*
 * Limits and confinement of the process that calls. Two bars, each enough for what it covers, so that a hole in one
 * is not a hole: Landlock lets no path be opened, seccomp lets no descriptor come into being at all. What is left is
 * memory, time, and reading and writing what was open before.
 *
 * seccomp is written as the kernel takes it, a little program over the number of a call and its first argument: a
 * library would be one more thing to trust for forty lines.
 */
#include "stopmark/process.h"

#include <errno.h>
#include <limits.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/landlock.h>
#include <linux/seccomp.h>
#include <sched.h>
#include <stddef.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

#if defined __SANITIZE_ADDRESS__
#define IS_SANITIZED true
#elif defined __has_feature
#if __has_feature(address_sanitizer)
#define IS_SANITIZED true
#endif
#endif
#ifndef IS_SANITIZED
#define IS_SANITIZED false
#endif

/* ---- limits ---- */

static bool set_limit(int which, int64_t value)
{
    struct rlimit limit;
    if (value <= 0) {
        return true;
    }
    if (getrlimit((__rlimit_resource_t)which, &limit) != 0) {
        return false;
    }
    rlim_t wanted = (rlim_t)value;
    limit.rlim_cur = wanted < limit.rlim_max ? wanted : limit.rlim_max;
    limit.rlim_max = limit.rlim_cur;
    return setrlimit((__rlimit_resource_t)which, &limit) == 0;
}

bool sm_process_limit(const struct sm_process_limits *limits)
{
    struct rlimit none = {0, 0};
    bool is_set = setrlimit(RLIMIT_CORE, &none) == 0; /* a crash leaves no copy of somebody's survey behind */
    is_set = (IS_SANITIZED || set_limit(RLIMIT_DATA, limits->memory_bytes)) && is_set;
    return set_limit(RLIMIT_CPU, limits->cpu_s) && is_set;
}

/* ---- Landlock ---- */

/* All rights of a kernel's version are handled and none is given. */
static bool bar_files(void)
{
    static const uint64_t rights_by_version[] = {
        0, (LANDLOCK_ACCESS_FS_MAKE_SYM << 1) - 1, (LANDLOCK_ACCESS_FS_MAKE_SYM << 2) - 1,
        (LANDLOCK_ACCESS_FS_MAKE_SYM << 3) - 1};
    long version =
        syscall(SYS_landlock_create_ruleset, NULL, (size_t)0, LANDLOCK_CREATE_RULESET_VERSION);
    if (version < 1) {
        return false;
    }
    long newest = sizeof rights_by_version / sizeof *rights_by_version - 1;
    struct landlock_ruleset_attr attributes = {
        .handled_access_fs = rights_by_version[version < newest ? version : newest]};
    long rules = syscall(SYS_landlock_create_ruleset, &attributes, sizeof attributes, 0U);
    if (rules < 0) {
        return false;
    }
    bool is_barred = syscall(SYS_landlock_restrict_self, (int)rules, 0U) == 0;
    close((int)rules);
    return is_barred;
}

/* ---- seccomp ---- */

#if defined __x86_64__
#define ARCHITECTURE AUDIT_ARCH_X86_64
#elif defined __aarch64__
#define ARCHITECTURE AUDIT_ARCH_AARCH64
#elif defined __i386__
#define ARCHITECTURE AUDIT_ARCH_I386
#elif defined __riscv
#define ARCHITECTURE AUDIT_ARCH_RISCV64
#endif

#ifdef ARCHITECTURE
/* What computing needs, and reading what is open. Nothing here brings a descriptor, a process or a program about. */
static const int computing[] = {
    SYS_read, SYS_pread64, SYS_lseek, SYS_recvfrom, SYS_close, SYS_fstat, SYS_mmap, SYS_munmap, SYS_mremap, SYS_mprotect,
    SYS_madvise, SYS_brk, SYS_futex, SYS_rt_sigreturn, SYS_rt_sigprocmask, SYS_rt_sigaction, SYS_sigaltstack, SYS_exit,
    SYS_exit_group, SYS_clock_gettime, SYS_gettimeofday, SYS_clock_nanosleep, SYS_nanosleep, SYS_getrandom, SYS_gettid,
    SYS_getpid, SYS_getppid, SYS_sched_yield, SYS_sched_getaffinity, SYS_sysinfo, SYS_restart_syscall, SYS_ppoll,
#ifdef SYS_poll
    SYS_poll,
#endif
};
/* Nobody who decodes a video calls these by mistake: end the process. All else fails with EPERM, as libraries expect. */
static const int hostile[] = {
    SYS_socket, SYS_connect, SYS_execve, SYS_execveat, SYS_ptrace, SYS_process_vm_writev, SYS_mount, SYS_bpf, SYS_io_uring_setup,
};
enum { N_COMPUTING = sizeof computing / sizeof *computing, N_HOSTILE = sizeof hostile / sizeof *hostile, MOST = 3 * 64 };

#define REFUSED (SECCOMP_RET_ERRNO | (EPERM & SECCOMP_RET_DATA))
#define DATA(field) ((uint32_t)offsetof(struct seccomp_data, field))

struct program {
    struct sock_filter step[MOST];
    unsigned short n;
};
static void add(struct program *program, uint16_t code, uint32_t k, uint8_t when_true, uint8_t when_false)
{
    program->step[program->n++] = (struct sock_filter){code, when_true, when_false, k};
}
static void answer(struct program *program, int number, uint32_t result)
{
    add(program, BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)number, 0, 1);
    add(program, BPF_RET | BPF_K, result, 0, 0);
}

/* A call that writes: only to the channel. write(2), the descriptor of messages of a sanitizer, in its builds. */
static void answer_write(struct program *program, int number, int channel)
{
    int also = IS_SANITIZED ? STDERR_FILENO : channel;
    add(program, BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)number, 0, 5);
    add(program, BPF_LD | BPF_W | BPF_ABS, DATA(args[0]), 0, 0);
    add(program, BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)channel, 1, 0);
    add(program, BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)also, 0, 1);
    add(program, BPF_RET | BPF_K, SECCOMP_RET_ALLOW, 0, 0);
    add(program, BPF_RET | BPF_K, REFUSED, 0, 0);
}

static void write_program(struct program *program, int channel)
{
    add(program, BPF_LD | BPF_W | BPF_ABS, DATA(arch), 0, 0);
    add(program, BPF_JMP | BPF_JEQ | BPF_K, ARCHITECTURE, 1, 0);
    add(program, BPF_RET | BPF_K, SECCOMP_RET_KILL_PROCESS, 0, 0);
    add(program, BPF_LD | BPF_W | BPF_ABS, DATA(nr), 0, 0);
    for (size_t i = 0; i < N_HOSTILE; i++) {
        answer(program, hostile[i], SECCOMP_RET_KILL_PROCESS);
    }
    for (size_t i = 0; i < N_COMPUTING; i++) {
        answer(program, computing[i], SECCOMP_RET_ALLOW);
    }
    answer_write(program, SYS_sendto, channel);
    answer_write(program, SYS_write, channel);
    add(program, BPF_RET | BPF_K, REFUSED, 0, 0);
}

static bool bar_calls(int channel)
{
    struct program program = {.n = 0};
    write_program(&program, channel);
    struct sock_fprog handed = {program.n, program.step};
    return prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &handed, 0, 0) == 0;
}
#else
static bool bar_calls(int channel)
{
    (void)channel;
    return false;
}
#endif

/* ---- both ---- */

static bool is_kept(int fd, const int *keep, size_t n_keep, int channel)
{
    bool is_for_messages = IS_SANITIZED && fd == STDERR_FILENO;
    for (size_t i = 0; i < n_keep; i++) {
        if (keep[i] == fd) {
            return true;
        }
    }
    return fd == channel || is_for_messages;
}

/* close_range() is one call for the billion descriptors that may be allowed. */
static void close_others(const int *keep, size_t n_keep, int channel)
{
    int greatest = channel;
    for (size_t i = 0; i < n_keep; i++) {
        greatest = keep[i] > greatest ? keep[i] : greatest;
    }
    for (int fd = 0; fd < greatest; fd++) {
        if (!is_kept(fd, keep, n_keep, channel)) {
            close(fd);
        }
    }
    (void)syscall(SYS_close_range, (unsigned)greatest + 1, UINT_MAX, 0U);
}

unsigned sm_process_confine(const int *keep, size_t n_keep, int channel)
{
    close_others(keep, n_keep, channel);
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0) {
        return 0;
    }
    (void)prctl(PR_SET_DUMPABLE, 0, 0, 0, 0);
    unsigned bars = bar_files() ? SM_PROCESS_BAR_FILES : 0;
    return bars | (bar_calls(channel) ? SM_PROCESS_BAR_CALLS : 0);
}
