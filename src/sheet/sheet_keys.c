/*
 * The one table of what a sheet can say: section, key, kind of value, where it goes, its unit, limits and
 * default. A new key is a new row.
 */
#include "sheet_row.h"

#include <string.h>

static const struct sm_sheet__word flow_words[] = {
    {"from to", SM_FLOW_FROM_TO}, {"to from", SM_FLOW_TO_FROM}, {"unknown", SM_FLOW_UNKNOWN}, {NULL, 0}};
static const struct sm_sheet__word log_time_words[] = {{"video", SM_LOG_TIME_VIDEO},
                                                       {"clock", SM_LOG_TIME_CLOCK},
                                                       {"time of day", SM_LOG_TIME_CLOCK},
                                                       {NULL, 0}};
static const struct sm_sheet__word trust_words[] = {
    {"picture", SM_TRUST_PICTURE}, {"counter", SM_TRUST_PICTURE}, {"log", SM_TRUST_LOG}, {NULL, 0}};
static const struct sm_sheet__word unit_words[] = {{"m", SM_UNIT_M},      {"metre", SM_UNIT_M},
                                                   {"metres", SM_UNIT_M}, {"meter", SM_UNIT_M},
                                                   {"meters", SM_UNIT_M}, {"ft", SM_UNIT_FT},
                                                   {"foot", SM_UNIT_FT},  {"feet", SM_UNIT_FT},
                                                   {"'", SM_UNIT_FT},     {NULL, 0}};
static const struct sm_sheet__word datum_words[] = {{"pipe edge", SM_DATUM_PIPE_EDGE},
                                                    {"manhole wall", SM_DATUM_MANHOLE_WALL},
                                                    {"manhole centre", SM_DATUM_MANHOLE_CENTRE},
                                                    {"manhole center", SM_DATUM_MANHOLE_CENTRE},
                                                    {NULL, 0}};
static const struct sm_sheet__word locate_words[] = {
    {"mark", SM_LOCATE_MARK}, {"counter", SM_LOCATE_COUNTER}, {NULL, 0}};
static const struct sm_sheet__word reference_words[] = {
    {"pipe edge", SM_REFERENCE_PIPE_EDGE}, {"rim", SM_REFERENCE_RIM}, {NULL, 0}};
static const struct sm_sheet__word paper_words[] = {
    {"a4", SM_PAPER_A4}, {"letter", SM_PAPER_LETTER}, {"us letter", SM_PAPER_LETTER}, {NULL, 0}};
static const struct sm_sheet__word enter_words[] = {{"from", 0}, {"to", 1}, {NULL, 0}};
static const struct sm_sheet__word yes_no_words[] = {
    {"no", 0}, {"yes", 1}, {"false", 0}, {"true", 1}, {"off", 0}, {"on", 1}, {"0", 0}, {"1", 1}, {NULL, 0}};

#define AT(field) offsetof(struct sm_sheet, field)
#define TEXT(section, key, field, help)                                                                      \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_TEXT, AT(field), "", help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL       \
    }
#define PATH(section, key, field, help)                                                                      \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_PATH, AT(field), "", help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL       \
    }
#define WORD(section, key, field, words, fallback, help)                                                     \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_WORD, AT(field), fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, words,     \
            NULL                                                                                             \
    }
#define YES_NO(section, key, field, words, fallback, help)                                                   \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_YES_NO, AT(field), fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, words,   \
            NULL                                                                                             \
    }
/* A length along the pipe: a bare number is metres, and is asked about when the counter shows feet. */
#define ALONG(section, key, field, fallback, least, greatest, help)                                          \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_QUANTITY, AT(field), fallback, help, SM_LENGTH, "m", 1, least,          \
            greatest, 0, NULL, NULL                                                                          \
    }
