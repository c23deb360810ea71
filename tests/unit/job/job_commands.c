/* The commands that write a job, over an invented one. */
#include "job_commands.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "sm_test.h"

struct job_commands_files job_files;
const char *job_now;

static const char *now_or(const char *usual)
{
    return job_now ? job_now : usual;
}

void job_write_in(const char *name, const char *text)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", job_files.dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), NULL), NULL);
}

char *job_path_in(const char *name)
{
    static char path[4][600];
    static int turn;
    turn = (turn + 1) % 4;
    snprintf(path[turn], sizeof path[turn], "%s/%s", job_files.dir, name);
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
    struct sm_job_delivery delivery = {.job_path = job_path, .now = now_or("2031-03-14T08:00:00Z"), .who = "tester"};
    enum sm_status status = sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = sheet}, err);
    if (status == SM_OK) {
        status = sm_job_deliver(job, &delivery, NULL, err);
    }
    sm_job_free(&job);
    return status;
}

static enum sm_status do_schedule(struct sm_error *err)
{
    return schedule_into(job_files.work, job_path_in("second.ini"), err);
}

enum sm_status job_record_file(const char *name, struct sm_error *err)
{
    struct sm_job_recorded *recorded = NULL;
    struct sm_job_record_opts opts = {job_files.work, job_path_in(name), "T1-T2", now_or("2031-04-05T08:00:00Z"), "tester"};
    enum sm_status status = sm_job_record(&recorded, &opts, err);
    sm_job_recorded_free(&recorded);
    return status;
}

static enum sm_status do_record(struct sm_error *err)
{
    return job_record_file("day.csv", err);
}

static enum sm_status do_recheck(struct sm_error *err)
{
    struct sm_job_rechecked *rechecked = NULL;
    struct sm_job_liner_word word = {"R1", "seen", ""};
    struct sm_job_recheck_opts opts = {.job_path = job_files.work, .sheet_path = job_path_in("recheck.ini"), .n_words = 1, .word = &word,
                                       .now = now_or("2031-05-05T08:00:00Z"), .who = "tester"};
    enum sm_status status = sm_job_recheck(&rechecked, &opts, err);
    sm_job_rechecked_free(&rechecked);
    return status;
}

static enum sm_status do_merge(struct sm_error *err)
{
    const char *const others[] = {job_files.other, job_path_in("third.job")};
    struct sm_store_merged added;
    return sm_job_merge(&added, job_files.work, others, 2, err);
}

static enum sm_status do_audit(struct sm_error *err)
{
    struct sm_job_audited *audited = NULL;
    struct sm_job_audit_opts opts = {.job_path = job_files.work, .out_dir = job_files.out_dir, .now = now_or("2031-05-05T08:00:00Z")};
    enum sm_status status = sm_job_audit(&audited, &opts, err);
    sm_job_audited_free(&audited);
    return status;
}

static enum sm_status with_review(enum sm_status (*act)(struct sm_job_review *review, struct sm_error *err), struct sm_error *err)
{
    struct sm_job_review *review = NULL;
    enum sm_status status = sm_job_review_open(&review, job_files.work, "T1-T2", err);
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
        .at = now_or("2031-03-15T08:00:00Z"), .time_s = SM_NAN, .distance_m = SM_NAN, .start_m = SM_NAN, .end_m = SM_NAN};
    return sm_job_review_decide(review, &decision, err);
}

static enum sm_status issue(struct sm_job_review *review, struct sm_error *err)
{
    return sm_job_review_issue(review, now_or("2031-03-15T09:00:00Z"), "Ada", err);
}

static enum sm_status do_decide(struct sm_error *err)
{
    return with_review(decide, err);
}

static enum sm_status do_issue(struct sm_error *err)
{
    return with_review(issue, err);
}

static const struct job_command commands[] = {{"schedule", do_schedule}, {"record", do_record}, {"recheck", do_recheck}, {"merge", do_merge},
                                              {"audit", do_audit},       {"decide", do_decide}, {"issue", do_issue}};

const struct job_command *job_command_named(const char *name)
{
    for (size_t i = 0; i < sizeof commands / sizeof *commands; i++) {
        if (strcmp(commands[i].name, name) == 0) {
            return &commands[i];
        }
    }
    return NULL;
}

/* ---- what is there ---- */

