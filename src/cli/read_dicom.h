/* An examination's findings and report as DICOM objects. */
#ifndef SL_CLI_READ_DICOM_H
#define SL_CLI_READ_DICOM_H

#include "exam/exam.h"

/* Into OUT/dicom/: findings.dcm (Comprehensive SR by TID 1500), report.dcm (the PDF) and clips/ with an Ultrasound Multi-frame
 * Image for each clip that was no DICOM file, so that the findings have something to refer to. Names and study are those of the
 * DICOM clips where there are any. */
sl_status sl_read_dicom(const sl_exam *exam, const char *out, sl_error *error);

#endif
