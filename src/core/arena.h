/* An arena: memory whose life is a clip, a request or an examination. Allocation is a pointer bump; everything goes
 * at once. Not thread safe: one arena a thread. */
#ifndef SL_CORE_ARENA_H
#define SL_CORE_ARENA_H

#include <stddef.h>

typedef struct sl_arena_block sl_arena_block;

typedef struct sl_arena {
    sl_arena_block *block; /* newest first; owned */
    size_t total;          /* bytes handed out */
} sl_arena;

/* A zeroed sl_arena is ready for use. */

/* Zeroed memory, aligned to 64 bytes, owned by the arena. NULL when memory is out or `count * size` overflows. */
void *sl_arena_alloc(sl_arena *arena, size_t count, size_t size);

/* A copy of `text` owned by the arena; NULL when `text` is NULL or memory is out. */
char *sl_arena_text(sl_arena *arena, const char *text);

/* printf into the arena. NULL when memory is out. */
char *sl_arena_printf(sl_arena *arena, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A list of items of `size` bytes with room for one more than `count`: `items` itself, or a larger copy with `*room` doubled. NULL
 * when memory is out; the old list then stays as it was. */
void *sl_arena_room(sl_arena *arena, void *items, int count, int *room, size_t size);

/* Frees everything; the arena can be used again. */
void sl_arena_free(sl_arena *arena);

#define SL_NEW(arena, count, type) ((type *)sl_arena_alloc((arena), (size_t)(count), sizeof(type)))

#endif
