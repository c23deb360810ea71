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

/* liners.c: liners in the pipe, where they truly lie, metres of pipe under them. */
enum sm_status sm_audit__list_liners(struct sm_audit__work *w);
struct sm_audit_span sm_audit__true_span(const struct sm_audit__work *w, size_t liner_idx, size_t first_idx);
enum sm_status sm_audit__measure_repaired(struct sm_audit__work *w);

/* related.c: which target, liners and repairs a defect has to do with. */
void sm_audit__find_target(struct sm_audit_defect *d, const struct sm_audit_survey *first, const struct sm_observation *o);
/* Is a repair (NULL = none) planned for an observation? */
bool sm_audit__is_meant_for(const struct sm_repair *repair, int32_t observation_idx);
enum sm_status sm_audit__relate_liners(struct sm_audit__work *w, struct sm_audit_defect *d);
/* Liners that are in, then planned repairs that are not. @param n_to_do [out] of the latter. */
enum sm_status sm_audit__name_repairs(struct sm_audit__work *w, struct sm_audit_defect *d, size_t *n_to_do);
/* Spans of a defect's liners, those first that the recheck shows. @param n_shown [out] how many these are. @param out [new]. */
enum sm_status sm_audit__gather_spans(const struct sm_audit__work *w, const struct sm_audit_defect *d, struct sm_audit_span **out,
                                      size_t *n, size_t *n_shown);

/* by_work.c, by_recheck.c: the state of a defect, reason into w->text; before any recheck, then by the rechecks. */
void sm_audit__decide_by_work(struct sm_audit__work *w, struct sm_audit_defect *d, const struct sm_audit_span *span, size_t n,
                              size_t n_to_do);
/* @param is_shown the liners that are shown cover the target without the others' help. */
void sm_audit__decide_by_rechecks(struct sm_audit__work *w, struct sm_audit_defect *d, bool is_shown);

/* sight.c: what each recheck logs again, and what the rechecks say of the liners. */
enum sm_status sm_audit__match_defects(struct sm_audit__work *w);
enum sm_status sm_audit__look_at_liners(struct sm_audit__work *w);
/* Did the recheck come after the work? Unknown days count as yes. */
bool sm_audit__is_after(const struct sm_audit_survey *recheck, const struct sm_audit_liner *liner);

/* acceptance.c */
enum sm_status sm_audit__accept(struct sm_audit__work *w);

/* shown.c: new defects, repairs not made, openings. */
enum sm_status sm_audit__find_new(struct sm_audit__work *w);
enum sm_status sm_audit__find_not_made(struct sm_audit__work *w);
enum sm_status sm_audit__find_openings(struct sm_audit__work *w);

#endif
