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

#include "sm_test.h"
#include "stopmark/job.h"

/* 200 kills, disks of every 6000 bytes; fewer where the second argument says so (under the sanitizers a fork is slow). */
static int n_kills = 200;
#define DISK_STEP_BYTES ((rlim_t)6000 * 200 / (rlim_t)n_kills)

static char dir[256], base[320], work[320], other[320], out_dir[320];

static void write_in(const char *name, const char *text)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), NULL), NULL);
}

static char *path_in(const char *name)
{
    static char path[4][600];
    static int turn;
    turn = (turn + 1) % 4;
    snprintf(path[turn], sizeof path[turn], "%s/%s", dir, name);
    return path[turn];
}

static void copy_file(const char *from, const char *to)
{
    char *data = NULL;
    size_t n = 0;
    FILE *file = NULL;
    assert_ok(sm_file_read(&data, &n, from, 64 << 20, NULL), NULL);
    file = fopen(to, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, n, file), n);
    assert_int_equal(fclose(file), 0);
    sm_free(data);
}

/* ---- the commands ---- */

static enum sm_status schedule_into(const char *job_path, const char *sheet, struct sm_error *err)
{
    struct sm_job *job = NULL;
    struct sm_job_delivery delivery = {.job_path = job_path, .now = "2031-03-14T08:00:00Z", .who = "tester"};
    enum sm_status status = sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = sheet}, err);
    if (status == SM_OK) {
        status = sm_job_deliver(job, &delivery, NULL, err);
    }
    sm_job_free(&job);
    return status;
}

static enum sm_status do_schedule(struct sm_error *err)
{
    return schedule_into(work, path_in("second.ini"), err);
}

static enum sm_status record_file(const char *name, struct sm_error *err)
{
    struct sm_job_recorded *recorded = NULL;
    struct sm_job_record_opts opts = {work, path_in(name), "T1-T2", "2031-04-05T08:00:00Z", "tester"};
    enum sm_status status = sm_job_record(&recorded, &opts, err);
    sm_job_recorded_free(&recorded);
    return status;
}

static enum sm_status do_record(struct sm_error *err)
{
    return record_file("day.csv", err);
}

static enum sm_status do_recheck(struct sm_error *err)
{
    struct sm_job_rechecked *rechecked = NULL;
    struct sm_job_liner_word word = {"R1", "seen", ""};
    struct sm_job_recheck_opts opts = {.job_path = work, .sheet_path = path_in("recheck.ini"), .n_words = 1, .word = &word,
                                       .now = "2031-05-05T08:00:00Z", .who = "tester"};
    enum sm_status status = sm_job_recheck(&rechecked, &opts, err);
    sm_job_rechecked_free(&rechecked);
    return status;
}

static enum sm_status do_merge(struct sm_error *err)
{
    const char *const others[] = {other, path_in("third.job")};
    struct sm_store_merged added;
    return sm_job_merge(&added, work, others, 2, err);
}

static enum sm_status do_audit(struct sm_error *err)
{
    struct sm_job_audited *audited = NULL;
    struct sm_job_audit_opts opts = {.job_path = work, .out_dir = out_dir, .now = "2031-05-05T08:00:00Z"};
    enum sm_status status = sm_job_audit(&audited, &opts, err);
    sm_job_audited_free(&audited);
    return status;
}

static enum sm_status with_review(enum sm_status (*act)(struct sm_job_review *review, struct sm_error *err), struct sm_error *err)
{
    struct sm_job_review *review = NULL;
    enum sm_status status = sm_job_review_open(&review, work, "T1-T2", err);
    if (status == SM_OK) {
        status = act(review, err);
    }
    sm_job_review_close(&review);
    return status;
}

static enum sm_status decide(struct sm_job_review *review, struct sm_error *err)
{
    const struct sm_review_decision decision = {
        .act = SM_REVIEW_TREATMENT, .treatment = SM_TREATMENT_REFER, .observation = "O5", .reason = "the pipe is deformed", .who = "Ada",
        .at = "2031-03-15T08:00:00Z", .time_s = SM_NAN, .distance_m = SM_NAN, .start_m = SM_NAN, .end_m = SM_NAN};
    return sm_job_review_decide(review, &decision, err);
}

