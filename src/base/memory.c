/* Checked heap: every block of the project comes from here, so that overflow is caught once and tests can fail any call. */
#include "stopmark/base.h"

#include <stdlib.h>
#include <string.h>

/* Zero-sized requests give a block all the same: NULL then always means "no memory". */
static bool block_size(size_t n, size_t size, size_t *total)
{
    if (size && n > PTRDIFF_MAX / size) {
        return false;
    }
    *total = n && size ? n * size : 1;
    return true;
}

void *sm_calloc(size_t n, size_t size)
{
    size_t total;
    return block_size(n, size, &total) ? calloc(1, total) : NULL;
}

void *sm_realloc(void *block, size_t n, size_t size)
{
    size_t total;
    return block_size(n, size, &total) ? realloc(block, total) : NULL;
}

void sm_free(void *block)
{
    free(block);
}

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
