/*
 * The list against the picture. The picture's readings are compared where they say something new; the list is
 * used only when it agrees with nearly all of them, and then fills what the picture leaves open. Values are
 * compared in the list's unit.
 */
#include "distances_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stopmark/trace.h"

#define SLACK_S 1.0           /* a list is written about once a second, a little late */
#define LEAST_CONFIDENCE 0.4f /* readings below it are no measure for anything */
#define SURE 0.9f
#define STANDING_STEP_S 5.0 /* a standing counter is compared this often */
#define MOST_SPREAD_M                                                                                        \
    0.5 /* where the list moves more than this within the slack, it agrees with anything                     \
         */
#define LEAST_COMPARED 5
#define LEAST_SHARE 0.95
#define LEAST_SHARE_EXPLAINED 0.9
#define FILLED_CONFIDENCE 0.95
#define DOUBTED_CONFIDENCE 0.5f
#define ALONE_CONFIDENCE 0.6f /* nothing bears it out */
#define MOST_WILD_SHARE 0.1
#define FARTHEST_SHIFT_S 120
#define MOST_TRIED 200 /* pairs looked at for each shift */
#define MOST_TOLD 5
#define NEW_READING_S 0.5 /* an entry this near a reading of the picture adds nothing */

struct pair {
    double time_s, seen; /* what the picture shows, in the list's unit */
    double low, high;
    size_t reading_idx;
    bool agrees;
};

struct comparison {
    const struct sm_distances *list;
    const struct sm_trace *trace;
    double scale;     /* from the picture's counts to the list's unit */
    double tolerance; /* the coarser last digit */
    struct pair *pair;
    size_t n;
};

static double digit(int32_t decimals)
{
    return pow(10, -decimals);
}

/* Where only one of the two names a unit, it is taken to hold for both. */
static double unit_ratio(enum sm_unit from, enum sm_unit to)
{
    return from == SM_UNIT_UNKNOWN || to == SM_UNIT_UNKNOWN ? 1 : sm_unit_to_m(from) / sm_unit_to_m(to);
}

static bool fits(const struct comparison *c, const struct pair *pair, double factor, double shift)
{
    double low = fmin(pair->low * factor, pair->high * factor) + shift;
    double high = fmax(pair->low * factor, pair->high * factor) + shift;
    return pair->seen >= low - 1.01 * c->tolerance && pair->seen <= high + 1.01 * c->tolerance;
}

/* Is the reading worth a comparison after the last one taken? */
static bool is_news(const struct sm_reading *reading, const struct sm_reading *last)
{
    return reading->state == SM_READING_READ && reading->confidence >= LEAST_CONFIDENCE &&
           (!last || reading->counts != last->counts || reading->time_s - last->time_s >= STANDING_STEP_S);
}

static bool make_pair(const struct comparison *c, struct pair *pair, size_t reading_idx)
{
    const struct sm_reading *reading = &c->trace->reading[reading_idx];
    double most = MOST_SPREAD_M * (c->list->unit == SM_UNIT_M ? 1 : 1 / SM_M_PER_FT);
    *pair = (struct pair){
        .time_s = reading->time_s, .seen = (double)reading->counts * c->scale, .reading_idx = reading_idx};
    bool has_next =
        sm_distances__n_until(c->list, pair->time_s) < c->list->n; /* behind the last it may have moved */
    if (!has_next || !sm_distances__range(c->list, pair->time_s, SLACK_S, &pair->low, &pair->high) ||
        pair->high - pair->low > most) {
        return false;
    }
    pair->agrees = fits(c, pair, 1, 0);
    return true;
}

static enum sm_status compare(struct comparison *c, struct sm_error *err)
{
    const struct sm_trace *trace = c->trace;
    const struct sm_reading *last = NULL;
    c->pair = sm_calloc(trace->n_readings, sizeof *c->pair);
    if (!c->pair) {
        return sm_distances__no_memory(err);
    }
    for (size_t i = 0; i < trace->n_readings; i++) {
        if (is_news(&trace->reading[i], last)) {
            last = &trace->reading[i];
            c->n += make_pair(c, &c->pair[c->n], i);
        }
    }
    return SM_OK;
}

