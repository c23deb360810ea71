/* A survey under review: each kind of decision, taken back and counted again, kept in the job file and nothing lost. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "sm_test.h"
#include "stopmark/job.h"

static const char sheet_text[] =
    "[segment]\nid = T12-T13\nfrom = T12\nto = T13\nlength = 43.80 m\ndiameter = 200 mm\n"
    "[survey]\nlog = run.csv\n[counter]\nunit = m\n[rules]\nset-up cost = 400\n[kits]\nfile = kits.csv\n";
static const char log_text[] =
    "time,distance,code,ch1,q1,clock_from,clock_to\n1,0.00,BCD,XP,,,\n10,3.20,BCA,A,150,2,\n20,21.34,BAC,B,,4,6\n"
    "30,31.90,BAC,C,,12,12\n40,43.80,BCE,XP,,,\n";
static const char kits_text[] =
    "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\nlong,150,225,1500,390\n";

struct survey {
    char dir[256], job[300];
};

static void write_in(const char *dir, const char *name, const char *text)
{
    char path[600];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), &err), &err);
}

static void remove_in(const char *dir, const char *name)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_int_equal(unlink(path), 0);
}

/* The counter as a camera would have shown it: the third row's log has two digits swapped. */
static struct sm_reading readings[] = {
    {1, 0, 1.0F, SM_READING_READ},     {10, 320, 1.0F, SM_READING_READ},  {20, 1234, 1.0F, SM_READING_READ},
    {25, 1234, 1.0F, SM_READING_READ}, {30, 3190, 1.0F, SM_READING_READ}, {40, 4380, 1.0F, SM_READING_READ},
};
static struct sm_trace trace = {
    .format = {{1, 2, 30, 40}, SM_UNIT_M, 2, false, false}, .n_readings = 6, .reading = readings, .duration_s = 45};

/* The survey put again, as if a video had been read. */
static void put_trace(const char *job_path)
{
    struct sm_error err = {0};
    struct sm_store *store = NULL;
    struct sm_store_record *record = NULL;
    assert_ok(sm_store_open(&store, job_path, SM_STORE_WRITE, &err), &err);
    assert_ok(sm_store_get_survey(&record, store, 1, &err), &err);
    struct sm_store_setting setting = {"changed 1: rules.overlap", "0.110 m"};
    const struct sm_store_put put = {.stored_at = "2031-03-14T09:00:00Z",
                                     .who = "",
                                     .segment = &record->survey.segment,
                                     .n_inputs = record->n_inputs,
                                     .input = record->input,
                                     .n_settings = 1,
                                     .setting = &setting,
                                     .trace = &trace,
                                     .alignment = record->alignment,
                                     .n_kits = record->n_kits,
                                     .kit = record->kit,
                                     .plan = record->plan};
    assert_ok(sm_store_put_schedule(store, &put, NULL, NULL, &err), &err);
    sm_store_record_free(&record);
    sm_store_close(&store);
}

static int set_up(void **state)
{
    struct survey *survey = sm_calloc(1, sizeof *survey);
    assert_non_null(survey);
    sm_test_dir_make(survey->dir);
    snprintf(survey->job, sizeof survey->job, "%s/town.job", survey->dir);
    write_in(survey->dir, "sheet.ini", sheet_text);
    write_in(survey->dir, "run.csv", log_text);
    write_in(survey->dir, "kits.csv", kits_text);
    char sheet[300];
    snprintf(sheet, sizeof sheet, "%s/sheet.ini", survey->dir);
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = sheet}, &err), &err);
    struct sm_job_delivery delivery = {.job_path = survey->job, .now = "2031-03-14T08:00:00Z", .who = ""};
    assert_ok(sm_job_deliver(job, &delivery, NULL, &err), &err);
    sm_job_free(&job);
    put_trace(survey->job);
    /* A review lives from the job file alone. */
    remove_in(survey->dir, "sheet.ini");
    remove_in(survey->dir, "run.csv");
    remove_in(survey->dir, "kits.csv");
    *state = survey;
    return 0;
}

static int tear_down(void **state)
{
    struct survey *survey = *state;
    sm_test_dir_remove(survey->dir);
    sm_free(survey);
    return 0;
}

static struct sm_job_review *open_review(const struct survey *survey)
{
    struct sm_job_review *review = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job_review_open(&review, survey->job, NULL, &err), &err);
    return review;
}

