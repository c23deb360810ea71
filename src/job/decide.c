/*
 * What a reviewer decided, worked into a survey. Rules, ties and treatments go into the sheet, words and clock into the
 * log's rows, readings into the trace: all that before alignment, which then draws its own conclusions. Extents moved by
 * hand and withdrawals come after it, because they overrule what it concludes.
 *
 * Observations keep their names whatever is decided: rows are never taken out of the log, and an added one that
 * was taken back keeps its place in line as long as a later one stands.
 */
#include "job_internal.h"

#include "stopmark/align.h"
#include "stopmark/sheet.h"
#include "stopmark/trace.h"

#include <stdio.h>
#include <string.h>

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

static double number_of(const char *text)
{
    double value;
    return sm_parse_number(or_empty(text), &value) ? value : SM_NAN;
}

/* ---- the sheet ---- */

/* The sheet's words can only set a tie, not take one away. */
static enum sm_status drop_tie(struct sm_sheet *sheet, double reading, struct sm_error *err)
{
    struct sm_tie *left = sm_arena_alloc(sheet->arena, (sheet->n_ties + 1) * sizeof *left);
    size_t n = 0;
    for (size_t i = 0; left && i < sheet->n_ties; i++) {
        if (fabs(sheet->tie[i].reading - reading) > 1e-9) {
            left[n++] = sheet->tie[i];
        }
    }
    if (!left) {
        return sm_job__no_memory(err);
    }
    sheet->tie = left;
    sheet->n_ties = n;
    return SM_OK;
}

static enum sm_status decide_tie(struct sm_sheet *sheet, const struct sm_review_decision *decision,
                                 struct sm_error *err)
{
    if (!isfinite(decision->distance_m)) {
        return drop_tie(sheet, number_of(decision->reading), err);
    }
    struct sm_text key = {0};
    struct sm_text value = {0};
    sm_text_addf(&key, "ties.%s", or_empty(decision->reading));
    sm_text_add_number(&value, decision->distance_m, 0, 4);
    sm_text_add(&value, " m");
    enum sm_status status = key.failed || value.failed ? sm_job__no_memory(err)
                                                       : sm_sheet_set(sheet, key.data, value.data, err);
    sm_text_release(&key);
    sm_text_release(&value);
    return status;
}

static enum sm_status decide_rule(struct sm_sheet *sheet, const struct sm_review_decision *decision,
                                  struct sm_error *err)
{
    struct sm_text key = {0};
    sm_text_addf(&key, "rules.%s", or_empty(decision->rule));
    enum sm_status status =
        key.failed ? sm_job__no_memory(err) : sm_sheet_set(sheet, key.data, or_empty(decision->value), err);
    sm_text_release(&key);
    return status;
}

static enum sm_status decide_treatment(struct sm_sheet *sheet, const struct sm_review_decision *decision,
                                       struct sm_error *err)
{
    struct sm_sheet_decision word = {
        .treatment = decision->treatment, .reason = or_empty(decision->reason), .is_of_review = true};
    sm_strcopy(word.id, sizeof word.id, or_empty(decision->observation));
    return sm_sheet_decide(sheet, &word, err);
}

enum sm_status sm_job__decide_sheet(struct sm_sheet *sheet, const struct sm_job__decisions *decisions,
                                    struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < decisions->n; i++) {
        const struct sm_review_decision *decision = &decisions->item[i];
        if (decisions->is_active[i] && decision->act == SM_REVIEW_TIE) {
            status = decide_tie(sheet, decision, err);
        } else if (decisions->is_active[i] && decision->act == SM_REVIEW_RULE) {
            status = decide_rule(sheet, decision, err);
        } else if (decisions->is_active[i] && decision->act == SM_REVIEW_TREATMENT) {
            status = decide_treatment(sheet, decision, err);
        }
    }
    return status;
}

/* ---- the log's rows ---- */

static const struct sm_observation *find_observation(const struct sm_alignment *alignment, const char *id)
{
    for (size_t i = 0; id && i < alignment->n_observations; i++) {
        if (strcmp(alignment->observation[i].id, id) == 0) {
            return &alignment->observation[i];
        }
    }
    return NULL;
}

