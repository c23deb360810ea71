/* Jobs made apart into one: nothing lost, nothing twice, the same in every order; conflicts shown; what was meddled with
 * is refused. */
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#include "sm_test.h"
#include "stopmark/store.h"

/* ---- invented jobs ---- */

enum { N_SEGMENTS = 3, N_RUNS = 3, N_DAYS = 2 };

static struct sm_observation invent_observation(int i)
{
    struct sm_observation o = {
        .entry_idx = i, .end_entry_idx = -1, .code = i ? "BAB" : "BCD", .ch1 = "", .ch2 = "", .q1 = "", .q2 = "",
        .remark = "", .q1_value = SM_NAN, .q2_value = SM_NAN, .diameter_mm = SM_NAN, .time_s = SM_NAN,
        .logged_m = i, .distance_m = i, .start_m = i, .end_m = i, .error_m = 0.1, .error_placement_m = 0,
        .error_reading_m = 0, .error_distance_m = 0, .reason = "", .prepare = "", .reading = {.time_s = SM_NAN},
        .treatment = i ? SM_TREATMENT_LINE : SM_TREATMENT_NONE};
    snprintf(o.id, sizeof o.id, "O%d", i + 1);
    return o;
}

static const char *stamp(char text[32], int minute)
{
    snprintf(text, 32, "2031-03-%02dT10:%02d:00Z", 1 + minute / 60 % 28, minute % 60);
    return text;
}

/* A run over the recording of a segment; other rules make another run. */
static void put_run(struct sm_store *store, int segment_no, int run_no)
{
    char name[16];
    char at[32];
    char rule[16];
    snprintf(name, sizeof name, "S%d", segment_no);
    snprintf(rule, sizeof rule, "%d mm", 100 + run_no);
    struct sm_store_input input = {.role = "log", .path = "run.csv", .size_bytes = (int64_t)strlen(name), .content = name};
    sm_sha256(name, strlen(name), input.sha256);
    struct sm_store_setting setting = {"rules.overlap", rule};
    struct sm_segment segment = {name, "A", "B", 20, 200, SM_NAN, NULL, SM_FLOW_UNKNOWN};
    struct sm_observation observation[3] = {invent_observation(0), invent_observation(1), invent_observation(2)};
    struct sm_tie tie = {0.4, 0.0};
    struct sm_reading reading[2] = {{0, 0, 1.0F, SM_READING_READ}, {20, 2000, 0.9F, SM_READING_READ}};
    struct sm_trace trace = {.format = {{1, 2, 30, 10}, SM_UNIT_M, 2, false, false}, .n_readings = 2, .reading = reading,
                             .duration_s = 20};
    struct sm_finding finding = {.severity = SM_SEVERITY_NOTE, .source = "run.csv", .line = 2, .entry_idx = -1, .message = "odd",
                                 .time_s = SM_NAN};
    struct sm_findings list = {.n = 1, .item = &finding};
    struct sm_store_findings findings = {"log", &list};
    struct sm_alignment alignment = {.method = "log", .length_m = 20, .n_observations = 3, .observation = observation,
                                     .n_ties = 1, .tie = &tie,
                                     .clock_offset_s = SM_NAN, .clock_residual_s = SM_NAN, .misclosure_m = SM_NAN};
    struct sm_kit kit = {"short", 150, 225, 600000, 210, 2, 1.5, 50, 80, "silicate"};
    struct sm_cure_row cure = {"silicate", 12, 25, 67};
    static const int32_t covers[] = {1};
    static const char *const works[] = {"clean"};
    struct sm_repair repair = {"R1", 0, 700000, 600000, 3.4, 0.1, 610, 1, covers, 0, NULL, 1, works};
    struct sm_target target = {1, 750000, 1250000};
    struct sm_unrepaired unrepaired = {2, "no kit"};
    struct sm_plan plan = {.n_targets = 1, .target = &target, .n_repairs = 1, .repair = &repair, .n_unrepaired = 1,
                           .unrepaired = &unrepaired, .cost = 610, .full_lining_cost = SM_NAN, .advice = ""};
    struct sm_store_put put = {.stored_at = stamp(at, run_no * 60 + segment_no), .who = "planner", .segment = &segment,
                               .n_inputs = 1, .input = &input, .n_settings = 1, .setting = &setting,
                               .alignment = &alignment, .n_kits = 1, .kit = &kit, .plan = &plan, .n_cure_rows = 1,
                               .cure_row = &cure, .trace = &trace, .n_findings = 1, .findings = &findings};
    struct sm_error err = {0};
    assert_ok(sm_store_put_schedule(store, &put, NULL, NULL, &err), &err);
}

