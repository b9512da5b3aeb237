/* The attributes of a data set made to name nobody. C++: for the shim only. */
#ifndef SL_DICOM_DEID_ATTRIBUTES_H
#define SL_DICOM_DEID_ATTRIBUTES_H

#include "dicom/deid.h"

#include <dcmtk/dcmdata/dctk.h>

/* By PS3.15 E.1 with the options clean descriptors, retain longitudinal modified dates, retain device identity. Pixel data
 * are left to others. What it says in the notes holds no value. */
void sl_deid_attributes(DcmDataset *dataset, const sl_secret *secret, sl_deid_notes *notes);

#endif
