/* Arena: a list of blocks, filled front to back; nothing is given back before the whole arena goes. */
#include "stopmark/base.h"

#include <stdalign.h>
#include <stdio.h>
#include <string.h>

enum { BLOCK_BYTES = 4096 - 64 };

struct block {
    struct block *next;
    size_t used, size;
    alignas(max_align_t) unsigned char data[];
};
struct sm_arena {
    struct block *blocks; /* the newest first; only that one has room worth trying */
};

enum sm_status sm_arena_new(struct sm_arena **out)
{
    struct sm_arena *arena = sm_calloc(1, sizeof *arena);
    if (!arena) {
        return SM_E_NOMEM;
    }
    *out = arena;
    return SM_OK;
}

void sm_arena_free(struct sm_arena **arena)
{
    if (!arena || !*arena) {
        return;
    }
    for (struct block *block = (*arena)->blocks; block;) {
        struct block *next = block->next;
        sm_free(block);
        block = next;
    }
    sm_free(*arena);
    *arena = NULL;
}

static struct block *block_add(struct sm_arena *arena, size_t size)
{
    if (size > PTRDIFF_MAX - sizeof(struct block)) {
        return NULL;
    }
    struct block *block = sm_calloc(1, sizeof *block + size);
    if (!block) {
        return NULL;
    }
    block->size = size;
    /* A block made for one large piece is full at once: keep the one with room in front. */
    if (arena->blocks && size > BLOCK_BYTES) {
        block->next = arena->blocks->next;
        arena->blocks->next = block;
    } else {
        block->next = arena->blocks;
        arena->blocks = block;
    }
    return block;
}

void *sm_arena_alloc(struct sm_arena *arena, size_t size)
{
    const size_t step = alignof(max_align_t);
    if (size > PTRDIFF_MAX - step) {
        return NULL;
    }
    size_t need = size ? (size + step - 1) / step * step : step;
    struct block *block = arena->blocks;
    if (!block || block->size - block->used < need) {
        block = block_add(arena, need > BLOCK_BYTES ? need : BLOCK_BYTES);
        if (!block) {
            return NULL;
        }
    }
    void *piece = block->data + block->used;
    block->used += need;
    return piece;
}

char *sm_arena_strndup(struct sm_arena *arena, const char *text, size_t n)
{
    char *copy = n < PTRDIFF_MAX ? sm_arena_alloc(arena, n + 1) : NULL;
    if (copy && n) {
        memcpy(copy, text, n);
    }
    return copy;
}

char *sm_arena_strdup(struct sm_arena *arena, const char *text)
{
    return sm_arena_strndup(arena, text, strlen(text));
}

/* Formatted twice: the length is not known before. */
char *sm_arena_vprintf(struct sm_arena *arena, const char *fmt, va_list args)
{
    va_list again;
    va_copy(again, args);
    int n = vsnprintf(NULL, 0, fmt, args);
    char *text = n >= 0 ? sm_arena_alloc(arena, (size_t)n + 1) : NULL;
    if (text) {
        vsnprintf(text, (size_t)n + 1, fmt, again);
    }
    va_end(again);
    return text;
}

char *sm_arena_printf(struct sm_arena *arena, const char *fmt, ...)
{
    va_list args;
    va_start(args, fmt);
    char *text = sm_arena_vprintf(arena, fmt, args);
    va_end(args);
    return text;
}
