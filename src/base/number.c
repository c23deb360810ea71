/*
 * Decimal numbers in, free of the locale. Up to 15 significant digits with a scale within 10^22 come out
 * correctly rounded (both factors are exact doubles; Clinger, How to read floating point numbers accurately,
 * 1990); beyond that to about one unit in the last place, which no field measurement reaches.
 */
#include "stopmark/base.h"

#include <math.h>
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *skip_blanks(const char *s)
{
    while (*s == ' ' || (*s >= '\t' && *s <= '\r')) {
        s++;
    }
    return s;
}

/* A sign: + - or the minus of typesetters (U+2212), which spreadsheets and word processors put in. */
static const char *scan_sign(const char *s, bool *is_negative)
{
    *is_negative = *s == '-';
    if (*s == '+' || *s == '-') {
        return s + 1;
    }
    if (strncmp(s, "\xE2\x88\x92", 3) == 0) {
        *is_negative = true;
        return s + 3;
    }
    return s;
}

/* Digits into a whole number of at most 18 digits; the rest only moves the scale. */
struct digits {
    uint64_t mantissa;
    int scale; /* value = mantissa * 10^scale */
    int n;     /* digits seen */
};
enum { MAX_SCALE = 100000 }; /* far beyond any double: only keeps the sums small */

static const char *scan_digits(const char *s, bool is_after_point, struct digits *digits)
{
    for (; is_digit(*s); s++) {
        if (digits->n < MAX_SCALE) {
            digits->n++;
        }
        if (digits->mantissa < UINT64_C(100000000000000000)) {
            digits->mantissa = digits->mantissa * 10 + (uint64_t)(*s - '0');
            digits->scale -= is_after_point;
        } else if (!is_after_point && digits->scale < MAX_SCALE) {
            digits->scale++;
        }
    }
    return s;
}

static const char *scan_exponent(const char *s, int *exponent)
{
    if (*s != 'e' && *s != 'E') {
        return s;
    }
    bool is_negative = s[1] == '-';
    const char *digit = s + 1 + (s[1] == '-' || s[1] == '+');
    if (!is_digit(*digit)) {
        return s;
    }
    for (; is_digit(*digit); digit++) {
        if (*exponent < MAX_SCALE) {
            *exponent = *exponent * 10 + (*digit - '0');
        }
    }
    *exponent = is_negative ? -*exponent : *exponent;
    return digit;
}

static double scaled(uint64_t mantissa, int scale)
{
    static const double tens[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                  1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    double whole = (double)mantissa;
    if (scale >= 0 && scale <= 22) {
        return whole * tens[scale];
    }
    if (scale < 0 && scale >= -22) {
        return whole / tens[-scale];
    }
    if (!mantissa || scale < -400) {
        return 0;
    }
    return scale > 400 ? SM_INFINITY : (double)((long double)mantissa * powl(10, scale));
}

bool sm_scan_number(const char *s, bool comma, bool exponent, double *value, const char **end)
{
    bool is_negative;
    struct digits digits = {0};
    const char *at = scan_digits(scan_sign(s, &is_negative), false, &digits);
    if (((*at == '.' || (comma && *at == ',')) && is_digit(at[1])) || (*at == '.' && digits.n)) {
        at = scan_digits(at + 1, true, &digits);
    }
    if (!digits.n) {
        return false;
    }
    int power = 0;
    if (exponent) {
        at = scan_exponent(at, &power);
    }
    double size = scaled(digits.mantissa, digits.scale + power);
    *value = is_negative ? -size : size;
    *end = at;
    return true;
}

bool sm_parse_number(const char *s, double *value)
{
    double number;
    const char *end;
    if (!sm_scan_number(skip_blanks(s), true, false, &number, &end) || *skip_blanks(end) ||
        !isfinite(number)) {
        return false;
    }
    *value = number;
    return true;
}

bool sm_parse_int(const char *s, int64_t least, int64_t greatest, int64_t *value)
{
    bool is_negative;
    const char *at = scan_sign(skip_blanks(s), &is_negative);
    uint64_t size = 0;
    if (!is_digit(*at)) {
        return false;
    }
    for (; is_digit(*at); at++) {
        unsigned digit = (unsigned)(*at - '0');
        if (size > (UINT64_C(9223372036854775807) - digit) / 10) {
            return false; /* INT64_MIN itself is out too: nothing here needs it */
        }
        size = size * 10 + digit;
    }
    int64_t number = is_negative ? -(int64_t)size : (int64_t)size;
    if (*skip_blanks(at) || number < least || number > greatest) {
        return false;
    }
    *value = number;
    return true;
}
