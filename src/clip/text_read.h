/* Words in a picture, read by Tesseract. One reader is used by one thread at a time. */
#ifndef SL_CLIP_TEXT_READ_H
#define SL_CLIP_TEXT_READ_H

#include "clip/text_find.h"
#include "core/error.h"

#include <stddef.h>

typedef struct sl_reader sl_reader;

/* SL_UNSUPPORTED when the recogniser's data are not installed. `*reader` is the caller's. */
sl_status sl_reader_open(sl_reader **reader, sl_error *error);
void sl_reader_close(sl_reader **reader);

/* Adds a box for every word that could name somebody: two letters or three digits in a row at least, read with some
 * confidence. A number of one or two digits that stands alone (a depth mark) is no such word. `strokes` as
 * sl_text_strokes gives them. False when memory is out. */
bool sl_reader_words(sl_reader *reader, const uint8_t *strokes, int width, int height, sl_boxes *boxes);

/* Every word read with some confidence, in the recogniser's order, blanks between; "" when there are none, cut when there is no
 * room for more. False when memory is out. */
bool sl_reader_text(sl_reader *reader, const uint8_t *strokes, int width, int height, char *text, size_t room);

/* The same for a picture of one line that holds nothing but letters of `among` ("0123456789.cm/s"). */
bool sl_reader_line(sl_reader *reader, const uint8_t *strokes, int width, int height, const char *among, char *text, size_t room);

#endif
