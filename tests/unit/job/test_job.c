/* The chain over surveys without a video, and delivery: both or neither, at whatever point it breaks. */
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "sm_test.h"
#include "sm_test_alloc.h"
#include "stopmark/job.h"

/* ---- an invented survey in a scratch folder ---- */

static const char sheet_text[] =
    "[segment]\nid = T12-T13\nfrom = T12\nto = T13\nlength = 43.80 m\ndiameter = 200 mm\n"
    "[survey]\nlog = run.csv\n[rules]\nset-up cost = 400\n[kits]\nfile = kits.csv\n";
static const char log_text[] =
    "distance,code,ch1,q1,clock_from,clock_to\n0.00,BCD,XP,,,\n3.20,BCA,A,150,2,\n12.34,BAC,B,,4,6\n"
    "31.90,BAC,C,,12,12\n43.80,BCE,XP,,,\n";
static const char kits_text[] =
    "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\nlong,150,225,1500,390\n";

static void write_in(const char *dir, const char *name, const char *text)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

static int set_up(void **state)
{
    int result = sm_test_scratch_make(state);
    struct sm_test_scratch *scratch = *state;
    write_in(scratch->dir, "sheet.ini", sheet_text);
    write_in(scratch->dir, "run.csv", log_text);
    write_in(scratch->dir, "kits.csv", kits_text);
    snprintf(scratch->path, sizeof scratch->path, "%s/sheet.ini", scratch->dir);
    return result;
}
enum { N_SURVEY_FILES = 3 };

static struct sm_job *schedule(const char *sheet)
{
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = sheet}, &err), &err);
    return job;
}

/* ---- the chain ---- */

static void test_schedule__from_the_log_alone(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_job *job = schedule(scratch->path);
    const struct sm_schedule *s = sm_job_get_schedule(job);
    assert_null(s->trace);
    assert_int_equal(s->alignment->n_observations, 5);
    assert_int_equal(s->plan->n_repairs, 1);
    const struct sm_repair *repair = &s->plan->repair[0];
    assert_string_equal(s->sheet->kit[repair->kit_idx].name, "short");
    /* target: 12.34 -/+ (0.150 end cover + 0.050 placement + 0.005 half the last digit) */
    assert_true(repair->start_um <= 12135000 && repair->start_um + repair->length_um >= 12545000);
    assert_close(repair->cost, 580, 0);
    assert_int_equal(s->people_unit, SM_UNIT_M);
    sm_job_free(&job);
    assert_null(job);
}

static void test_schedule__changes_count(void **state)
{
    struct sm_test_scratch *scratch = *state;
    const struct sm_job_change change[] = {{"rules.set-up cost", "50"}, {"access.enter", "to"}};
    struct sm_job_opts opts = {.sheet_path = scratch->path, .n_changes = 2, .change = change};
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job_schedule(&job, &opts, &err), &err);
    assert_close(sm_job_get_schedule(job)->plan->cost, 230, 0);
    assert_true(sm_job_get_schedule(job)->sheet->access.enters_at_to);
    sm_job_free(&job);
    opts.change = &(struct sm_job_change){"rules.set-up cost", "lots"};
    opts.n_changes = 1;
    assert_int_equal(sm_job_schedule(&job, &opts, &err), SM_E_FORMAT);
    assert_null(job);
}

static void test_schedule__segment_from_the_log(void **state)
{
    struct sm_test_scratch *scratch = *state;
    write_in(scratch->dir, "sheet.ini",
             "[segment]\nto = S103\nmaterial = concrete\n[survey]\nlog = run.txt\n");
    write_in(scratch->dir, "run.txt",
             "#A1=UTF-8\n#A3=;\n#A4=.\n#B01=AAA;AAB;AAD;AAF;AAK;ABF;ACB;ACD\nS101-S102;S101;S101;S102;A;2031-"
             "05-13;250;AE\n"
             "#C=I;A;B\n0;BCD;XP\n6.02;BAJ;B\n42.3;BCE;XP\n#Z\n");
    struct sm_job *job = schedule(scratch->path);
    const struct sm_segment *segment = sm_job_get_schedule(job)->segment;
    assert_string_equal(segment->id, "S101-S102");
    assert_string_equal(segment->from, "S101");
    assert_string_equal(segment->to, "S103"); /* the sheet's word counts, and it is said */
    assert_string_equal(segment->material, "concrete");
    assert_close(segment->diameter_mm, 250, 0);
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    size_t n_told = 0;
    for (size_t s = 0; s < n; s++) {
        for (size_t i = 0; i < stage[s].findings->n; i++) {
            n_told += strstr(stage[s].findings->item[i].message, "S103") != NULL;
        }
    }
    assert_int_equal(n_told, 1);
    sm_job_free(&job);
}

