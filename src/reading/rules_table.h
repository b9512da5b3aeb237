/* The few learned numbers: logistic weights, the thresholds of the three-way answers, the score's line and cuts.
 * Made by scripts/fit_lines.py on 114 labelled clips of 21 people, one device (COVID-BLUES, doi 10.1109/JBHI.2025.3543686).
 * Figures by leaving one person out at a time; intervals by bootstrap over people. */
#ifndef SL_READING_RULES_TABLE_H
#define SL_READING_RULES_TABLE_H

#include "reading/answer.h"

typedef struct sl_score_line {
    double intercept, weight[3], cut[3];
    double spread; /* of the level about the label */
    double right;  /* share of the clips whose label equals the value, by person */
} sl_score_line;

/* terms: coherence, ln_decay; area by person 0.86 (0.78 to 0.93), in-sample 0.88;
 * of 80% answered 88% right */
static const sl_answer_rule a_line_rule = {-5.3454, {11.0646, -0.5222, 0, 0}, 0.385, 0.615};

/* terms: ln_flicker; area by person 0.84 (0.76 to 0.92), in-sample 0.87;
 * of 80% answered 82% right */
static const sl_answer_rule b_line_rule = {4.9376, {1.8800, 0, 0, 0}, 0.371, 0.629};

/* terms: ln_flicker, coherence, ln_decay; area by person 0.71 (0.58 to 0.85), in-sample 0.80;
 * of 80% answered 87% right */
static const sl_answer_rule white_lung_rule = {2.1523, {0.4632, -2.7104, 1.1062, 0}, 0.275, 0.725};

/* terms: ln_flicker, coherence, ln_decay; quadratic kappa by person 0.42 (0.24 to 0.57);
 * `spread` holds the label in 80 % of the clips */
static const sl_score_line score_line = {3.3182, {0.3925, -1.9589, 0.1760}, {0.8887, 1.4294, 1.8359}, 0.49, 0.32};

#endif