/* A small length: a bare number is millimetres, but "0.15" is rather metres and is asked about. */
#define SMALL(section, key, field, fallback, scale, least, greatest, help)                                   \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_QUANTITY, AT(field), fallback, help, SM_LENGTH, "mm", scale, least,     \
            greatest, 5, NULL, NULL                                                                          \
    }
#define COST(key, field, help)                                                                               \
    {                                                                                                        \
        "rules", key, SM_SHEET__KIND_NUMBER, AT(field), "0", help, SM_PLAIN, NULL, 1, 0, 1e9, 0, NULL, NULL  \
    }
/* Cost per metre or foot. */
#define RATE(key, field, help)                                                                               \
    {                                                                                                        \
        "rules", key, SM_SHEET__KIND_CUSTOM, AT(field), "", help, SM_PLAIN, NULL, 1, 0, 1e7, 0, NULL,        \
            sm_sheet__set_rate                                                                               \
    }
#define COUNT(section, key, field, fallback, least, greatest, help)                                          \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_COUNT, AT(field), fallback, help, SM_PLAIN, NULL, 1, least, greatest,   \
            0, NULL, NULL                                                                                    \
    }
/* What a step of the day takes, kept in minutes. */
#define MINUTES(key, field, fallback, help)                                                                  \
    {                                                                                                        \
        "day", key, SM_SHEET__KIND_QUANTITY, AT(day.field), fallback, help, SM_TIME, "min", 1 / 60.0, 0,     \
            172800, 0, NULL, NULL                                                                            \
    }
#define MAT(key, field, quantity, unit, scale, fallback, least, greatest, help)                              \
    {                                                                                                        \
        "mat", key, SM_SHEET__KIND_QUANTITY, AT(mat.field), fallback, help, quantity, unit, scale, least,    \
            greatest, 0, NULL, NULL                                                                          \
    }
#define CUSTOM(section, key, set, fallback, help)                                                            \
    {                                                                                                        \
        section, key, SM_SHEET__KIND_CUSTOM, 0, fallback, help, SM_PLAIN, NULL, 1, 0, 0, 0, NULL, set        \
    }

