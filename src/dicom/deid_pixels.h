/* Boxes of a DICOM picture made black, frame by frame. C++: for the shim only. */
#ifndef SL_DICOM_DEID_PIXELS_H
#define SL_DICOM_DEID_PIXELS_H

#include "dicom/deid.h"

#include <dcmtk/dcmdata/dctk.h>

/* Replaces the pixel data of `dataset`, which was loaded from `path`, and strips coded pictures of comments. `*syntax`: how the
 * data set must be written now. `threads`: of the masking of coded pictures. */
sl_status sl_deid_pixels(DcmDataset *dataset, const char *path, const sl_deid_found *found, int threads, E_TransferSyntax *syntax,
                         sl_deid_notes *notes, sl_error *error);

/* Are the pixels of two files, as they are coded, the same byte for byte, comments inside pictures aside, and described the same
 * way? Then a search of one vouches for the other. False where that cannot be said. */
bool sl_deid_same_pixels(const char *in, const char *out);

#endif
