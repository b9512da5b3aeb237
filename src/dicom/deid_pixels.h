/* Boxes of a DICOM picture made black, frame by frame. C++: for the shim only. */
#ifndef SL_DICOM_DEID_PIXELS_H
#define SL_DICOM_DEID_PIXELS_H

#include "dicom/deid.h"

#include <dcmtk/dcmdata/dctk.h>

/* Replaces the pixel data of `dataset`, which was loaded from `path`, and strips coded pictures of comments. `*syntax`: how the
 * data set must be written now. */
sl_status sl_deid_pixels(DcmDataset *dataset, const char *path, const sl_boxes *boxes, E_TransferSyntax *syntax,
                         sl_deid_notes *notes, sl_error *error);

#endif
