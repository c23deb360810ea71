/* The job file: what goes in comes out, runs are recognised, versions refused, nothing half-made, damage
 * told. */
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "sm_test.h"
#include "sm_test_alloc.h"
#include "stopmark/store.h"

/* ---- an invented survey with something in every field ---- */

static struct sm_reading readings[] = {
    {0.0, 0, 1.0F, SM_READING_READ},       {0.04, -3, 0.9876F, SM_READING_READ},
    {1.5, 1234, 0.5F, SM_READING_CARRIED}, {90.123456, 0, 0.0F, SM_READING_HIDDEN},
    {91.0, 99999, 1.0F, SM_READING_READ},
};
static double jumps[] = {12.5, 60.25};
static struct sm_trace trace = {
    .format = {{520, 30, 160, 28}, SM_UNIT_FT, 1, true, false},
    .n_readings = 5,
    .reading = readings,
    .duration_s = 100,
    .n_jumps = 2,
    .jump_time_s = jumps,
};
static struct sm_log_entry entries[] = {
    {.line = 2, .code = "BCD"}, {.line = 3, .code = "BAB"}, {.line = 5, .code = "BCA"}};
static struct sm_obslog survey_log = {.n_entries = 3, .entry = entries};
static struct sm_tie ties[] = {{0, 0}, {43.1, 43.8}};
static struct sm_observation observations[3];
static struct sm_alignment alignment = {
    .method = "video time",
    .clock_residual_s = 0.25,
    .misclosure_m = -0.02,
    .length_m = 43.8,
    .is_length_assumed = true,
    .n_ties = 2,
    .tie = ties,
    .tie_misfit_m = 0.01,
    .n_observations = 3,
    .observation = observations,
};
static struct sm_kit kits[] = {
    {"short", 150, 225, 500000, 210, 2, 1.5, 50, 80, "silicate"},
    {"long", 150, 225, 2000000, 480, 0, 0, 0, 0, NULL},
};
static struct sm_cure_row cures[] = {{"silicate", 5, 30, 120}, {"silicate", 20, 12, 45}};
static const int32_t covers[] = {1, 0};
static const int32_t reopens[] = {2};
static const char *const works[] = {"clean", "cut roots"};
static struct sm_repair repairs[] = {
    {"R1", 1, 11000000, 2000000, 13.25, 0.07, 1130, 2, covers, 1, reopens, 2, works},
    {"R2", 0, -5, 500000, 0, 0, 210, 0, NULL, 0, NULL, 0, NULL},
};
static struct sm_target targets[] = {{1, 11200001, 12799999}};
static struct sm_unrepaired unrepaired[] = {{2, "no kit is long enough"}};
static struct sm_plan plan = {
    .n_targets = 1,
    .target = targets,
    .n_repairs = 2,
    .repair = repairs,
    .n_unrepaired = 1,
    .unrepaired = unrepaired,
    .cost = 1340,
    .advice = "two liners",
};
static struct sm_segment segment = {"T12-T13",      "T12", "T13", 43.8, 200, 1.5, "vitrified clay \xc3\xa4",
                                    SM_FLOW_TO_FROM};
static struct sm_store_input inputs[] = {{"sheet", "a/sheet.ini", 300, {0}, NULL},
                                         {"video", "a/run1.mpg", 5000000000, {0}, NULL},
                                         {"video", "a/run2.mpg", 77, {0}, NULL},
                                         {"log", "a/run.csv", 900, {0}, NULL}};
static struct sm_store_setting settings[] = {{"rules.overlap", "0.100"}, {"rules.end cover", "0.150"}};
static struct sm_findings log_findings;
static struct sm_findings align_findings;
static struct sm_store_findings stages[] = {{"align", &align_findings}, {"log", &log_findings}};

static struct sm_store_put survey = {
    .kind = SM_SURVEY_FIRST,
    .stored_at = "2031-03-14T09:30:00Z",
    .who = "reviewer",
    .segment = &segment,
    .date = "2031-03-14",
    .n_inputs = 4,
    .input = inputs,
    .n_settings = 2,
    .setting = settings,
    .log = &survey_log,
    .trace = &trace,
    .alignment = &alignment,
    .n_kits = 2,
    .kit = kits,
    .plan = &plan,
    .n_findings = 2,
    .findings = stages,
    .n_cure_rows = 2,
    .cure_row = cures,
};

static void invent_observations(void)
{
    for (int i = 0; i < 3; i++) {
        observations[i] = (struct sm_observation){
            .entry_idx = i,
            .end_entry_idx = -1,
            .code = entries[i].code,
            .ch1 = "",
            .ch2 = "",
            .q1 = "",
            .q2 = "",
            .remark = "",
            .q1_value = SM_NAN,
            .q2_value = SM_NAN,
            .diameter_mm = SM_NAN,
            .time_s = SM_NAN,
            .logged_m = SM_NAN,
            .distance_m = SM_NAN,
            .start_m = SM_NAN,
            .end_m = SM_NAN,
            .error_m = SM_NAN,
            .error_placement_m = SM_NAN,
            .error_reading_m = SM_NAN,
            .error_distance_m = SM_NAN,
            .reason = "",
            .prepare = "",
            .reading = {.time_s = SM_NAN},
        };
        snprintf(observations[i].id, sizeof observations[i].id, "O%d", i + 1);
    }
    observations[1] = (struct sm_observation){"O2",
                                              1,
                                              2,
                                              "BAB",
                                              "B",
                                              "A",
                                              "5",
                                              "1,5",
                                              "long remark; with \"quotes\"",
                                              5,
                                              1.5,
                                              12,
                                              6,
                                              true,
                                              150,
                                              91,
                                              {91, 12345, 0.75F, SM_READING_READ},
                                              12.3,
                                              12.34,
                                              12.1,
                                              12.9,
                                              0.055,
                                              0.05,
                                              0.005,
                                              0,
                                              SM_TREATMENT_PREPARE,
                                              "break 5 mm",
                                              "clean;cut roots",
                                              SM_FLAG_LOG_DISAGREES | SM_FLAG_NO_DISTANCE,
                                              true,
                                              true,
                                              SM_DISTANCE_PICTURE,
                                              0};
}

