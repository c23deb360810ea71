/* Lengths, codes and doubts as people read them: metres, or feet and inches as a tape shows them. */
#include "schedule_internal.h"

#include <math.h>
#include <string.h>

#define MM_PER_IN 25.4
#define KPA_PER_BAR 100.0

static bool is_in_feet(const struct sm_schedule *s)
{
    return s->people_unit == SM_UNIT_FT;
}

/* What is printed must not spoil what the crew can place: a finer step where the placement error is small. */
static bool is_fine(const struct sm_schedule *s)
{
    return s->sheet->rules.placement_m < 0.02;
}

static void add_length(struct sm_text *text, const struct sm_schedule *s, double length_m, const char *unit)
{
    if (is_in_feet(s)) {
        sm_text_add_feet_inches(text, length_m, is_fine(s) ? 16 : 4);
        return;
    }
    sm_text_add_fixed(text, length_m, is_fine(s) ? 3 : 2);
    sm_text_add(text, unit);
}

void sm_schedule__add_length(struct sm_text *text, const struct sm_schedule *s, double length_m)
{
    if (isfinite(length_m)) {
        add_length(text, s, length_m, " m");
    } else {
        sm_text_add(text, "not known");
    }
}

void sm_schedule__add_cell_length(struct sm_text *text, const struct sm_schedule *s, double length_m)
{
    if (isfinite(length_m)) {
        add_length(text, s, length_m, "");
    }
}

/* Quarter inches, whole part and fraction apart: 2 3/4" */
static void add_quarter_inches(struct sm_text *text, int64_t quarters)
{
    static const char *const fraction[] = {"", "1/4", "1/2", "3/4"};
    if (quarters >= 4 || quarters == 0) {
        sm_text_addf(text, "%lld%s", (long long)(quarters / 4), quarters % 4 ? " " : "");
    }
    sm_text_addf(text, "%s\"", fraction[quarters % 4]);
}

/* In whole centimetres or quarter inches, rounded by the given function; a hair's breadth beyond a step is
 * the step. */
static void add_rounded(struct sm_text *text, const struct sm_schedule *s, double length_m,
                        double round_to(double), double hair)
{
    if (!isfinite(length_m)) {
        sm_text_add(text, "not known");
    } else if (is_in_feet(s)) {
        double quarters = fmin(length_m, 1e9) * 1000 / MM_PER_IN * 4;
        add_quarter_inches(text, (int64_t)fmax(round_to(quarters + hair), 0));
    } else {
        sm_text_add_fixed(text, round_to(length_m * 100 + hair) / 100, 2);
        sm_text_add(text, " m");
    }
}

void sm_schedule__add_error(struct sm_text *text, const struct sm_schedule *s, double error_m)
{
    add_rounded(text, s, error_m, ceil, -1e-6);
}

void sm_schedule__add_allowance(struct sm_text *text, const struct sm_schedule *s, double length_m)
{
    add_rounded(text, s, length_m, floor, 1e-6);
}

void sm_schedule__add_liner_length(struct sm_text *text, const struct sm_schedule *s, int64_t length_um)
{
    double length_m = sm_schedule__um_to_m(length_um);
    if (is_in_feet(s)) {
        sm_text_add_feet_inches(text, length_m, 4);
    } else {
        sm_text_add_number(text, length_m, 2, 3);
        sm_text_add(text, " m");
    }
}

void sm_schedule__add_diameter(struct sm_text *text, const struct sm_schedule *s, double diameter_mm)
{
    if (!isfinite(diameter_mm)) {
        sm_text_add(text, "not known");
        return;
    }
    sm_text_add_number(text, is_in_feet(s) ? diameter_mm / MM_PER_IN : diameter_mm, 0, 1);
    sm_text_add(text, is_in_feet(s) ? " in" : " mm");
}

void sm_schedule__add_pressure(struct sm_text *text, const struct sm_schedule *s, double pressure_kpa)
{
    sm_text_add_number(text, is_in_feet(s) ? pressure_kpa / SM_KPA_PER_PSI : pressure_kpa / KPA_PER_BAR, 0,
                       is_in_feet(s) ? 1 : 2);
    sm_text_add(text, is_in_feet(s) ? " psi" : " bar");
}

