#include "dicom/deid_table.h"

#include <stdlib.h>
#include <string.h>

static const sl_deid_row rows[] = {
#define ROW(tag, mask, action, device, dates, descriptors, name) \
    {tag, mask, SL_DEID_##action, device, dates, descriptors, name},
#include "dicom/deid_rows.inc"
#undef ROW
};

static const char *const words[] = {
#include "dicom/deid_words.inc"
};

enum { ROWS = sizeof rows / sizeof *rows, WORDS = sizeof words / sizeof *words };

static int by_tag(const void *key, const void *row)
{
    uint32_t tag = *(const uint32_t *)key, own = ((const sl_deid_row *)row)->tag;
    return (tag > own) - (tag < own);
}

const sl_deid_row *sl_deid_row_of(uint32_t tag)
{
    const sl_deid_row *row = bsearch(&tag, rows, ROWS, sizeof *rows, by_tag); /* made sorted */
    for (int i = 0; !row && i < ROWS; i++)
        if (rows[i].mask != 0xffffffff && (tag & rows[i].mask) == rows[i].tag)
            row = &rows[i];
    return row;
}

bool sl_deid_word(const char *word)
{
    for (int i = 0; i < WORDS; i++)
        if (!strcmp(words[i], word))
            return true;
    return false;
}
