/* Lists of distances held to what every one must be, and put to their uses. */
#include "distance_checks.h"

#include "fuzz.h"
#include "stopmark/trace.h"

enum { N_READINGS = 40 };

static void check_order(const struct sm_trace *trace)
{
    for (size_t i = 1; i < trace->n_readings; i++) {
        FUZZ_REQUIRE(trace->reading[i].time_s >= trace->reading[i - 1].time_s);
        FUZZ_REQUIRE(trace->reading[i].confidence >= 0 && trace->reading[i].confidence <= 1);
    }
}

static void hold_against_trace(const struct sm_distances *list)
{
    struct sm_trace *trace = sm_calloc(1, sizeof *trace);
    struct sm_findings findings = {0};
    FUZZ_REQUIRE(trace && (trace->reading = sm_calloc(N_READINGS, sizeof *trace->reading)));
    trace->format.decimals = 2;
    trace->duration_s = N_READINGS;
    trace->n_readings = N_READINGS;
    for (int i = 0; i < N_READINGS; i++) {
        trace->reading[i] = (struct sm_reading){i, 10 * i, i % 7 ? 0.95F : 0.2F, SM_READING_READ};
    }
    FUZZ_REQUIRE(sm_distances_merge(NULL, trace, list, &findings, NULL) == SM_OK);
    FUZZ_REQUIRE(findings.n > 0);
    check_order(trace);
    sm_findings_release(&findings);
    sm_trace_free(&trace);
}

static void take_alone(const struct sm_distances *list)
{
    struct sm_trace *trace = NULL;
    if (sm_distances_trace(&trace, list, SM_NAN, SM_NAN, 1e6, NULL) == SM_OK) {
        check_order(trace);
        sm_trace_free(&trace);
    }
}

void fuzz_check_distances(const struct sm_distances *list)
{
    FUZZ_REQUIRE(list->n > 0 && list->decimals >= 0 && list->decimals <= 3);
    for (size_t i = 0; i < list->n; i++) {
        FUZZ_REQUIRE(isfinite(list->item[i].time_s) && (i == 0 || list->item[i].time_s > list->item[i - 1].time_s));
    }
    hold_against_trace(list);
    take_alone(list);
}