static enum sm_store_taken put_row(struct sm_store *store, int segment_no, int day, double stop_m, const char *who)
{
    char name[16];
    char date[32];
    char at[32];
    snprintf(name, sizeof name, "S%d", segment_no);
    snprintf(date, sizeof date, "2031-04-%02d", day + 1);
    struct sm_remark remark = {"stop", SM_SEVERITY_WARNING, "off"};
    struct sm_recorded row = {
        .row = {.line = 2, .segment = name, .repair = "R1", .date = date, .crew = "North", .kit = "short", .lot = "",
                .result = "ok", .remark = "", .is_in_place = true, .liner_length_m = 0.6, .stop_m = stop_m,
                .mark_m = SM_NAN, .test_pressure_kpa = SM_NAN, .pressure_kpa = 75, .pipe_temperature_c = SM_NAN,
                .mixed = "", .inflated = "", .deflated = "", .occurrence = 1},
        .survey_key = "", .is_planned = true, .source = "day.csv", .source_sha256 = "0", .who = who,
        .recorded_at = stamp(at, 300 + day * 60 + (int)(stop_m * 10)), .n_remarks = 1, .remark = &remark};
    enum sm_store_taken taken = SM_STORE_TAKEN_NEW;
    struct sm_error err = {0};
    assert_ok(sm_store_put_as_built(store, &row, &taken, &err), &err);
    return taken;
}

static void put_word(struct sm_store *store, int segment_no, const char *word, const char *who, int minute)
{
    char name[16];
    char at[32];
    snprintf(name, sizeof name, "S%d", segment_no);
    struct sm_verdict verdict = {name, "recheck", "R1", word, "", stamp(at, minute), who};
    struct sm_error err = {0};
    assert_ok(sm_store_put_verdict(store, &verdict, &err), &err);
}

static struct sm_store *open_job(const char *path)
{
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, path, SM_STORE_WRITE, &err), &err);
    return store;
}

/* A reviewer's decision about the first survey of a segment; a marked box with what is read there. */
static void put_decision(struct sm_store *store, int segment_no, enum sm_review_act act, const char *who, int minute)
{
    char name[16];
    char at[32];
    struct sm_store_surveys *surveys = NULL;
    struct sm_error err = {0};
    snprintf(name, sizeof name, "S%d", segment_no);
    struct sm_review_decision d = {.act = act, .at = stamp(at, minute), .who = who, .observation = "O2", .time_s = 3,
                                   .distance_m = 1.1, .start_m = 1, .end_m = 1.2, .clock_from_h = 3, .clock_to_h = 4,
                                   .code = "BAC", .ch1 = "B", .ch2 = "", .q1 = "10", .q2 = "", .reading = "1.10",
                                   .box = {1, 2, 30, 10}, .rule = "overlap", .value = "50 mm", .reason = "seen",
                                   .treatment = SM_TREATMENT_REFER};
    struct sm_reading reading = {1, 110, 1.0F, SM_READING_READ};
    struct sm_trace trace = {.format = {d.box, SM_UNIT_M, 2, false, false}, .n_readings = 1, .reading = &reading, .duration_s = 9};
    assert_ok(sm_store_list_surveys(&surveys, store, name, &err), &err);
    if (act == SM_REVIEW_BOX) {
        assert_ok(sm_store_put_reread(store, &surveys->item[0], &d, &trace, &err), &err);
    }
    assert_ok(sm_store_put_decision(store, &surveys->item[0], &d, "decided so", &err), &err);
    sm_store_surveys_free(&surveys);
}

