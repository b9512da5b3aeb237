/* What the clinician says about an examination: a journal that is only ever added to, so that nothing entered is lost.
 *
 * One line of JSON an entry in OUT/says.jsonl, on the disk before the page is told that it was kept. An entry is
 *   kind "find"     clip, code (a finding's key), say: the statement, or null to withdraw it
 *   kind "borders"  clip, code ("dome", "muscle"), say: the diaphragm's borders as a hand set them (reading/borders.h), or null
 *   kind "zone"     clip, say: the zone's key or ""
 *   kind "conclude" say: the conclusion in words
 *   kind "sign"     say: {name}
 *   kind "undo", "redo"  of: the number of the entry
 * beside n (its number), at (UTC), uid (made by the page: the same entry sent twice is kept once), tab and seen (the
 * highest number the tab knew), by (who was signed in, where one signs in). Two tabs that answer the same question without knowing of each other leave two
 * statements standing, and both are shown: an entry replaces only what its tab had seen. */
#ifndef SL_SERVE_SAYS_H
#define SL_SERVE_SAYS_H

#include "core/error.h"

#include <jansson.h>

typedef struct sl_says sl_says;

/* Opens the journal of the output folder `out` (it need not exist). Lines that are damaged are left aside and counted. */
sl_status sl_says_open(const char *out, sl_says **says, sl_error *error);
void sl_says_close(sl_says **says);

/* Adds entries (an array from the page) after checking each; all or none. Takes no reference. */
sl_status sl_says_add(sl_says *says, const json_t *entries, sl_error *error);

/* Everything: {"last": n, "entries": [...], "damaged": k}. New reference. */
json_t *sl_says_all(sl_says *says);

/* What stands after undoing and replacing: array of entries, oldest first. New reference. */
json_t *sl_says_standing(sl_says *says);

#endif
