/*
 * Every command that writes, with one thing going wrong in it: each allocation, each call about files in turn; the power cut
 * at each write; a folder that cannot be written; a clock that goes back. The job is as it was or as it should be, the command
 * says which, and what it could not do it tells in words.
 *
 *   test_faults schedule | record | recheck | merge | audit [TRIES]      TRIES of each kind, spread over all there are; 0 = all
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "job_commands.h"
#include "sm_test.h"
#include "sm_test_alloc.h"
#include "sm_test_io.h"

enum { DONE = 0, FAILED_IN_WORDS = 1, FAILED_WITHOUT = 3, NOT_HIT = 4, POWER_IS_GONE = 99 };

static const struct job_command *command;
static long n_tries = 40;
static char before[65], after[65];

/* What a try arms before the command runs. */
struct fault {
    enum { ALLOCATION, CALL, POWER, COUNT_ALLOCATIONS, COUNT_CALLS, COUNT_POWER } what;
    unsigned kinds;
    int code;
    long n;
};

static void arm(const struct fault *fault)
{
    switch (fault->what) {
    case ALLOCATION:
    case COUNT_ALLOCATIONS: sm_test_alloc_fail(fault->n); break;
    case CALL:
    case COUNT_CALLS: sm_test_io_fail(job_files.dir, fault->kinds, fault->n, fault->code); break;
    case POWER:
    case COUNT_POWER:
        sm_test_io_power_watch(job_files.dir);
        sm_test_io_power_cut_at(fault->n, (uint64_t)fault->n);
        break;
    }
}

/* In a process of its own, so that nothing of one try is left to the next. @return how it ended; *count by the pipe. */
static int try_once(const struct fault *fault, long *count)
{
    int channel[2];
    assert_int_equal(pipe(channel), 0);
    pid_t child = fork();
    if (child == 0) {
        struct sm_error err = {0};
        arm(fault);
        enum sm_status status = command->run(&err);
        long n = fault->what == COUNT_ALLOCATIONS ? 1000000000 - sm_test_alloc_left() : sm_test_io_count();
        bool is_sent = write(channel[1], &n, sizeof n) == (ssize_t)sizeof n;
        if (fault->what == POWER) {
            sm_test_io_power_cut((uint64_t)fault->n); /* after it was done: what it said must hold */
        }
        _exit(!is_sent ? FAILED_WITHOUT : status == SM_OK ? DONE : err.text[0] ? FAILED_IN_WORDS : FAILED_WITHOUT);
    }
    assert_true(child > 0);
    close(channel[1]);
    bool is_told = read(channel[0], count, sizeof *count) == (ssize_t)sizeof *count;
    close(channel[0]);
    *count = is_told ? *count : -1;
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

static bool is_audit(void)
{
    return strcmp(command->name, "audit") == 0;
}

/* Is the job, or are the documents of an audit, as after the command? Anything between is a failure here. */
static bool is_changed(void)
{
    char seen[65];
    job_read_state(seen);
    if (is_audit()) {
        assert_string_equal(seen, before);
        return job_has_documents();
    }
    bool is_after = strcmp(seen, after) == 0;
    if (!is_after && strcmp(seen, before) != 0) {
        fail_msg("the job is neither as it was nor as it should be");
    }
    return is_after;
}

static void learn_before_and_after(void)
{
    struct fault none = {.what = COUNT_CALLS};
    long count = 0;
    job_fresh();
    job_read_state(before);
    assert_int_equal(try_once(&none, &count), DONE);
    job_read_state(after);
    assert_true(is_audit() ? job_has_documents() : strcmp(before, after) != 0);
}

static long count_of(struct fault fault)
{
    long count = 0;
    job_fresh();
    assert_int_equal(try_once(&fault, &count), DONE);
    return count;
}

/* The k-th of n_tries numbers spread over 1..total; all of them where tries are 0. */
static long step_over(long total)
{
    long step = n_tries ? total / n_tries : 1;
    return step < 1 ? 1 : step;
}

static void test_each_allocation_fails(void **state)
{
    (void)state;
    long total = count_of((struct fault){.what = COUNT_ALLOCATIONS, .n = 1000000000});
    int n_failed = 0;
    for (long n = 1; n <= total; n += step_over(total)) {
        struct fault fault = {.what = ALLOCATION, .n = n};
        long count;
        job_fresh();
        int end = try_once(&fault, &count);
        if (end != DONE && end != FAILED_IN_WORDS) {
            fail_msg("allocation %ld of %ld: ended with %d", n, total, end);
        }
        /* One that could be done without is no failure. */
        assert_int_equal(is_changed(), end == DONE);
        n_failed += end == FAILED_IN_WORDS;
    }
    printf("%s: %ld allocations, %d failures told\n", command->name, total, n_failed);
    assert_true(n_failed > 0);
}

static void fail_calls(unsigned kinds, const char *name, int code)
{
    long total = count_of((struct fault){.what = COUNT_CALLS, .kinds = kinds});
    int n_failed = 0;
    for (long n = 1; n <= total; n += step_over(total)) {
        struct fault fault = {.what = CALL, .kinds = kinds, .code = code, .n = n};
        long count;
        job_fresh();
        int end = try_once(&fault, &count);
        if (end != DONE && end != FAILED_IN_WORDS) {
            fail_msg("%s %ld of %ld: ended with %d", name, n, total, end);
        }
        bool has_changed = is_changed();
        /* A commit whose sync failed may be on the disk all the same: then it is whole, and running again finds it done. */
        if (has_changed != (end == DONE) && !(kinds == SM_TEST_IO_SYNC && has_changed)) {
            fail_msg("%s %ld of %ld: said %s, the job says otherwise", name, n, total, end == DONE ? "done" : "failed");
        }
        n_failed += end == FAILED_IN_WORDS;
    }
    printf("%s: %ld calls to %s, %d failures told\n", command->name, total, name, n_failed);
    assert_true(total > 0);
}

static void test_each_open_fails(void **state)
{
    (void)state;
    fail_calls(SM_TEST_IO_OPEN, "open", EACCES);
}
static void test_each_read_fails(void **state)
{
    (void)state;
    fail_calls(SM_TEST_IO_READ, "read", EIO);
}
static void test_each_write_fails(void **state)
{
    (void)state;
    fail_calls(SM_TEST_IO_WRITE, "write", ENOSPC);
}
static void test_each_sync_fails(void **state)
{
    (void)state;
    fail_calls(SM_TEST_IO_SYNC, "sync", EIO);
}
static void test_each_name_fails(void **state)
{
    (void)state;
    fail_calls(SM_TEST_IO_NAME, "change a name", EIO);
}

static void assert_documents_whole(void)
{
    char *text = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&text, &n, job_path_in("out/audit.json"), 64 << 20, NULL), NULL);
    assert_true(n > 2 && text[0] == '{' && text[n - 2] == '}');
    sm_free(text);
    assert_ok(sm_file_read(&text, &n, job_path_in("out/audit.pdf"), 64 << 20, NULL), NULL);
    assert_true(n > 6 && strstr(text + n - 8, "%%EOF"));
    sm_free(text);
}