static struct sm_review_decision decision_of(enum sm_review_act act, const char *observation)
{
    return (struct sm_review_decision){.act = act,
                                       .observation = observation,
                                       .at = "2031-03-15T10:00:00Z",
                                       .who = "Ada",
                                       .time_s = SM_NAN,
                                       .distance_m = SM_NAN,
                                       .start_m = SM_NAN,
                                       .end_m = SM_NAN};
}

static void decide(struct sm_job_review *review, const struct sm_review_decision *decision)
{
    struct sm_error err = {0};
    assert_ok(sm_job_review_decide(review, decision, &err), &err);
}

static const struct sm_schedule *schedule_of(const struct sm_job_review *review)
{
    return sm_job_get_schedule(sm_job_review_get_job(review));
}

static const struct sm_observation *observation(const struct sm_job_review *review, size_t idx)
{
    assert_true(idx < schedule_of(review)->alignment->n_observations);
    return &schedule_of(review)->alignment->observation[idx];
}

/* ---- each kind ---- */

static void test_review__starts_where_the_survey_was(void **state)
{
    struct sm_job_review *review = open_review(*state);
    assert_int_equal(schedule_of(review)->alignment->n_observations, 5);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    assert_true(observation(review, 2)->flags & SM_FLAG_LOG_DISAGREES);
    assert_close(schedule_of(review)->sheet->rules.overlap_m, 0.110, 1e-12); /* the run's own change */
    assert_int_equal(sm_job_review_unissued(review), 0);
    sm_job_review_close(&review);
}

static void test_review__distance_of_log_or_picture(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_TAKE_LOG, "O3");
    decide(review, &decision);
    assert_close(observation(review, 2)->distance_m, 21.34, 1e-9);
    assert_int_equal(observation(review, 2)->source, SM_DISTANCE_LOG);
    double stop_um = (double)schedule_of(review)->plan->repair[0].start_um;
    assert_true(stop_um > 20.5e6 && stop_um < 21.34e6);
    decision.act = SM_REVIEW_TAKE_PICTURE;
    decide(review, &decision);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    sm_job_review_close(&review);
}

static void test_review__a_reading_corrected(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_READING, NULL);
    decision.time_s = 20;
    decision.reading = "12.54";
    decide(review, &decision);
    assert_close(observation(review, 2)->distance_m, 12.54, 1e-9);
    decision.time_s = 9.5; /* a frame that had no reading of its own */
    decision.reading = "3.05";
    decide(review, &decision);
    assert_int_equal(schedule_of(review)->trace->n_readings, 7);
    sm_job_review_close(&review);
}

static void test_review__place_code_clock_treatment(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_MOVE, "O3");
    decision.start_m = 12.2;
    decision.end_m = 14.1;
    decide(review, &decision);
    assert_close(observation(review, 2)->start_m, 12.2, 0);
    assert_close(observation(review, 2)->end_m, 14.1, 0);
    int64_t length_um = 0;
    for (size_t i = 0; i < schedule_of(review)->plan->n_repairs; i++) {
        length_um += schedule_of(review)->plan->repair[i].length_um;
    }
    assert_true(length_um >= 1900000 + 400000); /* the stretch with its cover and error on both sides */
    decision = decision_of(SM_REVIEW_CLOCK, "O3");
    decision.clock_from_h = 8;
    decision.clock_to_h = 11;
    decide(review, &decision);
    assert_int_equal(observation(review, 2)->clock_from_h, 8);
    decision = decision_of(SM_REVIEW_TREATMENT, "O3");
    decision.treatment = SM_TREATMENT_REFER;
    struct sm_error err = {0};
    assert_int_equal(sm_job_review_decide(review, &decision, &err), SM_E_RANGE); /* no reason given */
    decision.reason = "the pipe is out of round";
    decide(review, &decision);
    assert_int_equal(observation(review, 2)->treatment, SM_TREATMENT_REFER);
    assert_non_null(strstr(observation(review, 2)->reason, "out of round"));
    assert_int_equal(schedule_of(review)->plan->n_repairs, 0);
    decision = decision_of(SM_REVIEW_CODE, "O2");
    decision.code = "BAC";
    decision.ch1 = "B";
    decision.q1 = "";
    decide(review, &decision);
    assert_string_equal(observation(review, 1)->code, "BAC");
    assert_int_equal(observation(review, 1)->treatment, SM_TREATMENT_PREPARE);
    char work[200]; /* what the table asks for before a liner is asked for whoever says that there be one */
    sm_strcopy(work, sizeof work, observation(review, 1)->prepare);
    assert_true(*work);
    decision = decision_of(SM_REVIEW_TREATMENT, "O2");
    decision.treatment = SM_TREATMENT_LINE;
    decision.reason = "sound enough for a liner";
    decide(review, &decision);
    assert_int_equal(observation(review, 1)->treatment, SM_TREATMENT_LINE);
    assert_string_equal(observation(review, 1)->prepare, work);
    decision.treatment = SM_TREATMENT_REFER;
    decision.reason = "too far gone";
    decide(review, &decision);
    assert_string_equal(observation(review, 1)->prepare, "");
    decision.treatment = SM_TREATMENT_LINE; /* the last word meets the table's, not what the word before left */
    decision.reason = "seen again: sound enough";
    decide(review, &decision);
    assert_string_equal(observation(review, 1)->prepare, work);
    assert_non_null(strstr(observation(review, 1)->reason, "decided in review: seen again: sound enough (code table: prepare, "));
    assert_null(strstr(observation(review, 1)->reason, "too far gone"));
    struct sm_review_decision withdraw = decision_of(SM_REVIEW_WITHDRAW, "O2");
    decide(review, &withdraw);
    assert_int_equal(observation(review, 1)->treatment, SM_TREATMENT_NONE);
    decision.reason = "there after all";
    decide(review, &decision);
    assert_int_equal(observation(review, 1)->treatment, SM_TREATMENT_LINE);
    assert_string_equal(observation(review, 1)->prepare, work);
    sm_job_review_close(&review);
}

