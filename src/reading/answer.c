#include "reading/answer.h"

#include "core/units.h"
#include "reading/signs.h"

#include <math.h>

double sl_ln_flicker(double flicker)
{
    return log((flicker < 0 ? 0 : flicker) + 0.02);
}

double sl_flicker_of_ln(double ln)
{
    return exp(ln) - 0.02;
}

double sl_ln_decay(double decay)
{
    return log((decay < 0 ? 0 : decay) + 0.02);
}

double sl_rule_index(const sl_answer_rule *rule, const double *term)
{
    double sum = rule->intercept;
    for (int i = 0; i < SL_RULE_TERMS; i++)
        if (rule->weight[i] != 0)
            sum += rule->weight[i] * term[i];
    return sl_known(sum) ? 1 / (1 + exp(-sum)) : SL_UNKNOWN;
}

void sl_rule_answer(const sl_answer_rule *rule, double index, const char *doubt, sl_finding *finding)
{
    finding->value = index;
    finding->answer = SL_UNCERTAIN;
    if (!sl_known(index)) {
        finding->known = false;
        finding->reason = doubt[0] ? doubt : "nothing could be measured";
        return;
    }
    finding->known = true;
    finding->confidence = index > 0.5 ? index : 1 - index;
    if (doubt[0])
        finding->reason = doubt;
    else if (index < rule->absent_below)
        finding->answer = SL_ABSENT;
    else if (index > rule->present_above)
        finding->answer = SL_PRESENT;
    else
        finding->reason = "the signs lie between yes and no";
}
