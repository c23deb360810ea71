/* The bytes of a text file as UTF-8, whatever a spreadsheet or an old program saved them as. */
#include "stopmark/base.h"

#include <string.h>

static void add_code_point(struct sm_text *text, uint32_t code)
{
    static const unsigned char first[] = {0, 0, 0xC0, 0xE0, 0xF0};
    char bytes[4];
    size_t n = code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
    for (size_t k = n; k-- > 1; code >>= 6) {
        bytes[k] = (char)(0x80 | (code & 0x3F));
    }
    bytes[0] = (char)(first[n] | code);
    sm_text_add_n(text, bytes, n);
}

/* Windows-1252, 0x80..0x9F (WHATWG Encoding Standard, index-windows-1252); the rest is Latin-1. */
static void add_windows_1252(struct sm_text *text, const char *data, size_t n)
{
    static const unsigned short upper[32] = {
        0x20AC, 0x81,   0x201A, 0x192,  0x201E, 0x2026, 0x2020, 0x2021, 0x2C6,  0x2030, 0x160,
        0x2039, 0x152,  0x8D,   0x17D,  0x8F,   0x90,   0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
        0x2013, 0x2014, 0x2DC,  0x2122, 0x161,  0x203A, 0x153,  0x9D,   0x17E,  0x178,
    };
    for (size_t i = 0; i < n; i++) {
        unsigned char c = (unsigned char)data[i];
        if (c < 0x80) {
            sm_text_add_n(text, data + i, 1);
        } else {
            add_code_point(text, c < 0xA0 ? upper[c - 0x80] : c);
        }
    }
}

static uint32_t utf16_unit(const char *data, bool is_big)
{
    const unsigned char *p = (const unsigned char *)data;
    return is_big ? (uint32_t)p[0] << 8 | p[1] : (uint32_t)p[1] << 8 | p[0];
}

/* A surrogate without its mate becomes U+FFFD (RFC 2781), a half unit at the end is dropped. */
static void add_utf16(struct sm_text *text, const char *data, size_t n, bool is_big)
{
    for (size_t at = 0; at + 1 < n; at += 2) {
        uint32_t code = utf16_unit(data + at, is_big);
        if (code >= 0xD800 && code < 0xDC00 && at + 3 < n) {
            uint32_t low = utf16_unit(data + at + 2, is_big);
            if (low >= 0xDC00 && low < 0xE000) {
                code = 0x10000 + ((code - 0xD800) << 10) + (low - 0xDC00);
                at += 2;
            }
        }
        add_code_point(text, code >= 0xD800 && code < 0xE000 ? 0xFFFD : code);
    }
}

void sm_text_add_decoded(struct sm_text *text, const char *data, size_t n)
{
    sm_text_add_n(text, "", 0); /* so that an empty text has its NUL */
    if (n >= 2 && (memcmp(data, "\xFF\xFE", 2) == 0 || memcmp(data, "\xFE\xFF", 2) == 0)) {
        add_utf16(text, data + 2, n - 2, data[0] == '\xFE');
        return;
    }
    if (n >= 3 && memcmp(data, "\xEF\xBB\xBF", 3) == 0) {
        data += 3;
        n -= 3;
    }
    if (sm_utf8_valid(data, n)) {
        sm_text_add_n(text, data, n);
    } else {
        add_windows_1252(text, data, n);
    }
}
