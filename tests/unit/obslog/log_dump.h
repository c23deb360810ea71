/* A log as JSON text, so that fixtures can be compared with what was expected. Unknown values are left out.
 */
#ifndef LOG_DUMP_H
#define LOG_DUMP_H

#include "stopmark/obslog.h"

void log_dump(struct sm_text *out, const struct sm_obslog *log);
void log_dump_list(struct sm_text *out, const struct sm_obslog_list *list);

#endif
