/* Decisions in words. */
#include "job_internal.h"

static void add_number(struct sm_text *out, const char *before, double value, const char *after)
{
    sm_text_add(out, before);
    sm_text_add_number(out, value, 2, 3);
    sm_text_add(out, after);
}

static void add_what(struct sm_text *out, const struct sm_review_decision *d)
{
    switch (d->act) {
    case SM_REVIEW_CONFIRM:
        sm_text_add(out, "looked at, right as it stands");
        break;
    case SM_REVIEW_TAKE_PICTURE:
        sm_text_add(out, "the picture's distance counts");
        break;
    case SM_REVIEW_TAKE_LOG:
        sm_text_add(out, "the logged distance counts");
        break;
    case SM_REVIEW_MOVE:
        add_number(out, "lies from ", d->start_m, " m");
        add_number(out, " to ", d->end_m, " m");
        break;
    case SM_REVIEW_CODE:
    case SM_REVIEW_ADD:
        sm_text_addf(out, "%s %s%s%s%s", d->act == SM_REVIEW_ADD ? "added:" : "is", d->code ? d->code : "",
                     d->ch1 ? d->ch1 : "", d->ch2 && *d->ch2 ? "." : "", d->ch2 ? d->ch2 : "");
        break;
    case SM_REVIEW_CLOCK:
        sm_text_addf(out, "lies at %d to %d o'clock", (int)d->clock_from_h,
                     (int)(d->clock_to_h ? d->clock_to_h : d->clock_from_h));
        break;
    case SM_REVIEW_TREATMENT:
        sm_text_addf(out, "treatment %s", sm_treatment_name(d->treatment));
        break;
    case SM_REVIEW_WITHDRAW:
        sm_text_add(out, "withdrawn");
        break;
    case SM_REVIEW_READING:
        sm_text_addf(out, "the counter shows %s", d->reading ? d->reading : "");
        add_number(out, " at ", d->time_s, " s");
        break;
    case SM_REVIEW_BOX:
        sm_text_addf(out, "the counter stands at %d,%d, %d x %d px", (int)d->box.x_px, (int)d->box.y_px,
                     (int)d->box.width_px, (int)d->box.height_px);
        break;
    case SM_REVIEW_TIE:
        sm_text_addf(out, "counter %s is ", d->reading ? d->reading : "");
        if (isfinite(d->distance_m)) {
            add_number(out, "", d->distance_m, " m");
        } else {
            sm_text_add(out, "no tie");
        }
        break;
    case SM_REVIEW_RULE:
        sm_text_addf(out, "rule %s = %s", d->rule ? d->rule : "", d->value ? d->value : "");
        break;
    case SM_REVIEW_UNDO:
    case SM_REVIEW_REDO:
        sm_text_addf(out, "%s %.12s", d->act == SM_REVIEW_UNDO ? "taken back:" : "counts again:",
                     d->of_key ? d->of_key : "");
        break;
    }
}

void sm_job_decision_words(struct sm_text *out, const struct sm_review_decision *decision)
{
    if (decision->observation && *decision->observation) {
        sm_text_addf(out, "%s: ", decision->observation);
    }
    add_what(out, decision);
    if (decision->reason && *decision->reason) {
        sm_text_addf(out, ": %s", decision->reason);
    }
}
