/*
 * As-built rows against the plan and the kit. Each check says what was noted, what was to be, and what follows. A crew's
 * numbers are never put right here; the worst that happens to a row is that people are told to look.
 */
#include "audit_internal.h"

#include <string.h>

#include "stopmark/asbuilt.h"
#include "stopmark/engineering.h"

/* A length noted in whole millimetres or halves of them may differ this much without meaning anything. */
#define LENGTH_TOLERANCE_M 0.010
#define PRESSURE_TOLERANCE_KPA 0.5
#define MINUTE_TOLERANCE 0.5 /* clocks are read to the minute */

struct check {
    const struct sm_as_built *row;
    const struct sm_audit_survey *survey; /* NULL = none */
    const struct sm_repair *repair;       /* NULL = not planned */
    const struct sm_kit *kit;             /* used; NULL = not known */
    const char *today;
    struct sm_audit_remarks *remarks;
    struct sm_text text;
    struct sm_error *err;
};

enum sm_status sm_audit__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static void add_length(struct check *c, double length_m)
{
    sm_audit__add_people_length(&c->text, length_m, c->survey ? c->survey->sheet->people_unit : SM_UNIT_M);
}

enum sm_status sm_audit__remark(struct sm_audit_remarks *remarks, const char *concerns, enum sm_severity severity,
                                struct sm_text *text)
{
    struct sm_remark *grown = sm_realloc(remarks->item, remarks->n + 1, sizeof *grown);
    if (grown) {
        remarks->item = grown;
    }
    const char *message = text->failed ? NULL : sm_arena_strdup(remarks->arena, sm_text_str(text));
    sm_text_clear(text);
    if (!grown || !message) {
        return SM_E_NOMEM;
    }
    remarks->item[remarks->n++] = (struct sm_remark){concerns, severity, message};
    return SM_OK;
}

void sm_audit_remarks_free(struct sm_audit_remarks **remarks)
{
    if (remarks && *remarks) {
        sm_arena_free(&(*remarks)->arena);
        sm_free((*remarks)->item);
        sm_free(*remarks);
        *remarks = NULL;
    }
}

static enum sm_status warn(struct check *c, const char *concerns)
{
    return sm_audit__remark(c->remarks, concerns, SM_SEVERITY_WARNING, &c->text);
}

static enum sm_status note(struct check *c, const char *concerns)
{
    return sm_audit__remark(c->remarks, concerns, SM_SEVERITY_NOTE, &c->text);
}

/* Number with its unit, as few digits as say it. */
static void add_value(struct check *c, double value, int decimals, const char *unit)
{
    sm_text_add_number(&c->text, value, 0, decimals);
    sm_text_addf(&c->text, " %s", unit);
}

/* ---- repair, kit, length ---- */

const struct sm_repair *sm_audit_find_repair(const struct sm_plan *plan, const char *name)
{
    char wanted[64];
    sm_key_fold(wanted, sizeof wanted, name);
    for (size_t i = 0; plan && *wanted && i < plan->n_repairs; i++) {
        char present[64];
        sm_key_fold(present, sizeof present, plan->repair[i].id);
        if (strcmp(present, wanted) == 0) {
            return &plan->repair[i];
        }
    }
    return NULL;
}

static const struct sm_kit *kit_of(const struct check *c, const char *name)
{
    const struct sm_sheet *sheet = c->survey ? c->survey->sheet : NULL;
    char wanted[64];
    sm_key_fold(wanted, sizeof wanted, name);
    for (size_t i = 0; sheet && i < sheet->n_kits; i++) {
        char present[64];
        sm_key_fold(present, sizeof present, sheet->kit[i].name);
        if (strcmp(present, wanted) == 0) {
            return &sheet->kit[i];
        }
    }
    return NULL;
}

static const struct sm_kit *planned_kit(const struct check *c)
{
    return c->repair && c->repair->kit_idx >= 0 && (size_t)c->repair->kit_idx < c->survey->sheet->n_kits
               ? &c->survey->sheet->kit[c->repair->kit_idx]
               : NULL;
}

