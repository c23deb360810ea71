/**
 * @file phrase.c
 * Grammar of overlay texts: fields of several kinds with gaps between them.
 */
#include "phrase.h"

#include <string.h>

#define PICK(rng, list) (list)[rng_below((rng), (int)(sizeof(list) / sizeof(list)[0]))]

static void add_digits(struct sm_text *out, struct sm_test_random *rng, int n)
{
    for (int i = 0; i < n; i++) {
        sm_text_addf(out, "%d", rng_below(rng, 10));
    }
}

/** A number as counters show it: sign, leading zeros or blanks, 0..3 decimals. */
static void add_number(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const lead[] = {"0", "00", "000", " ", "  ", "", "", ""};
    static const char *const sign[] = {"-", "-", "+", "- "};
    static const char *const point[] = {".", ".", ".", ","};
    if (rng_chance(rng, 0.2)) {
        sm_text_add(out, PICK(rng, sign));
    }
    sm_text_add(out, PICK(rng, lead));
    add_digits(out, rng, 1 + rng_below(rng, 4));
    int decimals = rng_below(rng, 4);
    if (decimals > 0) {
        sm_text_add(out, PICK(rng, point));
        add_digits(out, rng, decimals);
    }
}

static void add_counter(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const prefix[] = {"",      "",   "",     "",    "D:",     "D: ", "Dist ",
                                         "DIST:", "L=", "L = ", "L: ", "Dist. ", "x ",  "S "};
    static const char *const unit[] = {"",    "",   "m",   "m", " m", "M",  " M", "ft",
                                       " ft", "FT", " FT", "'", " '", "mm", "F",  "Ft"};
    sm_text_add(out, PICK(rng, prefix));
    add_number(out, rng);
    sm_text_add(out, PICK(rng, unit));
}

static void add_clock(struct sm_text *out, struct sm_test_random *rng)
{
    sm_text_addf(out, "%02d:%02d", rng_below(rng, 24), rng_below(rng, 60));
    if (rng_chance(rng, 0.7)) {
        sm_text_addf(out, ":%02d", rng_below(rng, 60));
    }
    if (rng_chance(rng, 0.15)) {
        sm_text_add(out, rng_chance(rng, 0.5) ? " AM" : "PM");
    }
}

static void add_date(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const separator[] = {"/", "-", ".", "/"};
    const char *s = PICK(rng, separator);
    int day = 1 + rng_below(rng, 28), month = 1 + rng_below(rng, 12), year = 1995 + rng_below(rng, 35);
    if (rng_chance(rng, 0.3)) {
        sm_text_addf(out, "%04d%s%02d%s%02d", year, s, month, s, day);
    } else if (rng_chance(rng, 0.5)) {
        sm_text_addf(out, "%02d%s%02d%s%04d", day, s, month, s, year);
    } else {
        sm_text_addf(out, "%02d%s%02d%s%02d", day, s, month, s, year % 100);
    }
}

static void add_gauge(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const label[] = {"", "", "P: ", "I=", "D = ", "T ", "Z: ", "Slope "};
    static const char *const unit[] = {"%",   " %", "\302\260", "\302\260C", " \302\260C",
                                       "PSI", "X",  " bar",     "C",         "\302\260F"};
    sm_text_add(out, PICK(rng, label));
    if (rng_chance(rng, 0.3)) {
        sm_text_add(out, rng_chance(rng, 0.6) ? "-" : "+");
    }
    add_digits(out, rng, 1 + rng_below(rng, 2));
    if (rng_chance(rng, 0.6)) {
        sm_text_add(out, rng_chance(rng, 0.8) ? "." : ",");
        add_digits(out, rng, 1 + rng_below(rng, 2));
    }
    sm_text_add(out, PICK(rng, unit));
}

static void add_letters(struct sm_text *out, struct sm_test_random *rng, int n)
{
    static const char any[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyzOOOIIllSSBBZZgqDDQ|&#()=*<>\"!?;";
    bool is_upper = rng_chance(rng, 0.5);
    for (int i = 0; i < n; i++) {
        char c = any[rng_below(rng, (int)sizeof any - 1)];
        c = is_upper && c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
        sm_text_add_n(out, &c, 1);
    }
}

static void add_name(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const word[] = {
        "MH",    "From ",   "To ",      "upstream", "DN",     "ID:",   "Concrete", "PVC",
        "Node ", "crack",   "width",    "Start",    "END",    "clay",  "o'clock",  "Mitte",
        "mm",    "LATERAL", "fittings", "Test",     "Tomato", "meter", "Fmt"};
    sm_text_add(out, PICK(rng, word));
    if (rng_chance(rng, 0.5)) {
        add_digits(out, rng, 1 + rng_below(rng, 4));
    }
    if (rng_chance(rng, 0.3)) {
        sm_text_add(out, rng_chance(rng, 0.5) ? "-" : "/");
        add_digits(out, rng, 1 + rng_below(rng, 3));
    }
    if (rng_chance(rng, 0.4)) {
        add_letters(out, rng, 1 + rng_below(rng, 5));
    }
}

/** A counter that is not running. */
static void add_placeholder(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const blank[] = {"__.__", "___._", "____", "_.__", "--.--", "---.-", "__,__"};
    static const char *const unit[] = {"M", "m", "ft", "", " m"};
    sm_text_add(out, rng_chance(rng, 0.5) ? "D:" : "");
    sm_text_add(out, PICK(rng, blank));
    sm_text_add(out, PICK(rng, unit));
}

/** Any characters that matter, in no order, so that nothing can be guessed from its neighbours. */
static void add_jumble(struct sm_text *out, struct sm_test_random *rng)
{
    static const char *const any[] = {"0", "1", "2", "3", "4",        "5", "6", "7", "8", "9", "0", "1",
                                      "2", "3", "4", "5", "6",        "7", "8", "9", "0", "6", "8", "9",
                                      ".", ".", ",", ",", ":",        "-", "+", "/", "m", "M", "f", "F",
                                      "t", "T", "'", "%", "\302\260", "_", " ", "=", "1", "4", "7"};
    int n = 3 + rng_below(rng, 8);
    for (int i = 0; i < n; i++) {
        sm_text_add(out, PICK(rng, any));
    }
}

static void add_field(struct sm_text *out, struct sm_test_random *rng)
{
    static void (*const kind[])(struct sm_text *, struct sm_test_random *) = {
        add_counter, add_counter, add_counter, add_counter, add_counter,    add_counter,
        add_counter, add_counter, add_jumble,  add_jumble,  add_jumble,     add_jumble,
        add_jumble,  add_jumble,  add_clock,   add_clock,   add_date,       add_date,
        add_gauge,   add_gauge,   add_name,    add_name,    add_placeholder};
    PICK(rng, kind)(out, rng);
}

void phrase_make(struct sm_text *out, struct sm_test_random *rng, int max_chars)
{
    if (rng_chance(rng, 0.03)) {
        sm_text_add(out, " ");
        return; /* bare wall */
    }
    for (int gap = rng_below(rng, 5); gap > 0; gap--) {
        sm_text_add(out, " ");
    }
    int n_fields = 1 + rng_below(rng, 3);
    for (int i = 0; i < n_fields && (int)out->length < max_chars; i++) {
        for (int gap = i == 0 ? 0 : 1 + rng_below(rng, 4); gap > 0; gap--) {
            sm_text_add(out, " ");
        }
        add_field(out, rng);
    }
}

void phrase_only_segments(char *text)
{
    for (char *c = text; *c; c++) {
        if (!strchr("0123456789.:- ", *c)) {
            *c = ' ';
        }
    }
}
