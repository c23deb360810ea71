/*
 * The one table of what a sheet can say: section, key, kind of value, where it goes, its unit, limits and
 * default. A new key is a new row. A setter works a value out completely before it touches the sheet, so that
 * a failure changes nothing.
 */
#include "sheet_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum value_kind {
    KIND_TEXT,
    KIND_PATH,
    KIND_PATH_LIST,
    KIND_QUANTITY,
    KIND_NUMBER,
    KIND_WORD,
    KIND_YES_NO,
    KIND_CUSTOM
};

struct word {
    const char *text; /* folded; NULL ends the list */
    unsigned value;
};

struct key_row;
typedef enum sm_status set_fn(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                              struct sm_error *err);

struct key_row {
    const char *section, *key; /* as shown to people */
    enum value_kind kind;
    size_t offset; /* into struct sm_sheet */
    const char *fallback, *help;
    enum sm_quantity quantity;
    const char *bare_unit;  /* unit of a value written without one; NULL = the unit must be written */
    double scale;           /* from the quantity's own unit to the field's */
    double least, greatest; /* allowed, in the quantity's own unit */
    double bare_least;      /* without a unit a value other than 0 below this is not believed; in bare_unit */
    const struct word *words;
    set_fn *set;
};

static const struct word flow_words[] = {
    {"from to", SM_FLOW_FROM_TO}, {"to from", SM_FLOW_TO_FROM}, {"unknown", SM_FLOW_UNKNOWN}, {NULL, 0}};
static const struct word log_time_words[] = {{"video", SM_LOG_TIME_VIDEO},
                                             {"clock", SM_LOG_TIME_CLOCK},
                                             {"time of day", SM_LOG_TIME_CLOCK},
                                             {NULL, 0}};
static const struct word trust_words[] = {
    {"picture", SM_TRUST_PICTURE}, {"counter", SM_TRUST_PICTURE}, {"log", SM_TRUST_LOG}, {NULL, 0}};
static const struct word unit_words[] = {{"m", SM_UNIT_M},      {"metre", SM_UNIT_M},
                                         {"metres", SM_UNIT_M}, {"meter", SM_UNIT_M},
                                         {"meters", SM_UNIT_M}, {"ft", SM_UNIT_FT},
                                         {"foot", SM_UNIT_FT},  {"feet", SM_UNIT_FT},
                                         {"'", SM_UNIT_FT},     {NULL, 0}};
static const struct word datum_words[] = {{"pipe edge", SM_DATUM_PIPE_EDGE},
                                          {"manhole wall", SM_DATUM_MANHOLE_WALL},
                                          {"manhole centre", SM_DATUM_MANHOLE_CENTRE},
                                          {"manhole center", SM_DATUM_MANHOLE_CENTRE},
                                          {NULL, 0}};
static const struct word locate_words[] = {
    {"mark", SM_LOCATE_MARK}, {"counter", SM_LOCATE_COUNTER}, {NULL, 0}};
static const struct word reference_words[] = {
    {"pipe edge", SM_REFERENCE_PIPE_EDGE}, {"rim", SM_REFERENCE_RIM}, {NULL, 0}};
static const struct word enter_words[] = {{"from", 0}, {"to", 1}, {NULL, 0}};
static const struct word yes_no_words[] = {{"no", 0}, {"yes", 1}, {"false", 0}, {"true", 1}, {"off", 0},
                                           {"on", 1}, {"0", 0},   {"1", 1},     {NULL, 0}};

static set_fn set_codes, set_box, set_distance_error, set_lining_rate;

#define AT(field) offsetof(struct sm_sheet, field)
#define TEXT(section, key, field, help)                                                                      \
    {                                                                                                        \
        section, key, KIND_TEXT, AT(field), "", help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL                 \
    }
#define PATH(section, key, field, help)                                                                      \
    {                                                                                                        \
        section, key, KIND_PATH, AT(field), "", help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL                 \
    }
#define WORD(section, key, field, words, fallback, help)                                                     \
    {                                                                                                        \
        section, key, KIND_WORD, AT(field), fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, words, NULL          \
    }
#define YES_NO(section, key, field, words, fallback, help)                                                   \
    {                                                                                                        \
        section, key, KIND_YES_NO, AT(field), fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, words, NULL        \
    }
