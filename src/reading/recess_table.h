/* The numbers behind fluid beside an organ (recess.c), each with its origin. Rows are cells of SL_DEPTHS, columns are two beams; grey is in
 * ln against the near part's level. "simulated": chosen on simulated chests (other seeds than those of docs/organs.md). */
#ifndef SL_READING_RECESS_TABLE_H
#define SL_READING_RECESS_TABLE_H

/* ---- the border in a moment ---- */
enum {
    RECESS_MOMENTS = 12,     /* of the clip that are looked at: the border travels with the breath */
    RECESS_COLUMNS = 64,
    RECESS_HALF = 1,         /* columns either side that are taken together */
    RECESS_FIRST = 18,       /* first row: the skin lies before it */
    RECESS_BEFORE = 10,      /* rows compared before and beyond a place, and how many off it they begin */
    RECESS_BEYOND = 14,
    RECESS_OFF = 2,
    RECESS_DARK_BACK = 110,  /* rows before it that may not be dark: tissue runs on from the wall to it */
    RECESS_SMOOTH = 3,       /* rows either side: no grain of speckle is dark */
    RECESS_LIT_RUN = 14,     /* rows that are lit again below a dark place: more than a spine's blur, so no rib's shadow (simulated) */
    RECESS_ROOM = 6          /* rows more than RECESS_BEYOND to the end of the picture */
};
#define RECESS_MOMENT_S 0.12       /* mean of so long: noise in fluid goes, the border does not move by a cell */
#define RECESS_FLOOR 0.03f         /* of grey ratios, as for organs */
#define RECESS_DROP_LEAST 0.4f     /* ln: a smaller fall of grey speaks against a border (simulated) */
#define RECESS_DROP_MOST 1.6f      /* a larger one says no more */
#define RECESS_DARK 0.45f          /* ln under what lies just before the border, and no lighter than this: dark (simulated) */
#define RECESS_DARK_GREY (-0.4f)
#define RECESS_DARK_COST 0.05f     /* a row of it, up to (simulated) */
#define RECESS_DARK_MOST 2.0f
#define RECESS_DEPTH_COST 0.004f   /* a row deeper: of two borders the nearer one */
#define RECESS_STEP_COST 0.03f     /* a row of step from column to column, up to a jump (simulated) */
#define RECESS_STEP_MOST 0.6f
#define RECESS_BLACK (-1.8f)       /* a rib's shadow is darker, ... */
#define RECESS_LIT (-1.4f)         /* ... what shows again below fluid is lighter (simulated) */
#define RECESS_SHADOW 0.5          /* of the rows: as many at least are dark below a rib */

/* ---- rim and dome along it ---- */
enum {
    RECESS_SIDE = 24,        /* columns either side of the edge that are looked at */
    RECESS_RIM = 10,         /* columns beside the edge through which the rim's line is laid */
    RECESS_RIM_LEAST = 5,    /* columns of rim and of dome, at the least */
    RECESS_DOME_LEAST = 5,
    RECESS_DEPART = 8,       /* rows: the dome has left the rim */
    RECESS_STEP_BACK = 2,    /* rows that the dome may come up again from column to column */
    RECESS_RISE_LEAST = 20,  /* rows the dome goes down */
    RECESS_CLEAR = 3,        /* rows that fluid and tissue lie clear of the border, ... */
    RECESS_FLUID_ROWS = 14,  /* ... how far fluid is looked at below it, ... */
    RECESS_UNDER_RIM = 6,    /* ... tissue of the organ below the rim, ... */
    RECESS_BEYOND_FIRST = 4, /* ... and what lies beyond the dome */
    RECESS_BEYOND_LAST = 18
};
#define RECESS_SLOPE 1.5           /* rows a column: the wall slants no more */
#define RECESS_OFF_RIM 6.0         /* rows off that line: not the rim */
#define RECESS_ELSE 0.5            /* taken off for a column that is neither */
#define RECESS_DOWN 0.8            /* share of the dome's steps that go down or stay */

/* ---- a moment shows it: all simulated ---- */
#define RECESS_FLUID 0.6           /* mean value of the rim's columns */
#define RECESS_DOME 0.25           /* and of the dome's, which may slant from the beam */
#define RECESS_RISE_SEEN 35        /* rows the dome goes down */
#define RECESS_RIM_ROW 20          /* the rim lies deeper */
#define RECESS_FLUIDS 6            /* columns of the rim */
#define RECESS_TISSUE (-0.7)       /* ln grey of what lies before the dome */
#define RECESS_EVEN 0.85           /* its standard deviation, with speckle and vessels */
#define RECESS_BEYOND_FALL 1.5     /* ln: darker beyond the dome by so much: no mirror image */
#define RECESS_FLUID_FALL 1.2      /* and below the rim */

/* ---- the clip: all simulated ---- */
#define RECESS_SEEN_LEAST 4        /* moments that show it */
#define RECESS_SEEN_SHARE 0.33
#define RECESS_STEADY 14           /* columns: places of the edge that lie further apart are not those of one edge */
#define RECESS_SURE 0.75           /* of the moments: enough to call fluid what did not surely look like it, and the mirror image lost */
#define RECESS_FLUID_INDEX 0.6     /* the index then, at the least */
#define RECESS_MIRROR 0.3          /* largest index of a mirror image that is not there */

#endif
