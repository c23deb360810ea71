/*
 * Clock offset without distances: an operator stops at what he writes down, so entries fall on standstills.
 * The offset is where most entries stand and most standstills have an entry. Weaker evidence than distances:
 * the camera also stops for other reasons, so more of it is asked.
 */
#include "align_internal.h"

#include <math.h>

/* Shorter ones are the counter's digit size, or a hesitation. */
#define LEAST_STANDSTILL_S 3.0
/* An entry is keyed a little after the camera moved on, or before it quite stood. */
#define SLACK_S 1.5
/* Entries this near in time were made at one stop. */
#define ONE_STOP_S 3.0
/* However well the stops fit, who looks at a stop may write before and after it. */
#define LEAST_HALFWIDTH_S 2.0
#define MOST_PLACES 400

static size_t collect_times(double *time_s, const double *log_time_s, size_t n)
{
    size_t n_times = 0;
    for (size_t i = 0; i < n && n_times < MOST_PLACES; i++) {
        bool repeats = n_times > 0 && fabs(log_time_s[i] - time_s[n_times - 1]) <= ONE_STOP_S;
        if (!isnan(log_time_s[i]) && !repeats) {
            time_s[n_times++] = log_time_s[i];
        }
    }
    return n_times;
}

static size_t make_claims(struct sm_align__claim *claim, const double *time_s, size_t n_times,
                          const struct sm_standstill *standstill, size_t n_standstills)
{
    size_t n = 0;
    for (size_t i = 0; i < n_times; i++) {
        for (size_t s = 0; s < n_standstills; s++) {
            claim[n++] = (struct sm_align__claim){time_s[i] - standstill[s].end_s,
                                                  time_s[i] - standstill[s].start_s, (int32_t)i};
        }
    }
    return n;
}

static enum sm_status vote(struct sm_align__clock *out, const double *time_s, size_t n_times,
                           const struct sm_standstill *standstill, size_t n_standstills, struct sm_error *err)
{
    struct sm_align__claim *claim = sm_calloc(n_times * n_standstills + 1, sizeof *claim);
    if (!claim) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu clock offsets", n_times * n_standstills);
    }
    size_t n = make_claims(claim, time_s, n_times, standstill, n_standstills);
    struct sm_align__verdict verdict;
    enum sm_status status = sm_align__vote(&verdict, claim, n, SLACK_S, SM_ALIGN__RIVAL_AWAY_S, err);
    sm_free(claim);
    if (status == SM_OK && verdict.n_agree > 0) {
        *out = (struct sm_align__clock){.method = SM_ALIGN__CLOCK_STANDSTILLS,
                                        .offset_s = verdict.offset_s,
                                        .rate = 1,
                                        .residual_s = verdict.residual_s,
                                        .halfwidth_s = fmax(verdict.halfwidth_s, LEAST_HALFWIDTH_S),
                                        .rival_s = verdict.rival_s,
                                        .n_agree = verdict.n_agree,
                                        .n_rival = verdict.n_rival,
                                        .n_asked = n_times};
    }
    return status;
}

enum sm_status sm_align__clock_by_standstills(struct sm_align__clock *out, const double *log_time_s,
                                              const struct sm_obslog *log, const struct sm_trace *trace,
                                              struct sm_error *err)
{
    *out = (struct sm_align__clock){.method = SM_ALIGN__CLOCK_NONE, .offset_s = SM_NAN, .rate = 1};
    struct sm_standstill *standstill = NULL;
    size_t n_standstills = 0;
    double *time_s = sm_calloc(MOST_PLACES, sizeof *time_s);
    if (!time_s) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the times of the log");
    }
    enum sm_status status = sm_trace_standstills(&standstill, &n_standstills, trace, LEAST_STANDSTILL_S, err);
    if (status == SM_OK) {
        size_t n_times = collect_times(time_s, log_time_s, log->n_entries);
        size_t n_used = n_standstills < MOST_PLACES ? n_standstills : MOST_PLACES;
        out->n_asked = n_times;
        status = vote(out, time_s, n_times, standstill, n_used, err);
    }
    sm_free(time_s);
    sm_free(standstill);
    return status;
}
