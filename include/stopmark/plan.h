/**
 * @file plan.h
 * Located defects -> the cheapest set of liners that covers them, exactly, under the owner's rules.
 *
 * Words used here. A target is the stretch of pipe an observation's liner must cover: its extent with the end
 * cover and the position error on each side, cut at the pipe ends. A connection's keep-clear stretch is its
 * bore with the keep-clear distance on each side. Liners that lap by at least the overlap make a run; a
 * target must lie in one run. Neighbouring liners lap by at least the overlap or not at all, and none lies
 * inside another. How the optimum is found, and why it is one, stands in docs/planning.md.
 *
 * Slack of a repair: how far its liner may sit off its stop, the smaller way, the other liners at theirs,
 * before
 *   - a target shows that this liner ends (a run's first liner ends its targets on one side, the last on the
 * other), or
 *   - a lap falls below the overlap, or liners that do not lap come to touch, or
 *   - it reaches into a keep-clear stretch, or no longer covers one whole that it covers.
 * A liner's end that lies at the pipe's own end limits nothing: the crew sees it there. Slack is never said
 * to be more than the liner's length. The position error is in the targets already; slack is what is left on
 * top of it.
 */
#ifndef STOPMARK_PLAN_H
#define STOPMARK_PLAN_H

#include "stopmark/codes.h"
#include "stopmark/model.h"

/**
 * Plan the repairs: targets, the optimum (fewest targets left out; then least cost, fewest liners, least
 * liner length, largest least slack), marks, preparation, what stays unrepaired and why. Equal input gives an
 * equal plan, in whatever order observations of one place or kits are listed.
 * @param out [new] free with sm_plan_free().
 * @return SM_OK; SM_E_RANGE a rule, cost or length that makes no sense; SM_E_UNSUPPORTED kits that can be
 * combined in too many equal ways; SM_E_NOMEM.
 * @cost 2,000 observations on 2 km: well under a second.
 */
enum sm_status sm_plan_make(struct sm_plan **out, const struct sm_alignment *alignment,
                            const struct sm_sheet *sheet, struct sm_error *err) SM_CHECKED;
void sm_plan_free(struct sm_plan **plan);

/**
 * Say in words why a repair has this liner, this length and this place, and what the cheapest plan without
 * this kit there would cost. Lines end with '\n'.
 * @param plan made from this alignment and sheet. @param repair_idx below plan->n_repairs.
 */
enum sm_status sm_plan_explain(struct sm_text *text, const struct sm_plan *plan,
                               const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                               size_t repair_idx, struct sm_error *err) SM_CHECKED;

/** Something between the crew's end and a repair that packer and rod must get past. */
struct sm_passage {
    int32_t observation_idx;
    double way_m;     /**< from the crew's end of the pipe to where it begins */
    const char *what; /**< what it is to a packer, static: "offset", "bend", ... */
    bool is_doubtful; /**< referred: whether a packer passes is for a person to say */
};
/**
 * What lies in the way of a repair, nearest the crew first, up to the far end of its liner. Liners of this
 * plan are not in the way: work goes farthest first.
 * @param out [new] n items in arena, NULL when there are none.
 */
enum sm_status sm_plan_passage(const struct sm_passage **out, size_t *n, struct sm_arena *arena,
                               const struct sm_plan *plan, const struct sm_alignment *alignment,
                               const struct sm_sheet *sheet, size_t repair_idx,
                               struct sm_error *err) SM_CHECKED;
/**
 * Would the other end of the pipe be the better one to work from? One sentence when it has fewer doubtful
 * passages, or as many and a longest push shorter by a quarter or more; else nothing is added.
 */
enum sm_status sm_plan_other_end(struct sm_text *text, const struct sm_plan *plan,
                                 const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                 struct sm_error *err) SM_CHECKED;

/** The repairs beside what could be done instead; nothing is decided by it. SM_NAN where the sheet asks for no comparison. */
struct sm_plan_alternatives {
    size_t n_repairs;
    double cost;      /**< of the repairs */
    double cost_each; /**< SM_NAN with no repair */
    double lined_frac; /**< share of the length under liners, laps counted once */
    struct {
        double length_m;
        double cost;        /**< at the sheet's rate */
        double set_up_cost;
        size_t n_reopened;  /**< connections to be cut open again */
        double reopen_cost;
        double total;
    } full_lining;
    double break_even_repairs; /**< at cost_each so many repairs cost what lining the whole length does */
    struct {
        size_t n_places;  /**< targets of the repaired observations that touch are one */
        double length_m;
        double total;
    } digging;
    bool has_too_many;       /**< more repairs than the owner's limit, where there is one */
    bool has_too_much_lined; /**< a larger share than the owner's limit, likewise */
};
/** @param plan made from this alignment and sheet. @return SM_OK; what sm_plan_make() returns for sheets that make no sense. */
enum sm_status sm_plan_alternatives_for(struct sm_plan_alternatives *out, const struct sm_plan *plan,
                                        const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                        struct sm_error *err) SM_CHECKED;

/** A plan with what it was made from, all borrowed. */
struct sm_plan_case {
    const char *name;
    const struct sm_plan *plan;
    const struct sm_alignment *alignment;
    const struct sm_sheet *sheet;
};
/** Two plans side by side: totals, then repairs of both, moved, and of one alone. Lines end with '\n'. */
enum sm_status sm_plan_compare(struct sm_text *text, const struct sm_plan_case *before,
                               const struct sm_plan_case *after, struct sm_error *err) SM_CHECKED;
/** The same as members of the object that is open in json: before, after, cost_difference, repairs. */
void sm_plan_write_comparison(struct sm_json *json, const struct sm_plan_case *before, const struct sm_plan_case *after);

#endif
