/* The numbers behind A-lines, B-lines, white lung and the score, each with its origin. Rows are cells of SL_DEPTHS,
 * beams are cells of SL_BEAMS. "tried": chosen while looking at the development clips (labels.csv and the device
 * clips), which is why docs/accuracy.md states those figures as in-sample beside cross-validated ones. "recipe": from
 * the experiments on open clips that docs/reading.md sums up. */
#ifndef SL_READING_LINES_TABLE_H
#define SL_READING_LINES_TABLE_H

/* ---- coherent flicker (flicker.c) ---- */
enum {
    FLICKER_BANDS = 9,        /* recipe */
    FLICKER_FIRST_ROW = 102,  /* 40 % of the imaged depth: below the pleura in nearly every clip; recipe */
    FLICKER_BELOW_PLEURA = 15, /* and at least this far below the line where that lies deeper (tried) */
    FLICKER_FIRST_MOST = 160, /* but a band keeps 9 rows or more */
    FLICKER_LAST_ROW = 243,   /* 95 %: above what scanners write at the bottom; recipe */
    FLICKER_SHIFT_MOST = 6,   /* beams a pair of frames is registered over; recipe */
    FLICKER_LAG_FRAMES = 3,   /* where times are not known: 0.12 s at the common 25 frames/s */
    FLICKER_WINDOW_PAIRS = 5, /* a window of time: long enough for a steady ratio, short against a breath (practice) */
    FLICKER_SPACE_LEAST = 12, /* beams: fewer that look into a space tell too little */
    FLICKER_LEVELS = 256      /* ln(index + 0.02) from FLICKER_LEVEL_LEAST on */
};
/* No more is taken out of a difference than a probe can have put in: the rest of a shift by whole beams, and a change
 * of gain. A single line whose flicker is all there is to see would otherwise be taken for one of them (geometry; the
 * gain tried: 0.856 without limits, 0.865 with). */
#define FLICKER_SHIFT_REST 0.5 /* beams */
#define FLICKER_GAIN_MOST 0.05 /* share of the grey */
#define FLICKER_LAG_S 0.12     /* the middle of the flat optimum of 80 to 160 ms; recipe (flat on to 0.4 s; tried) */
/* Of the windows of a clip; flat from 0.75 to 0.9. In the spaces only and at this share the area is 0.88 to 0.89 on the
 * development clips, over all beams and as the mean 0.865 (tried). */
#define FLICKER_SHARE 0.85
#define FLICKER_LEVEL_LEAST (-4.0) /* ln 0.02 = -3.9 */
#define FLICKER_LEVEL_STEP 0.02
#define FLICKER_NARROW 1.5f    /* beams, lateral band-pass; flat optimum 1/3 to 1.5/4.5; recipe */
#define FLICKER_WIDE 4.5f
#define FLICKER_FLOOR 0.25     /* grey levels squared, holds the index down in still or dark clips; recipe */

