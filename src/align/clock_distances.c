/*
 * Clock offset from logged distances: for each entry with time and distance, the times at which the picture
 * shows that distance; log time less those times are the offsets it claims. The log's clock may run fast or
 * slow: rates are tried in steps too small to matter.
 */
#include "align_internal.h"

#include <math.h>

/* An entry is keyed up to this long before or after the picture shows what it says, whole seconds included.
 */
#define SLACK_S 1.5
/* Rows of one distance this near in time were written at one stop. */
#define ONE_STOP_S 15.0
/* Quartz keeps to 0.01 %, dropped frames cost more; beyond this it is another fault. Common practice, no
 * source. */
#define WORST_DRIFT_FRAC 0.001
/* A rate is a second unknown: it takes more places to settle it. */
#define DRIFT_LEAST_AGREE 6
#define RATE_STEP_S 0.3
/* Enough places to settle any offset; more only cost time. */
#define MOST_PLACES 400
/* Of one place; a camera passes a place a few times at most. */
#define MOST_SIGHTINGS 100

/* Entries that say one thing: logged together at one distance. */
struct place {
    double time_s, last_s; /* first and last of its rows */
    double distance_m;
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

/* Is the entry another row of the last place? Rows of one stop narrow its claim, but give it one vote. */
static bool joins(const struct places *places, struct place here)
{
    const struct place *last = places->n ? &places->item[places->n - 1] : NULL;
    return last && fabs(here.distance_m - last->distance_m) <= places->tolerance_m &&
           fabs(here.time_s - last->last_s) <= ONE_STOP_S;
}

static void add_entry(struct places *places, struct place here)
{
    if (isnan(here.time_s) || isnan(here.distance_m)) {
        return;
    }
    if (joins(places, here)) {
        struct place *last = &places->item[places->n - 1];
        last->time_s = fmin(last->time_s, here.time_s);
        last->last_s = fmax(last->last_s, here.time_s);
    } else {
        places->item[places->n++] = here;
    }
}

static enum sm_status collect_places(struct places *out, const double *log_time_s,
                                     const struct sm_obslog *log, const struct sm_trace *trace,
                                     struct sm_error *err)
{
    out->tolerance_m = (sm_align__log_digit_m(log) + sm_last_digit_m(&trace->format)) / 2 + 1e-6;
    out->item = sm_calloc(log->n_entries + 1, sizeof *out->item);
    if (!out->item) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", log->n_entries);
    }
    for (size_t i = 0; i < log->n_entries; i++) {
        add_entry(out, (struct place){log_time_s[i], log_time_s[i], log->entry[i].distance_m});
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

/* The next reading after from that counts; n_readings when none. */
static size_t next_sure(const struct sm_trace *trace, size_t from)
{
    while (from < trace->n_readings &&
           (trace->reading[from].state == SM_READING_HIDDEN ||
            (double)trace->reading[from].confidence < SM_ALIGN__SURE_CONFIDENCE)) {
        from++;
    }
    return from;
}

/* The camera is taken to have stood where it is first and last seen, up to the ends of the video. */
static void reach_to_ends(struct sighting *earliest, struct sighting *latest, const struct sm_trace *trace,
                          double first_s, double last_s)
{
    if (earliest->low_s <= first_s) {
        earliest->low_s = 0;
    }
    if (latest->high_s >= last_s) {
        latest->high_s = fmax(latest->high_s, trace->duration_s);
    }
}

static enum sm_status sight_place(struct sightings *out, const struct places *places, size_t place_idx,
                                  const struct sm_trace *trace, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    size_t n_before = out->n;
    size_t first = next_sure(trace, 0);
    size_t i = first;
    for (size_t next = next_sure(trace, i + 1); status == SM_OK && next < trace->n_readings;
         i = next, next = next_sure(trace, i + 1)) {
        struct sighting sighting = {.place_idx = (int32_t)place_idx};
        if (sm_align__shown_between(&sighting.low_s, &sighting.high_s, trace, &trace->reading[i],
                                    &trace->reading[next], places->item[place_idx].distance_m,
                                    places->tolerance_m)) {
            status = add_sighting(out, sighting, err);
        }
        if (out->n - n_before > MOST_SIGHTINGS) {
            out->n = n_before; /* shown again and again: says nothing about when */
            return status;
        }
    }
    if (status == SM_OK && out->n > n_before) {
        reach_to_ends(&out->item[n_before], &out->item[out->n - 1], trace, trace->reading[first].time_s,
                      trace->reading[i].time_s);
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
    double rounding_s; /* a written time stands for this much on either side */
};

static void release(struct attempt *attempt)
{
    sm_free(attempt->places.item);
    sm_free(attempt->sightings.item);
    sm_free(attempt->claim);
}

static enum sm_status prepare(struct attempt *attempt, const double *log_time_s, double rounding_s,
                              const struct sm_obslog *log,
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
    attempt->rounding_s = rounding_s;
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

static double even_time(const struct attempt *attempt, double rate, double log_time_s)
{
    return attempt->middle_s + (log_time_s - attempt->middle_s) * rate;
}

/* rate: video seconds in a second of the log's clock. */
static enum sm_status vote_at(struct sm_align__verdict *out, struct attempt *attempt, double rate,
                              struct sm_error *err)
{
    for (size_t i = 0; i < attempt->sightings.n; i++) {
        const struct sighting *sighting = &attempt->sightings.item[i];
        const struct place *place = &attempt->places.item[sighting->place_idx];
        double low_s = even_time(attempt, rate, place->last_s) - sighting->high_s - attempt->rounding_s;
        double high_s = even_time(attempt, rate, place->time_s) - sighting->low_s + attempt->rounding_s;
        /* rows farther apart than the sighting lasts: somewhere in between */
        attempt->claim[i] =
            (struct sm_align__claim){fmin(low_s, high_s), fmax(low_s, high_s), sighting->place_idx};
    }
    double away_s = fmax(SM_ALIGN__RIVAL_AWAY_S, 2 * attempt->rounding_s);
    return sm_align__vote(out, attempt->claim, attempt->sightings.n, SLACK_S, away_s, err);
}

/*
 * Another rate must earn its place against the plain one: many places, and misses that fall by more than two
 * wrong distances that happen to fit would make them.
 */
static bool is_better(const struct sm_align__verdict *a, const struct sm_align__verdict *best,
                      const struct sm_align__verdict *plain)
{
    bool is_earned = a->n_agree >= DRIFT_LEAST_AGREE && a->n_agree >= plain->n_agree &&
                     a->cost_s < plain->cost_s - 2 * SLACK_S;
    return is_earned && a->cost_s < best->cost_s;
}

enum sm_status sm_align__clock_by_distances(struct sm_align__clock *out, const double *log_time_s, double rounding_s,
                                            const struct sm_obslog *log, const struct sm_trace *trace,
                                            struct sm_error *err)
{
    struct attempt attempt = {0};
    enum sm_status status = prepare(&attempt, log_time_s, rounding_s, log, trace, err);
    struct sm_align__verdict plain = {0};
    struct sm_align__verdict best = {0};
    double best_rate = 1;
    int n_steps = (int)fmin(100, ceil(attempt.span_s / 2 * WORST_DRIFT_FRAC / RATE_STEP_S));
    if (status == SM_OK) {
        status = vote_at(&plain, &attempt, 1, err);
        best = plain;
    }
    for (int step = 1; status == SM_OK && step <= 2 * n_steps; step++) {
        double part = (double)((step + 1) / 2) / (double)n_steps * (step % 2 ? 1.0 : -1.0);
        struct sm_align__verdict verdict;
        status = vote_at(&verdict, &attempt, 1 + part * WORST_DRIFT_FRAC, err);
        if (status == SM_OK && is_better(&verdict, &best, &plain)) {
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
    enum sm_status status = prepare(&attempt, log_time_s, 0, log, trace, err);
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