static int set_up_all(void **state)
{
    (void)state;
    invent_observations();
    alignment.clock_offset_s = SM_NAN;
    plan.full_lining_cost = SM_NAN;
    repairs[1].mark_m = SM_NAN;
    kits[1].resin_l = kits[1].test_pressure_kpa = kits[1].max_pressure_kpa = SM_NAN;
    for (size_t i = 0; i < 4; i++) {
        sm_sha256(inputs[i].path, strlen(inputs[i].path), inputs[i].sha256);
    }
    return sm_findings_add(&log_findings, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, "run.csv", 4, SM_NAN, -1,
                           "row without code") != SM_OK ||
           sm_findings_add(&align_findings, (enum sm_flag)0, SM_SEVERITY_NOTE, NULL, 0, 12.5, 1,
                           "note one") != SM_OK ||
           sm_findings_add(&align_findings, SM_FLAG_UNSURE, SM_SEVERITY_NOTE, NULL, 0, SM_NAN, 2,
                           "note two") != SM_OK;
}

static int tear_down_all(void **state)
{
    (void)state;
    sm_findings_release(&log_findings);
    sm_findings_release(&align_findings);
    return 0;
}

/* ---- jobs ---- */

static struct sm_store *open_job(const char *path, enum sm_store_mode mode)
{
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    assert_ok(sm_store_open(&store, path, mode, &err), &err);
    return store;
}

static int64_t put_once(const char *path, const struct sm_store_put *put)
{
    struct sm_store *store = open_job(path, SM_STORE_WRITE);
    struct sm_error err = {0};
    int64_t survey_id = 0;
    bool is_known = true;
    assert_ok(sm_store_put_schedule(store, put, &survey_id, &is_known, &err), &err);
    assert_false(is_known);
    sm_store_close(&store);
    return survey_id;
}

/* Some other program's hand in the file. */
static void meddle(const char *path, const char *sql, int expected)
{
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL) & 0xff, expected);
    sqlite3_close(db);
}

/* ---- in and out ---- */

static void expect_same_observation(const struct sm_observation *a, const struct sm_observation *b)
{
    const char *const words[][2] = {{a->id, b->id},         {a->code, b->code},     {a->ch1, b->ch1},
                                    {a->ch2, b->ch2},       {a->q1, b->q1},         {a->q2, b->q2},
                                    {a->remark, b->remark}, {a->reason, b->reason}, {a->prepare, b->prepare}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        assert_string_equal(words[i][0], words[i][1]);
    }
    const double reals[][2] = {{a->q1_value, b->q1_value},
                               {a->q2_value, b->q2_value},
                               {a->diameter_mm, b->diameter_mm},
                               {a->time_s, b->time_s},
                               {a->logged_m, b->logged_m},
                               {a->distance_m, b->distance_m},
                               {a->start_m, b->start_m},
                               {a->end_m, b->end_m},
                               {a->error_m, b->error_m},
                               {a->error_placement_m, b->error_placement_m},
                               {a->error_reading_m, b->error_reading_m},
                               {a->error_distance_m, b->error_distance_m},
                               {(double)a->reading.confidence, (double)b->reading.confidence}};
    for (size_t i = 0; i < sizeof reals / sizeof *reals; i++) {
        assert_close(reals[i][0], reals[i][1], 0);
    }
    const int64_t wholes[][2] = {{a->entry_idx, b->entry_idx},
                                 {a->end_entry_idx, b->end_entry_idx},
                                 {a->clock_from_h, b->clock_from_h},
                                 {a->clock_to_h, b->clock_to_h},
                                 {a->is_at_joint, b->is_at_joint},
                                 {a->treatment, b->treatment},
                                 {a->flags, b->flags},
                                 {a->is_node, b->is_node},
                                 {a->is_connection, b->is_connection},
                                 {a->source, b->source},
                                 {a->reading.state, b->reading.state},
                                 {a->reading.counts, b->reading.counts}};
    for (size_t i = 0; i < sizeof wholes / sizeof *wholes; i++) {
        assert_int_equal(wholes[i][0], wholes[i][1]);
    }
}

