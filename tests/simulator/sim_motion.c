/*
 * sim_motion.c - the camera's way along the pipe as a table of places, and what the counter shows on the way.
 *
 * The run is a list of legs: travel to the next stop (sometimes past it and back), stand there, go on. Speed
 * changes by at most ACCELERATION, so that places, shown at any frame rate, move as a crawler does.
 */
#include "sim_internal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define ACCELERATION_M_S2 0.25
#define LONGEST_RUN_S (6 * 3600.0)

static enum sm_status add_place(struct sm_sim_path *path, double place_m)
{
    enum sm_status status = sm_grow(&path->place_m, path->n, &path->capacity, sizeof *path->place_m);
    if (status == SM_OK) {
        path->place_m[path->n++] = place_m;
    }
    return status;
}

static enum sm_status stand(struct sm_sim_path *path, double place_m, double for_s)
{
    enum sm_status status = SM_OK;
    for (long n = lround(for_s * SM_SIM_PATH_HZ); status == SM_OK && n > 0; n--) {
        status = add_place(path, place_m);
    }
    return status;
}

/* Travel with slewing speed; the wanted speed wanders between the two limits as an operator's hand does. */
static enum sm_status travel(struct sm_sim_path *path, const struct sm_sim_motion_opts *motion,
                             struct sm_test_random *random, double from_m, double to_m)
{
    const double tick_s = 1.0 / SM_SIM_PATH_HZ;
    double way_m = fabs(to_m - from_m), done_m = 0, speed_m_s = 0;
    double wanted_m_s = sm_test_uniform(random, motion->speed_min_m_s, motion->speed_max_m_s);
    enum sm_status status = SM_OK;
    while (status == SM_OK && way_m - done_m > 1e-4 && (double)path->n < LONGEST_RUN_S * SM_SIM_PATH_HZ) {
        if (sm_test_int(random, 0, 3 * SM_SIM_PATH_HZ) == 0) {
            wanted_m_s = sm_test_uniform(random, motion->speed_min_m_s, motion->speed_max_m_s);
        }
        double brake_m_s = sqrt(2 * ACCELERATION_M_S2 * (way_m - done_m)) + 1e-3;
        double aim_m_s = fmin(wanted_m_s, brake_m_s);
        double change_m_s = ACCELERATION_M_S2 * tick_s;
        speed_m_s = fmin(fmax(aim_m_s, speed_m_s - change_m_s), speed_m_s + change_m_s);
        done_m = fmin(way_m, done_m + fmin(speed_m_s, brake_m_s) * tick_s);
        status = add_place(path, from_m + (to_m > from_m ? done_m : -done_m));
    }
    return status;
}

/* Past the stop, back to before it, forward to it. */
static enum sm_status travel_with_reversal(struct sm_sim_path *path, const struct sm_sim_motion_opts *motion,
                                           struct sm_test_random *random, double from_m, double to_m)
{
    double past_m = to_m + sm_test_uniform(random, 0.06, 0.35);
    double before_m = to_m - sm_test_uniform(random, 0, 0.08);
    enum sm_status status = travel(path, motion, random, from_m, past_m);
    if (status == SM_OK) {
        status = stand(path, past_m, sm_test_uniform(random, 0.2, 1.0));
    }
    if (status == SM_OK) {
        status = travel(path, motion, random, past_m, before_m);
    }
    return status == SM_OK ? travel(path, motion, random, before_m, to_m) : status;
}

static enum sm_status add_stop(struct sm_sim_path *path, struct sm_sim_stop stop)
{
    enum sm_status status = sm_grow(&path->stop, path->n_stops, &path->stop_capacity, sizeof *path->stop);
    if (status == SM_OK) {
        path->stop[path->n_stops++] = stop;
    }
    return status;
}

/* One leg: to the stop and standing there. */
static enum sm_status run_leg(struct sm_sim_path *path, const struct sm_sim_opts *opts,
                              struct sm_test_random *random, struct sm_sim_stop stop)
{
    const struct sm_sim_motion_opts *motion = &opts->motion;
    double from_m = path->n > 0 ? path->place_m[path->n - 1] : motion->start_m;
    bool has_reversal = stop.place_m - from_m > 0.4 && stop.place_m + 0.4 < opts->pipe.length_m &&
                        sm_sim__chance(random, motion->reversal_chance);
    enum sm_status status = has_reversal ? travel_with_reversal(path, motion, random, from_m, stop.place_m)
                                         : travel(path, motion, random, from_m, stop.place_m);
    if (status != SM_OK) {
        return status;
    }
    stop.start_s = (double)path->n / SM_SIM_PATH_HZ;
    double for_s = sm_test_uniform(random, motion->stand_min_s, motion->stand_max_s);
    stop.end_s = stop.start_s + for_s;
    status = stand(path, stop.place_m, for_s);
    return status == SM_OK ? add_stop(path, stop) : status;
}

