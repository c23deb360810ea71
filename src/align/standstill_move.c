/*
 * Entries keyed after the camera had moved on. Where the logged distance is that of a standstill shortly
 * before, and not that of the picture at the logged time, the entry belongs to the standstill.
 */
#include "align_internal.h"

#include <math.h>

#define LEAST_STANDSTILL_S 2.0
/* Longest reaction taken for one; common practice, no source. */
#define LONGEST_REACTION_S 15.0

/* The standstill an entry belongs to; NULL when none does, or more than one could. */
static const struct sm_standstill *find_standstill(const struct sm_align__work *work,
                                                   const struct sm_align__place *place, double tight_m)
{
    const struct sm_standstill *found = NULL;
    double digit_m = sm_last_digit_m(&work->format);
    for (size_t i = 0; i < work->n_standstills; i++) {
        const struct sm_standstill *here = &work->standstill[i];
        bool is_in_it = place->time_s >= here->start_s && place->time_s <= here->end_s;
        if (is_in_it) {
            return NULL; /* he was standing when he wrote: the time is right */
        }
        bool is_just_before =
            here->end_s < place->time_s && place->time_s - here->end_s <= LONGEST_REACTION_S;
        if (is_just_before && fabs(place->logged_m - (double)here->counts * digit_m) <= tight_m) {
            if (found && found->counts != here->counts) {
                return NULL;
            }
            found = here;
        }
    }
    return found;
}

/* The last sure reading of a standstill; NULL when none is. */
static const struct sm_reading *reading_in(const struct sm_trace *trace,
                                           const struct sm_standstill *standstill)
{
    for (size_t i = sm_trace_first_after(trace, standstill->end_s);
         i > 0 && trace->reading[i - 1].time_s >= standstill->start_s; i--) {
        const struct sm_reading *reading = &trace->reading[i - 1];
        if (reading->state == SM_READING_READ && reading->counts == standstill->counts &&
            (double)reading->confidence >= SM_ALIGN__SURE_CONFIDENCE) {
            return reading;
        }
    }
    return NULL;
}

static enum sm_status move(struct sm_align__work *work, int32_t entry_idx, const struct sm_reading *reading,
                           struct sm_error *err)
{
    struct sm_align__place *place = &work->place[entry_idx];
    struct sm_text text = {0};
    sm_text_add(&text, "logged at ");
    sm_align__add_time(&text, place->time_s);
    sm_text_add(&text, ", when the camera had moved on to ");
    sm_align__add_length(&text, work, place->reading_m);
    place->time_s = reading->time_s;
    place->reading = *reading;
    place->reading_m = (double)reading->counts * sm_last_digit_m(&work->format);
    place->low_m = place->reading_m;
    place->high_m = place->reading_m;
    place->stretch = sm_trace_stretch_at(work->trace, reading->time_s);
    place->flags &= ~(uint32_t)(SM_FLAG_COUNTER_UNREAD | SM_FLAG_UNSURE);
    place->flags |= SM_FLAG_MOVED_TO_STANDSTILL;
    sm_text_add(&text, "; it stood at the logged ");
    sm_align__add_length(&text, work, place->reading_m);
    sm_text_add(&text, " until ");
    sm_align__add_time(&text, place->time_s);
    sm_text_add(&text, ": the entry was moved there");
    return sm_align__report(work, SM_FLAG_MOVED_TO_STANDSTILL, SM_SEVERITY_NOTE, entry_idx, &text, err);
}

enum sm_status sm_align__move_to_standstills(struct sm_align__work *work, struct sm_error *err)
{
    if (!work->trace) {
        return SM_OK;
    }
    enum sm_status status =
        sm_trace_standstills(&work->standstill, &work->n_standstills, work->trace, LEAST_STANDSTILL_S, err);
    double tight_m = (sm_align__log_digit_m(work->log) + sm_last_digit_m(&work->format)) / 2 + 1e-9;
    for (size_t i = 0; status == SM_OK && i < work->log->n_entries; i++) {
        const struct sm_align__place *place = &work->place[i];
        bool is_off =
            fabs(place->logged_m - place->reading_m) > tight_m; /* false when one of them is not known */
        const struct sm_standstill *standstill = is_off ? find_standstill(work, place, tight_m) : NULL;
        const struct sm_reading *reading = standstill ? reading_in(work->trace, standstill) : NULL;
        if (reading) {
            status = move(work, (int32_t)i, reading, err);
        }
    }
    return status;
}
