/* Where liners lie and what they cover: whole micrometres, no rounding that could hide a gap. */
#include "audit_internal.h"

int64_t sm_audit__um(double length_m)
{
    return (int64_t)llround(length_m * SM_AUDIT__UM_PER_M);
}

bool sm_audit_place(struct sm_audit_span *span, const struct sm_as_built *row, const struct sm_repair *repair,
                    bool enters_at_to, const char **how)
{
    const char *words = "stop as noted";
    double stop_m = row->stop_m;
    double planned_stop_m =
        repair ? ((double)repair->start_um + (double)repair->length_um / 2) / SM_AUDIT__UM_PER_M : SM_NAN;
    double length_m = isnan(row->liner_length_m) && repair ? (double)repair->length_um / SM_AUDIT__UM_PER_M
                                                           : row->liner_length_m;
    if (isnan(stop_m) && repair && isfinite(row->mark_m) && isfinite(repair->mark_m)) {
        /* the mark grows with the way from the crew's end */
        stop_m = planned_stop_m + (enters_at_to ? -1 : 1) * (row->mark_m - repair->mark_m);
        words = "from the mark; no stop was noted";
    }
    if (isnan(stop_m)) {
        stop_m = planned_stop_m;
        words = "as planned; neither stop nor mark was noted";
    }
    if (!isfinite(stop_m) || !isfinite(length_m)) {
        return false;
    }
    int64_t length_um = sm_audit__um(length_m);
    span->start_um = sm_audit__um(stop_m - length_m / 2);
    span->end_um = span->start_um + length_um;
    if (how) {
        *how = words;
    }
    return true;
}

/* Of the liners that lap what is reached far enough (or reach the target's start), the one that reaches farthest is
 * always a best next one: whatever another could be lapped by, it can too. */
bool sm_audit_is_covered(struct sm_audit_span target, const struct sm_audit_span *liner, size_t n, int64_t overlap_um)
{
    int64_t within_um = target.start_um; /* a next liner must begin here or before */
    int64_t reached_um = INT64_MIN;
    for (;;) {
        int64_t farthest_um = reached_um;
        for (size_t i = 0; i < n; i++) {
            if (liner[i].start_um <= within_um && liner[i].end_um > farthest_um) {
                farthest_um = liner[i].end_um;
            }
        }
        if (farthest_um >= target.end_um) {
            return true;
        }
        if (farthest_um <= reached_um) {
            return false;
        }
        reached_um = farthest_um;
        within_um = reached_um - overlap_um;
    }
}