/* A length along the pipe: a bare number is metres, and is asked about when the counter shows feet. */
#define ALONG(section, key, field, fallback, least, greatest, help)                                          \
    {                                                                                                        \
        section, key, KIND_QUANTITY, AT(field), fallback, help, SM_LENGTH, "m", 1, least, greatest, 0, NULL, \
            NULL                                                                                             \
    }
/* A small length: a bare number is millimetres, but "0.15" is rather metres and is asked about. */
#define SMALL(section, key, field, fallback, scale, least, greatest, help)                                   \
    {                                                                                                        \
        section, key, KIND_QUANTITY, AT(field), fallback, help, SM_LENGTH, "mm", scale, least, greatest, 5,  \
            NULL, NULL                                                                                       \
    }
#define COST(key, field, help)                                                                               \
    {                                                                                                        \
        "rules", key, KIND_NUMBER, AT(field), "0", help, SM_PLAIN, NULL, 1, 0, 1e9, 0, NULL, NULL            \
    }
#define CUSTOM(section, key, set, fallback, help)                                                            \
    {                                                                                                        \
        section, key, KIND_CUSTOM, 0, fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, set                  \
    }

/* Limits are what the trade can mean at all (common practice, no source), not what is wise. */
static const struct key_row keys[] = {
    TEXT("segment", "id", segment.id, "name of the segment"),
    TEXT("segment", "from", segment.from, "access point the camera entered"),
    TEXT("segment", "to", segment.to, "the other access point"),
    ALONG("segment", "length", segment.length_m, "", 0.1, 10000,
          "pipe edge to pipe edge; leave out when unknown"),
    SMALL("segment", "diameter", segment.diameter_mm, "", 1000, 0.025, 6, "inner diameter"),
    ALONG("segment", "pipe unit length", segment.pipe_unit_length_m, "", 0.1, 30, "joint to joint"),
    TEXT("segment", "material", segment.material, "pipe material"),
    WORD("segment", "flow", segment.flow, flow_words, "unknown", "from-to or to-from"),
    TEXT("survey", "date", date, "day of the survey, YYYY-MM-DD"),
    TEXT("survey", "operator", operator_name, "who ran the camera"),
    {"survey", "video", KIND_PATH_LIST, AT(video), "",
     "video files in order; leave out to work from the log alone", SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL},
    {"survey", "video start", KIND_QUANTITY, AT(video_start_s), "", "this survey starts here in the video",
     SM_TIME, "s", 1, 0, 1e6, 0, NULL, NULL},
    {"survey", "video end", KIND_QUANTITY, AT(video_end_s), "", "this survey ends here in the video", SM_TIME,
     "s", 1, 0, 1e6, 0, NULL, NULL},
    PATH("survey", "log", log, "the operator's log, told apart by content"),
    WORD("survey", "log time", log_time, log_time_words, "video", "video or clock (time of day)"),
    CUSTOM("survey", "codes", set_codes, "EN",
           "EN (EN 13508-2), NA (North American condition codes) or a file"),
    WORD("survey", "trust", trust, trust_words, "picture",
         "whose distance counts where both are there: picture or log"),
    WORD("counter", "unit", counter_unit, unit_words, "", "m or ft; leave out to read it off the picture"),
    CUSTOM("counter", "box", set_box, "", "X,Y,W,H in pixels; leave out to find it"),
    WORD("counter", "datum", datum, datum_words, "pipe edge",
         "where the counter was zeroed: pipe edge, manhole wall, manhole centre"),
    ALONG("counter", "datum offset", datum_offset_m, "0 m", -20, 20,
          "from the counter's zero to the pipe edge, along the run"),
    ALONG("counter", "view ahead", view_ahead_m, "0 m", -1, 10,
          "a logged defect lies this far ahead of where the counter stands"),
    YES_NO("access", "enter", access.enters_at_to, enter_words, "from",
           "the end the crew works from: from or to"),
    WORD("access", "reference", access.reference, reference_words, "pipe edge",
         "what the tape mark meets: pipe edge or rim"),
    ALONG("access", "rim to pipe edge", access.rim_to_pipe_edge_m, "0 m", 0, 100,
          "along the rod's way, with reference = rim"),
    {"access", "pipe temperature", KIND_QUANTITY, AT(access.pipe_temperature_c), "",
     "of the pipe wall, for the cure time", SM_TEMPERATURE, NULL, 1, -30, 60, 0, NULL, NULL},
    ALONG("access", "groundwater head", access.groundwater_head_m, "", 0, 100, "above the invert"),
    SMALL("rules", "end cover", rules.end_cover_m, "150 mm", 1, 0, 3,
          "sound pipe covered each side of a defect"),
    WORD("rules", "locate", rules.locate, locate_words, "mark",
         "mark (camera and tape mark) or counter (by distance alone)"),
    SMALL("rules", "placement", rules.placement_m, "50 mm", 1, 0, 3, "error of putting the packer at a mark"),
    CUSTOM("rules", "distance error", set_distance_error, "0.5 % or 0.3 m",
           "the larger, for locate = counter"),
    SMALL("rules", "overlap", rules.overlap_m, "100 mm", 1, 0, 3,
          "two liners that meet lap at least this much"),
    SMALL("rules", "keep clear", rules.keep_clear_m, "100 mm", 1, 0, 3,
          "liners stay this far from the edge of a connection"),
    SMALL("rules", "connection diameter", rules.connection_diameter_mm, "150 mm", 1000, 0.010, 6,
          "where the log does not say"),
    YES_NO("rules", "reopen", rules.may_reopen, yes_no_words, "no",
           "yes: a connection may be covered and cut open again"),
    COST("set-up cost", rules.set_up_cost, "per repair"),
    COST("reopen cost", rules.reopen_cost, "per connection covered and cut open again"),
    CUSTOM("rules", "full lining rate", set_lining_rate, "",
           "cost per metre; leave out to make no comparison"),
    PATH("kits", "file", kits_file, "table of the liners that can be bought"),
    PATH("kits", "cure", cure_file,
         "cure table; without this key cure.csv beside the kits file, when there is one"),
};
enum { N_KEYS = sizeof keys / sizeof keys[0] };

