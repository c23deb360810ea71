/* The surveys are invented; places and errors follow the rules of the sheet so that the documents read true.
 */
#include "survey_builder.h"

#include "stopmark/engineering.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sm_test.h"

#define N_MANY 60

struct row {
    const char *code, *ch1, *ch2, *q1, *remark, *reason, *prepare;
    double start_m, end_m, logged_m, error_m;
    enum sm_treatment treatment;
    int from_h, to_h;
    uint32_t flags;
    enum sm_reading_state state;
};

static const struct row rows[] = {
    {"BCD", "XP", "", "", "start of survey", "start node", "", 0, 0, 0, 0.06, SM_TREATMENT_NONE, 0, 0, 0,
     SM_READING_READ},
    {"BCA", "A", "A", "150", "", "connection, 150 mm", "", 3.20, 3.20, 3.2, 0.06, SM_TREATMENT_CLEAR, 2, 0, 0,
     SM_READING_READ},
    {"BAB", "B", "A", "3", "crack along the crown, damp", "crack 3 mm wide: a liner closes it", "", 5.86,
     5.86, 5.9, 0.06, SM_TREATMENT_LINE, 12, 0, 0, SM_READING_READ},
    {"BBA", "A", "", "20", "roots through the joint", "roots at a joint, 20 %",
     "cut roots back to the wall; jet clean", 9.41, 9.41, 9.4, 0.06, SM_TREATMENT_PREPARE, 10, 2, 0,
     SM_READING_CARRIED},
    {"BAC", "B", "", "", "piece gone, soil visible", "missing piece: a liner bridges it", "", 12.34, 12.34,
     13.1, 0.06, SM_TREATMENT_LINE, 4, 6, SM_FLAG_LOG_DISAGREES, SM_READING_READ},
    {"BCA", "B", "A", "150", "", "connection, 150 mm", "", 15.10, 15.10, 15.1, 0.06, SM_TREATMENT_CLEAR, 9, 0,
     0, SM_READING_READ},
    {"BAB", "C", "B", "2", "two fissures side by side", "fissures: a liner closes them", "", 18.20, 18.95,
     18.2, 0.06, SM_TREATMENT_LINE, 7, 11, 0, SM_READING_READ},
    {"BBC", "C", "", "5", "fine deposits", "5 % deposits: jetted before survey next time", "", 21.00, 21.00,
     21, 0.06, SM_TREATMENT_NONE, 6, 0, 0, SM_READING_READ},
    {"BAJ", "B", "", "12", "joint stepped down", "offset 12 mm", "", 24.70, 24.70, 24.7, 0.06,
     SM_TREATMENT_NONE, 0, 0, 0, SM_READING_READ},
    {"BAC", "C", "", "", "crown fallen in", "collapse: an engineer decides, no liner", "", 31.90, 31.90, 31.9,
     0.27, SM_TREATMENT_REFER, 12, 12, SM_FLAG_UNSURE, SM_READING_CARRIED},
    {"BAF", "I", "Z", "", "hole worn through the invert", "hole: a liner bridges it", "", 37.05, 37.05, 37.1,
     0.36, SM_TREATMENT_LINE, 6, 0, SM_FLAG_COUNTER_UNREAD, SM_READING_HIDDEN},
    {"BAB", "B", "B", "4", "crack right at the pipe end", "crack 4 mm wide: a liner closes it", "", 43.55,
     43.55, 43.6, 0.06, SM_TREATMENT_LINE, 12, 12, 0, SM_READING_READ},
    {"BCE", "XP", "", "", "end of survey", "finish node", "", 43.80, 43.80, 43.8, 0.06, SM_TREATMENT_NONE, 0,
     0, 0, SM_READING_READ},
};
#define N_ROWS (sizeof rows / sizeof rows[0])

static const struct sm_kit kits[] = {
    {"short 600", 150, 225, 600000, 180, 2, 1.6, 124, 200, "winter"},
    {"short 1000", 150, 225, 1000000, 260, 2, 2.7, 124, 200, "winter"},
    {"long 1500", 150, 225, 1500000, 390, 3, UNKNOWN, UNKNOWN, UNKNOWN, NULL},
};
static const struct sm_cure_row cure[] = {
    {"winter", 5, 25, 180}, {"winter", 15, 18, 110}, {"winter", 23, 15, 70}};

static void *take(struct survey *survey, size_t n, size_t size)
{
    void *block = sm_arena_alloc(survey->arena, n * size);
    assert_non_null(block);
    return block;
}

