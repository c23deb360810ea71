/*
 * Log rows into observations: one each, except rows that belong to the start of a continuous defect. Extent
 * and flags are settled here, what is done about them in settle_defects.c; where distances come from is not this
 * file's business any more.
 */
#include "align_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* An observation may lie this far outside of the pipe before it is worth a word; common practice, no source.
 */
#define BEYOND_M 0.1

static double distance_of(const struct sm_align__work *work, size_t idx)
{
    return sm_align__axis_at(&work->axis, work->place[idx].count_m) + work->sheet->view_ahead_m;
}

static bool copy_words(struct sm_observation *out, const struct sm_log_entry *entry, struct sm_arena *arena)
{
    out->code = sm_arena_strdup(arena, entry->code);
    out->ch1 = sm_arena_strdup(arena, entry->ch1 ? entry->ch1 : "");
    out->ch2 = sm_arena_strdup(arena, entry->ch2 ? entry->ch2 : "");
    out->q1 = sm_arena_strdup(arena, entry->q1 ? entry->q1 : "");
    out->q2 = sm_arena_strdup(arena, entry->q2 ? entry->q2 : "");
    out->remark = sm_arena_strdup(arena, entry->remark ? entry->remark : "");
    return out->code && out->ch1 && out->ch2 && out->q1 && out->q2 && out->remark;
}

static void copy_numbers(struct sm_observation *out, const struct sm_align__work *work, size_t idx)
{
    const struct sm_log_entry *entry = &work->log->entry[idx];
    const struct sm_align__place *place = &work->place[idx];
    out->entry_idx = (int32_t)idx;
    out->end_entry_idx = work->end_idx[idx];
    out->q1_value = entry->q1_value;
    out->q2_value = entry->q2_value;
    out->clock_from_h = entry->clock_from_h;
    out->clock_to_h = entry->clock_to_h;
    out->is_at_joint = entry->is_at_joint;
    out->diameter_mm = entry->diameter_mm;
    out->time_s = place->time_s;
    out->reading = place->reading;
    out->logged_m = place->logged_m;
    out->distance_m = distance_of(work, idx);
    out->source = place->source;
    out->flags = place->flags;
}

/* Diameter of a connection: its own column, else a quantification in mm (EN BCA), else what the sheet
 * assumes. */
static double connection_diameter_mm(const struct sm_align__work *work, const struct sm_log_entry *entry,
                                     const struct sm_code_info *info)
{
    if (entry->diameter_mm > 0) {
        return entry->diameter_mm;
    }
    if (strcmp(info->q1_unit, "mm") == 0 && entry->q1_value > 0) {
        return entry->q1_value;
    }
    return work->sheet->rules.connection_diameter_mm;
}

static bool measures_length(const struct sm_log_entry *entry, const struct sm_code_info *info)
{
    /* BAC: q1 is the length along the pipe in mm (Swiss VSA guideline 2023 annex C, as transcribed) */
    return strcmp(entry->code, "BAC") == 0 && strcmp(info->q1_unit, "mm") == 0 && entry->q1_value > 0;
}

static void set_extent(struct sm_observation *out, const struct sm_align__work *work,
                       const struct sm_code_info *info)
{
    const struct sm_log_entry *entry = &work->log->entry[out->entry_idx];
    out->start_m = out->distance_m;
    out->end_m = out->distance_m;
    if (out->end_entry_idx >= 0) {
        double end_m = distance_of(work, (size_t)out->end_entry_idx);
        out->start_m = fmin(out->distance_m, end_m);
        out->end_m = fmax(out->distance_m, end_m);
        out->flags |= work->place[out->end_entry_idx].flags;
    } else if (info->is_connection) {
        out->diameter_mm = connection_diameter_mm(work, entry, info);
        out->start_m = out->distance_m - out->diameter_mm / 2000;
        out->end_m = out->distance_m + out->diameter_mm / 2000;
    } else if (measures_length(entry, info) && entry->continuous == SM_CONTINUOUS_NONE) {
        out->end_m =
            out->distance_m + entry->q1_value / 1000; /* the row is written where the defect begins */
    }
}

