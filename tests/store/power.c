#include "power.h"

#include <sqlite3.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { SECTOR = 512, MOST_FILES = 16, MOST_REGIONS = 64, REGION = 32768 };

typedef struct image {
    unsigned char *bytes;
    sqlite3_int64 size, room;
} image;

typedef struct disk_file {
    char name[1024]; /* "" : free */
    image now, safe; /* as programs see it; as the last sync left it */
} disk_file;

typedef struct open_file {
    sqlite3_file base;
    disk_file *file;
    void *region[MOST_REGIONS];
} open_file;

const char power_vfs[] = "power";
static disk_file disk[MOST_FILES];
static long left = -1, operations;
static bool off;

static bool spend(void)
{
    operations++;
    if (!off && left >= 0 && left-- == 0)
        off = true;
    return !off;
}

static bool grow(image *into, sqlite3_int64 size)
{
    if (size > into->room) {
        sqlite3_int64 room = size * 2 + 4096;
        unsigned char *larger = realloc(into->bytes, (size_t)room);
        if (!larger)
            return false;
        memset(larger + into->room, 0, (size_t)(room - into->room));
        into->bytes = larger;
        into->room = room;
    }
    return true;
}

static bool copy_image(const image *from, image *to)
{
    if (!grow(to, from->size))
        return false;
    if (from->size)
        memcpy(to->bytes, from->bytes, (size_t)from->size);
    if (to->room > from->size)
        memset(to->bytes + from->size, 0, (size_t)(to->room - from->size));
    to->size = from->size;
    return true;
}

static disk_file *find(const char *name)
{
    for (int i = 0; i < MOST_FILES; i++)
        if (name && *name && !strcmp(disk[i].name, name))
            return &disk[i];
    return NULL;
}

static void drop(disk_file *file)
{
    free(file->now.bytes);
    free(file->safe.bytes);
    memset(file, 0, sizeof *file);
}

/* ---- an open file ---- */

static int file_close(sqlite3_file *base)
{
    open_file *self = (open_file *)base;
    for (int i = 0; i < MOST_REGIONS; i++)
        free(self->region[i]);
    memset(self->region, 0, sizeof self->region);
    return SQLITE_OK;
}

static int file_read(sqlite3_file *base, void *out, int amount, sqlite3_int64 at)
{
    const image *now = &((open_file *)base)->file->now;
    if (off)
        return SQLITE_IOERR_READ;
    sqlite3_int64 there = now->size - at;
    there = there < 0 ? 0 : there > amount ? amount : there;
    if (there)
        memcpy(out, now->bytes + at, (size_t)there);
    memset((char *)out + there, 0, (size_t)(amount - there));
    return there < amount ? SQLITE_IOERR_SHORT_READ : SQLITE_OK;
}

static int file_write(sqlite3_file *base, const void *bytes, int amount, sqlite3_int64 at)
{
    image *now = &((open_file *)base)->file->now;
    if (off)
        return SQLITE_IOERR_WRITE;
    if (!grow(now, at + amount))
        return SQLITE_NOMEM;
    memcpy(now->bytes + at, bytes, (size_t)amount);
    if (at + amount > now->size)
        now->size = at + amount;
    return spend() ? SQLITE_OK : SQLITE_IOERR_WRITE;
}

static int file_truncate(sqlite3_file *base, sqlite3_int64 size)
{
    image *now = &((open_file *)base)->file->now;
    if (!spend())
        return SQLITE_IOERR_TRUNCATE;
    if (size < now->size) {
        memset(now->bytes + size, 0, (size_t)(now->size - size));
        now->size = size;
    }
    return SQLITE_OK;
}

static int file_sync(sqlite3_file *base, int flags)
{
    disk_file *file = ((open_file *)base)->file;
    (void)flags;
    if (!spend())
        return SQLITE_IOERR_FSYNC;
    return copy_image(&file->now, &file->safe) ? SQLITE_OK : SQLITE_NOMEM;
}

static int file_size(sqlite3_file *base, sqlite3_int64 *size)
{
    *size = ((open_file *)base)->file->now.size;
    return off ? SQLITE_IOERR_FSTAT : SQLITE_OK;
}

static int file_lock(sqlite3_file *base, int lock)
{
    (void)base;
    (void)lock;
    return SQLITE_OK;
}

static int file_reserved(sqlite3_file *base, int *out)
{
    (void)base;
    *out = 0;
    return SQLITE_OK;
}

static int file_control(sqlite3_file *base, int what, void *more)
{
    (void)base;
    (void)what;
    (void)more;
    return SQLITE_NOTFOUND;
}

static int file_sector(sqlite3_file *base)
{
    (void)base;
    return SECTOR;
}

static int file_traits(sqlite3_file *base)
{
    (void)base;
    return 0; /* no promise of any kind, not even that a write leaves its neighbours alone */
}

static int shm_map(sqlite3_file *base, int region, int size, int extend, void volatile **out)
{
    open_file *self = (open_file *)base;
    *out = NULL;
    if (region >= MOST_REGIONS || size != REGION)
        return SQLITE_IOERR_SHMMAP;
    if (!self->region[region] && extend && !(self->region[region] = calloc(1, REGION)))
        return SQLITE_NOMEM;
    *out = self->region[region];
    return SQLITE_OK;
}

