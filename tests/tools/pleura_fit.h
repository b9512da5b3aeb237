/* For ctypes in scripts/fit_pleura.py. Pictures are [SL_DEPTHS][SL_BEAMS]; results are 1 on success, 0
 * otherwise. */
#ifndef PLEURA_FIT_H
#define PLEURA_FIT_H

#include <stdint.h>

int pleura_fit_signs(void);
/* Rows for which signs are given, both included. */
void pleura_fit_rows(int *first, int *last);
/* `picture`: mean grey to be scored, `change`: mean change from frame to frame or NULL, both carried on
 * outside the mask; `mean`: of the clip. `out`: [rows][SL_BEAMS][signs]. */
int pleura_fit_cells(const float *picture, const float *change, const float *mean, const uint8_t *mask,
                     float *out);
/* `frame_s` 0: not known. `line`, `in_middle` (row in frame `middle`), `kind`: SL_BEAMS; `found`:
 * probability, clearness, depth, probability that a pleura is in the picture, and the six signs that rests on. */
int pleura_fit_line(const uint8_t *cell, const uint8_t *mask, int frames, double frame_s, int linear,
                    int face_visible, int middle, const float *weight, float *line, float *in_middle,
                    uint8_t *kind, double *found);

#endif
