/*
 * Checked heap: every block of the project comes from here, so that overflow is caught once. Nothing else
 * stands in this file: tests put their own sm_calloc() and sm_realloc() before these (ld --wrap) to fail any
 * one call.
 */
#include "stopmark/base.h"

#include <stdlib.h>

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
