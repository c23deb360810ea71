/*
 * INI text into section, key, value. The text is copied line by line, so that a value can be cut and unquoted
 * in place; nothing is kept between lines but the section.
 */
#include "sheet_internal.h"

#include <string.h>

struct ini_walk {
    const char *source;
    sm_ini_fn *fn;
    void *user;
    uint32_t line;
    struct sm_text section;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/*
 * End of the value at s: the first comment sign that stands after a blank and outside quotes. A quote opens
 * at the start of the value or of a list item only, so that 12' 6" keeps its inch mark. @return false when a
 * quote is left open.
 */
static bool find_value_end(const char *s, size_t *end)
{
    bool is_quoted = false, may_open = true;
    size_t i = 0;
    for (; s[i]; i++) {
        if (is_quoted) {
            is_quoted = s[i] != '"';
        } else if (s[i] == '"' && (may_open || (i > 0 && s[i - 1] == '"'))) {
            is_quoted = true;
        } else if ((s[i] == '#' || s[i] == ';') && (i == 0 || is_blank(s[i - 1]))) {
            break;
        }
        may_open = s[i] == ',' || (may_open && is_blank(s[i]));
    }
    *end = i;
    return !is_quoted;
}

static enum sm_status take_section(struct ini_walk *walk, char *s, struct sm_error *err)
{
    char *close = strchr(s, ']');
    char *rest = close ? close + 1 : s;
    while (is_blank(*rest)) {
        rest++;
    }
    if (!close || (*rest && *rest != '#' && *rest != ';')) {
        sm_error_at(err, SM_E_FORMAT, walk->source, walk->line, 0, "\"%.60s\" is no section line", s);
        sm_error_remedy(err, "write the section's name alone in brackets, as in [segment]");
        return SM_E_FORMAT;
    }
    *close = '\0';
    char folded[64];
    sm_key_fold(folded, sizeof folded, s + 1);
    sm_text_clear(&walk->section);
    sm_text_add(&walk->section, folded);
    struct sm_ini_line line = {walk->line, true, sm_text_str(&walk->section), "", close};
    return walk->section.failed ? sm_error_set(err, SM_E_NOMEM, "out of memory")
                                : walk->fn(walk->user, &line, err);
}

static enum sm_status take_pair(struct ini_walk *walk, char *s, struct sm_error *err)
{
    char *equals = strchr(s, '=');
    if (!equals || equals == s) {
        sm_error_at(err, SM_E_FORMAT, walk->source, walk->line, 0,
                    "\"%.60s\" is neither [section] nor key = value", s);
        sm_error_remedy(err, "write key = value, or start the line with # to make it a comment");
        return SM_E_FORMAT;
    }
    *equals = '\0';
    char *value = equals + 1;
    while (is_blank(*value)) {
        value++;
    }
    size_t end;
    if (!find_value_end(value, &end)) {
        sm_error_at(err, SM_E_FORMAT, walk->source, walk->line, (uint32_t)(value - s) + 1,
                    "a quote is opened and not closed");
        sm_error_remedy(err, "close it with \" on the same line; a \" inside quotes is written \"\"");
        return SM_E_FORMAT;
    }
    value[end] = '\0';
    struct sm_ini_line line = {walk->line, false, sm_text_str(&walk->section), sm_trim(s), sm_trim(value)};
    return walk->fn(walk->user, &line, err);
}

static enum sm_status take_line(struct ini_walk *walk, char *s, struct sm_error *err)
{
    s = sm_trim(s);
    if (!*s || *s == '#' || *s == ';') {
        return SM_OK;
    }
    return *s == '[' ? take_section(walk, s, err) : take_pair(walk, s, err);
}

/* Length of the UTF-8 sequence at text[i], 0 = none; reads nothing beyond n. */
static size_t sequence_length(const char *text, size_t i, size_t n)
{
    char tail[5] = "";
    if (n - i >= 4) {
        return sm_utf8_len(text + i);
    }
    memcpy(tail, text + i, n - i);
    return sm_utf8_len(tail);
}

/* Line and column of the first byte that cannot stand in a sheet. */
static enum sm_status check_encoding(const char *text, size_t n, const char *source, struct sm_error *err)
{
    uint32_t line = 1, column = 1;
    for (size_t i = 0; i < n;) {
        size_t len = sequence_length(text, i, n);
        if (text[i] == '\0' || len == 0) {
            sm_error_at(err, SM_E_FORMAT, source, line, column,
                        text[i] ? "byte 0x%02x is no UTF-8" : "a zero byte (0x%02x) stands in the text",
                        (unsigned)(unsigned char)text[i]);
            sm_error_remedy(err, "save the sheet as UTF-8 text");
            return SM_E_FORMAT;
        }
        column++;
        if (text[i] == '\n') {
            line++;
            column = 1;
        }
        i += len;
    }
    return SM_OK;
}

static enum sm_status walk_lines(struct ini_walk *walk, const char *text, size_t n, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    struct sm_text line = {0};
    for (size_t at = 0; at < n && status == SM_OK;) {
        size_t end = at;
        while (end < n && text[end] != '\n' && text[end] != '\r') {
            end++;
        }
        walk->line++;
        sm_text_clear(&line);
        sm_text_add_n(&line, text + at, end - at);
        if (line.failed) {
            status = sm_error_set(err, SM_E_NOMEM, "out of memory");
        } else if (line.data) {
            status = take_line(walk, line.data, err);
        }
        at = end + (end + 1 < n && text[end] == '\r' && text[end + 1] == '\n' ? 2 : 1);
    }
    sm_text_release(&line);
    return status;
}

enum sm_status sm_sheet__ini_walk(const char *text, size_t n, const char *source, sm_ini_fn *fn, void *user,
                                  struct sm_error *err)
{
    if (n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
        text += 3;
        n -= 3;
    }
    enum sm_status status = check_encoding(text, n, source, err);
    if (status != SM_OK) {
        return status;
    }
    struct ini_walk walk = {source, fn, user, 0, {0}};
    status = walk_lines(&walk, text, n, err);
    sm_text_release(&walk.section);
    return status;
}

bool sm_sheet__unquote(char *value)
{
    if (*value != '"') {
        return true;
    }
    char *to = value;
    char *from = value + 1;
    for (; *from; from++) {
        if (*from == '"') {
            if (from[1] != '"') {
                break;
            }
            from++;
        }
        *to++ = *from;
    }
    bool is_whole = *from == '"' && from[1] == '\0';
    *to = '\0';
    return is_whole;
}

char *sm_sheet__next_item(char **rest)
{
    char *item = *rest;
    bool is_quoted = false;
    char *s = item;
    while (is_blank(*s)) {
        s++;
    }
    item = s;
    for (is_quoted = false; *s && (is_quoted || *s != ','); s++) {
        if (*s == '"' && (is_quoted || s == item || s[-1] == '"')) {
            is_quoted = !is_quoted;
        }
    }
    *rest = *s ? s + 1 : NULL;
    *s = '\0';
    item = sm_trim(item);
    return sm_sheet__unquote(item) ? item : NULL;
}
