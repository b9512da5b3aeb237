/* Weights of the signs of the pleural line: a regularised conditional logit (which of a beam's rows is the
 * line), fitted to the points marked by eye of ../shared/clips/pleura_by_eye.json (high and medium
 * confidence). */
#ifndef SL_READING_PLEURA_WEIGHTS_H
#define SL_READING_PLEURA_WEIGHTS_H

#include "reading/pleura_cells.h"

static const float pleura_weight[PLEURA_SIGNS] = {
    [PLEURA_LEVEL] = 0.3096f,       [PLEURA_LAYERS] = -0.0935f,        [PLEURA_TEXTURE] = -2.6327f,
    [PLEURA_CHANGE] = -2.7710f,     [PLEURA_SHARE] = 7.7641f,          [PLEURA_RIVAL_UP] = -0.4631f,
    [PLEURA_RIVAL_DOWN] = -1.1462f, [PLEURA_COLUMNS] = 3.7177f,        [PLEURA_COLUMNS_UP] = -1.7534f,
    [PLEURA_DEPTH] = 0.8459f,       [PLEURA_DEPTH_SQUARED] = -8.8538f, [PLEURA_ONSET] = 8.9423f,
};

#endif
