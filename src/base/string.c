/* Strings: ASCII comparison, trimming, UTF-8, bounded copies. Never the locale's idea of a letter. */
#include "stopmark/base.h"

#include <assert.h>
#include <string.h>

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

bool sm_ascii_ieq(const char *a, const char *b)
{
    while (*a && lower(*a) == lower(*b)) {
        a++;
        b++;
    }
    return lower(*a) == lower(*b);
}

static bool is_blank(char c)
{
    return c == ' ' || (c >= '\t' && c <= '\r');
}

char *sm_trim(char *s)
{
    while (is_blank(*s)) {
        s++;
    }
    size_t n = strlen(s);
    while (n && is_blank(s[n - 1])) {
        n--;
    }
    s[n] = '\0';
    return s;
}

/* The Unicode Standard, table 3-7: well-formed UTF-8 byte sequences. */
size_t sm_utf8_len(const char *s)
{
    const unsigned char *u = (const unsigned char *)s;
    if (u[0] < 0x80) {
        return u[0] ? 1 : 0;
    }
    size_t n = u[0] >= 0xC2 && u[0] <= 0xDF   ? 2
               : (u[0] & 0xF0) == 0xE0        ? 3
               : u[0] >= 0xF0 && u[0] <= 0xF4 ? 4
                                              : 0;
    unsigned least = u[0] == 0xE0 ? 0xA0 : u[0] == 0xF0 ? 0x90 : 0x80;
    unsigned greatest = u[0] == 0xED ? 0x9F : u[0] == 0xF4 ? 0x8F : 0xBF;
    for (size_t i = 1; i < n; i++) {
        if (u[i] < least || u[i] > greatest) {
            return 0;
        }
        least = 0x80;
        greatest = 0xBF;
    }
    return n;
}

bool sm_utf8_valid(const char *s, size_t n)
{
    for (size_t i = 0; i < n;) {
        char piece[5] = {0}; /* sm_utf8_len() looks ahead; s need not be terminated */
        memcpy(piece, s + i, n - i < 4 ? n - i : 4);
        size_t len = piece[0] ? sm_utf8_len(piece) : 1;
        if (!len) {
            return false;
        }
        i += len;
    }
    return true;
}

bool sm_strcopy(char *dst, size_t size, const char *src)
{
    assert(size > 0);
    size_t n = strlen(src);
    bool fits = n < size;
    if (!fits) {
        n = size - 1;
        while (n && ((unsigned char)src[n] & 0xC0) == 0x80) {
            n--;
        }
    }
    memmove(dst, src, n);
    dst[n] = '\0';
    return fits;
}

void sm_clean_line(char *text)
{
    char *to = text;
    for (const char *from = text; *from;) {
        size_t n = sm_utf8_len(from);
        bool is_control = (unsigned char)*from < 0x20 || *from == 0x7f ||
                          ((unsigned char)*from == 0xC2 && (unsigned char)from[1] < 0xA0);
        if (n && !is_control) {
            memmove(to, from, n);
            to += n;
        } else {
            *to++ = '?';
        }
        from += n ? n : 1;
    }
    *to = '\0';
}