static void test_review__added_and_withdrawn_keep_their_names(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision add = decision_of(SM_REVIEW_ADD, NULL);
    add.code = "BAC";
    add.ch1 = "B";
    add.time_s = 25; /* the picture shows 12.34 there */
    decide(review, &add);
    add.time_s = 12;
    add.distance_m = 8.0;
    add.clock_from_h = 3;
    decide(review, &add);
    assert_int_equal(schedule_of(review)->alignment->n_observations, 7);
    assert_close(observation(review, 5)->distance_m, 12.34, 1e-9);
    assert_close(observation(review, 6)->distance_m, 8.0, 1e-9);
    const struct sm_review_decision *all;
    const bool *is_active;
    sm_job_review_decisions(review, &all, &is_active);
    char first_key[65];
    sm_strcopy(first_key, sizeof first_key, all[0].key);
    struct sm_review_decision undo = decision_of(SM_REVIEW_UNDO, NULL);
    undo.of_key = first_key;
    decide(review, &undo);
    assert_int_equal(schedule_of(review)->alignment->n_observations, 7); /* O7 is still O7 */
    assert_int_equal(observation(review, 5)->treatment, SM_TREATMENT_NONE);
    assert_string_equal(observation(review, 6)->id, "O7");
    assert_close(observation(review, 6)->distance_m, 8.0, 1e-9);
    struct sm_review_decision withdraw = decision_of(SM_REVIEW_WITHDRAW, "O7");
    withdraw.reason = "a shadow";
    decide(review, &withdraw);
    assert_int_equal(observation(review, 6)->treatment, SM_TREATMENT_NONE);
    undo.of_key = NULL; /* the withdrawal, then the addition */
    decide(review, &undo);
    assert_int_equal(observation(review, 6)->treatment, SM_TREATMENT_PREPARE);
    decide(review, &undo);
    assert_int_equal(schedule_of(review)->alignment->n_observations, 5);
    sm_job_review_close(&review);
}

static void test_review__ties_and_rules(void **state)
{
    struct sm_job_review *review = open_review(*state);
    double cost = schedule_of(review)->plan->cost;
    struct sm_review_decision rule = decision_of(SM_REVIEW_RULE, NULL);
    rule.rule = "set-up cost";
    rule.value = "100";
    struct sm_job *tried = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job_review_try(&tried, review, &rule, 1, &err), &err);
    assert_true(sm_job_get_schedule(tried)->plan->cost < cost);
    sm_job_free(&tried);
    assert_close(schedule_of(review)->plan->cost, cost, 0); /* tried only */
    decide(review, &rule);
    assert_true(schedule_of(review)->plan->cost < cost);
    rule.value = "plenty";
    assert_int_equal(sm_job_review_decide(review, &rule, &err), SM_E_FORMAT);
    rule.rule = "no such rule";
    assert_int_equal(sm_job_review_decide(review, &rule, &err), SM_E_NOTFOUND);
    struct sm_review_decision tie = decision_of(SM_REVIEW_TIE, NULL);
    tie.reading = "0.00";
    tie.distance_m = 0.40;
    decide(review, &tie);
    assert_close(observation(review, 2)->distance_m, 12.74, 1e-9);
    tie.distance_m = SM_NAN;
    decide(review, &tie);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    sm_job_review_close(&review);
}

