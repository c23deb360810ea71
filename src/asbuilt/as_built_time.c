/* Days and times of the crew's notes. The clock on the wall is meant: no time zone is reckoned with. */
#include "asbuilt_internal.h"

#include <stdio.h>
#include <string.h>

#define MIN_PER_DAY 1440

/* Exactly n digits. */
static bool take_digits(const char **at, int n, int *value)
{
    *value = 0;
    for (int i = 0; i < n; i++, (*at)++) {
        if (**at < '0' || **at > '9') {
            return false;
        }
        *value = *value * 10 + (**at - '0');
    }
    return true;
}

/* One or two digits. */
static bool take_short(const char **at, int *value)
{
    if (!take_digits(at, 1, value)) {
        return false;
    }
    if (**at >= '0' && **at <= '9') {
        *value = *value * 10 + (*(*at)++ - '0');
    }
    return true;
}

static bool take_char(const char **at, const char *any_of)
{
    if (!**at || !strchr(any_of, **at)) {
        return false;
    }
    (*at)++;
    return true;
}

struct day {
    int year, month, day;
};

static bool is_day(const struct day *d)
{
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (d->year % 4 == 0 && d->year % 100 != 0) || d->year % 400 == 0;
    if (d->year < 1900 || d->year > 9999 || d->month < 1 || d->month > 12) {
        return false;
    }
    return d->day >= 1 && d->day <= lengths[d->month - 1] + (d->month == 2 && is_leap);
}

static bool take_iso_day(const char **at, struct day *d)
{
    return take_digits(at, 4, &d->year) && take_char(at, "-") && take_digits(at, 2, &d->month) &&
           take_char(at, "-") && take_digits(at, 2, &d->day) && is_day(d);
}

/* Days since 1970-01-01 in the Gregorian calendar. */
static long day_number(const struct day *d)
{
    long y = d->month <= 2 ? d->year - 1 : d->year;
    long shifted = (d->month + 9) % 12; /* March is 0, so that the leap day comes last */
    long era = y / 400;
    long of_era = y - era * 400;
    long of_year = (153 * shifted + 2) / 5 + d->day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

bool sm_asbuilt__date(char out[SM_ASBUILT__TIME_SIZE], const char *text)
{
    struct day d;
    const char *at = text;
    if (!take_iso_day(&at, &d) || *at) {
        at = text;
        if (!take_short(&at, &d.day) || !take_char(&at, ".") || !take_short(&at, &d.month) || !take_char(&at, ".") ||
            !take_digits(&at, 4, &d.year) || *at || !is_day(&d)) {
            return false;
        }
    }
    snprintf(out, SM_ASBUILT__TIME_SIZE, "%04d-%02d-%02d", d.year, d.month, d.day);
    return true;
}

/* H:MM[:SS[.s]] and what ISO 8601 may have after it. */
static bool take_clock(const char **at, int *hour, int *minute, int *second)
{
    *second = 0;
    if (!take_short(at, hour) || !take_char(at, ":") || !take_digits(at, 2, minute)) {
        return false;
    }
    if (take_char(at, ":") && !take_digits(at, 2, second)) {
        return false;
    }
    if (take_char(at, ".,")) {
        *at += strspn(*at, "0123456789");
    }
    return *hour <= 23 && *minute <= 59 && *second <= 60;
}

static bool skip_offset(const char **at)
{
    int hour;
    int minute;
    if (take_char(at, "Zz")) {
        return true;
    }
    if (take_char(at, "+-")) {
        return take_digits(at, 2, &hour) && (take_char(at, ":") || true) && take_digits(at, 2, &minute);
    }
    return true;
}

bool sm_asbuilt__time(char out[SM_ASBUILT__TIME_SIZE], const char *text, const char *date)
{
    struct day d;
    const char *at = text;
    char day[SM_ASBUILT__TIME_SIZE];
    bool has_day = take_iso_day(&at, &d) && take_char(&at, "T t");
    if (has_day) {
        snprintf(day, sizeof day, "%04d-%02d-%02dT", d.year, d.month, d.day);
    } else {
        at = text;
        snprintf(day, sizeof day, "%.10s%s", date, *date ? "T" : "");
    }
    int hour;
    int minute;
    int second;
    if (!take_clock(&at, &hour, &minute, &second) || !skip_offset(&at) || *at) {
        return false;
    }
    int n = snprintf(out, SM_ASBUILT__TIME_SIZE, "%.11s%02d:%02d", day, hour, minute);
    if (second && n > 0 && n < SM_ASBUILT__TIME_SIZE) {
        snprintf(out + n, (size_t)(SM_ASBUILT__TIME_SIZE - n), ":%02d", second);
    }
    return true;
}

bool sm_asbuilt_minute(const char *time, double *minute, bool *has_day)
{
    struct day d;
    const char *at = time;
    double since = 0;
    *has_day = take_iso_day(&at, &d) && take_char(&at, "T");
    if (*has_day) {
        since = (double)day_number(&d) * MIN_PER_DAY;
    } else {
        at = time;
    }
    int hour;
    int of_hour;
    int second;
    if (!take_clock(&at, &hour, &of_hour, &second) || *at) {
        return false;
    }
    *minute = since + hour * 60 + of_hour + second / 60.0;
    return true;
}

double sm_asbuilt_minutes_between(const char *from, const char *to)
{
    double a;
    double b;
    bool a_has_day;
    bool b_has_day;
    if (!sm_asbuilt_minute(from, &a, &a_has_day) || !sm_asbuilt_minute(to, &b, &b_has_day)) {
        return SM_NAN;
    }
    if (a_has_day && b_has_day) {
        return b - a;
    }
    double turn = fmod(b, MIN_PER_DAY) - fmod(a, MIN_PER_DAY);
    return turn < 0 ? turn + MIN_PER_DAY : turn;
}