static const char first_sheet[] = "[segment]\nid = T1-T2\nfrom = T1\nto = T2\nlength = 40 m\ndiameter = 200 mm\n"
                                  "[survey]\ndate = 2031-03-01\nlog = first.csv\n[rules]\nset-up cost = 400\n[kits]\nfile = kits.csv\n";

void job_make_base(void)
{
    sm_test_dir_make(job_files.dir);
    struct sm_text log = {0};
    struct sm_error err = {0};
    sm_text_add(&log, "distance,code,ch1,q1,clock_from\n0.00,BCD,XP,,\n");
    for (int i = 1; i < 30; i++) {
        sm_text_addf(&log, "%d.%d0,BAB,B,2,%d\n", i, i % 10, i % 12 + 1);
    }
    sm_text_add(&log, "40.00,BCE,XP,,\n");
    job_write_in("first.csv", log.data);
    sm_text_add(&log, "39.00,BAC,B,100,3\n");
    job_write_in("second.csv", log.data);
    sm_text_release(&log);
    job_write_in("again.csv", "distance,code,ch1\n0,BCD,XP\n5.5,BCB,B\n40.1,BCE,XP\n");
    job_write_in("kits.csv", "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\nlong,150,225,1500,390\n");
    job_write_in("first.ini", first_sheet);
    job_write_in("second.ini", "[segment]\nid = T2-T3\nfrom = T2\nto = T3\nlength = 40 m\ndiameter = 200 mm\n[survey]\nlog = "
                           "second.csv\n[kits]\nfile = kits.csv\n");
    job_write_in("recheck.ini", "[segment]\nid = T1-T2\nfrom = T1\nto = T2\n[survey]\ndate = 2031-05-01\nlog = again.csv\n");
    struct sm_text day = {0};
    sm_text_add(&day, "repair,date,stop,liner_length\n");
    for (int i = 1; i < 15; i++) {
        sm_text_addf(&day, "R%d,2031-04-02,%d.5,0.6\n", i, i * 2);
    }
    job_write_in("day.csv", day.data);
    sm_text_release(&day);
    snprintf(job_files.base, sizeof job_files.base, "%s/base.job", job_files.dir);
    snprintf(job_files.work, sizeof job_files.work, "%s/work.job", job_files.dir);
    snprintf(job_files.other, sizeof job_files.other, "%s/other.job", job_files.dir);
    snprintf(job_files.out_dir, sizeof job_files.out_dir, "%s/out", job_files.dir);
    assert_ok(schedule_into(job_files.base, job_path_in("first.ini"), &err), &err);
    assert_ok(schedule_into(job_files.other, job_path_in("second.ini"), &err), &err);
    copy_file(job_files.base, job_path_in("third.job"));
}

/* The state of the job in one word: the chain at the end of a history that holds against everything it speaks of. */
void job_read_state(char chain[65])
{
    struct sm_store *store = NULL;
    struct sm_store_checked checked = {0};
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, job_files.work, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_check(&checked, store, NULL, NULL, NULL, &err), &err);
    sm_store_close(&store);
    if (checked.n_tampered) {
        fail_msg("%s", checked.findings.item[0].message);
    }
    sm_strcopy(chain, 65, checked.chain);
    sm_findings_release(&checked.findings);
}

/* Documents are all there or none is. @return which. */
bool job_has_documents(void)
{
    static const char *const names[] = {"out/audit.json", "out/audit.csv", "out/audit.html", "out/audit.pdf"};
    size_t n = 0;
    for (size_t i = 0; i < 4; i++) {
        n += access(job_path_in(names[i]), F_OK) == 0;
    }
    assert_true(n == 0 || n == 4);
    return n == 4;
}

static void remove_out(void)
{
    if (access(job_files.out_dir, F_OK) == 0) {
        sm_test_dir_remove(job_files.out_dir);
    }
}

void job_fresh(void)
{
    static const char *const tails[] = {"-wal", "-shm", "-journal"};
    for (size_t i = 0; i < 3; i++) {
        char path[360];
        snprintf(path, sizeof path, "%s%s", job_files.work, tails[i]);
        unlink(path);
    }
    copy_file(job_files.base, job_files.work);
    remove_out();
}

void job_decide_in_base(void)
{
    struct sm_error err = {0};
    copy_file(job_files.base, job_files.work);
    assert_ok(do_decide(&err), &err);
    copy_file(job_files.work, job_files.base);
}