/* A word said replaces the one there; "" says that there is none. */
static bool take_word(const char **word, const char *said, struct sm_arena *arena)
{
    if (said) {
        *word = sm_arena_strdup(arena, said);
    }
    return *word != NULL;
}

static enum sm_status take_code(struct sm_log_entry *entry, const struct sm_review_decision *decision,
                                struct sm_arena *arena, struct sm_error *err)
{
    if (!take_word(&entry->code, decision->code, arena) || !take_word(&entry->ch1, decision->ch1, arena) ||
        !take_word(&entry->ch2, decision->ch2, arena) || !take_word(&entry->q1, decision->q1, arena) ||
        !take_word(&entry->q2, decision->q2, arena)) {
        return sm_job__no_memory(err);
    }
    entry->q1_value = number_of(entry->q1);
    entry->q2_value = number_of(entry->q2);
    return SM_OK;
}

static enum sm_status decide_entry(struct sm_log_entry *entry, const struct sm_review_decision *decision,
                                   struct sm_arena *arena, struct sm_error *err)
{
    if (decision->act == SM_REVIEW_CODE) {
        return take_code(entry, decision, arena, err);
    }
    if (decision->act == SM_REVIEW_CLOCK) {
        entry->clock_from_h = decision->clock_from_h;
        entry->clock_to_h = decision->clock_to_h;
    } else if (decision->act == SM_REVIEW_TAKE_PICTURE) {
        entry->prefer = SM_DISTANCE_PICTURE;
    } else if (decision->act == SM_REVIEW_TAKE_LOG) {
        entry->prefer = SM_DISTANCE_LOG;
    }
    return SM_OK;
}

/* The k-th added observation comes behind those of the log, and so does its row. */
static void entries_of(int32_t entry_idx[2], const struct sm_job *first, const char *id)
{
    const struct sm_observation *observation = find_observation(first->alignment, id);
    int64_t number = 0;
    entry_idx[0] = observation ? observation->entry_idx : -1;
    entry_idx[1] = observation ? observation->end_entry_idx : -1;
    if (!observation && id && id[0] == 'O' && sm_parse_int(id + 1, 1, INT32_MAX, &number) &&
        number > (int64_t)first->alignment->n_observations) {
        entry_idx[0] =
            (int32_t)((int64_t)first->log->n_entries + number - (int64_t)first->alignment->n_observations - 1);
    }
}

static enum sm_status decide_rows(struct sm_job *job, const struct sm_job *first,
                                  const struct sm_review_decision *decision, struct sm_error *err)
{
    int32_t entry_idx[2];
    enum sm_status status = SM_OK;
    entries_of(entry_idx, first, decision->observation);
    for (int k = 0; status == SM_OK && k < 2; k++) {
        if (entry_idx[k] >= 0 && (size_t)entry_idx[k] < job->log->n_entries) {
            status = decide_entry(&job->log->entry[entry_idx[k]], decision, job->log->arena, err);
        }
    }
    return status;
}

/* Rows wanted behind the log's own: up to the last addition that counts. */
static size_t count_added(const struct sm_job__decisions *decisions)
{
    size_t n = 0;
    size_t n_wanted = 0;
    for (size_t i = 0; i < decisions->n; i++) {
        if (decisions->item[i].act == SM_REVIEW_ADD) {
            n++;
            n_wanted = decisions->is_active[i] ? n : n_wanted;
        }
    }
    return n_wanted;
}