static struct sm_observation observation_of(const struct row *row, size_t idx)
{
    struct sm_observation o = {
        .entry_idx = (int32_t)idx,
        .end_entry_idx = -1,
        .code = row->code,
        .ch1 = row->ch1,
        .ch2 = row->ch2,
        .q1 = row->q1,
        .q2 = "",
        .remark = row->remark,
        .q1_value = UNKNOWN,
        .q2_value = UNKNOWN,
        .clock_from_h = row->from_h,
        .clock_to_h = row->to_h,
        .is_at_joint = strcmp(row->code, "BBA") == 0,
        .diameter_mm = UNKNOWN,
        .time_s = 12.0 + row->start_m * 9,
        .logged_m = row->logged_m,
        .distance_m = row->start_m,
        .start_m = row->start_m,
        .end_m = row->end_m,
        .error_m = row->error_m,
        .error_placement_m = 0.05,
        .error_reading_m = 0.005,
        .error_distance_m = row->error_m > 0.1 ? row->error_m - 0.055 : 0,
        .treatment = row->treatment,
        .reason = row->reason,
        .prepare = row->prepare,
        .flags = row->flags,
        .is_node = row->code[0] == 'B' && row->code[1] == 'C' && row->code[2] > 'C',
        .is_connection = row->treatment == SM_TREATMENT_CLEAR,
        .source = row->state == SM_READING_HIDDEN ? SM_DISTANCE_LOG : SM_DISTANCE_PICTURE,
    };
    snprintf(o.id, sizeof o.id, "O%zu", idx + 1);
    o.reading = (struct sm_reading){o.time_s, llround(row->start_m * 100), 0.97f, row->state};
    o.diameter_mm = o.is_connection ? 150 : UNKNOWN;
    return o;
}

static void add_observations(struct survey *survey)
{
    struct sm_observation *list = take(survey, N_ROWS, sizeof *list);
    for (size_t i = 0; i < N_ROWS; i++) {
        list[i] = observation_of(&rows[i], i);
    }
    survey->alignment.observation = list;
    survey->alignment.n_observations = N_ROWS;
}

/* The run as a camera makes it: forward, standing still at every observation. */
static void add_trace(struct survey *survey)
{
    size_t n = 440;
    struct sm_reading *list = take(survey, n, sizeof *list);
    for (size_t i = 0; i < n; i++) {
        bool is_hidden = i > 330 && i < 350;
        list[i] =
            (struct sm_reading){12.0 + (double)i * 0.9, (int64_t)i / 25 * 250 + ((int64_t)i % 25) * 10,
                                is_hidden ? 0.0f : 0.97f, is_hidden ? SM_READING_HIDDEN : SM_READING_READ};
    }
    survey->trace = (struct sm_trace){.format = {.box = {520, 30, 160, 28}, .unit = SM_UNIT_M, .decimals = 2},
                                      .n_readings = n,
                                      .reading = list,
                                      .duration_s = 420};
}

static int32_t *indices(struct survey *survey, size_t n, const int32_t *from)
{
    int32_t *list = take(survey, n ? n : 1, sizeof *list);
    memcpy(list, from, n * sizeof *list);
    return list;
}

static struct sm_repair repair_of(struct survey *survey, size_t idx, int32_t kit, int64_t start_um,
                                  size_t n_covers, const int32_t *covers)
{
    struct sm_repair r = {.kit_idx = kit,
                          .start_um = start_um,
                          .length_um = kits[kit].length_um,
                          .slack_m = 0.04,
                          .cost = kits[kit].cost + 400,
                          .n_covers = n_covers};
    snprintf(r.id, sizeof r.id, "R%zu", idx + 1);
    r.covers = indices(survey, n_covers, covers);
    double stop_m = ((double)start_um + (double)r.length_um / 2) / 1e6;
    bool is_far = survey->sheet.access.enters_at_to;
    r.mark_m =
        (is_far ? survey->alignment.length_m - stop_m : stop_m) + survey->sheet.access.rim_to_pipe_edge_m;
    return r;
}

static void add_targets(struct survey *survey)
{
    struct sm_target *list = take(survey, N_ROWS, sizeof *list);
    size_t n = 0;
    for (size_t i = 0; i < survey->alignment.n_observations; i++) {
        const struct sm_observation *o = &survey->alignment.observation[i];
        if (o->treatment == SM_TREATMENT_LINE || o->treatment == SM_TREATMENT_PREPARE) {
            double cover_m = 0.15 + o->error_m;
            list[n++] =
                (struct sm_target){(int32_t)i, llround(fmax(o->start_m - cover_m, 0) * 1e6),
                                   llround(fmin(o->end_m + cover_m, survey->alignment.length_m) * 1e6)};
        }
    }
    survey->plan.target = list;
    survey->plan.n_targets = n;
}

