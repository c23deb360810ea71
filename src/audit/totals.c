/* Sums over segments: by state, segment, treatment, kit, crew and month, ages, metres, and the warranty list. */
#include "audit_internal.h"

#include <stdio.h>
#include <string.h>

static const int age_limits_d[SM_AUDIT_N_AGES - 2] = {30, 90, 180, 365};

const char *sm_audit_group_name(enum sm_audit_group group)
{
    static const char *const names[SM_AUDIT_N_GROUPS] = {"segment", "treatment", "kit", "crew", "month"};
    return names[group];
}

const char *sm_audit_age_name(size_t age)
{
    static const char *const names[SM_AUDIT_N_AGES] = {"up to 30 days",  "up to 90 days", "up to 180 days",
                                                       "up to 365 days", "longer",        "not known"};
    return names[age];
}

enum sm_status sm_audit_totals_new(struct sm_audit_totals **out, int32_t warranty_months, struct sm_error *err)
{
    struct sm_audit_totals *totals = sm_calloc(1, sizeof *totals);
    if (!totals || sm_arena_new(&totals->arena) != SM_OK) {
        sm_free(totals);
        return sm_audit__no_memory(err);
    }
    totals->warranty_months = warranty_months;
    *out = totals;
    return SM_OK;
}

void sm_audit_totals_free(struct sm_audit_totals **totals)
{
    if (totals && *totals) {
        for (size_t g = 0; g < SM_AUDIT_N_GROUPS; g++) {
            sm_free((*totals)->tally[g]);
        }
        sm_free((*totals)->due);
        sm_arena_free(&(*totals)->arena);
        sm_free(*totals);
        *totals = NULL;
    }
}

/* Place of a name among the tallies of a group, which are kept by name. */
static size_t find(const struct sm_audit_totals *totals, enum sm_audit_group group, const char *name)
{
    size_t low = 0;
    size_t high = totals->n_tallies[group];
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (strcmp(totals->tally[group][middle].name, name) < 0) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/* The tally of a name, made when missing. NULL = no memory. */
static struct sm_audit_tally *tally_of(struct sm_audit_totals *totals, enum sm_audit_group group, const char *name)
{
    size_t at = find(totals, group, name);
    size_t n = totals->n_tallies[group];
    if (at < n && strcmp(totals->tally[group][at].name, name) == 0) {
        return &totals->tally[group][at];
    }
    const char *kept = sm_arena_strdup(totals->arena, name);
    if (!kept || sm_grow(&totals->tally[group], n, &totals->tally_capacity[group], sizeof **totals->tally) != SM_OK) {
        return NULL;
    }
    struct sm_audit_tally *tally = &totals->tally[group][at];
    memmove(tally + 1, tally, (n - at) * sizeof *tally);
    *tally = (struct sm_audit_tally){.name = kept};
    totals->n_tallies[group]++;
    return tally;
}

static void month_of(char month[8], const char *day)
{
    sm_strcopy(month, 8, strlen(day) >= 7 && day[4] == '-' ? day : "");
}

static bool count_defect(struct sm_audit_totals *totals, enum sm_audit_group group, const char *name,
                         enum sm_audit_state state)
{
    struct sm_audit_tally *tally = tally_of(totals, group, name);
    if (tally) {
        tally->n_defects++;
        tally->count[state]++;
    }
    return tally != NULL;
}

static void count_age(struct sm_audit_totals *totals, const struct sm_audit_defect *d)
{
    if (d->state == SM_AUDIT_INSTALLED || d->state == SM_AUDIT_PROVEN) {
        return;
    }
    size_t age = 0;
    while (age < SM_AUDIT_N_AGES - 2 && d->age_d > age_limits_d[age]) {
        age++;
    }
    totals->age[d->age_d < 0 ? SM_AUDIT_N_AGES - 1 : age]++;
}

static bool add_defect(struct sm_audit_totals *totals, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
    const struct sm_as_built *row = d->n_liners ? &audit->liner[d->liner[0]].row->recorded->row : NULL;
    char month[8];
    month_of(month, row ? row->date : "");
    totals->n_defects++;
    totals->count[d->state]++;
    count_age(totals, d);
    return count_defect(totals, SM_AUDIT_BY_SEGMENT, audit->about->segment, d->state) &&
           count_defect(totals, SM_AUDIT_BY_TREATMENT, sm_treatment_name(o->treatment), d->state) &&
           count_defect(totals, SM_AUDIT_BY_KIT, row ? row->kit : "", d->state) &&
           count_defect(totals, SM_AUDIT_BY_CREW, row ? row->crew : "", d->state) &&
           count_defect(totals, SM_AUDIT_BY_MONTH, month, d->state);
}

/* ---- liners ---- */

static bool count_liner(struct sm_audit_totals *totals, enum sm_audit_group group, const char *name, double length_m)
{
    struct sm_audit_tally *tally = tally_of(totals, group, name);
    if (tally) {
        tally->n_liners++;
        tally->liner_m += length_m;
    }
    return tally != NULL;
}

static int days_in(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && is_leap);
}

