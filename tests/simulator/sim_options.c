/*
 * sim_options.c - the one table of option keys: parsing, printing, help and checks all walk over it, so that
 * a new option is one line here and one field in the header.
 */
#include "sim_internal.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum key_type { KEY_INT, KEY_NUMBER, KEY_BOOL, KEY_CHOICE, KEY_TEXT, KEY_COLOUR };

struct key {
    const char *name;
    enum key_type type;
    size_t offset, size;
    double least, greatest;
    const char *choices; /* words separated by blanks, in the order of the enum */
    const char *help;
};

#define FIELD(path) offsetof(struct sm_sim_opts, path), sizeof(((struct sm_sim_opts *)0)->path)
#define INT(name, path, least, greatest, help)                                                               \
    {                                                                                                        \
        name, KEY_INT, FIELD(path), least, greatest, NULL, help                                              \
    }
#define NUM(name, path, least, greatest, help)                                                               \
    {                                                                                                        \
        name, KEY_NUMBER, FIELD(path), least, greatest, NULL, help                                           \
    }
#define YES(name, path, help)                                                                                \
    {                                                                                                        \
        name, KEY_BOOL, FIELD(path), 0, 1, NULL, help                                                        \
    }
#define ONE(name, path, choices, help)                                                                       \
    {                                                                                                        \
        name, KEY_CHOICE, FIELD(path), 0, 0, choices, help                                                   \
    }
#define TXT(name, path, help)                                                                                \
    {                                                                                                        \
        name, KEY_TEXT, FIELD(path), 0, 0, NULL, help                                                        \
    }
#define COL(name, path, help)                                                                                \
    {                                                                                                        \
        name, KEY_COLOUR, FIELD(path), 0, 0xffffff, NULL, help                                               \
    }

