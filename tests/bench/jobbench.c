/* Writes an invented job file of many segments, for scripts/bench-job: jobbench JOB SEGMENTS. Each has 30 observations,
 * 8 of them defects under 6 repairs, of which the crew has made 5; every other one was rechecked. */
#include <stdio.h>
#include <string.h>

#include "stopmark/store.h"

enum { N_OBSERVATIONS = 30, N_DEFECTS = 8, N_REPAIRS = 6, N_MADE = 5 };

static struct sm_observation observation[N_OBSERVATIONS], again[12];
static struct sm_target target[N_DEFECTS];
static struct sm_repair repair[N_REPAIRS];
static int32_t covers[N_REPAIRS];

static struct sm_observation at(int i, const char *code, double place_m, enum sm_treatment treatment)
{
    struct sm_observation o = {
        .entry_idx = i, .end_entry_idx = -1, .code = code, .ch1 = "B", .ch2 = "A", .q1 = "3", .q2 = "", .remark = "",
        .q1_value = 3, .q2_value = SM_NAN, .diameter_mm = SM_NAN, .time_s = 10.0 * i, .logged_m = place_m,
        .distance_m = place_m, .start_m = place_m, .end_m = place_m, .error_m = 0.06, .error_placement_m = 0.05,
        .error_reading_m = 0.005, .error_distance_m = 0, .reason = "open crack 3 mm", .prepare = "jet clean",
        .treatment = treatment, .reading = {.time_s = SM_NAN}, .clock_from_h = i % 12 + 1,
        .is_node = strcmp(code, "BCD") == 0 || strcmp(code, "BCE") == 0, .is_connection = strcmp(code, "BCA") == 0};
    snprintf(o.id, sizeof o.id, "O%d", i + 1);
    return o;
}

static void invent(void)
{
    int n_repairs = 0;
    int n_targets = 0;
    for (int i = 0; i < N_OBSERVATIONS; i++) {
        double place_m = i * 1.5;
        const char *code = i == 0 ? "BCD" : i == N_OBSERVATIONS - 1 ? "BCE" : i % 7 == 3 ? "BCA" : i % 3 == 1 ? "BAB" : "BDD";
        bool is_defect = strcmp(code, "BAB") == 0 && n_targets < N_DEFECTS;
        observation[i] = at(i, code, place_m, is_defect ? SM_TREATMENT_LINE : SM_TREATMENT_NONE);
        if (!is_defect) {
            continue;
        }
        int64_t place_um = (int64_t)(place_m * 1e6);
        target[n_targets++] = (struct sm_target){i, place_um - 210000, place_um + 210000};
        if (n_repairs < N_REPAIRS) {
            covers[n_repairs] = i;
            repair[n_repairs] = (struct sm_repair){.start_um = place_um - 250000, .length_um = 500000, .mark_m = place_m,
                                                   .slack_m = 0.04, .cost = 600, .n_covers = 1, .covers = &covers[n_repairs]};
            snprintf(repair[n_repairs].id, sizeof repair[n_repairs].id, "R%d", n_repairs + 1);
            n_repairs++;
        }
    }
    again[0] = at(0, "BCD", 0.1, SM_TREATMENT_NONE);
    for (int i = 1; i < 11; i++) {
        again[i] = at(i, i % 2 ? "BCB" : "BCA", observation[i * 2].distance_m + 0.1, SM_TREATMENT_NONE);
    }
    again[11] = at(11, "BCE", 43.6, SM_TREATMENT_NONE);
}