/* An end that cannot be placed leaves the defect open. */
static bool is_open(const struct sm_align__work *work, const struct sm_observation *observation)
{
    const struct sm_log_entry *entry = &work->log->entry[observation->entry_idx];
    return entry->continuous == SM_CONTINUOUS_START &&
           (observation->end_entry_idx < 0 || isnan(work->place[observation->end_entry_idx].count_m));
}

/*
 * What a row says about the run. A code for either end (North American access points) is the finish when a
 * start came before it, or at least another row; on an abandoned run it is an access point on the way.
 */
static void note_run(struct sm_align__work *work, const struct sm_code_info *info)
{
    size_t idx = work->out->n_observations - 1;
    bool is_either = info->is_start_node && info->is_finish_node;
    work->is_abandoned |= info->is_abandoned;
    if (!info->is_finish_node || (is_either && idx == 0) || isnan(work->out->observation[idx].distance_m)) {
        return;
    }
    work->finish_idx = (int32_t)idx;
    work->is_finish_either = is_either;
}

static enum sm_status observe_entry(struct sm_align__work *work, size_t idx, struct sm_error *err)
{
    struct sm_observation *out = &work->out->observation[work->out->n_observations];
    const struct sm_log_entry *entry = &work->log->entry[idx];
    struct sm_code_info info = {.q1_unit = "", .q2_unit = ""};
    if (!copy_words(out, entry, work->out->arena)) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for observation %zu", work->out->n_observations + 1);
    }
    work->out->n_observations++;
    snprintf(out->id, sizeof out->id, "O%zu", work->out->n_observations);
    copy_numbers(out, work, idx);
    if (!sm_codes_find(work->codes, entry->code, out->ch1, &info)) {
        out->flags |= SM_FLAG_UNKNOWN_CODE;
        info = (struct sm_code_info){.q1_unit = "", .q2_unit = ""};
    }
    out->is_node = info.is_node || info.is_start_node || info.is_finish_node;
    out->is_connection = info.is_connection;
    note_run(work, &info);
    set_extent(out, work, &info);
    if (isnan(out->distance_m)) {
        out->flags |= SM_FLAG_NO_DISTANCE;
    }
    return SM_OK;
}

/* Rows that belong to another's observation have a place of their own all the same. */
static enum sm_status note_places(struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->log->n_entries;
    double *entry_m = sm_arena_alloc(work->out->arena, (n + 1) * sizeof *entry_m);
    if (!entry_m) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu distances", n);
    }
    for (size_t i = 0; i < n; i++) {
        entry_m[i] = distance_of(work, i);
    }
    work->out->n_entries = n;
    work->out->entry_m = entry_m;
    return SM_OK;
}

enum sm_status sm_align__observe(struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->log->n_entries;
    work->finish_idx = -1;
    work->out->observation = sm_arena_alloc(work->out->arena, (n + 1) * sizeof *work->out->observation);
    if (!work->out->observation) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu observations", n);
    }
    enum sm_status status = note_places(work, err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        if (work->owner[i] == (int32_t)i) {
            status = observe_entry(work, i, err);
        }
    }
    if (work->is_abandoned && work->is_finish_either) {
        work->finish_idx = -1;
    }
    return status;
}

static enum sm_status close_open(struct sm_align__work *work, struct sm_observation *observation,
                                 struct sm_error *err)
{
    double end_m = sm_align__seen_end_m(work);
    struct sm_text text = {0};
    observation->flags |= SM_FLAG_OPEN_CONTINUOUS;
    observation->start_m = observation->distance_m;
    observation->end_m = fmax(observation->distance_m, end_m); /* fmax passes over a NAN */
    sm_text_addf(&text, "continuous %s has no end: taken to go on to ", observation->code);
    if (isnan(observation->end_m)) {
        sm_text_add(&text, "an unknown place");
    } else {
        sm_align__add_length(&text, work, observation->end_m);
        sm_text_add(&text, ", the last place seen");
    }
    sm_text_add(&text, "; look at the footage and add the end row");
    return sm_align__report(work, SM_FLAG_OPEN_CONTINUOUS, SM_SEVERITY_WARNING, observation->entry_idx, &text,
                            err);
}

