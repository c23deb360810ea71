/*
 * What only shows when the rows of an inspection are seen together: distances and times that go the other way
 * than the rest, rows without a time among rows that have one. Told, never mended: the camera may have backed
 * up.
 */
#include "obslog_internal.h"

#include <stdlib.h>

/* Cameras on a cable seldom go farther in one run (common practice, no source). */
#define FARTHEST_M 500.0
/* A clock that goes back by more has passed midnight. */
#define HALF_A_DAY_S 43200.0

/* The inspection under the eye, with the row before the one in hand. */
struct order {
    struct sm_obslog_build *build;
    struct sm_obslog_part *part;
    bool is_feet;    /* people read the unit the log is written in */
    bool is_falling; /* most distances fall: a counter that runs back, or a run listed from its end */
    const struct sm_log_entry *last_placed, *last_timed, *farthest;
    double before_last_m,
        next_m; /* distances around: before last_placed, and the next behind the row in hand; NAN = none */
    int32_t entry_idx, last_placed_idx;
};

static const struct sm_log_entry *entry_at(const struct order *order, size_t k)
{
    return &order->build->file->entry[k].entry;
}

static size_t next_of(const struct order *order, size_t k)
{
    return order->build->file->entry[k].next;
}

static bool falls_mostly(const struct order *order)
{
    size_t n_up = 0, n_down = 0;
    double last_m = SM_NAN;
    for (size_t k = order->part->entries.first; k != SM_OBSLOG_NONE; k = next_of(order, k)) {
        double distance_m = entry_at(order, k)->distance_m;
        n_up += distance_m > last_m;
        n_down += distance_m < last_m;
        last_m = isnan(distance_m) ? last_m : distance_m;
    }
    return n_down > n_up;
}

static void add_distance(struct sm_text *text, const struct order *order, const struct sm_log_entry *entry)
{
    double unit_m = order->is_feet ? 0.3048 : 1;
    int decimals = entry->distance_digit_m < 0.05 * unit_m ? 2 : 1;
    sm_text_add_fixed(text, entry->distance_m / unit_m, decimals);
    sm_text_add(text, order->is_feet ? " ft" : " m");
}

static void add_time(struct sm_text *text, const struct sm_log_entry *entry)
{
    int64_t whole = (int64_t)floor(entry->time_s);
    sm_text_addf(text, "%s%02d:%02d:%02d", whole < 0 ? "-" : "", (int)(llabs(whole) / 3600),
                 (int)(llabs(whole) / 60 % 60), (int)(llabs(whole) % 60));
}

static enum sm_status tell(const struct order *order, const struct sm_log_entry *entry, int32_t entry_idx,
                           enum sm_severity severity, struct sm_text *text)
{
    enum sm_status status = text->failed ? SM_E_NOMEM
                                         : sm_obslog__odd_entry(order->build, entry->line, entry_idx,
                                                                severity, "%s", sm_text_str(text));
    sm_text_release(text);
    return status;
}

/* Of two rows whose distances go back: is it the first that fits nowhere, so that without it the rest is in
 * order? */
static bool is_last_the_odd_one(const struct order *order, const struct sm_log_entry *entry)
{
    double sign = order->is_falling ? -1 : 1;
    bool fits_without_last = !(sign * entry->distance_m < sign * order->before_last_m);
    bool fits_without_this = !(sign * order->next_m < sign * order->last_placed->distance_m);
    return fits_without_last && !fits_without_this;
}

static enum sm_status check_distance(const struct order *order, const struct sm_log_entry *entry)
{
    const struct sm_log_entry *last = order->last_placed;
    double step_m = last ? entry->distance_m - last->distance_m : 0;
    if (order->is_falling ? !(step_m > 0) : !(step_m < 0)) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, "the distance goes back from ");
    add_distance(&text, order, last);
    sm_text_add(&text, " to ");
    add_distance(&text, order, entry);
    sm_text_add(&text, ": rows swapped, a slip, or the camera backed up; look at both rows");
    bool is_last = is_last_the_odd_one(order, entry);
    return tell(order, is_last ? last : entry, is_last ? order->last_placed_idx : order->entry_idx,
                SM_SEVERITY_WARNING, &text);
}

