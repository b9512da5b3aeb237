/* Data sets to files. C++: for the shim only. */
#ifndef SL_DICOM_WRITE_H
#define SL_DICOM_WRITE_H

#include "dicom/file.h"

#include <dcmtk/dcmdata/dctk.h>

/* Writes and frees `dataset` with a file header of our own. A neighbour is written, brought to the disk and renamed, so that
 * nobody sees half a file. */
sl_status sl_dicom_write(DcmDataset *dataset, const char *path, E_TransferSyntax syntax, sl_error *error);

#endif
