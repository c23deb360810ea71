/*
 * Why a repair is as it is, in words: what it covers, why this kit, what holds it in its place, and what the
 * cheapest plan without this kit there would cost.
 */
#include "plan_internal.h"

#include <assert.h>
#include <math.h>

#define UM_PER_QUARTER_INCH 6350

struct tale {
    struct sm_text *text;
    const struct sm_plan *plan;
    const struct sm_alignment *alignment;
    const struct sm_sheet *sheet;
    const struct sm_repair *repair;
    struct sm_plan__problem problem; /* only the targets the plan covers */
    int64_t start, end;
};

static void add_m(struct tale *tale, double um)
{
    sm_plan__add_length(tale->text, tale->sheet, um, 3);
}

static bool is_in_feet(const struct tale *tale)
{
    return tale->sheet->people_unit == SM_UNIT_FT;
}

/* What may be used up is never told as more than it is: quarter inches downward. */
static void add_mm(struct tale *tale, int64_t um)
{
    if (is_in_feet(tale)) {
        sm_plan__add_length(tale->text, tale->sheet, (double)(um / UM_PER_QUARTER_INCH * UM_PER_QUARTER_INCH),
                            0);
    } else {
        sm_text_add_number(tale->text, (double)um / 1e3, 0, 0);
        sm_text_add(tale->text, " mm");
    }
}

/* A rule or an error of the sheet, rounded to the nearest. */
static void add_rule(struct tale *tale, double length_m)
{
    if (is_in_feet(tale)) {
        sm_text_add_number(tale->text, length_m / SM_M_PER_FT * 12, 0, 2);
        sm_text_add(tale->text, " in");
    } else {
        sm_text_add_number(tale->text, length_m * 1e3, 0, 0);
        sm_text_add(tale->text, " mm");
    }
}

static void add_money(struct tale *tale, double money)
{
    sm_text_add_number(tale->text, money, 0, 2);
}

static const struct sm_observation *observation_at(const struct tale *tale, int32_t idx)
{
    return &tale->alignment->observation[idx];
}

/* ---- what it is and covers */

static void tell_place(struct tale *tale)
{
    const struct sm_kit *kit = &tale->sheet->kit[tale->repair->kit_idx];
    sm_text_addf(tale->text, "%s: kit %s, from ", tale->repair->id, kit->name);
    add_m(tale, (double)tale->start);
    sm_text_add(tale->text, " to ");
    add_m(tale, (double)tale->end);
    sm_text_add(tale->text, ", stop at ");
    add_m(tale, ((double)tale->start + (double)tale->end) / 2);
    sm_text_add(tale->text, ", cost ");
    add_money(tale, tale->repair->cost);
    sm_text_add(tale->text, ".\n");
}

static void tell_target(struct tale *tale, const struct sm_plan__stretch *target)
{
    const struct sm_observation *observation = observation_at(tale, target->observation_idx);
    sm_text_addf(tale->text, "It covers %s%s (%s): ",
                 target->start_um < tale->start || target->end_um > tale->end ? "part of " : "",
                 observation->id, observation->code ? observation->code : "");
    add_m(tale, (double)target->start_um);
    sm_text_add(tale->text, " to ");
    add_m(tale, (double)target->end_um);
    sm_text_add(tale->text, ", which is the defect with ");
    add_rule(tale, tale->sheet->rules.end_cover_m);
    sm_text_add(tale->text, " of end cover and ");
    add_rule(tale, observation->error_m);
    sm_text_add(tale->text, " of position error each side");
    sm_text_add(tale->text, target->start_um == 0 || target->end_um == tale->problem.length_um
                                ? ", cut at the pipe end.\n"
                                : ".\n");
}

static bool is_covered(const struct tale *tale, int32_t observation_idx)
{
    for (size_t i = 0; i < tale->repair->n_covers; i++) {
        if (tale->repair->covers[i] == observation_idx) {
            return true;
        }
    }
    return false;
}

static void tell_targets(struct tale *tale)
{
    for (size_t i = 0; i < tale->problem.n_targets; i++) {
        if (is_covered(tale, tale->problem.target[i].observation_idx)) {
            tell_target(tale, &tale->problem.target[i]);
        }
    }
    if (tale->repair->n_covers == 0) {
        sm_text_add(
            tale->text,
            "It covers no target itself; it joins the liners beside it, which would lap too little.\n");
    }
    for (size_t i = 0; i < tale->repair->n_reopens; i++) {
        sm_text_addf(tale->text, "It covers connection %s, which is cut open again afterwards.\n",
                     observation_at(tale, tale->repair->reopens[i])->id);
    }
}

