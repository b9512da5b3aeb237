/* Where solid lung begins. Its surface reflects little (a few hundredths, against two thirds for air), so that layers of the
 * wall outshine it; but the lung moves with breathing and the wall does not: the line lies where what stands still ends. */
#ifndef SL_READING_SOLID_SURFACE_H
#define SL_READING_SOLID_SURFACE_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/pleura.h"
#include "view/stack.h"

/* `row_mm`: 0 when not known. `line`: the rows, of every beam that has a pleural line; `moved` false: the pleura's own line is as good, and `line` is its copy. */
sl_status sl_solid_surface_find(const sl_stack *stack, const sl_pleura *pleura, double row_mm, sl_arena *arena,
                                float *line, bool *moved, sl_error *error);

#endif
