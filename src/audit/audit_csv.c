/* audit.csv: one row a defect, for a spreadsheet. Lengths in metres; text cannot be taken for a formula. */
#include "audit_internal.h"

void sm_audit_csv_head(struct sm_text *out)
{
    sm_text_add(out, "segment,survey_date,observation,code,ch1,ch2,distance_m,start_m,end_m,target_start_m,target_end_m,"
                     "treatment,state,repair,reason,age_days,work_date,crew,kit,lot,stop_m,liner_length_m,recheck_date,"
                     "liner_sight,findings\n");
}

static void add_text(struct sm_text *out, const char *text)
{
    sm_text_add(out, ",");
    sm_text_add_csv(out, text ? text : "");
}

static void add_number(struct sm_text *out, double value, int max_decimals)
{
    sm_text_add(out, ",");
    if (isfinite(value)) {
        sm_text_add_number(out, value, 0, max_decimals);
    }
}

static void add_remarks(struct sm_text *out, const struct sm_recorded *recorded)
{
    struct sm_text all = {0};
    for (size_t i = 0; recorded && i < recorded->n_remarks; i++) {
        sm_text_addf(&all, "%s%s", i ? "; " : "", recorded->remark[i].message);
    }
    out->failed |= all.failed;
    add_text(out, sm_text_str(&all));
    sm_text_release(&all);
}

static void add_work(struct sm_text *out, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_audit_liner *liner = d->n_liners ? &audit->liner[d->liner[0]] : NULL;
    const struct sm_as_built *row = liner ? &liner->row->recorded->row : NULL;
    add_text(out, row ? row->date : "");
    add_text(out, row ? row->crew : "");
    add_text(out, row ? row->kit : "");
    add_text(out, row ? row->lot : "");
    add_number(out, row ? row->stop_m : SM_NAN, 6);
    add_number(out, row ? row->liner_length_m : SM_NAN, 6);
    add_text(out, d->recheck_idx >= 0 ? audit->about->recheck[d->recheck_idx].date : "");
    add_text(out, liner ? sm_audit_sight_name(liner->sight) : "");
    add_remarks(out, liner ? liner->row->recorded : NULL);
}

void sm_audit_csv_add(struct sm_text *out, const struct sm_audit *audit)
{
    for (size_t i = 0; i < audit->n_defects; i++) {
        const struct sm_audit_defect *d = &audit->defect[i];
        const struct sm_audit_survey *first = &audit->about->first[d->first_idx];
        const struct sm_observation *o = &first->alignment->observation[d->observation_idx];
        sm_text_add_csv(out, audit->about->segment);
        add_text(out, first->date);
        add_text(out, o->id);
        add_text(out, o->code);
        add_text(out, o->ch1);
        add_text(out, o->ch2);
        add_number(out, o->distance_m, 6);
        add_number(out, o->start_m, 6);
        add_number(out, o->end_m, 6);
        add_number(out, d->has_target ? (double)d->target.start_um / SM_AUDIT__UM_PER_M : SM_NAN, 6);
        add_number(out, d->has_target ? (double)d->target.end_um / SM_AUDIT__UM_PER_M : SM_NAN, 6);
        add_text(out, sm_treatment_name(o->treatment));
        add_text(out, sm_audit_state_name(d->state));
        add_text(out, d->repair);
        add_text(out, d->reason);
        add_number(out, d->age_d >= 0 ? d->age_d : SM_NAN, 0);
        add_work(out, audit, d);
        sm_text_add(out, "\n");
    }
}