/* A job with some of everything there is to have. */
static void make_random_job(const char *path, struct sm_test_random *random)
{
    struct sm_store *store = open_job(path);
    put_run(store, 0, 0);
    for (int i = 0; i < N_SEGMENTS; i++) {
        for (int run = 0; run < N_RUNS; run++) { /* in the order of their times, as they happen */
            if (sm_test_int(random, 0, 1)) {
                put_run(store, i, run);
            }
        }
        for (int day = 0; day < N_DAYS; day++) {
            for (double stop_m = 0.9; stop_m < 1.25; stop_m += 0.1) {
                if (sm_test_int(random, 0, 2) == 0) {
                    put_row(store, i, day, stop_m, "crew");
                }
            }
        }
        static const char *const words[] = {"seen", "not seen", "defective"};
        int64_t word = sm_test_int(random, 0, 2);
        put_word(store, i, words[word], words[word], 600 + (int)sm_test_int(random, 0, 4));
    }
    /* Several people, also in the same minute: whose word is the last may not depend on which job came first. */
    const char *who = sm_test_int(random, 0, 1) ? sm_test_int(random, 0, 1) ? "Ann" : "Ben" : "Eve";
    for (int minute = 620; minute < 626; minute++) {
        static const enum sm_review_act acts[] = {SM_REVIEW_MOVE, SM_REVIEW_TREATMENT, SM_REVIEW_CODE, SM_REVIEW_WITHDRAW};
        if (sm_test_int(random, 0, 1)) {
            put_decision(store, 0, acts[sm_test_int(random, 0, 3)], who, minute);
        }
    }
    sm_store_close(&store);
}

/* Decisions in the order in which they count. */
static void add_decisions(struct sm_text *text, const char *path)
{
    struct sm_store *store = open_job(path);
    struct sm_store_surveys *surveys = NULL;
    struct sm_store_decisions *decisions = NULL;
    struct sm_error err = {0};
    assert_ok(sm_store_list_surveys(&surveys, store, "S0", &err), &err);
    for (size_t i = 0; i < surveys->n; i++) {
        if (surveys->item[i].superseded_by == 0) {
            assert_ok(sm_store_list_decisions(&decisions, store, surveys->item[i].key, &err), &err);
            for (size_t k = 0; k < decisions->n; k++) {
                sm_text_addf(text, "%s %s %d\n", decisions->item[k].key, decisions->item[k].who, (int)decisions->item[k].act);
            }
            sm_store_decisions_free(&decisions);
        }
    }
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
}

/* ---- what a job holds, in words that know no row numbers ---- */

static void add_rows(struct sm_text *text, sqlite3 *db, const char *sql)
{
    sqlite3_stmt *stmt = NULL;
    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) != SQLITE_OK) {
        fail_msg("%s: %s", sql, sqlite3_errmsg(db));
    }
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(stmt); i++) {
            const char *value = (const char *)sqlite3_column_text(stmt, i);
            sm_text_addf(text, "%s|", value ? value : "NULL");
        }
        sm_text_add(text, "\n");
    }
    assert_int_equal(sqlite3_finalize(stmt), SQLITE_OK);
}

