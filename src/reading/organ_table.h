/* The numbers behind organs, heart, spine and mirror image (organ.c, heart.c, spine.c), each with its origin. Rows are cells of
 * SL_DEPTHS, beams cells of SL_BEAMS. "simulated": chosen on simulated chests (other seeds than those of docs/organs.md).
 * "practice": common practice, no source. */
#ifndef SL_READING_ORGAN_TABLE_H
#define SL_READING_ORGAN_TABLE_H

/* ---- tissue of great extent (organ.c) ---- */
enum {
    ORGAN_WINDOW_BEAMS = 32,  /* a quarter of the picture: wider than what lies between two ribs' shadows at depth */
    ORGAN_WINDOW_ROWS = 48,   /* holds several grains of speckle both ways */
    ORGAN_STEP_BEAMS = 8,
    ORGAN_STEP_ROWS = 40,
    ORGAN_BELOW = 14,         /* rows below the pleural line: the line itself and its blur */
    ORGAN_DEEPEST = 250,
    ORGAN_STACK = 5,          /* windows one below the other */
    ORGAN_PAIRS = 6           /* pairs of frames looked at */
};
#define ORGAN_PAIR_S 0.08         /* apart: tissue keeps its speckle, noise does not */
#define ORGAN_SMOOTH_ROWS 2.0f    /* speckle's grains, not its finest noise */
#define ORGAN_SMOOTH_BEAMS 1.2f
#define ORGAN_FLOOR 0.03f         /* of grey ratios, in units of the near part's level: noise of a well set picture */
#define ORGAN_INSIDE 0.9          /* of a window's cells in the picture */
#define ORGAN_PATCHY_LEAST 0.04   /* lasting variance of ln grey that rows and columns leave over: artifacts below air leave less ... */
#define ORGAN_PATCHY_MOST 0.5     /* ... borders, vessels and fluid beside tissue more (simulated) */
#define ORGAN_GREY_LEAST 0.2      /* of the level: darker is fluid or nothing */
#define ORGAN_GREY_MOST 1.6
#define ORGAN_TISSUE_INTERCEPT (-2.2) /* logistic of the number of places with two windows of tissue below each other (simulated) */
#define ORGAN_TISSUE_PLACE 0.75
#define ORGAN_TISSUE_LIKELY 0.5   /* tissue this likely can be an organ when something moves like one */
#define ORGAN_STILL 0.45          /* weight of tissue alone: it stays uncertain, for lung without air looks the same */
#define ORGAN_MOVES_ALONE 0.65    /* of a dome or a travelling edge without tissue: likewise */
#define ORGAN_EDGE 0.5            /* one this likely is named in words */
#define ORGAN_PRESENT 0.7
#define ORGAN_DOUBT 0.6           /* of the index, with something that moves as an organ does: enough to doubt lung without air (simulated) */
#define ORGAN_ABSENT 0.3
#define ORGAN_ABSENT_TISSUE 0.4   /* more tissue than this is not called no organ */

/* ---- the heart (heart.c) ---- */
enum {
    HEART_ROWS = 16,          /* blocks of cells whose grey is followed: larger than speckle */
    HEART_BEAMS = 8,
    HEART_REGION = 4,         /* blocks a side of a region that must move in one rhythm */
    HEART_LAGS = 64
};
#define HEART_RATE_HZ 30.0        /* followed at most this fast: enough for every beat */
#define HEART_FRAME_MOST_S 0.1    /* slower is too slow for 150 a minute */
#define HEART_PERIOD_LEAST_S 0.4  /* 150 a minute */
#define HEART_PERIOD_MOST_S 1.2   /* 50 a minute */
#define HEART_PERIODS_LEAST 2.0   /* in the time looked at */
#define HEART_FLOOR 0.05f
#define HEART_CHANGE_LEAST 0.08   /* mean change of ln grey of the blocks within half a beat: a pulse carried to the lung changes less */
#define HEART_FIRST 0.85          /* of the best: an earlier dip as deep as this is one beat, the best one two */
#define HEART_PRESENT 0.5         /* share of the change that is undone after one beat (simulated: hearts 0.54 to 0.79, one 0.26;
                                     lung that pulses up to 0.40) */
#define HEART_ABSENT 0.15

#endif
