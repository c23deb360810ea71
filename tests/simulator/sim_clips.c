/*
 * sim_clips.c - a list of clips for measuring a counter reader: one clip a line, "half | name | profile |
 * seed | key=value |
 * ...", blanks around the bars free, lines that start with # are comments. A "base |" line holds settings
 * that all clips below it share.
 */
#include "sim_internal.h"

#include <stdio.h>
#include <string.h>

#define MAX_PARTS 64

struct list {
    struct sm_sim_clip *clip;
    size_t n, capacity;
    char *base[MAX_PARTS]; /* settings of the last base line */
    size_t n_base;
};

/* Cut a line at its bars. @return the number of parts, 0 when there are too many. */
static size_t cut_line(char *line, char **part)
{
    size_t n = 0;
    for (char *at = line; at; n++) {
        char *bar = strchr(at, '|');
        if (n == MAX_PARTS) {
            return 0;
        }
        if (bar) {
            *bar = '\0';
        }
        part[n] = sm_trim(at);
        at = bar ? bar + 1 : NULL;
    }
    return n;
}

static enum sm_status set_all(struct sm_sim_opts *opts, char *const *setting, size_t n, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = setting[i][0] ? sm_sim_opts_set(opts, setting[i], err) : SM_OK;
    }
    return status;
}

static enum sm_status read_clip(struct list *list, char **part, size_t n, struct sm_error *err)
{
    struct sm_sim_clip clip = {.is_untouched = strcmp(part[0], "untouched") == 0};
    enum sm_sim_profile profile = SM_SIM_PLAIN;
    int64_t seed = 0;
    if (n < 4 || (!clip.is_untouched && strcmp(part[0], "tune") != 0) || !part[1][0] ||
        !sm_strcopy(clip.name, sizeof clip.name, part[1]) ||
        !sm_parse_int(part[3], 0, INT64_C(9000000000000000), &seed)) {
        (void)sm_error_set(err, SM_E_FORMAT, "no clip: \"%s\"", part[0]);
        return sm_error_remedy(err, "write: tune or untouched | name | profile | seed | key=value | ...");
    }
    enum sm_status status = sm_sim_profile_parse(&profile, part[2], err);
    if (status == SM_OK) {
        clip.opts = sm_sim_opts_random(seed, profile);
        status = set_all(&clip.opts, list->base, list->n_base, err);
    }
    if (status == SM_OK) {
        status = set_all(&clip.opts, part + 4, n - 4, err);
    }
    if (status == SM_OK) {
        status = sm_sim_opts_check(&clip.opts, err);
    }
    if (status == SM_OK) {
        status = sm_grow(&list->clip, list->n, &list->capacity, sizeof *list->clip);
    }
    if (status == SM_OK) {
        list->clip[list->n++] = clip;
    }
    return status;
}

static enum sm_status read_line(struct list *list, char *line, struct sm_error *err)
{
    char *part[MAX_PARTS];
    line = sm_trim(line);
    if (!line[0] || line[0] == '#') {
        return SM_OK;
    }
    size_t n = cut_line(line, part);
    if (n == 0) {
        return sm_error_set(err, SM_E_RANGE, "more than %d parts in a line", MAX_PARTS);
    }
    if (strcmp(part[0], "base") == 0) {
        memcpy(list->base, part + 1, (n - 1) * sizeof *part);
        list->n_base = n - 1;
        return SM_OK;
    }
    return read_clip(list, part, n, err);
}

enum sm_status sm_sim_clips_read(struct sm_sim_clip **out, size_t *n, const char *path, struct sm_error *err)
{
    char *text = NULL;
    size_t n_bytes = 0;
    struct list list = {0};
    enum sm_status status = sm_file_read(&text, &n_bytes, path, 1 << 20, err);
    uint32_t line_number = 0;
    for (char *line = text; status == SM_OK && line;) {
        char *end = strchr(line, '\n');
        if (end) {
            *end = '\0';
        }
        line_number++;
        status = read_line(&list, line, err);
        if (status != SM_OK && err) {
            err->line = line_number;
            sm_error_source(err, path);
        }
        line = end ? end + 1 : NULL;
    }
    sm_free(text);
    if (status != SM_OK) {
        sm_free(list.clip);
        return status;
    }
    *out = list.clip;
    *n = list.n;
    return SM_OK;
}