static void expect_same_trace(const struct sm_trace *a, const struct sm_trace *b)
{
    assert_non_null(a);
    assert_memory_equal(&a->format.box, &b->format.box, sizeof a->format.box);
    assert_int_equal(a->format.unit, b->format.unit);
    assert_int_equal(a->format.decimals, b->format.decimals);
    assert_int_equal(a->format.has_leading_zeros, b->format.has_leading_zeros);
    assert_int_equal(a->n_readings, b->n_readings);
    assert_int_equal(a->n_jumps, b->n_jumps);
    for (size_t i = 0; i < a->n_readings; i++) {
        assert_close(a->reading[i].time_s, b->reading[i].time_s, 0.5e-6);
        assert_close((double)a->reading[i].confidence, (double)b->reading[i].confidence, 0.51e-4);
        assert_true(a->reading[i].counts == b->reading[i].counts);
        assert_int_equal(a->reading[i].state, b->reading[i].state);
    }
    for (size_t i = 0; i < a->n_jumps; i++) {
        assert_close(a->jump_time_s[i], b->jump_time_s[i], 0.5e-6);
    }
}

static void expect_same_plan(const struct sm_plan *a, const struct sm_plan *b)
{
    assert_non_null(a);
    assert_close(a->cost, b->cost, 0);
    assert_close(a->full_lining_cost, b->full_lining_cost, 0);
    assert_string_equal(a->advice, b->advice);
    assert_int_equal(a->n_targets, b->n_targets);
    assert_int_equal(a->target[0].observation_idx, b->target[0].observation_idx);
    assert_int_equal(a->target[0].start_um, b->target[0].start_um);
    assert_int_equal(a->target[0].end_um, b->target[0].end_um);
    assert_int_equal(a->n_unrepaired, b->n_unrepaired);
    assert_int_equal(a->unrepaired[0].observation_idx, b->unrepaired[0].observation_idx);
    assert_string_equal(a->unrepaired[0].reason, b->unrepaired[0].reason);
    assert_int_equal(a->n_repairs, b->n_repairs);
    for (size_t i = 0; i < a->n_repairs; i++) {
        const struct sm_repair *r = &a->repair[i];
        const struct sm_repair *s = &b->repair[i];
        assert_string_equal(r->id, s->id);
        assert_int_equal(r->kit_idx, s->kit_idx);
        assert_int_equal(r->start_um, s->start_um);
        assert_int_equal(r->length_um, s->length_um);
        assert_close(r->mark_m, s->mark_m, 0);
        assert_close(r->slack_m, s->slack_m, 0);
        assert_close(r->cost, s->cost, 0);
        assert_int_equal(r->n_covers, s->n_covers);
        for (size_t c = 0; c < r->n_covers; c++) {
            assert_int_equal(r->covers[c], s->covers[c]);
        }
        assert_int_equal(r->n_reopens, s->n_reopens);
        assert_true(r->n_reopens == 0 || r->reopens[0] == s->reopens[0]);
        assert_int_equal(r->n_prepare, s->n_prepare);
        for (size_t w = 0; w < r->n_prepare; w++) {
            assert_string_equal(r->prepare[w], s->prepare[w]);
        }
    }
}

static void expect_same_head(const struct sm_store_record *record)
{
    assert_int_equal(record->n_cure_rows, 2);
    for (size_t i = 0; i < record->n_cure_rows; i++) {
        assert_string_equal(record->cure_row[i].name, cures[i].name);
        assert_close(record->cure_row[i].temperature_c, cures[i].temperature_c, 0);
        assert_close(record->cure_row[i].working_min, cures[i].working_min, 0);
        assert_close(record->cure_row[i].cure_min, cures[i].cure_min, 0);
    }
    const struct sm_segment *s = &record->survey.segment;
    assert_string_equal(s->id, segment.id);
    assert_string_equal(s->from, segment.from);
    assert_string_equal(s->material, segment.material);
    assert_int_equal(s->flow, segment.flow);
    assert_close(s->length_m, segment.length_m, 0);
    assert_string_equal(record->survey.date, "2031-03-14");
    assert_null(record->survey.operator_name);
    assert_int_equal(record->survey.n_observations, 3);
    assert_int_equal(record->survey.n_repairs, 2);
    assert_int_equal(record->survey.n_unrepaired, 1);
    assert_int_equal(record->n_inputs, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_string_equal(record->input[i].role, inputs[i].role);
        assert_string_equal(record->input[i].path, inputs[i].path);
        assert_string_equal(record->input[i].sha256, inputs[i].sha256);
        assert_true(record->input[i].size_bytes == inputs[i].size_bytes);
    }
    assert_int_equal(record->n_settings, 2);
    assert_string_equal(record->setting[0].name, "rules.end cover");
    assert_string_equal(record->setting[1].value, "0.100");
}

static void test_put__comes_out_the_same(void **state)
{
    struct sm_test_scratch *scratch = *state;
    int64_t survey_id = put_once(scratch->path, &survey);
    struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
    struct sm_store_record *record = NULL;
    struct sm_error err = {0};
    assert_ok(sm_store_get_survey(&record, store, survey_id, &err), &err);
    expect_same_head(record);
    expect_same_trace(record->trace, &trace);
    expect_same_plan(record->plan, &plan);
    const struct sm_alignment *a = record->alignment;
    assert_string_equal(a->method, alignment.method);
    assert_close(a->clock_offset_s, SM_NAN, 0);
    assert_close(a->clock_residual_s, 0.25, 0);
    assert_close(a->misclosure_m, -0.02, 0);
    assert_true(a->is_length_assumed);
    assert_int_equal(a->n_ties, 2);
    assert_close(a->tie[1].true_m, 43.8, 0);
    for (size_t i = 0; i < 3; i++) {
        expect_same_observation(&a->observation[i], &observations[i]);
        assert_int_equal(record->log_line[i], entries[i].line);
    }
    assert_int_equal(record->n_kits, 2);
    assert_string_equal(record->kit[0].cure, "silicate");
    assert_null(record->kit[1].cure);
    assert_close(record->kit[1].resin_l, SM_NAN, 0);
    assert_int_equal(record->n_stages, 2);
    assert_string_equal(record->findings[0].stage, "align");
    assert_int_equal(record->findings[0].findings->n, 2);
    assert_string_equal(record->findings[0].findings->item[1].message, "note two");
    assert_int_equal(record->findings[0].findings->item[1].flag, SM_FLAG_UNSURE);
    assert_int_equal(record->findings[1].findings->item[0].line, 4);
    sm_store_record_free(&record);
    assert_int_equal(sm_store_get_survey(&record, store, 999, &err), SM_E_NOTFOUND);
    sm_store_close(&store);
}

