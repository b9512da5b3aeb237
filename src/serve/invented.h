/* Invented chests by chance for learners: their truth as a pool to draw from, and their clips drawn while they are watched, so
 * that no file is needed. A clip's name is its level and seed, "invented-2-10001.sim"; the same name is the same clip. */
#ifndef SL_SERVE_INVENTED_H
#define SL_SERVE_INVENTED_H

#include "chest/chest.h"
#include "serve/request.h"

/* Writes the truth of `count` chests of a level (1 plain, 2 usual, 3 hard) to `path` as JSON of readings (learning.h takes it
 * as a pool); a file that holds as many stays. Takes about 0.1 s a chest. */
sl_status sl_invented_pool(const char *path, int level, int count, sl_arena *arena, sl_error *error);

/* Whether it is the name of an invented chest. */
bool sl_invented_is(const char *clip);

/* Streams it in the form of frames.h, with its geometry in the head. */
enum MHD_Result sl_reply_invented(sl_request *request, const char *clip);

/* ---- shared with the bench ---- */

/* Size, geometry, scale and number of frames of a simulated clip: the head of its frames. New reference. */
json_t *sl_chest_head(const sl_chest *chest, const sl_gray *picture);

/* A frame in the form of frames.h, behind `head` (takes the reference) unless that is NULL. `*piece` grows to hold it (malloc; `*room`
 * bytes are there already). Returns its length, 0 when memory is out. */
size_t sl_chest_piece(json_t *head, double time_s, int index, const sl_gray *picture, unsigned char **piece, size_t *room);

#endif
