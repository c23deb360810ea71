/* What the work takes, in schedule.json: materials, times, pressure and passage of a repair; materials to
 * load, the day, alternatives and the other end for the whole. */
#include "work.h"

#include <math.h>

#define DECIMALS 6

static void add(struct sm_json *json, const char *key, double value)
{
    sm_json_number(json, key, value, DECIMALS);
}

static void add_materials(struct sm_json *json, const struct sm_schedule *s, const struct sm_materials *sum)
{
    sm_json_int(json, "liners", sum->n_repairs);
    if (sum->layers) {
        sm_json_int(json, "layers", sum->layers);
    } else {
        sm_json_null(json, "layers");
    }
    add(json, "mat_length_m", sum->mat_length_m);
    add(json, "mat_width_m", sum->mat_width_m);
    add(json, "wound_width_m", sum->wound_width_m);
    add(json, "glass_m2", sum->glass_m2);
    add(json, "glass_kg", sum->glass_kg);
    add(json, "resin_l", sum->resin_l);
    add(json, "resin_kg", sum->resin_kg);
    add(json, "waste_l", sum->waste_l);
    add(json, "waste_kg", sum->waste_kg);
    add(json, "kit_resin_l", sum->kit_resin_l);
    add(json, "part_a_l", sum->part_a_l);
    add(json, "part_a_kg", sum->part_a_kg);
    add(json, "part_b_l", sum->part_b_l);
    add(json, "part_b_kg", sum->part_b_kg);
    add(json, "wall_mm", sum->thickness_mm);
    add(json, "wall_needed_mm", s->sheet->mat.least_thickness_mm);
    sm_json_int(json, "layers_needed", sm_schedule__layers_needed(s));
    sm_json_int(json, "ties", sum->ties);
    sm_json_int(json, "sleeves", sum->sleeves);
}

static void add_cure(struct sm_json *json, const struct sm_schedule *s, const struct sm_kit *kit)
{
    struct sm_cure_time cure;
    if (!kit ||
        sm_cure_time_at(&cure, s->sheet, kit->cure, s->sheet->access.pipe_temperature_c, NULL) != SM_OK) {
        sm_json_null(json, "cure");
        return;
    }
    sm_json_open_compact(json, "cure", '{');
    sm_json_number(json, "working_min", cure.working_min, 0);
    sm_json_number(json, "cure_min", cure.cure_min, 0);
    sm_json_close(json, '}');
}

/* Where least and greatest cross there is no pressure to work with, only the reason. */
static void add_pressure(struct sm_json *json, const struct sm_schedule *s, const struct sm_kit *kit)
{
    struct sm_packer_pressure band;
    struct sm_error err = {0};
    if (!kit) {
        sm_json_null(json, "pressure");
        return;
    }
    enum sm_status status =
        sm_packer_pressure_for(&band, kit, s->segment->diameter_mm, s->sheet->access.groundwater_head_m,
                               s->sheet->access.lateral_head_m, &err);
    sm_json_open(json, "pressure", '{');
    if (status == SM_OK) {
        add(json, "water_kpa", band.head_kpa);
        add(json, "test_kpa", band.test_kpa);
        add(json, "least_kpa", band.least_kpa);
        add(json, "greatest_kpa", band.greatest_kpa);
        add(json, "end_thrust_n", band.end_thrust_n);
    } else {
        sm_json_string(json, "refused", err.text);
    }
    sm_json_close(json, '}');
}

static void add_passage(struct sm_json *json, const struct sm_schedule *s, const struct sm_repair *repair)
{
    struct sm_arena *arena = NULL;
    const struct sm_passage *passage = NULL;
    size_t n = 0;
    json->out->failed |= sm_arena_new(&arena) != SM_OK;
    if (arena) {
        n = sm_schedule__passages(&passage, arena, s, repair, &json->out->failed);
    }
    sm_json_open(json, "passage", '[');
    for (size_t i = 0; i < n; i++) {
        const struct sm_observation *observation =
            sm_schedule__observation(s, (size_t)passage[i].observation_idx);
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "observation", observation ? observation->id : NULL);
        sm_json_string(json, "what", passage[i].what);
        add(json, "way_m", passage[i].way_m);
        sm_json_bool(json, "doubtful", passage[i].is_doubtful);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_arena_free(&arena);
}

void sm_schedule__json_repair_work(struct sm_json *json, const struct sm_schedule *s,
                                   const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    struct sm_materials one;
    if (sm_schedule__materials(&one, s, repair, NULL)) {
        sm_json_open(json, "materials", '{');
        add_materials(json, s, &one);
        sm_json_close(json, '}');
    } else {
        sm_json_null(json, "materials");
    }
    add_cure(json, s, kit);
    add_pressure(json, s, kit);
    add_passage(json, s, repair);
}

/* ---- of the whole ---- */

static void add_to_load(struct sm_json *json, const struct sm_schedule *s)
{
    struct sm_materials sum;
    if (!sm_schedule__materials_to_load(&sum, s, NULL)) {
        sm_json_null(json, "materials");
        return;
    }
    sm_json_open(json, "materials", '{');
    sm_json_int(json, "spares", s->plan->n_repairs ? s->sheet->rules.n_spares : 0);
    add_materials(json, s, &sum);
    sm_json_close(json, '}');
}