static void test_put__least(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_segment bare = {
        .id = "x", .length_m = SM_NAN, .diameter_mm = SM_NAN, .pipe_unit_length_m = SM_NAN};
    struct sm_alignment none = {.method = "log", .clock_offset_s = SM_NAN};
    struct sm_store_put put = {.kind = SM_SURVEY_RECHECK,
                               .stored_at = "2031-04-01T00:00:00Z",
                               .who = "",
                               .segment = &bare,
                               .alignment = &none};
    int64_t survey_id = put_once(scratch->path, &put);
    struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
    struct sm_store_record *record = NULL;
    assert_ok(sm_store_get_survey(&record, store, survey_id, NULL), NULL);
    assert_null(record->trace);
    assert_null(record->plan);
    assert_int_equal(record->survey.kind, SM_SURVEY_RECHECK);
    assert_close(record->survey.segment.length_m, SM_NAN, 0);
    assert_int_equal(record->alignment->n_observations, 0);
    sm_store_record_free(&record);
    sm_store_close(&store);
}

static void test_trace__random_round_trip(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_test_random random = sm_test_seed(9);
    struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
    for (int round = 0; round < 10; round++) {
        size_t n = (size_t)sm_test_int(&random, 0, 400);
        struct sm_reading *reading = sm_calloc(n, sizeof *reading);
        for (size_t i = 0; i < n; i++) {
            reading[i] = (struct sm_reading){
                sm_test_uniform(&random, -10, 1e5),
                sm_test_int(&random, 0, 1) ? (int64_t)sm_test_next(&random) : sm_test_int(&random, -99, 9999),
                (float)sm_test_uniform(&random, 0, 1), (enum sm_reading_state)sm_test_int(&random, 0, 2)};
        }
        struct sm_trace noise = {
            .format = {.decimals = 2}, .n_readings = n, .reading = reading, .duration_s = round};
        char value[16];
        snprintf(value, sizeof value, "%d", round);
        struct sm_store_setting setting = {"round", value};
        struct sm_store_put put = survey;
        put.trace = &noise;
        put.n_settings = 1;
        put.setting = &setting;
        int64_t survey_id = 0;
        assert_ok(sm_store_put_schedule(store, &put, &survey_id, NULL, NULL), NULL);
        struct sm_store_record *record = NULL;
        assert_ok(sm_store_get_survey(&record, store, survey_id, NULL), NULL);
        expect_same_trace(record->trace, &noise);
        sm_store_record_free(&record);
        sm_free(reading);
    }
    sm_store_close(&store);
}

/* ---- recognising ---- */

static void test_put__twice_is_once(void **state)
{
    struct sm_test_scratch *scratch = *state;
    int64_t first = put_once(scratch->path, &survey);
    struct sm_store_setting turned[] = {settings[1], settings[0]};
    struct sm_store_put again = survey;
    again.setting = turned;
    again.stored_at = "2032-01-01T00:00:00Z";
    struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
    int64_t second = 0;
    bool is_known = false;
    assert_ok(sm_store_put_schedule(store, &again, &second, &is_known, NULL), NULL);
    assert_true(is_known);
    assert_int_equal(first, second);
    struct sm_store_events *events = NULL;
    assert_ok(sm_store_list_events(&events, store, NULL, NULL), NULL);
    assert_int_equal(events->n, 1);
    sm_store_events_free(&events);
    sm_store_close(&store);
}

static void test_put__other_rules_supersede(void **state)
{
    struct sm_test_scratch *scratch = *state;
    int64_t first = put_once(scratch->path, &survey);
    struct sm_store_setting changed[] = {settings[0], {"rules.end cover", "0.200"}};
    struct sm_store_put other_rules = survey;
    other_rules.setting = changed;
    int64_t second = put_once(scratch->path, &other_rules);
    struct sm_store_input other_files[4];
    memcpy(other_files, inputs, sizeof inputs);
    other_files[2].sha256[0] ^= 1;
    struct sm_store_put other_recording = survey;
    other_recording.input = other_files;
    int64_t third = put_once(scratch->path, &other_recording);
    struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
    struct sm_store_surveys *surveys = NULL;
    assert_ok(sm_store_list_surveys(&surveys, store, "T12-T13", NULL), NULL);
    assert_int_equal(surveys->n, 3);
    assert_int_equal(surveys->item[0].survey_id, first);
    assert_int_equal(surveys->item[0].superseded_by, second);
    assert_int_equal(surveys->item[1].superseded_by, 0);
    assert_int_equal(surveys->item[2].survey_id, third);
    sm_store_surveys_free(&surveys);
    assert_ok(sm_store_list_surveys(&surveys, store, "elsewhere", NULL), NULL);
    assert_int_equal(surveys->n, 0);
    sm_store_surveys_free(&surveys);
    struct sm_store_events *events = NULL;
    assert_ok(sm_store_list_events(&events, store, "T12-T13", NULL), NULL);
    assert_int_equal(events->n, 4);
    assert_string_equal(events->item[2].event, "survey superseded");
    sm_store_events_free(&events);
    assert_ok(sm_store_verify_history(store, NULL), NULL);
    sm_store_close(&store);
}