static void add_repairs(struct survey *survey)
{
    static const char *const prepare[] = {"cut roots back to the wall", "jet clean"};
    struct sm_repair *list = take(survey, 5, sizeof *list);
    list[0] = repair_of(survey, 0, 0, 43200000, 1, (int32_t[]){11});
    list[1] = repair_of(survey, 1, 2, 17820000, 1, (int32_t[]){6});
    list[2] = repair_of(survey, 2, 0, 12040000, 1, (int32_t[]){4});
    list[3] = repair_of(survey, 3, 0, 9110000, 1, (int32_t[]){3});
    list[4] = repair_of(survey, 4, 0, 5560000, 1, (int32_t[]){2});
    list[3].prepare = prepare;
    list[3].n_prepare = 2;
    list[2].reopens = indices(survey, 1, (int32_t[]){5});
    list[2].n_reopens = 1;
    list[2].cost += 250;
    survey->plan.repair = list;
    survey->plan.n_repairs = 5;
    for (size_t i = 0; i < 5; i++) {
        survey->plan.cost += list[i].cost;
    }
    struct sm_unrepaired *left = take(survey, 2, sizeof *left);
    left[0] =
        (struct sm_unrepaired){10, "no kit is long enough: the target is 1.02 m and may not reach into the "
                                   "keep-clear stretch of a connection"};
    left[1] = (struct sm_unrepaired){9, "referred: a collapse is not for a liner"};
    survey->plan.unrepaired = left;
    survey->plan.n_unrepaired = 2;
}

static void add_findings(struct survey *survey)
{
    assert_int_equal(
        sm_findings_add(&survey->alignment.findings, SM_FLAG_LOG_DISAGREES, SM_SEVERITY_WARNING, "run1.csv",
                        6, 123, 4, "log says 13.10 m, the picture shows 12.34 m; look at 2:03 of the video"),
        SM_OK);
    assert_int_equal(sm_findings_add(&survey->alignment.findings, SM_FLAG_COUNTER_UNREAD, SM_SEVERITY_WARNING,
                                     "run1.csv", 12, 345, 10,
                                     "the counter cannot be read at 5:45; the logged distance is used"),
                     SM_OK);
    assert_int_equal(sm_findings_add(&survey->plan.findings, 0, SM_SEVERITY_NOTE, NULL, 0, UNKNOWN, -1,
                                     "2 of 7 defects are left without a liner"),
                     SM_OK);
}

static void fill_sheet(struct survey *survey)
{
    survey->sheet = (struct sm_sheet){
        .segment = {"T12-T13", "T12", "T13", 43.8, 200, 1.0, "vitrified clay", SM_FLOW_FROM_TO},
        .date = "2031-03-14",
        .operator_name = "M. Example",
        .video_start_s = UNKNOWN,
        .video_end_s = UNKNOWN,
        .counter_unit = SM_UNIT_M,
        .access = {.pipe_temperature_c = 12, .groundwater_head_m = 1.5, .lateral_head_m = UNKNOWN},
        .rules = {.end_cover_m = 0.15,
                  .placement_m = 0.05,
                  .distance_error_frac = 0.005,
                  .distance_error_m = 0.3,
                  .overlap_m = 0.1,
                  .keep_clear_m = 0.1,
                  .connection_diameter_mm = 150,
                  .set_up_cost = 400,
                  .reopen_cost = 250,
                  .full_lining_rate_per_m = 420,
                  .dig_rate_per_m = UNKNOWN,
                  .most_repairs = -1,
                  .most_lined_frac = UNKNOWN,
                  .n_spares = 1},
        .n_kits = sizeof kits / sizeof kits[0],
        .kit = kits,
        .n_cure_rows = sizeof cure / sizeof cure[0],
        .cure_row = cure,
        .day = sm_day_rules_default(),
        .mat = sm_mat_default(),
    };
}

static void make_feet(struct survey *survey)
{
    survey->schedule.people_unit = SM_UNIT_FT;
    survey->schedule.paper = SM_PAPER_LETTER;
    survey->sheet.access.enters_at_to = true;
    survey->sheet.access.reference = SM_REFERENCE_RIM;
    survey->sheet.access.rim_to_pipe_edge_m = 2.4;
    survey->trace.format.unit = SM_UNIT_FT;
    survey->sheet.segment.diameter_mm = 203.2;
}

