/*
 * States of defects on random pipes against a plain reading of the rules, with coverage counted millimetre by millimetre;
 * then the cases that words decide: failed tries, corrections of place, the other end, verdicts, out of sight.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"
#include "stopmark/audit.h"

enum { MAX = 12, PIPE_MM = 40000 };

/* One pipe with all that is known about it, in static room. */
static struct {
    struct sm_sheet sheet, recheck_sheet;
    struct sm_alignment alignment, recheck_alignment;
    struct sm_observation observation[MAX + 4], seen[2 * MAX + 4];
    struct sm_plan plan;
    struct sm_repair repair[MAX];
    int32_t covers[MAX];
    struct sm_target target[MAX];
    struct sm_recorded recorded[MAX];
    struct sm_audit_row row[MAX];
    struct sm_audit_survey first, recheck;
    struct sm_verdict verdict[2];
    struct sm_audit_case about;
    int64_t start_mm[MAX], end_mm[MAX]; /* of defects */
    size_t n;
} p;

static struct sm_observation blank(const char *code, double start_m, double end_m, enum sm_treatment treatment)
{
    return (struct sm_observation){.code = code, .ch1 = "", .ch2 = "", .q1 = "", .q2 = "", .remark = "", .reason = "why",
                                   .prepare = "", .time_s = SM_NAN, .distance_m = start_m, .start_m = start_m,
                                   .end_m = end_m, .error_m = 0.05, .diameter_mm = SM_NAN, .treatment = treatment,
                                   .end_entry_idx = -1};
}

static void add_first(const char *code, double start_m, double end_m, enum sm_treatment treatment)
{
    struct sm_observation *o = &p.observation[p.alignment.n_observations++];
    *o = blank(code, start_m, end_m, treatment);
    snprintf(o->id, sizeof o->id, "O%zu", p.alignment.n_observations);
}

static void add_seen(const char *code, const char *ch1, double start_m, double end_m, enum sm_treatment treatment)
{
    struct sm_observation *o = &p.seen[p.recheck_alignment.n_observations++];
    *o = blank(code, start_m, end_m, treatment);
    o->ch1 = ch1;
    o->error_m = 0.01;
    snprintf(o->id, sizeof o->id, "O%zu", p.recheck_alignment.n_observations);
}

static void add_node(bool is_recheck, const char *code, double at_m)
{
    if (is_recheck) {
        add_seen(code, "", at_m, at_m, SM_TREATMENT_NONE);
        p.seen[p.recheck_alignment.n_observations - 1].is_node = true;
    } else {
        add_first(code, at_m, at_m, SM_TREATMENT_NONE);
        p.observation[p.alignment.n_observations - 1].is_node = true;
    }
}

static void begin(void)
{
    memset(&p, 0, sizeof p);
    p.sheet = (struct sm_sheet){.segment = {.id = "S", .from = "A", .to = "B", .length_m = PIPE_MM / 1e3},
                                .rules = {.end_cover_m = 0.15, .placement_m = 0.05, .overlap_m = 0.1, .keep_clear_m = 0.1,
                                          .connection_diameter_mm = 150}};
    p.recheck_sheet = p.sheet;
    p.alignment = (struct sm_alignment){.length_m = PIPE_MM / 1e3, .observation = p.observation};
    p.recheck_alignment = (struct sm_alignment){.length_m = PIPE_MM / 1e3, .observation = p.seen};
    p.plan = (struct sm_plan){.repair = p.repair, .target = p.target};
    p.first = (struct sm_audit_survey){.key = "first", .date = "2031-03-01", .stored_at = "1", .sheet = &p.sheet,
                                       .alignment = &p.alignment, .plan = &p.plan};
    p.recheck = (struct sm_audit_survey){.key = "recheck", .date = "2031-05-01", .stored_at = "2",
                                         .sheet = &p.recheck_sheet, .alignment = &p.recheck_alignment};
    p.about = (struct sm_audit_case){.segment = "S", .n_first = 1, .first = &p.first, .recheck = &p.recheck,
                                     .row = p.row, .verdict = p.verdict, .today = "2031-06-01"};
    add_node(false, "BCD", 0);
}

