/* Writer of indented JSON (RFC 8259). The caller says what; commas, line breaks and escapes follow from the
 * state. */
#include "stopmark/base.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { MAX_DEPTH = 31 };

static void indent(struct sm_json *json, int depth)
{
    sm_text_add(json->out, "\n");
    for (int i = 0; i < depth; i++) {
        sm_text_add(json->out, "  ");
    }
}

static void add_escaped(struct sm_text *out, const char *s)
{
    static const char *const shorts[] = {
        ['\b'] = "\\b", ['\t'] = "\\t", ['\n'] = "\\n", ['\f'] = "\\f", ['\r'] = "\\r"};
    sm_text_add(out, "\"");
    while (*s) {
        size_t n = sm_utf8_len(s);
        unsigned char c = (unsigned char)*s;
        if (!n) {
            sm_text_add(out, "\xEF\xBF\xBD");
        } else if (c < sizeof shorts / sizeof *shorts && shorts[c]) {
            sm_text_add(out, shorts[c]);
        } else if (c < 0x20 || c == 0x7f) {
            sm_text_addf(out, "\\u%04x", (unsigned)c);
        } else {
            if (c == '"' || c == '\\') {
                sm_text_add(out, "\\");
            }
            sm_text_add_n(out, s, n);
        }
        s += n ? n : 1;
    }
    sm_text_add(out, "\"");
}

/* Comma, place and key of the value that follows. */
static void begin_value(struct sm_json *json, const char *key)
{
    int depth = json->depth;
    if (json->has_item[depth]) {
        sm_text_add(json->out, json->is_compact[depth] ? ", " : ",");
    }
    if (depth > 0 && !json->is_compact[depth]) {
        indent(json, depth);
    }
    json->has_item[depth] = true;
    if (key) {
        add_escaped(json->out, key);
        sm_text_add(json->out, ": ");
    }
}

static void open_bracket(struct sm_json *json, const char *key, char bracket, bool is_compact)
{
    assert(bracket == '{' || bracket == '[');
    assert(json->depth < MAX_DEPTH);
    begin_value(json, key);
    sm_text_add_n(json->out, &bracket, 1);
    bool is_inside_compact = json->is_compact[json->depth];
    json->depth++;
    json->has_item[json->depth] = false;
    json->is_compact[json->depth] = is_compact || is_inside_compact;
}

void sm_json_open(struct sm_json *json, const char *key, char bracket)
{
    open_bracket(json, key, bracket, false);
}

void sm_json_open_compact(struct sm_json *json, const char *key, char bracket)
{
    open_bracket(json, key, bracket, true);
}

void sm_json_close(struct sm_json *json, char bracket)
{
    assert(bracket == '}' || bracket == ']');
    assert(json->depth > 0);
    bool has_item = json->has_item[json->depth];
    bool is_compact = json->is_compact[json->depth];
    json->depth--;
    if (has_item && !is_compact) {
        indent(json, json->depth);
    }
    sm_text_add_n(json->out, &bracket, 1);
    if (json->depth == 0) {
        sm_text_add(json->out, "\n");
    }
}

void sm_json_null(struct sm_json *json, const char *key)
{
    begin_value(json, key);
    sm_text_add(json->out, "null");
}

void sm_json_string(struct sm_json *json, const char *key, const char *value)
{
    if (!value) {
        sm_json_null(json, key);
        return;
    }
    begin_value(json, key);
    add_escaped(json->out, value);
}

void sm_json_fixed(struct sm_json *json, const char *key, double value, int decimals)
{
    if (!isfinite(value)) {
        sm_json_null(json, key);
        return;
    }
    begin_value(json, key);
    sm_text_add_fixed(json->out, value, decimals);
}

void sm_json_number(struct sm_json *json, const char *key, double value, int max_decimals)
{
    if (!isfinite(value)) {
        sm_json_null(json, key);
        return;
    }
    begin_value(json, key);
    sm_text_add_number(json->out, value, 0, max_decimals);
}

void sm_json_int(struct sm_json *json, const char *key, int64_t value)
{
    begin_value(json, key);
    sm_text_addf(json->out, "%lld", (long long)value);
}

void sm_json_bool(struct sm_json *json, const char *key, bool value)
{
    begin_value(json, key);
    sm_text_add(json->out, value ? "true" : "false");
}
