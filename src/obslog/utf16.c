/* UTF-16 as spreadsheets save "Unicode text", turned to UTF-8. */
#include "obslog_internal.h"

#include <string.h>

static void add_code_point(struct sm_text *out, uint32_t c)
{
    char bytes[4];
    size_t n = c < 0x80 ? 1 : c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;
    static const unsigned char first[] = {0, 0, 0xc0, 0xe0, 0xf0};
    for (size_t k = n; k-- > 1; c >>= 6) {
        bytes[k] = (char)(0x80 | (c & 0x3f));
    }
    bytes[0] = (char)(first[n] | c);
    sm_text_add_n(out, bytes, n);
}

static uint32_t unit_at(const struct sm_obslog_input *input, size_t at, bool is_big)
{
    const unsigned char *p = (const unsigned char *)input->data + at;
    return is_big ? (uint32_t)(p[0] << 8 | p[1]) : (uint32_t)(p[1] << 8 | p[0]);
}

enum sm_status sm_obslog__decode_utf16(const struct sm_obslog_input *input, struct sm_text *out, struct sm_error *err)
{
    bool is_big = input->n >= 2 && memcmp(input->data, "\xfe\xff", 2) == 0;
    if (!is_big && (input->n < 2 || memcmp(input->data, "\xff\xfe", 2) != 0)) {
        return SM_OK;
    }
    for (size_t at = 2; at + 1 < input->n; at += 2) {
        uint32_t c = unit_at(input, at, is_big);
        if (c >= 0xd800 && c < 0xdc00 && at + 3 < input->n) {
            uint32_t low = unit_at(input, at + 2, is_big);
            if (low >= 0xdc00 && low < 0xe000) {
                c = 0x10000 + ((c - 0xd800) << 10) + (low - 0xdc00);
                at += 2;
            }
        }
        add_code_point(out, c == 0 || (c >= 0xd800 && c < 0xe000) ? 0xfffd : c);
    }
    return out->failed ? sm_obslog__no_memory(err) : SM_OK;
}
