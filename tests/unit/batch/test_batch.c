/* Batches over made-up surveys, some of which crash, hang, die or eat memory: each costs itself only. */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "sm_test.h"
#include "stopmark/batch.h"

/* ---- surveys that go wrong, by the name of their folder ---- */

enum sm_status __real_sm_job_schedule(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err);
enum sm_status __wrap_sm_job_schedule(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err);
enum sm_status __real_sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                                     struct sm_error *err);
enum sm_status __wrap_sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                                     struct sm_error *err);

static void crash(void)
{
    signal(SIGSEGV, SIG_DFL); /* the sanitizer would make an exit of it */
    raise(SIGSEGV);
}

/* Deaf to being asked, unless polite: then it ends at the next look at its progress. */
static enum sm_status hang(const struct sm_job_opts *opts, bool is_polite, struct sm_error *err)
{
    while (!is_polite || opts->progress(opts->progress_user, "reading", 1, 100)) {
        nanosleep(&(struct timespec){.tv_nsec = 10000000}, NULL);
    }
    return sm_error_set(err, SM_E_CANCELLED, "stopped");
}

static enum sm_status eat(struct sm_error *err)
{
    for (int i = 0; i < 64; i++) {
        char *block = sm_calloc((size_t)16 << 20, 1);
        if (!block) {
            return sm_error_set(err, SM_E_NOMEM, "out of memory");
        }
        memset(block, 1, (size_t)16 << 20);
    }
    abort();
}

enum sm_status __wrap_sm_job_schedule(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err)
{
    if (strstr(opts->sheet_path, "/crash/")) {
        crash();
    }
    if (strstr(opts->sheet_path, "/eat/")) {
        return eat(err);
    }
    bool is_deaf = strstr(opts->sheet_path, "/deaf/") != NULL;
    return is_deaf || strstr(opts->sheet_path, "/hang/") ? hang(opts, !is_deaf, err)
                                                         : __real_sm_job_schedule(out, opts, err);
}

/* Killed in the middle of putting its documents in place. */
enum sm_status __wrap_sm_job_deliver(struct sm_job *job, const struct sm_job_delivery *delivery, bool *is_known,
                                     struct sm_error *err)
{
    if (strstr(delivery->out_dir ? delivery->out_dir : "", "/half")) {
        struct sm_text draft = {0};
        sm_text_addf(&draft, "%s.part-%ld-0/old", delivery->out_dir, (long)getpid());
        assert_ok(sm_dir_make(draft.data, err), err);
        sm_text_add(&draft, "/schedule.csv");
        assert_ok(sm_file_write(draft.data, "older\n", 6, err), err);
        kill(getpid(), SIGKILL);
    }
    return __real_sm_job_deliver(job, delivery, is_known, err);
}

static int n_hashed_videos;
enum sm_status __real_sm_file_sha256(const char *path, char hex[65], struct sm_error *err);
enum sm_status __wrap_sm_file_sha256(const char *path, char hex[65], struct sm_error *err);
enum sm_status __wrap_sm_file_sha256(const char *path, char hex[65], struct sm_error *err)
{
    n_hashed_videos += strstr(path, ".mpg") != NULL;
    return __real_sm_file_sha256(path, hex, err);
}

/* ---- surveys in a scratch folder ---- */

static void write_at(const char *dir, const char *name, const char *text)
{
    char path[1000];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), &err), &err);
}

static void make_survey(const char *root, const char *name)
{
    char dir[600];
    char sheet[400];
    struct sm_error err = {0};
    snprintf(dir, sizeof dir, "%s/in/%s", root, name);
    assert_ok(sm_dir_make(dir, &err), &err);
    snprintf(sheet, sizeof sheet,
             "# invented\n[segment]\nid = %s\nlength = 43.80 m\ndiameter = 200 mm\n[survey]\nlog = run.csv\n"
             "[kits]\nfile = kits.csv\n",
             name);
    write_at(dir, "sheet.ini", sheet);
    write_at(dir, "run.csv", "distance,code,ch1\n0.00,BCD,XP\n12.34,BAC,B\n43.80,BCE,XP\n");
    write_at(dir, "kits.csv",
             "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\n");
}