static int shm_lock(sqlite3_file *base, int offset, int n, int flags)
{
    (void)base;
    (void)offset;
    (void)n;
    (void)flags;
    return SQLITE_OK;
}

static void shm_barrier(sqlite3_file *base)
{
    (void)base;
}

static int shm_unmap(sqlite3_file *base, int remove)
{
    (void)base;
    (void)remove;
    return SQLITE_OK;
}

static const sqlite3_io_methods methods = {
    .iVersion = 2, .xClose = file_close, .xRead = file_read, .xWrite = file_write, .xTruncate = file_truncate, .xSync = file_sync,
    .xFileSize = file_size, .xLock = file_lock, .xUnlock = file_lock, .xCheckReservedLock = file_reserved,
    .xFileControl = file_control, .xSectorSize = file_sector, .xDeviceCharacteristics = file_traits, .xShmMap = shm_map,
    .xShmLock = shm_lock, .xShmBarrier = shm_barrier, .xShmUnmap = shm_unmap};

/* ---- the layer ---- */

static int layer_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *base, int flags, int *out)
{
    static int unnamed;
    open_file *self = (open_file *)base;
    char own[32];
    (void)vfs;
    memset(self, 0, sizeof *self);
    if (off)
        return SQLITE_CANTOPEN;
    if (!name) {
        sqlite3_snprintf(sizeof own, own, "unnamed-%d", unnamed++);
        name = own;
    }
    self->file = find(name);
    for (int i = 0; i < MOST_FILES && !self->file; i++)
        if (!disk[i].name[0]) {
            self->file = &disk[i];
            sqlite3_snprintf(sizeof disk[i].name, disk[i].name, "%s", name);
        }
    if (!self->file)
        return SQLITE_CANTOPEN;
    if (out)
        *out = flags;
    base->pMethods = &methods;
    return SQLITE_OK;
}

static int layer_delete(sqlite3_vfs *vfs, const char *name, int sync)
{
    (void)vfs;
    (void)sync;
    disk_file *file = find(name);
    if (!spend())
        return SQLITE_IOERR_DELETE;
    if (file)
        drop(file);
    return SQLITE_OK;
}

static int layer_access(sqlite3_vfs *vfs, const char *name, int flags, int *out)
{
    (void)vfs;
    (void)flags;
    disk_file *file = find(name);
    *out = file && file->now.size > 0;
    return off ? SQLITE_IOERR_ACCESS : SQLITE_OK;
}

static int layer_path(sqlite3_vfs *vfs, const char *name, int room, char *out)
{
    (void)vfs;
    sqlite3_snprintf(room, out, "%s", name);
    return SQLITE_OK;
}

static int layer_randomness(sqlite3_vfs *vfs, int count, char *out)
{
    sqlite3_vfs *usual = vfs->pAppData;
    return usual->xRandomness(usual, count, out);
}

static int layer_sleep(sqlite3_vfs *vfs, int microseconds)
{
    (void)vfs;
    return microseconds;
}

static int layer_time(sqlite3_vfs *vfs, double *now)
{
    sqlite3_vfs *usual = vfs->pAppData;
    return usual->xCurrentTime(usual, now);
}

int power_register(void)
{
    static sqlite3_vfs layer = {.iVersion = 1, .szOsFile = (int)sizeof(open_file), .mxPathname = 1000, .zName = power_vfs,
                                .xOpen = layer_open, .xDelete = layer_delete, .xAccess = layer_access, .xFullPathname = layer_path,
                                .xRandomness = layer_randomness, .xSleep = layer_sleep, .xCurrentTime = layer_time};
    layer.pAppData = sqlite3_vfs_find(NULL);
    return sqlite3_vfs_register(&layer, 0);
}

void power_cut_after(long count)
{
    left = count;
}

bool power_is_off(void)
{
    return off;
}

long power_operations(void)
{
    return operations;
}

void power_back(unsigned seed)
{
    off = false;
    left = -1;
    for (int i = 0; i < MOST_FILES; i++) {
        disk_file *file = &disk[i];
        if (!file->name[0])
            continue;
        /* a sector that was written since the last sync is as it was, or as it was to be; the same goes for the length */
        seed = seed * 1664525u + 1013904223u;
        sqlite3_int64 size = seed >> 31 ? file->now.size : file->safe.size;
        sqlite3_int64 larger = file->now.size > file->safe.size ? file->now.size : file->safe.size;
        if (!grow(&file->now, larger) || !grow(&file->safe, larger))
            continue;
        for (sqlite3_int64 at = 0; at < larger; at += SECTOR) {
            size_t length = (size_t)(larger - at < SECTOR ? larger - at : SECTOR);
            seed = seed * 1664525u + 1013904223u;
            if (seed >> 31)
                memcpy(file->safe.bytes + at, file->now.bytes + at, length);
        }
        file->safe.size = larger;
        if (size < larger)
            memset(file->safe.bytes + size, 0, (size_t)(larger - size));
        file->safe.size = size;
        copy_image(&file->safe, &file->now);
    }
}

void power_wipe(void)
{
    for (int i = 0; i < MOST_FILES; i++)
        drop(&disk[i]);
}
