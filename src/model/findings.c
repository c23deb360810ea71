/* The list of findings: grows, owns its strings. */
#include "stopmark/model.h"

#include <stdio.h>

/* Message into arena memory; formatted twice because its length is not known before. */
static char *format_message(struct sm_arena *arena, const char *fmt, va_list args)
{
    va_list again;
    va_copy(again, args);
    int n = vsnprintf(NULL, 0, fmt, args);
    char *message = n >= 0 ? sm_arena_alloc(arena, (size_t)n + 1) : NULL;
    if (message) {
        vsnprintf(message, (size_t)n + 1, fmt, again);
    }
    va_end(again);
    return message;
}

enum sm_status sm_findings_add(struct sm_findings *findings, enum sm_flag flag, enum sm_severity severity,
                               const char *source, uint32_t line, double time_s, int32_t entry_idx, const char *fmt, ...)
{
    if (!findings->arena && sm_arena_new(&findings->arena) != SM_OK) {
        return SM_E_NOMEM;
    }
    if (sm_grow(&findings->item, findings->n, &findings->capacity, sizeof *findings->item) != SM_OK) {
        return SM_E_NOMEM;
    }
    va_list args;
    va_start(args, fmt);
    char *message = format_message(findings->arena, fmt, args);
    va_end(args);
    char *source_copy = source ? sm_arena_strdup(findings->arena, source) : NULL;
    if (!message || (source && !source_copy)) {
        return SM_E_NOMEM;
    }
    findings->item[findings->n++] =
        (struct sm_finding){flag, severity, source_copy, line, time_s, entry_idx, message};
    return SM_OK;
}

void sm_findings_release(struct sm_findings *findings)
{
    sm_free(findings->item);
    sm_arena_free(&findings->arena);
    *findings = (struct sm_findings){0};
}
