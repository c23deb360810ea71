/*
 * The repairs beside lining the whole length and beside digging: totals, where they meet, and the owner's own
 * limits. Nothing is decided by it.
 */
#include "plan_internal.h"

#include <math.h>

#define UM_PER_M 1e6

/* What the totals are made from. */
struct sums {
    const struct sm_plan *plan;
    const struct sm_plan__problem *problem;
    const struct sm_sheet *sheet;
};

/* The totals in words. */
struct advice {
    struct sm_text *text;
    const struct sm_sheet *sheet;
    const struct sm_plan *plan;
    const struct sm_plan_alternatives *of;
};

/* ---- the totals */

/* Connections that a liner over the whole length closes; one logged twice counts once. */
static size_t n_connections(const struct sm_plan__problem *problem)
{
    size_t n = 0;
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        n += problem->keep_clear[i].is_opening && !problem->keep_clear[i].is_repeat;
    }
    return n;
}

static void sum_full_lining(struct sm_plan_alternatives *out, const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    if (!isfinite(rules->full_lining_rate_per_m) || sums->problem->length_um <= 0) {
        return;
    }
    out->full_lining.length_m = (double)sums->problem->length_um / UM_PER_M;
    out->full_lining.cost = rules->full_lining_rate_per_m * out->full_lining.length_m;
    out->full_lining.set_up_cost = rules->full_lining_set_up_cost;
    out->full_lining.n_reopened = n_connections(sums->problem);
    out->full_lining.reopen_cost = (double)out->full_lining.n_reopened * rules->reopen_cost;
    out->full_lining.total =
        out->full_lining.cost + out->full_lining.set_up_cost + out->full_lining.reopen_cost;
    if (isfinite(out->cost_each) && out->cost_each > 0) {
        out->break_even_repairs = out->full_lining.total / out->cost_each;
    }
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

static void sum_digging(struct sm_plan_alternatives *out, const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    if (!(rules->dig_rate_per_m > 0) || sums->plan->n_repairs == 0) {
        return;
    }
    out->digging.n_places = dig_places(sums, &out->digging.length_m);
    out->digging.total =
        out->digging.length_m * rules->dig_rate_per_m + (double)out->digging.n_places * rules->dig_cost;
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

static struct sm_plan_alternatives sum_up(const struct sums *sums)
{
    const struct sm_rules *rules = &sums->sheet->rules;
    size_t n = sums->plan->n_repairs;
    struct sm_plan_alternatives out = {
        .n_repairs = n,
        .cost = sums->plan->cost,
        .cost_each = n ? sums->plan->cost / (double)n : SM_NAN,
        .lined_frac = lined_frac(sums),
        .full_lining = {SM_NAN, SM_NAN, SM_NAN, 0, SM_NAN, SM_NAN},
        .break_even_repairs = SM_NAN,
        .digging = {0, SM_NAN, SM_NAN},
    };
    sum_full_lining(&out, sums);
    sum_digging(&out, sums);
    out.has_too_many = rules->most_repairs > 0 && n > (size_t)rules->most_repairs;
    out.has_too_much_lined = rules->most_lined_frac > 0 && out.lined_frac > rules->most_lined_frac;
    return out;
}

/* ---- in words */

static void add_money(struct sm_text *text, double money)
{
    sm_text_add_number(text, money, 0, 2);
}

static bool is_in_feet(const struct advice *advice)
{
    return advice->sheet->people_unit == SM_UNIT_FT;
}

/* A rate as the crew's side counts: per metre or per foot. */
static void add_rate(const struct advice *advice, double per_m)
{
    add_money(advice->text, is_in_feet(advice) ? per_m * SM_M_PER_FT : per_m);
    sm_text_add(advice->text, is_in_feet(advice) ? " a foot" : " a metre");
}

static void add_repairs(const struct advice *advice)
{
    size_t n = advice->of->n_repairs;
    sm_text_addf(advice->text, "%zu repair%s cost%s ", n, n == 1 ? "" : "s", n == 1 ? "s" : "");
    add_money(advice->text, advice->of->cost);
}

/* What comes on top of the rate, set-up and connections, is told apart from it. */
static void add_full_lining(const struct advice *advice)
{
    struct sm_text *text = advice->text;
    size_t n = advice->of->full_lining.n_reopened;
    sm_text_add(text, ", lining all ");
    sm_plan__add_length(text, advice->sheet, advice->of->full_lining.length_m * UM_PER_M, 2);
    sm_text_add(text, " at ");
    add_rate(advice, advice->sheet->rules.full_lining_rate_per_m);
    sm_text_add(text, " costs ");
    add_money(text, advice->of->full_lining.cost);
    if (advice->of->full_lining.set_up_cost > 0) {
        sm_text_add(text, " and ");
        add_money(text, advice->of->full_lining.set_up_cost);
        sm_text_add(text, " to set up");
    }
    if (advice->of->full_lining.reopen_cost > 0) {
        sm_text_add(text, " and ");
        add_money(text, advice->of->full_lining.reopen_cost);
        sm_text_addf(text, " to cut %zu connection%s open again", n, n == 1 ? "" : "s");
    }
}

static void add_break_even(const struct advice *advice)
{
    if (!isfinite(advice->of->break_even_repairs)) {
        return;
    }
    sm_text_add(advice->text, "; at ");
    add_money(advice->text, advice->of->cost_each);
    sm_text_add(advice->text, " a repair both cost the same at ");
    sm_text_add_number(advice->text, advice->of->break_even_repairs, 0, 1);
    sm_text_add(advice->text, " repairs");
}

static void add_digging(const struct advice *advice)
{
    size_t n = advice->of->digging.n_places;
    sm_text_addf(advice->text, "; digging up %zu place%s, ", n, n == 1 ? "" : "s");
    sm_plan__add_length(advice->text, advice->sheet, advice->of->digging.length_m * UM_PER_M, 2);
    sm_text_add(advice->text, " in all, at ");
    add_rate(advice, advice->sheet->rules.dig_rate_per_m);
    sm_text_add(advice->text, " costs ");
    add_money(advice->text, advice->of->digging.total);
}

static void add_unrepaired(const struct advice *advice, bool is_of_two)
{
    size_t n = advice->plan->n_unrepaired;
    if (n) {
        sm_text_addf(advice->text, "; %zu observation%s not repaired by these liners %s in %s", n,
                     n == 1 ? "" : "s", n == 1 ? "is" : "are",
                     is_of_two ? "neither total" : "none of these totals");
    }
}

static void add_limits(const struct advice *advice)
{
    const struct sm_rules *rules = &advice->sheet->rules;
    struct sm_text *text = advice->text;
    if (advice->of->has_too_many) {
        sm_text_add(text, text->length ? "; " : "");
        sm_text_addf(text,
                     "%zu repairs are more than the owner's limit of %d: by that rule the whole length is to "
                     "be lined; a person decides",
                     advice->of->n_repairs, (int)rules->most_repairs);
    }
    if (advice->of->has_too_much_lined) {
        sm_text_add(text, text->length ? "; " : "");
        sm_text_add_number(text, advice->of->lined_frac * 100, 0, 1);
        sm_text_add(text, " % of the length under liners is more than the owner's limit of ");
        sm_text_add_number(text, rules->most_lined_frac * 100, 0, 1);
        sm_text_add(text, " %: by that rule the whole length is to be lined; a person decides");
    }
}

static void add_words(const struct advice *advice)
{
    bool has_lining = isfinite(advice->of->full_lining.total);
    bool has_digging = isfinite(advice->of->digging.total);
    if (has_lining || has_digging) {
        add_repairs(advice);
    }
    if (has_lining) {
        add_full_lining(advice);
        add_break_even(advice);
    }
    if (has_digging) {
        add_digging(advice);
    }
    if (has_lining || has_digging) {
        add_unrepaired(advice, has_lining != has_digging);
    }
    add_limits(advice);
}

enum sm_status sm_plan__advise(struct sm_plan *plan, const struct sm_plan__problem *problem,
                               const struct sm_sheet *sheet)
{
    const struct sums sums = {plan, problem, sheet};
    const struct sm_plan_alternatives of = sum_up(&sums);
    struct sm_text text = {0};
    const struct advice advice = {&text, sheet, plan, &of};
    add_words(&advice);
    if (isfinite(of.full_lining.cost)) {
        plan->full_lining_cost = of.full_lining.cost;
    }
    plan->advice = text.failed ? NULL : sm_arena_strdup(plan->arena, sm_text_str(&text));
    sm_text_release(&text);
    return plan->advice ? SM_OK : SM_E_NOMEM;
}

enum sm_status sm_plan_alternatives_for(struct sm_plan_alternatives *out, const struct sm_plan *plan,
                                        const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                        struct sm_error *err)
{
    struct sm_plan__problem problem = {0};
    struct sm_plan *scratch = NULL; /* takes what the problem sets aside, which the plan has told already */
    enum sm_status status = sm_plan__new(&scratch, err);
    status = status == SM_OK ? sm_plan__problem_new(&problem, scratch, alignment, sheet, err) : status;
    if (status == SM_OK) {
        *out = sum_up(&(struct sums){plan, &problem, sheet});
    }
    sm_plan__problem_release(&problem);
    sm_plan_free(&scratch);
    return status;
}
