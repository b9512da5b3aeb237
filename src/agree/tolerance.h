/* How far two statements of a number may lie apart and still count as the same: for lists of disagreements and for a
 * learner's answers. Settings of this program; no source prescribes them.
 *   score      the same class
 *   counts     one (lines at the edge of the space are counted by one reader and not by the next)
 *   amounts    a fifth of the larger one (repeatability of such distances is seldom better) */
#ifndef SL_AGREE_TOLERANCE_H
#define SL_AGREE_TOLERANCE_H

#include "reading/reading.h"

#include <math.h>

static inline double sl_tolerance(const sl_finding_info *info, double a, double b)
{
    return info->kind == SL_KIND_COUNT ? 1 : info->kind == SL_KIND_AMOUNT ? 0.2 * fmax(fabs(a), fabs(b)) : 0;
}

#endif
