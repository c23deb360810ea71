/* Messages on stderr, results on stdout. Texts out of files are made harmless for a terminal by the error
 * record. */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"
#include "stopmark/process.h"

int sm_cli_fail(const struct sm_error *err)
{
    fputs("stopmark: ", stderr);
    if (err->source[0] && err->line && err->column) {
        fprintf(stderr, "%s:%u:%u: ", err->source, (unsigned)err->line, (unsigned)err->column);
    } else if (err->source[0] && err->line) {
        fprintf(stderr, "%s:%u: ", err->source, (unsigned)err->line);
    } else if (err->source[0]) {
        fprintf(stderr, "%s: ", err->source);
    }
    fputs(err->text[0] ? err->text : sm_status_text(err->status), stderr);
    fprintf(stderr, "%s%s\n", err->remedy[0] ? "; " : "", err->remedy);
    return SM_CLI_FAILED;
}

void sm_cli_note(const char *fmt, ...)
{
    va_list args;
    va_start(args, fmt);
    fputs("stopmark: ", stderr);
    vfprintf(stderr, fmt, args);
    fputs("\n", stderr);
    va_end(args);
}

/* Through the error record: findings quote what stands in field files. */
void sm_cli_findings(const struct sm_findings *findings)
{
    for (size_t i = 0; i < findings->n; i++) {
        const struct sm_finding *finding = &findings->item[i];
        struct sm_error line;
        sm_error_at(&line, SM_OK, finding->source, finding->line, 0, "%s%s",
                    finding->severity == SM_SEVERITY_WARNING ? "warning: " : "note: ", finding->message);
        (void)sm_cli_fail(&line);
    }
}

/* No finding: it says nothing of the survey, and results must not depend on the machine. */
void sm_cli_warn_of_missing_bars(void)
{
    unsigned bars = 0;
    if (!sm_process_bars_here(&bars)) {
        return; /* no process can be had: the decoder will say so */
    }
    bool is_free_of_files = !(bars & SM_PROCESS_BAR_FILES), is_free_of_calls = !(bars & SM_PROCESS_BAR_CALLS);
    if (is_free_of_files || is_free_of_calls) {
        sm_cli_note("warning: this system has no %s%s%s to confine the video decoder with; read only videos you trust here",
                    is_free_of_files ? "Landlock" : "", is_free_of_files && is_free_of_calls ? " and no " : "",
                    is_free_of_calls ? "seccomp" : "");
    }
}

int sm_cli_print(const struct sm_text *text)
{
    struct sm_error err;
    if (text->failed) {
        sm_error_set(&err, SM_E_NOMEM, "out of memory");
        return sm_cli_fail(&err);
    }
    errno = 0;
    if ((text->length && fwrite(text->data, 1, text->length, stdout) != text->length) ||
        fflush(stdout) != 0) {
        sm_error_at(&err, SM_E_IO, "standard output", 0, 0, "%s", strerror(errno));
        return sm_cli_fail(&err);
    }
    return SM_CLI_DONE;
}