enum sm_status sm_align__close_extents(struct sm_align__work *work, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < work->out->n_observations; i++) {
        if (is_open(work, &work->out->observation[i])) {
            status = close_open(work, &work->out->observation[i], err);
        }
    }
    return status;
}

static bool is_beyond(const struct sm_align__work *work, const struct sm_observation *observation)
{
    double low_m = observation->is_connection ? observation->distance_m : observation->start_m;
    double high_m = observation->is_connection ? observation->distance_m : observation->end_m;
    double room_m = fmax(BEYOND_M, 2 * sm_last_digit_m(&work->format)) + 1e-9;
    return low_m < -room_m || high_m > work->out->length_m + room_m; /* false for NAN */
}

static enum sm_status report_flag(struct sm_align__work *work, const struct sm_observation *observation,
                                  enum sm_flag flag, struct sm_error *err)
{
    struct sm_text text = {0};
    if (flag == SM_FLAG_BEYOND_SEGMENT) {
        sm_text_addf(&text, "%s at ", observation->code);
        sm_align__add_length(&text, work, observation->distance_m);
        sm_text_add(&text, " lies outside of the pipe, which is ");
        sm_align__add_length(&text, work, work->out->length_m);
        sm_text_add(&text, " long: wrong distance, wrong length, or another datum?");
    } else if (flag == SM_FLAG_NO_DISTANCE) {
        sm_text_addf(&text, "%s has no place: no logged distance and no reading in the picture",
                     observation->code);
    } else if (flag == SM_FLAG_TIME_OUTSIDE_VIDEO) {
        sm_text_addf(&text, "%s was logged at ", observation->code);
        sm_align__add_time(&text, observation->time_s);
        sm_text_add(&text, ", which is outside of the video");
    } else if (flag == SM_FLAG_UNKNOWN_CODE) {
        sm_text_addf(&text, "code %s is in no table: referred to an engineer", observation->code);
    } else {
        sm_text_addf(&text, "the picture shows no counter that can be read at ");
        sm_align__add_time(&text, observation->time_s);
        sm_text_add(&text, observation->source == SM_DISTANCE_LOG ? ": the logged distance is used"
                           : observation->source == SM_DISTANCE_PICTURE
                               ? ": carried from the readings around it"
                               : "");
    }
    return sm_align__report(work, flag, SM_SEVERITY_WARNING, observation->entry_idx, &text, err);
}

enum sm_status sm_align__judge(struct sm_align__work *work, struct sm_error *err)
{
    static const enum sm_flag told[] = {SM_FLAG_BEYOND_SEGMENT, SM_FLAG_NO_DISTANCE,
                                        SM_FLAG_TIME_OUTSIDE_VIDEO, SM_FLAG_UNKNOWN_CODE,
                                        SM_FLAG_COUNTER_UNREAD};
    enum sm_status status = sm_align__decide(work, err);
    if (status == SM_OK) {
        status = sm_align__overrule(work, err);
    }
    for (size_t i = 0; status == SM_OK && i < work->out->n_observations; i++) {
        struct sm_observation *observation = &work->out->observation[i];
        observation->flags |= is_beyond(work, observation) ? SM_FLAG_BEYOND_SEGMENT : 0;
        sm_align__position_error(observation, work);
        for (size_t k = 0; status == SM_OK && k < sizeof told / sizeof *told; k++) {
            if (observation->flags & told[k]) {
                status = report_flag(work, observation, told[k], err);
            }
        }
    }
    return status;
}