/* ---- what holds it in its place */

/* The nearest limit when the liner is pushed one way. */
struct limit {
    int64_t play; /* micrometres */
    const char *before, *id, *after;
};

static void consider(struct limit *limit, int64_t play, const char *before, const char *id, const char *after)
{
    if (play >= 0 && play < limit->play) {
        *limit = (struct limit){play, before, id, after};
    }
}

/* Does another liner carry the run on beyond this end of ours? */
static bool goes_on(const struct tale *tale, bool is_up)
{
    for (size_t i = 0; i < tale->plan->n_repairs; i++) {
        const struct sm_repair *other = &tale->plan->repair[i];
        int64_t end = other->start_um + other->length_um;
        bool is_beyond = is_up
                             ? end > tale->end && tale->end - other->start_um >= tale->problem.overlap_um
                             : other->start_um < tale->start && end - tale->start >= tale->problem.overlap_um;
        if (other != tale->repair && is_beyond) {
            return true;
        }
    }
    return false;
}

/*
 * Pushed away from the datum the liner's start uncovers, pushed toward it the end does: unless it is at
 * the pipe's end.
 */
static bool is_trailing_edge_seen(const struct tale *tale, bool is_away)
{
    return is_away ? tale->start == 0 : tale->end == tale->problem.length_um;
}

static void limit_by_targets(struct limit *limit, const struct tale *tale, bool is_away)
{
    bool is_free = is_trailing_edge_seen(tale, is_away) || goes_on(tale, !is_away);
    for (size_t i = 0; i < tale->problem.n_targets && !is_free; i++) {
        const struct sm_plan__stretch *target = &tale->problem.target[i];
        if (is_covered(tale, target->observation_idx)) {
            consider(limit, is_away ? target->start_um - tale->start : tale->end - target->end_um,
                     "the target of ", observation_at(tale, target->observation_idx)->id, " shows");
        }
    }
}

static void limit_by_keep_clear(struct limit *limit, const struct tale *tale, bool is_away)
{
    for (size_t i = 0; i < tale->problem.n_keep_clear; i++) {
        const struct sm_plan__stretch *clear = &tale->problem.keep_clear[i];
        const char *id = observation_at(tale, clear->observation_idx)->id;
        if (clear->end_um <= tale->start || clear->start_um >= tale->end) {
            consider(limit, is_away ? clear->start_um - tale->end : tale->start - clear->end_um,
                     "the keep-clear stretch of ", id, " is reached");
        } else if (!is_trailing_edge_seen(tale, is_away)) {
            consider(limit, is_away ? clear->start_um - tale->start : tale->end - clear->end_um,
                     "the keep-clear stretch of ", id, " is no longer covered whole");
        }
    }
}

static void limit_by_liners(struct limit *limit, const struct tale *tale, bool is_away)
{
    for (size_t i = 0; i < tale->plan->n_repairs; i++) {
        const struct sm_repair *other = &tale->plan->repair[i];
        int64_t end = other->start_um + other->length_um;
        bool is_after = other->start_um > tale->start;
        int64_t lap = is_after ? tale->end - other->start_um : end - tale->start;
        if (other == tale->repair) {
            continue;
        }
        if (lap >= tale->problem.overlap_um && lap > 0 && is_after != is_away) {
            consider(limit, lap - tale->problem.overlap_um, "the lap with ", other->id,
                     " falls below the overlap");
        } else if (lap <= 0 && is_after == is_away) {
            consider(limit, -lap, "it touches ", other->id, "");
        }
    }
}

static void tell_limit(struct tale *tale, bool is_away)
{
    struct limit limit = {INT64_MAX, "", "", ""};
    limit_by_targets(&limit, tale, is_away);
    limit_by_keep_clear(&limit, tale, is_away);
    limit_by_liners(&limit, tale, is_away);
    sm_text_add(tale->text, is_away ? "Away from the datum " : "Toward the datum ");
    if (limit.play == INT64_MAX) {
        sm_text_add(tale->text, "nothing but the pipe's end limits it.\n");
    } else {
        add_mm(tale, limit.play);
        sm_text_addf(tale->text, " before %s%s%s.\n", limit.before, limit.id, limit.after);
    }
}

static void tell_limits(struct tale *tale)
{
    sm_text_add(tale->text, "It lies where the plan has the most to spare; ");
    add_mm(tale, (int64_t)floor(tale->repair->slack_m * 1e6 + 1e-3));
    sm_text_add(tale->text, " off its stop is not too much.\n");
    if (tale->start == 0 || tale->end == tale->problem.length_um) {
        sm_text_add(tale->text, "It ends flush with the pipe, which the crew sees.\n");
    }
    tell_limit(tale, false);
    tell_limit(tale, true);
}

