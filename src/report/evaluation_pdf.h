/* evaluation.pdf: a page a comparison with its numbers and the pictures people expect of them, and the remarks;
 * learning.pdf: a page a finding. */
#ifndef SL_REPORT_EVALUATION_PDF_H
#define SL_REPORT_EVALUATION_PDF_H

#include "agree/learning.h"
#include "agree/results.h"
#include "core/error.h"

sl_status sl_report_evaluation(const sl_evaluation *evaluation, const char *path, sl_error *error);
sl_status sl_report_learning(const sl_curve *curve, int curves, const char *path, sl_error *error);

#endif