static size_t n_agreed(const struct comparison *c)
{
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++) {
        n += c->pair[i].agrees;
    }
    return n;
}

/* ---- what the list says ---- */

/* The list at a time, in proportion between the entries before and after. at = entry before; change = how far
 * the two are apart, as far as that makes the value unsure. */
static double between_entries(const struct sm_distances *list, size_t at, double time_s, double *change)
{
    double value = sm_distances__value(list, at);
    *change = 0;
    if (at + 1 < list->n) {
        double share = (time_s - list->item[at].time_s) / (list->item[at + 1].time_s - list->item[at].time_s);
        double all = sm_distances__value(list, at + 1) - value;
        value += share * all;
        *change = fabs(all) * fmin(1, 4 * share * (1 - share));
    }
    return value;
}

/* What the list gives for a time: its text while that is on, else between entries. @return false where it
 * says nothing. */
static bool list_at(const struct comparison *c, double time_s, struct sm_reading *reading)
{
    const struct sm_distances *list = c->list;
    double low, high, change = 0;
    if (!sm_distances__range(list, time_s, 0, &low, &high)) {
        return false;
    }
    size_t at = sm_distances__n_until(list, time_s) - 1;
    bool is_on = isfinite(list->item[at].end_s) && time_s <= list->item[at].end_s;
    double value = is_on ? sm_distances__value(list, at) : between_entries(list, at, time_s, &change);
    *reading = (struct sm_reading){.time_s = time_s,
                                   .counts = llround(value / c->scale),
                                   .confidence = (float)(FILLED_CONFIDENCE / (1 + 0.25 * change / c->scale)),
                                   .state = SM_READING_CARRIED};
    return true;
}

/* ---- words ---- */

static enum sm_status tell(const struct comparison *c, struct sm_findings *findings,
                           enum sm_severity severity, double time_s, const struct sm_text *words,
                           struct sm_error *err)
{
    bool is_told = !words->failed && sm_findings_add(findings, 0, severity, c->list->source, 0, time_s, -1,
                                                     "%s", sm_text_str(words)) == SM_OK;
    return is_told ? SM_OK : sm_distances__no_memory(err);
}

static void add_value(struct sm_text *text, const struct comparison *c, double value)
{
    sm_text_add_fixed(text, value, c->list->decimals);
}

static int order_of(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return left < right ? -1 : left > right;
}

/* Picture less list, the list taken shift_s later; NaN where it says nothing. */
static double difference_at(const struct comparison *c, const struct pair *pair, double shift_s)
{
    double low, high, change, time_s = pair->time_s - shift_s;
    if (!sm_distances__range(c->list, time_s, 0, &low, &high)) {
        return SM_NAN;
    }
    return pair->seen - between_entries(c->list, sm_distances__n_until(c->list, time_s) - 1, time_s, &change);
}

static double median_difference(const struct comparison *c)
{
    double *difference = sm_calloc(c->n, sizeof *difference);
    size_t n = 0;
    for (size_t i = 0; difference && i < c->n; i++) {
        difference[n] = difference_at(c, &c->pair[i], 0);
        n += isfinite(difference[n]) ? 1 : 0;
    }
    if (n) {
        qsort(difference, n, sizeof *difference, order_of);
    }
    double middle = n ? difference[n / 2] : 0;
    sm_free(difference);
    return middle;
}

static double share_fitting(const struct comparison *c, double factor, double shift)
{
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++) {
        n += fits(c, &c->pair[i], factor, shift);
    }
    return (double)n / (double)c->n;
}

/* How the pairs fare when the list is taken shift_s later: the share that agrees, and how far off they are on
 * average. */
static double share_shifted(const struct comparison *c, double shift_s, double *off)
{
    size_t n = 0, n_compared = 0;
    size_t step = c->n > MOST_TRIED ? c->n / MOST_TRIED : 1;
    *off = 0;
    for (size_t i = 0; i < c->n; i += step) {
        struct pair pair = c->pair[i];
        double difference = difference_at(c, &pair, shift_s);
        if (isfinite(difference) &&
            sm_distances__range(c->list, pair.time_s - shift_s, SLACK_S, &pair.low, &pair.high)) {
            n_compared++;
            n += fits(c, &pair, 1, 0);
            *off += fabs(difference);
        }
    }
    *off /= n_compared ? (double)n_compared : 1;
    return n_compared * step * 2 >= c->n ? (double)n / (double)n_compared : 0;
}