struct batch {
    char in[400], job[400], out[400];
    struct sm_batch_opts opts;
    struct sm_batch_surveys *surveys;
    struct sm_batch_report *report;
};

static struct batch batch_of(const struct sm_test_scratch *scratch)
{
    struct batch b = {.opts = {.n_workers = 2, .now = "2031-04-02T08:00:00Z", .who = "tester"}};
    snprintf(b.in, sizeof b.in, "%s/in", scratch->dir);
    snprintf(b.job, sizeof b.job, "%s/x.job", scratch->dir);
    snprintf(b.out, sizeof b.out, "%s/out", scratch->dir);
    return b;
}

static void run(struct batch *b)
{
    struct sm_error err = {0};
    struct sm_findings findings = {0};
    b->opts.job_path = b->job;
    sm_batch_report_free(&b->report);
    sm_batch_surveys_free(&b->surveys);
    assert_ok(sm_batch_find(&b->surveys, b->in, &findings, &err), &err);
    assert_int_equal(findings.n, 0);
    assert_ok(sm_batch_run(&b->report, b->surveys, &b->opts, &err), &err);
}

static void release(struct batch *b)
{
    sm_batch_report_free(&b->report);
    sm_batch_surveys_free(&b->surveys);
}

static const struct sm_batch_result *result_of(const struct batch *b, const char *name)
{
    for (size_t i = 0; i < b->surveys->n; i++) {
        if (strcmp(b->surveys->item[i].name, name) == 0) {
            return &b->report->result[i];
        }
    }
    fail_msg("no survey %s", name);
    return NULL;
}

static void assert_state(const struct batch *b, const char *name, enum sm_batch_state state)
{
    const struct sm_batch_result *result = result_of(b, name);
    if (result->state != state) {
        fail_msg("%s: %s, expected %s (%s)", name, sm_batch_state_name(result->state),
                 sm_batch_state_name(state), result->err.text);
    }
}

static size_t surveys_in_job(const struct batch *b)
{
    struct sm_store *store = NULL;
    struct sm_store_surveys *surveys = NULL;
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, b->job, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_list_surveys(&surveys, store, NULL, &err), &err);
    assert_ok(sm_store_verify_history(store, &err), &err);
    size_t n = surveys->n;
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
    return n;
}

/* ---- finding ---- */

static void assert_found(const char *path, const char *names)
{
    struct sm_batch_surveys *surveys = NULL;
    struct sm_error err = {0};
    struct sm_text text = {0};
    assert_ok(sm_batch_find(&surveys, path, NULL, &err), &err);
    for (size_t i = 0; i < surveys->n; i++) {
        sm_text_addf(&text, "%s%s", i ? " " : "", surveys->item[i].name);
    }
    assert_string_equal(sm_text_str(&text), names);
    sm_text_release(&text);
    sm_batch_surveys_free(&surveys);
}

static void test_find__a_folder(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char path[700];
    make_survey(scratch->dir, "b");
    make_survey(scratch->dir, "a/deep");
    make_survey(scratch->dir, ".hidden");
    write_at(b.in, "other.ini", "[desktop]\nkey = [survey]\n");
    write_at(b.in, "second.ini", "\xef\xbb\xbf [Segment]\n");
    write_at(b.in, "second.INI", "[survey]\n");
    snprintf(path, sizeof path, "%s/loop", b.in);
    assert_int_equal(symlink("..", path), 0);
    assert_found(b.in, "a/deep b second second-2");
    snprintf(path, sizeof path, "%s/b/sheet.ini", b.in);
    assert_found(path, "sheet");
}