static struct sm_text contents(const char *path)
{
    static const char *const queries[] = {
        "SELECT s.key, g.name, kind, stored_at, length_m, superseded_by IS NULL FROM survey s JOIN segment g USING"
        " (segment_id) ORDER BY 1",
        "SELECT s.key, role, ordinal, path, sha256 FROM input JOIN survey s USING (survey_id) ORDER BY 1, 2, 3",
        "SELECT s.key, name, value FROM setting JOIN survey s USING (survey_id) ORDER BY 1, 2",
        "SELECT s.key, method, a.length_m FROM alignment a JOIN survey s USING (survey_id) ORDER BY 1",
        "SELECT s.key, o.ordinal, o.name, o.code, o.distance_m, o.treatment FROM observation o"
        " JOIN survey s USING (survey_id) ORDER BY 1, 2",
        "SELECT s.key, k.name, k.length_um, c.cure_min FROM kit k JOIN cure c USING (survey_id) JOIN survey s USING"
        " (survey_id) ORDER BY 1, 2",
        "SELECT s.key, r.name, r.start_um, x.relation, o.name FROM repair_observation x JOIN repair r USING (repair_id)"
        " JOIN observation o USING (observation_id) JOIN survey s ON s.survey_id = r.survey_id ORDER BY 1, 2, 4",
        "SELECT s.key, o.name, t.start_um, u.reason FROM observation o JOIN survey s USING (survey_id)"
        " LEFT JOIN target t USING (observation_id) LEFT JOIN unrepaired u USING (observation_id) ORDER BY 1, 2",
        "SELECT key, content, corrects, segment, date, stop_um, recorded_at FROM as_built ORDER BY 1",
        "SELECT * FROM as_built_finding ORDER BY 1, 2",
        "SELECT key FROM as_built_in_force ORDER BY 1",
        "SELECT * FROM as_built_conflict ORDER BY 1, 2, 3, 4, 5",
        "SELECT key, word, who FROM verdict ORDER BY 1",
        "SELECT * FROM verdict_conflict ORDER BY 1, 2, 3, 4, 5, 6, 7",
        "SELECT key, survey_key, at, who, act, treatment, reason FROM decision ORDER BY 1",
        "SELECT key FROM history ORDER BY 1",
    };
    sqlite3 *db = NULL;
    struct sm_text text = {0};
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    for (size_t i = 0; i < sizeof queries / sizeof *queries; i++) {
        sm_text_addf(&text, "-- %zu\n", i);
        add_rows(&text, db, queries[i]);
    }
    add_rows(&text, db, "PRAGMA foreign_key_check");
    sqlite3_close(db);
    add_decisions(&text, path);
    return text;
}

static void merge_into(const char *path, const char *other)
{
    struct sm_store *store = open_job(path);
    struct sm_store_merged added = {0};
    struct sm_error err = {0};
    assert_ok(sm_store_merge(store, other, &added, &err), &err);
    assert_ok(sm_store_verify_history(store, &err), &err);
    sm_store_close(&store);
}

static void expect_same(const char *path, const struct sm_text *expected)
{
    struct sm_text text = contents(path);
    const char *a = sm_text_str(&text);
    const char *b = sm_text_str(expected);
    size_t line = 0; /* where the line that differs begins */
    for (size_t i = 0; a[i] && a[i] == b[i]; i++) {
        line = a[i] == '\n' ? i + 1 : line;
    }
    assert_string_equal(a + line, b + line);
    sm_text_release(&text);
}

/* ---- tests ---- */

/* (A + B) + C = C + (B + A) = A + (C + B), and adding any of them again changes nothing. */
static void test_merge__order_and_repetition_make_no_difference(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_test_random random = sm_test_seed(20310314);
    for (int round = 0; round < 6; round++) {
        char job[3][320];
        char out[4][320];
        for (int i = 0; i < 3; i++) {
            snprintf(job[i], sizeof job[i], "%s/%d-%d.job", scratch->dir, round, i);
            make_random_job(job[i], &random);
        }
        for (int i = 0; i < 4; i++) {
            snprintf(out[i], sizeof out[i], "%s/%d-out%d.job", scratch->dir, round, i);
        }
        static const int order[3][3] = {{0, 1, 2}, {2, 1, 0}, {1, 0, 2}};
        for (int i = 0; i < 3; i++) {
            for (int k = 0; k < 3; k++) {
                merge_into(out[i], job[order[i][k]]);
            }
        }
        struct sm_text expected = contents(out[0]);
        expect_same(out[1], &expected);
        expect_same(out[2], &expected);
        merge_into(out[3], job[1]); /* two made one first, then the third, then all over again */
        merge_into(out[3], job[2]);
        merge_into(job[0], out[3]);
        merge_into(job[0], job[1]);
        merge_into(job[0], out[0]);
        merge_into(job[0], job[0]);
        expect_same(job[0], &expected);
        sm_text_release(&expected);
    }
}