static const char *const sections[] = {"segment", "survey", "counter", "ties", "access", "rules", "kits"};
enum { N_SECTIONS = sizeof sections / sizeof sections[0] };

/* ---- finding a key
 * ----------------------------------------------------------------------------------------- */

size_t sm_sheet__n_keys(void)
{
    return N_KEYS;
}

static bool is_same_key(const char *a, const char *b)
{
    char fold_a[64], fold_b[64];
    sm_key_fold(fold_a, sizeof fold_a, a);
    sm_key_fold(fold_b, sizeof fold_b, b);
    return strcmp(fold_a, fold_b) == 0;
}

int sm_sheet__find_key(const char *section, const char *key)
{
    int found = -1;
    for (int k = 0; k < N_KEYS; k++) {
        if (is_same_key(keys[k].key, key) && (!section || is_same_key(keys[k].section, section))) {
            found = found == -1 ? k : -2;
        }
    }
    return found;
}

bool sm_sheet__is_section(const char *section)
{
    for (size_t k = 0; k < N_SECTIONS; k++) {
        if (is_same_key(sections[k], section)) {
            return true;
        }
    }
    return false;
}

const char *sm_sheet__nearest_section(const char *section)
{
    return sm_nearest_word(section, sections, N_SECTIONS);
}

const char *sm_sheet__nearest_key(const char *section, const char *key)
{
    const char *list[N_KEYS];
    size_t n = 0;
    for (size_t k = 0; k < N_KEYS; k++) {
        if (!section || is_same_key(keys[k].section, section)) {
            list[n++] = keys[k].key;
        }
    }
    return sm_nearest_word(key, list, n);
}

const char *sm_sheet__section_of(const char *key)
{
    for (size_t k = 0; k < N_KEYS; k++) {
        if (is_same_key(keys[k].key, key)) {
            return keys[k].section;
        }
    }
    return NULL;
}

bool sm_sheet_key_info(size_t key_idx, struct sm_sheet_key_info *info)
{
    if (key_idx >= N_KEYS) {
        return false;
    }
    const struct key_row *row = &keys[key_idx];
    *info = (struct sm_sheet_key_info){row->section, row->key, row->fallback, row->help};
    return true;
}

/* ---- fields
 * ------------------------------------------------------------------------------------------------ */