static const struct key keys[] = {
    INT("seed", seed, 0, 9e15, "everything random follows from it"),
    INT("width", video.width_px, 64, 4096, "picture width, px"),
    INT("height", video.height_px, 64, 4096, "picture height, px"),
    INT("rate_num", video.rate_num, 1, 120000, "frames per second: numerator"),
    INT("rate_den", video.rate_den, 1, 2000, "frames per second: denominator"),
    YES("vfr", video.is_variable_rate, "leave frames out at random"),
    ONE("codec", video.codec, "mpeg1 mpeg2 mpeg4 mjpeg h264 hevc wmv2", "video codec"),
    ONE("container", video.container, "ps ts avi mp4 mkv asf", "file format"),
    INT("bitrate", video.bitrate_kbps, 0, 200000, "kbit/s, 0 = ordinary"),
    INT("gop", video.gop, 0, 100000, "frames between frames that decode alone, 0 = usual"),
    INT("bframes", video.b_frames, -1, 4, "-1 = usual"),
    YES("slow", video.is_slow, "H.264: more work for better pictures at the same size"),
    NUM("limit", video.limit_s, 0, 86400, "cut the recording after s, 0 = whole run"),
    NUM("length", pipe.length_m, 0.5, 2000, "of the segment, m"),
    NUM("diameter", pipe.diameter_mm, 50, 3000, "mm"),
    NUM("unit_length", pipe.unit_length_m, 0.2, 100, "between joints, m"),
    ONE("material", pipe.material, "clay concrete pvc iron liner", "of the wall"),
    INT("observations", pipe.n_observations, 0, 500, "beside the two nodes"),
    TXT("plan", pipe.plan, "observations by hand: kind:place[-end][@clock], blanks between"),
    NUM("bend_at", pipe.bend_at_m, -1, 2000, "m, -1 = straight"),
    NUM("water", pipe.water_level, 0, 0.5, "standing water, share of the diameter"),
    TXT("id", pipe.id, "segment name"),
    TXT("from", pipe.from, "access point entered"),
    TXT("to", pipe.to, "the other access point"),
    NUM("speed_min", motion.speed_min_m_s, 0.005, 1, "m/s"),
    NUM("speed_max", motion.speed_max_m_s, 0.005, 1, "m/s"),
    NUM("stand_min", motion.stand_min_s, 0, 600, "standstill at an observation, s"),
    NUM("stand_max", motion.stand_max_s, 0, 600, "s"),
    NUM("reversals", motion.reversal_chance, 0, 1, "chance of a short run back at an observation"),
    NUM("start_at", motion.start_m, -5, 2000, "where the run begins, m"),
    NUM("stop_at", motion.stop_at_m, 0, 2000, "given up here, m, 0 = at the end node"),
    NUM("lead_in", motion.lead_in_s, 0, 600, "standing before the run, s"),
    NUM("lead_out", motion.lead_out_s, 0, 600, "standing after the run, s"),
    NUM("counter_offset", counter.offset_m, -100, 100, "true place at which the counter showed zero, m"),
    NUM("counter_scale", counter.scale, 0.5, 2, "counter metres per true metre"),
    NUM("set_at", counter.set_at_m, -1, 2000, "counter set anew here, m, -1 = never"),
    NUM("set_to", counter.set_to, -1000, 10000, "to this, in its own unit"),
    NUM("update", counter.update_s, 0, 10, "interval of the display, s, 0 = each frame"),
    NUM("lag", counter.lag_s, 0, 10, "delay of the display, s"),
    ONE("unit", counter.unit, "m ft", "of the counter"),
    INT("int_digits", counter.int_digits, 1, 6, "fill up to this many digits before the point"),
    INT("decimals", counter.decimals, 0, 3, "of the counter"),
    ONE("fill", counter.fill, "none blank zero", "before the number"),
    ONE("sign", counter.sign, "minus always", "when a sign is shown"),
    YES("comma", counter.has_comma, "decimal comma"),
    TXT("prefix", counter.prefix, "before the number, _ = blank"),
    TXT("suffix", counter.suffix, "after the number, _ = blank"),
    TXT("font", overlay.font,
        "family, psf:NAME, seven-segment, or cells:N, dots:N, strokes:N, segments:N, bursts:N"),
    NUM("digit_px", overlay.digit_px, 5, 200, "height of the digits"),
    NUM("other_scale", overlay.other_scale, 0.3, 3, "size of the other fields against the counter's"),
    TXT("other_font", overlay.other_font, "font of the other fields, empty = the same"),
    YES("bold", overlay.is_bold, ""),
    YES("slashed_zero", overlay.has_slashed_zero, "where the font has one"),
    YES("hard_edged", overlay.is_hard_edged, "no anti-aliasing"),
    NUM("stretch", overlay.stretch, 0.4, 3, "width factor"),
    NUM("spacing", overlay.spacing_px, -4, 20, "between letters, px"),
    COL("colour", overlay.colour, "RRGGBB"),
    COL("outline_colour", overlay.outline_colour, "RRGGBB, of outline and shadow"),
    COL("box_colour", overlay.box_colour, "RRGGBB"),
    NUM("outline", overlay.outline_px, 0, 8, "px"),
    NUM("shadow", overlay.shadow_px, 0, 8, "px"),
    ONE("ground", overlay.ground, "none text fixed band", "behind the texts"),
    NUM("ground_alpha", overlay.ground_alpha, 0, 1, ""),
    NUM("opacity", overlay.opacity, 0.05, 1, "of the texts"),
    YES("flip", overlay.is_flipping, "characters turn black on bright ground"),
    ONE("layout", overlay.layout, "corners two_lines panels column one_line alone scattered",
        "of the fields"),
    ONE("place", overlay.place, "top_left top top_right bottom_left bottom bottom_right", "of the counter"),
    NUM("margin", overlay.margin_px, 0, 400, "from the picture's edge, px, 0 = ordinary"),
    YES("date", overlay.has_date, "field"),
    YES("time", overlay.has_time, "field: time of day"),
    YES("elapsed", overlay.has_elapsed, "field: running time"),
    YES("nodes", overlay.has_nodes, "field: access points"),
    YES("dn", overlay.has_diameter, "field: diameter"),
    YES("temperature", overlay.has_temperature, "field"),
    YES("inclination", overlay.has_inclination, "field"),
    YES("wall_material", overlay.has_material, "field"),
    YES("second_distance", overlay.has_second_distance, "field: distance since the last stop"),
    YES("pressure", overlay.has_pressure, "field"),
    NUM("clock_start", overlay.clock_start_s, 0, 86399, "time of day at the first frame, s"),
    NUM("sentence", overlay.sentence_s, 0, 60, "shown at each stop, s"),
    NUM("title", overlay.title_s, 0, 120, "title page, s"),
    NUM("black", overlay.black_s, 0, 120, "black before everything, s"),
    NUM("not_running", overlay.not_running_s, 0, 120, "counter shows lines, s"),
    INT("text_pages", overlay.n_text_pages, 0, 20, "over the picture"),
    INT("gaps", overlay.n_gaps, 0, 50, "stretches with no overlay"),
    NUM("gap", overlay.gap_s, 0, 600, "length of each, s"),
    NUM("blur", damage.blur_px, 0, 6, "px"),
    NUM("noise", damage.noise, 0, 60, "under the overlay, grey levels"),
    NUM("line_noise", damage.line_noise, 0, 60, "over the overlay, grey levels"),
    NUM("flicker", damage.flicker, 0, 0.5, "of the gain"),
    NUM("glare", damage.glare, 0, 1, "of the lamps"),
    NUM("brightness", damage.brightness, 0.2, 3, "of the wall"),
    YES("interlaced", damage.is_interlaced, "two fields of different moments"),
    NUM("bleed", damage.bleed_px, 0, 16, "colour smeared, px"),
    NUM("crawl", damage.crawl, 0, 1, "moving colour on fine detail"),
    NUM("dropouts", damage.dropouts_hz, 0, 200, "dashes per second"),
    ONE("log_time", log.time, "video clock", "what the log's times are"),
    NUM("clock_offset", log.clock_offset_s, -86400, 86400, "the log's clock ahead of the picture's, s"),
    NUM("clock_drift", log.clock_drift, -0.1, 0.1, "s per s"),
    NUM("reaction_min", log.reaction_min_s, 0, 60, "logged after the stop, s"),
    NUM("reaction_max", log.reaction_max_s, 0, 60, "s"),
    INT("log_decimals", log.decimals, 0, 3, "of the logged distance"),
    INT("typing", log.n_typing, 0, 100, "distances with a typing error"),
    INT("unit_errors", log.n_unit, 0, 100, "distances in the other unit"),
    INT("no_time", log.n_no_time, 0, 100, "rows without time"),
    INT("no_distance", log.n_no_distance, 0, 100, "rows without distance"),
    INT("unknown_codes", log.n_unknown_code, 0, 100, "rows with a code nobody knows"),
    YES("open_continuous", log.has_open_continuous, "ends of continuous defects are not logged"),
    YES("north_american", log.is_north_american, "codes"),
};
#define N_KEYS (sizeof keys / sizeof keys[0])

