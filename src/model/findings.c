/* The list of findings: grows, owns its strings. */
#include "stopmark/model.h"

enum sm_status sm_findings_add(struct sm_findings *findings, enum sm_flag flag, enum sm_severity severity,
                               const char *source, uint32_t line, double time_s, int32_t entry_idx,
                               const char *fmt, ...)
{
    if (!findings->arena && sm_arena_new(&findings->arena) != SM_OK) {
        return SM_E_NOMEM;
    }
    if (sm_grow(&findings->item, findings->n, &findings->capacity, sizeof *findings->item) != SM_OK) {
        return SM_E_NOMEM;
    }
    va_list args;
    va_start(args, fmt);
    char *message = sm_arena_vprintf(findings->arena, fmt, args);
    va_end(args);
    char *source_copy = source ? sm_arena_strdup(findings->arena, source) : NULL;
    if (!message || (source && !source_copy)) {
        return SM_E_NOMEM;
    }
    sm_clean_line(message);
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