/* Enumerations of the model are stored through unsigned; the words' values are all small and not negative. */
_Static_assert(sizeof(enum sm_flow) == sizeof(unsigned) && sizeof(enum sm_datum) == sizeof(unsigned),
               "enumerations are as wide as unsigned");

static void *field(struct sm_sheet *sheet, const struct key_row *row)
{
    return (char *)sheet + row->offset;
}

static void put_double(struct sm_sheet *sheet, const struct key_row *row, double value)
{
    memcpy(field(sheet, row), &value, sizeof value);
}

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static enum sm_status put_string(struct sm_sheet *sheet, const struct key_row *row, const char *value,
                                 struct sm_error *err)
{
    const char *copy = *value ? sm_arena_strdup(sheet->arena, value) : NULL;
    if (*value && !copy) {
        return no_memory(err);
    }
    memcpy(field(sheet, row), &copy, sizeof copy);
    return SM_OK;
}

/* ---- values
 * ------------------------------------------------------------------------------------------------ */

enum sm_status sm_sheet__note(struct sm_sheet_walk *walk, const char *fmt, ...)
{
    char message[400];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    return sm_findings_add(&walk->sheet->findings, 0, SM_SEVERITY_WARNING, walk->sheet->path, walk->line,
                           SM_NAN, -1, "%s", message);
}

/* "1,200" can be 1.2 or 1200: not for a program to guess. */
static enum sm_status check_comma(const char *value, struct sm_error *err)
{
    const char *comma = strchr(value, ',');
    if (!comma || comma == value || strspn(value, "0123456789+- ") != (size_t)(comma - value) ||
        strspn(comma + 1, "0123456789") != 3 || (comma == value + 1 && value[0] == '0')) {
        return SM_OK;
    }
    sm_error_set(err, SM_E_FORMAT, "the comma in \"%.40s\" can stand before decimals or between thousands",
                 value);
    return sm_error_remedy(err, "write a decimal point, and nothing between thousands");
}

static bool has_unit(const char *value)
{
    for (; *value; value++) {
        if (!strchr("0123456789.,+- \t", *value)) {
            return true;
        }
    }
    return false;
}

static enum sm_status range_error(const struct key_row *row, const char *value, const char *unit,
                                  double scale, struct sm_error *err)
{
    struct sm_text limits = {0};
    sm_text_add_number(&limits, row->least * scale, 0, 3);
    sm_text_add(&limits, " to ");
    sm_text_add_number(&limits, row->greatest * scale, 0, 3);
    sm_text_addf(&limits, "%s%s", *unit ? " " : "", unit);
    sm_error_set(err, SM_E_RANGE, "%s = %.60s makes no sense", row->key, value);
    sm_error_remedy(err, "write a value from %s, or leave the key out", sm_text_str(&limits));
    sm_text_release(&limits);
    return SM_E_RANGE;
}

enum sm_status sm_sheet__bare_length(struct sm_sheet_walk *walk, const char *what, const char *value,
                                     struct sm_error *err)
{
    if (walk->line == 0 && walk->sheet->counter_unit == SM_UNIT_FT) {
        sm_error_set(err, SM_E_FORMAT, "%s %.40s has no unit, and the counter shows feet", what, value);
        return sm_error_remedy(err, "write %.40s m or %.40s ft", value, value);
    }
    if (walk->bare_length_line == 0) {
        walk->bare_length_line = walk->line;
    }
    return sm_sheet__note(walk, "%s %.60s has no unit, taken as m", what, value);
}

/* A bare number is taken in the key's unit and said so; where that can hardly be meant it is an error. */
static enum sm_status check_bare(struct sm_sheet_walk *walk, const struct key_row *row, const char *value,
                                 double in_unit, struct sm_error *err)
{
    if (in_unit == 0) {
        return SM_OK;
    }
    if (fabs(in_unit) < row->bare_least) {
        sm_error_set(err, SM_E_FORMAT, "%s = %.60s has no unit, and %.60s %s can hardly be meant", row->key,
                     value, value, row->bare_unit);
        return sm_error_remedy(err, "write the unit: %.40s %s or %.40s m or %.40s in", value, row->bare_unit,
                               value, value);
    }
    if (strcmp(row->bare_unit, "m") == 0) {
        return sm_sheet__bare_length(walk, row->key, value, err);
    }
    return sm_sheet__note(walk, "%s = %.60s has no unit, taken as %s", row->key, value, row->bare_unit);
}