static void test_find__a_list(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char list[400];
    struct sm_batch_surveys *surveys = NULL;
    struct sm_error err = {0};
    make_survey(scratch->dir, "b");
    make_survey(scratch->dir, "a");
    snprintf(list, sizeof list, "%s/list.txt", scratch->dir);
    write_at(scratch->dir, "list.txt", "# tonight\r\n\n in/b/sheet.ini \r\nin/a/sheet.ini\nin/b/sheet.ini");
    assert_found(list, "in/b in/a");
    write_at(scratch->dir, "list.txt", "in/b/sheet.ini\nin/c/sheet.ini\n");
    assert_int_equal(sm_batch_find(&surveys, list, NULL, &err), SM_E_FORMAT);
    assert_int_equal(err.line, 2);
    assert_non_null(strstr(err.text, "in/c/sheet.ini"));
    assert_true(err.remedy[0]);
    write_at(scratch->dir, "list.txt", "# nothing\n");
    assert_int_equal(sm_batch_find(&surveys, list, NULL, &err), SM_E_NOTFOUND);
    assert_int_equal(sm_batch_find(&surveys, "/nowhere/at/all", NULL, &err), SM_E_IO);
    assert_null(surveys);
}

/* ---- logs that stand alone ---- */

static void copy_log(const char *fixture, const char *dir, const char *name)
{
    char *text = NULL;
    size_t n = 0;
    char path[700];
    struct sm_error err = {0};
    assert_ok(sm_file_read(&text, &n, sm_test_source(fixture), 1 << 20, &err), &err);
    assert_ok(sm_dir_make(dir, &err), &err);
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, n, &err), &err);
    sm_free(text);
}

/* By content, whatever the name; every inspection; not what a sheet names, nor what a schedule wrote. */
static void test_find__logs_alone(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char path[700];
    make_survey(scratch->dir, "a");
    copy_log("fixtures/logs/en13508/two_runs.txt", b.in, "night.asc");
    copy_log("fixtures/logs/xml/isybau.xml", b.in, "day");
    copy_log("fixtures/logs/xml/m150.xml", b.in, "third.xml");
    copy_log("fixtures/logs/en13508/one.txt", b.in, "named.txt");
    write_at(b.in, "sheet-of-it.ini", "[survey]\nlog = named.txt\n");
    write_at(b.in, "other.xml", "<?xml version=\"1.0\"?><report/>");
    write_at(b.in, "notes.txt", "#A quiet day\n");
    snprintf(path, sizeof path, "%s/out", b.in);
    copy_log("fixtures/logs/xml/isybau.xml", path, "aligned-log.xml");
    write_at(path, "schedule.json", "{}");
    assert_found(b.in, "a day night/S201-S202 night/S201-S202_2 sheet-of-it third");
    snprintf(path, sizeof path, "%s/third.xml", b.in);
    assert_found(path, "third");
    write_at(scratch->dir, "list.txt", "#A quiet day\nin/night.asc\nin/a/run.csv\n");
    snprintf(path, sizeof path, "%s/list.txt", scratch->dir);
    assert_found(path, "in/night/S201-S202 in/night/S201-S202_2 in/a/run");
}

static void test_run__logs_alone(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    copy_log("fixtures/logs/en13508/two_runs.txt", b.in, "night.txt");
    copy_log("fixtures/logs/xml/isybau_half.xml", b.in, "half.xml");
    b.opts.out_dir = b.out;
    run(&b);
    char path[700];
    for (size_t i = 0; i < b.surveys->n; i++) {
        const struct sm_batch_result *result = &b.report->result[i];
        bool is_good = result->state == SM_BATCH_DONE;
        assert_true(is_good || (result->err.text[0] && result->err.remedy[0]));
        snprintf(path, sizeof path, "%s/%s/schedule.json", b.out, b.surveys->item[i].name);
        assert_int_equal(access(path, F_OK) == 0, is_good);
    }
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), surveys_in_job(&b));
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_UNCHANGED), surveys_in_job(&b));
    assert_true(surveys_in_job(&b) >= 2);
    release(&b);
}

/* ---- other runs ---- */

