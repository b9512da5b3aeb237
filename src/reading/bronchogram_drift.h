/* How solid lung itself moves in the picture: its speckle is matched between blocks of time in bands of depth, the bright points in it
 * left out, so that what the air in its bronchi does can be told from what the lung does. */
#ifndef SL_READING_BRONCHOGRAM_DRIFT_H
#define SL_READING_BRONCHOGRAM_DRIFT_H

#include "reading/bronchogram_points.h"
#include "reading/track.h"

enum { SL_DRIFT_BANDS = 3, SL_DRIFT_LAG = 3 };

typedef struct sl_drift {
    int bands, blocks;
    int first[SL_DRIFT_BANDS + 1];           /* rows where bands begin; the last ends there */
    double *row[SL_DRIFT_BANDS], *beam[SL_DRIFT_BANDS]; /* [blocks] cells from the first block */
    /* at work */
    const uint8_t *in;                       /* of the region */
    float *all[SL_DRIFT_LAG + 1];            /* the pictures with the points, ring */
    float *plane[SL_DRIFT_LAG + 1], *square[SL_DRIFT_LAG + 1], *use[SL_DRIFT_LAG + 1]; /* rings */
    sl_step *row_step[SL_DRIFT_BANDS], *beam_step[SL_DRIFT_BANDS];
    int steps[SL_DRIFT_BANDS];
    float last_row[SL_DRIFT_BANDS], last_beam[SL_DRIFT_BANDS];
} sl_drift;

/* All memory of the arena; false when it is out. */
bool sl_drift_begin(const sl_solid_region *region, int blocks, sl_arena *arena, sl_drift *drift);
/* The next block's picture (SL_CELLS grey, smoothed) and its points. `room`: 2 * SL_CELLS. */
void sl_drift_add(const float *grey, const sl_solid_region *region, const sl_point *point, int points, int block, float *room, sl_drift *drift);
bool sl_drift_end(sl_arena *arena, sl_drift *drift);
/* How far the patch about a point has moved since the block `lag` before (1 or SL_DRIFT_LAG), cells, looked for around `down` and `right`.
 * Call after sl_drift_add for the later block. Returns the correlation there, 0 where there is none. */
float sl_drift_patch(const sl_drift *drift, const sl_solid_region *region, const sl_point *point, int block, int lag, float *down, float *right);
/* The tissue's step from the block `lag` before at a row, cells; false where it could not be matched. After sl_drift_add. */
bool sl_drift_step(const sl_drift *drift, double row, int block, int lag, float *down, float *right);
/* The band of a row. */
int sl_drift_band(const sl_drift *drift, double row);

#endif