/* ---- opening ---- */

static void test_open__refuses(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_READ, &err), SM_E_NOTFOUND);
    assert_true(err.remedy[0]);
    assert_int_equal(sm_store_open(&store, scratch->dir, SM_STORE_WRITE, &err), SM_E_IO);
    assert_ok(sm_file_write(scratch->path,
                            "time,code\n1,BAB\n, some text that is longer than a database header, by far "
                            "................................",
                            100, NULL),
              NULL);
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_WRITE, &err), SM_E_FORMAT);
    assert_string_equal(err.source, scratch->path);
    assert_ok(sm_file_write(scratch->path, "", 0, NULL), NULL);
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_WRITE, &err), SM_E_FORMAT);
    meddle(scratch->path, "CREATE TABLE other (x)", SQLITE_OK);
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_WRITE, &err), SM_E_FORMAT);
    assert_null(store);
}

static void test_open__refuses_newer(void **state)
{
    struct sm_test_scratch *scratch = *state;
    put_once(scratch->path, &survey);
    meddle(scratch->path, "PRAGMA user_version = 99", SQLITE_OK);
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_WRITE, &err), SM_E_UNSUPPORTED);
    assert_non_null(strstr(err.text, "99"));
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_READ, &err), SM_E_UNSUPPORTED);
}

/* A job as schema 1 left it, with a survey in it. */
static void make_schema_1(const char *path)
{
    char *sql = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&sql, &n, sm_test_source("src/store/schema/0001.sql"), 1 << 20, NULL), NULL);
    meddle(path, sql, SQLITE_OK);
    sm_free(sql);
    meddle(path,
           "PRAGMA application_id = 1397574210; PRAGMA user_version = 1; INSERT INTO segment VALUES (1, 'T1-T2');"
           "INSERT INTO survey (key, segment_id, kind, stored_at) VALUES (printf('%064d', 7), 1, 'survey', '2031');"
           "INSERT INTO alignment VALUES (1, 'log', NULL, NULL, NULL, 10.0, 0, 0.0)",
           SQLITE_OK);
}

static void test_open__older_is_copied_and_brought_up(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char copy[320];
    snprintf(copy, sizeof copy, "%s.schema-1", scratch->path);
    make_schema_1(scratch->path);
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_READ, &err), SM_E_UNSUPPORTED);
    assert_int_not_equal(access(copy, F_OK), 0);
    store = open_job(scratch->path, SM_STORE_WRITE);
    struct sm_store_record *record = NULL;
    assert_ok(sm_store_get_survey(&record, store, 1, &err), &err);
    assert_close(record->alignment->length_m, 10, 0);
    assert_int_equal(record->n_cure_rows, 0);
    sm_store_record_free(&record);
    sm_store_close(&store);
    meddle(copy, "INSERT INTO segment SELECT user_version, 'copy' FROM pragma_user_version", SQLITE_CONSTRAINT);
    meddle(copy, "CREATE TABLE as_built (x)", SQLITE_OK); /* it is still the old one */
    store = open_job(scratch->path, SM_STORE_READ);
    sm_store_close(&store);
}

/* No room for the copy: the job stays as it is. */
static void test_open__older_without_copy_stays(void **state)
{
    struct sm_test_scratch *scratch = *state;
    make_schema_1(scratch->path);
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    struct rlimit before;
    getrlimit(RLIMIT_FSIZE, &before);
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &(struct rlimit){20000, before.rlim_max});
    assert_int_not_equal(sm_store_open(&store, scratch->path, SM_STORE_WRITE, &err), SM_OK);
    setrlimit(RLIMIT_FSIZE, &before);
    assert_int_equal(sm_test_dir_count(scratch->dir), 1);
    assert_int_equal(sm_store_open(&store, scratch->path, SM_STORE_READ, &err), SM_E_UNSUPPORTED);
}

static void test_open__read_writes_nothing(void **state)
{
    struct sm_test_scratch *scratch = *state;
    put_once(scratch->path, &survey);
    struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
    assert_int_not_equal(
        sm_store_put_event(store, &(struct sm_store_event){"a", "b", "c", "d", "e", "f", "g"}, NULL), SM_OK);
    sm_store_close(&store);
    sm_store_close(&store);
}

/* A job on a medium where nothing can be written. The superuser may write anywhere: for him this shows only
 * that it opens. */