static void test_merge__nothing_is_lost_and_conflicts_show(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char other[320];
    snprintf(other, sizeof other, "%s/other.job", scratch->dir);
    struct sm_store *a = open_job(scratch->path);
    struct sm_store *b = open_job(other);
    put_run(a, 0, 0);
    put_run(b, 0, 1);
    put_row(a, 0, 0, 1.0, "Ann");
    put_row(b, 0, 0, 1.1, "Ben");
    put_word(a, 0, "seen", "Ann", 600);
    put_word(b, 0, "defective", "Ben", 601);
    sm_store_close(&b);
    struct sm_store_merged added = {0};
    struct sm_error err = {0};
    assert_ok(sm_store_merge(a, other, &added, &err), &err);
    assert_int_equal(added.n_surveys, 1);
    assert_int_equal(added.n_as_built, 1);
    assert_int_equal(added.n_verdicts, 1);
    assert_int_equal(added.n_events, 3);
    struct sm_store_conflicts *conflicts = NULL;
    assert_ok(sm_store_list_conflicts(&conflicts, a, NULL, &err), &err);
    assert_int_equal(conflicts->n, 3);
    assert_string_equal(conflicts->item[0].subject, "");
    assert_string_equal(conflicts->item[1].subject, "R1");
    assert_non_null(strstr(conflicts->item[2].text, "says otherwise"));
    sm_store_conflicts_free(&conflicts);
    struct sm_store_as_builts *rows = NULL;
    assert_ok(sm_store_list_as_built(&rows, a, "S0", &err), &err);
    assert_int_equal(rows->n, 2);
    assert_true(rows->item[1].counts && rows->item[1].is_disputed); /* the later word */
    assert_close(rows->item[1].row.stop_m, 1.1, 1e-9);
    assert_false(rows->item[0].counts);
    assert_int_equal(rows->item[0].n_remarks, 1);
    sm_store_as_builts_free(&rows);
    struct sm_store_surveys *surveys = NULL;
    assert_ok(sm_store_list_surveys(&surveys, a, NULL, &err), &err);
    assert_int_equal(surveys->n, 2);
    assert_true(surveys->item[0].superseded_by == surveys->item[1].survey_id);
    struct sm_store_record *record = NULL;
    assert_ok(sm_store_get_survey(&record, a, surveys->item[1].survey_id, &err), &err);
    assert_int_equal(record->plan->repair[0].covers[0], 1);
    assert_string_equal(record->cure_row[0].name, "silicate");
    sm_store_record_free(&record);
    sm_store_surveys_free(&surveys);
    sm_store_close(&a);
}

/* The rows of one machine: a correction takes the place of the row it corrects, the same twice stands once. */
static void test_as_built__corrections_supersede(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_store *store = open_job(scratch->path);
    struct sm_error err = {0};
    assert_int_equal(put_row(store, 0, 0, 1.0, "Ann"), SM_STORE_TAKEN_NEW);
    assert_int_equal(put_row(store, 0, 0, 1.0, "Ben"), SM_STORE_TAKEN_KNOWN);
    assert_int_equal(put_row(store, 0, 0, 1.1, "Ann"), SM_STORE_TAKEN_CORRECTION);
    assert_int_equal(put_row(store, 0, 0, 1.0, "Ann"), SM_STORE_TAKEN_OUTDATED);
    assert_int_equal(put_row(store, 0, 1, 1.0, "Ann"), SM_STORE_TAKEN_NEW); /* another day, another liner */
    struct sm_store_as_builts *rows = NULL;
    assert_ok(sm_store_list_as_built(&rows, store, NULL, &err), &err);
    assert_int_equal(rows->n, 3);
    assert_false(rows->item[0].counts);
    assert_true(rows->item[1].counts);
    assert_string_equal(rows->item[1].corrects, rows->item[0].key);
    assert_false(rows->item[1].is_disputed);
    assert_true(rows->item[2].counts);
    sm_store_as_builts_free(&rows);
    sm_store_close(&store);
}

