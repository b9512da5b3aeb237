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

/* terms: coherence, repetition, ln_decay; area by person 0.83 (0.73 to 0.92), in-sample 0.85;
 * of 80% answered 84% right */
static const sl_answer_rule a_line_rule = {-3.6275, {6.5868, 4.3025, -0.7561, 0}, 0.398, 0.602};

/* terms: ln_flicker; area by person 0.85 (0.76 to 0.92), in-sample 0.87;
 * of 80% answered 84% right */
static const sl_answer_rule b_line_rule = {5.0180, {1.8978, 0, 0, 0}, 0.378, 0.622};

/* terms: ln_flicker, coherence, ln_decay; area by person 0.75 (0.62 to 0.87), in-sample 0.81;
 * of 80% answered 88% right */
static const sl_answer_rule white_lung_rule = {2.2040, {0.4663, -3.4492, 1.1245, 0}, 0.286, 0.714};

/* terms: ln_flicker, coherence, ln_decay; quadratic kappa by person 0.47 (0.30 to 0.60);
 * `spread` holds the label in 80 % of the clips */
static const sl_score_line score_line = {3.1247, {0.4086, -1.8392, 0.1607}, {0.9086, 1.4059, 1.8807}, 0.51, 0.37};

#endif