static const char *own_unit(const struct key_row *row)
{
    switch (row->quantity) {
    case SM_LENGTH:
        return row->bare_unit ? row->bare_unit : "m";
    case SM_TIME:
        return "s";
    case SM_TEMPERATURE:
        return "C";
    case SM_PRESSURE:
    case SM_MASS:
    case SM_VOLUME:
    case SM_DENSITY:
    case SM_AREA_MASS:
    case SM_SPEED:
    case SM_ANGLE:
    case SM_FRACTION:
    case SM_PLAIN:
        break;
    }
    return "";
}

static enum sm_status set_quantity(struct sm_sheet_walk *walk, const struct key_row *row, const char *value,
                                   struct sm_error *err)
{
    double number = 0;
    bool is_bare = !has_unit(value) && row->quantity == SM_LENGTH;
    enum sm_status status = check_comma(value, err);
    if (status == SM_OK) {
        status = sm_parse_quantity(value, row->quantity, row->bare_unit, &number, err);
    }
    if (status != SM_OK) {
        return status;
    }
    double to_shown = strcmp(own_unit(row), "mm") == 0 ? 1000 : 1;
    if (number < row->least || number > row->greatest) {
        return range_error(row, value, own_unit(row), to_shown, err);
    }
    status = is_bare ? check_bare(walk, row, value, number * to_shown, err) : SM_OK;
    if (status == SM_OK) {
        put_double(walk->sheet, row, number * row->scale);
    }
    return status;
}

static enum sm_status set_number(struct sm_sheet_walk *walk, const struct key_row *row, const char *value,
                                 struct sm_error *err)
{
    double number;
    enum sm_status status = check_comma(value, err);
    if (status != SM_OK) {
        return status;
    }
    if (!sm_parse_number(value, &number) || !isfinite(number)) {
        sm_error_set(err, SM_E_FORMAT, "%s = %.60s is no number", row->key, value);
        return sm_error_remedy(err, "write a number without a unit, for instance 400");
    }
    if (number < row->least || number > row->greatest) {
        return range_error(row, value, "", 1, err);
    }
    put_double(walk->sheet, row, number);
    return SM_OK;
}

static enum sm_status no_such_word(const struct key_row *row, const char *value, struct sm_error *err)
{
    struct sm_text all = {0};
    for (const struct word *word = row->words; word->text; word++) {
        sm_text_addf(&all, "%s%s", all.length ? ", " : "", word->text);
    }
    sm_error_set(err, SM_E_FORMAT, "%s = %.60s is none of the words it can be", row->key, value);
    sm_error_remedy(err, "write one of: %s", sm_text_str(&all));
    sm_text_release(&all);
    return SM_E_FORMAT;
}

static enum sm_status find_word(const struct key_row *row, const char *value, unsigned *found,
                                struct sm_error *err)
{
    for (const struct word *word = row->words; word->text; word++) {
        if (is_same_key(word->text, value)) {
            *found = word->value;
            return SM_OK;
        }
    }
    return no_such_word(row, value, err);
}

static enum sm_status set_word(struct sm_sheet *sheet, const struct key_row *row, const char *value,
                               struct sm_error *err)
{
    unsigned found;
    enum sm_status status = find_word(row, value, &found, err);
    if (status != SM_OK) {
        return status;
    }
    if (row->kind == KIND_YES_NO) {
        bool yes = found != 0;
        memcpy(field(sheet, row), &yes, sizeof yes);
    } else {
        memcpy(field(sheet, row), &found, sizeof found);
    }
    return SM_OK;
}

/* A path as the program opens it, in the sheet's arena; NULL = no memory. */
static const char *resolve(struct sm_sheet *sheet, const char *name)
{
    if (!sheet->path) {
        return sm_arena_strdup(sheet->arena, name);
    }
    struct sm_text text = {0};
    const char *path = NULL;
    if (sm_path_beside(&text, sheet->path, name) == SM_OK && !text.failed) {
        path = sm_arena_strdup(sheet->arena, sm_text_str(&text));
    }
    sm_text_release(&text);
    return path;
}

