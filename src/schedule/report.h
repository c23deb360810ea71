/* Parts of report.html. Each adds one section with its heading; what stands in it is escaped here and nowhere
 * else. */
#ifndef STOPMARK_SCHEDULE_REPORT_H
#define STOPMARK_SCHEDULE_REPORT_H

#include "schedule_internal.h"

void sm_schedule__add_report_style(struct sm_text *out);
void sm_schedule__add_report_repairs(struct sm_text *out, const struct sm_schedule *s);
void sm_schedule__add_report_unrepaired(struct sm_text *out, const struct sm_schedule *s);
void sm_schedule__add_report_observations(struct sm_text *out, const struct sm_schedule *s);
void sm_schedule__add_report_cost(struct sm_text *out, const struct sm_schedule *s);
/* Mat and resin, the day, and what could be done instead. */
void sm_schedule__add_report_work(struct sm_text *out, const struct sm_schedule *s);
void sm_schedule__add_report_method(struct sm_text *out, const struct sm_schedule *s);
/* The trace as a picture; nothing without a trace. */
void sm_schedule__add_trace_plot(struct sm_text *out, const struct sm_schedule *s);

/* ---- pieces ---- */

/* One of the sm_schedule__add_... functions below writes plain words; these escape what it wrote. */
void sm_schedule__html_words(struct sm_text *out, struct sm_text *words); /* escapes words and empties it */
void sm_schedule__html_cell(struct sm_text *out, struct sm_text *words, const char *class_name);

/* A table with its caption; a column whose head begins with # holds numbers. */
void sm_schedule__html_table(struct sm_text *out, const char *caption, const char *const *column, size_t n_columns);
void sm_schedule__html_table_end(struct sm_text *out);

/* ---- words shared with the crew sheet ---- */

/* The caution of this number: what can hurt someone, deferring to local rules and licensed practice. @return false past
 * the last. */
bool sm_schedule__add_caution(struct sm_text *out, const struct sm_schedule *s, size_t idx);

#endif
