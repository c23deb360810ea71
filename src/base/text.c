/* Growable text. A failed addition is remembered, so that writers check once. */
#include "stopmark/base.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

void sm_text_release(struct sm_text *text)
{
    sm_free(text->data);
    *text = (struct sm_text){0};
}

void sm_text_clear(struct sm_text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->data) {
        text->data[0] = '\0';
    }
}

const char *sm_text_str(const struct sm_text *text)
{
    return text->data ? text->data : "";
}

/* Room for n more bytes and the NUL. */
static bool reserve(struct sm_text *text, size_t n)
{
    if (text->failed) {
        return false;
    }
    if (n < text->capacity - text->length) {
        return true;
    }
    text->failed = true;
    if (n > PTRDIFF_MAX / 2 - text->length) {
        return false;
    }
    size_t wider = (text->length + n + 1) * 2;
    char *data = sm_realloc(text->data, wider < 64 ? 64 : wider, 1);
    if (!data) {
        return false;
    }
    text->data = data;
    text->capacity = wider < 64 ? 64 : wider;
    text->failed = false;
    return true;
}

void sm_text_add_n(struct sm_text *text, const char *s, size_t n)
{
    if (!reserve(text, n)) {
        return;
    }
    if (n) {
        memcpy(text->data + text->length, s, n);
    }
    text->length += n;
    text->data[text->length] = '\0';
}

void sm_text_add(struct sm_text *text, const char *s)
{
    sm_text_add_n(text, s, strlen(s));
}

void sm_text_addf(struct sm_text *text, const char *fmt, ...)
{
    va_list args;
    va_list again;
    va_start(args, fmt);
    va_copy(again, args);
    int n = vsnprintf(NULL, 0, fmt, args);
    va_end(args);
    if (n < 0) {
        text->failed = true;
    } else if (reserve(text, (size_t)n)) {
        vsnprintf(text->data + text->length, (size_t)n + 1, fmt, again);
        text->length += (size_t)n;
    }
    va_end(again);
}

/* printf rounds exactly but takes the decimal sign from the locale: whatever stands between the digits
 * becomes a point. */
static size_t print_fixed(char *out, size_t size, double value, int decimals)
{
    snprintf(out, size, "%.*f", decimals, value); /* fits: FIXED_BYTES holds the widest double */
    size_t n = 0;
    bool is_zero = true;
    for (const char *s = out; *s; s++) {
        bool is_digit = *s >= '0' && *s <= '9';
        is_zero = is_zero && (!is_digit || *s == '0');
        if (is_digit || (*s == '-' && s == out)) {
            out[n++] = *s;
        } else if (n && out[n - 1] != '.') {
            out[n++] = '.';
        }
    }
    out[n] = '\0';
    if (is_zero && out[0] == '-') {
        memmove(out, out + 1, n--);
    }
    return n;
}

enum {
    MAX_DECIMALS = 30,
    FIXED_BYTES = 320 + 16 + MAX_DECIMALS
}; /* DBL_MAX has 309 digits; some locales' points are long */

void sm_text_add_fixed(struct sm_text *text, double value, int decimals)
{
    assert(decimals >= 0 && decimals <= MAX_DECIMALS);
    if (isfinite(value)) {
        char digits[FIXED_BYTES];
        sm_text_add_n(text, digits, print_fixed(digits, sizeof digits, value, decimals));
    }
}

void sm_text_add_number(struct sm_text *text, double value, int min_decimals, int max_decimals)
{
    assert(min_decimals >= 0 && min_decimals <= max_decimals && max_decimals <= MAX_DECIMALS);
    if (!isfinite(value)) {
        return;
    }
    char digits[FIXED_BYTES];
    size_t n = print_fixed(digits, sizeof digits, value, max_decimals);
    for (int decimals = max_decimals; decimals > min_decimals && digits[n - 1] == '0'; decimals--) {
        n--;
    }
    if (digits[n - 1] == '.') {
        n--;
    }
    sm_text_add_n(text, digits, n);
}

static const char *html_entity(char c)
{
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

/* What XML 1.0 (section 2.2, Char) or HTML does not take: C0 and C1 controls, U+FFFE and U+FFFF. */
static bool is_no_markup(const char *s)
{
    const unsigned char *u = (const unsigned char *)s;
    bool is_c0 = (u[0] < 0x20 && u[0] != '\t' && u[0] != '\n') || u[0] == 0x7f;
    bool is_c1 = u[0] == 0xC2 && u[1] >= 0x80 && u[1] < 0xA0;
    bool is_noncharacter = u[0] == 0xEF && u[1] == 0xBF && u[2] >= 0xBE;
    return is_c0 || is_c1 || is_noncharacter;
}

void sm_text_add_html(struct sm_text *text, const char *s)
{
    while (*s) {
        size_t n = sm_utf8_len(s);
        const char *entity = html_entity(*s);
        if (entity) {
            sm_text_add(text, entity);
        } else if (!n || is_no_markup(s)) {
            sm_text_add(text, "\xEF\xBF\xBD");
        } else {
            sm_text_add_n(text, s, n);
        }
        s += n ? n : 1;
    }
}