static void test_schedule__names_a_nameless_segment(void **state)
{
    struct sm_test_scratch *scratch = *state;
    write_in(scratch->dir, "sheet.ini", "[survey]\nlog = run.csv\n");
    struct sm_job *job = schedule(scratch->path);
    assert_string_equal(sm_job_get_schedule(job)->segment->id, "sheet");
    sm_job_free(&job);
    write_in(scratch->dir, "sheet.ini", "[segment]\nfrom = A\nto = B\n[survey]\nlog = run.csv\n");
    job = schedule(scratch->path);
    assert_string_equal(sm_job_get_schedule(job)->segment->id, "A-B");
    sm_job_free(&job);
}

static void test_schedule__refuses(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const struct {
        const char *sheet;
        enum sm_status status;
    } cases[] = {
        {"[segment]\nid = x\n", SM_E_FORMAT},
        {"[survey]\nlog = none.csv\n", SM_E_IO},
        {"[survey]\nlog = run.csv\nvideo = none.mpg\n", SM_E_IO},
        {"[survey]\nlog = run.csv\nvideo = kits.csv\n", SM_E_UNSUPPORTED},
        {"[survey]\nlog = run.csv\ncodes = none.csv\n", SM_E_IO},
        {"[survey]\nlog = run.csv\n[kits]\nfile = none.csv\n", SM_E_IO},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        write_in(scratch->dir, "sheet.ini", cases[i].sheet);
        struct sm_job *job = NULL;
        struct sm_error err = {0};
        enum sm_status status =
            sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = scratch->path}, &err);
        if (status != cases[i].status && !(cases[i].status == SM_E_UNSUPPORTED && status == SM_E_FORMAT)) {
            fail_msg("case %zu: %s (%s)", i, sm_status_text(status), err.text);
        }
        assert_true(err.source[0] && err.text[0] && err.remedy[0]);
        assert_null(job);
    }
}

/* ---- delivery ---- */

static enum sm_status deliver(struct sm_job *job, const char *out_dir, const char *job_path,
                              struct sm_error *err)
{
    return sm_job_deliver(job, &(struct sm_job_delivery){.out_dir = out_dir,
                                                            .job_path = job_path,
                                                            .now = "2031-04-02T08:00:00Z",
                                                            .who = "tester"},
                          NULL, err);
}

static void test_deliver__both(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char out[400];
    char file[400];
    snprintf(out, sizeof out, "%s/new/out/", scratch->dir);
    snprintf(file, sizeof file, "%s/job", scratch->dir);
    struct sm_job *job = schedule(scratch->path);
    struct sm_error err = {0};
    assert_ok(deliver(job, out, file, &err), &err);
    int n_files = sm_test_dir_count(out);
    assert_true(n_files >= 4);
    assert_ok(deliver(job, out, file, &err), &err);
    assert_int_equal(sm_test_dir_count(out), n_files);
    assert_int_equal(sm_test_dir_count(scratch->dir), N_SURVEY_FILES + 2);
    struct sm_store *store = NULL;
    struct sm_store_surveys *surveys = NULL;
    assert_ok(sm_store_open(&store, file, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_list_surveys(&surveys, store, NULL, &err), &err);
    assert_int_equal(surveys->n, 1);
    assert_int_equal(surveys->item[0].n_repairs, 1);
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
    sm_job_free(&job);
}

static void test_deliver__same_bytes(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const names[] = {"schedule.json", "schedule.csv", "report.html", "strip.svg",
                                        "crew-sheet.pdf"};
    char hex[2][5][65];
    for (int run = 0; run < 2; run++) {
        char out[400];
        snprintf(out, sizeof out, "%s/out%d", scratch->dir, run);
        struct sm_job *job = schedule(scratch->path);
        assert_ok(deliver(job, out, NULL, NULL), NULL);
        sm_job_free(&job);
        for (size_t i = 0; i < 5; i++) {
            char path[500];
            snprintf(path, sizeof path, "%s/%s", out, names[i]);
            assert_ok(sm_file_sha256(path, hex[run][i], NULL), NULL);
        }
    }
    for (size_t i = 0; i < 5; i++) {
        assert_string_equal(hex[0][i], hex[1][i]);
    }
}

static void test_deliver__neither_when_one_fails(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char out[400];
    char file[400];
    struct sm_error err = {0};
    struct sm_job *job = schedule(scratch->path);
    snprintf(out, sizeof out, "%s/out", scratch->dir);
    assert_int_equal(deliver(job, out, scratch->dir, &err), SM_E_IO); /* a folder is no job file */
    assert_int_equal(deliver(job, out, scratch->path, &err), SM_E_FORMAT);
    assert_int_equal(sm_test_dir_count(scratch->dir), N_SURVEY_FILES);

    snprintf(file, sizeof file, "%s/job", scratch->dir);
    assert_ok(deliver(job, out, file, &err), &err);
    char before[65];
    char after[65];
    assert_ok(sm_file_sha256(file, before, NULL), NULL);
    char in_the_way[500];
    snprintf(in_the_way, sizeof in_the_way, "%s/report.html", out);
    assert_int_equal(unlink(in_the_way), 0);
    assert_int_equal(mkdir(in_the_way, 0755), 0);
    write_in(out, "schedule.csv", "old\n");
    sm_job_free(&job);
    const struct sm_job_change change = {"rules.set-up cost", "1"};
    assert_ok(sm_job_schedule(
                  &job, &(struct sm_job_opts){.sheet_path = scratch->path, .n_changes = 1, .change = &change},
                  &err),
              &err);
    assert_int_equal(deliver(job, out, file, &err), SM_E_IO);
    assert_ok(sm_file_sha256(file, after, NULL), NULL);
    assert_string_equal(before, after);
    char path[500];
    snprintf(path, sizeof path, "%s/schedule.csv", out);
    char *content = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&content, &n, path, 100, NULL), NULL);
    assert_string_equal(content, "old\n");
    sm_free(content);
    assert_int_equal(sm_test_dir_count(scratch->dir), N_SURVEY_FILES + 2);
    sm_job_free(&job);
}