static enum sm_status issue(struct sm_job_review *review, struct sm_error *err)
{
    return sm_job_review_issue(review, "2031-03-15T09:00:00Z", "Ada", err);
}

static enum sm_status do_decide(struct sm_error *err)
{
    return with_review(decide, err);
}

static enum sm_status do_issue(struct sm_error *err)
{
    return with_review(issue, err);
}

static const struct {
    const char *name;
    enum sm_status (*run)(struct sm_error *err);
} commands[] = {{"schedule", do_schedule}, {"record", do_record}, {"recheck", do_recheck}, {"merge", do_merge},
                {"audit", do_audit},       {"decide", do_decide}, {"issue", do_issue}};
static size_t command_idx;

/* ---- what is there ---- */

static const char first_sheet[] = "[segment]\nid = T1-T2\nfrom = T1\nto = T2\nlength = 40 m\ndiameter = 200 mm\n"
                                  "[survey]\ndate = 2031-03-01\nlog = first.csv\n[rules]\nset-up cost = 400\n[kits]\nfile = kits.csv\n";

static void make_base(void)
{
    struct sm_text log = {0};
    struct sm_error err = {0};
    sm_text_add(&log, "distance,code,ch1,q1,clock_from\n0.00,BCD,XP,,\n");
    for (int i = 1; i < 30; i++) {
        sm_text_addf(&log, "%d.%d0,BAB,B,2,%d\n", i, i % 10, i % 12 + 1);
    }
    sm_text_add(&log, "40.00,BCE,XP,,\n");
    write_in("first.csv", log.data);
    sm_text_add(&log, "39.00,BAC,B,100,3\n");
    write_in("second.csv", log.data);
    sm_text_release(&log);
    write_in("again.csv", "distance,code,ch1\n0,BCD,XP\n5.5,BCB,B\n40.1,BCE,XP\n");
    write_in("kits.csv", "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\nlong,150,225,1500,390\n");
    write_in("first.ini", first_sheet);
    write_in("second.ini", "[segment]\nid = T2-T3\nfrom = T2\nto = T3\nlength = 40 m\ndiameter = 200 mm\n[survey]\nlog = "
                           "second.csv\n[kits]\nfile = kits.csv\n");
    write_in("recheck.ini", "[segment]\nid = T1-T2\nfrom = T1\nto = T2\n[survey]\ndate = 2031-05-01\nlog = again.csv\n");
    struct sm_text day = {0};
    sm_text_add(&day, "repair,date,stop,liner_length\n");
    for (int i = 1; i < 15; i++) {
        sm_text_addf(&day, "R%d,2031-04-02,%d.5,0.6\n", i, i * 2);
    }
    write_in("day.csv", day.data);
    sm_text_release(&day);
    snprintf(base, sizeof base, "%s/base.job", dir);
    snprintf(work, sizeof work, "%s/work.job", dir);
    snprintf(other, sizeof other, "%s/other.job", dir);
    snprintf(out_dir, sizeof out_dir, "%s/out", dir);
    assert_ok(schedule_into(base, path_in("first.ini"), &err), &err);
    assert_ok(schedule_into(other, path_in("second.ini"), &err), &err);
    copy_file(base, path_in("third.job"));
}

/* What is to be issued has to be decided before. */
static void decide_in_base(void)
{
    struct sm_error err = {0};
    copy_file(base, work);
    assert_ok(do_decide(&err), &err);
    copy_file(work, base);
}

/* The state of the job in one word: the chain at the end of a history that holds against everything it speaks of. */
static void read_state(char chain[65])
{
    struct sm_store *store = NULL;
    struct sm_store_checked checked = {0};
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, work, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_check(&checked, store, NULL, NULL, NULL, &err), &err);
    sm_store_close(&store);
    if (checked.n_tampered) {
        fail_msg("%s", checked.findings.item[0].message);
    }
    sm_strcopy(chain, 65, checked.chain);
    sm_findings_release(&checked.findings);
}