/* Whatever an other run is made of, sheet, log or video: changed, it makes the survey another. */
static void test_fingerprint__follows_other_runs(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char dir[600], path[700], key[6][65];
    struct sm_error err = {0};
    make_survey(scratch->dir, "a");
    make_survey(scratch->dir, "b");
    snprintf(dir, sizeof dir, "%s/b", b.in);
    write_at(dir, "run.mpg", "not looked into");
    write_at(dir, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = run.csv\nvideo = run.mpg\n");
    snprintf(dir, sizeof dir, "%s/a", b.in);
    write_at(dir, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = run.csv\nother runs = ../b/sheet.ini\n");
    snprintf(path, sizeof path, "%s/sheet.ini", dir);
    struct sm_job_opts opts = {.sheet_path = path};
    assert_ok(sm_job_fingerprint(key[0], &opts, &err), &err);
    assert_ok(sm_job_fingerprint(key[1], &opts, &err), &err);
    assert_string_equal(key[0], key[1]);
    snprintf(dir, sizeof dir, "%s/b", b.in);
    write_at(dir, "run.csv", "distance,code,ch1\n0.00,BCD,XP\n12.44,BAC,B\n43.80,BCE,XP\n");
    assert_ok(sm_job_fingerprint(key[2], &opts, &err), &err);
    write_at(dir, "run.mpg", "looked into, even less");
    assert_ok(sm_job_fingerprint(key[3], &opts, &err), &err);
    write_at(dir, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = run.csv\nvideo = run.mpg\ninspection = 1\n");
    assert_ok(sm_job_fingerprint(key[4], &opts, &err), &err);
    for (int i = 1; i < 4; i++) {
        assert_string_not_equal(key[i], key[i + 1]);
    }
    write_at(dir, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = gone.csv\n");
    assert_int_equal(sm_job_fingerprint(key[5], &opts, &err), SM_E_IO);
    assert_non_null(strstr(err.source, "gone.csv"));
}

/* A list of distances beside the video is known before the video is opened. */
static void test_fingerprint__follows_lists(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char dir[600], path[700], key[3][65];
    struct sm_error err = {0};
    make_survey(scratch->dir, "a");
    snprintf(dir, sizeof dir, "%s/a", b.in);
    write_at(dir, "one.mpg", "not looked into");
    write_at(dir, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = run.csv\nvideo = one.mpg\n");
    snprintf(path, sizeof path, "%s/sheet.ini", dir);
    struct sm_job_opts opts = {.sheet_path = path};
    assert_ok(sm_job_fingerprint(key[0], &opts, &err), &err);
    write_at(dir, "one.csv", "time,distance\n1,0.5\n");
    assert_ok(sm_job_fingerprint(key[1], &opts, &err), &err);
    write_at(dir, "one.csv", "time,distance\n1,0.6\n");
    assert_ok(sm_job_fingerprint(key[2], &opts, &err), &err);
    assert_string_not_equal(key[0], key[1]);
    assert_string_not_equal(key[1], key[2]);
}

/* In a batch: the survey is made again when the run from the other end was logged anew. */
static void test_run__other_run_changed(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char dir[600];
    make_survey(scratch->dir, "a");
    snprintf(dir, sizeof dir, "%s/a", b.in);
    write_at(dir, "back.csv", "distance,code,ch1\n0.00,BCD,XP\n31.46,BAC,B\n43.80,BCE,XP\n");
    write_at(dir, "back.other", "[segment]\nid = a\nfrom = N2\nto = N1\n[survey]\nlog = back.csv\n");
    write_at(dir, "sheet.ini",
             "[segment]\nid = a\nfrom = N1\nto = N2\nlength = 43.80 m\n[survey]\nlog = run.csv\nother runs = back.other\n");
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 1);
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_UNCHANGED), 1);
    write_at(dir, "back.csv", "distance,code,ch1\n0.00,BCD,XP\n31.40,BAC,B\n43.80,BCE,XP\n");
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 1);
    release(&b);
}

/* ---- hashes ---- */

static void test_fingerprint__reads_a_video_once(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char path[700], key[3][65];
    struct sm_error err = {0};
    struct sm_job_hashes hashes = {0};
    make_survey(scratch->dir, "a");
    snprintf(path, sizeof path, "%s/a", b.in);
    write_at(path, "run.mpg", "not looked into");
    write_at(path, "sheet.ini", "[segment]\nid = a\n[survey]\nlog = run.csv\nvideo = run.mpg\n");
    snprintf(path, sizeof path, "%s/a/sheet.ini", b.in);
    struct sm_job_opts opts = {.sheet_path = path, .hashes = &hashes};
    n_hashed_videos = 0;
    assert_ok(sm_job_fingerprint(key[0], &opts, &err), &err);
    assert_ok(sm_job_fingerprint(key[1], &opts, &err), &err);
    assert_int_equal(n_hashed_videos, 1);
    assert_string_equal(key[0], key[1]);
    snprintf(path, sizeof path, "%s/a", b.in);
    write_at(path, "run.mpg", "quite an other1");
    snprintf(path, sizeof path, "%s/a/sheet.ini", b.in);
    assert_ok(sm_job_fingerprint(key[2], &opts, &err), &err);
    assert_int_equal(n_hashed_videos, 2);
    assert_string_not_equal(key[0], key[2]);
    sm_job_hashes_release(&hashes);
}

/* ---- running ---- */

static void test_run__one_gone_wrong_costs_itself_only(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    static const char *const names[] = {"a1", "a2", "crash", "eat", "half", "nolog", "z"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        make_survey(scratch->dir, names[i]);
    }
    char path[700];
    snprintf(path, sizeof path, "%s/nolog/run.csv", b.in);
    assert_int_equal(unlink(path), 0);
    snprintf(path, sizeof path, "%s/half", b.out);
    assert_int_equal(mkdir(b.out, 0700), 0);
    assert_int_equal(mkdir(path, 0700), 0);
    b.opts.out_dir = b.out;
    b.opts.n_workers = 3;
    b.opts.memory_limit_bytes = (int64_t)256 << 20;
    run(&b);
    assert_state(&b, "a1", SM_BATCH_DONE);
    assert_state(&b, "a2", SM_BATCH_DONE);
    assert_state(&b, "z", SM_BATCH_DONE);
    assert_state(&b, "crash", SM_BATCH_CRASHED);
    assert_state(&b, "half", SM_BATCH_CRASHED);
    assert_state(&b, "nolog", SM_BATCH_FAILED);
#if !defined __SANITIZE_ADDRESS__
    assert_state(&b, "eat", SM_BATCH_FAILED); /* the limit held: else it would have aborted */
    assert_int_equal(result_of(&b, "eat")->err.status, SM_E_NOMEM);
    assert_non_null(strstr(result_of(&b, "eat")->err.remedy, "256 MB"));
#endif
    for (size_t i = 0; i < b.report->n; i++) {
        bool is_good = b.report->result[i].state == SM_BATCH_DONE;
        assert_true(is_good || (b.report->result[i].err.text[0] && b.report->result[i].err.remedy[0]));
    }
    assert_string_equal(result_of(&b, "a1")->segment, "a1");
    assert_int_equal(result_of(&b, "a1")->n_repairs, 1);
    assert_int_equal(surveys_in_job(&b), 3);
    /* What the killed one had moved aside is back, and nothing half-written is anywhere. */
    assert_int_equal(sm_test_dir_count(b.out), 4);
    snprintf(path, sizeof path, "%s/half/schedule.csv", b.out);
    assert_int_equal(access(path, F_OK), 0);
    release(&b);
}

/* Nothing good beside them: on a busy machine that could be late too. */
static void test_run__what_hangs_is_ended(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    make_survey(scratch->dir, "deaf");
    make_survey(scratch->dir, "hang");
    b.opts.time_limit_s = 0.5;
    b.opts.grace_s = 0.3;
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_TIMED_OUT), 2);
    assert_true(result_of(&b, "deaf")->err.remedy[0]);
    assert_int_equal(surveys_in_job(&b), 0);
    release(&b);
}

