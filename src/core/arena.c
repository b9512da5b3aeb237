#include "core/arena.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALIGNMENT = 64, BLOCK_BYTES = 256 * 1024 };

struct sl_arena_block {
    sl_arena_block *next;
    size_t size, used;
    unsigned char *bytes;
};

static sl_arena_block *new_block(size_t size)
{
    sl_arena_block *block = malloc(sizeof *block);
    if (!block)
        return NULL;
    block->bytes = aligned_alloc(ALIGNMENT, size);
    if (!block->bytes) {
        free(block);
        return NULL;
    }
    block->size = size;
    block->used = 0;
    return block;
}

void *sl_arena_alloc(sl_arena *arena, size_t count, size_t size)
{
    if (size && count > (SIZE_MAX / 2) / size)
        return NULL;
    size_t bytes = (count * size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
    if (!bytes)
        bytes = ALIGNMENT;
    sl_arena_block *block = arena->block;
    if (!block || block->size - block->used < bytes) {
        /* A large piece gets a block of its own behind the newest one, so that the rest of that one is not lost. */
        int large = bytes > BLOCK_BYTES / 4;
        sl_arena_block *fresh = new_block(large ? bytes : BLOCK_BYTES);
        if (!fresh)
            return NULL;
        if (large && block) {
            fresh->next = block->next;
            block->next = fresh;
        } else {
            fresh->next = block;
            arena->block = fresh;
        }
        block = fresh;
    }
    void *piece = block->bytes + block->used;
    block->used += bytes;
    arena->total += bytes;
    return memset(piece, 0, bytes);
}

char *sl_arena_text(sl_arena *arena, const char *text)
{
    if (!text)
        return NULL;
    size_t length = strlen(text) + 1;
    char *copy = sl_arena_alloc(arena, length, 1);
    return copy ? memcpy(copy, text, length) : NULL;
}

char *sl_arena_printf(sl_arena *arena, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0)
        return NULL;
    char *text = sl_arena_alloc(arena, (size_t)length + 1, 1);
    if (!text)
        return NULL;
    va_start(args, format);
    vsnprintf(text, (size_t)length + 1, format, args);
    va_end(args);
    return text;
}

void *sl_arena_room(sl_arena *arena, void *items, int count, int *room, size_t size)
{
    if (count < *room)
        return items;
    const int more = *room ? 2 * *room : 16;
    void *larger = sl_arena_alloc(arena, (size_t)more, size);
    if (!larger)
        return NULL;
    if (count)
        memcpy(larger, items, (size_t)count * size);
    *room = more;
    return larger;
}

void sl_arena_free(sl_arena *arena)
{
    for (sl_arena_block *block = arena->block; block;) {
        sl_arena_block *next = block->next;
        free(block->bytes);
        free(block);
        block = next;
    }
    arena->block = NULL;
    arena->total = 0;
}