/* Whole seconds by which the list should come later to agree; 0 = no number of them does. @param off [out] on
 * average. */
static int best_shift_s(const struct comparison *c, double *off)
{
    int best_s = 0;
    *off = HUGE_VAL;
    for (int shift_s = -FARTHEST_SHIFT_S; shift_s <= FARTHEST_SHIFT_S; shift_s++) {
        double now;
        if (share_shifted(c, shift_s, &now) >= LEAST_SHARE_EXPLAINED && now < *off) {
            *off = now;
            best_s = shift_s;
        }
    }
    return best_s;
}

/* How far the pairs are off on average once an offset is allowed for. */
static double off_with(const struct comparison *c, double offset)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++) {
        double difference = difference_at(c, &c->pair[i], 0) - offset;
        n += isfinite(difference) ? 1 : 0;
        sum += isfinite(difference) ? fabs(difference) : 0;
    }
    return n ? sum / (double)n : HUGE_VAL;
}

/* Why the two may differ, with what to do. Of another zero and another start the one that leaves less; a
 * camera at even speed cannot tell them apart. */
static void add_reason(struct sm_text *text, const struct comparison *c)
{
    double offset = median_difference(c), shifted_off;
    int shift_s = best_shift_s(c, &shifted_off);
    if (share_fitting(c, SM_M_PER_FT, 0) >= LEAST_SHARE_EXPLAINED ||
        share_fitting(c, 1 / SM_M_PER_FT, 0) >= LEAST_SHARE_EXPLAINED) {
        sm_text_add(text, "; one of them is in feet and the other in metres: name the unit in the list");
    } else if (shift_s && shifted_off < off_with(c, offset)) {
        sm_text_addf(text, "; they would agree if the list came %d s %s", abs(shift_s),
                     shift_s > 0 ? "later" : "earlier");
    } else if (share_fitting(c, 1, offset) >= LEAST_SHARE_EXPLAINED) {
        sm_text_add(text, "; the picture shows ");
        add_value(text, c, fabs(offset));
        sm_text_addf(text, " %s throughout: they were zeroed at different places",
                     offset > 0 ? "more" : "less");
    } else {
        sm_text_add(text, "; is it the list of this recording?");
    }
}

static enum sm_status tell_refused(const struct comparison *c, size_t agreed, struct sm_findings *findings,
                                   struct sm_error *err)
{
    struct sm_text words = {0};
    double time_s = SM_NAN;
    if (c->n < LEAST_COMPARED) {
        sm_text_add(&words,
                    "the distances here and the counter in the picture have too little time in common to be "
                    "compared: the picture alone counts");
    } else {
        size_t first = 0;
        while (first + 1 < c->n && c->pair[first].agrees) {
            first++;
        }
        time_s = c->pair[first].time_s;
        sm_text_addf(&words,
                     "the distances here differ from the picture on %zu of %zu readings compared, first at ",
                     c->n - agreed, c->n);
        sm_text_add_fixed(&words, time_s, 1);
        sm_text_add(&words, " s (picture ");
        add_value(&words, c, c->pair[first].seen);
        sm_text_add(&words, ", here ");
        add_value(&words, c, 0.5 * (c->pair[first].low + c->pair[first].high));
        sm_text_add(&words, "): the picture counts");
        add_reason(&words, c);
    }
    enum sm_status status = tell(c, findings, SM_SEVERITY_WARNING, time_s, &words, err);
    sm_text_release(&words);
    return status;
}

static enum sm_status tell_used(const struct comparison *c, const struct sm_distances_match *match,
                                struct sm_findings *findings, struct sm_error *err)
{
    struct sm_text words = {0};
    sm_text_addf(&words, "the distances here agree with the picture on %zu of %zu readings compared",
                 match->n_agreed, match->n_compared);
    if (match->n_filled) {
        sm_text_addf(&words, "; they stand in for %zu that the picture does not show or not surely",
                     match->n_filled);
    }
    enum sm_status status = tell(c, findings, SM_SEVERITY_NOTE, SM_NAN, &words, err);
    sm_text_release(&words);
    return status;
}