void sm_audit_add_months(char out[16], const char *day, int32_t months)
{
    int year;
    int month;
    int of_month;
    out[0] = '\0';
    if (sscanf(day, "%4d-%2d-%2d", &year, &month, &of_month) != 3 || month < 1 || month > 12 || months < 0 ||
        months > 1200 || year < 1 || year > 9000) {
        return;
    }
    month += months - 1;
    year += month / 12;
    month = month % 12 + 1;
    int last = days_in(year, month);
    snprintf(out, 16, "%04d-%02d-%02d", year % 10000, month % 100, (of_month < last ? of_month : last) % 100);
}

/* The latest recheck that saw the liner's place, whatever it saw there. */
static const char *seen_on(const struct sm_audit *audit, const struct sm_audit_liner *liner)
{
    bool has_looked = liner->recheck_idx >= 0 && liner->sight != SM_AUDIT_SIGHT_UNSEEN;
    return has_looked ? audit->about->recheck[liner->recheck_idx].date : "";
}

static bool add_due(struct sm_audit_totals *totals, const struct sm_audit *audit, const struct sm_audit_liner *liner)
{
    const struct sm_as_built *row = &liner->row->recorded->row;
    char due_on[16];
    sm_audit_add_months(due_on, row->date, totals->warranty_months);
    if (totals->warranty_months == 0 || !*due_on) {
        return true;
    }
    if (sm_grow(&totals->due, totals->n_due, &totals->due_capacity, sizeof *totals->due) != SM_OK) {
        return false;
    }
    const char *const words[] = {audit->about->segment, row->repair, row->date, due_on, row->crew, row->kit, row->lot,
                                 seen_on(audit, liner)};
    const char *kept[8];
    for (size_t i = 0; i < 8; i++) {
        kept[i] = sm_arena_strdup(totals->arena, words[i]);
        if (!kept[i]) {
            return false;
        }
    }
    bool is_overdue = *audit->about->today && strncmp(due_on, audit->about->today, 10) < 0 &&
                      strncmp(kept[7], due_on, 10) < 0;
    totals->due[totals->n_due++] = (struct sm_audit_due){kept[0], kept[1], kept[2], kept[3], kept[4],
                                                         kept[5], kept[6], is_overdue, kept[7]};
    return true;
}

static bool add_liner(struct sm_audit_totals *totals, const struct sm_audit *audit, const struct sm_audit_liner *liner)
{
    const struct sm_as_built *row = &liner->row->recorded->row;
    double length_m = isfinite(row->liner_length_m) ? row->liner_length_m
                      : liner->row->repair          ? (double)liner->row->repair->length_um / SM_AUDIT__UM_PER_M
                                                    : 0;
    char month[8];
    month_of(month, row->date);
    totals->n_liners++;
    totals->n_unplanned += liner->row->repair == NULL;
    totals->liner_m += length_m;
    return count_liner(totals, SM_AUDIT_BY_SEGMENT, audit->about->segment, length_m) &&
           count_liner(totals, SM_AUDIT_BY_KIT, row->kit, length_m) &&
           count_liner(totals, SM_AUDIT_BY_CREW, row->crew, length_m) &&
           count_liner(totals, SM_AUDIT_BY_MONTH, month, length_m) && add_due(totals, audit, liner);
}

enum sm_status sm_audit_totals_add(struct sm_audit_totals *totals, const struct sm_audit *audit, struct sm_error *err)
{
    bool is_added = true;
    totals->n_segments++;
    totals->n_in_feet += sm_audit__unit(audit) == SM_UNIT_FT;
    totals->n_not_made += (int64_t)audit->n_not_made;
    totals->n_new += (int64_t)audit->n_new;
    totals->repaired_m += audit->repaired_m;
    for (size_t i = 0; is_added && i < audit->n_defects; i++) {
        is_added = add_defect(totals, audit, &audit->defect[i]);
    }
    for (size_t i = 0; is_added && i < audit->n_liners; i++) {
        is_added = add_liner(totals, audit, &audit->liner[i]);
    }
    return is_added ? SM_OK : sm_audit__no_memory(err);
}
