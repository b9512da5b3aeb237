/* RLE compression of DICOM (PS3.5 Annex G). */
#ifndef SL_DICOM_RLE_H
#define SL_DICOM_RLE_H

#ifdef __cplusplus
extern "C" {
#endif

#include "dicom/file.h"

/* Bytes that a frame may need at most. */
size_t sl_rle_room(const sl_dicom_facts *facts);

/* One frame of samples in this machine's byte order, by pixel or by plane as the facts say; returns the bytes written to
 * `out`, an even number. */
size_t sl_rle_frame(const sl_dicom_facts *facts, const uint8_t *samples, uint8_t *out);

#ifdef __cplusplus
}
#endif

#endif