/* ---- disagreement in places ---- */

static enum sm_status tell_stretch(const struct comparison *c, size_t first, size_t last,
                                   struct sm_findings *findings, struct sm_error *err)
{
    struct sm_text words = {0};
    const struct pair *a = &c->pair[first], *b = &c->pair[last];
    sm_text_add(&words, "from ");
    sm_text_add_fixed(&words, a->time_s, 1);
    sm_text_add(&words, " s to ");
    sm_text_add_fixed(&words, b->time_s, 1);
    sm_text_add(&words, " s the picture goes from ");
    add_value(&words, c, a->seen);
    sm_text_add(&words, " to ");
    add_value(&words, c, b->seen);
    sm_text_add(&words, ", the distances here from ");
    add_value(&words, c, 0.5 * (a->low + a->high));
    sm_text_add(&words, " to ");
    add_value(&words, c, 0.5 * (b->low + b->high));
    sm_text_add(&words, ": the picture is kept, in doubt");
    enum sm_status status = tell(c, findings, SM_SEVERITY_WARNING, a->time_s, &words, err);
    sm_text_release(&words);
    return status;
}

static enum sm_status tell_stretches(const struct comparison *c, struct sm_findings *findings,
                                     struct sm_error *err)
{
    int n_told = 0;
    for (size_t i = 0; i < c->n && n_told < MOST_TOLD; i++) {
        size_t last = i;
        if (c->pair[i].agrees) {
            continue;
        }
        while (last + 1 < c->n && !c->pair[last + 1].agrees) {
            last++;
        }
        enum sm_status status = tell_stretch(c, i, last, findings, err);
        if (status != SM_OK) {
            return status;
        }
        i = last;
        n_told++;
    }
    return SM_OK;
}

/* ---- use ---- */

/* A reading of the picture beside what the list says: borne out, doubted, or replaced. @return whether it was
 * replaced. */
static bool settle(const struct comparison *c, struct sm_reading *reading)
{
    struct sm_reading listed;
    struct pair pair = {.time_s = reading->time_s, .seen = (double)reading->counts * c->scale};
    if (!list_at(c, reading->time_s, &listed)) {
        return false;
    }
    bool is_read = reading->state == SM_READING_READ;
    bool is_comparable = sm_distances__range(c->list, pair.time_s, SLACK_S, &pair.low, &pair.high);
    if (is_read && is_comparable && fits(c, &pair, 1, 0)) {
        reading->confidence = 1 - (1 - reading->confidence) * (float)(1 - LEAST_SHARE);
        return false;
    }
    if (is_read && reading->confidence >= SURE) {
        reading->confidence = fminf(reading->confidence, DOUBTED_CONFIDENCE);
        return false;
    }
    if (reading->state != SM_READING_HIDDEN && reading->confidence >= listed.confidence) {
        return false;
    }
    *reading = listed;
    return true;
}

static bool is_near_reading(const struct sm_trace *trace, double time_s)
{
    size_t after = sm_trace_first_after(trace, time_s);
    return (after > 0 && time_s - trace->reading[after - 1].time_s < NEW_READING_S) ||
           (after < trace->n_readings && trace->reading[after].time_s - time_s < NEW_READING_S);
}

static int reading_order(const void *a, const void *b)
{
    const struct sm_reading *left = a, *right = b;
    return left->time_s < right->time_s ? -1 : left->time_s > right->time_s;
}

/* Entries that lie where the picture was not even looked at, as readings of their own. */
static enum sm_status add_entries(const struct comparison *c, struct sm_trace *trace, size_t *n_added,
                                  struct sm_error *err)
{
    struct sm_reading *reading = sm_realloc(trace->reading, trace->n_readings + c->list->n, sizeof *reading);
    size_t n = trace->n_readings;
    if (!reading) {
        return sm_distances__no_memory(err);
    }
    trace->reading = reading;
    for (size_t i = 0; i < c->list->n; i++) {
        double time_s = c->list->item[i].time_s;
        bool is_inside = time_s >= 0 && time_s <= trace->duration_s;
        if (is_inside && !is_near_reading(trace, time_s) &&
            sm_trace_at(trace, time_s).confidence < DOUBTED_CONFIDENCE && list_at(c, time_s, &reading[n])) {
            n++;
        }
    }
    *n_added = n - trace->n_readings;
    trace->n_readings = n;
    qsort(reading, n, sizeof *reading, reading_order);
    return SM_OK;
}

