/* Made by scripts/fit_pleura.py; do not edit.
 *
 * Weights of the signs of the pleural line: a conditional logit with a ridge (which of a beam's rows is the line),
 * fitted to 164 points marked by eye in clips of 20 people (one device; COVID-BLUES,
 * doi 10.1109/JBHI.2025.3543686) and 5 sources of other devices (doi 10.3390/app11020672), and in damaged
 * copies of them. How well it does on people not fitted on: docs/accuracy-pleura.md. */
#ifndef SL_READING_PLEURA_WEIGHTS_H
#define SL_READING_PLEURA_WEIGHTS_H

#include "reading/pleura_cells.h"

static const float pleura_weight[PLEURA_SIGNS] = {
    [PLEURA_LEVEL] = 0.3972f,
    [PLEURA_LAYERS] = -0.1359f,
    [PLEURA_TEXTURE] = -2.9415f,
    [PLEURA_CHANGE] = -2.7294f,
    [PLEURA_SHARE] = 7.1441f,
    [PLEURA_RIVAL_UP] = -0.5040f,
    [PLEURA_RIVAL_DOWN] = -1.1051f,
    [PLEURA_COLUMNS] = 3.1861f,
    [PLEURA_COLUMNS_UP] = -2.1393f,
    [PLEURA_DEPTH] = 0.7230f,
    [PLEURA_DEPTH_SQUARED] = -8.7680f,
    [PLEURA_ONSET] = 9.9858f,
};

#endif
