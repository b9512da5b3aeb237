/* From DICOM samples (PS3.3 C.7.6.3.1) to full-range grey and chroma.
 *
 * Grey samples go through the Modality LUT and the first VOI window where the file has one (PS3.3 C.11.1, C.11.2.1.2.1,
 * linear), else all stored bits span 0..255; MONOCHROME1 is inverted. Palettes and RGB are weighted by BT.601; YBR_FULL
 * is taken as it is, YBR_PARTIAL is stretched. */
#ifndef SL_DICOM_PIXELS_H
#define SL_DICOM_PIXELS_H

#include "dicom/file.h"

typedef struct sl_dicom_pixels sl_dicom_pixels;

/* NULL when memory is out. `facts` must outlive it. */
sl_dicom_pixels *sl_dicom_pixels_new(const sl_dicom_facts *facts);
void sl_dicom_pixels_free(sl_dicom_pixels *pixels);

/* Fills the picture of `frame` from one frame of samples in this machine's byte order. `photometric` says how they are
 * to be read now. The picture lies in `samples`, which may be changed, or in `pixels`; valid until the next call. SL_UNSUPPORTED for an
 * unknown photometric interpretation, then without a sentence. */
sl_status sl_dicom_pixels_picture(sl_dicom_pixels *pixels, uint8_t *samples, const char *photometric, sl_frame *frame);

#endif
