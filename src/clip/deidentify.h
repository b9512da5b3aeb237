/* Copies of pictures and videos that name nobody: burned-in text blackened, the container's metadata left behind, the
 * result read again. Originals are only read. What was done is noted for a report, without what was there. */
#ifndef SL_CLIP_DEIDENTIFY_H
#define SL_CLIP_DEIDENTIFY_H

#include "clip/burned.h"
#include "clip/pseudonym.h"
#include "core/arena.h"

#include <stdbool.h>

typedef struct sl_deid_note {
    const char *where; /* "(0010,0010) Patient's Name", "pixels 10..120, 4..22" */
    const char *done;  /* "emptied", "removed", "replaced", "dates moved", "blackened" ... */
} sl_deid_note;

/* What was done to one file. Owned by its arena. */
typedef struct sl_deid_notes {
    sl_arena *arena;
    int count, room;
    sl_deid_note *note;
    int boxes;             /* blackened */
    double blackened_share; /* of the picture */
    bool verified;         /* the result was read again and names nobody */
    bool out_of_memory;
} sl_deid_notes;

typedef struct sl_deid_plan {
    sl_secret secret;
    sl_reader *reader; /* not owned; used by one file at a time */
    int threads;
} sl_deid_plan;

void sl_deid_note_add(sl_deid_notes *notes, const char *where, const char *done);

/* What one look through all frames of the original found. */
typedef struct sl_deid_found {
    sl_boxes boxes; /* to be blackened */
    bool coloured;  /* does any frame show colour? */
} sl_deid_found;

/* For files of any kind; notes the boxes. */
sl_status sl_deid_find(const char *in, const sl_deid_plan *plan, sl_deid_found *found, sl_deid_notes *notes, sl_error *error);

/* A video, GIF or still from `in` to `out`, whose ending the caller chose by sl_deid_ending. Nothing is left at `out` unless
 * the result could be verified. */
sl_status sl_clip_deidentify(const char *in, const char *out, const sl_deid_plan *plan, const sl_deid_found *found,
                             sl_deid_notes *notes, sl_error *error);

/* "mp4", "mov", "avi", "gif" or "png": how the copy of `in` is written. */
sl_status sl_deid_ending(const char *in, const char **ending, sl_error *error);

#endif