/* A defect with its own planned repair. */
static void add_defect(int64_t start_mm, int64_t end_mm, bool is_planned)
{
    int32_t idx = (int32_t)p.alignment.n_observations;
    size_t k = p.n++;
    add_first("BAB", (double)start_mm / 1e3, (double)end_mm / 1e3, SM_TREATMENT_LINE);
    p.start_mm[k] = start_mm;
    p.end_mm[k] = end_mm;
    p.target[p.plan.n_targets++] = (struct sm_target){idx, (start_mm - 200) * 1000, (end_mm + 200) * 1000};
    if (is_planned) {
        struct sm_repair *repair = &p.repair[p.plan.n_repairs];
        p.covers[p.plan.n_repairs] = idx;
        *repair = (struct sm_repair){.start_um = (start_mm - 250) * 1000, .length_um = (end_mm - start_mm + 500) * 1000,
                                     .mark_m = SM_NAN, .n_covers = 1, .covers = &p.covers[p.plan.n_repairs]};
        snprintf(repair->id, sizeof repair->id, "R%zu", ++p.plan.n_repairs);
    }
}

static void add_liner(const char *name, int64_t start_mm, int64_t end_mm, bool is_in_place)
{
    size_t k = p.about.n_rows++;
    p.recorded[k] = (struct sm_recorded){
        .row = {.segment = "S", .repair = name, .date = "2031-04-01", .crew = "c", .kit = "k", .lot = "", .result = "ok",
                .remark = "", .mixed = "", .inflated = "", .deflated = "", .is_in_place = is_in_place,
                .liner_length_m = (double)(end_mm - start_mm) / 1e3, .stop_m = (double)(start_mm + end_mm) / 2e3,
                .mark_m = SM_NAN, .stop_digit_m = SM_NAN, .test_pressure_kpa = SM_NAN, .pressure_kpa = SM_NAN,
                .pipe_temperature_c = SM_NAN, .occurrence = 1},
        .survey_key = "first", .source = "", .source_sha256 = "", .recorded_at = "", .who = "", .key = name, .content = "",
        .corrects = "", .counts = true};
    p.row[k] = (struct sm_audit_row){&p.recorded[k], &p.first, sm_audit_find_repair(&p.plan, name)};
}

static struct sm_audit *run(void)
{
    struct sm_audit *audit = NULL;
    struct sm_error err = {0};
    add_node(false, "BCE", PIPE_MM / 1e3);
    assert_ok(sm_audit_make(&audit, &p.about, &err), &err);
    return audit;
}

/* ---- against a plain reading ---- */

static bool is_wet[PIPE_MM + 2000]; /* millimetres under a liner */

/* No laps here: liners of the random pipes either stand apart or lap by more than the rule. */
static bool all_covered(int64_t start_mm, int64_t end_mm)
{
    for (int64_t mm = start_mm; mm < end_mm; mm++) {
        if (mm >= 0 && mm < PIPE_MM && !is_wet[mm]) {
            return false;
        }
    }
    return true;
}

static enum sm_audit_state expected_state(size_t k, bool is_planned, bool is_tried, bool is_again, int64_t reach_mm,
                                          bool is_shown)
{
    bool is_covered = is_tried && all_covered(p.start_mm[k] - 200, p.end_mm[k] + 200);
    if (!is_tried) {
        return is_planned ? SM_AUDIT_PLANNED : SM_AUDIT_OPEN;
    }
    if (p.about.n_rechecks == 0) {
        return is_covered ? SM_AUDIT_INSTALLED : SM_AUDIT_MISSED;
    }
    if (is_again) {
        return SM_AUDIT_REMAINS;
    }
    if (p.end_mm[k] > reach_mm) {
        return is_covered ? SM_AUDIT_UNSEEN : SM_AUDIT_MISSED;
    }
    return !is_covered ? SM_AUDIT_MISSED : is_shown ? SM_AUDIT_PROVEN : SM_AUDIT_INSTALLED;
}