static enum sm_status use(const struct comparison *c, struct sm_trace *trace,
                          struct sm_distances_match *match, struct sm_error *err)
{
    size_t n_added = 0;
    for (size_t i = 0; i < trace->n_readings; i++) {
        match->n_filled += settle(c, &trace->reading[i]);
    }
    enum sm_status status = add_entries(c, trace, &n_added, err);
    match->n_filled += n_added;
    if (trace->format.unit == SM_UNIT_UNKNOWN) {
        trace->format.unit = c->list->unit;
    }
    return status;
}

enum sm_status sm_distances_merge(struct sm_distances_match *out, struct sm_trace *trace,
                                  const struct sm_distances *list, struct sm_findings *findings,
                                  struct sm_error *err)
{
    double ratio = unit_ratio(trace->format.unit, list->unit),
           seen_digit = digit(trace->format.decimals) * ratio;
    struct comparison c = {.list = list,
                           .trace = trace,
                           .scale = seen_digit,
                           .tolerance = fmax(seen_digit, digit(list->decimals))};
    struct sm_distances_match match = {0};
    enum sm_status status = compare(&c, err);
    if (status != SM_OK) {
        return status;
    }
    match.n_compared = c.n;
    match.n_agreed = n_agreed(&c);
    match.is_used = c.n >= LEAST_COMPARED && (double)match.n_agreed >= LEAST_SHARE * (double)c.n;
    if (!match.is_used) {
        status = tell_refused(&c, match.n_agreed, findings, err);
    } else {
        status = tell_stretches(&c, findings, err);
        status = status == SM_OK ? use(&c, trace, &match, err) : status;
        status = status == SM_OK ? tell_used(&c, &match, findings, err) : status;
    }
    sm_free(c.pair);
    if (status == SM_OK && out) {
        *out = match;
    }
    return status;
}

/* ---- without a picture ---- */

static size_t n_wild(const struct sm_distances *list)
{
    size_t n = 0;
    for (size_t i = 1; i < list->n; i++) {
        n += sm_distances__is_wild(list, i);
    }
    return n;
}

static void fill_alone(struct sm_trace *trace, const struct sm_distances *list, double start_s, double end_s)
{
    for (size_t i = 0; i < list->n; i++) {
        const struct sm_distance *item = &list->item[i];
        if (item->time_s < fmax(0, start_s) || item->time_s > fmin(trace->duration_s, end_s)) {
            continue;
        }
        if (trace->n_readings && sm_distances__is_wild(list, i)) {
            trace->jump_time_s[trace->n_jumps++] = item->time_s;
        }
        trace->reading[trace->n_readings++] = (struct sm_reading){.time_s = item->time_s,
                                                                  .counts = item->counts,
                                                                  .confidence = ALONE_CONFIDENCE,
                                                                  .state = SM_READING_CARRIED};
    }
}

enum sm_status sm_distances_trace(struct sm_trace **out, const struct sm_distances *list, double start_s,
                                  double end_s, double duration_s, struct sm_error *err)
{
    if ((double)n_wild(list) > MOST_WILD_SHARE * (double)list->n) {
        sm_error_at(err, SM_E_FORMAT, list->source, 0, 0, "the distances jump about as no camera does");
        return sm_error_remedy(err, "check that it is the list of this recording, in one unit");
    }
    struct sm_trace *trace = sm_calloc(1, sizeof *trace);
    if (!trace || !(trace->reading = sm_calloc(list->n + 1, sizeof *trace->reading)) ||
        !(trace->jump_time_s = sm_calloc(list->n + 1, sizeof *trace->jump_time_s))) {
        sm_trace_free(&trace);
        return sm_distances__no_memory(err);
    }
    trace->format.unit = list->unit;
    trace->format.decimals = list->decimals;
    trace->duration_s = duration_s;
    fill_alone(trace, list, start_s, end_s);
    *out = trace;
    return SM_OK;
}
