/* Encodings of XML logs: those that expat does not know, and files that say they are something else than they
 * are. */
#include "xml_internal.h"

#include <string.h>

/* Windows-1252 and ISO-8859-15 differ from Latin-1, which expat knows, in a few signs no field of a log
 * needs. */
bool sm_obslog__xml_encoding_map(int map[256], const char *name)
{
    static const int upper[32] = {0x20AC, -1,     0x201A, 0x192,  0x201E, 0x2026, 0x2020, 0x2021,
                                  0x2C6,  0x2030, 0x160,  0x2039, 0x152,  -1,     0x17D,  -1,
                                  -1,     0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014,
                                  0x2DC,  0x2122, 0x161,  0x203A, 0x153,  -1,     0x17E,  0x178};
    bool is_1252 = sm_ascii_ieq(name, "windows-1252") || sm_ascii_ieq(name, "cp1252");
    if (!is_1252 && !sm_ascii_ieq(name, "ISO-8859-15") && !sm_ascii_ieq(name, "latin1") &&
        !sm_ascii_ieq(name, "ISO8859-1")) {
        return false;
    }
    for (int c = 0; c < 256; c++) {
        map[c] = is_1252 && c >= 0x80 && c < 0xA0 ? upper[c - 0x80] : c;
    }
    return true;
}

/* Does the XML declaration name an encoding other than UTF-8? */
static bool names_other_encoding(const struct sm_obslog_input *input)
{
    char head[200], name[32];
    size_t n = input->n < sizeof head - 1 ? input->n : sizeof head - 1;
    memcpy(head, input->data, n);
    head[n] = '\0';
    const char *end = strstr(head, "?>");
    const char *said = strstr(head, "encoding=");
    if (!end || !said || said > end) {
        return false;
    }
    said += strlen("encoding=") + 1;
    n = strcspn(said, "\"'?");
    n = n < sizeof name - 1 ? n : sizeof name - 1;
    memcpy(name, said, n);
    name[n] = '\0';
    return !sm_ascii_ieq(name, "UTF-8");
}

/* A file that says UTF-8, or nothing, and is none: read as Latin-1. NULL = as it says. */
const char *sm_obslog__xml_encoding_override(const struct sm_obslog_input *input)
{
    bool is_utf16 =
        input->n >= 2 && (memcmp(input->data, "\xff\xfe", 2) == 0 || memcmp(input->data, "\xfe\xff", 2) == 0);
    return is_utf16 || names_other_encoding(input) || sm_utf8_valid(input->data, input->n) ? NULL
                                                                                           : "ISO-8859-1";
}

/* Works for UTF-16 too, where every other byte is zero. */
bool sm_obslog__xml_has(const struct sm_obslog_input *input, const char *name)
{
    size_t n = input->n < 65536 ? input->n : 65536, n_name = strlen(name), found = 0;
    for (size_t at = 0; at < n; at++) {
        char c = input->data[at];
        if (c == '\0') {
            continue;
        }
        found = c == name[found] ? found + 1 : c == name[0] ? 1 : 0;
        if (found == n_name) {
            return true;
        }
    }
    return false;
}
