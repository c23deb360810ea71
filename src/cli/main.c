/* The program: a table of commands. */
#include <locale.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"

static const struct sm_cli_command *const commands[] = {
    &sm_cli_read,
    &sm_cli_schedule,
    &sm_cli_crew,
    &sm_cli_record,
    &sm_cli_recheck,
    &sm_cli_audit,
    &sm_cli_codes,
    &sm_cli_merge,
    &sm_cli_batch,
    &sm_cli_wall,
    &sm_cli_review,
    &sm_cli_demo,
};
enum { N_COMMANDS = sizeof commands / sizeof *commands };

static void add_help(struct sm_text *text)
{
    sm_text_add(text, "From a camera survey of a pipe to a list of repairs a crew can carry out.\n\n");
    for (size_t i = 0; i < N_COMMANDS; i++) {
        sm_text_addf(text, "%s stopmark %s\n", i ? "      " : "usage:", commands[i]->usage);
    }
    sm_text_add(text, "       stopmark --help | --version\n\n");
    for (size_t i = 0; i < N_COMMANDS; i++) {
        sm_text_addf(text, "  %-10s %s\n", commands[i]->name, commands[i]->line);
    }
    sm_text_add(
        text,
        "\nstopmark COMMAND --help says more. Exit status: 0 done, 1 could not do it, 2 wrong usage.\n");
}

static int print_help(void)
{
    struct sm_text text = {0};
    add_help(&text);
    int status = sm_cli_print(&text);
    sm_text_release(&text);
    return status;
}

static int print_version(void)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "stopmark %s\n", sm_version());
    int status = sm_cli_print(&text);
    sm_text_release(&text);
    return status;
}

static int unknown_command(const char *word)
{
    const char *names[N_COMMANDS];
    for (size_t i = 0; i < N_COMMANDS; i++) {
        names[i] = commands[i]->name;
    }
    const char *near = sm_nearest_word(word, names, N_COMMANDS);
    if (near) {
        sm_cli_note("no command \"%s\"; did you mean %s? stopmark --help lists the commands", word, near);
    } else {
        sm_cli_note("no command \"%s\"; stopmark --help lists the commands", word);
    }
    return SM_CLI_USAGE;
}

int main(int argc, char **argv)
{
    setlocale(LC_CTYPE, ""); /* which characters the terminal has; numbers stay as in the C locale */
    if (argc < 2) {
        sm_cli_note("no command; stopmark --help lists the commands");
        return SM_CLI_USAGE;
    }
    if (strcmp(argv[1], "--version") == 0) {
        return print_version();
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 || strcmp(argv[1], "help") == 0) {
        return print_help();
    }
    for (size_t i = 0; i < N_COMMANDS; i++) {
        if (strcmp(argv[1], commands[i]->name) == 0) {
            return commands[i]->run(argc - 2, argv + 2);
        }
    }
    return unknown_command(argv[1]);
}