static enum sm_status set_path(struct sm_sheet *sheet, const struct key_row *row, const char *value,
                               struct sm_error *err)
{
    const char *path = resolve(sheet, value);
    if (!path) {
        return no_memory(err);
    }
    memcpy(field(sheet, row), &path, sizeof path);
    return SM_OK;
}

static enum sm_status set_path_list(struct sm_sheet *sheet, const struct key_row *row, char *value,
                                    struct sm_error *err)
{
    size_t most = 1, n = 0;
    for (const char *s = value; *s; s++) {
        most += *s == ',';
    }
    const char **path = sm_arena_alloc(sheet->arena, most * sizeof *path);
    if (!path) {
        return no_memory(err);
    }
    for (char *rest = value; rest;) {
        char *item = sm_sheet__next_item(&rest);
        if (!item || !*item) {
            sm_error_set(err, SM_E_FORMAT, "an item of %s is %s", row->key, item ? "empty" : "badly quoted");
            return sm_error_remedy(
                err, "write the files separated by commas, each in \" where it holds a comma or #");
        }
        if (!(path[n++] = resolve(sheet, item))) {
            return no_memory(err);
        }
    }
    sheet->video = path;
    sheet->n_videos = n;
    return SM_OK;
}

/* ---- values with a grammar of their own
 * -------------------------------------------------------------------- */

static enum sm_status set_codes(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                                struct sm_error *err)
{
    struct sm_sheet *sheet = walk->sheet;
    char folded[64];
    (void)row;
    sm_key_fold(folded, sizeof folded, value);
    if (strcmp(folded, "en") == 0 || strcmp(folded, "en 13508 2") == 0) {
        sheet->codes = SM_CODES_EN;
        sheet->codes_file = NULL;
    } else if (strcmp(folded, "na") == 0) {
        sheet->codes = SM_CODES_NA;
        sheet->codes_file = NULL;
    } else {
        const char *path = resolve(sheet, value);
        if (!path) {
            return no_memory(err);
        }
        sheet->codes = SM_CODES_FILE;
        sheet->codes_file = path;
    }
    return SM_OK;
}

static enum sm_status set_box(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                              struct sm_error *err)
{
    int64_t side[4] = {0};
    size_t n = 0;
    char *rest = value;
    for (; rest && n < 4; n++) {
        char *item = sm_sheet__next_item(&rest);
        if (!item || !sm_parse_int(item, n < 2 ? 0 : 1, 16384, &side[n])) {
            n = 9;
        }
    }
    if (n != 4 || rest) {
        sm_error_set(err, SM_E_FORMAT, "%s is no box in the picture", row->key);
        return sm_error_remedy(err, "write left, top, width and height in pixels, as in 520,30,160,28");
    }
    walk->sheet->counter_box =
        (struct sm_box){(int32_t)side[0], (int32_t)side[1], (int32_t)side[2], (int32_t)side[3]};
    return SM_OK;
}

static enum sm_status distance_error_part(char *part, double *fraction, double *length_m,
                                          struct sm_error *err)
{
    bool is_percent = strchr(part, '%') != NULL;
    double *to = is_percent ? fraction : length_m;
    enum sm_status status = check_comma(part, err);
    if (status == SM_OK) {
        status = sm_parse_quantity(part, is_percent ? SM_FRACTION : SM_LENGTH, NULL, to, err);
    }
    if (status == SM_OK && !(*to >= 0 && *to <= (is_percent ? 0.2 : 20.0))) {
        sm_error_set(err, SM_E_RANGE, "distance error %.40s makes no sense", part);
        sm_error_remedy(err, "write at most 20 %% and at most 20 m, as in 0.5 %% or 0.3 m");
        return SM_E_RANGE;
    }
    return status;
}

/* "0.5 % or 0.3 m": either part may stand alone, the other is then 0. */
static enum sm_status set_distance_error(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                                         struct sm_error *err)
{
    double fraction = 0, length_m = 0;
    char *second = strstr(value, " or ");
    (void)row;
    if (second) {
        *second = '\0';
        second += 4;
    }
    enum sm_status status = distance_error_part(value, &fraction, &length_m, err);
    if (status == SM_OK && second) {
        status = distance_error_part(second, &fraction, &length_m, err);
    }
    if (status == SM_OK) {
        walk->sheet->rules.distance_error_frac = fraction;
        walk->sheet->rules.distance_error_m = length_m;
    }
    return status;
}