void sm_schedule__add_least_pressure(struct sm_text *text, const struct sm_schedule *s, double pressure_kpa)
{
    double step_kpa = is_in_feet(s) ? SM_KPA_PER_PSI / 10 : KPA_PER_BAR / 100;
    sm_schedule__add_pressure(text, s, ceil(pressure_kpa / step_kpa - 1e-6) * step_kpa);
}

void sm_schedule__add_temperature(struct sm_text *text, const struct sm_schedule *s, double temperature_c)
{
    sm_text_add_number(text, is_in_feet(s) ? temperature_c * 9 / 5 + 32 : temperature_c, 0, 1);
    sm_text_add(text, is_in_feet(s) ? " \u00b0F" : " \u00b0C");
}

void sm_schedule__add_reading(struct sm_text *text, const struct sm_schedule *s,
                              const struct sm_observation *observation)
{
    if (s->trace && observation->reading.state != SM_READING_HIDDEN) {
        sm_text_add_reading(text, &observation->reading, s->trace->format.decimals);
    }
}

void sm_schedule__add_code(struct sm_text *text, const struct sm_observation *observation)
{
    const char *part[] = {observation->ch1, observation->ch2};
    sm_text_add(text, observation->code ? observation->code : "");
    for (size_t i = 0; i < 2; i++) {
        if (part[i] && *part[i]) {
            sm_text_addf(text, " %s", part[i]);
        }
    }
}

const char *sm_schedule__meaning(const struct sm_schedule *s, const struct sm_observation *observation)
{
    struct sm_code_info info;
    if (s->codes && observation->code &&
        sm_codes_find(s->codes, observation->code, observation->ch1 ? observation->ch1 : "", &info)) {
        return info.meaning;
    }
    return "";
}

void sm_schedule__add_clock(struct sm_text *text, const struct sm_observation *observation)
{
    int from_h = observation->clock_from_h, to_h = observation->clock_to_h;
    if (from_h == 0) {
        return;
    }
    if (to_h == 0) {
        sm_text_addf(text, "at %d o'clock", from_h);
    } else if (from_h == to_h) {
        sm_text_add(text, "all round");
    } else {
        sm_text_addf(text, "from %d to %d o'clock", from_h, to_h);
    }
}

void sm_schedule__add_what(struct sm_text *text, const struct sm_schedule *s,
                           const struct sm_observation *observation)
{
    const char *meaning = sm_schedule__meaning(s, observation);
    sm_schedule__add_code(text, observation);
    sm_text_addf(text, "%s%s", *meaning ? " " : "", meaning);
    if (observation->clock_from_h) {
        sm_text_add(text, ", ");
        sm_schedule__add_clock(text, observation);
    }
    if (observation->remark && *observation->remark) {
        sm_text_addf(text, "; %s", observation->remark);
    }
}

static void add_flags(struct sm_text *text, uint32_t flags, const char *separator,
                      const char *(*name)(enum sm_flag))
{
    bool is_first = true;
    for (int bit = 0; bit < SM_N_FLAGS; bit++) {
        if (flags & 1U << bit) {
            sm_text_addf(text, "%s%s", is_first ? "" : separator, name((enum sm_flag)(1U << bit)));
            is_first = false;
        }
    }
}

void sm_schedule__add_flag_names(struct sm_text *text, uint32_t flags, const char *separator)
{
    add_flags(text, flags, separator, sm_flag_name);
}

static const char *flag_words(enum sm_flag flag)
{
    static const char *const words[SM_N_FLAGS] = {
        "log and picture disagree",
        "counter not readable here",
        "time lies outside the video",
        "counter was set mid-run",
        "code not known",
        "continuous defect has no end",
        "beyond the segment",
        "clock offset doubtful",
        "taken at the standstill nearby",
        "log row odd",
        "reading unsure",
        "no distance",
    };
    for (int bit = 0; bit < SM_N_FLAGS; bit++) {
        if ((unsigned)flag == 1U << bit) {
            return words[bit];
        }
    }
    return "";
}

void sm_schedule__add_flag_words(struct sm_text *text, uint32_t flags, const char *separator)
{
    add_flags(text, flags, separator, flag_words);
}

