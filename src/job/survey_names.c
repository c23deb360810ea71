/* Names of the surveys of one log: fit for folders, and no two alike, also where a system does not tell A
 * from a. */
#include <string.h>

#include "job_internal.h"

const char *sm_job__folded(struct sm_arena *arena, const char *name)
{
    char *folded = sm_arena_strdup(arena, name);
    for (char *c = folded; c && *c; c++) {
        *c = *c >= 'A' && *c <= 'Z' ? (char)(*c - 'A' + 'a') : *c;
    }
    return folded;
}

/* Letters that no system's folders mind. */
static void add_folder_name(struct sm_text *out, const char *name)
{
    for (; *name; name++) {
        bool is_plain = (*name >= '0' && *name <= '9') || (*name >= 'A' && *name <= 'Z') ||
                        (*name >= 'a' && *name <= 'z') || strchr("-_+", *name) ||
                        (*name == '.' && out->length);
        sm_text_add_n(out, is_plain ? name : "_", 1);
    }
}

/* The first free of "name_2", "name_3" ..; where that was remembers it, so that many of one name take no
 * longer each. */
static const char *add_number(struct sm_names *taken, struct sm_arena *arena, const char *name,
                              const char *plain, size_t number)
{
    size_t before;
    const char *numbered = NULL, *folded = NULL;
    do {
        numbered = sm_arena_printf(arena, "%s_%zu", name, ++number);
        folded = numbered ? sm_job__folded(arena, numbered) : NULL;
    } while (folded && sm_names_find(taken, folded, &before));
    bool is_kept =
        folded && sm_names_set(taken, plain, number) == SM_OK && sm_names_set(taken, folded, 1) == SM_OK;
    return is_kept ? numbered : NULL;
}

const char *sm_job__name_survey(struct sm_names *taken, struct sm_arena *arena, const char *segment)
{
    struct sm_text text = {0};
    size_t number = 1;
    add_folder_name(&text, segment ? segment : "");
    sm_text_add(&text, text.length ? "" : "survey");
    const char *name = text.failed ? NULL : sm_arena_strdup(arena, sm_text_str(&text));
    sm_text_release(&text);
    const char *plain = name ? sm_job__folded(arena, name) : NULL;
    if (plain && sm_names_find(taken, plain, &number)) {
        return add_number(taken, arena, name, plain, number);
    }
    return plain && sm_names_set(taken, plain, number) == SM_OK ? name : NULL;
}
