/* Samples of a frame, however it is coded, and rectangles of them made black. */
#ifndef SL_DICOM_SAMPLES_H
#define SL_DICOM_SAMPLES_H

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/text_find.h"
#include "dicom/file.h"

/* As sl_dicom_file_samples, and for SL_DICOM_JPEG2000 too. */
sl_status sl_dicom_frame_samples(sl_dicom_file *file, int frame, uint8_t *samples, size_t size, char photometric[17],
                                 sl_error *error);

/* A rectangle as dark as the photometric interpretation allows. */
void sl_samples_blacken(const sl_dicom_facts *facts, const char *photometric, const sl_box *box, uint8_t *samples);

#ifdef __cplusplus
}
#endif

#endif