/* Documents are all there or none is. @return which. */
static bool has_documents(void)
{
    static const char *const names[] = {"out/audit.json", "out/audit.csv", "out/audit.html", "out/audit.pdf"};
    size_t n = 0;
    for (size_t i = 0; i < 4; i++) {
        n += access(path_in(names[i]), F_OK) == 0;
    }
    assert_true(n == 0 || n == 4);
    return n == 4;
}

static void remove_out(void)
{
    if (access(out_dir, F_OK) == 0) {
        sm_test_dir_remove(out_dir);
    }
}

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
        enum sm_status status = commands[command_idx].run(&err);
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

static void fresh(void)
{
    static const char *const tails[] = {"-wal", "-shm", "-journal"};
    for (size_t i = 0; i < 3; i++) {
        char path[360];
        snprintf(path, sizeof path, "%s%s", work, tails[i]);
        unlink(path);
    }
    copy_file(base, work);
    remove_out();
}

static void test_killed_at_any_moment(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(9);
    char before[65];
    char after[65];
    char seen[65];
    int n_done = 0;
    fresh();
    read_state(before);
    double begun_s = now_s();
    assert_int_equal(wait_for(start(RLIM_INFINITY)), 0);
    double needed_s = now_s() - begun_s;
    read_state(after);
    bool is_audit = strcmp(commands[command_idx].name, "audit") == 0;
    assert_true(is_audit ? has_documents() : strcmp(before, after) != 0);
    for (int i = 0; i < n_kills; i++) {
        fresh();
        pid_t child = start(RLIM_INFINITY);
        sleep_s(sm_test_uniform(&random, 0, needed_s * 1.1));
        kill(child, SIGKILL);
        (void)wait_for(child);
        read_state(seen);
        bool is_done = is_audit ? has_documents() : strcmp(seen, after) == 0;
        assert_true(is_done || strcmp(seen, before) == 0);
        n_done += is_done;
    }
    printf("%s: %d kills, %d after it was done, a run takes %.3f s\n", commands[command_idx].name, n_kills, n_done, needed_s);
    assert_true(n_done < n_kills);
}

/* Files may not grow past a size that rises: the command fails with words until all fits. */
static void test_full_disk(void **state)
{
    (void)state;
    char before[65];
    char seen[65];
    int n_failed = 0;
    fresh();
    read_state(before);
    struct stat size;
    assert_int_equal(stat(base, &size), 0);
    for (rlim_t bytes = 0; bytes < 2000000; bytes += DISK_STEP_BYTES) {
        fresh();
        int result = wait_for(start(bytes));
        if (result == 0) {
            break;
        }
        assert_int_equal(result, 1); /* told in words */
        read_state(seen);
        assert_string_equal(seen, before);
        assert_false(has_documents());
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
        write_in(name, text);
    }
    fresh();
    for (int i = 0; i < N; i++) {
        char name[32];
        snprintf(name, sizeof name, "crew%d.csv", i);
        child[i] = fork();
        if (child[i] == 0) {
            struct sm_error err = {0};
            _exit(record_file(name, &err) == SM_OK ? 0 : 1);
        }
    }
    for (int i = 0; i < N; i++) {
        assert_int_equal(wait_for(child[i]), 0);
    }
    read_state(seen);
    struct sm_store *store = NULL;
    struct sm_store_as_builts *rows = NULL;
    assert_ok(sm_store_open(&store, work, SM_STORE_READ, NULL), NULL);
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
    sm_test_dir_make(dir);
    make_base();
    int n_failed = -1;
    if (strcmp(name, "several") == 0) {
        n_failed = cmocka_run_group_tests(several, NULL, NULL);
    }
    for (command_idx = 0; command_idx < sizeof commands / sizeof *commands; command_idx++) {
        if (strcmp(commands[command_idx].name, name) == 0) {
            if (strcmp(name, "issue") == 0) {
                decide_in_base();
            }
            n_failed = cmocka_run_group_tests(interrupted, NULL, NULL);
            break;
        }
    }
    sm_test_dir_remove(dir);
    return n_failed != 0;
}
