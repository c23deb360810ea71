/*
 * Clock offset from logged distances: for each entry with time and distance, the times at which the picture
 * shows that distance; log time less those times are the offsets it claims. The log's clock may run fast or
 * slow: rates are tried in steps too small to matter.
 */
#include "align_internal.h"

#include <math.h>

/* An entry is keyed up to this long before or after the picture shows what it says (times in whole seconds
 * included). */
#define SLACK_S 1.5
/* Clocks of recorders and computers drift far less; more would be another fault. Common practice, no source.
 */
#define WORST_DRIFT_FRAC 0.003
#define RATE_STEP_S 0.5
/* Enough places to settle any offset; more only cost time. */
#define MOST_PLACES 400
/* Readings below this do not carry a claim. */
#define LEAST_CONFIDENCE 0.5

/* Entries that say one thing: logged together at one distance. */
struct place {
    double time_s, distance_m;
};
struct places {
    struct place *item;
    size_t n;
    double tolerance_m;
};
/* Times at which the picture shows what a place says. */
struct sighting {
    double low_s, high_s;
    int32_t place_idx;
};
struct sightings {
    struct sighting *item;
    size_t n, capacity;
};

static enum sm_status collect_places(struct places *out, const double *log_time_s,
                                     const struct sm_obslog *log, const struct sm_trace *trace,
                                     struct sm_error *err)
{
    double log_digit_m = sm_align__log_digit_m(log);
    out->tolerance_m = (log_digit_m + sm_last_digit_m(&trace->format)) / 2 + 1e-6;
    out->item = sm_calloc(log->n_entries + 1, sizeof *out->item);
    if (!out->item) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", log->n_entries);
    }
    for (size_t i = 0; i < log->n_entries; i++) {
        struct place here = {log_time_s[i], log->entry[i].distance_m};
        const struct place *last = out->n ? &out->item[out->n - 1] : NULL;
        bool repeats = last && fabs(here.distance_m - last->distance_m) <= out->tolerance_m &&
                       fabs(here.time_s - last->time_s) <= 2 * SLACK_S;
        if (!isnan(here.time_s) && !isnan(here.distance_m) && !repeats) {
            out->item[out->n++] = here;
        }
    }
    size_t every = out->n / MOST_PLACES + 1;
    size_t n = 0;
    for (size_t i = 0; i < out->n; i += every) {
        out->item[n++] = out->item[i];
    }
    out->n = n;
    return SM_OK;
}

static enum sm_status add_sighting(struct sightings *out, struct sighting sighting, struct sm_error *err)
{
    struct sighting *last = out->n ? &out->item[out->n - 1] : NULL;
    if (last && last->place_idx == sighting.place_idx && sighting.low_s <= last->high_s + 1e-6) {
        last->high_s = fmax(last->high_s, sighting.high_s);
        return SM_OK;
    }
    if (sm_grow(&out->item, out->n, &out->capacity, sizeof *out->item) != SM_OK) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the places of the log in the trace");
    }
    out->item[out->n++] = sighting;
    return SM_OK;
}

/* Part of the time from a to b during which an even drive from a_m to b_m is within tol of goal. @return
 * false: none. */
static bool cross(struct sighting *out, double a_s, double a_m, double b_s, double b_m, double goal_m,
                  double tol_m)
{
    double change_m = b_m - a_m;
    if (fabs(change_m) < 1e-9) {
        out->low_s = a_s;
        out->high_s = b_s;
        return fabs(a_m - goal_m) <= tol_m;
    }
    double first = (goal_m - copysign(tol_m, change_m) - a_m) / change_m;
    double last = (goal_m + copysign(tol_m, change_m) - a_m) / change_m;
    out->low_s = a_s + fmax(0, first) * (b_s - a_s);
    out->high_s = a_s + fmin(1, last) * (b_s - a_s);
    return first <= 1 && last >= 0;
}

/* The next reading after from that counts; n_readings when none. */
static size_t next_sure(const struct sm_trace *trace, size_t from)
{
    while (from < trace->n_readings && (trace->reading[from].state == SM_READING_HIDDEN ||
                                        (double)trace->reading[from].confidence < LEAST_CONFIDENCE)) {
        from++;
    }
    return from;
}

static enum sm_status sight_place(struct sightings *out, const struct places *places, size_t place_idx,
                                  const struct sm_trace *trace, struct sm_error *err)
{
    double digit_m = sm_last_digit_m(&trace->format);
    enum sm_status status = SM_OK;
    size_t i = next_sure(trace, 0);
    for (size_t next = next_sure(trace, i + 1); status == SM_OK && next < trace->n_readings;
         i = next, next = next_sure(trace, i + 1)) {
        const struct sm_reading *a = &trace->reading[i];
        const struct sm_reading *b = &trace->reading[next];
        struct sighting sighting = {.place_idx = (int32_t)place_idx};
        if (cross(&sighting, a->time_s, (double)a->counts * digit_m, b->time_s, (double)b->counts * digit_m,
                  places->item[place_idx].distance_m, places->tolerance_m) &&
            sm_trace_stretch_at(trace, a->time_s) == sm_trace_stretch_at(trace, b->time_s)) {
            status = add_sighting(out, sighting, err);
        }
    }
    return status;
}

/* What all attempts at a rate share. */
struct attempt {
    struct places places;
    struct sightings sightings;
    struct sm_align__claim *claim;
    double middle_s; /* log time about which the rate turns: the offset there hardly depends on it */
    double span_s;
};

