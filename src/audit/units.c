/* Lengths as the people of a segment read them: its sheet's unit, or its counter's. */
#include "audit_internal.h"

void sm_audit__add_people_length(struct sm_text *text, double length_m, enum sm_unit unit)
{
    double feet = length_m / SM_M_PER_FT;
    if (isnan(length_m)) {
        sm_text_add(text, "-");
    } else if (unit == SM_UNIT_FT) {
        sm_text_add_fixed(text, feet, fabs(feet) < 5 ? 2 : 1); /* what is small is a difference, and matters */
        sm_text_add(text, " ft");
    } else {
        sm_text_add_fixed(text, length_m, 2);
        sm_text_add(text, " m");
    }
}

enum sm_unit sm_audit__unit(const struct sm_audit *audit)
{
    const struct sm_audit_case *about = audit->about;
    const struct sm_audit_survey *survey = about->n_first ? &about->first[0] : about->n_rechecks ? &about->recheck[0] : NULL;
    return survey && survey->sheet->people_unit == SM_UNIT_FT ? SM_UNIT_FT : SM_UNIT_M;
}

enum sm_unit sm_audit__totals_unit(const struct sm_audit_totals *totals)
{
    return totals->n_segments && totals->n_in_feet == totals->n_segments ? SM_UNIT_FT : SM_UNIT_M;
}
