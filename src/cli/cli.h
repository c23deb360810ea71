/* What the commands of the program share: the table's entry, options, messages, progress, the words of the
 * environment. */
#ifndef SM_CLI_H
#define SM_CLI_H

#include "stopmark/job.h"

/* What the program ends with. */
enum { SM_CLI_DONE = 0, SM_CLI_FAILED = 1, SM_CLI_USAGE = 2 };

/* One command. run() gets the arguments after its name and gives one of the three above. */
struct sm_cli_command {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *line;  /* one line of help */
    const char *usage; /* after "usage: stopmark ", also the man page's synopsis */
    const char *help;  /* the options, indented; what every command has is added */
};
extern const struct sm_cli_command sm_cli_read, sm_cli_schedule, sm_cli_batch, sm_cli_wall, sm_cli_codes, sm_cli_review, sm_cli_demo;
extern const struct sm_cli_command sm_cli_crew, sm_cli_record, sm_cli_recheck, sm_cli_audit, sm_cli_merge;

/* ---- options ---- */

/* What every command takes. */
struct sm_cli_common {
    bool is_quiet, is_json;
};
/* One option of a command's own; value NULL = a switch. */
struct sm_cli_option {
    const char *name;
    /* Take a value (NULL for a switch). @return false when it makes no sense: err says why. */
    bool (*take)(void *user, const char *value, struct sm_error *err);
    bool has_value;
};
enum sm_cli_parsed { SM_CLI_GO_ON, SM_CLI_HELP_SHOWN, SM_CLI_WRONG };
/*
 * Read the options and gather the operands (moved to argv[0] on, in order). --help is printed here, mistakes
 * are told here. own: ends with an entry without a name. @param n_operands [out].
 */
enum sm_cli_parsed sm_cli_parse(const struct sm_cli_command *command, const struct sm_cli_option *own,
                                void *user, struct sm_cli_common *common, int argc, char **argv,
                                int *n_operands);
/* Tell a mistake in the words typed. @return SM_CLI_USAGE. */
int sm_cli_misuse(const struct sm_cli_command *command, const char *fmt, ...) SM_PRINTF(2, 3);

/* The value of --threads. */
bool sm_cli_take_threads(size_t *n_threads, const char *value, struct sm_error *err);

/* Changes of the sheet's values, --set KEY=VALUE. */
enum { SM_CLI_MAX_CHANGES = 100 };
struct sm_cli_changes {
    struct sm_job_change item[SM_CLI_MAX_CHANGES];
    size_t n;
};
bool sm_cli_changes_add(struct sm_cli_changes *changes, const char *value, struct sm_error *err);
void sm_cli_changes_release(struct sm_cli_changes *changes);

/* ---- messages, all on stderr ---- */

/* `stopmark: FILE:LINE: what is wrong; what to do about it`. @return SM_CLI_FAILED. */
int sm_cli_fail(const struct sm_error *err);
void sm_cli_note(const char *fmt, ...) SM_PRINTF(1, 2);
void sm_cli_findings(const struct sm_findings *findings);
/* Warn, before videos are decoded, when this system bars the decoder's process from less than it should. */
void sm_cli_warn_of_missing_bars(void);
/* Results to stdout, or an error told. @return SM_CLI_DONE or SM_CLI_FAILED. */
int sm_cli_print(const struct sm_text *text);

/* ---- progress ---- */

struct sm_cli_progress {
    bool is_shown; /* stderr is a terminal and nobody asked for quiet */
    bool has_line;
    const char *doing;
    double last_s, begun_s;
};
/* Start, and take notice of Ctrl-C and termination, which stop the work cleanly. */
struct sm_cli_progress sm_cli_progress_start(const struct sm_cli_common *common);
/* Has the user asked to stop? */
bool sm_cli_is_stopped(void);
bool sm_cli_progress_tell(void *progress, const char *doing, double done,
                          double total); /* a sm_job_progress_fn */
/* The line said in full, by a step that knows more than a share. @return false: stop. */
bool sm_cli_progress_line(struct sm_cli_progress *progress, const char *line);
void sm_cli_progress_end(struct sm_cli_progress *progress);

/* ---- environment ---- */

/* Now as ISO 8601 in UTC; SM_NOW stands in for the clock where a test needs it. */
void sm_cli_now(char text[32]);
const char *sm_cli_who(void); /* name of the user, "" = not known */
uint32_t sm_cli_processors(void); /* that may be used, 1.. */
int sm_cli_columns(void);     /* width of the terminal, 0 = no terminal */
bool sm_cli_is_utf8(void);    /* the terminal's characters */

#endif
