/* The numbers of flow in colour. All: common practice, no source, unless said; chosen on simulated chests of seeds that the tables of
 * docs/colour.md do not use. */
#ifndef SL_READING_FLOW_TABLE_H
#define SL_READING_FLOW_TABLE_H

#define FLOW_LEAST_SHARE 0.10     /* of the frames in which a cell is coloured, to belong to a coloured place */
#define FLOW_LEAST_CELLS 16       /* of a place: a smaller one is noise */
#define FLOW_LEAST_FRAMES 8
#define FLOW_RING_FROM 3          /* cells around a place in which the tissue about it is looked at: beyond its bled edge, ... */
#define FLOW_RING_TO 7
#define FLOW_RING_QUANTILE 0.75   /* of the grey there: a rib's shadow beside it is no sign against tissue */
#define FLOW_BARE_LEAST 0.1       /* of the frames without colour on a cell, to know its grey */
#define FLOW_GREY_QUANTILE 0.75   /* of the grey of the cells without colour: what tissue in the picture is bright as */

/* Where a number lies half way between the two, and over what step it passes from one to the other (logistic). */
#define FLOW_DARK 0.22            /* own grey over that of tissue: fluid is echo-free */
#define FLOW_DARK_STEP 0.04
#define FLOW_TURNS 0.65           /* steadiness of the direction: fluid moves to and fro, a vessel keeps its way */
#define FLOW_TURNS_STEP 0.06
#define FLOW_TOGETHER 0.45        /* share by which one direction prevails in a frame: fluid moves as one, noise does not */
#define FLOW_TOGETHER_STEP 0.06
#define FLOW_SPREAD 0.35          /* share of the colour's width that a place spans: fluid fills its layer */
#define FLOW_SPREAD_STEP 0.05
#define FLOW_TISSUE 0.30          /* grey around a vessel over that of tissue */
#define FLOW_TISSUE_STEP 0.04
#define FLOW_NARROW_MM 8.0        /* width as coloured: vessels in a lobe are some 2 to 6 mm wide, colour bleeds by a beam's width */
#define FLOW_NARROW_SHARE 0.07    /* of the imaged depth, where there is no scale */
#define FLOW_NARROW_STEP 0.12     /* of either, relative */

#define FLOW_PRESENT 0.6
#define FLOW_ABSENT 0.4
#define FLOW_LEAST_S 2.0          /* a shorter clip does not hold half a slow breath: no statement that fluid stands still */
#define FLOW_TURNED_OVER 0.85     /* see sl_colour_turned_over: from here aliasing; colours that meet by chance give a half */
#define FLOW_NOT_TURNED 0.65

#define SCALE_TALL 0.09           /* of the picture's height above and below the bar in which its numbers stand */
#define SCALE_TALL_PX 46          /* at least: two lines of small letters */
#define SCALE_WIDE_PX 36          /* to both sides of the bar, and ... */
#define SCALE_WIDE 0.05           /* ... of the picture's width */
#define SCALE_ALIKE 0.02          /* the two numbers may differ by (relative); else one may be misread */
#define SCALE_LEAST_CM_S 0.5
#define SCALE_MOST_CM_S 300.0
#define SCALE_ENLARGE 3
#define SCALE_LEAST_CONTRAST 40   /* grey levels of the letters over their ground */
#define SCALE_LETTER_PX 5         /* least height of a letter that is read */

#endif
