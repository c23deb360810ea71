/*
 * The repairs beside lining the whole length and beside digging: totals, where they meet, and the owner's own
 * limits. Nothing is decided by it.
 */
#include "plan_internal.h"

#include <math.h>

#define UM_PER_M 1e6

struct sums {
    struct sm_text *text;
    const struct sm_plan *plan;
    const struct sm_plan__problem *problem;
    const struct sm_sheet *sheet;
};

static void add_money(struct sm_text *text, double money)
{
    sm_text_add_number(text, money, 0, 2);
}

static bool is_in_feet(const struct sums *sums)
{
    return sums->sheet->people_unit == SM_UNIT_FT;
}

/* A rate as the crew's side counts: per metre or per foot. */
static void add_rate(const struct sums *sums, double per_m)
{
    add_money(sums->text, is_in_feet(sums) ? per_m * SM_M_PER_FT : per_m);
    sm_text_add(sums->text, is_in_feet(sums) ? " a foot" : " a metre");
}

/* Connections that a liner over the whole length closes; one logged twice counts once. */
static size_t n_connections(const struct sm_plan__problem *problem)
{
    size_t n = 0;
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        n += problem->keep_clear[i].is_opening && !problem->keep_clear[i].is_repeat;
    }
    return n;
}

static void add_repairs(const struct sums *sums)
{
    size_t n = sums->plan->n_repairs;
    sm_text_addf(sums->text, "%zu repair%s cost%s ", n, n == 1 ? "" : "s", n == 1 ? "s" : "");
    add_money(sums->text, sums->plan->cost);
}

/* What comes on top of the rate, set-up and connections, is told apart from it. @return both together. */
static double add_full_lining(const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    size_t n = n_connections(sums->problem);
    double open = (double)n * rules->reopen_cost, total = sums->plan->full_lining_cost;
    sm_text_add(sums->text, ", lining all ");
    sm_plan__add_length(sums->text, sums->sheet, (double)sums->problem->length_um, 2);
    sm_text_add(sums->text, " at ");
    add_rate(sums, rules->full_lining_rate_per_m);
    sm_text_add(sums->text, " costs ");
    add_money(sums->text, total);
    if (rules->full_lining_set_up_cost > 0) {
        sm_text_add(sums->text, " and ");
        add_money(sums->text, rules->full_lining_set_up_cost);
        sm_text_add(sums->text, " to set up");
    }
    if (open > 0) {
        sm_text_add(sums->text, " and ");
        add_money(sums->text, open);
        sm_text_addf(sums->text, " to cut %zu connection%s open again", n, n == 1 ? "" : "s");
    }
    return total + rules->full_lining_set_up_cost + open;
}

static void add_break_even(const struct sums *sums, double full_lining)
{
    if (sums->plan->n_repairs == 0 || !(sums->plan->cost > 0)) {
        return;
    }
    double each = sums->plan->cost / (double)sums->plan->n_repairs;
    sm_text_add(sums->text, "; at ");
    add_money(sums->text, each);
    sm_text_add(sums->text, " a repair both cost the same at ");
    sm_text_add_number(sums->text, full_lining / each, 0, 1);
    sm_text_add(sums->text, " repairs");
}

/* Places to dig: targets of the repaired observations that touch are one. Targets are sorted by their start.
 */
static size_t dig_places(const struct sums *sums, double *length_m)
{
    const struct sm_plan__problem *problem = sums->problem;
    int64_t end = INT64_MIN, dug = 0;
    size_t n = 0;
    for (size_t i = 0; i < problem->n_targets; i++) {
        const struct sm_plan__stretch *target = &problem->target[i];
        if (!sm_plan__is_repaired(sums->plan, target->observation_idx)) {
            continue;
        }
        bool is_new = n == 0 || target->start_um > end;
        n += is_new;
        dug += sm_plan__max(0, target->end_um - (is_new ? target->start_um : end));
        end = is_new ? target->end_um : sm_plan__max(end, target->end_um);
    }
    *length_m = (double)dug / UM_PER_M;
    return n;
}

