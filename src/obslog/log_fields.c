/* Meaning of single log fields, whatever file they stand in. No function here knows a format. */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

static const char *text_of(const char *field)
{
    return field ? field : "";
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *skip_blanks(const char *s)
{
    while (*s == ' ' || *s == '\t') {
        s++;
    }
    return s;
}

/* ---- distance and values
 * ----------------------------------------------------------------------------------- */

/* Digits behind the decimal sign of the last number in a text. */
static int count_decimals(const char *text)
{
    int decimals = 0;
    bool is_behind = false;
    for (const char *s = text; *s; s++) {
        if (is_digit(*s)) {
            decimals += is_behind;
        } else {
            bool is_sign = *s == '.' || *s == ',';
            is_behind = is_sign;
            decimals = is_sign || strpbrk(s, "0123456789") ? 0 : decimals;
        }
    }
    return decimals;
}

/* Size in metres of one of the last unit a text names ("12 ft 6 in": an inch). */
static double last_unit_m(const char *text, const char *unit)
{
    char one[40] = "1";
    double size;
    const char *tail = text;
    for (const char *s = text; *s; s++) {
        if (is_digit(*s)) {
            tail = s + 1;
        }
    }
    sm_strcopy(one + 1, sizeof one - 1, *skip_blanks(tail) ? tail : unit);
    return sm_parse_quantity(one, SM_LENGTH, unit, &size, NULL) == SM_OK ? size : 1;
}

/* Is this the size of a unit that a counter in feet is written down with: ft, in, yd? */
static bool is_of_feet(double unit_m)
{
    double inches = unit_m / 0.0254;
    return fabs(inches - round(inches)) < 1e-6;
}

bool sm_obslog__parse_distance(struct sm_obslog_length *out, const char *text, const char *unit)
{
    double value;
    if (sm_parse_quantity(text, SM_LENGTH, unit, &value, NULL) != SM_OK || fabs(value) > 1e5) {
        return false;
    }
    double unit_m = last_unit_m(text, unit);
    *out = (struct sm_obslog_length){.length_m = value,
                                     .digit_m = unit_m * pow(10, -count_decimals(text)),
                                     .unit = is_of_feet(unit_m) ? SM_UNIT_FT : SM_UNIT_M};
    return true;
}

static bool parse_plain_value(const char *text, const char *unit, double *value)
{
    double length_m;
    if (sm_parse_number(text, value)) {
        if (*unit && sm_parse_quantity(text, SM_LENGTH, unit, &length_m, NULL) == SM_OK) {
            *value = length_m * 1000;
        }
        return true;
    }
    if (sm_parse_quantity(text, SM_LENGTH, NULL, &length_m, NULL) == SM_OK) {
        *value = length_m * 1000;
        return true;
    }
    double number;
    const char *end;
    if (!sm_scan_number(text, strchr(text, ',') != NULL, false, &number, &end)) {
        return false;
    }
    end = skip_blanks(end);
    if (*end != '%' && strncmp(end, "deg", 3) != 0 && strncmp(end, "\xc2\xb0", 2) != 0) {
        return false;
    }
    *value = number;
    return true;
}

bool sm_obslog__parse_value(const char *text, const char *unit, double *value, bool *is_bound)
{
    char copy[64];
    text = skip_blanks(text);
    *is_bound = false;
    if (parse_plain_value(text, unit, value)) {
        return true;
    }
    size_t sign = strspn(text, "<>=~ ");
    if (sign > 0 && parse_plain_value(text + sign, unit, value)) {
        *is_bound = true;
        return true;
    }
    const char *dash = strchr(text, '-');
    if (!dash || dash == text || !sm_strcopy(copy, sizeof copy, text)) {
        return false;
    }
    double low, high;
    copy[dash - text] = '\0';
    if (!parse_plain_value(copy, unit, &low) || !parse_plain_value(skip_blanks(dash + 1), unit, &high)) {
        return false;
    }
    *is_bound = true;
    *value = high > low ? high : low;
    return true;
}

/* ---- clock, continuous, joint
 * ------------------------------------------------------------------------------ */

/* One clock hour with what may stand behind it. @return the first character not taken, NULL = no hour. */
static const char *read_hour(const char *s, int32_t *hour, bool *is_rounded)
{
    int32_t value = 0;
    int n = 0;
    for (s = skip_blanks(s); is_digit(*s) && n < 3; s++, n++) {
        value = value * 10 + (*s - '0');
    }
    if (n == 0 || n > 2) {
        return NULL;
    }
    if ((*s == ':' || *s == '.') && is_digit(s[1])) {
        for (s++; is_digit(*s); s++) {
            *is_rounded = *is_rounded || *s != '0';
        }
    }
    s = skip_blanks(s);
    static const char *const words[] = {"o'clock", "Uhr", "uhr", "h"};
    for (size_t k = 0; k < sizeof words / sizeof words[0]; k++) {
        if (strncmp(s, words[k], strlen(words[k])) == 0) {
            s += strlen(words[k]);
            break;
        }
    }
    *hour = value;
    return skip_blanks(s);
}

static const char *skip_range_sign(const char *s)
{
    static const char *const signs[] = {"-", "/", "\xe2\x80\x93", "to", "bis", ".."};
    for (size_t k = 0; k < sizeof signs / sizeof signs[0]; k++) {
        if (strncmp(s, signs[k], strlen(signs[k])) == 0) {
            return s + strlen(signs[k]);
        }
    }
    return NULL;
}

bool sm_obslog__parse_clock(const char *text, int32_t *from_h, int32_t *to_h, bool *is_rounded)
{
    int32_t from = 0, to = 0;
    *is_rounded = false;
    const char *s = read_hour(text, &from, is_rounded);
    if (s && *s) {
        s = skip_range_sign(s);
        s = s ? read_hour(s, &to, is_rounded) : NULL;
    }
    if (!s || *s || from > 12 || to > 12) {
        return false;
    }
    *from_h = from;
    *to_h = to;
    return true;
}

void sm_obslog_mirror_clock(int32_t *from_h, int32_t *to_h)
{
    int32_t from = *from_h ? (*from_h == 12 ? 12 : 12 - *from_h) : 0;
    int32_t to = *to_h ? (*to_h == 12 ? 12 : 12 - *to_h) : 0;
    *from_h = to ? to : from;
    *to_h = to ? from : 0;
}

bool sm_obslog__parse_continuous(const char *text, enum sm_continuous *continuous, int32_t *id)
{
    static const struct {
        const char *word;
        enum sm_continuous continuous;
    } words[] = {
        {"a", SM_CONTINUOUS_START},      {"s", SM_CONTINUOUS_START},       {"start", SM_CONTINUOUS_START},
        {"anfang", SM_CONTINUOUS_START}, {"b", SM_CONTINUOUS_END},         {"f", SM_CONTINUOUS_END},
        {"end", SM_CONTINUOUS_END},      {"ende", SM_CONTINUOUS_END},      {"finish", SM_CONTINUOUS_END},
        {"c", SM_CONTINUOUS_CHANGE},     {"change", SM_CONTINUOUS_CHANGE},
    };
    char word[16];
    text = skip_blanks(text);
    size_t n = strcspn(text, "0123456789 ");
    int64_t number = 0;
    if (n == 0 || n >= sizeof word || (text[n] && !sm_parse_int(skip_blanks(text + n), 0, 9999, &number))) {
        return false;
    }
    memcpy(word, text, n);
    word[n] = '\0';
    for (size_t k = 0; k < sizeof words / sizeof words[0]; k++) {
        if (sm_ascii_ieq(words[k].word, word)) {
            *continuous = words[k].continuous;
            *id = (int32_t)number;
            return true;
        }
    }
    return false;
}

bool sm_obslog__parse_yes_no(const char *text, bool *yes)
{
    static const char *const yes_words[] = {"yes", "y", "ja", "j", "x", "1", "true", "wahr", "a"};
    static const char *const no_words[] = {"no", "n", "nein", "0", "false", "falsch", "-"};
    for (size_t k = 0; k < sizeof yes_words / sizeof yes_words[0]; k++) {
        if (sm_ascii_ieq(yes_words[k], text)) {
            *yes = true;
            return true;
        }
    }
    for (size_t k = 0; k < sizeof no_words / sizeof no_words[0]; k++) {
        if (sm_ascii_ieq(no_words[k], text)) {
            *yes = false;
            return true;
        }
    }
    return false;
}

/* ---- an entry from its fields
 * ------------------------------------------------------------------------------ */

static const char *keep(struct sm_obslog_build *build, const char *text)
{
    return *text ? sm_arena_strdup(build->arena, text) : "";
}

static enum sm_status take_time(struct sm_obslog_build *build, struct sm_log_entry *entry, const char *text,
                                const char *unit)
{
    struct sm_obslog_time time;
    if (!sm_obslog__parse_time(&time, text, unit)) {
        return sm_obslog__odd(build, entry->line,
                              "the time \"%.40s\" cannot be read, not used; write H:MM:SS, MM:SS or seconds",
                              text);
    }
    entry->time_s = time.time_s;
    entry->time_frames = time.frames;
    struct sm_obslog_part *part = sm_obslog__part(build);
    part->n_times++;
    part->n_may_be_hours += time.may_be_hours;
    part->n_may_be_hmmss += time.may_be_hmmss;
    part->n_past_minute += time.may_be_hmmss && time.time_s >= 100;
    return time.time_s < 0 ? sm_obslog__odd(build, entry->line, "the time \"%.40s\" is negative", text)
                           : SM_OK;
}

static enum sm_status take_place(struct sm_obslog_build *build, struct sm_log_entry *entry,
                                 const struct sm_obslog_fields *fields)
{
    const char *time = text_of(fields->time), *distance = text_of(fields->distance);
    const char *unit = text_of(fields->distance_unit);
    enum sm_status status = *time ? take_time(build, entry, time, text_of(fields->time_unit)) : SM_OK;
    if (status != SM_OK || !*distance) {
        return status;
    }
    unit = *unit ? unit : build->input->unit == SM_UNIT_FT ? "ft" : "m";
    struct sm_obslog_length length;
    if (!sm_obslog__parse_distance(&length, distance, unit)) {
        return sm_obslog__odd(build, entry->line,
                              "the distance \"%.40s\" cannot be read, not used; write a number", distance);
    }
    entry->distance_m = length.length_m;
    entry->distance_digit_m = length.digit_m;
    sm_obslog__part(build)->n_distances++;
    sm_obslog__part(build)->n_feet += length.unit == SM_UNIT_FT;
    return entry->distance_m < 0
               ? sm_obslog__odd(build, entry->line, "the distance \"%.40s\" is negative", distance)
               : SM_OK;
}

static char upper(char c)
{
    return c >= 'a' && c <= 'z' ? (char)(c - ('a' - 'A')) : c;
}

static bool is_letter(char c)
{
    return upper(c) >= 'A' && upper(c) <= 'Z';
}

/* A main code with its characterisations run together, as in BABBA or BCDXP: only codes of the EN shape. */
static bool is_run_together(const char *code)
{
    size_t n = strlen(code);
    if ((n != 4 && n != 5) || upper(code[0]) != 'B' || upper(code[1]) < 'A' || upper(code[1]) > 'D') {
        return false;
    }
    for (size_t k = 2; k < n; k++) {
        if (!is_letter(code[k])) {
            return false;
        }
    }
    return true;
}

static bool is_characterisation(const char *s, size_t n)
{
    return n >= 1 && n <= 2 && is_letter(s[0]) && (n == 1 || is_letter(s[1]));
}

/* "BAB B A" or "BAB.B.A" at its gaps; left alone where nothing stands before the first gap, or what follows
 * is no characterisation. */
static void split_at_gaps(struct sm_obslog_code *split)
{
    static const char gaps[] = " .,/";
    size_t n_code = strcspn(split->code, gaps);
    const char *first = split->code + n_code + strspn(split->code + n_code, gaps);
    size_t n_first = strcspn(first, gaps);
    const char *second = first + n_first + strspn(first + n_first, gaps);
    size_t n_second = strcspn(second, gaps);
    if (n_code == 0 || !is_characterisation(first, n_first) ||
        (n_second && !is_characterisation(second, n_second)) || second[n_second]) {
        return;
    }
    memcpy(split->ch1, first, n_first);
    memcpy(split->ch2, second, n_second);
    split->code[n_code] = '\0';
}

/* "BABBA" has one letter for each characterisation, "BCDXP" two for the first. */
static void split_run_together(struct sm_obslog_code *split)
{
    bool is_node =
        upper(split->code[1]) == 'C' && (upper(split->code[2]) == 'D' || upper(split->code[2]) == 'E');
    split->ch1[0] = split->code[3];
    if (split->code[4]) {
        *(is_node ? &split->ch1[1] : &split->ch2[0]) = split->code[4];
    }
    split->code[3] = '\0';
}

static void upper_all(char *s)
{
    for (; *s; s++) {
        *s = upper(*s);
    }
}

bool sm_obslog_split_code(struct sm_obslog_code *out, const char *text)
{
    *out = (struct sm_obslog_code){0};
    bool is_whole = sm_strcopy(out->code, sizeof out->code, skip_blanks(text));
    if (is_run_together(out->code)) {
        split_run_together(out);
    } else {
        split_at_gaps(out);
    }
    upper_all(out->code);
    return is_whole;
}

static enum sm_status take_code(struct sm_obslog_build *build, struct sm_log_entry *entry,
                                const struct sm_obslog_fields *fields, struct sm_error *err)
{
    struct sm_obslog_code split = {0};
    const char *ch1 = text_of(fields->ch1), *ch2 = text_of(fields->ch2);
    const char *code = skip_blanks(text_of(fields->code));
    bool has_own = *ch1 || *ch2;
    bool is_whole =
        has_own ? sm_strcopy(split.code, sizeof split.code, code) : sm_obslog_split_code(&split, code);
    upper_all(split.code);
    entry->code = keep(build, split.code);
    entry->ch1 = keep(build, has_own ? ch1 : split.ch1);
    entry->ch2 = keep(build, has_own ? ch2 : split.ch2);
    if (!entry->code || !entry->ch1 || !entry->ch2) {
        return sm_obslog__no_memory(err);
    }
    return is_whole ? SM_OK
                    : sm_obslog__odd(build, entry->line, "the code is longer than any code, cut to \"%s\"",
                                     split.code);
}

static enum sm_status take_value(struct sm_obslog_build *build, uint32_t line, const char *what,
                                 const char *text, const char *unit, double *value)
{
    bool is_bound;
    if (!*text) {
        return SM_OK;
    }
    if (sm_obslog__parse_value(text, unit, value, &is_bound)) {
        return is_bound
                   ? sm_obslog__odd(build, line, "%s \"%.40s\" is no single value, taken as its greater end",
                                    what, text)
                   : SM_OK;
    }
    /* a node's name or a size class is a text by right; what starts like a number is a slip */
    return is_digit(*text) || *text == '-'
               ? sm_obslog__odd(build, line, "%s \"%.40s\" cannot be read as a number", what, text)
               : SM_OK;
}

static enum sm_status take_clock(struct sm_obslog_build *build, struct sm_log_entry *entry, const char *from,
                                 const char *to)
{
    int32_t none = 0;
    bool is_rounded = false, is_to_rounded = false;
    enum sm_status status = SM_OK;
    if (*from && !sm_obslog__parse_clock(from, &entry->clock_from_h, &entry->clock_to_h, &is_rounded)) {
        status =
            sm_obslog__odd(build, entry->line,
                           "the clock position \"%.40s\" cannot be read; write 12, or 12-3 as text", from);
    }
    int32_t second = 0;
    if (status == SM_OK && *to) {
        if (!sm_obslog__parse_clock(to, &second, &none, &is_to_rounded) || none) {
            status = sm_obslog__odd(build, entry->line,
                                    "the clock position \"%.40s\" cannot be read; write 1 to 12", to);
        } else if (second && entry->clock_to_h && second != entry->clock_to_h) {
            status = sm_obslog__odd(
                build, entry->line,
                "two ends of the clock position: \"%.40s\" and \"%.40s\", the second is used", from, to);
        }
        entry->clock_to_h = second ? second : entry->clock_to_h;
    }
    if (status == SM_OK && entry->clock_to_h && !entry->clock_from_h) {
        status = sm_obslog__odd(build, entry->line,
                                "the clock position has an end but no start, taken as the place itself");
        entry->clock_from_h = entry->clock_to_h;
        entry->clock_to_h = 0;
    }
    if (status == SM_OK && (is_rounded || is_to_rounded)) {
        status = sm_obslog__odd(build, entry->line, "the clock position %.20s%s%.20s is cut to whole hours",
                                from, *to ? " to " : "", to);
    }
    return status;
}

static enum sm_status take_marks(struct sm_obslog_build *build, struct sm_log_entry *entry,
                                 const struct sm_obslog_fields *fields)
{
    const char *continuous = text_of(fields->continuous), *joint = text_of(fields->joint);
    const char *diameter = text_of(fields->diameter), *unit = text_of(fields->diameter_unit);
    enum sm_status status = SM_OK;
    if (*continuous && !sm_obslog__parse_continuous(continuous, &entry->continuous, &entry->continuous_id)) {
        status = sm_obslog__odd(
            build, entry->line,
            "\"%.40s\" is no start or end of a continuous defect; write A1/B1/C1 or S01/F01", continuous);
    }
    if (status == SM_OK && *joint && !sm_obslog__parse_yes_no(joint, &entry->is_at_joint)) {
        status = sm_obslog__odd(build, entry->line, "joint \"%.40s\" is neither yes nor no", joint);
    }
    int64_t group = 0;
    if (status == SM_OK && *text_of(fields->group) && !sm_parse_int(fields->group, 0, 9999, &group)) {
        status = sm_obslog__odd(build, entry->line, "the group \"%.40s\" is no number", fields->group);
    }
    entry->group = (int32_t)group;
    if (status != SM_OK || !*diameter) {
        return status;
    }
    double value;
    if (sm_parse_quantity(diameter, SM_LENGTH, *unit ? unit : "mm", &value, NULL) != SM_OK ||
        !(value >= 0.005 && value <= 10)) {
        return sm_obslog__odd(build, entry->line, "the diameter \"%.40s\" makes no sense, not used",
                              diameter);
    }
    entry->diameter_mm = value * 1000;
    return SM_OK;
}

/* The row in a few words, for the finding about it. */
static void tell_row(struct sm_text *text, const struct sm_obslog_fields *fields)
{
    const char *const parts[] = {fields->time, fields->distance, fields->code,  fields->ch1,
                                 fields->ch2,  fields->q1,       fields->remark};
    for (size_t k = 0; k < sizeof parts / sizeof parts[0]; k++) {
        if (parts[k] && *parts[k]) {
            sm_text_addf(text, "%s%.60s", text->length ? " | " : "", parts[k]);
        }
    }
}

static enum sm_status lose_row(struct sm_obslog_build *build, uint32_t line,
                               const struct sm_obslog_fields *fields, const char *why)
{
    struct sm_text told = {0};
    tell_row(&told, fields);
    enum sm_status status =
        told.failed ? SM_E_NOMEM
                    : sm_obslog__lost(build, line, "row not used, %s: %s", why, sm_text_str(&told));
    sm_text_release(&told);
    return status;
}

static enum sm_status keep_texts(struct sm_obslog_build *build, struct sm_log_entry *entry,
                                 const struct sm_obslog_fields *fields, struct sm_error *err)
{
    entry->q1 = keep(build, text_of(fields->q1));
    entry->q2 = keep(build, text_of(fields->q2));
    entry->remark = keep(build, text_of(fields->remark));
    entry->photo = keep(build, text_of(fields->photo));
    return entry->q1 && entry->q2 && entry->remark && entry->photo ? SM_OK : sm_obslog__no_memory(err);
}

enum sm_status sm_obslog__add_fields(struct sm_obslog_build *build, uint32_t line,
                                     const struct sm_obslog_fields *fields, struct sm_error *err)
{
    struct sm_log_entry entry = sm_obslog__entry_none(line);
    if (!*skip_blanks(text_of(fields->code))) {
        return lose_row(build, line, fields, "it has no code");
    }
    if (!*text_of(fields->time) && !*text_of(fields->distance)) {
        return lose_row(build, line, fields, "it has neither time nor distance");
    }
    enum sm_status status = take_place(build, &entry, fields);
    if (status == SM_OK && isnan(entry.time_s) && isnan(entry.distance_m)) {
        return lose_row(build, line, fields, "neither its time nor its distance can be read");
    }
    if (status == SM_OK) {
        status = take_code(build, &entry, fields, err);
    }
    if (status == SM_OK) {
        status = keep_texts(build, &entry, fields, err);
    }
    if (status == SM_OK) {
        status = take_value(build, line, "q1", entry.q1, text_of(fields->q1_unit), &entry.q1_value);
    }
    if (status == SM_OK) {
        status = take_value(build, line, "q2", entry.q2, text_of(fields->q2_unit), &entry.q2_value);
    }
    if (status == SM_OK) {
        status = take_clock(build, &entry, text_of(fields->clock_from), text_of(fields->clock_to));
    }
    if (status == SM_OK) {
        status = take_marks(build, &entry, fields);
    }
    return status == SM_OK ? sm_obslog__add(build, &entry, err) : status;
}