static void meddle(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

static void test_merge__refuses(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char other[320];
    snprintf(other, sizeof other, "%s/other.job", scratch->dir);
    struct sm_store *a = open_job(scratch->path);
    put_run(a, 0, 0);
    struct sm_text before = contents(scratch->path);
    struct sm_store_merged added = {0};
    struct sm_error err = {0};
    assert_int_equal(sm_store_merge(a, other, &added, &err), SM_E_NOTFOUND);
    struct sm_store *b = open_job(other);
    put_run(b, 1, 0);
    put_run(b, 1, 1);
    sm_store_close(&b);
    meddle(other, "DROP TRIGGER history_is_not_changed; UPDATE history SET who = 'nobody' WHERE history_id = 1");
    assert_int_equal(sm_store_merge(a, other, &added, &err), SM_E_CONFLICT);
    assert_string_equal(err.source, other);
    assert_int_equal(added.n_surveys, 0);
    expect_same(scratch->path, &before);
    sm_text_release(&before);
    sm_store_close(&a);
}

/* ---- is it still what it was? ---- */

static void make_sound_job(const char *path)
{
    struct sm_store *store = open_job(path);
    put_run(store, 0, 0);
    put_run(store, 0, 1);
    put_run(store, 1, 0);
    put_row(store, 0, 0, 1.0, "Ann");
    put_row(store, 0, 0, 1.1, "Ann");
    put_word(store, 0, "seen", "Ann", 600);
    put_word(store, 0, "not seen", "Ben", 601);
    put_decision(store, 0, SM_REVIEW_MOVE, "Eve", 620);
    put_decision(store, 0, SM_REVIEW_BOX, "Eve", 621);
    put_decision(store, 1, SM_REVIEW_TREATMENT, "Eve", 622);
    sm_store_close(&store);
}

static struct sm_store_checked check(const char *path, const char *chain)
{
    struct sm_store *store = NULL;
    struct sm_store_checked checked = {0};
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, path, SM_STORE_READ, &err), &err);
    assert_ok(sm_store_check(&checked, store, chain, NULL, NULL, &err), &err);
    sm_store_close(&store);
    sm_findings_release(&checked.findings);
    return checked;
}

