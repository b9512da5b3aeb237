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

#endif
