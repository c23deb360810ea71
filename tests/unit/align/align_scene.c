#include "align_scene.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void scene_start(struct scene *scene)
{
    memset(scene, 0, sizeof *scene);
    struct sm_error err = {0};
    assert_ok(sm_sheet_new(&scene->sheet, &err), &err);
    assert_ok(sm_codes_builtin(&scene->codes, SM_CODES_EN, &err), &err);
    scene->sheet->segment.length_m = 43.80;
    scene->sheet->segment.diameter_mm = 200;
    scene->log = (struct sm_obslog){.source = "run1.csv", .format = "csv", .entry = scene->row};
    scene->log.segment.length_m = SM_NAN;
    scene->log.inspection_length_m = SM_NAN;
}

void scene_end(struct scene *scene)
{
    sm_alignment_free(&scene->alignment);
    sm_trace_free(&scene->trace);
    sm_codes_free(&scene->codes);
    sm_sheet_free(&scene->sheet);
}

static double place_at(double start_m, const struct scene_leg *leg, size_t n_legs, double time_s)
{
    double from_s = 0;
    double from_m = start_m;
    for (size_t i = 0; i < n_legs; i++) {
        if (time_s <= leg[i].end_s) {
            return from_m + (leg[i].end_m - from_m) * (time_s - from_s) / (leg[i].end_s - from_s);
        }
        from_s = leg[i].end_s;
        from_m = leg[i].end_m;
    }
    return from_m;
}

void scene_drive(struct scene *scene, double start_m, const struct scene_leg *leg, size_t n_legs,
                 double step_s, enum sm_unit unit, int32_t decimals)
{
    double end_s = leg[n_legs - 1].end_s;
    scene->start_m = start_m;
    scene->leg = leg;
    scene->n_legs = n_legs;
    size_t n = (size_t)(end_s / step_s + 1e-9) + 1;
    scene->trace = sm_calloc(1, sizeof *scene->trace);
    assert_non_null(scene->trace);
    *scene->trace = (struct sm_trace){.format = {.unit = unit, .decimals = decimals}, .duration_s = end_s};
    scene->trace->reading = sm_calloc(n, sizeof *scene->trace->reading);
    assert_non_null(scene->trace->reading);
    scene->trace->n_readings = n;
    double digit_m = sm_last_digit_m(&scene->trace->format);
    for (size_t i = 0; i < n; i++) {
        double time_s = (double)i * step_s;
        double place_m = place_at(start_m, leg, n_legs, time_s);
        scene->trace->reading[i] =
            (struct sm_reading){time_s, llround(place_m / digit_m), 0.99F, SM_READING_READ};
    }
}

static int compare_readings(const void *a, const void *b)
{
    const struct sm_reading *x = a;
    const struct sm_reading *y = b;
    return (x->time_s > y->time_s) - (x->time_s < y->time_s);
}

void scene_look(struct scene *scene)
{
    struct sm_trace *trace = scene->trace;
    double time_s[SCENE_MOST_ROWS];
    double offset_s;
    struct sm_error err = {0};
    assert_ok(sm_align_times(time_s, &offset_s, &scene->log, trace, scene->sheet, &err), &err);
    trace->reading = sm_realloc(trace->reading, trace->n_readings + SCENE_MOST_ROWS, sizeof *trace->reading);
    assert_non_null(trace->reading);
    size_t n = trace->n_readings;
    for (size_t i = 0; i < scene->log.n_entries; i++) {
        bool is_inside = time_s[i] >= 0 && time_s[i] <= trace->duration_s;
        bool is_new = is_inside && sm_trace_at(trace, time_s[i]).state == SM_READING_CARRIED;
        if (is_new) {
            double place_m = place_at(scene->start_m, scene->leg, scene->n_legs, time_s[i]);
            trace->reading[n++] = (struct sm_reading){
                time_s[i], llround(place_m / sm_last_digit_m(&trace->format)), 0.99F, SM_READING_READ};
        }
    }
    trace->n_readings = n;
    qsort(trace->reading, n, sizeof *trace->reading, compare_readings);
}

void scene_hide(struct scene *scene, double start_s, double end_s)
{
    for (size_t i = 0; i < scene->trace->n_readings; i++) {
        struct sm_reading *reading = &scene->trace->reading[i];
        if (reading->time_s >= start_s && reading->time_s <= end_s) {
            *reading = (struct sm_reading){.time_s = reading->time_s, .state = SM_READING_HIDDEN};
        }
    }
}

struct sm_log_entry *scene_log(struct scene *scene, double time_s, double distance_m, const char *code)
{
    assert_true(scene->log.n_entries < SCENE_MOST_ROWS);
    struct sm_log_entry *entry = &scene->row[scene->log.n_entries++];
    *entry = (struct sm_log_entry){.line = (uint32_t)scene->log.n_entries + 1,
                                   .time_s = time_s,
                                   .distance_m = distance_m,
                                   .distance_digit_m = isnan(distance_m) ? SM_NAN : 0.01,
                                   .code = code,
                                   .ch1 = "",
                                   .ch2 = "",
                                   .q1 = "",
                                   .q2 = "",
                                   .q1_value = SM_NAN,
                                   .q2_value = SM_NAN,
                                   .diameter_mm = SM_NAN,
                                   .remark = "",
                                   .photo = ""};
    return entry;
}

struct sm_log_entry *scene_log_part(struct scene *scene, double distance_m, const char *code,
                                    enum sm_continuous continuous, int32_t id)
{
    struct sm_log_entry *entry = scene_log(scene, SM_NAN, distance_m, code);
    entry->continuous = continuous;
    entry->continuous_id = id;
    return entry;
}

void scene_tie(struct scene *scene, double reading, double true_m)
{
    size_t n = scene->sheet->n_ties;
    struct sm_tie *tie = sm_arena_alloc(scene->sheet->arena, (n + 1) * sizeof *tie);
    assert_non_null(tie);
    for (size_t i = 0; i < n; i++) {
        tie[i] = scene->sheet->tie[i];
    }
    tie[n] = (struct sm_tie){reading, true_m};
    scene->sheet->tie = tie;
    scene->sheet->n_ties = n + 1;
}

void scene_align(struct scene *scene)
{
    struct sm_error err = {0};
    sm_alignment_free(&scene->alignment);
    assert_ok(sm_align(&scene->alignment, &scene->log, scene->trace, scene->sheet, scene->codes, &err), &err);
}

const struct sm_observation *scene_observation(const struct scene *scene, size_t idx)
{
    assert_true(idx < scene->alignment->n_observations);
    return &scene->alignment->observation[idx];
}

bool scene_says(const struct scene *scene, const char *words)
{
    for (size_t i = 0; i < scene->alignment->findings.n; i++) {
        if (strstr(scene->alignment->findings.item[i].message, words)) {
            return true;
        }
    }
    return false;
}
