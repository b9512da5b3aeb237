/* Copies of DICOM files that name nobody: PS3.15 Annex E basic profile with the options clean pixel data, clean
 * descriptors, retain longitudinal modified dates, retain device identity. */
#ifndef SL_DICOM_DEID_H
#define SL_DICOM_DEID_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/deidentify.h" /* C: it does not know of C++ */

/* Is it a DICOM file by its content? */
bool sl_dicom_is_file(const char *path);

/* Writes the copy to `out`. Pictures are left as they are coded where no text was found; JPEG loses only the blocks under the
 * boxes, uncompressed pictures only the boxes; video streams become JPEG, others RLE, losslessly. Nothing is left at `out`
 * unless the result could be verified: it is searched again, or, without boxes, its pictures are those that were searched, byte
 * for byte. SL_UNSUPPORTED for reports, plans and whatever else has no pictures that can be looked at. */
sl_status sl_dicom_deidentify(const char *in, const char *out, const sl_deid_plan *plan, const sl_deid_found *found,
                              sl_deid_notes *notes, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