/* The row a person would have written: in the log's own time. */
static enum sm_status fill_added(struct sm_log_entry *entry, const struct sm_review_decision *decision,
                                 const struct sm_job *first, struct sm_arena *arena, struct sm_error *err)
{
    double offset_s = first->merged.log_time == SM_LOG_TIME_CLOCK ? first->alignment->clock_offset_s : 0;
    *entry = (struct sm_log_entry){.time_s = decision->time_s + offset_s,
                                   .distance_m = decision->distance_m,
                                   .distance_digit_m = isfinite(decision->distance_m) ? 0.01 : SM_NAN,
                                   .code = "",
                                   .ch1 = "",
                                   .ch2 = "",
                                   .q1 = "",
                                   .q2 = "",
                                   .clock_from_h = decision->clock_from_h,
                                   .clock_to_h = decision->clock_to_h,
                                   .diameter_mm = SM_NAN,
                                   .photo = "",
                                   .prefer = isfinite(decision->distance_m) ? SM_DISTANCE_LOG
                                                                            : SM_DISTANCE_UNKNOWN};
    entry->remark = sm_arena_strdup(arena, or_empty(decision->reason));
    return entry->remark ? take_code(entry, decision, arena, err) : sm_job__no_memory(err);
}

static enum sm_status add_rows(struct sm_job *job, const struct sm_job *first,
                               const struct sm_job__decisions *decisions, struct sm_error *err)
{
    size_t n = job->log->n_entries;
    size_t n_added = count_added(decisions);
    if (n_added == 0) {
        return SM_OK;
    }
    struct sm_log_entry *all = sm_realloc(job->log->entry, n + n_added, sizeof *all);
    if (!all) {
        return sm_job__no_memory(err);
    }
    job->log->entry = all;
    enum sm_status status = SM_OK;
    size_t k = 0;
    for (size_t i = 0; status == SM_OK && k < n_added; i++) {
        if (decisions->item[i].act == SM_REVIEW_ADD) {
            status = fill_added(&all[n + k++], &decisions->item[i], first, job->log->arena, err);
        }
    }
    job->log->n_entries = n + n_added;
    return status;
}

enum sm_status sm_job__decide_log(struct sm_job *job, const struct sm_job *first,
                                  const struct sm_job__decisions *decisions, struct sm_error *err)
{
    enum sm_status status = first ? add_rows(job, first, decisions, err) : SM_OK;
    for (size_t i = 0; status == SM_OK && i < decisions->n; i++) {
        if (decisions->is_active[i] && decisions->item[i].act != SM_REVIEW_ADD) {
            status = decide_rows(job, first, &decisions->item[i], err);
        }
    }
    return status;
}

/* ---- the trace ---- */

static int64_t power_of_ten(int32_t exponent)
{
    int64_t power = 1;
    for (int32_t i = 0; i < exponent; i++) {
        power *= 10;
    }
    return power;
}

static void put_reading(struct sm_trace *trace, const struct sm_review_decision *decision)
{
    struct sm_reading reading = {decision->time_s, 0, 1.0F, SM_READING_READ};
    reading.counts =
        llround(number_of(decision->reading) * (double)power_of_ten(trace->format.decimals));
    size_t at = sm_trace_first_after(trace, decision->time_s - 0.0005);
    bool is_there = at < trace->n_readings && trace->reading[at].time_s <= decision->time_s + 0.0005;
    if (!is_there) {
        memmove(&trace->reading[at + 1], &trace->reading[at],
                (trace->n_readings - at) * sizeof *trace->reading);
        trace->n_readings++;
    } else {
        reading.time_s = trace->reading[at].time_s;
    }
    trace->reading[at] = reading;
}

static enum sm_status copy_trace(struct sm_trace **out, const struct sm_trace *trace, size_t n_more,
                                 struct sm_error *err)
{
    struct sm_trace *copy = sm_calloc(1, sizeof *copy);
    struct sm_reading *reading = sm_calloc(trace->n_readings + n_more + 1, sizeof *reading);
    double *jump_s = sm_calloc(trace->n_jumps + 1, sizeof *jump_s);
    if (!copy || !reading || !jump_s) {
        sm_free(copy);
        sm_free(reading);
        sm_free(jump_s);
        return sm_job__no_memory(err);
    }
    *copy = *trace;
    copy->reading = memcpy(reading, trace->reading, trace->n_readings * sizeof *reading);
    copy->jump_time_s = jump_s;
    if (trace->n_jumps) {
        memcpy(jump_s, trace->jump_time_s, trace->n_jumps * sizeof *jump_s);
    }
    *out = copy;
    return SM_OK;
}