static void make_empty(struct survey *survey)
{
    survey->alignment.n_observations = 2;
    survey->alignment.observation[1] = observation_of(&rows[N_ROWS - 1], 1);
    survey->alignment.is_length_assumed = true;
    survey->alignment.misclosure_m = UNKNOWN;
    survey->sheet.segment.diameter_mm = UNKNOWN;
    survey->sheet.segment.material = NULL;
    survey->sheet.segment.flow = SM_FLOW_UNKNOWN;
    survey->sheet.n_kits = survey->sheet.n_cure_rows = 0;
    survey->schedule.trace = NULL;
    survey->plan.full_lining_cost = UNKNOWN;
}

static void make_many(struct survey *survey)
{
    struct sm_observation *list = take(survey, N_MANY, sizeof *list);
    struct sm_repair *repairs = take(survey, N_MANY, sizeof *repairs);
    struct sm_target *targets = take(survey, N_MANY, sizeof *targets);
    survey->alignment.length_m = survey->sheet.segment.length_m = 240;
    for (size_t i = 0; i < N_MANY; i++) {
        struct row row = rows[2 + i % 3];
        row.start_m = row.end_m = row.logged_m = 2.0 + (double)i * 3.95;
        list[i] = observation_of(&row, i);
        int64_t at_um = llround(row.start_m * 1e6);
        targets[i] = (struct sm_target){(int32_t)i, at_um - 210000, at_um + 210000};
        repairs[N_MANY - 1 - i] =
            repair_of(survey, N_MANY - 1 - i, 0, at_um - 300000, 1, (int32_t[]){(int32_t)i});
    }
    survey->alignment.observation = list;
    survey->alignment.n_observations = survey->plan.n_repairs = survey->plan.n_targets = N_MANY;
    survey->plan.repair = repairs;
    survey->plan.target = targets;
    survey->plan.n_unrepaired = 0;
}

/* O1 stands for the break at 12.34 m, O2 for a connection. */
static void make_short(struct survey *survey)
{
    struct sm_observation *list = survey->alignment.observation;
    list[0] = observation_of(&rows[4], 0);
    list[1] = observation_of(&rows[5], 1);
    survey->alignment.n_observations = 2;
    struct sm_target *target = take(survey, 1, sizeof *target);
    *target = (struct sm_target){0, 12130000, 12550000};
    survey->plan.target = target;
    survey->plan.n_targets = 1;
    struct sm_repair *repair = take(survey, 1, sizeof *repair);
    *repair = repair_of(survey, 0, 0, 12040000, 1, (int32_t[]){0});
    survey->plan.repair = repair;
    survey->plan.n_repairs = 1;
    survey->plan.n_unrepaired = 0;
    survey->trace.n_readings = 30;
}

static void set_strings(struct survey *survey, const char *text)
{
    struct sm_segment *segment = &survey->sheet.segment;
    segment->id = segment->from = segment->to = segment->material = text;
    survey->sheet.date = survey->sheet.operator_name = survey->plan.advice = survey->alignment.method = text;
    struct sm_kit *kit = take(survey, survey->sheet.n_kits, sizeof *kit);
    memcpy(kit, kits, sizeof kits);
    for (size_t i = 0; i < survey->sheet.n_kits; i++) {
        kit[i].name = text;
    }
    survey->sheet.kit = kit;
    for (size_t i = 0; i < survey->alignment.n_observations; i++) {
        struct sm_observation *o = &survey->alignment.observation[i];
        o->code = o->ch1 = o->remark = o->reason = o->prepare = text;
    }
    const char **prepare = take(survey, 3, sizeof *prepare);
    prepare[0] = prepare[1] = prepare[2] = text;
    struct sm_repair *list = take(survey, survey->plan.n_repairs, sizeof *list);
    memcpy(list, survey->plan.repair, survey->plan.n_repairs * sizeof *list);
    struct sm_unrepaired *left = take(survey, survey->plan.n_unrepaired, sizeof *left);
    for (size_t i = 0; i < survey->plan.n_unrepaired; i++) {
        left[i] = (struct sm_unrepaired){survey->plan.unrepaired[i].observation_idx, text};
    }
    list[0].prepare = prepare;
    list[0].n_prepare = 3;
    survey->plan.repair = list;
    survey->plan.unrepaired = left;
    assert_int_equal(
        sm_findings_add(&survey->plan.findings, 0, SM_SEVERITY_WARNING, text, 3, 1, 1, "%s", text), SM_OK);
}