static void test_states__as_read_plainly(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(66);
    int64_t n_of[SM_AUDIT_N_STATES] = {0};
    for (int round = 0; round < 1500; round++) {
        bool is_planned[MAX] = {0};
        bool is_tried[MAX] = {0};
        bool is_again[MAX] = {0};
        bool is_shown[MAX] = {0};
        char name[MAX][8];
        begin();
        memset(is_wet, 0, sizeof is_wet);
        size_t n = (size_t)sm_test_int(&random, 1, 8);
        p.about.n_rechecks = (size_t)sm_test_int(&random, 0, 1);
        int64_t reach_mm = sm_test_int(&random, 0, 2) ? PIPE_MM : sm_test_int(&random, 2000, PIPE_MM);
        for (size_t k = 0; k < n; k++) {
            int64_t start_mm = 2000 + (int64_t)k * 4500 + sm_test_int(&random, 0, 400);
            is_planned[k] = sm_test_int(&random, 0, 4) > 0;
            add_defect(start_mm, start_mm + sm_test_int(&random, 0, 900), is_planned[k]);
            snprintf(name[k], sizeof name[k], is_planned[k] ? "R%zu" : "X%zu", is_planned[k] ? p.plan.n_repairs : k + 1);
        }
        for (size_t k = 0; k < n; k++) {
            is_tried[k] = sm_test_int(&random, 0, 3) > 0;
            if (is_tried[k]) { /* half of them where they should be */
                int64_t off_mm = sm_test_int(&random, 0, 1) ? sm_test_int(&random, -40, 40) : sm_test_int(&random, -700, 700);
                int64_t start_mm = p.start_mm[k] - 250 + off_mm;
                int64_t end_mm = p.end_mm[k] + 250 + off_mm;
                /* one that was not planned has to do with the defect only where it touches its target */
                is_tried[k] = is_planned[k] || (start_mm < p.end_mm[k] + 200 && end_mm > p.start_mm[k] - 200);
                add_liner(name[k], start_mm, end_mm, true);
                memset(&is_wet[start_mm], true, (size_t)(end_mm - start_mm));
            }
        }
        add_node(true, "BCD", 0);
        for (size_t k = 0; k < n; k++) {
            bool is_passed = p.end_mm[k] < reach_mm;
            is_again[k] = is_passed && sm_test_int(&random, 0, 3) == 0;
            is_shown[k] = is_passed && sm_test_int(&random, 0, 3) > 0;
            if (is_again[k]) {
                add_seen("BAC", "A", (double)p.start_mm[k] / 1e3, (double)p.end_mm[k] / 1e3, SM_TREATMENT_LINE);
            }
            if (is_shown[k]) {
                add_seen("BCB", "B", (double)(p.start_mm[k] + p.end_mm[k]) / 2e3,
                         (double)(p.start_mm[k] + p.end_mm[k]) / 2e3, SM_TREATMENT_NONE);
            }
        }
        if (reach_mm == PIPE_MM) {
            add_node(true, "BCE", PIPE_MM / 1e3);
        } else {
            add_seen("BDC", "A", (double)reach_mm / 1e3, (double)reach_mm / 1e3, SM_TREATMENT_NONE);
        }
        struct sm_audit *audit = run();
        assert_int_equal(audit->n_defects, n);
        for (size_t k = 0; k < n; k++) {
            enum sm_audit_state expected =
                expected_state(k, is_planned[k], is_tried[k], is_again[k], reach_mm, is_shown[k]);
            /* within the axis error of the turning point nobody can say */
            bool is_near_reach = reach_mm < PIPE_MM && llabs(p.end_mm[k] - reach_mm) < 500;
            if (!is_near_reach && audit->defect[k].state != expected) {
                fail_msg("round %d defect %zu: %s, expected %s (%s)", round, k, sm_audit_state_name(audit->defect[k].state),
                         sm_audit_state_name(expected), audit->defect[k].reason);
            }
            n_of[expected]++;
        }
        sm_audit_free(&audit);
    }
    for (int i = 0; i < SM_AUDIT_N_STATES; i++) { /* every state but referred comes up often */
        assert_true(i == SM_AUDIT_REFERRED || n_of[i] > 50);
    }
}

/* ---- words ---- */

static struct sm_audit *one_defect(void)
{
    add_node(true, "BCD", 0);
    add_node(true, "BCE", PIPE_MM / 1e3);
    p.about.n_rechecks = 1;
    return run();
}

static void expect(enum sm_audit_state state, const char *part)
{
    struct sm_audit *audit = one_defect();
    assert_string_equal(sm_audit_state_name(audit->defect[0].state), sm_audit_state_name(state));
    if (!strstr(audit->defect[0].reason, part)) {
        fail_msg("\"%s\" does not say \"%s\"", audit->defect[0].reason, part);
    }
    sm_audit_free(&audit);
}

