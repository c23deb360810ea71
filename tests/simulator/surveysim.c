/* surveysim.c - the simulator's command line: surveysim --seed N --out DIR [--profile plain|varied|hard]
 * [key=value ...] */
#include "simulator.h"

#include <stdio.h>
#include <string.h>

static const char usage[] =
    "usage: surveysim --out DIR [--seed N] [--profile plain|varied|hard] [@FILE] [key=value ...]\n"
    "       @FILE holds one key=value a line, such as the options.txt of an earlier survey\n"
    "       surveysim --list     all keys with their defaults\n"
    "       surveysim --print [--seed N] [--profile P] [key=value ...]   what would be made\n";

struct command {
    const char *out, *profile, *seed;
    bool is_list, is_print;
    int first_key; /* index into argv, 0 = none */
};

/* @return whether the words make sense. */
static bool parse_words(struct command *command, int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        const char **value = strcmp(argv[i], "--out") == 0       ? &command->out
                             : strcmp(argv[i], "--profile") == 0 ? &command->profile
                             : strcmp(argv[i], "--seed") == 0    ? &command->seed
                                                                 : NULL;
        if (value) {
            if (++i >= argc) {
                return false;
            }
            *value = argv[i];
        } else if (strcmp(argv[i], "--list") == 0) {
            command->is_list = true;
        } else if (strcmp(argv[i], "--print") == 0) {
            command->is_print = true;
        } else if (argv[i][0] == '-') {
            return false;
        }
    }
    return command->is_list || command->is_print || command->out;
}

/* Options from a file, one a line. */
static enum sm_status read_options(struct sm_sim_opts *opts, const char *path, struct sm_error *err)
{
    char *text = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&text, &n, path, 1 << 20, err);
    for (char *line = text; status == SM_OK && line && *line;) {
        size_t length = strcspn(line, "\r\n");
        char *next = line + length + (line[length] != '\0');
        line[length] = '\0';
        if (length > 0 && line[0] != '#') {
            status = sm_sim_opts_set(opts, line, err);
        }
        line = next;
    }
    sm_free(text);
    return status;
}

static enum sm_status make_options(struct sm_sim_opts *opts, const struct command *command, int argc,
                                   char **argv, struct sm_error *err)
{
    enum sm_sim_profile profile = SM_SIM_PLAIN;
    int64_t seed = 1;
    enum sm_status status =
        sm_sim_profile_parse(&profile, command->profile ? command->profile : "plain", err);
    if (status == SM_OK && command->seed &&
        !sm_parse_int(command->seed, 0, INT64_C(9000000000000000), &seed)) {
        status = sm_error_set(err, SM_E_RANGE, "\"%s\" is no seed", command->seed);
    }
    *opts = sm_sim_opts_random(seed, profile);
    for (int i = 1; status == SM_OK && i < argc; i++) {
        bool is_value = argv[i] == command->out || argv[i] == command->profile || argv[i] == command->seed;
        if (argv[i][0] == '@') {
            status = read_options(opts, argv[i] + 1, err);
        } else if (argv[i][0] != '-' && !is_value) {
            status = sm_sim_opts_set(opts, argv[i], err);
        }
    }
    return status;
}

static void print_text(struct sm_text *text)
{
    fputs(sm_text_str(text), stdout);
    sm_text_release(text);
}

int main(int argc, char **argv)
{
    struct command command = {0};
    struct sm_sim_opts opts;
    struct sm_error err = {0};
    struct sm_text text = {0};
    if (!parse_words(&command, argc, argv)) {
        fputs(usage, stderr);
        return 2;
    }
    if (command.is_list) {
        sm_sim_opts_help(&text);
        print_text(&text);
        return 0;
    }
    enum sm_status status = make_options(&opts, &command, argc, argv, &err);
    if (status == SM_OK && command.is_print) {
        sm_sim_opts_print(&opts, &text);
        print_text(&text);
        return 0;
    }
    if (status == SM_OK) {
        status = sm_sim_write_survey(&opts, command.out, &err);
    }
    if (status != SM_OK) {
        fprintf(stderr, "surveysim: %s%s%s%s%s\n", err.source, err.source[0] ? ": " : "",
                err.text[0] ? err.text : sm_status_text(status), err.remedy[0] ? "; " : "", err.remedy);
        return 1;
    }
    return 0;
}
