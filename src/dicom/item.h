/* Data sets as the web services need them (PS3.18): made, looked into, written as DICOM JSON (PS3.18 F) and as XML (PS3.19 A.1) by
 * the toolkit. Tags are 0xGGGGEEEE. A data set belongs to one thread at a time. */
#ifndef SL_DICOM_ITEM_H
#define SL_DICOM_ITEM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "core/error.h"

typedef struct sl_dicom_item sl_dicom_item;

/* NULL when memory is out. */
sl_dicom_item *sl_dicom_item_new(void);
void sl_dicom_item_free(sl_dicom_item **item);

/* A file's data set in UTF-8, up to its pixels, or `whole`, with what is large left in the file. */
sl_status sl_dicom_item_load(const char *path, bool whole, sl_dicom_item **item, sl_error *error);

/* A keyword ("PatientName") or eight hexadecimal digits. */
bool sl_dicom_tag_of(const char *name, uint32_t *tag);
bool sl_dicom_tag_is_uid(uint32_t tag); /* of that representation: lists of them may be asked for */
bool sl_dicom_tag_is_text(uint32_t tag); /* one in which '*' and '?' are wildcards (PS3.4 C.2.2.2.4) */
bool sl_dicom_tag_is_sequence(uint32_t tag);

/* Puts a value (UTF-8; several with '\'; "" makes an empty element). False when the tag or the value will not do. */
bool sl_dicom_item_put(sl_dicom_item *item, uint32_t tag, const char *value);
/* The same in item `at` (0 ..) of a sequence, which is made when it is not there. */
bool sl_dicom_item_put_in(sl_dicom_item *item, uint32_t sequence, int at, uint32_t tag, const char *value);
/* Copies an element, when it is there; nothing else happens when it is not. */
void sl_dicom_item_copy(sl_dicom_item *to, const sl_dicom_item *from, uint32_t tag);
/* Copies what `to` does not have yet. */
void sl_dicom_item_copy_rest(sl_dicom_item *to, const sl_dicom_item *from);

/* The value as text, "" when it is not there; `sequence` 0: of the data set itself, else of that sequence's item `at`. False when
 * there is no such item. */
bool sl_dicom_item_text(const sl_dicom_item *item, uint32_t sequence, int at, uint32_t tag, char *text, size_t room);

/* One object of JSON, malloc()ed. Values of more than 1 KiB in binary, and pixels, become a BulkDataURI below `bulk` (its
 * address, ending with '/'); with `bulk` NULL they are left out. What cannot be said in JSON is left out. NULL when memory is out. */
char *sl_dicom_item_json(sl_dicom_item *item, const char *bulk, size_t *length);
char *sl_dicom_item_xml(sl_dicom_item *item, size_t *length);

/* Where a value named so by sl_dicom_item_json lies: "7FE00010", "00880200.1.7FE00010". Copies it to the file `to` as it would
 * stand in explicit little endian. SL_USAGE: it is not there; SL_UNSUPPORTED: pixels in coded form, which are asked for frame by
 * frame. */
sl_status sl_dicom_item_bulk(sl_dicom_item *item, const char *where, FILE *to, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
