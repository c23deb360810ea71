/* What the parts of the audit share: words with lengths, codes, lookups. */
#ifndef SM_AUDIT_INTERNAL_H
#define SM_AUDIT_INTERNAL_H

#include "stopmark/audit.h"

#define SM_AUDIT__UM_PER_M 1e6

int64_t sm_audit__um(double length_m);

/* "12.34 m", "40.5 ft", "0.25 ft"; "-" when not known. */
void sm_audit__add_people_length(struct sm_text *text, double length_m, enum sm_unit unit);
/* What people read of an audit, or of many, is in this unit; where segments differ, metres. */
enum sm_unit sm_audit__unit(const struct sm_audit *audit);
enum sm_unit sm_audit__totals_unit(const struct sm_audit_totals *totals);

enum sm_status sm_audit__no_memory(struct sm_error *err);

/* Grows remarks by the words in text, which is emptied. */
enum sm_status sm_audit__remark(struct sm_audit_remarks *remarks, const char *concerns, enum sm_severity severity,
                                struct sm_text *text);

/* audit_codes.c */
bool sm_audit__is_lining(const struct sm_observation *o);
bool sm_audit__is_lining_defect(const struct sm_observation *o);
bool sm_audit__is_out_of_sight(const struct sm_observation *o);
/* Can two codes speak of one defect? */
bool sm_audit__may_be_same(const char *a, const char *b);
/* Can two clock positions be the same place? 0 = not logged fits all. */
bool sm_audit__clocks_meet(int32_t a_from_h, int32_t a_to_h, int32_t b_from_h, int32_t b_to_h);

/* rating.c: of every survey, where there are grades; in words on one line. */
enum sm_status sm_audit__rate_all(struct sm_audit *audit);
void sm_audit__add_rating(struct sm_text *text, const struct sm_audit_ratings *ratings);

/* states.c's work, shared with sight.c. */
struct sm_audit__work {
    const struct sm_audit_case *about;
    struct sm_audit *audit;
    struct sm_audit_axis *axis;     /* as in audit, to be filled */
    struct sm_audit_liner *liner;
    struct sm_audit_defect *defect;
    int32_t **again;                /* [first * n_rechecks + recheck][recheck observation]: first observation it logs again */
    struct sm_text text;
    struct sm_error *err;
};
/* Index of the survey a liner's row belongs to among the first ones; 0 where it is none of them. */
size_t sm_audit__home(const struct sm_audit_case *about, const struct sm_audit_row *row);
const char *sm_audit__keep(struct sm_audit__work *w); /* the words in text into the arena, text emptied; NULL = no memory */

/* sight.c: what each recheck logs again, and what the rechecks say of the liners. */
enum sm_status sm_audit__match_defects(struct sm_audit__work *w);
enum sm_status sm_audit__look_at_liners(struct sm_audit__work *w);
/* Did the recheck come after the work? Unknown days count as yes. */
bool sm_audit__is_after(const struct sm_audit_survey *recheck, const struct sm_audit_liner *liner);

/* shown.c: new defects, repairs not made, openings. */
enum sm_status sm_audit__find_new(struct sm_audit__work *w);
enum sm_status sm_audit__find_not_made(struct sm_audit__work *w);
enum sm_status sm_audit__find_openings(struct sm_audit__work *w);

#endif
