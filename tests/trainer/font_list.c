/**
 * @file font_list.c
 * Parses fonts.txt line by line and draws fonts by the share of their kind.
 */
#include "font_list.h"

#include "text_render.h"

#include <stdio.h>
#include <string.h>

#define MAX_LIST_BYTES (1 << 20)
#define N_FACES 500000 /* drawn ones of a kind in each half */

static const char *const kind_name[FONT_KINDS] = {"mono", "plain", "pixel", "segment", "drawn"};
static const double kind_share[FONT_KINDS] = {0.27, 0.18, 0.18, 0.04, 0.33};

/** Cut the next word off a line. */
static char *word(char **rest)
{
    char *start = sm_trim(*rest);
    char *end = start + strcspn(start, " \t");
    *rest = *end ? end + 1 : end;
    *end = '\0';
    return start;
}

/** Whether the font, or the first of its drawn faces, can be had. */
static bool exists(struct font font)
{
    size_t end = strcspn(font.name, "*");
    if (font.name[end] == '*') {
        font.name[end] = '0';
    }
    return sm_caption_font_exists(font.name);
}

static bool parse_line(struct font *font, char *line)
{
    line[strcspn(line, "#")] = '\0';
    char *half = word(&line), *kind = word(&line), *name = sm_trim(line);
    *font = (struct font){.is_held = strcmp(half, "held") == 0, .kind = FONT_KINDS};
    for (int k = 0; k < FONT_KINDS; k++) {
        if (strcmp(kind, kind_name[k]) == 0) {
            font->kind = (enum font_kind)k;
        }
    }
    return (font->is_held || strcmp(half, "train") == 0) && font->kind < FONT_KINDS && name[0] != '\0' &&
           sm_strcopy(font->name, sizeof font->name, name);
}

static enum sm_status add_line(struct font_list *list, char *line, const char *path, uint32_t number,
                               struct sm_error *err)
{
    struct font font;
    enum sm_status status = sm_grow(&list->font, list->n, &list->capacity, sizeof *list->font);
    if (status != SM_OK) {
        return sm_error_set(err, status, "no memory for the list of fonts");
    }
    if (!parse_line(&font, line)) {
        return sm_error_at(err, SM_E_FORMAT, path, number, 0, "not \"train|held KIND FONT\"");
    }
    if (!exists(font)) {
        return sm_error_at(err, SM_E_NOTFOUND, path, number, 0, "font \"%s\" is not installed", font.name);
    }
    list->font[list->n++] = font;
    return SM_OK;
}

enum sm_status font_list_read(struct font_list *list, const char *path, struct sm_error *err)
{
    char *text = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&text, &n, path, MAX_LIST_BYTES, err);
    *list = (struct font_list){0};
    char *line = text;
    for (uint32_t number = 1; status == SM_OK && *line; number++) {
        char *end = line + strcspn(line, "\n");
        char *next = *end ? end + 1 : end;
        *end = '\0';
        if (line[0] != '#' && line[0] != '\0') {
            status = add_line(list, line, path, number, err);
        }
        line = next;
    }
    sm_free(text);
    if (status != SM_OK) {
        font_list_release(list);
    }
    return status;
}

void font_list_release(struct font_list *list)
{
    sm_free(list->font);
    *list = (struct font_list){0};
}

/** A number for a drawn face that ends in '*'; N_FACES of either half. */
static void number_face(struct font *font, struct sm_test_random *rng)
{
    size_t end = strcspn(font->name, "*");
    if (font->name[end] == '*') {
        snprintf(font->name + end, sizeof font->name - end, "%d",
                 2 * rng_below(rng, N_FACES) + (font->is_held ? 1 : 0));
    }
}

struct font font_list_pick(const struct font_list *list, bool is_held, struct sm_test_random *rng)
{
    double share = sm_test_uniform(rng, 0.0, 1.0);
    int kind = 0;
    while (kind < FONT_KINDS - 1 && share >= kind_share[kind]) {
        share -= kind_share[kind++];
    }
    for (;;) {
        struct font font = list->font[rng_below(rng, (int)list->n)];
        if (font.is_held == is_held && (int)font.kind == kind) {
            number_face(&font, rng);
            return font;
        }
    }
}