static void test_open__read_only_folder(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char dir[300];
    char path[400];
    snprintf(dir, sizeof dir, "%s/a%%20?b#", scratch->dir);
    snprintf(path, sizeof path, "%s/job", dir);
    assert_ok(sm_dir_make(dir, NULL), NULL);
    int64_t survey_id = put_once(path, &survey);
    assert_int_equal(chmod(path, 0444), 0);
    assert_int_equal(chmod(dir, 0555), 0);
    struct sm_store *store = open_job(path, SM_STORE_READ);
    struct sm_store_record *record = NULL;
    assert_ok(sm_store_get_survey(&record, store, survey_id, NULL), NULL);
    sm_store_record_free(&record);
    sm_store_close(&store);
    assert_int_equal(sm_test_dir_count(dir), 1);
    assert_int_equal(chmod(dir, 0755), 0);
}

/* ---- whole or not at all ---- */

static void test_new__nothing_before_first_commit(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
    assert_int_not_equal(access(scratch->path, F_OK), 0);
    assert_ok(sm_store_begin(store, NULL), NULL);
    assert_ok(sm_store_put_schedule(store, &survey, NULL, NULL, NULL), NULL);
    assert_int_not_equal(access(scratch->path, F_OK), 0);
    sm_store_rollback(store);
    sm_store_close(&store);
    assert_int_equal(sm_test_dir_count(scratch->dir), 0);
    put_once(scratch->path, &survey);
    assert_int_equal(sm_test_dir_count(scratch->dir), 1);
}

static void test_new__second_maker_is_told(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_store *slow = open_job(scratch->path, SM_STORE_WRITE);
    put_once(scratch->path, &survey);
    struct sm_error err = {0};
    assert_int_equal(sm_store_put_schedule(slow, &survey, NULL, NULL, &err), SM_E_CONFLICT);
    sm_store_close(&slow);
    struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
    struct sm_store_surveys *surveys = NULL;
    assert_ok(sm_store_list_surveys(&surveys, store, NULL, NULL), NULL);
    assert_int_equal(surveys->n, 1);
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
    assert_int_equal(sm_test_dir_count(scratch->dir), 1);
}

static void test_put__failure_leaves_job_as_it_was(void **state)
{
    struct sm_test_scratch *scratch = *state;
    put_once(scratch->path, &survey);
    char before[65];
    assert_ok(sm_file_sha256(scratch->path, before, NULL), NULL);
    struct sm_store_put bad = survey;
    struct sm_store_setting twice[] = {{"a", "1"}, {"a", "2"}};
    bad.setting = twice;
    struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
    struct sm_error err = {0};
    assert_int_equal(sm_store_put_schedule(store, &bad, NULL, NULL, &err), SM_E_CONFLICT);
    sm_store_close(&store);
    char after[65];
    assert_ok(sm_file_sha256(scratch->path, after, NULL), NULL);
    assert_string_equal(before, after);
}

static int put_with_failures(void *user)
{
    const char *path = user;
    struct sm_store *store = NULL;
    enum sm_status status = sm_store_open(&store, path, SM_STORE_WRITE, NULL);
    int64_t survey_id = 0;
    if (status == SM_OK) {
        status = sm_store_put_schedule(store, &survey, &survey_id, NULL, NULL);
    }
    struct sm_store_record *record = NULL;
    if (status == SM_OK) {
        status = sm_store_get_survey(&record, store, survey_id, NULL);
    }
    struct sm_store_surveys *surveys = NULL;
    if (status == SM_OK) {
        status = sm_store_list_surveys(&surveys, store, NULL, NULL);
    }
    struct sm_store_events *events = NULL;
    if (status == SM_OK) {
        status = sm_store_list_events(&events, store, NULL, NULL);
    }
    if (status == SM_OK) {
        status = sm_store_verify_history(store, NULL);
    }
    sm_store_record_free(&record);
    sm_store_surveys_free(&surveys);
    sm_store_events_free(&events);
    sm_store_close(&store);
    unlink(path);
    return status;
}

static void test_allocations__every_failure_is_told(void **state)
{
    struct sm_test_scratch *scratch = *state;
    sm_test_alloc_all(put_with_failures, scratch->path);
    assert_int_equal(sm_test_dir_count(scratch->dir), 0);
}

/* A writer killed at a random moment: the job is as before or as after, and opens. */
static void test_put__killed_at_any_moment(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_test_random random = sm_test_seed(4711);
    put_once(scratch->path, &survey);
    int64_t n_before = 1;
    for (int round = 0; round < 8; round++) {
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            struct sm_store *store = NULL;
            char value[32];
            struct sm_store_setting setting = {"round", value};
            struct sm_store_put put = survey;
            put.n_settings = 1;
            put.setting = &setting;
            for (int i = 0; sm_store_open(&store, scratch->path, SM_STORE_WRITE, NULL) == SM_OK; i++) {
                snprintf(value, sizeof value, "%d-%d", round, i);
                (void)!sm_store_put_schedule(store, &put, NULL, NULL, NULL);
                sm_store_close(&store);
            }
            _exit(1);
        }
        nanosleep(&(struct timespec){0, (long)sm_test_int(&random, 1000000, 40000000)}, NULL);
        kill(child, SIGKILL);
        waitpid(child, NULL, 0);
        struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
        struct sm_store_surveys *surveys = NULL;
        assert_ok(sm_store_list_surveys(&surveys, store, NULL, NULL), NULL);
        assert_true((int64_t)surveys->n >= n_before);
        n_before = (int64_t)surveys->n;
        struct sm_store_record *record = NULL;
        assert_ok(sm_store_get_survey(&record, store, surveys->item[surveys->n - 1].survey_id, NULL), NULL);
        expect_same_plan(record->plan, &plan);
        sm_store_record_free(&record);
        sm_store_surveys_free(&surveys);
        assert_ok(sm_store_verify_history(store, NULL), NULL);
        sm_store_close(&store);
    }
}

