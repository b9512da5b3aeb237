/* The few learned numbers: logistic weights and the thresholds of the three-way answers. */
#ifndef SL_READING_RULES_TABLE_H
#define SL_READING_RULES_TABLE_H

#include "reading/answer.h"

/* terms: coherence, ln(repetition + 0.01) */
static const sl_answer_rule a_line_rule = {-0.2, {3.2, 0.8, 0, 0}, 0.45, 0.70};
/* terms: ln(flicker index + 0.02) */
static const sl_answer_rule b_line_rule = {2.8, {1.2, 0, 0, 0}, 0.40, 0.65};

#endif
