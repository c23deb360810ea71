/* Lengths and times as words for a reviewer, findings made of them, and the one helper that all parts need.
 */
#include "align_internal.h"

#include <math.h>
#include <stdlib.h>

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

void sm_align__sort(double *value, size_t n)
{
    if (n > 1) {
        qsort(value, n, sizeof *value, compare_doubles);
    }
}

enum sm_status sm_align__report(struct sm_align__work *work, enum sm_flag flag, enum sm_severity severity,
                                int32_t entry_idx, struct sm_text *message, struct sm_error *err)
{
    uint32_t line = entry_idx >= 0 ? work->log->entry[entry_idx].line : 0;
    double time_s = entry_idx >= 0 ? work->place[entry_idx].time_s : SM_NAN;
    enum sm_status status = message->failed ? SM_E_NOMEM : SM_OK;
    if (status == SM_OK) {
        status = sm_findings_add(&work->out->findings, flag, severity, work->log->source, line, time_s,
                                 entry_idx, "%s", sm_text_str(message));
    }
    sm_text_release(message);
    return status == SM_OK ? SM_OK : sm_error_set(err, status, "no memory for the findings of the log");
}

void sm_align__add_length(struct sm_text *text, const struct sm_align__work *work, double length_m)
{
    int decimals = work->format.decimals > 0 ? work->format.decimals : 1;
    sm_text_add_fixed(text, length_m / sm_unit_to_m(work->format.unit), decimals);
    sm_text_add(text, work->format.unit == SM_UNIT_FT ? " ft" : " m");
}

void sm_align__add_time(struct sm_text *text, double time_s)
{
    long long whole_s = llround(fabs(time_s));
    sm_text_addf(text, "%s%02lld:%02lld:%02lld", time_s < -0.5 ? "-" : "", whole_s / 3600, whole_s / 60 % 60,
                 whole_s % 60);
}
