/* Bright points in solid lung, found in blocks of time and followed from one to the next. */
#ifndef SL_READING_BRONCHOGRAM_POINTS_H
#define SL_READING_BRONCHOGRAM_POINTS_H

#include "reading/blobs.h"
#include "reading/solid_region.h"

enum { SL_POINTS_MOST = 40, SL_POINT_TRACKS = 96 };

typedef struct sl_point {
    float row, beam; /* cells */
    float sure;      /* times the tissue's spread above its surroundings */
} sl_point;

/* A point over time. */
typedef struct sl_point_track {
    int id;                 /* tracks that never lasted give their place to others: which one it is */
    int first, last, seen;  /* blocks; how many of them show it */
    sl_point *at;           /* [blocks]; sure 0 where it is not seen */
    double sure;            /* mean */
} sl_point_track;

typedef struct sl_point_tracks {
    int tracks, ids;
    sl_point_track track[SL_POINT_TRACKS];
} sl_point_tracks;

/* The points of one block's picture (SL_CELLS, smoothed), brightest first, at most SL_POINTS_MOST. `room`: 2 * SL_CELLS. */
int sl_points_find(const float *grey, const sl_solid_region *region, float *room, sl_point *point);
/* Echo-free places of one block's picture, as points in their middles whose `sure` is their area in mm2 (cells without a scale), and their
 * boxes (SL_POINTS_MOST). `on`: SL_CELLS, `label`: SL_CELLS. */
int sl_tubes_find(const float *grey, const sl_solid_region *region, float *room, uint8_t *on, int *label, sl_point *point, sl_blob *box);
/* Joins the points of block `block` to the tracks. `at` of new tracks comes from the arena; false when memory is out. */
bool sl_points_join(const sl_point *point, int points, int block, int blocks, const sl_solid_region *region, sl_arena *arena,
                    sl_point_tracks *tracks);

#endif
