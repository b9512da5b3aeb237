/* What all objects have in common. C++: for the shim only. */
#ifndef SL_DICOM_OBJECT_PARTS_H
#define SL_DICOM_OBJECT_PARTS_H

#include "dicom/objects.h"

#include <dcmtk/dcmdata/dctk.h>

/* Patient, General Study, General Series, General Equipment, SOP Common (PS3.3 C.7.1.1, C.7.2.1, C.7.3.1, C.7.5.1, C.12.1). */
void sl_dicom_common(DcmDataset *dataset, const sl_dicom_subject *subject, const char *class_uid, const char *uid,
                     const char *series_uid, const char *modality, const char *description, int series_number);

void sl_dicom_put_code(DcmItem *item, const char *value, const char *scheme, const char *meaning);

#endif
