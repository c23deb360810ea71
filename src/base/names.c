/*
 * A set of names with a number each: open addressing over FNV-1a (Fowler, Noll, Vo, public domain), never
 * more than half full. Nothing of its order shows outside.
 */
#include "stopmark/base.h"

#include <string.h>

struct sm_name_slot {
    const char *name; /* NULL = free */
    size_t value;
};

static uint64_t hash_of(const char *name)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    for (; *name; name++) {
        hash = (hash ^ (unsigned char)*name) * UINT64_C(1099511628211);
    }
    return hash ^ hash >> 32;
}

/* Where a name is, or would go. */
static struct sm_name_slot *slot_of(const struct sm_names *names, const char *name)
{
    size_t mask = names->capacity - 1;
    size_t at = (size_t)hash_of(name) & mask;
    while (names->slot[at].name && strcmp(names->slot[at].name, name) != 0) {
        at = (at + 1) & mask;
    }
    return &names->slot[at];
}

static enum sm_status widen(struct sm_names *names)
{
    struct sm_names wider = {.n = names->n, .capacity = names->capacity ? names->capacity * 2 : 16};
    wider.slot = sm_calloc(wider.capacity, sizeof *wider.slot);
    if (!wider.slot) {
        return SM_E_NOMEM;
    }
    for (size_t k = 0; k < names->capacity; k++) {
        if (names->slot[k].name) {
            *slot_of(&wider, names->slot[k].name) = names->slot[k];
        }
    }
    sm_free(names->slot);
    *names = wider;
    return SM_OK;
}

bool sm_names_find(const struct sm_names *names, const char *name, size_t *value)
{
    const struct sm_name_slot *slot = names->capacity ? slot_of(names, name) : NULL;
    if (!slot || !slot->name) {
        return false;
    }
    *value = slot->value;
    return true;
}

enum sm_status sm_names_set(struct sm_names *names, const char *name, size_t value)
{
    if (2 * (names->n + 1) > names->capacity && widen(names) != SM_OK) {
        return SM_E_NOMEM;
    }
    struct sm_name_slot *slot = slot_of(names, name);
    names->n += !slot->name;
    *slot = (struct sm_name_slot){slot->name ? slot->name : name, value};
    return SM_OK;
}

void sm_names_release(struct sm_names *names)
{
    sm_free(names->slot);
    *names = (struct sm_names){0};
}
