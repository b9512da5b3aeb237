/* From a view to how DICOM says the same. */
#ifndef SL_OBJECTS_REGION_H
#define SL_OBJECTS_REGION_H

#include "view/view.h"

/* The picture as one region of tissue with its scale, the reference pixel in the middle of the face (PS3.3 C.8.5.5.1). Returns 1,
 * or 0 when the scale is not known. */
int sl_dicom_region_of(const sl_view *view, sl_clip_region *region);

/* Defined terms of Transducer Type (PS3.3 C.8.5.6.1.15), or "". */
const char *sl_dicom_transducer_of(const sl_view *view);

#endif