/* Next stop in the order of the pipe: items' logged places and the ends of continuous ones, merged. */
static bool next_stop(const struct sm_sim_scenario *scenario, bool *is_done, struct sm_sim_stop *out)
{
    double best_m = (double)INFINITY;
    size_t best_idx = 0;
    for (size_t i = 0; i < 2 * scenario->n_items; i++) {
        const struct sm_sim_item *item = &scenario->item[i / 2];
        bool is_end = i % 2 == 1;
        double place_m = is_end ? item->end_m : item->distance_m;
        if (is_done[i] || (is_end && item->continuous_id == 0) || place_m >= best_m) {
            continue;
        }
        best_m = place_m;
        best_idx = i;
    }
    if (isinf(best_m)) {
        return false;
    }
    is_done[best_idx] = true;
    *out = (struct sm_sim_stop){.item_idx = best_idx / 2, .is_end = best_idx % 2 == 1, .place_m = best_m};
    return true;
}

static enum sm_status run_legs(struct sm_sim_path *path, const struct sm_sim_opts *opts,
                               const struct sm_sim_scenario *scenario, bool *is_done)
{
    struct sm_test_random random = sm_sim__stream(opts->seed, SM_SIM_STREAM_MOTION);
    double last_m = opts->motion.stop_at_m > 0 ? opts->motion.stop_at_m : opts->pipe.length_m;
    enum sm_status status = SM_OK;
    struct sm_sim_stop stop;
    while (status == SM_OK && next_stop(scenario, is_done, &stop) && stop.place_m <= last_m) {
        if (stop.place_m >= opts->motion.start_m) {
            status = run_leg(path, opts, &random, stop);
        }
    }
    if (status == SM_OK && path->n > 0 && last_m - path->place_m[path->n - 1] > 0.01) {
        status = travel(path, &opts->motion, &random, path->place_m[path->n - 1], last_m);
    }
    return status;
}

/* When the camera first passes the place where the counter is set anew. */
static double find_set_time(const struct sm_sim_path *path, double set_at_m)
{
    for (size_t i = 0; set_at_m >= 0 && i < path->n; i++) {
        if (path->place_m[i] >= set_at_m) {
            return (double)i / SM_SIM_PATH_HZ;
        }
    }
    return SM_NAN;
}

enum sm_status sm_sim__path_make(struct sm_sim_path *out, const struct sm_sim_opts *opts,
                                 const struct sm_sim_scenario *scenario, struct sm_error *err)
{
    struct sm_sim_path made = {.run_start_s = opts->overlay.black_s + opts->overlay.title_s};
    bool *is_done = sm_calloc(2 * scenario->n_items, sizeof *is_done);
    enum sm_status status = is_done ? SM_OK : SM_E_NOMEM;
    if (status == SM_OK) {
        status = stand(&made, opts->motion.start_m,
                       made.run_start_s + opts->overlay.not_running_s + opts->motion.lead_in_s);
    }
    if (status == SM_OK) {
        status = run_legs(&made, opts, scenario, is_done);
    }
    if (status == SM_OK && made.n > 0) {
        status = stand(&made, made.place_m[made.n - 1], opts->motion.lead_out_s);
    }
    sm_free(is_done);
    if (status == SM_OK && made.n == 0) {
        status = sm_error_set(err, SM_E_RANGE, "the run has no length");
    }
    if (status != SM_OK) {
        sm_sim__path_release(&made);
        return status;
    }
    made.duration_s = (double)made.n / SM_SIM_PATH_HZ;
    made.set_s = find_set_time(&made, opts->counter.set_at_m);
    *out = made;
    return SM_OK;
}

void sm_sim__path_release(struct sm_sim_path *path)
{
    sm_free(path->place_m);
    sm_free(path->stop);
    *path = (struct sm_sim_path){0};
}