static enum sm_status check_repair(struct check *c)
{
    if (!c->row->is_in_place) {
        sm_text_addf(&c->text, "no liner is in place (result \"%.60s\"): the repair counts as not made", c->row->result);
        return warn(c, "result");
    }
    if (c->repair) {
        return SM_OK;
    }
    if (!c->survey) {
        sm_text_add(&c->text, "no plan of this segment is known: the row stands by itself");
    } else if (*c->row->repair) {
        size_t n = c->survey->plan ? c->survey->plan->n_repairs : 0;
        sm_text_addf(&c->text, "the plan has no repair %.40s (it has %zu): taken as one that was not planned, it counts where "
                               "its liner lies",
                     c->row->repair, n);
    } else {
        sm_text_add(&c->text, "not planned: it counts where its liner lies");
    }
    return warn(c, "repair");
}

static enum sm_status check_kit(struct check *c)
{
    const struct sm_kit *planned = planned_kit(c);
    double diameter_mm = c->survey ? c->survey->sheet->segment.diameter_mm : SM_NAN;
    if (!c->survey || !*c->row->kit) {
        return SM_OK;
    }
    if (!c->kit) {
        sm_text_addf(&c->text, "kit %.60s is not in the survey's kits: its pressure, working and cure time cannot be checked",
                     c->row->kit);
        return warn(c, "kit");
    }
    if (isfinite(diameter_mm) && (diameter_mm < c->kit->diameter_min_mm || diameter_mm > c->kit->diameter_max_mm)) {
        sm_text_addf(&c->text, "kit %.60s is not made for a pipe of ", c->kit->name);
        add_value(c, diameter_mm, 1, "mm: check its fit by recheck");
        enum sm_status status = warn(c, "kit");
        if (status != SM_OK) {
            return status;
        }
    }
    if (planned && planned != c->kit) {
        sm_text_addf(&c->text, "kit %.60s in place of the planned %.60s", c->kit->name, planned->name);
        return note(c, "kit");
    }
    return SM_OK;
}

static enum sm_status check_length(struct check *c)
{
    double length_m = c->row->liner_length_m;
    double planned_m = c->repair ? (double)c->repair->length_um / SM_AUDIT__UM_PER_M : SM_NAN;
    double kit_m = c->kit ? (double)c->kit->length_um / SM_AUDIT__UM_PER_M : SM_NAN;
    if (isnan(length_m)) {
        if (!c->row->is_in_place) {
            return SM_OK;
        }
        sm_text_add(&c->text, c->repair ? "no liner length noted: taken as planned"
                                        : "no liner length noted: what it covers cannot be told");
        return c->repair ? note(c, "length") : warn(c, "length");
    }
    enum sm_status status = SM_OK;
    if (isfinite(planned_m) && fabs(length_m - planned_m) > LENGTH_TOLERANCE_M) {
        sm_text_add(&c->text, "the liner is ");
        add_length(c, length_m);
        sm_text_add(&c->text, " long, ");
        add_length(c, planned_m);
        sm_text_addf(&c->text, " was planned: %s",
                     length_m < planned_m ? "it may end short of what it was to cover" : "it may reach what it was to clear");
        status = warn(c, "length");
    }
    if (status == SM_OK && isfinite(kit_m) && fabs(length_m - kit_m) > LENGTH_TOLERANCE_M) {
        sm_text_addf(&c->text, "kit %.60s is ", c->kit->name);
        add_length(c, kit_m);
        sm_text_add(&c->text, " long, the liner noted ");
        add_length(c, length_m);
        sm_text_add(&c->text, length_m < kit_m ? ": was it cut?" : ": check which kit was used");
        status = note(c, "length");
    }
    return status;
}

/* ---- stop and mark ---- */

static double planned_stop_m(const struct check *c)
{
    return ((double)c->repair->start_um + (double)c->repair->length_um / 2) / SM_AUDIT__UM_PER_M;
}