static void put_number(char *field, double value)
{
    memcpy(field, &value, sizeof value);
}

static double get_number(const char *field)
{
    double value;
    memcpy(&value, field, sizeof value);
    return value;
}

static int64_t get_int(const char *field)
{
    int64_t value;
    memcpy(&value, field, sizeof value);
    return value;
}

/* Index of the word in a list of words separated by single blanks, -1 = not there. */
static int word_index(const char *words, const char *word)
{
    size_t n = strlen(word);
    for (int idx = 0; n > 0 && *words; idx++) {
        size_t n_here = strcspn(words, " ");
        if (n_here == n && memcmp(words, word, n) == 0) {
            return idx;
        }
        words += n_here + (words[n_here] == ' ');
    }
    return -1;
}

static enum sm_status bad_value(const struct key *key, const char *value, struct sm_error *err)
{
    (void)sm_error_set(err, SM_E_RANGE, "%s cannot be \"%s\"", key->name, value);
    if (key->type == KEY_CHOICE) {
        (void)sm_error_remedy(err, "use one of: %s", key->choices);
    } else if (key->type == KEY_INT || key->type == KEY_NUMBER) {
        (void)sm_error_remedy(err, "use a number from %g to %g", key->least, key->greatest);
    } else if (key->type == KEY_BOOL) {
        (void)sm_error_remedy(err, "use yes or no");
    }
    return SM_E_RANGE;
}

