/* The numbers of the pleural line's shape. "simulator" = on invented chests by chance (docs/pleura-shape.md). */
#ifndef SL_READING_SHAPE_TABLE_H
#define SL_READING_SHAPE_TABLE_H

#include "reading/answer.h"

enum {
    SHAPE_ABOVE = 8,   /* rows of the strip above the line and ... */
    SHAPE_BELOW = 28,  /* ... below it: thickness, and spots with their far border */
    SHAPE_RUN_LEAST = 12, /* beams: a narrower space has no course to be rough about */
    SHAPE_LEVEL_REACH = 12, /* beams on both sides over which the line's own brightness is taken: it follows the tilt */
    SHAPE_GAP_LEAST = 2,  /* beams: speckle is 2 to 4 beams wide, one dark beam is speckle */
    SHAPE_SPOT_FIRST = 3, /* rows below the line: clear of its own thickness */
    SHAPE_SPOT_LAST = 12, /* a spot begins in these rows: about 3 to 6 mm at usual depths */
    SHAPE_SPOT_ROWS = 2, SHAPE_SPOT_BEAMS = 2, /* smaller ones are speckle */
    SHAPE_SPOTS_MOST = 16, SHAPE_GAPS_MOST = 16,
    SHAPE_PEAK_REACH = 3, /* rows about the line that was found: its brightest row in one frame */
    SHAPE_FRAMES_MOST = 150 /* frames of a segment that the strip's mean is taken over, evenly */
};

/* Terms: ln(roughness), ln(thickness), in rows. Fitted to "score 2 or 3" (pleura broken, or worse) of 114 clips of 21 people, one
 * device (COVID-BLUES): area by person 0.67 (0.58 to 0.77), so most answers are "uncertain" on purpose. On 60 aerated chests by
 * chance, half of them ragged, roughness alone has 0.69, thickness 0.70. */
static const sl_answer_rule shape_rule = {-2.73, {1.406, 1.529, 0, 0}, 0.25, 0.55};

#define SHAPE_COURSE 10.0f      /* beams: smoothing of the course the roughness is taken about (an intercostal space is 30 or more) */
#define SHAPE_BUMP_ROWS 2.5     /* rows off the course: more than 1.5 mm at usual depths (tried) */
#define SHAPE_GAP_SHARE 0.45    /* the line is broken where its brightness falls below this share of its own (tried) */
#define SHAPE_SPOT_SHARE 0.55   /* a spot is darker than this share of its row (tried) */
#define SHAPE_SPOT_CLOSED 0.70  /* ... and below it the lung is this bright again: a shadow or a gap between lines goes on */

#endif
