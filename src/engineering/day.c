/*
 * The day's time plan: one crew and one packer, the plan's repairs one after the other. The way along the
 * pipe is paid at every push and every look; the working time runs from the mixing to the inflation, the cure
 * from the inflation on.
 */
#include "stopmark/engineering.h"

#include <math.h>

#define MOST_STEPS_PER_REPAIR 8

struct clock {
    struct sm_day_plan *day;
    struct sm_day_step *step;
    struct sm_day_repair *repair;
    const struct sm_day_rules *rules;
    const struct sm_sheet *sheet;
    const struct sm_plan *plan;
    double length_m;
    double now_min;
};

struct sm_day_rules sm_day_rules_default(void)
{
    return (struct sm_day_rules){
        .shift_min = 480,
        .set_up_min = 45,
        .prepare_min = 20,
        .rehearsal_min = 5,
        .wet_out_min = 8,
        .push_m_per_min = 6,
        .position_min = 1,
        .inflate_min = 1,
        .hold_min = 10,
        .deflate_min = 3,
        .look_min = 5,
    };
}

const char *sm_day_kind_name(enum sm_day_kind kind)
{
    static const char *const names[] = {"set up",  "prepare", "rehearsal", "wet out", "push",
                                        "inflate", "cure",    "deflate",   "look"};
    return names[kind];
}

static void pass(struct clock *clock, enum sm_day_kind kind, int32_t repair_idx, double minutes)
{
    if (minutes > 0) {
        struct sm_day_step step = {kind, repair_idx, clock->now_min, clock->now_min + minutes};
        clock->step[clock->day->n_steps++] = step;
        clock->now_min = step.end_min;
    }
}

static double way_min(const struct clock *clock, const struct sm_repair *repair)
{
    double stop_m = ((double)repair->start_um + (double)repair->length_um / 2) / 1e6;
    double way_m = clock->sheet->access.enters_at_to ? clock->length_m - stop_m : stop_m;
    return fmax(0, way_m) / clock->rules->push_m_per_min;
}

/* Up to the inflation nothing depends on the resin but the latest moment. */
static void before_inflation(struct clock *clock, int32_t idx)
{
    const struct sm_repair *repair = &clock->plan->repair[idx];
    double way = way_min(clock, repair);
    pass(clock, SM_DAY_PREPARE, idx, (double)repair->n_prepare * clock->rules->prepare_min);
    pass(clock, SM_DAY_REHEARSAL, idx, clock->rules->rehearsal_min + 2 * way);
    clock->repair[idx].mixed_min = clock->now_min;
    pass(clock, SM_DAY_WET_OUT, idx, clock->rules->wet_out_min);
    pass(clock, SM_DAY_PUSH, idx, way + clock->rules->position_min);
}

static void after_inflation(struct clock *clock, int32_t idx, double cure_min)
{
    const struct sm_day_rules *rules = clock->rules;
    double way = way_min(clock, &clock->plan->repair[idx]);
    pass(clock, SM_DAY_INFLATE, idx, rules->inflate_min);
    clock->repair[idx].inflated_min = clock->now_min;
    pass(clock, SM_DAY_CURE, idx, cure_min + rules->hold_min);
    clock->repair[idx].deflate_min = clock->now_min;
    pass(clock, SM_DAY_DEFLATE, idx, rules->deflate_min + way);
    pass(clock, SM_DAY_LOOK, idx, rules->look_min + 2 * way);
    clock->repair[idx].end_min = clock->now_min;
}

static enum sm_status trouble(struct clock *clock, int32_t idx, const struct sm_error *why)
{
    const char *text = sm_arena_printf(clock->day->arena, "%s; %s", why->text, why->remedy);
    clock->repair[idx].trouble = text;
    clock->day->has_trouble = true;
    return text ? SM_OK : SM_E_NOMEM;
}

