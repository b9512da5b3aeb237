/* Who entered, looked, changed and took away: FOLDER/access.jsonl, one line of JSON each, only ever added to. Each line
 * ends with the SHA-256 of the line before it and itself, so that a line taken out or changed is found. */
#ifndef SL_ACCESS_LOG_H
#define SL_ACCESS_LOG_H

#include "core/error.h"

#include <jansson.h>

typedef struct sl_access_log sl_access_log;

sl_status sl_access_log_open(const char *folder, sl_access_log **log, sl_error *error);
void sl_access_log_close(sl_access_log **log);

/* On the disk when it returns. `what` is a word of ours ("entered", "looked", "changed", ...), `of` what it was done to,
 * at most 300 bytes of each are kept. Any thread. */
sl_status sl_access_log_add(sl_access_log *log, const char *who, const char *from, const char *what, const char *of,
                            sl_error *error);

/* The last lines, newest first, as JSON objects {at, who, from, what, of}. New reference. */
json_t *sl_access_log_last(sl_access_log *log, int most);

/* Goes through the whole log: `*lines` of them, `*broken` cut short; SL_FORMAT with a sentence naming the first line that
 * does not follow the one before it. Lines gone from the end are not found by this: keep a copy elsewhere. */
sl_status sl_access_log_check(sl_access_log *log, long *lines, long *broken, sl_error *error);

#endif
