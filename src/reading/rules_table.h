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

/* terms: coherence, repetition, ln_decay; area by person 0.84 (0.73 to 0.93), in-sample 0.86;
 * of 80% answered 85% right */
static const sl_answer_rule a_line_rule = {-3.6036, {6.2528, 6.7341, -0.7837, 0}, 0.376, 0.624};

/* terms: ln_flicker; area by person 0.84 (0.75 to 0.91), in-sample 0.86;
 * of 80% answered 84% right */
static const sl_answer_rule b_line_rule = {5.3981, {1.9962, 0, 0, 0}, 0.389, 0.611};

/* terms: ln_flicker, coherence, ln_decay; area by person 0.72 (0.59 to 0.85), in-sample 0.79;
 * of 80% answered 87% right */
static const sl_answer_rule white_lung_rule = {1.9242, {0.3524, -4.3293, 0.8781, 0}, 0.292, 0.708};

/* terms: ln_flicker, coherence, ln_decay; quadratic kappa by person 0.45 (0.28 to 0.59);
 * `spread` holds the label in 80 % of the clips */
static const sl_score_line score_line = {3.1006, {0.4306, -1.9975, 0.0943}, {0.8989, 1.4063, 1.8042}, 0.48, 0.34};

#endif