/* ---- history ---- */

static void test_history__only_ever_added_to(void **state)
{
    struct sm_test_scratch *scratch = *state;
    put_once(scratch->path, &survey);
    meddle(scratch->path, "UPDATE history SET who = 'x'", SQLITE_CONSTRAINT);
    meddle(scratch->path, "DELETE FROM history", SQLITE_CONSTRAINT);
    struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
    struct sm_store_event event = {"2031-05-01T00:00:00Z", "me", "decision", "T12-T13", "", "O2", "line it"};
    assert_ok(sm_store_put_event(store, &event, NULL), NULL);
    assert_ok(sm_store_put_event(store, &event, NULL), NULL);
    event.detail = "leave it";
    assert_ok(sm_store_put_event(store, &event, NULL), NULL);
    struct sm_store_events *events = NULL;
    assert_ok(sm_store_list_events(&events, store, "T12-T13", NULL), NULL);
    assert_int_equal(events->n, 3);
    assert_string_equal(events->item[2].detail, "leave it");
    sm_store_events_free(&events);
    assert_ok(sm_store_verify_history(store, NULL), NULL);
    sm_store_close(&store);
}

static void test_history__tampering_shows(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const tampers[] = {
        "UPDATE history SET detail = 'nothing' WHERE history_id = 2",
        "DELETE FROM history WHERE history_id = 2",
        "DELETE FROM history WHERE history_id = (SELECT max(history_id) FROM history)",
        "UPDATE history SET history_id = 99 WHERE history_id = 1",
        "UPDATE history SET key = substr(key, 2) || '0' WHERE history_id = 1",
    };
    for (size_t i = 0; i < sizeof tampers / sizeof *tampers; i++) {
        unlink(scratch->path);
        struct sm_store *store = open_job(scratch->path, SM_STORE_WRITE);
        for (int e = 0; e < 4; e++) {
            char at[32];
            snprintf(at, sizeof at, "2031-05-0%dT00:00:00Z", e + 1);
            assert_ok(sm_store_put_event(
                          store, &(struct sm_store_event){at, "me", "decision", "T", "", "O2", "x"}, NULL),
                      NULL);
        }
        assert_ok(sm_store_verify_history(store, NULL), NULL);
        sm_store_close(&store);
        meddle(scratch->path, "DROP TRIGGER history_is_not_changed; DROP TRIGGER history_is_not_removed",
               SQLITE_OK);
        meddle(scratch->path, tampers[i], SQLITE_OK);
        store = open_job(scratch->path, SM_STORE_READ);
        struct sm_error err = {0};
        assert_int_equal(sm_store_verify_history(store, &err), SM_E_CONFLICT);
        assert_string_equal(err.source, scratch->path);
        sm_store_close(&store);
    }
}

/* ---- damage ---- */

/* SQLite does not hold rows to the schema when it reads them: NULL where there can be none came as a null pointer. */
static void test_get__missing_texts_are_refused(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const column[][2] = {{"observation", "name"}, {"observation", "code"}, {"setting", "value"}, {"kit", "name"},
                                            {"finding", "message"},  {"alignment", "method"}, {"input", "path"},    {"plan", "advice"}};
    for (size_t i = 0; i < sizeof column / sizeof *column; i++) {
        unlink(scratch->path);
        int64_t survey_id = put_once(scratch->path, &survey);
        char sql[800];
        snprintf(sql, sizeof sql,
                 "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, '  %s TEXT NOT NULL', '  %s TEXT') WHERE name = '%s'",
                 column[i][1], column[i][1], column[i][0]);
        char set[200], back[300];
        snprintf(set, sizeof set, "UPDATE %s SET %s = NULL", column[i][0], column[i][1]);
        snprintf(back, sizeof back,
                 "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, '  %s TEXT', '  %s TEXT NOT NULL') WHERE name = '%s'",
                 column[i][1], column[i][1], column[i][0]);
        meddle(scratch->path, sql, SQLITE_OK);
        meddle(scratch->path, set, SQLITE_OK);
        meddle(scratch->path, back, SQLITE_OK);
        struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
        struct sm_store_record *record = NULL;
        struct sm_error err = {0};
        assert_int_equal(sm_store_get_survey(&record, store, survey_id, &err), SM_E_FORMAT);
        assert_true(err.text[0] && err.remedy[0]);
        assert_null(record);
        sm_store_close(&store);
    }
}

static void test_get__lies_are_refused(void **state)
{
    struct sm_test_scratch *scratch = *state;
    static const char *const lies[] = {
        "UPDATE trace SET n_readings = 1000000000",
        "UPDATE trace SET readings = substr(readings, 1, length(readings) - 1)",
        "UPDATE trace SET readings = CAST(readings || x'80' AS BLOB)",
        "UPDATE trace SET decimals = 77",
        "UPDATE observation SET ordinal = ordinal + 5",
        "UPDATE observation SET distance_source = 'guess'",
        "PRAGMA foreign_keys = OFF; UPDATE repair SET kit_ordinal = 7",
        "PRAGMA foreign_keys = OFF; DELETE FROM alignment",
    };
    for (size_t i = 0; i < sizeof lies / sizeof *lies; i++) {
        unlink(scratch->path);
        int64_t survey_id = put_once(scratch->path, &survey);
        meddle(scratch->path, lies[i], SQLITE_OK);
        struct sm_store *store = open_job(scratch->path, SM_STORE_READ);
        struct sm_store_record *record = NULL;
        struct sm_error err = {0};
        assert_int_equal(sm_store_get_survey(&record, store, survey_id, &err), SM_E_FORMAT);
        assert_true(err.remedy[0]);
        assert_null(record);
        sm_store_close(&store);
    }
}

