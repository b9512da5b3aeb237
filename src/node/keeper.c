#include "node/keeper.h"

#include <sys/statvfs.h>

int sl_keeper_has_room(const char *folder, unsigned long long keep_free)
{
    struct statvfs disk;
    return !statvfs(folder, &disk) && (unsigned long long)disk.f_bavail * disk.f_frsize >= keep_free;
}
