/* The pleura where fluid or solid lung show it to lie, instead of where the line of an aerated lung was looked for. */
#ifndef SL_READING_PLEURA_MOVE_H
#define SL_READING_PLEURA_MOVE_H

#include "core/arena.h"
#include "reading/pleura.h"

#include <stdbool.h>

/* The same `line` in all blocks of time (its rows in the arena), the depth the median of `counted` (rows, NAN = not counted), found with
 * at least the probability `found`. False when memory is out. */
bool sl_pleura_move(const float *line, const float *counted, double found, sl_arena *arena, sl_pleura *pleura);

#endif