/* Slack is what the stop may be off before something shows; the placement error is in the targets already. */
static enum sm_status check_stop(struct check *c)
{
    double stop_m = c->row->stop_m;
    if (!c->row->is_in_place || !c->survey) {
        return SM_OK;
    }
    if (isnan(stop_m)) {
        bool has_mark = isfinite(c->row->mark_m) && c->repair && isfinite(c->repair->mark_m);
        sm_text_addf(&c->text, "no stop noted: %s", has_mark    ? "taken from the mark"
                                                    : c->repair ? "taken as planned, which proves nothing: check by recheck"
                                                                : "where the liner lies is not known: check by recheck");
        return has_mark ? note(c, "stop") : warn(c, "stop");
    }
    if (!c->repair) {
        return SM_OK;
    }
    double placement_m = c->survey->sheet->rules.placement_m;
    double off_m = fabs(stop_m - planned_stop_m(c));
    double digit_m = isnan(c->row->stop_digit_m) ? 0 : c->row->stop_digit_m / 2;
    if (off_m <= placement_m + digit_m) {
        return SM_OK;
    }
    bool is_within_slack = isfinite(c->repair->slack_m) && off_m <= c->repair->slack_m;
    sm_text_add(&c->text, "stop ");
    add_length(c, stop_m);
    sm_text_add(&c->text, ", planned ");
    add_length(c, planned_stop_m(c));
    sm_text_add(&c->text, ": off by ");
    add_length(c, off_m);
    if (is_within_slack) {
        sm_text_add(&c->text, ", still within its slack of ");
        add_length(c, c->repair->slack_m);
        return note(c, "stop");
    }
    sm_text_add(&c->text, ", more than placing allows: the audit says what stays uncovered");
    return warn(c, "stop");
}

static enum sm_status check_mark(struct check *c)
{
    if (!c->repair || isnan(c->row->mark_m) || isnan(c->repair->mark_m) || !c->row->is_in_place) {
        return SM_OK;
    }
    bool enters_at_to = c->survey->sheet->access.enters_at_to;
    double stop_m = isnan(c->row->stop_m) ? planned_stop_m(c) : c->row->stop_m;
    double due_m = c->repair->mark_m + (enters_at_to ? -1 : 1) * (stop_m - planned_stop_m(c));
    double off_m = fabs(c->row->mark_m - due_m);
    double allowed_m = c->survey->sheet->rules.placement_m + LENGTH_TOLERANCE_M;
    if (off_m <= allowed_m) {
        return SM_OK;
    }
    sm_text_add(&c->text, "mark ");
    add_length(c, c->row->mark_m);
    sm_text_addf(&c->text, ", but the %s stop needs ", isnan(c->row->stop_m) ? "planned" : "noted");
    add_length(c, due_m);
    sm_text_add(&c->text, ": off by ");
    add_length(c, off_m);
    sm_text_add(&c->text, ", so stop or mark is wrong: check by recheck where the liner lies");
    return warn(c, "mark");
}

static bool reopens(const struct sm_repair *repair, size_t observation_idx)
{
    for (size_t i = 0; repair && i < repair->n_reopens; i++) {
        if ((size_t)repair->reopens[i] == observation_idx) {
            return true;
        }
    }
    return false;
}

static enum sm_status check_connection(struct check *c, const struct sm_audit_span *span, size_t idx)
{
    const struct sm_observation *o = &c->survey->alignment->observation[idx];
    const struct sm_rules *rules = &c->survey->sheet->rules;
    if (!o->is_connection || isnan(o->distance_m)) {
        return SM_OK;
    }
    double bore_m = (isnan(o->diameter_mm) ? rules->connection_diameter_mm : o->diameter_mm) / 1000;
    double clear_m = bore_m / 2 + rules->keep_clear_m;
    double start_m = (double)span->start_um / SM_AUDIT__UM_PER_M;
    double end_m = (double)span->end_um / SM_AUDIT__UM_PER_M;
    if (end_m <= o->distance_m - clear_m || start_m >= o->distance_m + clear_m) {
        return SM_OK;
    }
    bool covers = start_m < o->distance_m + bore_m / 2 && end_m > o->distance_m - bore_m / 2;
    if (covers && reopens(c->repair, idx)) {
        return SM_OK;
    }
    sm_text_addf(&c->text, "the liner %s the connection %s at ", covers ? "covers" : "ends too close to", o->id);
    add_length(c, o->distance_m);
    sm_text_add(&c->text, covers ? ", which was to stay clear: open it, check by recheck"
                                 : ": check by recheck that it is clear");
    return warn(c, "connection");
}