static void add_day_repair(struct sm_json *json, const char *id, const struct sm_day_repair *times)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "repair", id);
    add(json, "mixed_min", times->mixed_min);
    add(json, "inflated_min", times->inflated_min);
    add(json, "latest_inflate_min", times->latest_inflate_min);
    add(json, "margin_min", times->margin_min);
    add(json, "deflate_min", times->deflate_min);
    add(json, "end_min", times->end_min);
    sm_json_string(json, "trouble", times->trouble);
    sm_json_close(json, '}');
}

static void add_day_step(struct sm_json *json, const struct sm_schedule *s, const struct sm_day_step *step)
{
    sm_json_open_compact(json, NULL, '{');
    sm_json_string(json, "step", sm_day_kind_name(step->kind));
    sm_json_string(json, "repair", step->repair_idx < 0 ? NULL : s->plan->repair[step->repair_idx].id);
    add(json, "start_min", step->start_min);
    add(json, "end_min", step->end_min);
    sm_json_close(json, '}');
}

static void add_day(struct sm_json *json, const struct sm_schedule *s)
{
    struct sm_day_plan *day = sm_schedule__day(s, &json->out->failed);
    if (!day) {
        sm_json_null(json, "day");
        return;
    }
    sm_json_open(json, "day", '{');
    add(json, "shift_min", s->sheet->day.shift_min);
    sm_json_int(json, "repairs_in_shift", day->n_in_shift);
    sm_json_open(json, "repairs", '[');
    for (size_t i = 0; i < day->n_repairs; i++) {
        add_day_repair(json, s->plan->repair[i].id, &day->repair[i]);
    }
    sm_json_close(json, ']');
    sm_json_open(json, "steps", '[');
    for (size_t i = 0; i < day->n_steps; i++) {
        add_day_step(json, s, &day->step[i]);
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
    sm_day_plan_free(&day);
}

static void add_full_lining(struct sm_json *json, const struct sm_plan_alternatives *of)
{
    if (!isfinite(of->full_lining.total)) {
        sm_json_null(json, "full_lining");
        return;
    }
    sm_json_open(json, "full_lining", '{');
    add(json, "length_m", of->full_lining.length_m);
    sm_json_number(json, "cost", of->full_lining.cost, 2);
    sm_json_number(json, "set_up_cost", of->full_lining.set_up_cost, 2);
    sm_json_int(json, "connections", (int64_t)of->full_lining.n_reopened);
    sm_json_number(json, "reopen_cost", of->full_lining.reopen_cost, 2);
    sm_json_number(json, "total", of->full_lining.total, 2);
    sm_json_number(json, "break_even_repairs", of->break_even_repairs, 2);
    sm_json_close(json, '}');
}

static void add_limits(struct sm_json *json, const struct sm_rules *rules,
                       const struct sm_plan_alternatives *of)
{
    sm_json_open(json, "owner_limits", '{');
    if (rules->most_repairs > 0) {
        sm_json_int(json, "most_repairs", rules->most_repairs);
    } else {
        sm_json_null(json, "most_repairs");
    }
    sm_json_bool(json, "too_many", of->has_too_many);
    add(json, "most_lined_frac", rules->most_lined_frac);
    sm_json_bool(json, "too_much_lined", of->has_too_much_lined);
    sm_json_close(json, '}');
}

static void add_alternatives(struct sm_json *json, const struct sm_schedule *s)
{
    struct sm_plan_alternatives of;
    enum sm_status status = sm_plan_alternatives_for(&of, s->plan, s->alignment, s->sheet, NULL);
    json->out->failed |= status == SM_E_NOMEM;
    if (status != SM_OK) {
        sm_json_null(json, "alternatives");
        return;
    }
    sm_json_open(json, "alternatives", '{');
    sm_json_int(json, "repairs", (int64_t)of.n_repairs);
    sm_json_number(json, "repairs_cost", of.cost, 2);
    add(json, "lined_frac", of.lined_frac);
    add_full_lining(json, &of);
    if (isfinite(of.digging.total)) {
        sm_json_open(json, "digging", '{');
        sm_json_int(json, "places", (int64_t)of.digging.n_places);
        add(json, "length_m", of.digging.length_m);
        sm_json_number(json, "total", of.digging.total, 2);
        sm_json_close(json, '}');
    } else {
        sm_json_null(json, "digging");
    }
    add_limits(json, &s->sheet->rules, &of);
    sm_json_close(json, '}');
}

void sm_schedule__json_work(struct sm_json *json, const struct sm_schedule *s)
{
    struct sm_text words = {0};
    add_to_load(json, s);
    add_day(json, s);
    add_alternatives(json, s);
    sm_schedule__add_other_end(&words, s, &json->out->failed);
    sm_json_string(json, "other_end", words.length ? sm_text_str(&words) : NULL);
    sm_schedule__drop(&words, &json->out->failed);
}
