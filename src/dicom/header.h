/* Facts of a DICOM header. C++: for the shim only. */
#ifndef SL_DICOM_HEADER_H
#define SL_DICOM_HEADER_H

#include "dicom/file.h"

#include <dcmtk/dcmdata/dctk.h>
#include <vector>

/* What the facts point to. */
struct sl_dicom_store {
    std::vector<uint16_t> palette[3];
    std::vector<double> increment_s;
};

sl_status sl_dicom_read_header(DcmFileFormat &format, const char *name, sl_dicom_facts *facts, sl_dicom_store *store,
                               sl_error *error);

#endif