/* Cost per metre; "128 /ft" and "128 per ft" are turned. */
static enum sm_status set_lining_rate(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                                      struct sm_error *err)
{
    double per_m = 1;
    char *unit = strchr(value, '/');
    size_t skip = 1;
    if (!unit) {
        unit = strstr(value, "per ");
        skip = 4;
    }
    if (unit) {
        char *name = sm_trim(unit + skip);
        *unit = '\0';
        if (sm_ascii_ieq(name, "ft") || sm_ascii_ieq(name, "foot")) {
            per_m = 1 / SM_M_PER_FT;
        } else if (!sm_ascii_ieq(name, "m") && !sm_ascii_ieq(name, "metre") && !sm_ascii_ieq(name, "meter")) {
            sm_error_set(err, SM_E_UNSUPPORTED, "%s is given per \"%.20s\"", row->key, name);
            return sm_error_remedy(err, "write the cost per metre, as in 420, or per foot, as in 128 /ft");
        }
    }
    struct key_row plain = *row;
    plain.offset = AT(rules.full_lining_rate_per_m);
    plain.greatest = 1e7;
    struct sm_sheet *sheet = walk->sheet;
    enum sm_status status = set_number(walk, &plain, sm_trim(value), err);
    if (status == SM_OK) {
        sheet->rules.full_lining_rate_per_m *= per_m;
    }
    return status;
}

/* ---- setting
 * ----------------------------------------------------------------------------------------------- */

static enum sm_status set_value(struct sm_sheet_walk *walk, const struct key_row *row, char *value,
                                struct sm_error *err)
{
    switch (row->kind) {
    case KIND_TEXT:
        return put_string(walk->sheet, row, value, err);
    case KIND_PATH:
        return set_path(walk->sheet, row, value, err);
    case KIND_PATH_LIST:
        return set_path_list(walk->sheet, row, value, err);
    case KIND_QUANTITY:
        return set_quantity(walk, row, value, err);
    case KIND_NUMBER:
        return set_number(walk, row, value, err);
    case KIND_WORD:
    case KIND_YES_NO:
        return set_word(walk->sheet, row, value, err);
    case KIND_CUSTOM:
        return row->set(walk, row, value, err);
    }
    return SM_OK;
}

/* "Left out": what the field holds when the sheet says nothing. */
static void clear_value(struct sm_sheet *sheet, const struct key_row *row)
{
    const char *none = NULL;
    switch (row->kind) {
    case KIND_TEXT:
    case KIND_PATH:
        memcpy(field(sheet, row), &none, sizeof none);
        break;
    case KIND_PATH_LIST:
        sheet->video = NULL;
        sheet->n_videos = 0;
        break;
    case KIND_QUANTITY:
    case KIND_NUMBER:
        put_double(sheet, row, SM_NAN);
        break;
    case KIND_WORD:
    case KIND_YES_NO:
        memset(field(sheet, row), 0, row->kind == KIND_WORD ? sizeof(unsigned) : sizeof(bool));
        break;
    case KIND_CUSTOM:
        if (row->set == set_box) {
            sheet->counter_box = (struct sm_box){0};
        } else if (row->set == set_lining_rate) {
            sheet->rules.full_lining_rate_per_m = SM_NAN;
        }
        break;
    }
}

enum sm_status sm_sheet__set_key(struct sm_sheet_walk *walk, int key_idx, char *value, struct sm_error *err)
{
    const struct key_row *row = &keys[key_idx];
    if (!*value) {
        char fallback[64];
        clear_value(walk->sheet, row);
        sm_strcopy(fallback, sizeof fallback, row->fallback);
        return *fallback ? set_value(walk, row, fallback, err) : SM_OK;
    }
    if (row->kind != KIND_PATH_LIST && !sm_sheet__unquote(value)) {
        sm_error_set(err, SM_E_FORMAT, "the quotes of %s do not match", row->key);
        return sm_error_remedy(err, "put the whole value in \" or none of it");
    }
    return set_value(walk, row, value, err);
}

enum sm_status sm_sheet__set_defaults(struct sm_sheet_walk *walk, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (int k = 0; k < N_KEYS && status == SM_OK; k++) {
        char empty[1] = "";
        status = sm_sheet__set_key(walk, k, empty, err);
    }
    return status;
}