/* Somebody with another program, who knows about the triggers. */
static void test_check__every_tampering_shows(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const tamperings[] = {
        "DROP TRIGGER history_is_not_changed; UPDATE history SET who = 'nobody' WHERE history_id = 2",
        "DROP TRIGGER history_is_not_changed; UPDATE history SET detail = replace(detail, '1', '2')",
        "DROP TRIGGER history_is_not_removed; DELETE FROM history WHERE history_id = 3",
        "DROP TRIGGER history_is_not_removed; DELETE FROM history WHERE history_id = (SELECT max(history_id) FROM history)",
        "DROP TRIGGER history_is_not_changed; UPDATE history SET history_id = -history_id;"
        " UPDATE history SET history_id = CASE history_id WHEN -1 THEN 2 WHEN -2 THEN 1 ELSE -history_id END",
        "INSERT INTO history (key, chain, at, who, event, segment, survey_key, subject, detail) VALUES"
        " (printf('%064d', 1), printf('%064d', 2), '2031', 'me', 'as-built recorded', 'S0', '', 'R1', 'x')",
        "DROP TRIGGER as_built_is_not_changed; UPDATE as_built SET stop_um = stop_um + 1 WHERE as_built_id = 1",
        "DROP TRIGGER as_built_is_not_changed; UPDATE as_built SET outcome = 'not in place', result = 'failed'",
        "DROP TRIGGER as_built_finding_is_not_removed; DROP TRIGGER as_built_is_not_removed; DELETE FROM as_built_finding;"
        " DELETE FROM as_built WHERE as_built_id = 2",
        "DROP TRIGGER verdict_is_not_changed; UPDATE verdict SET word = 'not seen'",
        "DROP TRIGGER verdict_is_not_removed; DELETE FROM verdict",
        "UPDATE observation SET distance_m = distance_m + 0.01 WHERE observation_id = 4",
        "UPDATE repair SET start_um = start_um - 1",
        "UPDATE target SET end_um = end_um - 1",
        "UPDATE setting SET value = '50 mm'",
        "UPDATE input SET sha256 = printf('%064d', 9)",
        "DELETE FROM unrepaired",
        "UPDATE segment SET name = 'S9' WHERE name = 'S1'",
        "PRAGMA foreign_keys = OFF; DELETE FROM survey WHERE survey_id = 3",
        "UPDATE survey SET superseded_by = NULL",
        "UPDATE survey SET superseded_by = 3 WHERE survey_id = 1",
        "UPDATE survey SET superseded_by = 1 WHERE survey_id = 3",
        "DROP TRIGGER decision_is_not_changed; UPDATE decision SET decision_id = -decision_id WHERE decision_id < 3;"
        " UPDATE decision SET decision_id = 3 + decision_id WHERE decision_id < 0",
        "INSERT INTO decision (key, survey_key, at, who, act, observation, of_key, clock_from_h, clock_to_h, treatment, box_x_px,"
        " box_y_px, box_width_px, box_height_px, reason) SELECT printf('%064d', 5), survey_key, at, 'me', 'withdraw', 'O2', '', 0, 0,"
        " treatment, 0, 0, 0, 0, '' FROM decision LIMIT 1",
        "INSERT INTO verdict SELECT 9, printf('%064d', 5), segment, survey_key, repair, 'defective', '', said_at, who FROM verdict LIMIT 1",
        "INSERT INTO reread SELECT survey_key, '1,1,1,1', unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px,"
        " has_leading_zeros, has_decimal_comma, duration_s, n_readings, readings, n_jumps, jumps, clock_at_zero_s, clock_error_s,"
        " clock_n_seen, frame_rate_hz FROM reread",
    };
    for (size_t i = 0; i < sizeof tamperings / sizeof *tamperings; i++) {
        char path[320];
        snprintf(path, sizeof path, "%s/%zu.job", scratch->dir, i);
        make_sound_job(path);
        struct sm_store_checked before = check(path, NULL);
        assert_int_equal(before.n_tampered, 0);
        assert_int_equal(before.n_surveys, 3);
        assert_int_equal(before.n_as_built, 2);
        assert_true(before.n_missing > 0); /* the invented files never were */
        meddle(path, tamperings[i]);
        if (check(path, NULL).n_tampered == 0) {
            fail_msg("not noticed: %s", tamperings[i]);
        }
    }
}

/* ---- every cell of every table ---- */

/* What SQL says, one name a line. */
static struct sm_text names_of(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    struct sm_text text = {0};
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    add_rows(&text, db, sql);
    sqlite3_close(db);
    return text;
}

static bool is_noticed(const char *path)
{
    struct sm_store *store = NULL;
    struct sm_store_checked checked = {0};
    enum sm_status status = sm_store_open(&store, path, SM_STORE_READ, NULL);
    status = status == SM_OK ? sm_store_check(&checked, store, NULL, NULL, NULL, NULL) : status;
    sm_store_close(&store);
    sm_findings_release(&checked.findings);
    return status != SM_OK || checked.n_tampered;
}

/* In a copy, by a program that first takes every guard away. */
static void expect_noticed(const char *sound, const char *copy, const char *sql)
{
    struct sm_text script = names_of(
        sound, "SELECT 'DROP TRIGGER ' || name || ';' FROM sqlite_schema WHERE type = 'trigger'");
    char *data = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&data, &n, sound, 64 << 20, NULL), NULL);
    assert_ok(sm_file_write(copy, data, n, NULL), NULL);
    sm_free(data);
    for (char *at = script.data; (at = strchr(at, '|'));) {
        *at = ' ';
    }
    sm_text_addf(&script, "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON; %s", sql);
    meddle(copy, script.data);
    if (!is_noticed(copy)) {
        fail_msg("not noticed: %s", sql);
    }
    sm_text_release(&script);
}