/* ---- kept ---- */

static void test_review__undo_redo_and_opened_again(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_TAKE_LOG, "O3");
    const struct sm_review_decision undo = decision_of(SM_REVIEW_UNDO, NULL);
    const struct sm_review_decision redo = decision_of(SM_REVIEW_REDO, NULL);
    struct sm_error err = {0};
    assert_int_equal(sm_job_review_decide(review, &undo, &err), SM_E_NOTFOUND);
    decide(review, &decision);
    decide(review, &undo);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    decide(review, &redo);
    assert_close(observation(review, 2)->distance_m, 21.34, 1e-9);
    assert_int_equal(sm_job_review_decide(review, &redo, &err), SM_E_NOTFOUND);
    sm_job_review_close(&review);

    review = open_review(*state);
    assert_close(observation(review, 2)->distance_m, 21.34, 1e-9);
    const struct sm_review_decision *all;
    const bool *is_active;
    assert_int_equal(sm_job_review_decisions(review, &all, &is_active), 3);
    assert_true(is_active[0] && !is_active[1] && !is_active[2]);
    assert_string_equal(all[0].who, "Ada");
    assert_string_equal(all[2].of_key, all[0].key);
    sm_job_review_close(&review);
}

static void test_review__two_programs_on_one_job(void **state)
{
    struct sm_job_review *mine = open_review(*state);
    struct sm_job_review *yours = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_TAKE_LOG, "O3");
    decide(yours, &decision);
    bool has_changed = false;
    struct sm_error err = {0};
    assert_ok(sm_job_review_refresh(mine, &has_changed, &err), &err);
    assert_true(has_changed);
    assert_close(observation(mine, 2)->distance_m, 21.34, 1e-9);
    assert_ok(sm_job_review_refresh(mine, &has_changed, &err), &err);
    assert_false(has_changed);
    sm_job_review_close(&mine);
    sm_job_review_close(&yours);
}

