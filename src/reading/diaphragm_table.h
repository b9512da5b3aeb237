/* The numbers behind the diaphragm and the curtain (ridge.c, breaths.c, diaphragm.c, muscle.c, curtain.c), each with its origin.
 * Rows are cells of SL_DEPTHS, beams cells of SL_BEAMS. "simulated": chosen on simulated chests (tests/loop/movement_loop, other
 * seeds than those of docs/diaphragm.md). "common practice": of the trade, no source. */
#ifndef SL_READING_DIAPHRAGM_TABLE_H
#define SL_READING_DIAPHRAGM_TABLE_H

/* ---- a bright line that moves (ridge.c) ---- */
enum {
    RIDGE_GROUPS = 32,       /* of four beams each: a line is wider than a grain of speckle */
    RIDGE_STARTS = 5,        /* frames from which it is looked for */
    RIDGE_ROUNDS = 2,
    RIDGE_OFF = 5,           /* rows off the arc: a dome is no circle */
    RIDGE_SAG = 16,          /* rows shallower than the arc's deepest: further out it moves less along the beams */
    RIDGE_NEAR_GROUPS = 4,   /* either side of the best, whose movement is measured */
    RIDGE_LOCAL = 4,         /* rows, and half of the way: how far one beam's way may differ from that of all */
    RIDGE_FINE = 4           /* rows either side for the fraction of a row */
};
#define RIDGE_LEAN 1.5f      /* rows from group to group: some 10 degrees off straight at common depths */
#define RIDGE_MOST 60.0f     /* of a score, grey levels (simulated) */
#define RIDGE_SIDE 20        /* rows before and beyond the line whose grey is compared */
#define RIDGE_STEP_SHARE 1.0f /* of the step, up to the score itself, that is added to it (simulated) */
#define RIDGE_BEND 1.2f      /* taken off a row of step between groups, grey levels (simulated) */
#define RIDGE_STEP_COST 0.15f /* and between frames */

/* ---- breaths in a path (breaths.c) ---- */
enum { BREATHS_MOST = 24 };
#define BREATH_SMOOTH_S 0.1      /* a third of the way in of a quick sniff */
#define BREATH_TURN_SHARE 0.4    /* of the path's range: a smaller way back is no turn */

/* ---- the dome (diaphragm.c) ---- */
#define DOME_DEPTH_LEAST 0.3     /* of the imaged depth: above lies the wall */
#define DOME_DEPTH_LEAST_SCALED 0.2 /* where the next says more */
#define DOME_BELOW_MM 35.0       /* and this far below the face: the nearest domes of adults (common practice) */
#define DOME_REACH_SHARE 0.40    /* of the imaged depth: the longest travel */
#define DOME_SPEED_MM_S 200.0    /* quickest: a sniff goes at 100 (common practice) */
#define DOME_STRONG 0.35         /* of the strongest group: where the line is seen */
#define DOME_ABOVE_FIRST 8       /* rows above the line: what moves with it */
#define DOME_ABOVE_LAST 56
#define DOME_NEAR_LAST 28        /* rows above it that must show an echo */
#define DOME_LIT 10              /* grey level */
#define DOME_LIT_SHARE 0.5       /* of these cells (simulated) */
#define DOME_MOVED_LEAST 2.0     /* rows between the frames compared */
#define DOME_MOVED_MOST 9.0
#define DOME_INTERCEPT (-9.0)    /* a logistic of five numbers (simulated) */
#define DOME_W_CLEAR 0.5
#define DOME_W_WIDE 3.0
#define DOME_W_TOGETHER 10.0
#define DOME_W_RHYTHM 2.0
#define DOME_W_RANGE 1.0
#define DOME_PRESENT 0.7
#define DOME_ABSENT 0.3
#define DOME_STILL_MM 2.0        /* less is no movement that can be told from the hand's */
#define DOME_TOLD_MM 3.0         /* less is not called a diaphragm's way (simulated: repeats of a pleura that rises go 2 mm) */
#define DOME_FRAME_MOST_S 0.18   /* as for sliding: ten frames of a quick breath */
#define DOME_SPEED_BELIEVED 160.0 /* mm/s: quicker is another line that was jumped to (a sniff goes at about 100, common practice) */
#define DOME_EXCURSION_SLACK_MM 0.7 /* the line's middle and the beam's lean (simulated) */

/* ---- on the wall (muscle.c) ---- */
enum {
    MUSCLE_RIM = 2,               /* beams left out beside a rib */
    MUSCLE_BEAMS_LEAST = 16,
    MUSCLE_ROUNDS = 3,
    MUSCLE_LEANS = 12             /* steps of the layers' lean either way */
};
#define MUSCLE_LEAST_MM 0.8       /* thinnest and thickest that are looked for: the lower limit in adults is 1.5 mm, the mean
                                     3.3 mm (Boon et al., Muscle Nerve 2013;47:884, doi 10.1002/mus.23671) */