void sm_schedule__add_ids(struct sm_text *text, const struct sm_schedule *s, const int32_t *idx, size_t n,
                          const char *separator)
{
    for (size_t i = 0; i < n; i++) {
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)idx[i]);
        sm_text_addf(text, "%s%s", i ? separator : "", observation ? observation->id : "?");
    }
}

void sm_schedule__add_time(struct sm_text *text, double time_s)
{
    if (!isfinite(time_s) || fabs(time_s) > 1e9) {
        return;
    }
    long long whole_s = (long long)fabs(time_s);
    sm_text_add(text, time_s < 0 ? "-" : "");
    if (whole_s >= 3600) {
        sm_text_addf(text, "%lld:%02lld:%02lld", whole_s / 3600, whole_s / 60 % 60, whole_s % 60);
    } else {
        sm_text_addf(text, "%lld:%02lld", whole_s / 60, whole_s % 60);
    }
}

void sm_schedule__add_money(struct sm_text *text, double amount)
{
    if (!isfinite(amount)) {
        sm_text_add(text, "not known");
        return;
    }
    bool is_whole = fabs(amount - round(amount)) < 0.005;
    sm_text_add_fixed(text, amount, is_whole ? 0 : 2);
}

const char *sm_schedule__source_words(const struct sm_schedule *s, const struct sm_observation *observation)
{
    enum sm_distance_source source = observation->source;
    if (source == SM_DISTANCE_UNKNOWN && isfinite(observation->distance_m)) {
        bool is_seen = observation->reading.state != SM_READING_HIDDEN;
        bool prefers_log = s->sheet->trust == SM_TRUST_LOG && isfinite(observation->logged_m);
        source = is_seen && !prefers_log           ? SM_DISTANCE_PICTURE
                 : isfinite(observation->logged_m) ? SM_DISTANCE_LOG
                                                   : SM_DISTANCE_UNKNOWN;
    }
    if (source == SM_DISTANCE_PICTURE) {
        return observation->reading.state == SM_READING_CARRIED ? "picture, inferred" : "picture";
    }
    return source == SM_DISTANCE_LOG ? "log" : "-";
}

static void add_repairs_resting_on(struct sm_text *text, const struct sm_schedule *s, size_t observation_idx)
{
    size_t n = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        const struct sm_repair *repair = &s->plan->repair[i];
        for (size_t k = 0; k < repair->n_covers; k++) {
            if ((size_t)repair->covers[k] == observation_idx) {
                sm_text_addf(text, "%s%s", n++ ? ", " : "", repair->id);
                break;
            }
        }
    }
}

void sm_schedule__add_least_sure(struct sm_text *text, const struct sm_schedule *s)
{
    const struct sm_observation *worst = sm_schedule__least_sure(s);
    if (!worst) {
        return;
    }
    sm_text_addf(text, "Least sure: %s at ", worst->id);
    sm_schedule__add_length(text, s, worst->distance_m);
    sm_text_add(text, ", \u00b1 ");
    sm_schedule__add_error(text, s, worst->error_m);
    const char *source = sm_schedule__source_words(s, worst);
    sm_text_addf(text, "%s%s", *source == '-' ? "" : ", from the ", *source == '-' ? "" : source);
    if (sm_schedule__is_doubtful(worst)) {
        sm_text_add(text, ", ");
        sm_schedule__add_flag_words(text, worst->flags, ", ");
    }
    sm_text_add(text, "; resting on it: ");
    add_repairs_resting_on(text, s, (size_t)(worst - s->alignment->observation));
}

void sm_schedule__drop(struct sm_text *words, bool *has_failed)
{
    *has_failed |= words->failed;
    sm_text_release(words);
}

void sm_schedule__clear(struct sm_text *words, bool *has_failed)
{
    *has_failed |= words->failed;
    sm_text_clear(words);
}

enum sm_status sm_schedule__finish(const struct sm_text *text, struct sm_error *err)
{
    return text->failed ? sm_error_set(err, SM_E_NOMEM, "no memory for the document") : SM_OK;
}

bool sm_schedule__next_item(const char **items, const char **item, size_t *n)
{
    const char *s = *items ? *items : "";
    s += strspn(s, "; ");
    size_t length = strcspn(s, ";");
    *item = s;
    *items = s + length;
    while (length && s[length - 1] == ' ') {
        length--;
    }
    *n = length;
    return length > 0;
}