static enum sm_status check_surroundings(struct check *c)
{
    struct sm_audit_span span;
    bool enters_at_to = c->survey && c->survey->sheet->access.enters_at_to;
    if (!c->survey || !c->row->is_in_place || isnan(c->row->stop_m) ||
        !sm_audit_place(&span, c->row, c->repair, enters_at_to, NULL)) {
        return SM_OK;
    }
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < c->survey->alignment->n_observations; i++) {
        status = check_connection(c, &span, i);
    }
    double length_m = c->survey->alignment->length_m;
    double tolerance_m = c->survey->sheet->rules.placement_m;
    bool is_out = (double)span.start_um < -tolerance_m * SM_AUDIT__UM_PER_M ||
                  (isfinite(length_m) && (double)span.end_um > (length_m + tolerance_m) * SM_AUDIT__UM_PER_M);
    if (status == SM_OK && is_out) {
        sm_text_add(&c->text, "the liner would reach out of the pipe: check the stop and the liner's length");
        status = warn(c, "stop");
    }
    return status;
}

/* ---- pressure ---- */

/* What the packer alone takes, noted on the day, comes before the kit's figure. */
static enum sm_status check_pressure(struct check *c)
{
    if (!c->row->is_in_place) {
        return SM_OK;
    }
    if (isnan(c->row->pressure_kpa)) {
        sm_text_add(&c->text, "no packer pressure noted: whether the liner lies against the pipe is for the recheck");
        return note(c, "pressure");
    }
    struct sm_kit kit = c->kit ? *c->kit : (struct sm_kit){.test_pressure_kpa = SM_NAN, .max_pressure_kpa = SM_NAN};
    double greatest_kpa = kit.max_pressure_kpa;
    kit.max_pressure_kpa = SM_NAN;
    if (isfinite(c->row->test_pressure_kpa)) {
        kit.test_pressure_kpa = c->row->test_pressure_kpa;
    }
    struct sm_packer_pressure band;
    double head_m = c->survey ? c->survey->sheet->access.groundwater_head_m : SM_NAN;
    double diameter_mm = c->survey ? c->survey->sheet->segment.diameter_mm : SM_NAN;
    if (sm_packer_pressure_for(&band, &kit, diameter_mm, head_m, 0, NULL) != SM_OK) {
        return SM_OK;
    }
    double least_kpa = isfinite(band.least_kpa) ? band.least_kpa : band.head_kpa;
    if (c->row->pressure_kpa < least_kpa - PRESSURE_TOLERANCE_KPA) {
        sm_text_add(&c->text, "pressed with ");
        add_value(c, c->row->pressure_kpa, 1, "kPa, at least ");
        add_value(c, least_kpa, 1, "kPa needed (");
        if (isfinite(band.test_kpa)) {
            add_value(c, band.test_kpa, 1, "kPa the packer takes alone, ");
        }
        add_value(c, band.head_kpa, 1, "kPa water outside): it may not lie against the pipe, check by recheck");
        return warn(c, "pressure");
    }
    if (isfinite(greatest_kpa) && c->row->pressure_kpa > greatest_kpa + PRESSURE_TOLERANCE_KPA) {
        sm_text_add(&c->text, "pressed with ");
        add_value(c, c->row->pressure_kpa, 1, "kPa, the kit allows ");
        add_value(c, greatest_kpa, 1, "kPa: pipe and liner may have suffered, check by recheck");
        return warn(c, "pressure");
    }
    return SM_OK;
}