static void test_run__goes_on_and_skips_what_is_unchanged(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    char path[700];
    make_survey(scratch->dir, "a");
    make_survey(scratch->dir, "b");
    b.opts.out_dir = b.out;
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 2);
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_UNCHANGED), 2);
    /* Other content, */
    snprintf(path, sizeof path, "%s/a", b.in);
    write_at(path, "run.csv", "distance,code,ch1\n0.00,BCD,XP\n14.34,BAC,B\n43.80,BCE,XP\n");
    run(&b);
    assert_state(&b, "a", SM_BATCH_DONE);
    assert_state(&b, "b", SM_BATCH_UNCHANGED);
    /* other settings, */
    struct sm_job_change change = {"rules.overlap", "120 mm"};
    b.opts.n_changes = 1;
    b.opts.change = &change;
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 2);
    /* documents of the run before last: held by the job file, but not what lies in the folder. */
    b.opts.n_changes = 0;
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 2);
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_UNCHANGED), 2);
    assert_int_equal(surveys_in_job(&b), 5);
    release(&b);
}

struct stopper {
    size_t after;
};
static bool stop_after(void *user, const struct sm_batch_progress *progress)
{
    const struct stopper *stopper = user;
    assert_true(progress->share >= 0 && progress->share <= 1 && progress->n_over <= progress->n_surveys);
    return progress->n_over < stopper->after;
}

