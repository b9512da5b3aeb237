/* What people name when they mean the clips: folders, files, a DICOM directory, an archive. */
#ifndef SL_CLI_INPUTS_H
#define SL_CLI_INPUTS_H

#include "core/arena.h"
#include "core/error.h"

/* Replaces in `path` (each may change, arena memory) a DICOMDIR by the folder it describes and an archive by a folder below
 * OUT/unpacked that it is unpacked to. */
sl_status sl_inputs(const char **path, int count, const char *out, sl_arena *arena, sl_error *error);

#endif