static enum sm_status check_test_pressure(struct check *c)
{
    double kit_kpa = c->kit ? c->kit->test_pressure_kpa : SM_NAN;
    double noted_kpa = c->row->test_pressure_kpa;
    if (isnan(kit_kpa) || isnan(noted_kpa) || fabs(noted_kpa - kit_kpa) <= 0.25 * kit_kpa) {
        return SM_OK;
    }
    sm_text_add(&c->text, "the packer took ");
    add_value(c, noted_kpa, 1, "kPa alone, the kit says ");
    add_value(c, kit_kpa, 1, "kPa: check gauge and packer");
    return note(c, "pressure");
}

/* ---- times ---- */

static enum sm_status warn_order(struct check *c, const char *later, const char *at, const char *earlier, const char *than)
{
    sm_text_addf(&c->text, "%s at %s lies before %s at %s: one of the times is wrong, working and cure time are not known",
                 later, at, earlier, than);
    return warn(c, "times");
}

static enum sm_status tell_untold_times(struct check *c, const struct sm_error *why)
{
    sm_text_addf(&c->text, "working and cure time could not be checked: %s", why->text);
    return note(c, "cure");
}

static void add_minutes(struct check *c, double minutes)
{
    sm_text_addf(&c->text, "%lld min", (long long)llround(minutes));
}

static enum sm_status check_working(struct check *c, const struct sm_cure_time *due, double temperature_c)
{
    double minutes = sm_asbuilt_minutes_between(c->row->mixed, c->row->inflated);
    if (isnan(minutes) || minutes <= due->working_min + MINUTE_TOLERANCE) {
        return SM_OK;
    }
    sm_text_add(&c->text, "inflated ");
    add_minutes(c, minutes);
    sm_text_add(&c->text, " after mixing, ");
    add_minutes(c, due->working_min);
    sm_text_add(&c->text, " allowed at ");
    add_value(c, temperature_c, 1, "C: the resin may have set before it lay against the pipe, check by recheck");
    return warn(c, "working");
}

static enum sm_status check_cure(struct check *c, const struct sm_cure_time *due, double temperature_c)
{
    double minutes = sm_asbuilt_minutes_between(c->row->inflated, c->row->deflated);
    if (isnan(minutes) || minutes >= due->cure_min - MINUTE_TOLERANCE) {
        return SM_OK;
    }
    sm_text_add(&c->text, "cured ");
    add_minutes(c, minutes);
    sm_text_add(&c->text, ", ");
    add_minutes(c, due->cure_min);
    sm_text_add(&c->text, " needed at ");
    add_value(c, temperature_c, 1, "C: check by recheck");
    return warn(c, "cure");
}

static enum sm_status check_times_in_order(struct check *c, bool *is_sound)
{
    *is_sound = true;
    double working_min = sm_asbuilt_minutes_between(c->row->mixed, c->row->inflated);
    double cure_min = sm_asbuilt_minutes_between(c->row->inflated, c->row->deflated);
    enum sm_status status = SM_OK;
    if (working_min < 0) {
        *is_sound = false;
        status = warn_order(c, "inflated", c->row->inflated, "mixed", c->row->mixed);
    }
    if (status == SM_OK && cure_min < 0) {
        *is_sound = false;
        status = warn_order(c, "deflated", c->row->deflated, "inflated", c->row->inflated);
    }
    return status;
}

static enum sm_status check_missing_times(struct check *c)
{
    const char *const times[][2] = {{"mixed", c->row->mixed}, {"inflated", c->row->inflated}, {"deflated", c->row->deflated}};
    for (size_t i = 0; i < 3; i++) {
        if (!*times[i][1]) {
            sm_text_addf(&c->text, "%s%s", c->text.length ? ", " : "no time noted for ", times[i][0]);
        }
    }
    if (!c->text.length && !c->text.failed) {
        return SM_OK;
    }
    sm_text_add(&c->text, ": working and cure time cannot be shown to have been kept");
    return note(c, "times");
}

