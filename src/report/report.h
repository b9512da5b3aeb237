/* Drawing and exporting. Nothing here reads pixels to find anything: it shows what readings say.
 *
 * An examination is written from the records of its clips (record.h) in the output folder `out`; only one record is in
 * memory at a time, so that an examination may have thousands of clips. Every file appears whole or not at all. */
#ifndef SL_REPORT_REPORT_H
#define SL_REPORT_REPORT_H

#include "core/error.h"
#include "core/text.h"
#include "exam/exam.h"
#include "report/language.h"

sl_status sl_report_json(const sl_exam *exam, const char *out, const char *path, sl_error *error); /* exam.json */
sl_status sl_report_csv(const sl_exam *exam, const char *path, sl_error *error);                   /* readings.csv */
sl_status sl_report_audit_csv(const sl_exam *exam, const char *path, sl_error *error);             /* audit.csv */
sl_status sl_report_pdf(const sl_exam *exam, const char *out, const char *path, sl_error *error);  /* report.pdf */

sl_status sl_report_text(const sl_exam *exam, const char *path, sl_error *error);                  /* report.txt */
sl_status sl_report_fhir(const sl_exam *exam, const char *out, const char *path, sl_error *error); /* fhir.json */
/* What report.txt holds, appended to `text`. */
void sl_report_paragraph(const sl_exam *exam, sl_text *text);

/* The examination back from exam.json in `out`, scored; its records must lie there when files are made of it again. */
sl_status sl_report_load(const char *out, sl_arena *arena, sl_exam *exam, sl_error *error);

/* Page `page` (1 ..) of the same as a PNG, `dots_a_point` pixels a point; `*pages` says how many there are. */
sl_status sl_report_page(const sl_exam *exam, const char *out, int page, double dots_a_point, const char *path, int *pages,
                         sl_error *error);

/* The evidence picture of one clip (PNG), from its result with the kept frames still there. May be called from several
 * threads for different clips. */
sl_status sl_report_picture(const sl_exam_clip *clip, bool invented, const sl_language *say, const char *path, sl_error *error);

/* The clip with its evidence drawn in (decodes again), frame by frame: `open` once with the size and the rate (of still times
 * where the file's are not known), then `frame` with red, green, blue by pixel, width * 3 bytes a row. */
typedef struct sl_annotated_sink {
    sl_status (*open)(void *context, int width, int height, double rate_hz, sl_error *error);
    sl_status (*frame)(void *context, const uint8_t *rgb, sl_error *error);
    void *context;
} sl_annotated_sink;
sl_status sl_report_annotated(const sl_exam_clip *clip, bool invented, const sl_language *say, const sl_annotated_sink *sink,
                              sl_error *error);

/* The same as a video. */
sl_status sl_report_annotated_clip(const sl_exam_clip *clip, bool invented, const sl_language *say, const char *path,
                                   sl_error *error);

#endif
