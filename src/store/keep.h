/* From a collected examination to the store: used by `read --keep`, `store add` and the page. */
#ifndef SL_STORE_KEEP_H
#define SL_STORE_KEEP_H

#include "exam/exam.h"
#include "store/store.h"

#include <stdbool.h>

/* Keeps a collected examination: its clips, and when `report` is not NULL the readings of that folder's exam.json (matched by
 * content) and the files of the report. `person` and `local_id` may be NULL: the examination's own pseudonym, none. */
sl_status sl_keep(sl_store *store, const sl_exam *exam, const char *report, const char *person, const char *local_id,
                  char uid[SL_STORE_UID], bool *known, sl_error *error);

/* ---- what can be signed: the same on the command line and on the page ---- */

enum { SL_SIGNED_BYTES = 2000, SL_SIGNED_LINES = 24, SL_SIGNER_BYTES = 120, SL_SIGNED_FILES = 6 }; /* words fit a page of their own */

bool sl_words_blank(const char *text);
/* Nothing that is signed is cut off on paper. */
bool sl_words_fit(const char *text, const char *signer);
/* The files of a report that are signed with it, as far as `folder` holds them; how many. Paths are the arena's. */
int sl_signed_files(const char *folder, sl_arena *arena, sl_store_file_in file[SL_SIGNED_FILES]);

#endif