static enum sm_status check_resin(struct check *c)
{
    if (!c->row->is_in_place) {
        return SM_OK;
    }
    bool is_sound = true;
    enum sm_status status = check_times_in_order(c, &is_sound);
    if (status == SM_OK) {
        status = check_missing_times(c);
    }
    bool has_times = *c->row->inflated && (*c->row->mixed || *c->row->deflated);
    if (status != SM_OK || !is_sound || !has_times || !c->survey) {
        return status;
    }
    double temperature_c = c->row->pipe_temperature_c;
    if (isnan(temperature_c)) {
        temperature_c = c->survey->sheet->access.pipe_temperature_c;
    }
    struct sm_cure_time due;
    struct sm_error why = {0};
    if (sm_cure_time_at(&due, c->survey->sheet, c->kit ? c->kit->cure : NULL, temperature_c, &why) != SM_OK) {
        return tell_untold_times(c, &why);
    }
    status = check_working(c, &due, temperature_c);
    return status == SM_OK ? check_cure(c, &due, temperature_c) : status;
}

static bool is_iso_day(const char *text)
{
    return text && strlen(text) >= 10 && text[4] == '-' && text[7] == '-';
}

static enum sm_status check_days(struct check *c)
{
    const char *day = c->row->date;
    const char *surveyed = c->survey && c->survey->date ? c->survey->date : "";
    enum sm_status status = SM_OK;
    if (!*day) {
        sm_text_add(&c->text, "no day noted: whether a recheck came after the work cannot be told from it");
        return note(c, "date");
    }
    if (is_iso_day(surveyed) && strncmp(day, surveyed, 10) < 0) {
        sm_text_addf(&c->text, "the work of %s lies before the survey of %.10s: one of the days is wrong", day, surveyed);
        status = warn(c, "date");
    }
    /* where the survey lies in the future too it is this clock that is wrong */
    bool is_clock_sound = is_iso_day(c->today) && !(is_iso_day(surveyed) && strncmp(surveyed, c->today, 10) > 0);
    if (status == SM_OK && is_clock_sound && strncmp(day, c->today, 10) > 0) {
        sm_text_addf(&c->text, "the work of %s lies in the future, seen from %.10s", day, c->today);
        status = warn(c, "date");
    }
    if (status == SM_OK && is_iso_day(c->row->mixed) && strncmp(day, c->row->mixed, 10) != 0) {
        sm_text_addf(&c->text, "the day noted is %s, the resin was mixed on %.10s", day, c->row->mixed);
        status = note(c, "date");
    }
    return status;
}

static enum sm_status check_lot(struct check *c)
{
    if (*c->row->lot || !c->row->is_in_place) {
        return SM_OK;
    }
    sm_text_add(&c->text, "no lot noted: the resin cannot be traced");
    return note(c, "lot");
}

enum sm_status sm_audit_check_row(struct sm_audit_remarks **out, const struct sm_as_built *row,
                                  const struct sm_audit_survey *survey, const char *today, struct sm_error *err)
{
    static enum sm_status (*const checks[])(struct check *) = {
        check_repair, check_kit,     check_length, check_stop, check_mark, check_surroundings, check_pressure,
        check_test_pressure, check_resin, check_days, check_lot,
    };
    struct sm_audit_remarks *remarks = sm_calloc(1, sizeof *remarks);
    if (!remarks || sm_arena_new(&remarks->arena) != SM_OK) {
        sm_free(remarks);
        return sm_audit__no_memory(err);
    }
    struct check c = {.row = row, .survey = survey, .today = today, .remarks = remarks, .err = err};
    c.repair = survey ? sm_audit_find_repair(survey->plan, row->repair) : NULL;
    c.kit = *row->kit ? kit_of(&c, row->kit) : planned_kit(&c);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof checks / sizeof *checks; i++) {
        status = checks[i](&c);
    }
    sm_text_release(&c.text);
    if (status != SM_OK) {
        sm_audit_remarks_free(&remarks);
        return sm_audit__no_memory(err);
    }
    *out = remarks;
    return SM_OK;
}
