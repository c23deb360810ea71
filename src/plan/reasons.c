/* Why a target cannot be covered: the first rule that alone forbids it, said with what a person would change.
 */
#include "plan_internal.h"

#include <math.h>
#include <string.h>

static void add_m(struct sm_text *text, const struct sm_sheet *sheet, int64_t um)
{
    sm_plan__add_length(text, sheet, (double)um, 2);
}

static bool meet(const struct sm_plan__stretch *a, const struct sm_plan__stretch *b)
{
    return a->start_um < b->end_um && b->start_um < a->end_um;
}

/* The widest stretch around the target that no keep-clear stretch cuts. */
static int64_t room(const struct sm_plan__problem *problem, const struct sm_plan__stretch *target)
{
    int64_t from = 0, to = problem->length_um;
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        const struct sm_plan__stretch *stretch = &problem->keep_clear[i];
        if (stretch->end_um <= target->start_um) {
            from = sm_plan__max(from, stretch->end_um);
        } else if (stretch->start_um >= target->end_um) {
            to = sm_plan__min(to, stretch->start_um);
        }
    }
    return to - from;
}

static const struct sm_plan__stretch *stretch_met(const struct sm_plan__problem *problem,
                                                  const struct sm_plan__stretch *target, bool may_cover)
{
    for (size_t i = 0; i < problem->n_keep_clear; i++) {
        if (problem->keep_clear[i].may_cover == may_cover && meet(&problem->keep_clear[i], target)) {
            return &problem->keep_clear[i];
        }
    }
    return NULL;
}

static void no_kit(struct sm_text *text, const struct sm_plan__problem *problem, const struct sm_sheet *sheet)
{
    if (sheet->n_kits == 0) {
        sm_text_add(text, "no kits are given to choose from");
    } else if (!isfinite(sheet->segment.diameter_mm)) {
        sm_text_add(text, "the pipe's diameter is not known, so no kit can be chosen");
    } else if (problem->n_fitting == 0) {
        sm_text_add(text, "no kit fits a pipe of ");
        sm_text_add_number(text, sheet->segment.diameter_mm, 0, 1);
        sm_text_add(text, " mm");
    } else {
        sm_text_add(text, "every kit that fits is longer than the pipe (");
        add_m(text, sheet, problem->length_um);
        sm_text_add(text, ")");
    }
}

static void too_long(struct sm_text *text, const struct sm_plan__problem *problem,
                     const struct sm_sheet *sheet, int64_t needed_um)
{
    sm_text_add(text, "it needs ");
    add_m(text, sheet, needed_um);
    sm_text_add(text, " of liner, the longest kit has ");
    add_m(text, sheet, problem->longest_um);
    sm_text_add(text, ", and liners that short cannot be chained with an overlap of ");
    add_m(text, sheet, problem->overlap_um);
}

static void no_room(struct sm_text *text, const struct sm_plan__problem *problem,
                    const struct sm_sheet *sheet, const struct sm_plan__stretch *target)
{
    sm_text_add(text, "between the keep-clear stretches beside it there are ");
    add_m(text, sheet, room(problem, target));
    sm_text_add(text, ", in which no liner or chain of liners covers it (the shortest kit has ");
    add_m(text, sheet, problem->kit[0].length_um);
    sm_text_add(text, ")");
}

/* It could be covered if it were the only target: a single kit, or a chain, has room. */
static bool stands_alone(const struct sm_plan__problem *problem, const struct sm_plan__stretch *target)
{
    int64_t needed = target->end_um - target->start_um, has = room(problem, target);
    for (size_t i = 0; i < problem->n_kits; i++) {
        int64_t length = problem->kit[i].length_um;
        if (length <= has && (length >= needed || length > problem->overlap_um)) {
            return true;
        }
    }
    return false;
}

static void no_cover(struct sm_text *text, const struct sm_plan__problem *problem,
                     const struct sm_plan__stretch *target, const struct sm_alignment *alignment,
                     const struct sm_sheet *sheet)
{
    const struct sm_plan__stretch *met = stretch_met(problem, target, false);
    if (met) {
        sm_text_addf(text, "its target reaches into the keep-clear stretch of %s",
                     alignment->observation[met->observation_idx].id);
        return;
    }
    met = stretch_met(problem, target, true);
    if (met) {
        sm_text_addf(
            text,
            "its target reaches into the keep-clear stretch of %s, which no liner that fits covers whole",
            alignment->observation[met->observation_idx].id);
    } else if (stands_alone(problem, target)) {
        sm_text_add(text, "no plan covers it together with the other targets near it");
    } else if (room(problem, target) < problem->length_um) {
        no_room(text, problem, sheet, target);
    } else {
        too_long(text, problem, sheet, target->end_um - target->start_um);
    }
}

const char *sm_plan__reason(struct sm_plan *plan, const struct sm_plan__problem *problem, size_t target_idx,
                            const struct sm_alignment *alignment, const struct sm_sheet *sheet)
{
    struct sm_text text = {0};
    if (problem->n_kits == 0) {
        no_kit(&text, problem, sheet);
    } else {
        no_cover(&text, problem, &problem->target[target_idx], alignment, sheet);
    }
    const char *reason = text.failed ? NULL : sm_arena_strdup(plan->arena, sm_text_str(&text));
    sm_text_release(&text);
    return reason;
}
