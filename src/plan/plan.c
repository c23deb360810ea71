/* Located defects -> the plan: state the problem, solve it, put it in the crew's words. */
#include "plan_internal.h"

#include <math.h>

enum sm_status sm_plan__new(struct sm_plan **out, struct sm_error *err)
{
    struct sm_plan *plan = sm_calloc(1, sizeof *plan);
    if (!plan || sm_arena_new(&plan->arena) != SM_OK) {
        sm_free(plan);
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    plan->advice = "";
    plan->full_lining_cost = SM_NAN;
    *out = plan;
    return SM_OK;
}

void sm_plan__add_length(struct sm_text *text, const struct sm_sheet *sheet, double length_um, int decimals)
{
    if (sheet->people_unit == SM_UNIT_FT) {
        sm_text_add_feet_inches(text, length_um / 1e6, 4);
    } else {
        sm_text_add_fixed(text, length_um / 1e6, decimals);
        sm_text_add(text, " m");
    }
}

bool sm_plan__is_repaired(const struct sm_plan *plan, int32_t observation_idx)
{
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        if (plan->unrepaired[i].observation_idx == observation_idx) {
            return false;
        }
    }
    return true;
}

static enum sm_status solve(struct sm_plan *plan, const struct sm_plan__problem *problem,
                            const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                            struct sm_error *err)
{
    struct sm_plan__row row = {0};
    bool *is_left_out = sm_calloc(problem->n_targets + 1, sizeof *is_left_out);
    enum sm_status status = is_left_out ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
    if (status == SM_OK) {
        status = sm_plan__solve(&row, is_left_out, problem, err);
    }
    if (status == SM_OK) {
        status = sm_plan__describe(plan, problem, &row, is_left_out, alignment, sheet, err);
    }
    sm_plan__row_release(&row);
    sm_free(is_left_out);
    return status;
}

enum sm_status sm_plan_make(struct sm_plan **out, const struct sm_alignment *alignment,
                            const struct sm_sheet *sheet, struct sm_error *err)
{
    struct sm_plan *plan = NULL;
    struct sm_plan__problem problem = {0};
    enum sm_status status = sm_plan__new(&plan, err);
    if (status == SM_OK) {
        status = sm_plan__problem_new(&problem, plan, alignment, sheet, err);
    }
    if (status == SM_OK) {
        status = solve(plan, &problem, alignment, sheet, err);
    }
    sm_plan__problem_release(&problem);
    if (status != SM_OK) {
        sm_plan_free(&plan);
        return status;
    }
    *out = plan;
    return SM_OK;
}

void sm_plan_free(struct sm_plan **plan)
{
    if (!*plan) {
        return;
    }
    sm_findings_release(&(*plan)->findings);
    sm_arena_free(&(*plan)->arena);
    sm_free(*plan);
    *plan = NULL;
}
