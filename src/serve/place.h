/* The folder that is served: one examination, or one folder an examination. Examinations are opened when asked for and
 * read one after the other on a thread of their own. */
#ifndef SL_SERVE_PLACE_H
#define SL_SERVE_PLACE_H

#include "serve/desk.h"
#include "store/store.h"

#include <limits.h>

typedef struct sl_place sl_place;

/* SL_IO when the folder is not there or cannot be listed. */
/* `store`: the folder of the store in which examinations are signed; NULL: the user's. */
sl_status sl_place_open(const char *folder, const char *store, sl_place **place, sl_error *error);
void sl_place_close(sl_place **place);
/* Everyone who waits is let go; for the end. */
void sl_place_wake(sl_place *place);

/* {"folder": its name, "single": bool, "exams": [{id, title, date, person, invented, clips, total...}]}. New reference.
 * With `names`, "who" of examinations that a worklist ordered (exam/order.h). */
json_t *sl_place_json(sl_place *place, bool names);

/* The examination with this id, opened and on its way to be read; NULL when there is none. Stays the place's own. */
sl_desk *sl_place_desk(sl_place *place, const char *id);

/* Has it read (again) in the background. */
void sl_place_read(sl_place *place, sl_desk *desk);

/* A new, empty examination from {title, date, person, question, protocol}; its id goes to `id`. */
sl_status sl_place_add(sl_place *place, const json_t *facts, char id[17], sl_error *error);

/* Makes an empty folder for an examination of `date` ("" or none such: today); SL_USAGE where a single one is open. */
sl_status sl_place_room(const sl_place *place, const char *date, char path[PATH_MAX], sl_error *error);

/* The folder that is served, and within it where second readers' and learners' files lie: FOLDER/report. */
const char *sl_place_folder(const sl_place *place);
const char *sl_place_store(const sl_place *place); /* NULL: the user's */
/* The store of this place, opened. `who`: who is signed in; NULL: who runs the program. `make`: an absent one is made. */
sl_status sl_place_open_store(const sl_place *place, const char *who, bool make, sl_store **store, sl_error *error);
/* Folders of the examinations, sorted by name; all from `arena`. */
int sl_place_folders(const sl_place *place, sl_arena *arena, char ***folders);
/* A clip by the name of its examination's folder and its path below that; the examination is opened (and read) when it is not
 * yet. Copies live in `arena`; the view is unknown until the clip is read. */
bool sl_place_clip(sl_place *place, const char *exam, const char *where, sl_arena *arena, sl_desk_clip *found);

#endif
