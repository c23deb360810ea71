/*
 * benchclips.c - make the clips of a list, each in a folder of its name under one for its half, with its
 * truth:
 *
 *   benchclips --out DIR [--half tune|untouched] [--only NAME] [--part I/N] [--clips FILE]
 *   benchclips --list
 *
 * A clip whose folder was made from the same options is left alone, so an interrupted run goes on where it
 * stopped.
 * --part 1/2 and --part 2/2 in two shells make use of two cores.
 */
#include "simulator.h"

#include <stdio.h>
#include <string.h>

struct command {
    const char *out, *half, *only, *part, *clips;
    bool is_list;
    int64_t part_idx, n_parts;
};

static const char usage[] =
    "usage: benchclips --out DIR [--half tune|untouched] [--only NAME] [--part I/N] [--clips FILE]\n"
    "       benchclips --list [--clips FILE]\n";

static bool parse_part(struct command *command)
{
    command->n_parts = 1;
    if (!command->part) {
        return true;
    }
    char first[24];
    const char *bar = strchr(command->part, '/');
    if (!bar || (size_t)(bar - command->part) >= sizeof first) {
        return false;
    }
    memcpy(first, command->part, (size_t)(bar - command->part));
    first[bar - command->part] = '\0';
    bool is_good = sm_parse_int(bar + 1, 1, 1000, &command->n_parts) &&
                   sm_parse_int(first, 1, command->n_parts, &command->part_idx);
    command->part_idx--;
    return is_good;
}

static bool parse_words(struct command *command, int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        const char **value = strcmp(argv[i], "--out") == 0     ? &command->out
                             : strcmp(argv[i], "--half") == 0  ? &command->half
                             : strcmp(argv[i], "--only") == 0  ? &command->only
                             : strcmp(argv[i], "--part") == 0  ? &command->part
                             : strcmp(argv[i], "--clips") == 0 ? &command->clips
                                                               : NULL;
        if (value && i + 1 < argc) {
            *value = argv[++i];
        } else if (strcmp(argv[i], "--list") == 0) {
            command->is_list = true;
        } else {
            return false;
        }
    }
    bool has_half =
        !command->half || strcmp(command->half, "tune") == 0 || strcmp(command->half, "untouched") == 0;
    return (command->is_list || command->out) && has_half && parse_part(command);
}

static const char *half_of(const struct sm_sim_clip *clip)
{
    return clip->is_untouched ? "untouched" : "tune";
}

static bool is_wanted(const struct command *command, const struct sm_sim_clip *clip, size_t idx)
{
    return (!command->half || strcmp(command->half, half_of(clip)) == 0) &&
           (!command->only || strcmp(command->only, clip->name) == 0) &&
           (int64_t)(idx % (size_t)command->n_parts) == command->part_idx;
}

/* Whether the folder holds a finished survey of just these options: they are written last. */
static bool is_made(const struct sm_sim_clip *clip, const char *dir)
{
    struct sm_text path = {0}, wanted = {0};
    char *there = NULL;
    size_t n = 0;
    sm_text_addf(&path, "%s/options.txt", dir);
    sm_sim_opts_print(&clip->opts, &wanted);
    bool is_same = sm_file_read(&there, &n, sm_text_str(&path), 1 << 20, NULL) == SM_OK &&
                   strcmp(there, sm_text_str(&wanted)) == 0;
    sm_free(there);
    sm_text_release(&path);
    sm_text_release(&wanted);
    return is_same;
}

static enum sm_status make_clip(const struct command *command, const struct sm_sim_clip *clip)
{
    struct sm_text dir = {0};
    struct sm_error err = {0};
    sm_text_addf(&dir, "%s/%s/%s", command->out, half_of(clip), clip->name);
    enum sm_status status = dir.failed ? SM_E_NOMEM : SM_OK;
    if (status == SM_OK && !is_made(clip, sm_text_str(&dir))) {
        status = sm_sim_write_survey(&clip->opts, sm_text_str(&dir), &err);
    }
    if (status == SM_OK) {
        printf("%s\n", sm_text_str(&dir));
        fflush(stdout);
    } else {
        fprintf(stderr, "benchclips: %s: %s%s%s\n", clip->name,
                err.text[0] ? err.text : sm_status_text(status), err.remedy[0] ? "; " : "", err.remedy);
    }
    sm_text_release(&dir);
    return status;
}

int main(int argc, char **argv)
{
    struct command command = {.clips = SM_CLIPS_FILE};
    struct sm_sim_clip *clip = NULL;
    size_t n = 0, n_failed = 0;
    struct sm_error err = {0};
    if (!parse_words(&command, argc, argv)) {
        fputs(usage, stderr);
        return 2;
    }
    if (sm_sim_clips_read(&clip, &n, command.clips, &err) != SM_OK) {
        fprintf(stderr, "benchclips: %s:%u: %s; %s\n", err.source, (unsigned)err.line, err.text, err.remedy);
        return 1;
    }
    for (size_t i = 0; i < n; i++) {
        if (command.is_list) {
            printf("%-10s %-24s %s\n", half_of(&clip[i]), clip[i].name, clip[i].opts.overlay.font);
        } else if (is_wanted(&command, &clip[i], i)) {
            n_failed += make_clip(&command, &clip[i]) == SM_OK ? 0 : 1;
        }
    }
    sm_free(clip);
    return n_failed > 0 ? 1 : 0;
}