static enum sm_status check_time(const struct order *order, const struct sm_log_entry *entry)
{
    const struct sm_log_entry *last = order->last_timed;
    double back_s = last ? last->time_s - entry->time_s : 0;
    if (!(back_s >= 1 && back_s < HALF_A_DAY_S)) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, "the time goes back from ");
    add_time(&text, last);
    sm_text_add(&text, " to ");
    add_time(&text, entry);
    sm_text_add(&text, ": rows swapped, a slip, or an entry made afterwards");
    return tell(order, entry, order->entry_idx, SM_SEVERITY_WARNING, &text);
}

/* Where most rows have none, it is said once, by finish(). */
static enum sm_status check_missing_time(const struct order *order, const struct sm_log_entry *entry)
{
    size_t n_without = order->part->n_entries - order->part->n_times;
    struct sm_text text = {0};
    if (!isnan(entry->time_s) || 2 * n_without > order->part->n_entries) {
        return SM_OK;
    }
    sm_text_add(&text, "the row has no time: its distance cannot be held against the picture");
    return tell(order, entry, order->entry_idx, SM_SEVERITY_NOTE, &text);
}

static double next_distance(const struct order *order, size_t k)
{
    for (k = next_of(order, k); k != SM_OBSLOG_NONE; k = next_of(order, k)) {
        if (!isnan(entry_at(order, k)->distance_m)) {
            return entry_at(order, k)->distance_m;
        }
    }
    return SM_NAN;
}

static enum sm_status check_entry(struct order *order, const struct sm_log_entry *entry)
{
    enum sm_status status = check_distance(order, entry);
    if (status == SM_OK) {
        status = check_time(order, entry);
    }
    if (status == SM_OK) {
        status = check_missing_time(order, entry);
    }
    if (!order->farthest || entry->distance_m > order->farthest->distance_m ||
        isnan(order->farthest->distance_m)) {
        order->farthest = entry;
    }
    if (!isnan(entry->distance_m)) {
        order->before_last_m = order->last_placed ? order->last_placed->distance_m : SM_NAN;
        order->last_placed = entry;
        order->last_placed_idx = order->entry_idx;
    }
    order->last_timed = isnan(entry->time_s) ? order->last_timed : entry;
    order->entry_idx++;
    return status;
}

static enum sm_status check_farthest(const struct order *order)
{
    if (!order->farthest || !(order->farthest->distance_m > FARTHEST_M)) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, "the log goes to ");
    add_distance(&text, order, order->farthest);
    sm_text_add(&text, ", farther than a camera usually does: a decimal slip, or another unit?");
    return tell(order, order->farthest, -1, SM_SEVERITY_WARNING, &text);
}

static enum sm_status finish(const struct order *order)
{
    size_t n = order->part->n_entries, n_without = n - order->part->n_times;
    enum sm_status status = check_farthest(order);
    if (status != SM_OK || order->part->n_times == 0 || 2 * n_without <= n) {
        return status;
    }
    return sm_obslog__note(order->build, 0,
                           "%zu of %zu rows have no time: their distances cannot be held against the picture",
                           n_without, n);
}

enum sm_status sm_obslog__check_order(struct sm_obslog_build *build, size_t part_idx)
{
    struct sm_obslog_part *part = &build->file->part[part_idx];
    struct order order = {.build = build,
                          .part = part,
                          .is_feet = 2 * part->n_feet > part->n_distances,
                          .before_last_m = SM_NAN};
    enum sm_status status = SM_OK;
    sm_obslog__resume(build, part_idx);
    order.is_falling = falls_mostly(&order);
    for (size_t k = part->entries.first; status == SM_OK && k != SM_OBSLOG_NONE; k = next_of(&order, k)) {
        order.next_m = next_distance(&order, k);
        status = check_entry(&order, entry_at(&order, k));
    }
    return status == SM_OK ? finish(&order) : status;
}
