/* Weights of the signs of the pleural line: a regularised conditional logit (which of a beam's rows is the
 * line), fitted to the points marked by eye of ../shared/clips/pleura_by_eye.json (high and medium
 * confidence). */
#ifndef SL_READING_PLEURA_WEIGHTS_H
#define SL_READING_PLEURA_WEIGHTS_H

#include "reading/pleura_cells.h"

static const float pleura_weight[PLEURA_SIGNS] = {
    [PLEURA_LEVEL] = 0.1939f,       [PLEURA_LAYERS] = -0.1674f,         [PLEURA_TEXTURE] = -2.5350f,
    [PLEURA_CHANGE] = -2.9107f,     [PLEURA_SHARE] = 6.6653f,           [PLEURA_RIVAL_UP] = -0.3752f,
    [PLEURA_RIVAL_DOWN] = -1.2627f, [PLEURA_COLUMNS] = 3.9790f,         [PLEURA_COLUMNS_UP] = -1.4632f,
    [PLEURA_DEPTH] = 0.0698f,       [PLEURA_DEPTH_SQUARED] = -10.4714f, [PLEURA_ONSET] = 9.1992f,
};

#endif