/* Of what was not synced anything may be lost: the job is whole, and what a command said was done is there. */
static void test_power_is_cut(void **state)
{
    (void)state;
    long total = count_of((struct fault){.what = COUNT_POWER});
    int n_done = 0;
    for (long n = 1; n <= total + 1;) {
        struct fault fault = {.what = POWER, .n = n};
        long count;
        job_fresh();
        assert_int_equal(try_once(&fault, &count), POWER_IS_GONE);
        bool is_done = is_changed();
        if (count >= 0 && !is_done) {
            fail_msg("power cut %ld of %ld, after it was said to be done: it is lost", n, total);
        }
        if (is_audit() && is_done) {
            assert_documents_whole();
        }
        n_done += is_done;
        long next = n + step_over(total);
        n = n <= total && next > total ? total + 1 : next; /* the last one after all is done */
    }
    printf("%s: %ld writes, syncs and names; %d cuts after which it was done\n", command->name, total, n_done);
    assert_true(n_done > 0);
}

/* As somebody else where the tests run as root, whom no permission keeps out. */
static int try_in_folder_that_is_closed(void)
{
    pid_t child = fork();
    if (child == 0) {
        if (getuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0)) {
            _exit(FAILED_WITHOUT);
        }
        struct sm_error err = {0};
        enum sm_status status = command->run(&err);
        _exit(status == SM_OK ? DONE : err.text[0] && err.remedy[0] ? FAILED_IN_WORDS : FAILED_WITHOUT);
    }
    assert_true(child > 0);
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

static void test_folder_is_read_only(void **state)
{
    (void)state;
    job_fresh();
    assert_int_equal(chmod(job_files.work, 0444), 0);
    assert_int_equal(chmod(job_files.dir, 0555), 0);
    int end = try_in_folder_that_is_closed();
    assert_int_equal(chmod(job_files.dir, 0700), 0);
    assert_int_equal(chmod(job_files.work, 0600), 0);
    assert_int_equal(end, FAILED_IN_WORDS);
    assert_false(is_changed());
}

/* Yesterday after today: kept in the order it happened, and the history still holds. */
static void test_clock_goes_back(void **state)
{
    (void)state;
    char seen[65];
    struct sm_error err = {0};
    job_fresh();
    job_now = "2001-01-01T00:00:00Z";
    enum sm_status status = command->run(&err);
    job_now = NULL;
    assert_ok(status, &err);
    job_read_state(seen); /* checks the chain too */
    assert_true(is_audit() ? job_has_documents() : strcmp(seen, before) != 0);
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_each_allocation_fails), cmocka_unit_test(test_each_open_fails),
        cmocka_unit_test(test_each_read_fails),       cmocka_unit_test(test_each_write_fails),
        cmocka_unit_test(test_each_sync_fails),       cmocka_unit_test(test_each_name_fails),
        cmocka_unit_test(test_power_is_cut),          cmocka_unit_test(test_folder_is_read_only),
        cmocka_unit_test(test_clock_goes_back),
    };
    int64_t tries;
    command = job_command_named(argc > 1 ? argv[1] : "record");
    if (!command || (argc > 2 && !sm_parse_int(argv[2], 0, 1000000, &tries))) {
        return 2;
    }
    n_tries = argc > 2 ? (long)tries : n_tries;
    job_make_base();
    learn_before_and_after();
    int n_failed = cmocka_run_group_tests(tests, NULL, NULL);
    sm_test_dir_remove(job_files.dir);
    return n_failed != 0;
}