/* ---- A-lines (a_lines.c): a repeat is a ridge in depth that neighbouring beams agree on ---- */
enum {
    A_ABOVE_ROWS = 4,      /* the strip that is compared starts just above the pleural line */
    A_BELOW_ROWS = 150,    /* and ends here: deeper repeats are below the noise (tried) */
    A_COHERENCE_FIRST = 20, /* rows below the line: clear of the line's own thickness (recipe: 50; tried) */
    A_COHERENCE_LAST = 120, /* (recipe: 150; tried) */
    A_NEIGHBOUR_BEAMS = 6, /* speckle is about 2 to 4 beams wide here, a repeat as wide as the space (tried) */
    A_WINDOW = 24,         /* beams: about an intercostal space (tried) */
    A_WINDOW_STEP = 8,
    A_BEST_WINDOWS = 3,    /* tried: over the whole width the area is 0.82, in the best windows 0.87 */
    A_CELLS_LEAST = 300,   /* pairs of cells a window needs */
    A_LAG_FIRST = 12,      /* rows: shorter spacing is the line's own ringing */
    A_LAG_LAST = 80,
    A_SPACE_LEAST = 6,     /* beams: narrower spaces are left out */
    A_COUNT_MOST = 6
};
#define A_LATERAL 2.0f     /* beams, smoothing along a repeat (tried) */
#define A_NARROW 1.0f      /* rows, vertical band-pass; recipe */
#define A_WIDE 2.5f
#define A_ENERGY_FLOOR 0.02 /* grey levels squared (tried) */
#define A_LEVEL_SMOOTH 6.0f /* rows: the level a repeat's contrast is taken against (tried) */
#define A_LEVEL_FLOOR 3.0f  /* grey levels */
#define A_SPACING_SLACK 0.05   /* +-5 % of the spacing: clinical sheet, section 1 */
#define A_EXPECTED_SLACK 0.08 /* of the pleural depth: the repeats' spacing and a row (physics, 5 % and rounding) */
#define A_EXPECTED_LEAST 0.7  /* ... is taken where it repeats this well against the best spacing there is (tried) */
#define A_REPETITION_LEAST 0.2 /* autocorrelation from which a spacing is stated: on 40 simulated chests spacings below it
                                  were off by more than 8 % in 20 of 24, above in 2 of 9 */
#define A_RIDGE_LEAST 0.04 /* contrast of a counted repeat over its surroundings (tried) */


/* ---- decay below the line (decay.c); all tried ---- */
enum {
    DECAY_BELOW = 6,         /* rows: clear of the line itself */
    DECAY_LAST = 244,        /* 95 % of the imaged depth */
    DECAY_ROWS_LEAST = 40,   /* shorter beams tell nothing */
    DECAY_FLOOR_FIRST = 140  /* rows the darkest beams are looked for in */
};
#define DECAY_FLOOR_SHARE 0.05 /* of the beams are darker */

/* ---- B-line count and coverage (columns.c, b_lines.c): chosen on simulated chests, looked at on real clips ---- */
enum {
    COLUMN_BANDS = 9,
    COLUMN_SCALES = 2,
    COLUMN_BELOW = 15,         /* rows below the pleural line: clear of its own thickness */
    COLUMN_FIRST_LEAST = 40,
    COLUMN_FIRST_MOST = 160,
    COLUMN_LAST_ROW = 243,     /* 95 % of the imaged depth: how far a line must reach */
    COLUMN_BANDS_LEAST = 8,    /* of the bands with any contrast */
    COLUMN_LINE_ROWS = 2,      /* about the pleural line its grey is looked for in */
    COLUMN_BORDER = 2,         /* beams left out beside a shadow */
    COLUMN_FAR_BANDS = 3,      /* the last third of the way, in which a merged bundle is still bright */
    B_WIDTH_LEAST = 2,         /* beams */
    B_BUNDLE_LEAST = 4,        /* beams: a narrower bright run is speckle (simulated chests) */
    B_MERGED_WIDTH = 14        /* beams: wider than single lines are */
};
/* Beams, narrow and wide: lines of 2 to 6 and of 5 to 14 beams. */
static const float column_scale[COLUMN_SCALES][2] = {{0.8f, 5.0f}, {2.0f, 10.0f}};
#define COLUMN_FLOOR 4.0f         /* grey levels */
#define COLUMN_CONTRAST_LEAST 0.2f
#define COLUMN_LINE_SHARE 0.85f    /* of the line's usual grey: a beam that shows it is no shadow (tried) */
#define COLUMN_FAR_GREY 42.0f     /* levelled grey over the darkest beams that it holds there: on simulated chests the
                                     error of the coverage is flat from 36 to 50 */
#define COLUMN_FAR_SHARE 0.8f     /* of a line's contrast is left in its last two bands */
#define COLUMN_INSIDE 0.8         /* of the way must lie in the picture */
#define B_VALLEY 0.7f             /* two peaks are two lines when the contrast between them falls under this share */
#define B_HELD 0.05               /* a count or coverage is stated when at least this share of the frames reaches it */

#endif