/* Numbers that only name a row inside one file: another one there says nothing else. */
static bool is_only_a_name(const char *table, const char *column)
{
    static const char *const names[][2] = {{"as_built", "as_built_id"}, {"verdict", "verdict_id"}, {"decision", "decision_id"},
                                           {"history", "history_id"},   {"repair", "repair_id"},   {"observation", "observation_id"}};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        if (strcmp(table, names[i][0]) == 0 && strcmp(column, names[i][1]) == 0) {
            return true;
        }
    }
    return false;
}

/* All values of a column become others of their type. */
static void alter_column(struct sm_text *sql, const char *table, const char *column, const char *type)
{
    bool is_text = strcmp(type, "TEXT") == 0;
    bool is_blob = strcmp(type, "BLOB") == 0;
    sm_text_addf(sql, "UPDATE %s SET %s = %s%s%s", table, column, is_blob ? "CAST(" : "coalesce(", column,
                 is_text   ? ", '') || 'x'"
                 : is_blob ? " || 'x' AS BLOB)"
                           : ", 0) + 1000");
}

static void test_check__every_cell_altered_and_every_row_removed_shows(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char copy[320];
    snprintf(copy, sizeof copy, "%s/copy.job", scratch->dir);
    make_sound_job(scratch->path);
    assert_false(is_noticed(scratch->path));
    struct sm_text cells = names_of(
        scratch->path, "SELECT m.name, c.name, c.type, c.cid FROM sqlite_schema m JOIN pragma_table_info(m.name) c"
                       " WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite%' ORDER BY 1, c.cid");
    size_t n_tables = 0;
    size_t n_columns = 0;
    for (char *line = cells.data, *end; (end = strchr(line, '\n')); line = end + 1) {
        char table[64];
        char column[64];
        char type[16];
        int place;
        struct sm_text sql = {0};
        assert_int_equal(sscanf(line, "%63[^|]|%63[^|]|%15[^|]|%d", table, column, type, &place), 4);
        if (place == 0) {
            sm_text_addf(&sql, "DELETE FROM %s WHERE %s = (SELECT max(%s) FROM %s)", table, column, column, table);
            expect_noticed(scratch->path, copy, sql.data);
            sm_text_clear(&sql);
            n_tables++;
        }
        if (!is_only_a_name(table, column)) {
            alter_column(&sql, table, column, type);
            expect_noticed(scratch->path, copy, sql.data);
            n_columns++;
        }
        sm_text_release(&sql);
    }
    assert_true(n_tables >= 22);
    assert_true(n_columns >= 150);
    sm_text_release(&cells);
}

/* A history that is sound in itself but was written anew shows against what was printed before. */
static void test_check__chain_printed_earlier(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char other[320];
    snprintf(other, sizeof other, "%s/other.job", scratch->dir);
    make_sound_job(scratch->path);
    struct sm_store_checked printed = check(scratch->path, NULL);
    struct sm_store *store = open_job(scratch->path);
    put_word(store, 0, "defective", "Ben", 700);
    sm_store_close(&store);
    assert_int_equal(check(scratch->path, printed.chain).n_tampered, 0);
    store = open_job(other);
    put_run(store, 0, 0);
    sm_store_close(&store);
    assert_int_equal(check(other, NULL).n_tampered, 0);
    assert_int_equal(check(other, printed.chain).n_tampered, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_merge__order_and_repetition_make_no_difference, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_merge__nothing_is_lost_and_conflicts_show, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_as_built__corrections_supersede, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_check__every_tampering_shows, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_check__every_cell_altered_and_every_row_removed_shows, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_check__chain_printed_earlier, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_merge__refuses, sm_test_scratch_make, sm_test_scratch_remove),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
