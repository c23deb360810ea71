/* Options: getopt_long over what every command has and what a command adds. */
#include <assert.h>
#include <getopt.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"

enum { MAX_OWN = 20, N_COMMON = 3, FIRST_OWN = 256, MAX_THREADS = 64 };

static const struct option common_options[N_COMMON] = {
    {"help", no_argument, NULL, 'h'},
    {"quiet", no_argument, NULL, 'q'},
    {"json", no_argument, NULL, 'j'},
};

static void show_help(const struct sm_cli_command *command)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "usage: stopmark %s\n\n%s.\n\n%s", command->usage, command->line, command->help);
    sm_text_add(&text, "  --json              print results as JSON\n"
                       "  -q, --quiet         no progress and no notes\n"
                       "  -h, --help          this text\n");
    (void)sm_cli_print(&text);
    sm_text_release(&text);
}

int sm_cli_misuse(const struct sm_cli_command *command, const char *fmt, ...)
{
    va_list args;
    va_start(args, fmt);
    fprintf(stderr, "stopmark: %s: ", command->name);
    vfprintf(stderr, fmt, args);
    fprintf(stderr, "; usage: stopmark %s\n", command->usage);
    va_end(args);
    return SM_CLI_USAGE;
}

static size_t fill_options(struct option *all, const struct sm_cli_option *own)
{
    memcpy(all, common_options, sizeof common_options);
    size_t n = 0;
    for (; own[n].name; n++) {
        assert(n < MAX_OWN);
        all[N_COMMON + n] = (struct option){own[n].name, own[n].has_value ? required_argument : no_argument,
                                            NULL, FIRST_OWN + (int)n};
    }
    all[N_COMMON + n] = (struct option){0};
    return n;
}

static enum sm_cli_parsed take_own(const struct sm_cli_command *command, const struct sm_cli_option *own,
                                   void *user)
{
    struct sm_error err = {0};
    if (own->take(user, optarg, &err)) {
        return SM_CLI_GO_ON;
    }
    fprintf(stderr, "stopmark: %s: --%s: %s; %s\n", command->name, own->name, err.text, err.remedy);
    return SM_CLI_WRONG;
}

/* getopt wants the command's name in front of the arguments: argv[-1] is always there. */
enum sm_cli_parsed sm_cli_parse(const struct sm_cli_command *command, const struct sm_cli_option *own,
                                void *user, struct sm_cli_common *common, int argc, char **argv,
                                int *n_operands)
{
    struct option all[N_COMMON + MAX_OWN + 1];
    size_t n_own = fill_options(all, own);
    opterr = 0;
    optind = 1;
    for (int found; (found = getopt_long(argc + 1, argv - 1, ":hqj", all, NULL)) != -1;) {
        if (found == 'h') {
            show_help(command);
            return SM_CLI_HELP_SHOWN;
        }
        if (found == 'q' || found == 'j') {
            *(found == 'q' ? &common->is_quiet : &common->is_json) = true;
        } else if (found >= FIRST_OWN && (size_t)(found - FIRST_OWN) < n_own) {
            if (take_own(command, &own[found - FIRST_OWN], user) != SM_CLI_GO_ON) {
                return SM_CLI_WRONG;
            }
        } else {
            sm_cli_misuse(command, "%s %s", argv[optind - 2],
                          found == ':' ? "needs a value" : "is no option here");
            return SM_CLI_WRONG;
        }
    }
    *n_operands = argc + 1 - optind;
    memmove(argv, argv - 1 + optind, (size_t)*n_operands * sizeof *argv);
    return SM_CLI_GO_ON;
}

bool sm_cli_take_threads(size_t *n_threads, const char *value, struct sm_error *err)
{
    int64_t n;
    if (!sm_parse_int(value, 1, MAX_THREADS, &n)) {
        sm_error_set(err, SM_E_FORMAT, "\"%s\" is no number of threads", value);
        sm_error_remedy(err, "give a number from 1 to %d", MAX_THREADS);
        return false;
    }
    *n_threads = (size_t)n;
    return true;
}
