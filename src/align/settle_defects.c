/*
 * What is done about each observation. Every row decides for the observation it belongs to; then observations
 * that speak about one physical defect are settled together: a hole that an engineer has to judge is not
 * lined because the row below it says that soil is seen through it.
 *
 * Rows belong together by where they were placed, not by what was typed: a distance that the picture refutes
 * says nothing, and equal numbers on both sides of a counter that was set anew are two places.
 */
#include "align_internal.h"

#include <math.h>
#include <string.h>

/* How much a treatment asks for: of several rows of one observation the most demanding decides. */
static int demand(enum sm_treatment treatment)
{
    switch (treatment) {
    case SM_TREATMENT_REFER:
        return 4;
    case SM_TREATMENT_PREPARE:
        return 3;
    case SM_TREATMENT_LINE:
        return 2;
    case SM_TREATMENT_CLEAR:
        return 1;
    case SM_TREATMENT_NONE:
        break;
    }
    return 0;
}

static void take(struct sm_observation *observation, const struct sm_decision *decision)
{
    observation->treatment = decision->treatment;
    observation->reason = decision->reason;
    observation->prepare = decision->prepare ? decision->prepare : "";
}

static enum sm_status decide_row(struct sm_align__work *work, struct sm_observation *observation,
                                 size_t entry_idx, struct sm_error *err)
{
    struct sm_decision decision = {0};
    enum sm_status status =
        sm_codes_decide(work->codes, &work->log->entry[entry_idx], work->sheet->segment.diameter_mm,
                        work->out->arena, &decision, err);
    if (status == SM_OK &&
        (!observation->reason || demand(decision.treatment) > demand(observation->treatment))) {
        take(observation, &decision);
    }
    return status;
}

/* ---- rows with the places they got ---- */

/* As logged where nothing speaks against it: two rows of one stop share the number the operator read, while
 * the counter may have crept on by a digit between them. */
static double place_of(const struct sm_align__work *work, size_t idx)
{
    const struct sm_align__place *place = &work->place[idx];
    bool is_believed = !isnan(place->logged_m) && !(place->flags & SM_FLAG_LOG_DISAGREES);
    return is_believed ? place->logged_m + work->stretch[place->stretch].log_shift_m : place->count_m;
}

/* A place off the picture is known to its digit, however finely others are logged. */
static double digit_of(const struct sm_align__work *work, size_t idx)
{
    double digit_m = work->log->entry[idx].distance_digit_m;
    return work->place[idx].source == SM_DISTANCE_PICTURE ? fmax(digit_m, sm_last_digit_m(&work->format))
                                                          : digit_m;
}

static struct sm_log_entry *placed_rows(const struct sm_align__work *work)
{
    size_t n = work->log->n_entries;
    struct sm_log_entry *row = sm_calloc(n + 1, sizeof *row);
    for (size_t i = 0; row && i < n; i++) {
        row[i] = work->log->entry[i];
        row[i].distance_m = place_of(work, i);
        row[i].distance_digit_m = digit_of(work, i);
        row[i].time_s = work->place[i].time_s;
    }
    return row;
}

/* ---- observations that are one defect ---- */

struct members {
    int32_t *group; /* per log entry: number of the defect, 0 = alone */
    int32_t *first; /* per group: its first observation, -1 = none yet */
    int32_t *next;  /* per observation: the next one of the same group, -1 = none */
    size_t n_groups;
};

static void release_members(struct members *members)
{
    sm_free(members->group);
    sm_free(members->first);
    sm_free(members->next);
}

/* Lists of observations in file order: walked from the last, each put in front of its group. */
static void list_members(struct members *members, struct sm_observation *observation, size_t n)
{
    for (size_t k = 0; k < members->n_groups; k++) {
        members->first[k] = -1;
    }
    for (size_t i = n; i-- > 0;) {
        int32_t group = members->group[observation[i].entry_idx];
        members->next[i] = -1;
        if (group > 0) {
            members->next[i] = members->first[group - 1];
            members->first[group - 1] = (int32_t)i;
        }
    }
}

static enum sm_status find_members(struct members *members, struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->log->n_entries;
    struct sm_log_entry *row = placed_rows(work);
    members->group = sm_calloc(n + 1, sizeof *members->group);
    members->next = sm_calloc(work->out->n_observations + 1, sizeof *members->next);
    enum sm_status status = SM_E_NOMEM;
    if (row && members->group && members->next) {
        status = sm_codes_group(members->group, work->codes, row, n, err);
    } else {
        sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", n);
    }
    sm_free(row);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        members->n_groups =
            (size_t)members->group[i] > members->n_groups ? (size_t)members->group[i] : members->n_groups;
    }
    if (status == SM_OK) {
        members->first = sm_calloc(members->n_groups + 1, sizeof *members->first);
        status = members->first ? SM_OK : sm_error_set(err, SM_E_NOMEM, "no memory for %zu groups", n);
    }
    return status;
}

/* Settle the observations of one group, decision and code being room for all of them. */
static enum sm_status settle_group(struct sm_align__work *work, const struct members *members, int32_t first,
                                   struct sm_decision *decision, const char **code, struct sm_error *err)
{
    struct sm_observation *observation = work->out->observation;
    size_t n = 0;
    for (int32_t i = first; i >= 0; i = members->next[i]) {
        decision[n] =
            (struct sm_decision){observation[i].treatment, observation[i].reason, observation[i].prepare};
        code[n++] = observation[i].code;
    }
    if (n < 2) { /* the other rows are parts of the same observation */
        return SM_OK;
    }
    enum sm_status status = sm_codes_combine(decision, code, n, work->out->arena, err);
    n = 0;
    for (int32_t i = first; status == SM_OK && i >= 0; i = members->next[i]) {
        observation[i].group = first + 1;
        take(&observation[i], &decision[n++]);
    }
    return status;
}

static enum sm_status settle_groups(struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->out->n_observations;
    struct members members = {0};
    struct sm_decision *decision = sm_calloc(n + 1, sizeof *decision);
    const char **code = sm_calloc(n + 1, sizeof *code);
    enum sm_status status = decision && code
                                ? find_members(&members, work, err)
                                : sm_error_set(err, SM_E_NOMEM, "no memory for %zu observations", n);
    if (status == SM_OK) {
        list_members(&members, work->out->observation, n);
    }
    for (size_t k = 0; status == SM_OK && k < members.n_groups; k++) {
        status = settle_group(work, &members, members.first[k], decision, code, err);
    }
    release_members(&members);
    sm_free(decision);
    sm_free(code);
    return status;
}

/* ---- all ---- */

static enum sm_status decide_rows(struct sm_align__work *work, struct sm_error *err)
{
    int32_t *observation_of = sm_calloc(work->log->n_entries + 1, sizeof *observation_of);
    if (!observation_of) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", work->log->n_entries);
    }
    for (size_t i = 0; i < work->out->n_observations; i++) {
        observation_of[work->out->observation[i].entry_idx] = (int32_t)i;
    }
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < work->log->n_entries; i++) {
        status = decide_row(work, &work->out->observation[observation_of[work->owner[i]]], i, err);
    }
    sm_free(observation_of);
    return status;
}

enum sm_status sm_align__decide(struct sm_align__work *work, struct sm_error *err)
{
    enum sm_status status = decide_rows(work, err);
    return status == SM_OK ? settle_groups(work, err) : status;
}
