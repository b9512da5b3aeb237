/* White lung and the four-level score: what the numbers of the other detectors say together.
 *
 * White lung (B-lines merged over the whole space, clinical sheet section 1): it stays bright into the depth, flickers
 * as one, and holds no repeats of the pleural line.
 *
 * The score is the four-level one of Soldati et al., J Ultrasound Med 2020;39:1413 (doi 10.1002/jum.15285), which the
 * development labels follow (clinical sheet 3.3; not the regional score of its 3.1): 0 A-lines and an even pleura, 3
 * white lung or large consolidation. It is a straight line in the same numbers, cut at three places: an estimate open
 * to correction, given with the range it leaves open. Where no white lung is seen it is at most 2. */
#ifndef SL_READING_WHITE_LUNG_H
#define SL_READING_WHITE_LUNG_H

#include "reading/reading.h"
#include "reading/signs.h"

void sl_white_lung_state(const sl_signs *signs, const char *doubt, sl_reading *reading);
void sl_score_state(const sl_signs *signs, const char *doubt, sl_reading *reading);
#endif
