/* An examination's findings and report as DICOM objects. */
#ifndef SL_OBJECTS_EXAM_H
#define SL_OBJECTS_EXAM_H

#include "exam/exam.h"

/* Into OUT/dicom/: findings.dcm (Comprehensive SR by TID 1500), report.dcm (the PDF) and clips/ with an Ultrasound Multi-frame
 * Image for each clip that was no DICOM file, so that the findings have something to refer to. `annotated`: also
 * annotated/, each clip with its findings drawn on its frames, in colour, referring to the clip. Names and study are those of the
 * DICOM clips where there are any; `caution` stands in the report. What has the same content gets the same identifiers. */
sl_status sl_exam_objects(const sl_exam *exam, const char *out, const char *caution, bool annotated, sl_error *error);

/* The file of a clip as a DICOM object: the clip itself, or what sl_exam_objects made of it; NULL for a clip that is not read. The
 * arena's. */
const char *sl_exam_object_of(const sl_exam_clip *clip, const char *out, sl_arena *arena);

#endif