static void test_run__is_stopped_and_taken_up_again(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    struct stopper stopper = {2};
    static const char *const names[] = {"a", "b", "c", "d", "hang"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        make_survey(scratch->dir, names[i]);
    }
    b.opts.n_workers = 1;
    b.opts.progress = stop_after;
    b.opts.progress_user = &stopper;
    run(&b);
    assert_true(b.report->is_stopped);
    size_t n_done = sm_batch_count(b.report, SM_BATCH_DONE);
    assert_true(n_done >= 2 && n_done < 4);
    assert_int_equal(n_done + sm_batch_count(b.report, SM_BATCH_NOT_REACHED), 5);
    assert_int_equal(surveys_in_job(&b), n_done);
    b.opts.progress = NULL;
    char path[700];
    char hidden[700];
    snprintf(path, sizeof path, "%s/hang", b.in);
    snprintf(hidden, sizeof hidden, "%s/.hang", b.in);
    assert_int_equal(rename(path, hidden), 0);
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_UNCHANGED), n_done);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 4 - n_done);
    release(&b);
}

static void test_run__many_writers_wait_their_turn(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    for (int i = 0; i < 10; i++) {
        char name[16];
        snprintf(name, sizeof name, "s%02d", i);
        make_survey(scratch->dir, name);
    }
    b.opts.n_workers = 5;
    run(&b);
    assert_int_equal(sm_batch_count(b.report, SM_BATCH_DONE), 10);
    assert_int_equal(surveys_in_job(&b), 10);
    release(&b);
}

static void test_run__tells_what_it_cannot_use(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct batch b = batch_of(scratch);
    struct sm_error err = {0};
    make_survey(scratch->dir, "a");
    write_at(scratch->dir, "x.job", "no database");
    b.opts.job_path = b.job;
    assert_ok(sm_batch_find(&b.surveys, b.in, NULL, &err), &err);
    assert_int_equal(sm_batch_run(&b.report, b.surveys, &b.opts, &err), SM_E_FORMAT);
    assert_null(b.report);
    release(&b);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, sm_test_scratch_make, sm_test_scratch_remove)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(test_find__a_folder),
        IN_SCRATCH(test_find__a_list),
        IN_SCRATCH(test_find__logs_alone),
        IN_SCRATCH(test_run__logs_alone),
        IN_SCRATCH(test_fingerprint__reads_a_video_once),
        IN_SCRATCH(test_fingerprint__follows_other_runs),
        IN_SCRATCH(test_fingerprint__follows_lists),
        IN_SCRATCH(test_run__other_run_changed),
        IN_SCRATCH(test_run__one_gone_wrong_costs_itself_only),
        IN_SCRATCH(test_run__what_hangs_is_ended),
        IN_SCRATCH(test_run__goes_on_and_skips_what_is_unchanged),
        IN_SCRATCH(test_run__is_stopped_and_taken_up_again),
        IN_SCRATCH(test_run__many_writers_wait_their_turn),
        IN_SCRATCH(test_run__tells_what_it_cannot_use),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