static void test_states__words(void **state)
{
    (void)state;
    begin();
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, false);
    p.recorded[0].row.result = "failed";
    expect(SM_AUDIT_PLANNED, "left no liner: failed");

    begin(); /* a recheck from before the work says nothing about it */
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    p.recheck.date = "2031-03-20";
    expect(SM_AUDIT_INSTALLED, "in place on 2031-04-01");

    begin();
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    p.verdict[0] = (struct sm_verdict){"S", "recheck", "r1", "seen", "wet edge", "1", "Ann"};
    p.about.n_verdicts = 1;
    expect(SM_AUDIT_PROVEN, "Ann says: seen, wet edge");

    begin();
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    p.verdict[0] = (struct sm_verdict){"S", "recheck", "R1", "seen", "", "1", "Ann"};
    p.verdict[1] = (struct sm_verdict){"S", "recheck", "R1", "defective", "end lifts", "2", "Ben"};
    p.about.n_verdicts = 2;
    expect(SM_AUDIT_INSTALLED, "defective: Ben says");

    begin();
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    add_seen("BCB", "B", 10.1, 10.1, SM_TREATMENT_NONE);
    add_seen("BAK", "D", 10.2, 10.2, SM_TREATMENT_REFER);
    expect(SM_AUDIT_INSTALLED, "lining defect O2 logged as BAK D");

    begin(); /* the camera could not see from 9 m to 12 m */
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    add_seen("BDG", "A", 9.0, 12.0, SM_TREATMENT_NONE);
    expect(SM_AUDIT_UNSEEN, "could not see it");

    begin(); /* both ends seen a metre off: the pipe is right, the note is not */
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    add_seen("BCB", "B", 10.75, 11.45, SM_TREATMENT_NONE);
    expect(SM_AUDIT_MISSED, "not covered: 9.80 to 10.40 m");

    begin(); /* two that lap by less than the rule */
    add_defect(10000, 11000, true);
    add_liner("R1", 9750, 10500, true);
    add_liner("X1", 10450, 11300, true);
    expect(SM_AUDIT_MISSED, "lap by less");
}

static void test_states__referred_and_lined(void **state)
{
    (void)state;
    begin();
    add_first("BAJ", 8.4, 8.4, SM_TREATMENT_REFER);
    add_liner("X1", 8100, 8700, true);
    struct sm_audit *audit = run();
    assert_int_equal(audit->defect[0].state, SM_AUDIT_INSTALLED);
    assert_string_equal(audit->defect[0].repair, "X1");
    sm_audit_free(&audit);
    begin();
    add_first("BAJ", 8.4, 8.4, SM_TREATMENT_REFER);
    add_liner("X1", 8450, 8900, true);
    audit = run();
    assert_int_equal(audit->defect[0].state, SM_AUDIT_REFERRED);
    assert_non_null(strstr(audit->defect[0].reason, "X1 lies here but not covered: 8.20 to 8.45 m"));
    sm_audit_free(&audit);
}

/* Two cracks, one liner each; one comes back in the recheck and must not speak for both. */
static void test_states__one_entry_one_defect(void **state)
{
    (void)state;
    begin();
    add_defect(10000, 10000, true);
    add_defect(10120, 10120, true);
    add_liner("R1", 9750, 10400, true);
    add_liner("R2", 9800, 10450, true);
    add_seen("BAB", "B", 10.11, 10.11, SM_TREATMENT_LINE);
    add_seen("BCB", "B", 9.8, 9.8, SM_TREATMENT_NONE);
    struct sm_audit *audit = one_defect();
    assert_int_equal(audit->defect[0].state, SM_AUDIT_PROVEN);
    assert_int_equal(audit->defect[1].state, SM_AUDIT_REMAINS);
    assert_int_equal(audit->n_new, 0);
    assert_close(audit->repaired_m, 0.7, 1e-9);
    sm_audit_free(&audit);
}

/* ---- the axis ---- */