enum sm_status sm_job__decide_trace(struct sm_trace **out, const struct sm_trace *trace,
                                    const struct sm_job__decisions *decisions, struct sm_error *err)
{
    enum sm_status status = copy_trace(out, trace, decisions->n, err);
    for (size_t i = 0; status == SM_OK && i < decisions->n; i++) {
        if (decisions->is_active[i] && decisions->item[i].act == SM_REVIEW_READING) {
            put_reading(*out, &decisions->item[i]);
        }
    }
    return status;
}

/* ---- observations ---- */

static void move(struct sm_observation *observation, const struct sm_review_decision *decision,
                 const struct sm_job *job)
{
    double half_m = (decision->end_m - decision->start_m) / 2;
    observation->start_m = decision->start_m;
    observation->end_m = decision->end_m;
    observation->distance_m =
        observation->is_connection ? decision->start_m + half_m : decision->start_m;
    if (observation->is_connection && half_m <= 0) { /* moved by its middle: as wide as it was */
        observation->start_m = observation->distance_m - observation->diameter_mm / 2000;
        observation->end_m = observation->distance_m + observation->diameter_mm / 2000;
    }
    observation->flags &= ~(uint32_t)(SM_FLAG_NO_DISTANCE | SM_FLAG_OPEN_CONTINUOUS | SM_FLAG_BEYOND_SEGMENT);
    if (isnan(observation->error_m)) { /* it had no place before */
        observation->error_placement_m = job->merged.rules.placement_m;
        observation->error_reading_m = 0;
        observation->error_distance_m = job->merged.rules.distance_error_m;
        observation->error_m = observation->error_placement_m + observation->error_distance_m;
    }
}

static const char *say(struct sm_job *job, const char *what, const struct sm_review_decision *decision)
{
    const char *reason = or_empty(decision->reason);
    return sm_arena_printf(job->alignment->arena, "%s%s%s", what, *reason ? ": " : "", reason);
}

static enum sm_status decide_place(struct sm_job *job, struct sm_observation *observation,
                                   const struct sm_review_decision *decision, struct sm_error *err)
{
    if (decision->act == SM_REVIEW_MOVE) {
        move(observation, decision, job);
    } else if (decision->act == SM_REVIEW_WITHDRAW) {
        observation->treatment = SM_TREATMENT_NONE;
        observation->reason = say(job, "withdrawn in review", decision);
        observation->prepare = "";
        observation->is_connection = false;
        observation->flags = 0;
    }
    return observation->reason && observation->prepare ? SM_OK : sm_job__no_memory(err);
}

static struct sm_observation *observation_named(struct sm_job *job, const char *id)
{
    const struct sm_observation *found = find_observation(job->alignment, id);
    return found ? &job->alignment->observation[found - job->alignment->observation] : NULL;
}

/* Those that were added and taken back still stand in line when a later one counts: as withdrawn. */
static enum sm_status withdraw_undone(struct sm_job *job, const struct sm_job__decisions *decisions,
                                      struct sm_error *err)
{
    const struct sm_review_decision undone = {.act = SM_REVIEW_WITHDRAW, .reason = "not added"};
    size_t n_added = count_added(decisions);
    size_t idx = job->alignment->n_observations - n_added;
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && n_added; i++) {
        if (decisions->item[i].act == SM_REVIEW_ADD) {
            n_added--;
            struct sm_observation *observation = &job->alignment->observation[idx++];
            if (!decisions->is_active[i]) {
                status = decide_place(job, observation, &undone, err);
            }
        }
    }
    return status;
}

/* Who says what is to be done about an observation withdrawn before wants it back. */
static bool is_taken_back(const struct sm_job__decisions *decisions, size_t idx)
{
    bool is_back = false;
    for (size_t i = idx + 1; decisions->item[idx].act == SM_REVIEW_WITHDRAW && i < decisions->n; i++) {
        const struct sm_review_decision *later = &decisions->item[i];
        is_back = is_back || (decisions->is_active[i] && later->act == SM_REVIEW_TREATMENT &&
                              strcmp(later->observation, decisions->item[idx].observation) == 0);
    }
    return is_back;
}

