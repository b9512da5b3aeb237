/* DICOM PS3.15 Table E.1-1 as the program goes by it. */
#ifndef SL_DICOM_DEID_TABLE_H
#define SL_DICOM_DEID_TABLE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* X remove, Z empty, D dummy, U replace the UID; several letters: any of them, as the object needs. */
typedef enum sl_deid_action { SL_DEID_X, SL_DEID_Z, SL_DEID_D, SL_DEID_U, SL_DEID_ZD, SL_DEID_XZ, SL_DEID_XD, SL_DEID_XZD,
                              SL_DEID_XZU } sl_deid_action;

typedef struct sl_deid_row {
    uint32_t tag, mask; /* a tag is meant when its masked bits are these */
    sl_deid_action action;
    char device, dates, descriptors; /* 'K' keep, 'C' clean, '-' the option says nothing */
    const char *name;
} sl_deid_row;

/* The row of a tag (group << 16 | element), or NULL. */
const sl_deid_row *sl_deid_row_of(uint32_t tag);

/* Is this lower-case word one that a description may keep: a term of the trade, nobody's name? */
bool sl_deid_word(const char *word);

#ifdef __cplusplus
}
#endif

#endif
