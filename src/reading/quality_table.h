/* How the audit's numbers are measured. "ours": a choice of this program, flat against halving and doubling on simulated
 * chests (docs/audit.md). */
#ifndef SL_READING_QUALITY_TABLE_H
#define SL_READING_QUALITY_TABLE_H

enum {
    Q_FRAMES = 40,        /* frames a segment looked at for the grey levels, evenly spread (ours) */
    Q_GRAIN_FRAMES = 10,  /* of these, for the grain (ours) */
    Q_STEPS = 24,         /* runs of four frames for the noise (ours) */
    Q_FLOOR = 4,          /* grey levels at most: black; a lossy codec leaves a few levels in it (ours) */
    Q_CEILING = 3,        /* grey levels under the ceiling: white (ours) */
    Q_WINDOW_ROWS = 16,   /* a place whose grain is measured: 1/16 of the depth by 1/16 of the beams (ours) */
    Q_WINDOW_BEAMS = 8,
    Q_WINDOWS_LEAST = 12, /* fewer even places say nothing about the grain (ours) */
    Q_GREY_LEAST = 25,    /* mean grey of such a place: neither floor nor ceiling cut its spread (ours) */
    Q_GREY_BELOW_TOP = 45,
    Q_SPECKLE_ROWS = 24,  /* a place in which the grain's width is measured: several grains each way (ours) */
    Q_SPECKLE_BEAMS = 24,
    Q_SPECKLE_FRAMES = 8, /* frames a segment (ours) */
    Q_SPECKLE_PLACES = 2, /* such places a frame in a band at least (ours) */
    Q_SPECKLE_LEAST = 16, /* squared grey levels: less is rounding and coding, not speckle (ours) */
    Q_WALL_FRAMES = 72,   /* frames a segment over which the wall is followed (ours) */
    Q_WALL_FIRST_ROW = 10, /* 4 % of the depth: the transducer's own ringing ends above it (ours) */
    Q_WALL_ROWS = 28,     /* 11 %: where no pleural line bounds the wall (ours) */
    Q_WALL_STRIPS = 6,
    Q_RING_BEAMS = 3,     /* beams apart: wider than the speckle (ours) */
    Q_WALL_SHIFT = 36     /* beams looked at to each side (ours) */
};
#define Q_WALL_FROM 0.40    /* of the pleura's depth: where contact is judged (ours) */
#define Q_WALL_UNTIL 0.75
#define Q_RING_FROM 0.65    /* of the pleura's depth: below the ringing of a face without contact (ours) */
#define Q_RING_UNTIL 0.90
#define Q_RING_ALIKE 0.93   /* correlation of depth profiles: ringing 0.96 to 1, a layered wall with speckle 0.7 to 0.92 (simulated) */
#define Q_DARK_SHARE 0.25   /* of the usual grey of the wall: a beam without contact (as in pleura_table.h) */
#define Q_TOP_SHARE 0.0005  /* of the cells reach the ceiling (ours) */
#define Q_CUT_SHARE 0.20    /* of a place's cells at the floor at most: the 25th percentile then stands (ours) */
#define Q_SPECKLE_CUT 0.10  /* of a place's cells at floor or ceiling at most: the logarithm's lower tail is wanted whole (ours) */
#define Q_SPECKLE_NARROWEST 0.9 /* rows or beams: narrower grain is not told from none (ours) */
#define Q_SPECKLE_WIDEST 9.0    /* wider is no speckle (ours) */
#define Q_STRONG 0.80
#define Q_EVEN_SHARE 0.30   /* of the places, those with the least spread, count as even (ours) */

#endif
