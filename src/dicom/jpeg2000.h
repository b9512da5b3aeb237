/* One JPEG 2000 picture to samples as a DICOM file would hold them uncompressed, by pixel. */
#ifndef SL_DICOM_JPEG2000_H
#define SL_DICOM_JPEG2000_H

#include "dicom/file.h"

/* Fills `samples` (sl_dicom_file_frame_size bytes; 8 or 16 bits a sample as the facts say). `*patched` is set when the data
 * break off or are damaged and a picture came out nevertheless. SL_FORMAT for damage or
 * another shape than the facts state, SL_UNSUPPORTED for components of different sizes; without a sentence. */
sl_status sl_jpeg2000_samples(const sl_dicom_facts *facts, const uint8_t *bytes, size_t length, uint8_t *samples,
                              bool *patched);

#endif