/* Limits are what the trade can mean at all (common practice, no source), not what is wise. */
static const struct sm_sheet__row keys[] = {
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
    {"survey", "video", SM_SHEET__KIND_PATH_LIST, AT(video), "",
     "video files in order; leave out to work from the log alone", SM_PLAIN, NULL, 1, 0, 0, 0, NULL, NULL},
    {"survey", "other runs", SM_SHEET__KIND_PATH_LIST, AT(other_run), "",
     "sheets or logs of other runs through this segment, from the same or the other end", SM_PLAIN,
     NULL, 1, 0, 0, 0, NULL, NULL},
    {"survey", "distances", SM_SHEET__KIND_PATH_LIST, AT(distances), "",
     "lists of distances beside the picture (CSV, SubRip); leave out to look beside the videos", SM_PLAIN,
     NULL, 1, 0, 0, 0, NULL, NULL},
    {"survey", "video start", SM_SHEET__KIND_QUANTITY, AT(video_start_s), "",
     "this survey starts here in the video", SM_TIME, "s", 1, 0, 1e6, 0, NULL, NULL},
    {"survey", "video end", SM_SHEET__KIND_QUANTITY, AT(video_end_s), "",
     "this survey ends here in the video", SM_TIME, "s", 1, 0, 1e6, 0, NULL, NULL},
    PATH("survey", "log", log, "the operator's log, told apart by content"),
    CUSTOM("survey", "inspection", sm_sheet__set_inspection, "",
           "which of several inspections in the log, from 1: of the segment's, where id is given"),
    WORD("survey", "log time", log_time, log_time_words, "video", "video or clock (time of day)"),
    CUSTOM("survey", "codes", sm_sheet__set_codes, "EN",
           "EN (EN 13508-2), NA (North American condition codes) or a file"),
    WORD("survey", "trust", trust, trust_words, "picture",
         "whose distance counts where both are there: picture or log"),
    WORD("counter", "unit", counter_unit, unit_words, "", "m or ft; leave out to read it off the picture"),
    CUSTOM("counter", "box", sm_sheet__set_box, "", "X,Y,W,H in pixels; leave out to find it"),
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
    {"access", "pipe temperature", SM_SHEET__KIND_QUANTITY, AT(access.pipe_temperature_c), "",
     "of the pipe wall, for the cure time", SM_TEMPERATURE, NULL, 1, -30, 60, 0, NULL, NULL},
    ALONG("access", "groundwater head", access.groundwater_head_m, "", 0, 100, "above the invert"),
    ALONG("access", "lateral head", access.lateral_head_m, "", 0, 100,
          "water that may stand in a connection, above the invert"),
    SMALL("rules", "end cover", rules.end_cover_m, "150 mm", 1, 0, 3,
          "sound pipe covered each side of a defect"),
    WORD("rules", "locate", rules.locate, locate_words, "mark",
         "mark (camera and tape mark) or counter (by distance alone)"),
    SMALL("rules", "placement", rules.placement_m, "50 mm", 1, 0, 3, "error of putting the packer at a mark"),
    CUSTOM("rules", "distance error", sm_sheet__set_distance_error, "0.5 % or 0.3 m",
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
    RATE("full lining rate", rules.full_lining_rate_per_m, "cost per metre; leave out to make no comparison"),
    COST("full lining set-up cost", rules.full_lining_set_up_cost, "once, for lining the whole length"),
    RATE("dig rate", rules.dig_rate_per_m,
         "cost per metre of pipe dug up and replaced; leave out to make no comparison"),
    COST("dig cost", rules.dig_cost, "per place dug up"),
    COUNT("rules", "most repairs", rules.most_repairs, "", 1, 10000,
          "more liners than this, and the owner's rule is to line the whole length"),
    {"rules", "most lined", SM_SHEET__KIND_QUANTITY, AT(rules.most_lined_frac), "",
     "likewise for the share of the length under liners, as in 30 %", SM_FRACTION, "", 1, 0.01, 1, 0, NULL,
     NULL},
    COUNT("rules", "spares", rules.n_spares, "1", 0, 1000, "liners loaded besides those planned"),
    PATH("kits", "file", kits_file, "table of the liners that can be bought"),
    PATH("kits", "cure", cure_file,
         "cure table; without this key cure.csv beside the kits file, when there is one"),
    MINUTES("shift", shift_min, "480 min", "length of a working day"),
    MINUTES("set-up", set_up_min, "45 min",
            "once a segment: cover off, gas test, flow stopped, look with the camera"),
    MINUTES("prepare", prepare_min, "20 min", "per item of preparation"),
    MINUTES("rehearsal", rehearsal_min, "5 min",
            "run to the mark with a sleeve on, besides the way in and out"),
    MINUTES("wet-out", wet_out_min, "8 min", "mix, soak, wrap, tie"),
    {"day", "push speed", SM_SHEET__KIND_QUANTITY, AT(day.push_m_per_min), "6 m/min",
     "of the packer along the pipe", SM_SPEED, "m/min", 60, 0.001, 10, 0, NULL, NULL},
    MINUTES("position", position_min, "1 min", "rod to the mark"),
    MINUTES("inflate", inflate_min, "1 min", ""),
    MINUTES("hold", hold_min, "10 min", "kept inflated beyond the cure time of the kit's table"),
    MINUTES("deflate", deflate_min, "3 min", ""),
    MINUTES("look", look_min, "5 min", "camera after the work, besides the way"),
    MAT("glass", glass_kg_m2, SM_AREA_MASS, "kg/m2", 1, "1.05 kg/m2", 0.05, 20, "of one layer of mat"),
    MAT("resin per glass", resin_per_glass, SM_PLAIN, "", 1, "1.5", 0.1, 20, "by mass"),
    MAT("glass density", glass_density_kg_l, SM_DENSITY, "kg/l", 0.001, "2550 kg/m3", 500, 20000, ""),
    MAT("resin density", resin_density_kg_l, SM_DENSITY, "kg/l", 0.001, "1300 kg/m3", 500, 20000, ""),
    SMALL("mat", "lap", mat.lap_m, "25 mm", 1, 0, 2, "of the mat's edges round the pipe"),
    MAT("waste", waste_frac, SM_FRACTION, "", 1, "10 %", 0, 0.9, "resin left in bucket and cracks"),
    CUSTOM("mat", "parts", sm_sheet__set_parts, "2:1", "parts A and B of the resin by volume"),
    MAT("part a density", part_a_density_kg_l, SM_DENSITY, "kg/l", 0.001, "", 500, 20000,
        "of the resin's part A; leave out to take the mixed resin's"),
    MAT("part b density", part_b_density_kg_l, SM_DENSITY, "kg/l", 0.001, "", 500, 20000,
        "of the resin's part B; leave out to take the mixed resin's"),
    SMALL("mat", "least wall", mat.least_thickness_mm, "3 mm", 1000, 0, 0.5,
          "never fewer layers than give this"),
    COUNT("mat", "least layers", mat.least_layers, "2", 1, 50, "never fewer"),
    WORD("documents", "paper", paper, paper_words, "A4", "of the crew sheet: A4 or Letter"),
    WORD("documents", "crew unit", people_unit, unit_words, "",
         "of what people read, m or ft; leave out for the counter's"),
};
enum { N_KEYS = sizeof keys / sizeof keys[0] };

static const char *const sections[] = {"segment", "survey", "counter", "ties",      "access",   "rules",
                                       "kits",    "day",    "mat",     "documents", "decisions"};
enum { N_SECTIONS = sizeof sections / sizeof sections[0] };

/* ---- finding a key
 * ----------------------------------------------------------------------------------------- */

size_t sm_sheet__n_keys(void)
{
    return N_KEYS;
}

bool sm_sheet__is_same_key(const char *a, const char *b)
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
        if (sm_sheet__is_same_key(keys[k].key, key) &&
            (!section || sm_sheet__is_same_key(keys[k].section, section))) {
            found = found == -1 ? k : -2;
        }
    }
    return found;
}