static void count_history(const struct survey *survey, size_t n_decided, size_t n_surveys)
{
    struct sm_error err = {0};
    struct sm_store *store = NULL;
    struct sm_store_events *events = NULL;
    struct sm_store_surveys *surveys = NULL;
    assert_ok(sm_store_open(&store, survey->job, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_verify_history(store, &err), &err);
    assert_ok(sm_store_list_events(&events, store, NULL, &err), &err);
    size_t n = 0;
    for (size_t i = 0; i < events->n; i++) {
        n += strcmp(events->item[i].event, "decided") == 0;
    }
    assert_int_equal(n, n_decided);
    assert_ok(sm_store_list_surveys(&surveys, store, NULL, &err), &err);
    assert_int_equal(surveys->n, n_surveys);
    sm_store_events_free(&events);
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
}

static void test_review__issued_and_gone_on_with(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision decision = decision_of(SM_REVIEW_TAKE_LOG, "O3");
    struct sm_error err = {0};
    decide(review, &decision);
    assert_int_equal(sm_job_review_unissued(review), 1);
    assert_ok(sm_job_review_issue(review, "2031-03-15T11:00:00Z", "Ada", &err), &err);
    assert_int_equal(sm_job_review_unissued(review), 0);
    assert_ok(sm_job_review_issue(review, "2031-03-15T11:01:00Z", "Ada", &err), &err); /* nothing new */
    struct sm_review_decision undo = decision_of(SM_REVIEW_UNDO, NULL);
    decide(review, &undo);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    assert_ok(sm_job_review_issue(review, "2031-03-15T12:00:00Z", "Ada", &err), &err);
    sm_job_review_close(&review);
    count_history(*state, 2, 4);

    review = open_review(*state);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    const struct sm_review_decision redo = decision_of(SM_REVIEW_REDO, NULL);
    decide(review, &redo); /* decisions of the surveys before still stand */
    assert_close(observation(review, 2)->distance_m, 21.34, 1e-9);
    assert_int_equal(sm_job_review_unissued(review), 1);
    sm_job_review_close(&review);
}

/* The crew works from what was issued: a decision made since is told and not in the sheets. */
static void test_review__crews_have_what_was_issued(void **state)
{
    const struct survey *survey = *state;
    struct sm_error err = {0};
    struct sm_load *load = NULL;
    struct sm_findings findings = {0};
    struct sm_text before = {0}, after = {0};
    const struct sm_job_crew_opts opts = {.job_path = survey->job};
    assert_ok(sm_job_crew(&load, &findings, &opts, &err), &err);
    sm_schedule_load_write_json(&before, load);
    sm_schedule_load_free(&load);
    assert_int_equal(findings.n, 0);
    struct sm_job_review *review = open_review(survey);
    struct sm_review_decision decision = decision_of(SM_REVIEW_TREATMENT, "O3");
    decision.treatment = SM_TREATMENT_REFER;
    decision.reason = "flat";
    decide(review, &decision);
    assert_ok(sm_job_crew(&load, &findings, &opts, &err), &err);
    sm_schedule_load_write_json(&after, load);
    sm_schedule_load_free(&load);
    assert_string_equal(after.data, before.data);
    assert_int_equal(findings.n, 1);
    assert_ok(sm_job_review_issue(review, "2031-03-16T08:00:00Z", "Ada", &err), &err);
    sm_job_review_close(&review);
    sm_text_release(&after);
    assert_ok(sm_job_crew(&load, &findings, &opts, &err), &err);
    sm_schedule_load_write_json(&after, load);
    assert_string_not_equal(after.data, before.data);
    assert_int_equal(findings.n, 1);
    sm_schedule_load_free(&load);
    sm_findings_release(&findings);
    sm_text_release(&before);
    sm_text_release(&after);
}

static void test_review__a_box_is_read_once(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_review_decision box = decision_of(SM_REVIEW_BOX, NULL);
    box.box = (struct sm_box){10, 20, 100, 30};
    struct sm_error err = {0};
    assert_int_equal(sm_job_review_decide(review, &box, &err), SM_E_NOTFOUND);
    struct sm_reading read[] = {{0, 0, 1.0F, SM_READING_READ}, {20, 2000, 1.0F, SM_READING_READ}};
    const struct sm_trace other = {
        .format = {box.box, SM_UNIT_M, 2, false, false}, .n_readings = 2, .reading = read, .duration_s = 45};
    assert_ok(sm_job_review_keep_reread(review, &box, &other, &err), &err);
    decide(review, &box);
    assert_close(observation(review, 2)->distance_m, 20.0, 1e-9);
    const struct sm_review_decision undo = decision_of(SM_REVIEW_UNDO, NULL);
    decide(review, &undo);
    assert_close(observation(review, 2)->distance_m, 12.34, 1e-9);
    sm_job_review_close(&review);
}

static void test_review__what_makes_no_sense_changes_nothing(void **state)
{
    struct sm_job_review *review = open_review(*state);
    struct sm_error err = {0};
    struct sm_review_decision wrong[] = {
        decision_of(SM_REVIEW_TAKE_LOG, "O77"), decision_of(SM_REVIEW_CONFIRM, NULL),
        decision_of(SM_REVIEW_MOVE, "O3"),      decision_of(SM_REVIEW_READING, NULL),
        decision_of(SM_REVIEW_ADD, NULL),       decision_of(SM_REVIEW_CLOCK, "O3"),
        decision_of(SM_REVIEW_TIE, NULL),       decision_of(SM_REVIEW_BOX, NULL),
    };
    wrong[2].start_m = 20;
    wrong[2].end_m = 10;
    wrong[5].clock_from_h = 13;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_int_equal(sm_job_review_decide(review, &wrong[i], &err), SM_E_RANGE);
        assert_true(err.remedy[0] != '\0');
    }
    sm_job_review_close(&review);
    count_history(*state, 0, 2);
}

static void test_review__no_job_is_made(void **state)
{
    struct survey *survey = *state;
    struct sm_job_review *review = NULL;
    struct sm_error err = {0};
    char path[400];
    snprintf(path, sizeof path, "%s/no.job", survey->dir);
    assert_int_equal(sm_job_review_open(&review, path, NULL, &err), SM_E_NOTFOUND);
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(sm_job_review_open(&review, survey->job, "T99", &err), SM_E_NOTFOUND);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(test_review__##name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(starts_where_the_survey_was),
        TEST(distance_of_log_or_picture),
        TEST(a_reading_corrected),
        TEST(place_code_clock_treatment),
        TEST(added_and_withdrawn_keep_their_names),
        TEST(ties_and_rules),
        TEST(undo_redo_and_opened_again),
        TEST(two_programs_on_one_job),
        TEST(issued_and_gone_on_with),
        TEST(crews_have_what_was_issued),
        TEST(a_box_is_read_once),
        TEST(what_makes_no_sense_changes_nothing),
        TEST(no_job_is_made),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
