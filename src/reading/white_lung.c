#include "reading/white_lung.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/rules_table.h"

void sl_white_lung_state(const sl_signs *signs, const char *doubt, sl_reading *reading)
{
    const double term[SL_RULE_TERMS] = {sl_ln_flicker(signs->flicker), signs->coherence, sl_ln_decay(signs->decay), 0};
    sl_finding *white = sl_reading_put(reading, SL_WHITE_LUNG);
    bool measured = sl_known(signs->flicker) && sl_known(signs->decay);
    sl_rule_answer(&white_lung_rule, measured ? sl_rule_index(&white_lung_rule, term) : SL_UNKNOWN, doubt, white);
}

void sl_score_state(const sl_signs *signs, const char *doubt, sl_reading *reading)
{
    sl_finding *score = sl_reading_put(reading, SL_SCORE);
    if (doubt[0] || !sl_known(signs->flicker) || !sl_known(signs->decay)) {
        score->reason = doubt[0] ? doubt : "nothing could be measured";
        return;
    }
    double level = score_line.intercept + score_line.weight[0] * sl_ln_flicker(signs->flicker) +
                   score_line.weight[1] * signs->coherence + score_line.weight[2] * sl_ln_decay(signs->decay);
    int value = 0, low = 0, high = 0;
    for (int cut = 0; cut < 3; cut++) {
        value += level > score_line.cut[cut];
        low += level - score_line.spread > score_line.cut[cut];
        high += level + score_line.spread > score_line.cut[cut];
    }
    /* 3 is defined by white lung: what shows none is at most 2 (the interval keeps what the line says). */
    const sl_finding *white = sl_reading_get(reading, SL_WHITE_LUNG);
    if (value == 3 && white && white->known && white->answer == SL_ABSENT)
        value = 2;
    score->known = true;
    score->value = value;
    score->low = low;
    score->high = high;
    score->confidence = score_line.right;
    score->reason = "an estimate from lines and decay; breaks of the pleura and consolidations are for the reader to add";
}
