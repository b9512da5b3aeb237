/* Drawing and exporting. Nothing here reads pixels to find anything: it shows what readings say. */
#ifndef SL_REPORT_REPORT_H
#define SL_REPORT_REPORT_H

#include "core/error.h"
#include "exam/exam.h"

/* Each writes one file. `folder` is the output folder (exists). */
sl_status sl_report_json(const sl_exam *exam, const char *path, sl_error *error);          /* exam.json */
sl_status sl_report_csv(const sl_exam *exam, const char *path, sl_error *error);           /* readings.csv */
sl_status sl_report_pdf(const sl_exam *exam, const char *path, sl_error *error);           /* report.pdf */
/* The evidence picture of one clip (PNG). May be called from several threads for different clips. */
sl_status sl_report_picture(const sl_exam *exam, int clip, const char *path, sl_error *error);
/* The clip with its evidence drawn in (decodes again). */
sl_status sl_report_annotated_clip(const sl_exam *exam, int clip, const char *path, sl_error *error);

#endif
