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

/* terms: coherence, ln_decay; area by person 0.87 (0.78 to 0.93), in-sample 0.87;
 * of 80% answered 87% right */
static const sl_answer_rule a_line_rule = {-5.4414, {10.7525, -0.6539, 0, 0}, 0.375, 0.625};

/* terms: ln_flicker; area by person 0.88 (0.80 to 0.94), in-sample 0.88;
 * of 80% answered 87% right */
static const sl_answer_rule b_line_rule = {4.6746, {2.1830, 0, 0, 0}, 0.347, 0.653};

/* terms: ln_flicker, coherence, ln_decay; area by person 0.76 (0.63 to 0.87), in-sample 0.81;
 * of 80% answered 88% right */
static const sl_answer_rule white_lung_rule = {2.3991, {0.5571, -2.9255, 1.2557, 0}, 0.298, 0.702};

/* terms: ln_flicker, coherence, ln_decay; quadratic kappa by person 0.46 (0.29 to 0.61);
 * `spread` holds the label in 80 % of the clips */
static const sl_score_line score_line = {3.2184, {0.4259, -1.9129, 0.1972}, {0.8912, 1.4571, 1.8378}, 0.46, 0.34};

#endif
