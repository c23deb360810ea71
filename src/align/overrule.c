/*
 * The sheet's [decisions]: a person's word on what is done about an observation overrules the code table's.
 * What the table said stays in the reason, so that whoever reads the schedule sees both.
 */
#include "align_internal.h"

#include <string.h>

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "no memory for the decisions of the sheet");
}

static struct sm_observation *find(const struct sm_align__work *work, const char *id)
{
    for (size_t i = 0; i < work->out->n_observations; i++) {
        if (strcmp(work->out->observation[i].id, id) == 0) {
            return &work->out->observation[i];
        }
    }
    return NULL;
}

static enum sm_status report(struct sm_align__work *work, const struct sm_sheet_decision *decision,
                             const struct sm_observation *observation, struct sm_error *err)
{
    struct sm_text text = {0};
    if (!observation) {
        sm_text_addf(&text, "[decisions] speaks of %s, which is no observation of this survey: not used",
                     decision->id);
    } else {
        sm_text_addf(&text, "[decisions] speaks of %s as %s, but it is %s: not used; did the log change?",
                     decision->id, decision->code, observation->code);
    }
    return sm_align__report(work, (enum sm_flag)0, SM_SEVERITY_WARNING,
                            observation ? observation->entry_idx : -1, &text, err);
}

const char *sm_align_work_before(struct sm_arena *arena, const char *items, enum sm_treatment before,
                                 enum sm_treatment decided, const char *reason)
{
    items = items ? items : "";
    if (decided != SM_TREATMENT_LINE && decided != SM_TREATMENT_PREPARE) {
        return "";
    }
    if (decided == SM_TREATMENT_LINE || before == SM_TREATMENT_PREPARE || !reason || !*reason) {
        return items;
    }
    return sm_arena_printf(arena, "%s%s%s", items, *items ? "; " : "", reason);
}

static enum sm_status overrule(struct sm_align__work *work, struct sm_observation *observation,
                               const struct sm_sheet_decision *decision, struct sm_error *err)
{
    struct sm_arena *arena = work->out->arena;
    const char *table = observation->reason && *observation->reason ? observation->reason : "no reason given";
    observation->reason =
        decision->treatment == observation->treatment
            ? sm_arena_printf(arena, "decided in the sheet: %s (as the code table: %s)", decision->reason,
                              table)
            : sm_arena_printf(arena, "decided in the sheet: %s (code table: %s, %s)", decision->reason,
                              sm_treatment_name(observation->treatment), table);
    observation->prepare = sm_align_work_before(arena, observation->prepare, observation->treatment, decision->treatment,
                                                decision->reason);
    observation->treatment = decision->treatment;
    return observation->reason && observation->prepare ? SM_OK : no_memory(err);
}

enum sm_status sm_align__overrule(struct sm_align__work *work, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < work->sheet->n_decisions; i++) {
        const struct sm_sheet_decision *decision = &work->sheet->decision[i];
        struct sm_observation *observation = find(work, decision->id);
        bool is_meant = observation && (!*decision->code || sm_ascii_ieq(decision->code, observation->code));
        status =
            is_meant ? overrule(work, observation, decision, err) : report(work, decision, observation, err);
    }
    return status;
}
