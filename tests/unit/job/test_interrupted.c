/*
 * Every command that writes, killed at random moments 200 times and run on a full disk at every size: the job is as it was
 * or as it should be, never between. And several at once: they wait for one another.
 *
 *   test_interrupted schedule | record | recheck | merge | audit | decide | issue | several [KILLS]
 */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "job_commands.h"
#include "sm_test.h"

/* 200 kills, disks of every 6000 bytes; fewer where the second argument says so (under the sanitizers a fork is slow). */
static int n_kills = 200;
static const struct job_command *command;
#define DISK_STEP_BYTES ((rlim_t)6000 * 200 / (rlim_t)n_kills)

/* ---- killing ---- */

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void sleep_s(double s)
{
    struct timespec t = {(time_t)s, (long)((s - floor(s)) * 1e9)};
    nanosleep(&t, NULL);
}

/* In a process of its own; no leak is looked for in what was cut off. */
static pid_t start(rlim_t disk_bytes)
{
    pid_t child = fork();
    if (child == 0) {
        struct sm_error err = {0};
        if (disk_bytes != RLIM_INFINITY) {
            signal(SIGXFSZ, SIG_IGN);
            setrlimit(RLIMIT_FSIZE, &(struct rlimit){disk_bytes, disk_bytes});
        }
        enum sm_status status = command->run(&err);
        _exit(status == SM_OK ? 0 : err.text[0] ? 1 : 3);
    }
    assert_true(child > 0);
    return child;
}

static int wait_for(pid_t child)
{
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void test_killed_at_any_moment(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(9);
    char before[65];
    char after[65];
    char seen[65];
    int n_done = 0;
    job_fresh();
    job_read_state(before);
    double begun_s = now_s();
    assert_int_equal(wait_for(start(RLIM_INFINITY)), 0);
    double needed_s = now_s() - begun_s;
    job_read_state(after);
    bool is_audit = strcmp(command->name, "audit") == 0;
    assert_true(is_audit ? job_has_documents() : strcmp(before, after) != 0);
    for (int i = 0; i < n_kills; i++) {
        job_fresh();
        pid_t child = start(RLIM_INFINITY);
        sleep_s(sm_test_uniform(&random, 0, needed_s * 1.1));
        kill(child, SIGKILL);
        (void)wait_for(child);
        job_read_state(seen);
        bool is_done = is_audit ? job_has_documents() : strcmp(seen, after) == 0;
        assert_true(is_done || strcmp(seen, before) == 0);
        n_done += is_done;
    }
    printf("%s: %d kills, %d after it was done, a run takes %.3f s\n", command->name, n_kills, n_done, needed_s);
    assert_true(n_done < n_kills);
}

/* Files may not grow past a size that rises: the command fails with words until all fits. */
static void test_full_disk(void **state)
{
    (void)state;
    char before[65];
    char seen[65];
    int n_failed = 0;
    job_fresh();
    job_read_state(before);
    struct stat size;
    assert_int_equal(stat(job_files.base, &size), 0);
    for (rlim_t bytes = 0; bytes < 2000000; bytes += DISK_STEP_BYTES) {
        job_fresh();
        int result = wait_for(start(bytes));
        if (result == 0) {
            break;
        }
        assert_int_equal(result, 1); /* told in words */
        job_read_state(seen);
        assert_string_equal(seen, before);
        assert_false(job_has_documents());
        n_failed++;
    }
    assert_true(n_failed >= 1);
}

/* ---- several at once ---- */

static void test_several_wait_for_one_another(void **state)
{
    (void)state;
    enum { N = 8 };
    pid_t child[N];
    char seen[65];
    for (int i = 0; i < N; i++) {
        char name[32];
        char text[100];
        snprintf(name, sizeof name, "crew%d.csv", i);
        snprintf(text, sizeof text, "repair,date,stop,liner_length\nX%d,2031-04-02,3,0.6\n", i);
        job_write_in(name, text);
    }
    job_fresh();
    for (int i = 0; i < N; i++) {
        char name[32];
        snprintf(name, sizeof name, "crew%d.csv", i);
        child[i] = fork();
        if (child[i] == 0) {
            struct sm_error err = {0};
            _exit(job_record_file(name, &err) == SM_OK ? 0 : 1);
        }
    }
    for (int i = 0; i < N; i++) {
        assert_int_equal(wait_for(child[i]), 0);
    }
    job_read_state(seen);
    struct sm_store *store = NULL;
    struct sm_store_as_builts *rows = NULL;
    assert_ok(sm_store_open(&store, job_files.work, SM_STORE_READ, NULL), NULL);
    assert_ok(sm_store_list_as_built(&rows, store, NULL, NULL), NULL);
    assert_int_equal(rows->n, N);
    sm_store_as_builts_free(&rows);
    sm_store_close(&store);
}

int main(int argc, char **argv)
{
    const struct CMUnitTest interrupted[] = {cmocka_unit_test(test_killed_at_any_moment), cmocka_unit_test(test_full_disk)};
    const struct CMUnitTest several[] = {cmocka_unit_test(test_several_wait_for_one_another)};
    const char *name = argc > 1 ? argv[1] : "record";
    int64_t kills;
    if (argc > 2 && sm_parse_int(argv[2], 1, 100000, &kills)) {
        n_kills = (int)kills;
    }
    job_make_base();
    command = job_command_named(name);
    int n_failed = -1;
    if (strcmp(name, "several") == 0) {
        n_failed = cmocka_run_group_tests(several, NULL, NULL);
    } else if (command) {
        if (strcmp(name, "issue") == 0) {
            job_decide_in_base();
        }
        n_failed = cmocka_run_group_tests(interrupted, NULL, NULL);
    }
    sm_test_dir_remove(job_files.dir);
    return n_failed != 0;
}