static bool stop_at(void *user, const char *doing, double done, double total)
{
    (void)done, (void)total;
    return strcmp(doing, user) != 0;
}

static void test_deliver__stopped(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const moments[] = {"writing", "fingerprinting the files"};
    char out[400];
    char file[400];
    snprintf(out, sizeof out, "%s/out", scratch->dir);
    snprintf(file, sizeof file, "%s/job", scratch->dir);
    for (size_t i = 0; i < sizeof moments / sizeof *moments; i++) {
        char moment[40];
        assert_true(sm_strcopy(moment, sizeof moment, moments[i]));
        struct sm_job *job = NULL;
        struct sm_job_opts opts = {.sheet_path = scratch->path, .progress = stop_at, .progress_user = moment};
        assert_ok(sm_job_schedule(&job, &opts, NULL), NULL);
        assert_int_equal(deliver(job, out, file, NULL), SM_E_CANCELLED);
        sm_job_free(&job);
        assert_int_equal(sm_test_dir_count(scratch->dir), N_SURVEY_FILES);
    }
}

/* ---- memory ---- */

static int put_into_job(void *user)
{
    struct sm_test_scratch *scratch = user;
    char file[400];
    snprintf(file, sizeof file, "%s/job", scratch->dir);
    struct sm_job *job = NULL;
    int status = sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = scratch->path}, NULL);
    if (status == SM_OK) {
        status = sm_job_deliver(job, &(struct sm_job_delivery){.job_path = file, .now = "2031-04-02T08:00:00Z", .who = ""}, NULL,
                                NULL);
    }
    sm_job_free(&job);
    assert_int_equal(access(file, F_OK) == 0, status == SM_OK);
    unlink(file);
    return status;
}

/* Every allocation of the whole chain fails in turn: it is told, nothing leaks, nothing is left. */
static void test_allocations__every_failure_is_told(void **state)
{
    struct sm_test_scratch *scratch = *state;
    write_in(scratch->dir, "run.csv", "distance,code,ch1\n0.00,BCD,XP\n12.34,BAC,B\n43.80,BCE,XP\n");
    sm_test_alloc_all(put_into_job, scratch);
    assert_int_equal(sm_test_dir_count(scratch->dir), N_SURVEY_FILES);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_schedule__from_the_log_alone, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_schedule__changes_count, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_schedule__segment_from_the_log, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_schedule__names_a_nameless_segment, set_up,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_schedule__refuses, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_deliver__both, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_deliver__same_bytes, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_deliver__neither_when_one_fails, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_deliver__stopped, set_up, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_allocations__every_failure_is_told, set_up,
                                        sm_test_scratch_remove),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