#define MUSCLE_MOST_MM 7.0
#define MUSCLE_WALL_MM 6.0        /* thinnest wall above it */
#define MUSCLE_PLACE_MM 6.0       /* the upper line is looked for in places of this height */
#define MUSCLE_ALIKE 0.5          /* correlation of a few beams' profile with all beams' (simulated) */
#define MUSCLE_LEAN 0.05f         /* rows a beam */
#define MUSCLE_DEEP_FROM 0.6      /* of the imaged depth: where a rib leaves its shadow */
#define MUSCLE_DEEP_TO 0.95
#define MUSCLE_DEEP_SHARE 0.4
#define MUSCLE_ROW_MOST_MM 0.25   /* two lines 1 mm apart need four rows */
#define MUSCLE_ROW_LEAST_MM 0.05  /* a picture of 13 mm; also bounds the search */
#define MUSCLE_W_DARK 0.5f        /* (simulated) */
#define MUSCLE_STEP_COST 1.0f
#define MUSCLE_TURN_MM 0.08
#define MUSCLE_TURN_ROWS 0.5      /* without a scale */
#define MUSCLE_SLACK_ROWS 1.0     /* without a scale: half a row each */
#define MUSCLE_INTERCEPT (-4.0)   /* a logistic of five numbers (simulated) */
#define MUSCLE_W_INNER 2.6
#define MUSCLE_W_ORGAN 2.1
#define MUSCLE_W_LASTING 1.5
#define MUSCLE_W_RHYTHM 1.6
#define MUSCLE_W_SHARE 0.5
#define MUSCLE_SURE 0.7           /* of the index: below it no thickness is stated */
#define MUSCLE_CLEAR (-0.1)     /* least `clear` for a thickness: a line that does not stand out from its surroundings is not resolved; chosen on
                                     75 simulated walls (2 of 44 stated ones off by more than 0.3 mm, without it 8 of 61) */
#define MUSCLE_SLACK_MM 0.12      /* of a thickness: half a row each and what the pulse moves (simulated) */

/* ---- borders set by hand (borders.c) ---- */
#define BORDER_HAND_PX 1.0        /* pixels of the picture: how far off a hand sets a point, standard deviation (common practice) */

/* ---- the curtain (curtain.c) ---- */
enum {
    CURTAIN_BANDS = 4,       /* the line, just below it, below, deep */
    CURTAIN_BEAMS_LEAST = 40,
    CURTAIN_SMOOTH_BEAMS = 2,
    CURTAIN_ROUNDS = 4,
    CURTAIN_STEP = 6         /* beams from frame to frame */
};
#define CURTAIN_SMOOTH_S 0.12
#define CURTAIN_FLOOR 4.0         /* grey levels: what noise and rounding leave of the means */
#define CURTAIN_FEW 0.08          /* of the frames: fewer do not make a kind */
#define CURTAIN_FAR 9.0           /* three standard deviations: what is further off counts no more */
#define CURTAIN_SHADE_SHARE 0.1   /* of the frames */
#define CURTAIN_SHADE 0.4         /* of the usual grey just below the line: darker is a rib's shadow (simulated) */
#define CURTAIN_STEP_COST 0.5f
#define CURTAIN_ENDS_OUT 0.03     /* of the edge's places at each end */
#define CURTAIN_INTERCEPT (-7.2)  /* a logistic of five numbers (simulated) */
#define CURTAIN_W_LINE 1.3
#define CURTAIN_W_CONTRAST 0.15
#define CURTAIN_W_RHYTHM 1.0
#define CURTAIN_W_SWEPT 1.05
#define CURTAIN_W_LASTING 2.2
#define CURTAIN_PRESENT 0.7
#define CURTAIN_ABSENT 0.3
#define CURTAIN_FRAME_MOST_S 0.3  /* ten frames in a breath at 20 a minute */
#define CURTAIN_ABSENT_S 3.9      /* as for sliding: a breath at 15 a minute */
#define CURTAIN_SLACK_MM 2.0      /* (simulated); no travel is stated where more than this may lie in a rib's shadow */

/* Normal and limiting values: what is printed beside a measure, never a diagnosis.
 * Boussuges, Gole & Blanc, Chest 2009;135:391-400, doi 10.1378/chest.08-1541 (210 healthy adults): lower limits of the
 * excursion, quiet breathing, sniff, deep breath, mm. Boussuges et al., ERJ Open Res 2021;7:00714-2020, doi
 * 10.1183/23120541.00714-2020 (seated) have 33 and 32 mm in women, 41 and 42 mm in men for a deep breath, right and left: the
 * sources differ, the earlier is printed. */
#define DOME_QUIET_WOMEN_MM 9.0
#define DOME_QUIET_MEN_MM 10.0
#define DOME_SNIFF_WOMEN_MM 16.0
#define DOME_SNIFF_MEN_MM 18.0
#define DOME_DEEP_WOMEN_MM 37.0
#define DOME_DEEP_MEN_MM 47.0
/* Boon et al. 2013 as above. */
#define MUSCLE_LIMIT_MM 1.5
/* Gottesman & McCool, AJRCCM 1997;155:1570, doi 10.1164/ajrccm.155.5.9154859; DiNino et al., Thorax 2014;69:423, doi
 * 10.1136/thoraxjnl-2013-204111; Ferrari et al. 2014, doi 10.1186/2036-7902-6-8: of unlike breaths, so all three are printed. */
#define MUSCLE_PARALYSED 20.0
#define MUSCLE_USUAL 30.0
#define MUSCLE_EFFORT 36.0

#endif