static void write_plainly(const char *path, const char *data, size_t n)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, n, file), n);
    assert_int_equal(fclose(file), 0);
}

/* Bytes changed anywhere: an answer or an error, never a crash. */
/* Names that SQLite finds whatever their case, rows that are not what they say, code that would run. */
static void test_open__foreign_schema_is_refused(void **state)
{
    struct sm_test_scratch *scratch = *state;
#define ENDLESS "WITH RECURSIVE n(i) AS (VALUES (0) UNION ALL SELECT i + 1 FROM n) SELECT "
    static const char *const schemas[] = {
        "DROP TABLE verdict; CREATE VIEW verdict AS " ENDLESS "i FROM n",
        "DROP TABLE verdict; CREATE VIEW VERDICT AS " ENDLESS "i FROM n",
        "CREATE TRIGGER t BEFORE INSERT ON history BEGIN " ENDLESS "count(*) FROM n; END",
        "CREATE INDEX i ON history (length(hex(zeroblob(400000000 + history_id))))",
        "ALTER TABLE history ADD COLUMN more TEXT",
        "DROP VIEW current_survey; CREATE VIEW current_survey AS SELECT * FROM survey",
        "CREATE VIRTUAL TABLE r USING rtree (a, b, c)",
        "DROP TABLE verdict; CREATE VIEW x AS " ENDLESS "i FROM n; PRAGMA writable_schema = ON;"
        "UPDATE sqlite_schema SET sql = replace(sql, 'VIEW x', 'VIEW verdict') WHERE name = 'x'",
        ("CREATE TABLE x (a); PRAGMA writable_schema = ON;"
         "UPDATE sqlite_schema SET sql = 'CREATE TRIGGER x BEFORE INSERT ON history BEGIN SELECT 1; END' WHERE name = 'x'"),
    };
    for (size_t i = 0; i < sizeof schemas / sizeof *schemas; i++) {
        unlink(scratch->path);
        (void)put_once(scratch->path, &survey);
        meddle(scratch->path, schemas[i], SQLITE_OK);
        for (enum sm_store_mode mode = SM_STORE_READ; mode <= SM_STORE_CHANGE; mode++) {
            struct sm_store *store = NULL;
            struct sm_error err = {0};
            assert_int_equal(sm_store_open(&store, scratch->path, mode, &err), SM_E_FORMAT);
            assert_true(err.remedy[0]);
        }
    }
}

/* An office's own tables beside ours are its own business. */
static void test_open__own_tables_beside(void **state)
{
    struct sm_test_scratch *scratch = *state;
    (void)put_once(scratch->path, &survey);
    meddle(scratch->path, "CREATE TABLE office (a); CREATE VIEW office_view AS SELECT a FROM office; ANALYZE", SQLITE_OK);
    struct sm_store *store = open_job(scratch->path, SM_STORE_CHANGE);
    sm_store_close(&store);
}

static void test_open__noise(void **state)
{
    struct sm_test_scratch *scratch = *state;
    struct sm_test_random random = sm_test_seed(31);
    int64_t survey_id = put_once(scratch->path, &survey);
    char *good = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&good, &n, scratch->path, 1 << 24, NULL), NULL);
    char *bad = sm_calloc(n, 1);
    for (int round = 0; round < 60; round++) {
        memcpy(bad, good, n);
        for (int64_t hits = sm_test_int(&random, 1, 30); hits > 0; hits--) {
            bad[sm_test_int(&random, 0, (int64_t)n - 1)] = (char)sm_test_next(&random);
        }
        write_plainly(scratch->path, bad, n);
        struct sm_store *store = NULL;
        struct sm_store_record *record = NULL;
        if (sm_store_open(&store, scratch->path, SM_STORE_READ, NULL) == SM_OK) {
            (void)!sm_store_get_survey(&record, store, survey_id, NULL);
            (void)!sm_store_verify_history(store, NULL);
        }
        sm_store_record_free(&record);
        sm_store_close(&store);
    }
    sm_free(bad);
    sm_free(good);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_put__comes_out_the_same, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_put__least, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_trace__random_round_trip, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_put__twice_is_once, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_put__other_rules_supersede, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__refuses, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__refuses_newer, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__older_is_copied_and_brought_up, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__older_without_copy_stays, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__read_writes_nothing, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__read_only_folder, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_new__nothing_before_first_commit, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_new__second_maker_is_told, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_put__failure_leaves_job_as_it_was, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_allocations__every_failure_is_told, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_put__killed_at_any_moment, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_history__only_ever_added_to, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_history__tampering_shows, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_get__missing_texts_are_refused, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_get__lies_are_refused, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__foreign_schema_is_refused, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__own_tables_beside, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_open__noise, sm_test_scratch_make, sm_test_scratch_remove),
    };
    return cmocka_run_group_tests(tests, set_up_all, tear_down_all);
}
