/* The numbers behind what lies beyond the diaphragm (behind.c, mirror.c, spine.c, behind_state.c), each with its origin. Rows are cells of
 * SL_DEPTHS, groups are four beams. "simulated": chosen on simulated chests (other seeds than those of docs/organs.md). "practice":
 * common practice, no source. */
#ifndef SL_READING_SPINE_TABLE_H
#define SL_READING_SPINE_TABLE_H

/* ---- the diaphragm, moving or still ---- */
enum {
    BEHIND_FRAMES = 8,        /* of the clip that are looked at: the diaphragm may move between them */
    BEHIND_FIRST = 38,        /* first row where no pleural line was found */
    BEHIND_BELOW = 16,        /* rows below that line */
    BEHIND_LINES = 3,         /* tried, the strongest first */
    BEHIND_WIPE = 8,          /* rows about one that is tried that the next may not touch */
    BEHIND_HALF = 14,         /* rows before it: tissue must fill both halves of the way there alike */
    BEHIND_DEEP = 28,
    BEHIND_REACH = 48,        /* rows it may move */
    BEHIND_NEAR = 2,          /* rows off the line from which its edge is compared, and up to which */
    BEHIND_NEAR_LAST = 7,
    BEHIND_FAR = 4,           /* the same for what lies before and beyond */
    BEHIND_FAR_LAST = 20,
    BEHIND_AWAY = 6,          /* rows off the line whose grey is taken for before and beyond */
    BEHIND_AWAY_LAST = 40
};
#define BEHIND_FLOOR 0.03f        /* of grey ratios, in units of the near part's level, as for organs */
#define BEHIND_TISSUE_LEAST (-1.9f) /* ln of the level: what lies before is tissue, not fluid ... */
#define BEHIND_TISSUE_MOST 0.6f   /* ... and no bright line (simulated) */
#define BEHIND_LINE_MOST 1.0f     /* ln: of a line's and of an edge's height that count */
#define BEHIND_DROP_MOST 1.5f
#define BEHIND_DROP_SHARE 0.7f    /* an edge beside a bright line (simulated) */
#define BEHIND_EVEN 0.7f          /* ln: difference of the two halves before it (simulated) */
#define BEHIND_CLEAR 0.4          /* of its mean score: enough to be a diaphragm (simulated) */
#define BEHIND_SAG 0.3            /* how much a line that sags is preferred, a share of the imaged depth (simulated) */
#define BEHIND_SEEN_WIDE 0.2      /* share of the beams, and tissue of an organ before it: a diaphragm may be meant */
#define BEHIND_DARK_CLEAR 0.8     /* of its mean score: surely an edge (simulated) */
#define BEHIND_FLUID 1.5          /* ln: so much darker beyond than before is fluid or nothing */
#define BEHIND_SCALE 30.0f        /* to the grey levels that ridge.h works in */

#define ARC_INTERCEPT (-7.8)      /* a logistic of three numbers (simulated) */
#define ARC_W_WIDE 8.0
#define ARC_W_SAG 25.0
#define ARC_W_LINE 2.0
#define ARC_TISSUE (-0.5)         /* ln grey before the line: even tissue near the probe's own level (simulated) */
#define ARC_RISE 0.2              /* ln: brighter beyond than before it by no more than this, ... */
#define ARC_FALL 1.0              /* ... darker by no more than this */
#define ARC_TISSUE_SEEN 0.3       /* of organ.h's number: two places in the picture */
#define ARC_PRESENT 0.7

/* ---- the mirror image ---- */
enum {
    MIRROR_LINES = 6,         /* lines tried: they stand out little */
    MIRROR_FIRST = 6,         /* rows off the line */
    MIRROR_LAST = 56,
    MIRROR_OFF = 4,           /* rows the image may be off: twice the line's own error */
    MIRROR_ELSE_FIRST = 9,    /* shifts it is compared with */
    MIRROR_ELSE_LAST = 24,
    MIRROR_FLAT = 14,         /* beams either side, likewise: repeats of a line run across the beams and are symmetric by themselves */
    MIRROR_LOCAL = 20         /* rows either side whose mean is taken off */
};

#define MIRROR_CELLS_LEAST 750    /* compared in a frame: fewer hold too little speckle */
#define MIRROR_SMOOTH_ROWS 1.5f
#define MIRROR_SMOOTH_BEAMS 1.2f
#define MIRROR_TISSUE_SEEN 0.15    /* of organ.h's number: one place in the picture is enough */
#define MIRROR_LINE 2.0f           /* a line with like grey on both sides stands out less (simulated) */
#define MIRROR_TISSUE (-1.2)      /* ln grey before the line */
#define MIRROR_RISE 0.4           /* ln: the image may be this much brighter than the organ ... */
#define MIRROR_FALL 1.3           /* ... or darker (simulated) */
#define MIRROR_INTERCEPT (-7.8)   /* a logistic of five numbers (simulated) */
#define MIRROR_W_SD 1.2
#define MIRROR_W_IMAGE 6.0
#define MIRROR_W_OVER 8.0
#define MIRROR_W_WIDE 2.0
#define MIRROR_W_LINE 2.0
#define MIRROR_PRESENT 0.7
#define MIRROR_ABSENT 0.3

/* ---- the spine ---- */
enum {
    SPINE_GAP = 10,           /* rows beyond the diaphragm: nearer is its own thickness and blur */
    SPINE_STEP = 3,           /* rows from group to group */
    SPINE_HALF = 2,           /* rows of the line */
    SPINE_OFF = 5,            /* rows off it that it is compared with, and how many */
    SPINE_OFF_LAST = 14,
    SPINE_SHADE = 8,          /* rows beyond it where its shadow begins, and how long it is */
    SPINE_SHADE_LAST = 30
};
#define SPINE_INTERCEPT (-4.5)    /* a logistic of three numbers (simulated) */
#define SPINE_W_WIDE 6.0
#define SPINE_W_CLEAR 3.0
#define SPINE_W_BENT 0.6
#define SPINE_NO_LINE 0.6         /* weight where no diaphragm is seen before it: it stays uncertain */
#define SPINE_GROUPS_LEAST 2      /* beyond the diaphragm */
#define SPINE_SHARE_LEAST 0.4
#define SPINE_PRESENT 0.7
#define SPINE_ABSENT 0.3
#define SPINE_DEPTH_LEAST_MM 60.0 /* below the probe's face in adults (practice) */
#define SPINE_DEPTH_MOST_MM 130.0 /* a picture less deep need not show it (practice) */
#define SPINE_DEPTH_LEAST 0.4     /* of the imaged depth where no scale is known */
#define SPINE_BEND 0.05f          /* ln taken off a row of step between groups */
#define SPINE_LINE_MOST 2.0f      /* ln */
#define SPINE_LINE_LEAST 0.35f    /* ln: a group shows it (simulated) */

#endif
