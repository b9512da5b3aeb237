/* From a few physical numbers to an index 0..1 and a three-way answer: a logistic of tens of coefficients at most, the
 * thresholds chosen on development clips so that what is answered is mostly right and the rest is "uncertain". */
#ifndef SL_READING_ANSWER_H
#define SL_READING_ANSWER_H

#include "reading/reading.h"

enum { SL_RULE_TERMS = 4 };

typedef struct sl_answer_rule {
    double intercept, weight[SL_RULE_TERMS]; /* unused terms have weight 0 */
    double absent_below, present_above;      /* of the index */
} sl_answer_rule;

/* Index 0..1 of `term` (SL_RULE_TERMS values; those of weight 0 are not looked at). */
double sl_rule_index(const sl_answer_rule *rule, const double *term);

/* Writes index, answer and confidence: the probability of the side the index lies on. `doubt` is a clause that makes
 * the answer uncertain whatever the index ("the probe moved: hold it still"), or "". */
void sl_rule_answer(const sl_answer_rule *rule, double index, const char *doubt, sl_finding *finding);

#endif