static bool set_bool(char *field, const char *value)
{
    static const char *const yes[] = {"yes", "1", "true"}, *const no[] = {"no", "0", "false"};
    for (size_t i = 0; i < 3; i++) {
        if (strcmp(value, yes[i]) == 0 || strcmp(value, no[i]) == 0) {
            bool is_yes = strcmp(value, yes[i]) == 0;
            memcpy(field, &is_yes, sizeof is_yes);
            return true;
        }
    }
    return false;
}

static bool set_colour(char *field, const char *value)
{
    int64_t colour = 0;
    size_t n = strlen(value);
    for (size_t i = 0; i < n; i++) {
        const char *digits = "0123456789abcdef", *at = strchr(digits, tolower((unsigned char)value[i]));
        if (!at) {
            return false;
        }
        colour = colour * 16 + (at - digits);
    }
    memcpy(field, &colour, sizeof colour);
    return n == 6;
}

static bool set_choice(char *field, const char *choices, const char *value)
{
    int idx = word_index(choices, value);
    if (idx < 0) {
        return false;
    }
    unsigned chosen = (unsigned)idx;
    memcpy(field, &chosen, sizeof chosen);
    return true;
}

static bool set_int(char *field, const struct key *key, const char *value)
{
    int64_t number = 0;
    if (!sm_parse_int(value, (int64_t)key->least, (int64_t)key->greatest, &number)) {
        return false;
    }
    memcpy(field, &number, sizeof number);
    return true;
}

static bool set_double(char *field, const struct key *key, const char *value)
{
    double number = 0;
    if (!sm_parse_number(value, &number) || number < key->least || number > key->greatest) {
        return false;
    }
    put_number(field, number);
    return true;
}

static bool set_value(char *field, const struct key *key, const char *value)
{
    switch (key->type) {
    case KEY_INT:
        return set_int(field, key, value);
    case KEY_NUMBER:
        return set_double(field, key, value);
    case KEY_BOOL:
        return set_bool(field, value);
    case KEY_CHOICE:
        return set_choice(field, key->choices, value);
    case KEY_COLOUR:
        return set_colour(field, value);
    case KEY_TEXT:
        return sm_strcopy(field, key->size, value);
    }
    return false;
}

enum sm_status sm_sim_opts_set(struct sm_sim_opts *opts, const char *assignment, struct sm_error *err)
{
    size_t n = strcspn(assignment, "=");
    if (assignment[n] != '=') {
        (void)sm_error_set(err, SM_E_FORMAT, "\"%s\" is no option", assignment);
        return sm_error_remedy(err, "write key=value; surveysim --list shows the keys");
    }
    for (size_t i = 0; i < N_KEYS; i++) {
        if (strlen(keys[i].name) == n && memcmp(keys[i].name, assignment, n) == 0) {
            struct sm_sim_opts changed = *opts;
            if (!set_value((char *)&changed + keys[i].offset, &keys[i], assignment + n + 1)) {
                return bad_value(&keys[i], assignment + n + 1, err);
            }
            *opts = changed;
            return SM_OK;
        }
    }
    (void)sm_error_set(err, SM_E_NOTFOUND, "no option is called \"%.*s\"", (int)n, assignment);
    (void)sm_error_remedy(err, "surveysim --list shows the keys");
    return SM_E_NOTFOUND;
}

static void print_choice(const struct key *key, const char *field, struct sm_text *out)
{
    unsigned chosen;
    memcpy(&chosen, field, sizeof chosen);
    const char *word = key->choices;
    for (; chosen > 0; chosen--) {
        word += strcspn(word, " ") + 1;
    }
    sm_text_add_n(out, word, strcspn(word, " "));
}

