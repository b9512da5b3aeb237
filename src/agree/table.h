/* A CSV table read piece by piece, so that its length does not matter. */
#ifndef SL_AGREE_TABLE_H
#define SL_AGREE_TABLE_H

#include "core/error.h"
#include "core/text.h"

/* Called once for each row below the titles, in order. `table` holds the titles in row 0 and lives for the call only;
 * `number` is the row's number in the file, the titles being row 1 (empty lines do not count). */
typedef sl_status (*sl_table_row)(void *context, const sl_csv *table, int row, int number, sl_error *error);

/* `titles` is called before the first row (may be NULL). Stops at the first status that is not SL_OK. */
typedef sl_status (*sl_table_titles)(void *context, const sl_csv *table, sl_error *error);

sl_status sl_table_read(const char *path, sl_table_titles titles, sl_table_row row, void *context, sl_error *error);

#endif