/* A recheck from the other end with a counter that gains 1 % and starts late: ties bring it back to within a few mm. */
static void test_axis__from_the_other_end(void **state)
{
    (void)state;
    begin();
    static const double connections_m[] = {6.0, 13.5, 22.0, 33.0};
    for (size_t i = 0; i < 4; i++) {
        add_first("BCA", connections_m[i], connections_m[i], SM_TREATMENT_CLEAR);
        p.observation[p.alignment.n_observations - 1].is_connection = true;
        p.observation[p.alignment.n_observations - 1].clock_from_h = i % 2 ? 3 : 9;
    }
    add_defect(27000, 27300, true);
    add_liner("R1", 26700, 27500, true);
    p.recheck_sheet.segment.from = "B";
    p.recheck_sheet.segment.to = "A";
    add_node(true, "BCD", 0.2);
    for (size_t i = 4; i-- > 0;) {
        double from_b_m = 0.2 + (40.0 - connections_m[i]) * 1.01;
        add_seen("BCA", "", from_b_m, from_b_m, SM_TREATMENT_CLEAR);
        p.seen[p.recheck_alignment.n_observations - 1].is_connection = true;
        p.seen[p.recheck_alignment.n_observations - 1].clock_from_h = i % 2 ? 9 : 3; /* seen from the other side */
    }
    add_node(true, "BCE", 0.2 + 40.0 * 1.01);
    double crack_m = 0.2 + (40.0 - 27.15) * 1.01;
    add_seen("BAB", "B", crack_m, crack_m, SM_TREATMENT_LINE);
    p.about.n_rechecks = 1;
    struct sm_audit *audit = run();
    const struct sm_audit_axis *axis = sm_audit_get_axis(audit, 0, 0);
    assert_true(axis->is_reverse);
    assert_int_equal(axis->n_ties, 6);
    assert_close(fabs(axis->misclosure_m), 0.4, 1e-9); /* 1 % of 40 m */
    assert_true(axis->error_m < 0.03);
    assert_close(axis->sighting[p.recheck_alignment.n_observations - 1].start_m, 27.15, 0.002);
    assert_int_equal(audit->defect[0].state, SM_AUDIT_REMAINS);
    sm_audit_free(&audit);
}

/* Nothing in common: no tie, and the places are said to be that unsure. */
static void test_axis__without_ties(void **state)
{
    (void)state;
    begin();
    add_defect(10000, 10200, true);
    add_seen("BBA", "B", 10.1, 10.1, SM_TREATMENT_PREPARE);
    p.about.n_rechecks = 1;
    struct sm_audit *audit = run();
    const struct sm_audit_axis *axis = sm_audit_get_axis(audit, 0, 0);
    assert_int_equal(axis->n_ties, 0);
    assert_close(axis->misclosure_m, SM_NAN, 0);
    assert_close(axis->error_m, 0.3, 1e-9);
    assert_int_equal(audit->n_new, 1);
    sm_audit_free(&audit);
}

/* ---- openings ---- */

static const char *opening_state(double connection_m, bool is_logged, const char *ch2)
{
    static char state[16];
    begin();
    add_first("BCA", connection_m, connection_m, SM_TREATMENT_CLEAR);
    p.observation[1].is_connection = true;
    p.observation[1].diameter_mm = 150;
    add_liner("X1", 10000, 11000, true);
    if (is_logged) {
        add_seen("BCA", "A", connection_m, connection_m, SM_TREATMENT_CLEAR);
        p.seen[0].is_connection = true;
        p.seen[0].ch2 = ch2;
    }
    struct sm_audit *audit = one_defect();
    assert_in_range(audit->n_openings, 0, 1);
    sm_strcopy(state, sizeof state, audit->n_openings ? audit->opening[0].state : "");
    sm_audit_free(&audit);
    return state;
}

static void test_openings(void **state)
{
    (void)state;
    assert_string_equal(opening_state(10.5, true, "A"), "reopened");
    assert_string_equal(opening_state(10.5, true, "B"), "covered");
    assert_string_equal(opening_state(10.5, false, ""), "covered");
    assert_string_equal(opening_state(11.12, true, "A"), "too close");
    assert_string_equal(opening_state(11.5, true, "A"), "");
}

/* ---- what has to be on file ---- */

static struct sm_audit *accept(bool has_before, bool has_after, bool has_connection_again, double seen_to_m)
{
    static const struct sm_audit_file video = {"video", "run.mp4", "00"};
    begin();
    add_defect(10000, 10200, true);
    add_liner("R1", 9750, 10450, true);
    add_first("BCA", 5.0, 5.0, SM_TREATMENT_CLEAR);
    p.observation[p.alignment.n_observations - 1].is_connection = true;
    add_node(true, "BCD", 0);
    if (has_connection_again) {
        add_seen("BCA", "A", 5.1, 5.1, SM_TREATMENT_NONE);
        p.seen[p.recheck_alignment.n_observations - 1].is_connection = true;
    }
    add_node(true, "BCE", seen_to_m);
    p.first.n_files = has_before;
    p.recheck.n_files = has_after;
    p.first.file = p.recheck.file = &video;
    p.about.n_rechecks = 1;
    return run();
}

