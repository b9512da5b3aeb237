#include "cli/inputs.h"

#include "clip/unpack.h"
#include "core/text.h"
#include "dicom/deid.h"

#include <string.h>
#include <strings.h>
#include <sys/stat.h>

static const char *folder_of(const char *path, sl_arena *arena)
{
    char *copy = sl_arena_text(arena, path);
    char *last = copy ? strrchr(copy, '/') : NULL;
    if (!last)
        return copy ? "." : NULL;
    last[last == copy] = 0;
    return copy;
}

sl_status sl_inputs(const char **path, int count, const char *out, sl_arena *arena, sl_error *error)
{
    for (int i = 0; i < count; i++) {
        struct stat facts;
        if (stat(path[i], &facts) || !S_ISREG(facts.st_mode))
            continue; /* its sentence comes later */
        const char *name = sl_path_name(path[i]), *folder = NULL;
        if (!strcasecmp(name, "DICOMDIR")) {
            folder = folder_of(path[i], arena);
        } else if (!sl_dicom_is_file(path[i]) && sl_is_archive(path[i])) {
            folder = sl_arena_printf(arena, "%s/unpacked/%s", out, name);
            sl_status status = folder ? sl_unpack(path[i], folder, error) : SL_OK;
            if (status)
                return status;
        } else {
            continue;
        }
        if (!folder)
            return sl_fail(error, SL_MEMORY, "Memory ran out. Close other programs and try again.");
        path[i] = folder;
    }
    return SL_OK;
}