bool sm_sheet__is_section(const char *section)
{
    for (size_t k = 0; k < N_SECTIONS; k++) {
        if (sm_sheet__is_same_key(sections[k], section)) {
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
        if (!section || sm_sheet__is_same_key(keys[k].section, section)) {
            list[n++] = keys[k].key;
        }
    }
    return sm_nearest_word(key, list, n);
}

const char *sm_sheet__section_of(const char *key)
{
    for (size_t k = 0; k < N_KEYS; k++) {
        if (sm_sheet__is_same_key(keys[k].key, key)) {
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
    const struct sm_sheet__row *row = &keys[key_idx];
    *info = (struct sm_sheet_key_info){row->section, row->key, row->fallback, row->help};
    return true;
}

enum sm_status sm_sheet__set_key(struct sm_sheet_walk *walk, int key_idx, char *value, struct sm_error *err)
{
    const struct sm_sheet__row *row = &keys[key_idx];
    if (!*value) {
        char fallback[64];
        sm_strcopy(fallback, sizeof fallback, row->fallback);
        return *fallback ? sm_sheet__set_value(walk, row, fallback, err)
                         : sm_sheet__clear_value(walk, row, err);
    }
    if (row->kind != SM_SHEET__KIND_PATH_LIST && !sm_sheet__unquote(value)) {
        sm_error_set(err, SM_E_FORMAT, "the quotes of %s do not match", row->key);
        return sm_error_remedy(err, "put the whole value in \" or none of it");
    }
    return sm_sheet__set_value(walk, row, value, err);
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
