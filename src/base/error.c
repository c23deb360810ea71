/* Version, status names and the error record. An error is filled once, where the failure was noticed. */
#include "stopmark/base.h"

#include <stdio.h>
#include <string.h>

const char *sm_version(void)
{
    return SM_VERSION;
}

const char *sm_status_text(enum sm_status status)
{
    switch (status) {
    case SM_OK:
        return "done";
    case SM_E_NOMEM:
        return "out of memory";
    case SM_E_IO:
        return "input or output failed";
    case SM_E_FORMAT:
        return "malformed content";
    case SM_E_RANGE:
        return "value out of range";
    case SM_E_UNSUPPORTED:
        return "not supported";
    case SM_E_NOTFOUND:
        return "not found";
    case SM_E_CONFLICT:
        return "conflict";
    case SM_E_CANCELLED:
        return "cancelled";
    case SM_E_INFEASIBLE:
        return "no answer satisfies the rules";
    }
    return "unknown status";
}

void sm_error_source(struct sm_error *err, const char *source)
{
    if (!err || !source || err->source[0]) {
        return;
    }
    size_t n = strlen(source);
    const char *tail = n < sizeof err->source ? source : source + n - (sizeof err->source - 1);
    memcpy(err->source, tail, strlen(tail) + 1);
}

static void print_line(char *text, size_t size, const char *fmt, va_list args) SM_PRINTF(3, 0);
static void print_line(char *text, size_t size, const char *fmt, va_list args)
{
    int n = vsnprintf(text, size, fmt, args);
    if (n >= 0 && (size_t)n >= size) {
        size_t end = size - 1; /* cut: drop the character that lost its tail */
        while (end && ((unsigned char)text[end - 1] & 0xC0) == 0x80) {
            end--;
        }
        if (end && (unsigned char)text[end - 1] >= 0xC0 && !sm_utf8_len(text + end - 1)) {
            text[end - 1] = '\0';
        }
    }
    sm_clean_line(text);
}

static void fill(struct sm_error *err, enum sm_status status, const char *fmt, va_list args) SM_PRINTF(3, 0);
static void fill(struct sm_error *err, enum sm_status status, const char *fmt, va_list args)
{
    memset(err, 0, sizeof *err);
    err->status = status;
    print_line(err->text, sizeof err->text, fmt, args);
}

enum sm_status sm_error_set(struct sm_error *err, enum sm_status status, const char *fmt, ...)
{
    if (err) {
        va_list args;
        va_start(args, fmt);
        fill(err, status, fmt, args);
        va_end(args);
    }
    return status;
}

enum sm_status sm_error_at(struct sm_error *err, enum sm_status status, const char *source, uint32_t line,
                           uint32_t column, const char *fmt, ...)
{
    if (err) {
        va_list args;
        va_start(args, fmt);
        fill(err, status, fmt, args);
        va_end(args);
        sm_error_source(err, source);
        err->line = line;
        err->column = column;
    }
    return status;
}

enum sm_status sm_error_remedy(struct sm_error *err, const char *fmt, ...)
{
    if (!err) {
        return SM_E_FORMAT;
    }
    va_list args;
    va_start(args, fmt);
    print_line(err->remedy, sizeof err->remedy, fmt, args);
    va_end(args);
    return err->status;
}