static const char long_text[] =
    "Lower Example Street behind the former tram depot, eastern branch, between the third inspection chamber "
    "and the "
    "outfall chamber \u2013 G\u00e4nsew\u00fcrzchen-Zufahrtsstra\u00dfenunterf\u00fchrung "
    "0123456789012345678901234567890123456789"
    "01234567890123456789";
static const char hostile_text[] = "=cmd|'/c x'!A1<script>alert(\"1\")</script>&amp;]]>\x1b[31m\x01\xff\xfe "
                                   "--><!-- ${x} \xe2\x80\xae\xd7\x90";

/* 20 000 characters: more than a page holds. */
static void name_kit_at_length(struct survey *survey)
{
    struct sm_text name = {0};
    for (int i = 0; i < 4000; i++) {
        sm_text_add(&name, "word ");
    }
    struct sm_kit *kit = take(survey, survey->sheet.n_kits, sizeof *kit);
    memcpy(kit, survey->sheet.kit, survey->sheet.n_kits * sizeof *kit);
    kit[0].name = sm_arena_strdup(survey->arena, sm_text_str(&name));
    sm_text_release(&name);
    survey->sheet.kit = kit;
}

void survey_build(struct survey *survey, enum survey_kind kind)
{
    memset(survey, 0, sizeof *survey);
    assert_int_equal(sm_arena_new(&survey->arena), SM_OK);
    fill_sheet(survey);
    survey->log = (struct sm_obslog){.source = "run1.csv", .format = "csv"};
    survey->alignment = (struct sm_alignment){.method = "video time",
                                              .clock_offset_s = UNKNOWN,
                                              .clock_residual_s = UNKNOWN,
                                              .misclosure_m = 0.04,
                                              .length_m = 43.8};
    survey->plan = (struct sm_plan){.full_lining_cost = 18396,
                                    .advice = "Repairs cost 15 % of lining the whole segment."};
    survey->schedule = (struct sm_schedule){.sheet = &survey->sheet,
                                            .segment = &survey->sheet.segment,
                                            .log = &survey->log,
                                            .trace = &survey->trace,
                                            .alignment = &survey->alignment,
                                            .plan = &survey->plan,
                                            .people_unit = SM_UNIT_M};
    add_observations(survey);
    add_trace(survey);
    if (kind == SURVEY_METRES) {
        assert_int_equal(sm_codes_builtin(&survey->codes, SM_CODES_EN, NULL), SM_OK);
        survey->schedule.codes = survey->codes;
    }
    if (kind == SURVEY_FEET) {
        make_feet(survey);
    }
    if (kind == SURVEY_EMPTY) {
        make_empty(survey);
        return;
    }
    add_targets(survey);
    add_repairs(survey);
    add_findings(survey);
    if (kind == SURVEY_MANY) {
        make_many(survey);
    } else if (kind == SURVEY_SHORT) {
        make_short(survey);
    } else if (kind == SURVEY_LONG) {
        set_strings(survey, long_text);
        name_kit_at_length(survey);
    } else if (kind == SURVEY_HOSTILE) {
        set_strings(survey, hostile_text);
    }
}

void survey_release(struct survey *survey)
{
    sm_findings_release(&survey->alignment.findings);
    sm_findings_release(&survey->plan.findings);
    sm_codes_free(&survey->codes);
    sm_arena_free(&survey->arena);
}

void survey_add_stills(struct survey *survey, const char *dir)
{
    char text[1024];
    size_t n = survey->alignment.n_observations;
    const char **still = take(survey, n, sizeof *still);
    snprintf(text, sizeof text, "%s/stills", dir);
    assert_int_equal(sm_dir_make(text, NULL), SM_OK);
    snprintf(text, sizeof text,
             "ffmpeg -v error -y -f lavfi -i testsrc2=size=720x576:rate=1 -frames:v 3 %s/stills/S%%d.jpg",
             dir);
    assert_int_equal(system(text), 0);
    for (size_t i = 0; i < n; i++) {
        still[i] = i % 4 == 3 ? NULL : sm_arena_printf(survey->arena, "stills/S%zu.jpg", 1 + i % 3);
    }
    survey->schedule.still = still;
    survey->schedule.out_dir = sm_arena_strdup(survey->arena, dir);
}