/* South Bend, Indiana, 4-3.11(b): recordings before and after, accurate length, distance to each lateral. */
static void test_acceptance__what_is_on_file(void **state)
{
    (void)state;
    struct sm_audit *audit = accept(true, true, true, PIPE_MM / 1e3);
    const struct sm_audit_acceptance *a = audit->acceptance;
    assert_non_null(a);
    assert_true(a->has_video_before && a->has_video_after && a->is_whole_seen);
    assert_int_equal(a->n_connections, 1);
    assert_close(a->connection[0].survey_m, 5.0, 1e-9);
    assert_close(a->connection[0].recheck_m, 5.1, 1e-9);
    assert_string_equal(a->missing, "");
    sm_audit_free(&audit);
    audit = accept(false, false, false, PIPE_MM / 1e3);
    assert_string_equal(audit->acceptance->missing, "a recording before the work; a recording after the work; the distance to "
                                                    "connection O3 after the work");
    sm_audit_free(&audit);
    p.recheck.date = "2031-03-15"; /* before the work: it shows nothing of it */
    audit = run();
    assert_int_equal(audit->acceptance->recheck_idx, -1);
    assert_string_equal(audit->acceptance->missing, "a recording before the work; a recording after the work");
    sm_audit_free(&audit);
    begin();
    audit = run();
    assert_null(audit->acceptance);
    sm_audit_free(&audit);
}

/* ---- sums ---- */

static void test_totals(void **state)
{
    (void)state;
    struct sm_audit_totals *totals = NULL;
    struct sm_error err = {0};
    assert_ok(sm_audit_totals_new(&totals, 24, &err), &err);
    for (int i = 0; i < 3; i++) {
        begin();
        p.about.segment = i == 1 ? "B" : "A";
        add_defect(10000, 10200, true);
        add_defect(20000, 20200, i == 0);
        add_liner("R1", 9750, 10450, true);
        struct sm_audit *audit = run();
        assert_ok(sm_audit_totals_add(totals, audit, &err), &err);
        sm_audit_free(&audit);
    }
    assert_int_equal(totals->n_segments, 3);
    assert_int_equal(totals->n_defects, 6);
    assert_int_equal(totals->count[SM_AUDIT_INSTALLED], 3);
    assert_int_equal(totals->count[SM_AUDIT_PLANNED], 1);
    assert_int_equal(totals->count[SM_AUDIT_OPEN], 2);
    assert_int_equal(totals->n_not_made, 1);
    assert_close(totals->repaired_m, 2.1, 1e-9);
    assert_int_equal(totals->n_tallies[SM_AUDIT_BY_SEGMENT], 2);
    assert_string_equal(totals->tally[SM_AUDIT_BY_SEGMENT][0].name, "A");
    assert_int_equal(totals->tally[SM_AUDIT_BY_SEGMENT][0].n_defects, 4);
    assert_int_equal(totals->age[2], 3); /* open and planned, surveyed 92 days before */
    assert_int_equal(totals->n_due, 3);
    assert_string_equal(totals->due[0].due_on, "2033-04-01");
    assert_false(totals->due[0].is_overdue);
    sm_audit_totals_free(&totals);
    char day[16];
    sm_audit_add_months(day, "2031-01-31", 1);
    assert_string_equal(day, "2031-02-28");
    sm_audit_add_months(day, "2031-11-30", 15);
    assert_string_equal(day, "2033-02-28");
    sm_audit_add_months(day, "soon", 1);
    assert_string_equal(day, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_states__as_read_plainly),     cmocka_unit_test(test_states__words),
        cmocka_unit_test(test_states__referred_and_lined),  cmocka_unit_test(test_states__one_entry_one_defect),
        cmocka_unit_test(test_axis__from_the_other_end),    cmocka_unit_test(test_axis__without_ties),
        cmocka_unit_test(test_acceptance__what_is_on_file), cmocka_unit_test(test_openings),                    cmocka_unit_test(test_totals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
