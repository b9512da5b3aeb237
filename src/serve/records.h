/* Records at hand (report/record.h), so that what is asked again and again while a hand drags a line, a border or a point does not load and
 * parse the same file each time. A few clips, the least used goes; a record whose file is over SL_RECORDS_BYTES is not kept beyond its use, so
 * that memory is bounded by SL_AT_HAND such files and what is parsed from them. For all threads. */
#ifndef SL_SERVE_RECORDS_H
#define SL_SERVE_RECORDS_H

#include "report/record.h"
#include "serve/at_hand.h"

enum { SL_RECORDS_BYTES = 8 << 20 };

/* NULL when memory is out; freed by sl_at_hand_free. */
sl_at_hand *sl_records_new(void);

/* The record at `path`, loaded now if it is not at hand or its file changed; it and all it points to stay until it is given back (sl_records_give).
 * Errors as sl_record_load; then NULL, and nothing is to be given back. */
sl_status sl_records_take(sl_at_hand *all, const char *path, const sl_record **record, sl_error *error);
/* NULL is no record. */
void sl_records_give(sl_at_hand *all, const sl_record *record);

#endif