enum sm_status sm_job__decide_places(struct sm_job *job, const struct sm_job__decisions *decisions,
                                     struct sm_error *err)
{
    enum sm_status status = withdraw_undone(job, decisions, err);
    for (size_t i = 0; status == SM_OK && i < decisions->n; i++) {
        struct sm_observation *observation = observation_named(job, decisions->item[i].observation);
        if (decisions->is_active[i] && observation && !is_taken_back(decisions, i)) {
            status = decide_place(job, observation, &decisions->item[i], err);
        }
    }
    return status;
}

/* ---- does it make sense? ---- */

static enum sm_status refuse(struct sm_error *err, const char *what, const char *remedy)
{
    sm_error_set(err, SM_E_RANGE, "%s", what);
    return sm_error_remedy(err, "%s", remedy);
}

static bool is_about_observation(enum sm_review_act act)
{
    return act == SM_REVIEW_CONFIRM || act == SM_REVIEW_TAKE_PICTURE || act == SM_REVIEW_TAKE_LOG ||
           act == SM_REVIEW_MOVE || act == SM_REVIEW_CODE || act == SM_REVIEW_CLOCK ||
           act == SM_REVIEW_TREATMENT || act == SM_REVIEW_WITHDRAW;
}

static bool is_hour(int32_t hour)
{
    return hour >= 0 && hour <= 12;
}

static bool is_code(const char *code)
{
    size_t n = strlen(or_empty(code));
    bool is_good = n >= 1 && n <= 12;
    for (size_t i = 0; is_good && i < n; i++) {
        is_good = (code[i] >= 'A' && code[i] <= 'Z') || (code[i] >= '0' && code[i] <= '9');
    }
    return is_good;
}

static enum sm_status check_values(const struct sm_review_decision *d, const struct sm_job *job,
                                   struct sm_error *err)
{
    bool needs_code = d->act == SM_REVIEW_ADD || (d->act == SM_REVIEW_CODE && d->code);
    if (needs_code && !is_code(d->code)) {
        return refuse(err, "that is no code", "give capital letters and digits, as in BAB");
    }
    if (!is_hour(d->clock_from_h) || !is_hour(d->clock_to_h)) {
        return refuse(err, "that is no clock position", "give 1 to 12, or nothing");
    }
    if (d->act == SM_REVIEW_MOVE &&
        !(d->start_m >= 0 && d->start_m <= d->end_m && d->end_m <= job->alignment->length_m + 1)) {
        return refuse(err, "that stretch does not lie in the pipe", "give a start and an end within its length");
    }
    bool is_timed = d->act == SM_REVIEW_READING || d->act == SM_REVIEW_ADD;
    if (is_timed && !(d->time_s >= 0 && d->time_s < 1e6)) {
        return refuse(err, "no time of the video is given", "choose a frame first");
    }
    if ((d->act == SM_REVIEW_READING || d->act == SM_REVIEW_TIE) && !(fabs(number_of(d->reading)) < 1e5)) {
        return refuse(err, "that is no reading of a counter", "give the number as on the picture, as in 12.34");
    }
    if (d->act == SM_REVIEW_READING && !job->trace) {
        return refuse(err, "this survey has no video", "move the observation instead");
    }
    if (d->act == SM_REVIEW_BOX && !(d->box.x_px >= 0 && d->box.y_px >= 0 && d->box.width_px > 0 &&
                                     d->box.height_px > 0)) {
        return refuse(err, "that box is empty", "draw it round the counter's digits");
    }
    return SM_OK;
}

enum sm_status sm_job__decision_check(const struct sm_review_decision *decision, const struct sm_job *job,
                                      struct sm_error *err)
{
    if (is_about_observation(decision->act) && !find_observation(job->alignment, decision->observation)) {
        return refuse(err, "there is no such observation", "choose one of the list");
    }
    if (decision->act == SM_REVIEW_TREATMENT && !*or_empty(decision->reason)) {
        return refuse(err, "a treatment is changed without a reason", "say why in a few words");
    }
    return check_values(decision, job, err);
}