static void release(struct attempt *attempt)
{
    sm_free(attempt->places.item);
    sm_free(attempt->sightings.item);
    sm_free(attempt->claim);
}

static enum sm_status prepare(struct attempt *attempt, const double *log_time_s, const struct sm_obslog *log,
                              const struct sm_trace *trace, struct sm_error *err)
{
    enum sm_status status = collect_places(&attempt->places, log_time_s, log, trace, err);
    for (size_t i = 0; status == SM_OK && i < attempt->places.n; i++) {
        status = sight_place(&attempt->sightings, &attempt->places, i, trace, err);
    }
    if (status != SM_OK) {
        return status;
    }
    attempt->claim = sm_calloc(attempt->sightings.n + 1, sizeof *attempt->claim);
    if (!attempt->claim) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu clock offsets", attempt->sightings.n);
    }
    double low_s = HUGE_VAL;
    double high_s = -HUGE_VAL;
    for (size_t i = 0; i < attempt->places.n; i++) {
        low_s = fmin(low_s, attempt->places.item[i].time_s);
        high_s = fmax(high_s, attempt->places.item[i].time_s);
    }
    attempt->middle_s = attempt->places.n ? (low_s + high_s) / 2 : 0;
    attempt->span_s = attempt->places.n ? high_s - low_s : 0;
    return SM_OK;
}

/* rate: video seconds in a second of the log's clock. */
static enum sm_status vote_at(struct sm_align__verdict *out, struct attempt *attempt, double rate,
                              struct sm_error *err)
{
    for (size_t i = 0; i < attempt->sightings.n; i++) {
        const struct sighting *sighting = &attempt->sightings.item[i];
        double time_s = attempt->places.item[sighting->place_idx].time_s;
        double even_s = attempt->middle_s + (time_s - attempt->middle_s) * rate;
        attempt->claim[i] = (struct sm_align__claim){even_s - sighting->high_s, even_s - sighting->low_s,
                                                     sighting->place_idx};
    }
    return sm_align__vote(out, attempt->claim, attempt->sightings.n, SLACK_S, err);
}

/* Another rate must earn its place: more entries that agree, or clearly smaller misses. */
static bool is_better(const struct sm_align__verdict *a, const struct sm_align__verdict *best)
{
    if (a->n_agree != best->n_agree) {
        return a->n_agree > best->n_agree;
    }
    return a->residual_s < best->residual_s - 0.05;
}

enum sm_status sm_align__clock_by_distances(struct sm_align__clock *out, const double *log_time_s,
                                            const struct sm_obslog *log, const struct sm_trace *trace,
                                            struct sm_error *err)
{
    struct attempt attempt = {0};
    enum sm_status status = prepare(&attempt, log_time_s, log, trace, err);
    struct sm_align__verdict best = {0};
    double best_rate = 1;
    int n_steps = (int)fmin(100, ceil(attempt.span_s / 2 * WORST_DRIFT_FRAC / RATE_STEP_S));
    if (status == SM_OK) {
        status = vote_at(&best, &attempt, 1, err);
    }
    for (int step = 1; status == SM_OK && step <= 2 * n_steps; step++) {
        double part = (double)((step + 1) / 2) / (double)n_steps * (step % 2 ? 1.0 : -1.0);
        struct sm_align__verdict verdict;
        status = vote_at(&verdict, &attempt, 1 + part * WORST_DRIFT_FRAC, err);
        if (status == SM_OK && is_better(&verdict, &best)) {
            best = verdict;
            best_rate = 1 + part * WORST_DRIFT_FRAC;
        }
    }
    if (status == SM_OK) {
        /* even time less offset = video time: solved for log time at video time zero */
        *out = (struct sm_align__clock){.method = SM_ALIGN__CLOCK_DISTANCES,
                                        .offset_s =
                                            attempt.middle_s + (best.offset_s - attempt.middle_s) / best_rate,
                                        .rate = best_rate,
                                        .residual_s = best.residual_s,
                                        .halfwidth_s = best.halfwidth_s,
                                        .rival_s = best.rival_s,
                                        .n_agree = best.n_agree,
                                        .n_rival = best.n_rival,
                                        .n_asked = attempt.places.n};
        if (best.n_agree == 0) {
            out->method = SM_ALIGN__CLOCK_NONE;
        }
    }
    release(&attempt);
    return status;
}

enum sm_status sm_align__clock_fit_at(size_t *n_agree, size_t *n_asked, double offset_s,
                                      const double *log_time_s, const struct sm_obslog *log,
                                      const struct sm_trace *trace, struct sm_error *err)
{
    struct attempt attempt = {0};
    enum sm_status status = prepare(&attempt, log_time_s, log, trace, err);
    if (status == SM_OK) {
        *n_asked = attempt.places.n;
        *n_agree = 0;
        int32_t last_idx = -1;
        for (size_t i = 0; i < attempt.sightings.n; i++) {
            const struct sighting *sighting = &attempt.sightings.item[i];
            double time_s = attempt.places.item[sighting->place_idx].time_s - offset_s;
            bool fits = time_s >= sighting->low_s - SLACK_S && time_s <= sighting->high_s + SLACK_S;
            if (fits && sighting->place_idx != last_idx) {
                ++*n_agree;
                last_idx = sighting->place_idx;
            }
        }
    }
    release(&attempt);
    return status;
}
