/*
 * A person's word on what is done about an observation, from the sheet's [decisions] or from a review, overrules the
 * code table's. What the table said stays in the reason, so that whoever reads the schedule sees both. The last word
 * meets what the table says, not what an earlier word left: work before a liner is there again when line follows refer.
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

/* The table's work as long as there is a liner; where the person calls for work and the table did not, the reason
 * says which. */
static const char *work_before(struct sm_arena *arena, const struct sm_observation *table,
                               enum sm_treatment decided, const char *reason)
{
    const char *items = table->prepare ? table->prepare : "";
    if (decided != SM_TREATMENT_LINE && decided != SM_TREATMENT_PREPARE) {
        return "";
    }
    if (decided == SM_TREATMENT_LINE || table->treatment == SM_TREATMENT_PREPARE) {
        return items;
    }
    return sm_arena_printf(arena, "%s%s%s", items, *items ? "; " : "", reason);
}

static enum sm_status overrule(struct sm_align__work *work, struct sm_observation *observation,
                               const struct sm_sheet_decision *decision, struct sm_error *err)
{
    struct sm_arena *arena = work->out->arena;
    const char *table = observation->reason && *observation->reason ? observation->reason : "no reason given";
    const char *where = decision->is_of_review ? "in review" : "in the sheet";
    observation->reason = decision->treatment == observation->treatment
                              ? sm_arena_printf(arena, "decided %s: %s (as the code table: %s)", where,
                                                decision->reason, table)
                              : sm_arena_printf(arena, "decided %s: %s (code table: %s, %s)", where, decision->reason,
                                                sm_treatment_name(observation->treatment), table);
    observation->prepare = work_before(arena, observation, decision->treatment, decision->reason);
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
        if (is_meant) {
            status = overrule(work, observation, decision, err);
        } else if (!decision->is_of_review) {
            status = report(work, decision, observation, err);
        }
    }
    return status;
}
