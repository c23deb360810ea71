/*
 * The distance in a text: "12.34 m", "D: 0012.3m  14:03:22  2.1 %", "<b>12,3</b>". A number counts by what
 * stands round it: a unit of length makes it a distance, another unit or a second colon makes it something
 * else.
 */
#include "distances_internal.h"

#include <string.h>

#define MOST_TEXT 2048 /* bytes; a longer one is no caption */
#define MOST_DIGITS 12 /* of a distance with its decimals; more is a name or a serial number */

enum kind { KIND_DISTANCE, KIND_BARE, KIND_OTHER };

struct number {
    enum kind kind;
    int64_t counts;
    int32_t decimals;
    enum sm_unit unit;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (unsigned char)c >= 0x80;
}

/* Behind a mark of a subtitle format that opens at s; s itself when none does. */
static const char *skip_mark(const char *s)
{
    char close = *s == '<' ? '>' : *s == '{' ? '}' : '\0';
    const char *end = close ? strchr(s, close) : NULL;
    bool is_mark = end && (*s == '<' ? is_letter(s[1]) || s[1] == '/' : s[1] == '\\');
    return is_mark ? end + 1 : s;
}

/* The text without marks; line breaks ("\\N" of some formats too) become blanks. @return false when it is too
 * long. */
static bool strip_marks(char *out, size_t size, const char *text)
{
    size_t n = 0;
    for (const char *s = text; *s && n + 1 < size;) {
        const char *behind = skip_mark(s);
        bool is_break = s[0] == '\\' && (s[1] == 'N' || s[1] == 'n');
        if (behind != s) {
            s = behind;
            continue;
        }
        out[n++] = is_break || *s == '\n' || *s == '\r' || *s == '\t' ? ' ' : *s;
        s += is_break ? 2 : 1;
    }
    out[n] = '\0';
    return n + 1 < size;
}

/* A minus sign that ends at s: the ASCII one or U+2212, not one that joins two words. */
static bool has_minus(const char *text, const char *s)
{
    size_t n = (size_t)(s - text);
    size_t width = n >= 1 && s[-1] == '-' ? 1 : n >= 3 && memcmp(s - 3, "\xe2\x88\x92", 3) == 0 ? 3 : 0;
    return width &&
           (n == width || (!is_digit(s[-(ptrdiff_t)width - 1]) && !is_letter(s[-(ptrdiff_t)width - 1])));
}

static bool starts_word(const char *s, const char *word, const char **end)
{
    size_t n = strlen(word);
    char start[8] = {0};
    for (size_t i = 0; i < n && s[i]; i++) {
        start[i] = s[i];
    }
    if (!sm_ascii_ieq(start, word) || is_letter(s[n]) || is_digit(s[n])) {
        return false;
    }
    *end = s + n;
    return true;
}

/* The unit of length right behind a number. */
static enum sm_unit unit_at(const char *s, const char **end)
{
    static const struct {
        const char *word;
        enum sm_unit unit;
    } words[] = {{"m", SM_UNIT_M},     {"metre", SM_UNIT_M},  {"metres", SM_UNIT_M},
                 {"meter", SM_UNIT_M}, {"meters", SM_UNIT_M}, {"ft", SM_UNIT_FT},
                 {"feet", SM_UNIT_FT}, {"foot", SM_UNIT_FT},  {"'", SM_UNIT_FT}};
    while (*s == ' ') {
        s++;
    }
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (starts_word(s, words[i].word, end)) {
            return words[i].unit;
        }
    }
    return SM_UNIT_UNKNOWN;
}

/* Does something of another kind follow: a letter, a sign of a unit, a joint of a date or clock? */
static bool is_tied(const char *s)
{
    bool is_joint = *s && strchr(".,:/-", *s) && is_digit(s[1]);
    while (*s == ' ') {
        s++;
    }
    return is_joint || is_letter(*s) || (*s && strchr("%\"'$&*", *s));
}

/* Digits with one decimal sign at most; a second one makes it something else. */
static const char *scan_digits(const char *s, struct number *number)
{
    int n_digits = 0;
    bool has_point = false;
    for (; is_digit(*s) || (!has_point && (*s == '.' || *s == ',') && is_digit(s[1])); s++) {
        if (!is_digit(*s)) {
            has_point = true;
        } else {
            number->decimals += has_point;
            number->counts = ++n_digits <= MOST_DIGITS ? number->counts * 10 + (*s - '0') : 0;
        }
    }
    if (n_digits > MOST_DIGITS || number->decimals > SM_DISTANCES_MOST_DECIMALS) {
        number->kind = KIND_OTHER;
    }
    return s;
}

/* The number whose first digit stands at s. @return what stands behind it and its unit. */
static const char *scan_number(const char *text, const char *s, struct number *number)
{
    char before = s > text ? s[-1] : ' ';
    bool is_negative = has_minus(text, s);
    bool is_joined =
        !is_negative && (is_letter(before) || (strchr(":/.,", before) && s > text + 1 && is_digit(s[-2])));
    bool is_range = before == '-' && !is_negative;
    *number = (struct number){.kind = is_joined || is_range ? KIND_OTHER : KIND_BARE};
    bool has_bare_point = (before == '.' || before == ',') && !is_joined;
    s = scan_digits(s, number);
    if (has_bare_point) { /* ".50 m": how many digits went before is not said */
        number->kind = KIND_OTHER;
    }
    number->counts = is_negative ? -number->counts : number->counts;
    const char *behind = s;
    number->unit = unit_at(s, &behind);
    if (number->kind == KIND_OTHER) {
        return behind;
    }
    const char *next = behind;
    while (*next == ' ') {
        next++;
    }
    bool has_inches = number->unit == SM_UNIT_FT && is_digit(*next) && behind[-1] == '\'';
    bool is_rate = number->unit != SM_UNIT_UNKNOWN && *behind == '/'; /* a speed */
    if (number->unit != SM_UNIT_UNKNOWN && !has_inches && !is_rate) {
        number->kind = KIND_DISTANCE;
    } else if (has_inches || is_rate || is_tied(s)) {
        number->kind = KIND_OTHER;
    }
    return behind;
}

bool sm_distances_scan(const char *text, int64_t *counts, int32_t *decimals, enum sm_unit *unit)
{
    char plain[MOST_TEXT];
    struct number found[2] = {{0}};
    size_t n[2] = {0};
    if (!strip_marks(plain, sizeof plain, text)) {
        return false;
    }
    for (const char *s = plain; *s;) {
        struct number number;
        if (!is_digit(*s)) {
            s++;
            continue;
        }
        s = scan_number(plain, s, &number);
        if (number.kind != KIND_OTHER && n[number.kind]++ == 0) {
            found[number.kind] = number;
        }
    }
    enum kind kind = n[KIND_DISTANCE] ? KIND_DISTANCE : KIND_BARE;
    if (n[kind] != 1) {
        return false;
    }
    *counts = found[kind].counts;
    *decimals = found[kind].decimals;
    *unit = found[kind].unit;
    return true;
}