/* ---- what else there is */

static void tell_kits(struct tale *tale)
{
    const struct sm_plan__problem *problem = &tale->problem;
    int64_t longest = problem->longest_um;
    sm_text_addf(tale->text, "%zu kit%s", problem->n_kits, problem->n_kits == 1 ? " is" : "s are");
    sm_text_add(tale->text, " to be had for this pipe: ");
    for (size_t i = 0; i < problem->n_kits; i++) {
        const struct sm_plan__kit *kit = &problem->kit[i];
        sm_text_addf(tale->text, "%s%s of ", i ? ", " : "", tale->sheet->kit[kit->kit_idx].name);
        add_m(tale, (double)kit->length_um);
        sm_text_add(tale->text, " at ");
        add_money(tale, (double)kit->cost / SM_PLAN__COST_SCALE);
    }
    sm_text_add(tale->text, " with set-up");
    sm_text_add(tale->text, longest == tale->repair->length_um && problem->n_kits > 1
                                ? "; this is the longest.\n"
                                : ".\n");
}

/*
 * The stretch in which this kit is not to be used, to see what it saves: what it covers, or, bridging,
 * where it lies.
 */
static struct sm_plan__stretch stretch_to_ban(const struct tale *tale)
{
    struct sm_plan__stretch ban = {.start_um = tale->start, .end_um = tale->end, .observation_idx = -1};
    bool is_first = true;
    for (size_t i = 0; i < tale->problem.n_targets; i++) {
        const struct sm_plan__stretch *target = &tale->problem.target[i];
        if (is_covered(tale, target->observation_idx)) {
            int64_t from = sm_plan__max(target->start_um, tale->start),
                    to = sm_plan__min(target->end_um, tale->end);
            ban.start_um = is_first ? from : sm_plan__min(ban.start_um, from);
            ban.end_um = is_first ? to : sm_plan__max(ban.end_um, to);
            is_first = false;
        }
    }
    return ban;
}

static enum sm_status tell_next_best(struct tale *tale, struct sm_error *err)
{
    struct sm_plan__problem other = tale->problem;
    int64_t cost;
    bool is_found;
    for (size_t i = 0; i < other.n_kits; i++) {
        other.banned_kit = other.kit[i].kit_idx == tale->repair->kit_idx ? (int32_t)i : other.banned_kit;
    }
    other.banned = stretch_to_ban(tale);
    enum sm_status status = sm_plan__least_cost(&cost, &is_found, &other, err);
    if (status != SM_OK) {
        return status;
    }
    if (!is_found) {
        sm_text_add(tale->text, "Without this kit here not all that the plan covers could be covered.\n");
        return SM_OK;
    }
    double total = (double)cost / SM_PLAN__COST_SCALE, more = total - tale->plan->cost;
    sm_text_add(tale->text, "Without this kit here the cheapest plan costs ");
    add_money(tale, total);
    if (more > 0) {
        sm_text_add(tale->text, ", ");
        add_money(tale, more);
        sm_text_add(tale->text, " more.\n");
    } else {
        sm_text_add(tale->text,
                    ", as much as this one, which has fewer liners, less length or more to spare.\n");
    }
    return SM_OK;
}

static enum sm_status tell(struct tale *tale, struct sm_error *err)
{
    tell_place(tale);
    tell_targets(tale);
    tell_kits(tale);
    tell_limits(tale);
    enum sm_status status = tell_next_best(tale, err);
    return status == SM_OK && tale->text->failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : status;
}

enum sm_status sm_plan_explain(struct sm_text *text, const struct sm_plan *plan,
                               const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                               size_t repair_idx, struct sm_error *err)
{
    assert(repair_idx < plan->n_repairs);
    const struct sm_repair *repair = &plan->repair[repair_idx];
    struct tale tale = {.text = text,
                        .plan = plan,
                        .alignment = alignment,
                        .sheet = sheet,
                        .repair = repair,
                        .start = repair->start_um,
                        .end = repair->start_um + repair->length_um};
    struct sm_plan *scratch = NULL; /* takes what the problem sets aside, which the plan has told already */
    enum sm_status status = sm_plan__new(&scratch, err);
    status = status == SM_OK ? sm_plan__problem_new(&tale.problem, scratch, alignment, sheet, err) : status;
    if (status == SM_OK) {
        sm_plan__problem_reduce(&tale.problem, plan);
        status = tell(&tale, err);
    }
    sm_plan__problem_release(&tale.problem);
    sm_plan_free(&scratch);
    return status;
}