double sm_sim__path_at(const struct sm_sim_path *path, double time_s)
{
    double at = fmin(fmax(time_s * SM_SIM_PATH_HZ, 0), (double)(path->n - 1));
    size_t before = (size_t)at, after = before + 1 < path->n ? before + 1 : before;
    return path->place_m[before] + (path->place_m[after] - path->place_m[before]) * (at - (double)before);
}

const struct sm_sim_stop *sm_sim__path_stop_at(const struct sm_sim_path *path, double time_s)
{
    for (size_t i = 0; i < path->n_stops; i++) {
        if (time_s >= path->stop[i].start_s && time_s < path->stop[i].end_s) {
            return &path->stop[i];
        }
    }
    return NULL;
}

/* ---- counter
 * ------------------------------------------------------------------------------------------------- */

double sm_sim__counter_value(const struct sm_sim_opts *opts, double place_m, bool is_set_anew)
{
    const struct sm_sim_counter_opts *counter = &opts->counter;
    double per_m = counter->scale / (counter->unit == SM_SIM_FEET ? SM_M_PER_FT : 1.0);
    if (is_set_anew) {
        return counter->set_to + (place_m - counter->set_at_m) * per_m;
    }
    return (place_m - counter->offset_m) * per_m;
}

int64_t sm_sim__counter_counts(const struct sm_sim_opts *opts, const struct sm_sim_path *path, double time_s)
{
    static const double power[] = {1, 10, 100, 1000};
    const struct sm_sim_counter_opts *counter = &opts->counter;
    assert(counter->decimals >= 0 && counter->decimals <= 3);
    double seen_s = time_s - counter->lag_s;
    if (counter->update_s > 0) {
        seen_s = floor(seen_s / counter->update_s + 1e-9) * counter->update_s;
    }
    bool is_set_anew = !isnan(path->set_s) && seen_s >= path->set_s;
    double value = sm_sim__counter_value(opts, sm_sim__path_at(path, seen_s), is_set_anew);
    return llround(value * power[counter->decimals]);
}

void sm_sim__counter_reading(int64_t counts, int64_t decimals, struct sm_text *out)
{
    static const int64_t power[] = {1, 10, 100, 1000};
    int64_t size = counts < 0 ? -counts : counts;
    sm_text_addf(out, "%s%lld", counts < 0 ? "-" : "", (long long)(size / power[decimals]));
    if (decimals > 0) {
        sm_text_addf(out, ".%0*lld", (int)decimals, (long long)(size % power[decimals]));
    }
}

/* Prefixes and suffixes come from a command line: "_" stands for a blank. */
static void add_affix(struct sm_text *out, const char *affix)
{
    for (; *affix; affix++) {
        sm_text_add_n(out, *affix == '_' ? " " : affix, 1);
    }
}

void sm_sim__counter_text(const struct sm_sim_counter_opts *counter, int64_t counts, struct sm_text *out)
{
    struct sm_text number = {0};
    sm_sim__counter_reading(counts < 0 ? -counts : counts, counter->decimals, &number);
    const char *digits = sm_text_str(&number);
    size_t n_int = strcspn(digits, "."), n_wanted = (size_t)counter->int_digits;
    const char *sign = counts < 0 ? "-" : counter->sign == SM_SIM_SIGN_ALWAYS ? "+" : "";
    add_affix(out, counter->prefix);
    for (size_t i = n_int; counter->fill == SM_SIM_FILL_BLANK && i < n_wanted; i++) {
        sm_text_add(out, " ");
    }
    sm_text_add(out, sign);
    for (size_t i = n_int; counter->fill == SM_SIM_FILL_ZERO && i < n_wanted; i++) {
        sm_text_add(out, "0");
    }
    sm_text_add_n(out, digits, n_int);
    if (digits[n_int]) {
        sm_text_addf(out, "%s%s", counter->has_comma ? "," : ".", digits + n_int + 1);
    }
    add_affix(out, counter->suffix);
    out->failed = out->failed || number.failed;
    sm_text_release(&number);
}

void sm_sim__counter_idle_text(const struct sm_sim_counter_opts *counter, struct sm_text *out)
{
    add_affix(out, counter->prefix);
    for (int64_t i = 0; i < counter->int_digits; i++) {
        sm_text_add(out, "_");
    }
    if (counter->decimals > 0) {
        sm_text_add(out, counter->has_comma ? "," : ".");
    }
    for (int64_t i = 0; i < counter->decimals; i++) {
        sm_text_add(out, "_");
    }
    add_affix(out, counter->suffix);
}