static enum sm_status put_survey(struct sm_store *store, int no, bool is_recheck, struct sm_error *err)
{
    char name[32];
    char content[32];
    snprintf(name, sizeof name, "S%05d", no);
    snprintf(content, sizeof content, "%d %d", no, (int)is_recheck);
    struct sm_store_input input = {.role = "log", .path = "run.csv", .size_bytes = 10};
    sm_sha256(content, strlen(content), input.sha256);
    struct sm_store_setting setting = {"rules.overlap", "0.1 m"};
    struct sm_segment segment = {name, "A", "B", 43.5, 200, SM_NAN, "clay", SM_FLOW_UNKNOWN};
    struct sm_alignment alignment = {.method = "log", .length_m = 43.5, .clock_offset_s = SM_NAN, .clock_residual_s = SM_NAN,
                                     .misclosure_m = SM_NAN, .n_observations = is_recheck ? 12 : N_OBSERVATIONS,
                                     .observation = is_recheck ? again : observation};
    struct sm_kit kit = {"P200-05", 180, 220, 500000, 211, 2, 1.9, 50, 180, "winter"};
    struct sm_plan plan = {.n_targets = N_DEFECTS, .target = target, .n_repairs = N_REPAIRS, .repair = repair,
                           .cost = 3600, .full_lining_cost = SM_NAN, .advice = ""};
    struct sm_store_put put = {.kind = is_recheck ? SM_SURVEY_RECHECK : SM_SURVEY_FIRST,
                               .stored_at = "2031-03-14T08:00:00Z", .who = "bench", .segment = &segment,
                               .date = is_recheck ? "2031-05-01" : "2031-03-01", .n_inputs = 1, .input = &input,
                               .n_settings = 1, .setting = &setting, .alignment = &alignment, .n_kits = 1, .kit = &kit,
                               .plan = is_recheck ? NULL : &plan};
    return sm_store_put_schedule(store, &put, NULL, NULL, err);
}

static enum sm_status put_rows(struct sm_store *store, int no, struct sm_error *err)
{
    char name[32];
    enum sm_status status = SM_OK;
    snprintf(name, sizeof name, "S%05d", no);
    struct sm_store_surveys *surveys = NULL;
    status = sm_store_list_surveys(&surveys, store, name, err);
    for (int i = 0; status == SM_OK && i < N_MADE; i++) {
        enum sm_store_taken taken;
        struct sm_recorded row = {
            .row = {.line = 2, .segment = name, .repair = repair[i].id, .date = "2031-04-02", .crew = i % 2 ? "North" : "South",
                    .kit = "P200-05", .lot = "L1", .result = "ok", .remark = "", .mixed = "2031-04-02T09:00",
                    .inflated = "2031-04-02T09:20", .deflated = "2031-04-02T11:40", .is_in_place = true,
                    .liner_length_m = 0.5, .stop_m = repair[i].mark_m + (i == 4 ? 0.3 : 0.01), .mark_m = SM_NAN,
                    .stop_digit_m = 0.01, .test_pressure_kpa = 50, .pressure_kpa = 75, .pipe_temperature_c = 12,
                    .occurrence = 1},
            .survey_key = surveys->item[0].key, .is_planned = true, .source = "day.csv", .source_sha256 = "0",
            .recorded_at = "2031-04-03T08:00:00Z", .who = "bench"};
        status = sm_store_put_as_built(store, &row, &taken, err);
    }
    sm_store_surveys_free(&surveys);
    return status;
}

int main(int argc, char **argv)
{
    int64_t n = 0;
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    if (argc != 3 || !sm_parse_int(argv[2], 1, 1000000, &n)) {
        fputs("usage: jobbench JOB SEGMENTS\n", stderr);
        return 2;
    }
    invent();
    enum sm_status status = sm_store_open(&store, argv[1], SM_STORE_WRITE, &err);
    status = status == SM_OK ? sm_store_begin(store, &err) : status;
    for (int i = 0; status == SM_OK && i < n; i++) {
        status = put_survey(store, i, false, &err);
        status = status == SM_OK ? put_rows(store, i, &err) : status;
        status = status == SM_OK && i % 2 ? put_survey(store, i, true, &err) : status;
    }
    status = status == SM_OK ? sm_store_commit(store, &err) : status;
    sm_store_close(&store);
    if (status != SM_OK) {
        fprintf(stderr, "jobbench: %s\n", err.text);
    }
    return status != SM_OK;
}
