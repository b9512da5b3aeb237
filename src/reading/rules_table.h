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

/* terms: coherence, ln_decay; area by person 0.86 (0.78 to 0.93), in-sample 0.87;
 * of 80% answered 85% right */
static const sl_answer_rule a_line_rule = {-5.3832, {10.6390, -0.6335, 0, 0}, 0.370, 0.630};

/* terms: ln_flicker; area by person 0.89 (0.81 to 0.94), in-sample 0.89;
 * of 80% answered 86% right */
static const sl_answer_rule b_line_rule = {4.7070, {2.1940, 0, 0, 0}, 0.364, 0.636};

/* terms: ln_flicker, coherence, ln_decay; area by person 0.76 (0.64 to 0.88), in-sample 0.81;
 * of 80% answered 88% right */
static const sl_answer_rule white_lung_rule = {2.3859, {0.5426, -2.7051, 1.3214, 0}, 0.293, 0.707};

/* terms: ln_flicker, coherence, ln_decay; quadratic kappa by person 0.46 (0.27 to 0.61);
 * `spread` holds the label in 80 % of the clips */
static const sl_score_line score_line = {3.2147, {0.4214, -1.8520, 0.2156}, {0.8942, 1.4514, 1.8355}, 0.45, 0.35};

#endif