static void add_digging(const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    double length_m;
    size_t n = dig_places(sums, &length_m);
    sm_text_addf(sums->text, "; digging up %zu place%s, ", n, n == 1 ? "" : "s");
    sm_plan__add_length(sums->text, sums->sheet, length_m * UM_PER_M, 2);
    sm_text_add(sums->text, " in all, at ");
    add_rate(sums, rules->dig_rate_per_m);
    sm_text_add(sums->text, " costs ");
    add_money(sums->text, length_m * rules->dig_rate_per_m + (double)n * rules->dig_cost);
}

static void add_unrepaired(const struct sums *sums, bool is_of_two)
{
    size_t n = sums->plan->n_unrepaired;
    if (n) {
        sm_text_addf(sums->text, "; %zu observation%s not repaired by these liners %s in %s", n,
                     n == 1 ? "" : "s", n == 1 ? "is" : "are",
                     is_of_two ? "neither total" : "none of these totals");
    }
}

/* Share of the pipe's length under liners; laps count once. Repairs stand in order along the pipe. */
static double lined_frac(const struct sums *sums)
{
    const struct sm_plan *plan = sums->plan;
    int64_t covered = 0;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        int64_t lap = 0;
        if (i > 0) {
            const struct sm_repair *a = &plan->repair[i - 1], *b = &plan->repair[i];
            lap = sm_plan__min(a->start_um + a->length_um, b->start_um + b->length_um) -
                  sm_plan__max(a->start_um, b->start_um);
        }
        covered += plan->repair[i].length_um - sm_plan__max(lap, 0);
    }
    return sums->problem->length_um > 0 ? (double)covered / (double)sums->problem->length_um : 0;
}

static void begin_limit(const struct sums *sums)
{
    sm_text_add(sums->text, sums->text->length ? "; " : "");
}

static void add_limits(const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    double lined = lined_frac(sums);
    if (rules->most_repairs > 0 && sums->plan->n_repairs > (size_t)rules->most_repairs) {
        begin_limit(sums);
        sm_text_addf(
            sums->text,
            "%zu repairs are more than the owner's limit of %d: by that rule the whole length is to be "
            "lined; a person decides",
            sums->plan->n_repairs, (int)rules->most_repairs);
    }
    if (rules->most_lined_frac > 0 && lined > rules->most_lined_frac) {
        begin_limit(sums);
        sm_text_add_number(sums->text, lined * 100, 0, 1);
        sm_text_add(sums->text, " % of the length under liners is more than the owner's limit of ");
        sm_text_add_number(sums->text, rules->most_lined_frac * 100, 0, 1);
        sm_text_add(sums->text, " %: by that rule the whole length is to be lined; a person decides");
    }
}

enum sm_status sm_plan__advise(struct sm_plan *plan, const struct sm_plan__problem *problem,
                               const struct sm_sheet *sheet)
{
    const struct sm_rules *rules = &sheet->rules;
    struct sm_text text = {0};
    struct sums sums = {&text, plan, problem, sheet};
    bool has_lining = isfinite(rules->full_lining_rate_per_m) && problem->length_um > 0;
    bool has_digging = rules->dig_rate_per_m > 0 && plan->n_repairs > 0;
    if (has_lining || has_digging) {
        add_repairs(&sums);
    }
    if (has_lining) {
        plan->full_lining_cost = rules->full_lining_rate_per_m * ((double)problem->length_um / UM_PER_M);
        add_break_even(&sums, add_full_lining(&sums));
    }
    if (has_digging) {
        add_digging(&sums);
    }
    if (has_lining || has_digging) {
        add_unrepaired(&sums, has_lining != has_digging);
    }
    add_limits(&sums);
    plan->advice = text.failed ? NULL : sm_arena_strdup(plan->arena, sm_text_str(&text));
    sm_text_release(&text);
    return plan->advice ? SM_OK : SM_E_NOMEM;
}
