/* An examination that is open: its clips and what is known of each so far. Reading goes on in the background; whoever
 * asks gets what there is at that moment and may wait for the next change. */
#ifndef SL_SERVE_DESK_H
#define SL_SERVE_DESK_H

#include "core/arena.h"
#include "core/error.h"
#include "exam/exam.h"
#include "view/view.h"

#include <jansson.h>
#include <stdbool.h>

typedef struct sl_desk sl_desk;

/* `id` names it in addresses; `folder` holds the clips, folder/report what is made of them. */
sl_status sl_desk_new(const char *id, const char *folder, sl_desk **desk, sl_error *error);
void sl_desk_free(sl_desk **desk);
const char *sl_desk_id(const sl_desk *desk);
/* Names the examination before this one: its id and the exam.json that it is compared with once that is there. */
void sl_desk_set_earlier(sl_desk *desk, const char *id, const char *exam_json);

/* Reads what is new, on the calling thread; returns when all is read or it was told to stop. */
void sl_desk_read(sl_desk *desk);
/* Marks it as to be read (again); true when it was not marked already. */
bool sl_desk_mark(sl_desk *desk);
/* Wakes everyone who waits, for the end. */
void sl_desk_wake(sl_desk *desk);

/* Everything for the page, as the text of a JSON object owned by the caller; NULL when memory is out. When `after` equals its
 * present version, waits up to `seconds` for a change. */
char *sl_desk_text(sl_desk *desk, long after, double seconds);

/* Entries for the journal (says.h); a change of zones has the examination put together again. */
sl_status sl_desk_say(sl_desk *desk, const json_t *entries, bool *read_again, sl_error *error);

/* Looks a clip up by its id. Copies live in `arena`. `view->shape` is unknown until the clip is read. */
typedef struct sl_desk_clip {
    const char *path, *record;
    sl_view view;
    int frames; /* 0: not known yet */
} sl_desk_clip;
bool sl_desk_find(sl_desk *desk, const char *clip, sl_arena *arena, sl_desk_clip *found);

/* Path of "report.pdf" and the like below the output folder. */
const char *sl_desk_file(sl_desk *desk, const char *name, sl_arena *arena);
const char *sl_desk_folder(const sl_desk *desk);

/* Draws page `page` (1 ..) of the report as PNG into `path`; `*pages` of them. */
/* `language`: of the report (report/language.h); NULL or unknown: the examination's own. */
sl_status sl_desk_page(sl_desk *desk, const char *language, int page, double dots_a_point, const char *path, int *pages, sl_error *error);

/* Hands the examination with what stands now to `use`, with the output folder; nothing is read meanwhile. */
typedef sl_status (*sl_desk_use)(void *context, sl_exam *exam, const char *out, sl_arena *arena, sl_error *error);
sl_status sl_desk_with(sl_desk *desk, const char *language, sl_desk_use use, void *context, sl_error *error);

/* What the store holds of its signature (seal.h), for the page and for the pages that are drawn. Takes the reference. */
void sl_desk_set_signed(sl_desk *desk, json_t *seal);
/* New reference, or NULL. */
json_t *sl_desk_signed(sl_desk *desk);

/* Writes report.pdf anew with what the clinician says now. */
sl_status sl_desk_pdf(sl_desk *desk, const char *language, sl_error *error);

/* FNV-1a of a text as 16 hexadecimal digits. */
void sl_desk_name(const char *text, char name[17]);

#endif
