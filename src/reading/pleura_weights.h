/* Weights of the signs of the pleural line: a regularised conditional logit (which of a beam's rows is the
 * line), fitted to the points marked by eye of ../shared/clips/pleura_by_eye.json (high and medium
 * confidence). */
#ifndef SL_READING_PLEURA_WEIGHTS_H
#define SL_READING_PLEURA_WEIGHTS_H

#include "reading/pleura_cells.h"

static const float pleura_weight[PLEURA_SIGNS] = {
    [PLEURA_LEVEL] = -0.0831f,      [PLEURA_LAYERS] = -0.1051f,        [PLEURA_TEXTURE] = -2.2283f,
    [PLEURA_CHANGE] = -2.5600f,     [PLEURA_SHARE] = 7.4488f,          [PLEURA_RIVAL_UP] = -0.3950f,
    [PLEURA_RIVAL_DOWN] = -1.2888f, [PLEURA_COLUMNS] = 3.9054f,        [PLEURA_COLUMNS_UP] = -1.6794f,
    [PLEURA_DEPTH] = 1.9795f,       [PLEURA_DEPTH_SQUARED] = -8.3358f, [PLEURA_ONSET] = 8.1490f,
};

#endif
