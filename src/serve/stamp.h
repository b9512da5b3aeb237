/* Whether a file is still the one that something was made from. */
#ifndef SL_SERVE_STAMP_H
#define SL_SERVE_STAMP_H

#include <stdbool.h>
#include <sys/stat.h>

typedef struct sl_stamp {
    struct timespec changed;
    off_t size;
    ino_t node; /* a file that was written anew beside it and renamed is another */
} sl_stamp;

/* False when there is no such file. */
static inline bool sl_stamp_of(const char *path, sl_stamp *stamp)
{
    struct stat facts;
    if (stat(path, &facts))
        return false;
    *stamp = (sl_stamp){facts.st_mtim, facts.st_size, facts.st_ino};
    return true;
}

static inline bool sl_stamp_same(const sl_stamp *a, const sl_stamp *b)
{
    return a->size == b->size && a->node == b->node && a->changed.tv_sec == b->changed.tv_sec && a->changed.tv_nsec == b->changed.tv_nsec;
}

#endif