static enum sm_status plan_repair(struct clock *clock, int32_t idx)
{
    const struct sm_repair *repair = &clock->plan->repair[idx];
    const struct sm_kit *kit = &clock->sheet->kit[repair->kit_idx];
    struct sm_day_repair *times = &clock->repair[idx];
    struct sm_cure_time cure;
    struct sm_error why = {0};
    *times = (struct sm_day_repair){SM_NAN, SM_NAN, SM_NAN, SM_NAN, SM_NAN, SM_NAN, NULL};
    before_inflation(clock, idx);
    if (sm_cure_time_at(&cure, clock->sheet, kit->cure, clock->sheet->access.pipe_temperature_c, &why) !=
        SM_OK) {
        return trouble(clock, idx, &why);
    }
    after_inflation(clock, idx, cure.cure_min);
    times->latest_inflate_min = times->mixed_min + cure.working_min;
    times->margin_min = times->latest_inflate_min - times->inflated_min;
    if (times->margin_min < 0) {
        sm_error_set(&why, SM_E_INFEASIBLE,
                     "the working time of %d min is over before the packer is inflated",
                     (int)cure.working_min);
        sm_error_remedy(&why, "work from the other end, wet out nearer, or take a slower resin");
        return trouble(clock, idx, &why);
    }
    return SM_OK;
}

static void count_in_shift(struct sm_day_plan *day, const struct sm_day_repair *repair, double shift_min)
{
    while ((size_t)day->n_in_shift < day->n_repairs && !repair[day->n_in_shift].trouble &&
           repair[day->n_in_shift].end_min <= shift_min) {
        day->n_in_shift++;
    }
}

static enum sm_status check_rules(const struct sm_day_rules *rules, struct sm_error *err)
{
    const double minutes[] = {rules->shift_min,     rules->set_up_min,  rules->prepare_min,
                              rules->rehearsal_min, rules->wet_out_min, rules->position_min,
                              rules->inflate_min,   rules->hold_min,    rules->deflate_min,
                              rules->look_min};
    bool is_ok = rules->push_m_per_min > 0 && rules->push_m_per_min <= 1000;
    for (size_t i = 0; i < sizeof minutes / sizeof *minutes; i++) {
        is_ok = is_ok && minutes[i] >= 0 && minutes[i] <= 1e5;
    }
    return is_ok
               ? SM_OK
               : sm_error_set(err, SM_E_RANGE, "a time or the push speed of the day's rules makes no sense");
}

static enum sm_status fill(struct clock *clock)
{
    struct sm_day_plan *day = clock->day;
    size_t n = clock->plan->n_repairs;
    enum sm_status status = sm_arena_new(&day->arena);
    if (status != SM_OK) {
        return status;
    }
    clock->step = sm_arena_alloc(day->arena, (MOST_STEPS_PER_REPAIR * n + 1) * sizeof *clock->step);
    clock->repair = sm_arena_alloc(day->arena, (n + 1) * sizeof *clock->repair);
    if (!clock->step || !clock->repair) {
        return SM_E_NOMEM;
    }
    day->step = clock->step;
    day->repair = clock->repair;
    day->n_repairs = n;
    pass(clock, SM_DAY_SET_UP, -1, n ? clock->rules->set_up_min : 0);
    for (size_t i = 0; i < n && status == SM_OK; i++) {
        status = plan_repair(clock, (int32_t)i);
    }
    count_in_shift(day, clock->repair, clock->rules->shift_min);
    return status;
}

enum sm_status sm_day_plan_make(struct sm_day_plan **out, const struct sm_plan *plan,
                                const struct sm_sheet *sheet, const struct sm_alignment *alignment,
                                const struct sm_day_rules *rules, struct sm_error *err)
{
    enum sm_status status = check_rules(rules, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_day_plan *day = sm_calloc(1, sizeof *day);
    struct clock clock = {
        .day = day, .rules = rules, .sheet = sheet, .plan = plan, .length_m = alignment->length_m};
    if (!day || fill(&clock) != SM_OK) {
        sm_day_plan_free(&day);
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    *out = day;
    return SM_OK;
}

void sm_day_plan_free(struct sm_day_plan **day)
{
    if (!*day) {
        return;
    }
    if ((*day)->arena) {
        sm_arena_free(&(*day)->arena);
    }
    sm_free(*day);
    *day = NULL;
}
