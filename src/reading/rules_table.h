/* The few learned numbers: logistic weights and the thresholds of the three-way answers. */
#ifndef SL_READING_RULES_TABLE_H
#define SL_READING_RULES_TABLE_H

#include "reading/answer.h"

typedef struct sl_score_line {
    double intercept, weight[3], cut[3];
    double spread; /* of the level about the label */
    double right;  /* share of development clips whose label equals the value, cross-validated */
} sl_score_line;

/* terms: coherence, repetition, ln(decay + 0.02) */
static const sl_answer_rule a_line_rule = {-0.2, {3.2, 0.8, -0.5, 0}, 0.45, 0.70};
/* terms: ln(flicker + 0.02) */
static const sl_answer_rule b_line_rule = {2.8, {1.2, 0, 0, 0}, 0.40, 0.65};
/* terms: ln(flicker + 0.02), coherence, ln(decay + 0.02) */
static const sl_answer_rule white_lung_rule = {0, {0.3, -2.0, 0.5, 0}, 0.2, 0.5};
/* terms: ln(flicker + 0.02), coherence, ln(decay + 0.02) */
static const sl_score_line score_line = {2.5, {0.5, -1.0, 0.2}, {0.8, 1.4, 2.0}, 0.8, 0.4};

#endif