static void print_value(const struct key *key, const char *field, struct sm_text *out)
{
    switch (key->type) {
    case KEY_INT:
        sm_text_addf(out, "%lld", (long long)get_int(field));
        break;
    case KEY_NUMBER:
        sm_text_add_number(out, get_number(field), 0, 6);
        break;
    case KEY_BOOL:
        sm_text_add(out, *(const bool *)(const void *)field ? "yes" : "no");
        break;
    case KEY_CHOICE:
        print_choice(key, field, out);
        break;
    case KEY_COLOUR:
        sm_text_addf(out, "%06llx", (unsigned long long)get_int(field));
        break;
    case KEY_TEXT:
        sm_text_add(out, field);
        break;
    }
}

void sm_sim_opts_print(const struct sm_sim_opts *opts, struct sm_text *out)
{
    for (size_t i = 0; i < N_KEYS; i++) {
        sm_text_addf(out, "%s=", keys[i].name);
        print_value(&keys[i], (const char *)opts + keys[i].offset, out);
        sm_text_add(out, "\n");
    }
}

void sm_sim_opts_help(struct sm_text *out)
{
    struct sm_sim_opts opts = sm_sim_opts_default();
    for (size_t i = 0; i < N_KEYS; i++) {
        struct sm_text value = {0};
        print_value(&keys[i], (const char *)&opts + keys[i].offset, &value);
        sm_text_addf(out, "%-16s %-14s %s%s%s%s\n", keys[i].name, sm_text_str(&value), keys[i].help,
                     keys[i].choices ? " (" : "", keys[i].choices ? keys[i].choices : "",
                     keys[i].choices ? ")" : "");
        sm_text_release(&value);
    }
}

static bool carries(enum sm_sim_container container, enum sm_sim_codec codec)
{
    static const unsigned codecs_of[] = {
        [SM_SIM_PS] = 1U << SM_SIM_MPEG1 | 1U << SM_SIM_MPEG2,
        [SM_SIM_TS] = 1U << SM_SIM_MPEG1 | 1U << SM_SIM_MPEG2 | 1U << SM_SIM_H264 | 1U << SM_SIM_HEVC,
        [SM_SIM_AVI] = 1U << SM_SIM_MPEG4 | 1U << SM_SIM_MJPEG | 1U << SM_SIM_H264,
        [SM_SIM_MP4] = 1U << SM_SIM_MPEG4 | 1U << SM_SIM_H264 | 1U << SM_SIM_HEVC,
        [SM_SIM_MKV] = 1U << SM_SIM_MPEG2 | 1U << SM_SIM_MPEG4 | 1U << SM_SIM_H264 | 1U << SM_SIM_HEVC |
                       1U << SM_SIM_MJPEG,
        [SM_SIM_ASF] = 1U << SM_SIM_WMV2,
    };
    return (codecs_of[container] >> codec & 1U) != 0;
}

enum sm_status sm_sim_opts_check(const struct sm_sim_opts *opts, struct sm_error *err)
{
    const struct sm_sim_video_opts *video = &opts->video;
    if (!carries(video->container, video->codec)) {
        return sm_error_set(err, SM_E_RANGE, "this container does not carry this codec");
    }
    if (video->is_variable_rate && (video->container == SM_SIM_AVI || video->codec <= SM_SIM_MPEG2)) {
        return sm_error_set(err, SM_E_RANGE, "this codec or container has no variable frame rate");
    }
    if (video->width_px % 16 || video->height_px % 2) {
        return sm_error_set(err, SM_E_RANGE, "width must be a multiple of 16 and height of 2");
    }
    if (opts->motion.speed_min_m_s > opts->motion.speed_max_m_s ||
        opts->motion.stand_min_s > opts->motion.stand_max_s ||
        opts->log.reaction_min_s > opts->log.reaction_max_s) {
        return sm_error_set(err, SM_E_RANGE, "a least value lies above its greatest");
    }
    if (opts->motion.start_m >= opts->pipe.length_m) {
        return sm_error_set(err, SM_E_RANGE, "the run starts behind the end of the pipe");
    }
    return SM_OK;
}
