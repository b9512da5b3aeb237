/* Failure rates of the learning charts, one table. No source prescribes them; each row says what it leans on. They are
 * settings of a teaching aid, "not for high-stakes decisions" (LC-CUSUM against a cumulative standard: sensitivity
 * 85 %, specificity 67 % in 1,713 procedures of 32 trainees, as cited in the evidence for this program).
 * Limits are computed from these, never copied: within `attempts`, at most `false_discovery` of readers who truly fail
 * at the inadequate rate pass. 100 attempts rather than 50, since a session of ten clips a week makes a year of 500 and
 * the false discovery of a limit for 50 has doubled at 96. */
#include "agree/learning.h"

static const sl_learning_rule plain = {
    0.30, 0.10, 100, 0.05,
    "setting; novices after 3 x 30 min read 22 of 25 B-line clips right (BMC Med Educ 2024, doi "
    "10.1186/s12909-024-05148-0), so one failure in ten is within reach"};

static const sl_learning_rule hard = {
    0.40, 0.20, 100, 0.05,
    "setting; the hardest of the basic signs for novices, 8.5 of 25 sliding clips right (BMC Med Educ 2024, doi "
    "10.1186/s12909-024-05148-0)"};

static const sl_learning_rule graded = {
    0.40, 0.20, 100, 0.05,
    "setting; 80 % of regions right after 25 supervised examinations (Arbelot et al., Anesthesiology 2020;132:899, doi "
    "10.1097/ALN.0000000000003096)"};

static const sl_learning_rule measured = {0.40, 0.20, 100, 0.05, "setting; judgement, no source"};

const sl_learning_rule *sl_learning_rule_of(sl_code code)
{
    switch (code) {
    case SL_SLIDING:
    case SL_LUNG_PULSE:
    case SL_LUNG_POINT:
    case SL_CURTAIN:
    case SL_PLEURA_IRREGULAR:
        return &hard;
    default:
        break;
    }
    switch (sl_finding_info_of(code)->kind) {
    case SL_KIND_ANSWER:
        return &plain;
    case SL_KIND_ORDERED:
        return &graded;
    default:
        return &measured;
    }
}
