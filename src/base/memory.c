/* Copies of strings and growable arrays, over the checked heap. */
#include "stopmark/base.h"

#include <string.h>

char *sm_strdup(const char *text)
{
    size_t n = strlen(text) + 1;
    char *copy = sm_calloc(n, 1);
    return copy ? memcpy(copy, text, n) : NULL;
}

enum sm_status sm_grow(void *items, size_t n, size_t *capacity, size_t size)
{
    if (n < *capacity) {
        return SM_OK;
    }
    if (*capacity > PTRDIFF_MAX / 2) {
        return SM_E_NOMEM;
    }
    size_t wider = *capacity ? *capacity * 2 : 8;
    void *block; /* copied bytewise: items points to a pointer of some other type */
    memcpy(&block, items, sizeof block);
    block = sm_realloc(block, wider, size);
    if (!block) {
        return SM_E_NOMEM;
    }
    memcpy(items, &block, sizeof block);
    *capacity = wider;
    return SM_OK;
}
