/* The pages of the report, drawn on any surface of the examination's paper across. */
#ifndef SL_REPORT_PAGES_H
#define SL_REPORT_PAGES_H

#include "exam/exam.h"
#include "report/clip_row.h"
#include "report/record.h"

/* A sheet lying across, in points. */
typedef struct sl_paper {
    double width, height;
} sl_paper;

static const double sl_page_margin = 36;

const sl_paper *sl_paper_for(const sl_exam *exam); /* A4 or US Letter */

/* What the first page shows of each zone: the record of the clip that stands for it. */
typedef struct sl_zone_picture {
    sl_record record;
    sl_shown shown;
    bool there;
} sl_zone_picture;

/* Footer (caution, limits, method, page n of m) and the mark of invented data. */
void sl_draw_page_frame(sl_pen *pen, const sl_exam *exam, int page, int pages);

/* Title, strip, numbers with threads, what to scan again, table of zones, conclusion and signature or room for them. */
void sl_draw_exam_page(sl_pen *pen, const sl_exam *exam, const sl_zone_picture *zones);

/* Question, conclusion, addenda and signatures in full, from conclusion `first` on; returns the first that found no room. */
int sl_draw_conclusion_page(sl_pen *pen, const sl_exam *exam, int first);

/* What the program and the clinician say, row by row, those that differ first, from row `first` on; returns the first that
 * found no room. */
int sl_draw_reads_page(sl_pen *pen, const sl_exam *exam, int first);
int sl_reads_rows(const sl_exam *exam);

/* Scores by published schemes, patterns, what they are described with (exam->synthesis is there). One page. */
int sl_draw_sum_page(sl_pen *pen, const sl_exam *exam, int first);

/* The change since an earlier examination (exam->change is there). One page. */
int sl_draw_change_page(sl_pen *pen, const sl_exam *exam, int first);

/* Complaints about how clips were acquired, from row `first` on; returns the first that found no room. */
int sl_draw_audit_page(sl_pen *pen, const sl_exam *exam, int first);
int sl_audit_rows(const sl_exam *exam);

/* Methods, definitions with their sources, limits, remarks. Returns the first remark that found no room. */
int sl_draw_notes_page(sl_pen *pen, const sl_exam *exam, int first_remark);

/* Rows of clips fit a page. */
enum { SL_ROWS_A_PAGE = 3 };
void sl_row_of_page(const sl_exam *exam, int row, sl_row *where);

#endif
