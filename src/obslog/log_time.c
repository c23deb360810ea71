/* Times and dates as logs write them. */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* "am" or "pm" at the end; returns hours to add and the length without it. */
static int read_half_day(const char *s, size_t *n)
{
    size_t end = *n;
    if (end < 3 || (s[end - 1] != 'm' && s[end - 1] != 'M')) {
        return 0;
    }
    char half = s[end - 2];
    if (half != 'a' && half != 'A' && half != 'p' && half != 'P') {
        return 0;
    }
    *n = end - 2;
    return half == 'p' || half == 'P' ? 12 : -12;
}

/* Numbers between colons; only the last may have decimals. @return how many, 0 = not of this shape. */
static size_t split_colons(const char *s, const char *end, double part[4])
{
    size_t n = 0;
    while (n < 4) {
        const char *after;
        if (!is_digit(*s) ||
            !sm_scan_number(s, memchr(s, ',', (size_t)(end - s)) != NULL, false, &part[n], &after)) {
            return 0;
        }
        n++;
        if (after == end) {
            return n;
        }
        if (*after != ':' || part[n - 1] != floor(part[n - 1])) {
            return 0;
        }
        s = after + 1;
    }
    return 0;
}

static bool join_parts(struct sm_obslog_time *out, const double *part, size_t n, int half_day)
{
    double hours = n >= 3 ? part[0] : 0;
    double minutes = n >= 3 ? part[1] : part[0];
    double seconds = n >= 3 ? part[2] : part[1];
    double frames = n == 4 ? part[3] : 0;
    if (seconds >= 60 || (n >= 3 && minutes >= 60) || hours >= 1000 || minutes >= 100000 || frames >= 1000) {
        return false;
    }
    if (half_day == 12 && hours < 12) {
        hours += 12;
    } else if (half_day == -12 && hours >= 12) {
        hours -= 12;
    }
    out->time_s = hours * 3600 + minutes * 60 + seconds;
    out->frames = (int32_t)frames;
    out->may_be_hours = n == 2 && !half_day && minutes < 24 && seconds == floor(seconds);
    return true;
}

/* Where the time of day starts in "2031-03-14 09:30:15" or "2031-03-14T09:30:15". */
static const char *skip_date(const char *s)
{
    size_t n = strspn(s, "0123456789-./");
    bool is_date = n >= 8 && strcspn(s, "-./") < n && (s[n] == ' ' || s[n] == 'T') && is_digit(s[n + 1]);
    return is_date && strchr(s + n, ':') ? s + n + 1 : s;
}

/* A number without colons: seconds, or what its unit says. */
static bool read_number(struct sm_obslog_time *out, const char *s, const char *unit)
{
    int64_t number;
    double hmmss_s;
    bool is_whole = sm_parse_int(s, 0, 9999999, &number);
    if (sm_ascii_ieq(unit, "hmmss") || sm_ascii_ieq(unit, "hhmmss")) {
        return is_whole && sm_obslog__parse_hmmss(number, &out->time_s);
    }
    if (sm_parse_quantity(s, SM_TIME, *unit ? unit : "s", &out->time_s, NULL) != SM_OK ||
        fabs(out->time_s) > 1e7) {
        return false;
    }
    out->may_be_hmmss = is_whole && !*unit && sm_obslog__parse_hmmss(number, &hmmss_s);
    return true;
}

/* "00.01.10", as some countries write the time: its points as colons. @return text itself where it is no such
 * thing. */
static const char *take_points(char colons[16], const char *text)
{
    size_t n = strspn(text, "0123456789"), n_all = strlen(text);
    bool is_dotted = (n == 1 || n == 2) && n_all == n + 6 && text[n] == '.' && text[n + 3] == '.' &&
                     strspn(text + n + 1, "0123456789") == 2 && strspn(text + n + 4, "0123456789") == 2;
    if (!is_dotted) {
        return text;
    }
    memcpy(colons, text, n_all + 1);
    colons[n] = colons[n + 3] = ':';
    return colons;
}

bool sm_obslog__parse_time(struct sm_obslog_time *out, const char *text, const char *unit)
{
    double part[4];
    char colons[16];
    const char *s = take_points(colons, skip_date(text + strspn(text, " \t")));
    size_t n = strlen(s);
    *out = (struct sm_obslog_time){.time_s = SM_NAN};
    if (!strchr(s, ':')) {
        return read_number(out, s, unit);
    }
    int half_day = read_half_day(s, &n);
    while (n > 0 && s[n - 1] == ' ') {
        n--;
    }
    size_t n_parts = split_colons(s, s + n, part);
    return n_parts >= 2 && join_parts(out, part, n_parts, half_day);
}

bool sm_obslog__parse_hmmss(int64_t number, double *time_s)
{
    int64_t seconds = number % 100, minutes = number / 100 % 100, hours = number / 10000;
    if (number < 0 || seconds > 59 || minutes > 59) {
        return false;
    }
    *time_s = (double)(hours * 3600 + minutes * 60 + seconds);
    return true;
}

void sm_obslog__tidy_date(char *dst, size_t size, const char *text)
{
    int part[3] = {0};
    int digits[3] = {0};
    int n = 0;
    const char *s = text + strspn(text, " \t");
    for (; *s && n < 3; s++) {
        if (is_digit(*s) && digits[n] < 4) {
            part[n] = part[n] * 10 + (*s - '0');
            digits[n]++;
        } else if ((*s == '-' || *s == '.' || *s == '/') && digits[n] && n < 2) {
            n++;
        } else {
            break;
        }
    }
    /* day and month with a slash have no agreed order, so they stay as they are */
    bool is_german =
        n == 2 && digits[2] == 4 && strchr(text, '.') && part[1] >= 1 && part[1] <= 12 && part[0] <= 31;
    bool is_iso = n == 2 && digits[0] == 4 && part[1] >= 1 && part[1] <= 12 && part[2] >= 1 && part[2] <= 31;
    if (!*s && (is_german || is_iso)) {
        snprintf(dst, size, "%04d-%02d-%02d", is_iso ? part[0] : part[2], part[1],
                 is_iso ? part[2] : part[0]);
    } else {
        sm_strcopy(dst, size, text);
    }
}
