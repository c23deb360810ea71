/* What likely went wrong when a logged number is not the one in the picture: swapped digits, a decimal slip,
 * ... */
#include "align_internal.h"

#include <math.h>
#include <stdlib.h>

#define MOST_DIGITS 8

static const double power_of_ten[] = {1, 10, 100, 1000};

/* Is this the size of a digit in whole decimals (1, 0.1, 0.01, 0.001)? @return decimals, -1 = no. */
static int decimals_of(double digit)
{
    for (int decimals = 0; decimals < 4; decimals++) {
        if (fabs(digit * power_of_ten[decimals] - 1) < 1e-6) {
            return decimals;
        }
    }
    return -1;
}

/* Digits of a number, last first. @return false when it has too many. */
static bool split(int64_t value, int digit[MOST_DIGITS])
{
    for (int i = 0; i < MOST_DIGITS; i++) {
        digit[i] = (int)(value % 10);
        value /= 10;
    }
    return value == 0;
}

static int64_t join(const int digit[MOST_DIGITS])
{
    int64_t value = 0;
    for (int i = MOST_DIGITS - 1; i >= 0; i--) {
        value = value * 10 + digit[i];
    }
    return value;
}

/* Rounding on either side may move the last digit by one. */
static bool is_same(int64_t a, int64_t b)
{
    return llabs(a - b) <= 1;
}

static bool is_swapped(int64_t log, int64_t picture)
{
    int digit[MOST_DIGITS];
    if (!split(log, digit)) {
        return false;
    }
    for (int i = 0; i + 1 < MOST_DIGITS; i++) {
        int other[MOST_DIGITS];
        for (int k = 0; k < MOST_DIGITS; k++) {
            other[k] = digit[k];
        }
        other[i] = digit[i + 1];
        other[i + 1] = digit[i];
        if (digit[i] != digit[i + 1] && is_same(join(other), picture)) {
            return true;
        }
    }
    return false;
}

static bool has_one_wrong_digit(int64_t log, int64_t picture)
{
    int a[MOST_DIGITS];
    int b[MOST_DIGITS];
    if (!split(log, a) || !split(picture, b)) {
        return false;
    }
    int n_wrong = 0;
    for (int i = 0; i < MOST_DIGITS; i++) {
        n_wrong += a[i] != b[i];
    }
    return n_wrong == 1;
}

static bool is_decimal_slip(double log, double picture, double log_digit, double picture_digit)
{
    for (int power = 1; power < 4; power++) {
        double times = power_of_ten[power];
        bool is_larger = fabs(log - picture * times) <= picture_digit * times / 2 + log_digit;
        bool is_smaller = fabs(log * times - picture) <= log_digit * times / 2 + picture_digit;
        if (is_larger || is_smaller) {
            return true;
        }
    }
    return false;
}

static bool is_unit_mix_up(double log_m, double picture_m, double tol_m)
{
    return fabs(log_m * SM_M_PER_FT - picture_m) <= tol_m ||
           fabs(log_m - picture_m * SM_M_PER_FT) <= tol_m * SM_M_PER_FT;
}

enum sm_align__slip sm_align__slip_of(double log_m, double log_digit_m, double picture_m,
                                      double picture_digit_m)
{
    double tol_m = (log_digit_m + picture_digit_m) / 2 + 1e-6;
    bool is_far_enough = fabs(picture_m) > 20 * tol_m; /* near zero everything is a multiple of everything */
    if (is_far_enough && is_unit_mix_up(log_m, picture_m, tol_m)) {
        return SM_ALIGN__SLIP_UNIT;
    }
    if (is_far_enough && is_decimal_slip(log_m, picture_m, log_digit_m, picture_digit_m)) {
        return SM_ALIGN__SLIP_DECIMAL;
    }
    if (fabs(log_m + picture_m) <= tol_m) {
        return SM_ALIGN__SLIP_SIGN;
    }
    /* digits are compared as the log wrote them: in its own unit, no finer than the coarser of the two */
    bool is_in_feet = decimals_of(log_digit_m) < 0;
    double unit_m = is_in_feet ? SM_M_PER_FT : 1;
    double digit = fmax(log_digit_m, picture_digit_m) / unit_m;
    double step = pow(10, round(log10(digit)));
    if (!(step > 0) || fabs(log_m / unit_m / step) > 1e7 || fabs(picture_m / unit_m / step) > 1e7 ||
        log_m < 0 || picture_m < 0) {
        return SM_ALIGN__SLIP_NONE;
    }
    int64_t log = llround(log_m / unit_m / step);
    int64_t picture = llround(picture_m / unit_m / step);
    if (is_swapped(log, picture)) {
        return SM_ALIGN__SLIP_SWAPPED_DIGITS;
    }
    return has_one_wrong_digit(log, picture) ? SM_ALIGN__SLIP_ONE_DIGIT : SM_ALIGN__SLIP_NONE;
}

const char *sm_align__slip_words(enum sm_align__slip slip)
{
    static const char *const words[] = {
        [SM_ALIGN__SLIP_NONE] = "",
        [SM_ALIGN__SLIP_UNIT] = "metres and feet mixed up?",
        [SM_ALIGN__SLIP_DECIMAL] = "decimal point slipped?",
        [SM_ALIGN__SLIP_SIGN] = "sign wrong?",
        [SM_ALIGN__SLIP_SWAPPED_DIGITS] = "digits swapped?",
        [SM_ALIGN__SLIP_ONE_DIGIT] = "one digit wrong?",
    };
    return words[slip];
}
