/* What the parts of the audit share: words with lengths, lookups. */
#ifndef SM_AUDIT_INTERNAL_H
#define SM_AUDIT_INTERNAL_H

#include "stopmark/audit.h"

#define SM_AUDIT__UM_PER_M 1e6

int64_t sm_audit__um(double length_m);

/* "0.35 m". */
void sm_audit__add_m(struct sm_text *text, double length_m);

enum sm_status sm_audit__no_memory(struct sm_error *err);

/* Grows remarks; words may hold lengths, written with sm_text. Takes nothing over; text is emptied. */
enum sm_status sm_audit__remark(struct sm_audit_remarks *remarks, const char *concerns, enum sm_severity severity,
                                struct sm_text *text);

#endif
