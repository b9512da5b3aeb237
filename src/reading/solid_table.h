/* The numbers of fluid and solid lung, each with its origin. Rows are cells of SL_DEPTHS. "tried": chosen while looking at
 * simulated chests and the development clips. */
#ifndef SL_READING_SOLID_TABLE_H
#define SL_READING_SOLID_TABLE_H

#include "reading/answer.h"

/* ---- the layer of fluid ---- */

/* Floor of grey ratios, in units of the near part's level: about the noise of a well set picture (tried). */
#define LAYER_FLOOR 0.04f
/* Rows of wall, and of the surface below, that are compared with the layer (tried; 10 rows are some 4 mm of 10 cm). */
#define LAYER_WALL 10
#define LAYER_BELOW 8
/* Rows just above the lower border that must be dark: a surface rises at once, noise under rising depth gain slowly. */
#define LAYER_DEEP 10
/* Smallest contrast of a beam that shows a layer, natural log: 0.5 is a factor of 1.65 in shown grey (tried). */
#define LAYER_CONTRAST 0.5f
#define LAYER_CONTRAST_MOST 1.5f
/* The lower surface may be this much weaker than the upper line, as a factor of grey (physics: the lung's surface
 * reflects 0.65, a border between tissue and fluid a few hundredths; speckle and angle take some of it): the contrast is at most this times
 * the square of surface over line, so that 0.8 of the line's grey costs nothing up to a contrast of 1.4 (tried). */
#define LAYER_PEAK 2.2f
/* Brighter than this times the layer's own level is no fluid (evenness; tried). */
#define LAYER_CORE_TIMES 2.0f
#define LAYER_CORE_OVER 0.03f
/* Floors of the ratio of change to grey, grey levels: a black layer counts as stirred (0.5 / 1), which it looks like. */
#define LAYER_STIR_CHANGE 0.5f
#define LAYER_STIR_GREY 1.0f
/* A row of the layer is stirred at least this share as much as its deeper half (tried). */
#define LAYER_STIR_SHARE 0.45f
/* Rows above the rim that must be wall, at least so many of ten. */
#define LAYER_WALL_LONG 20
#define LAYER_WALL_SHARE 0.6f
/* How far neighbouring beams agree, rows (tried). */
#define LAYER_AGREE 6
/* Fewest neighbouring beams that show it (tried). */
#define LAYER_RUN 8
/* What passes for fluid: a logistic of what the layer itself looks like. */
typedef enum layer_term {
    LAYER_TERM_SHARE,     /* of the beams in the open that show it */
    LAYER_TERM_STIR,      /* change over grey (speckle that is new in each frame: 0.56, Rayleigh statistics, physics) */
    LAYER_TERM_OVER_WALL, /* ln of it over the wall's */
    LAYER_TERM_THICK,     /* ln of its thickness, mm */
    LAYER_TERM_CAPS,      /* -1..1: so deep below the ribs' caps (the pleura lies some 5 mm below, clinical sheet 1) */
    LAYER_TERM_DEEP,      /* 0..1: deeper below them than the muscles between the ribs are thick */
    LAYER_TERMS
} layer_term;
/* Weights and intercept: logistic (ridge) on 557 simulated chests (80 of each kind of tests/loop/solid_chests.c, seed 440000: fluid or not)
 * and the 173 development clips (one with an effusion noted). On 280 other chests what it says agrees with how often it is so: stated 0.02,
 * 0.16, 0.38, 0.61, 0.81, 0.97; found 0.05, 0.19, 0.18, 0.64, 0.88, 0.98. Fitted on the simulated alone, the noted clip is among the two highest
 * of the 173. The contrast adds nothing to these. */
static const double layer_rule[LAYER_TERMS + 1] = {4.0, 5.1, 0.87, 1.30, 1.46, -4.6, -8.7};
/* Ln of the odds from which it passes (a probability of 0.6: 2 or 3 of 80 aerated chests pass). */
#define LAYER_ODDS_SEEN 0.4
/* Ends and floors of the terms: stir that is as full as that of noise; a floor of ratios; the wall's stir where no wall is seen; mm. */
#define LAYER_STIR_MOST 0.5
#define LAYER_STIR_FLOOR 0.02
#define LAYER_WALL_STIR 0.1
#define LAYER_THIN_MM 2.0
#define LAYER_THICK_MM 25.0
#define LAYER_DEEP_MM 8.0
/* mm of a row where the scale is not known: of 12 cm. */
#define LAYER_ROW_MM 0.45
/* A layer that begins well below a line that is surely the pleura is a gap between its repeats or a heart's chamber: from so far to so much
 * further, mm; weight as above. */
#define LAYER_UNDER_MM 5.0
#define LAYER_UNDER_MORE_MM 10.0
#define LAYER_UNDER_ODDS (-3.3)
/* At the rim movement begins: ln of stir in so many rows below over that of the wall above; what more adds nothing; its share beside the
 * contrast when the clearest layer is looked for; and from how much on a beam of little contrast (LAYER_CONTRAST_BEFORE) counts (tried). */
#define LAYER_JUMP_ROWS 10
#define LAYER_JUMP_MOST 2.0f
#define LAYER_JUMP_SHARE 0.5f
#define LAYER_JUMP_SURE 0.9f
/* Behind a rib no surface is seen: darker there than this share of the brighter beams' surface. Such beams say nothing about how wide the layer
 * is; but they are never more than all but this share (tried: shadows that hide more leave too little to see). */
#define LAYER_EDGE_SHARE 0.35f
#define LAYER_OPEN_LEAST 0.4
/* From so much contrast a beam counts where movement begins at its rim (above), and for a layer before one that is found (tried). */
#define LAYER_CONTRAST_BEFORE 0.3f
/* The pleura lies some 5 mm below the ribs' surface (clinical sheet 1), muscle between the ribs beside it; rows: of 12 cm. */
#define LAYER_BELOW_CAPS_MM 3.5
/* Muscle between the ribs is thinner than this, mm; rows: of 12 cm (from memory: 5 to 15 mm with the layers about it). */
#define LAYER_MUSCLE_MM 16.0
#define LAYER_MUSCLE_ROWS 34.0
/* In a rib's shadow it is darker than this share of the wall beside the cap (tried). */
#define LAYER_CAP_SHARE 0.3f
#define LAYER_LINE_SURE 0.80
/* Thinnest layer: mm (clinical sheet 1 gives no limit; 3 mm is what the simulator calls fluid), or rows without a scale. */
#define LAYER_LEAST_MM 3.0
#define LAYER_LEAST_ROWS 8
/* Where its rim may lie, as pleura_table.h's */
#define LAYER_NEAREST_ROW 8
#define LAYER_DEEPEST_ROW 170

/* ---- what is in the fluid ---- */

/* Cells so far from both borders, and in this share of the layer (its border moves with breathing), are fluid; fewer say nothing. */
#define CONTENT_MARGIN_MM 2.0
#define CONTENT_MARGIN_ROWS 4
#define CONTENT_SHARE 0.9f
#define CONTENT_CELLS_LEAST 120
/* A septum: brighter by this factor than the cells so many rows above and below, than so many times the fluid's median, and than so much
 * more, grey levels; over so many beams (tried on 39 simulated effusions that were found: no line in 23 without septa, one or more in 15 of 19 with them). */
#define CONTENT_SEPTUM_ROWS 3
#define CONTENT_SEPTUM_TIMES 1.6f
#define CONTENT_SEPTUM_OVER 2.0
#define CONTENT_SEPTUM_GREY 3.0
#define CONTENT_SEPTUM_BEAMS 8
/* Index = cover / (cover + half); of the beams that septa cross. And = echo / (echo + half) of the fluid's median grey over the near
 * level: simulated fluid without particles has under 0.05 (tried). Present above one half, absent below the second number. */
#define CONTENT_SEPTA_HALF 0.07
#define CONTENT_ECHO_HALF 0.08
#define CONTENT_ABSENT 0.35

/* ---- lung without air ---- */

/* The region: so many rows from so far below the line, to this share of the imaged depth; a row counts where so many of the
 * beams lie in the picture (tried; some 5 cm of 12). */
#define SOLID_BELOW 8
#define SOLID_ROWS 110
#define SOLID_DEEPEST 0.953
#define SOLID_SEEN 0.80
#define SOLID_BEAMS_LEAST 12
/* Patchiness: rows nearest to the line, smoothing over speckle, floor of grey in units of the near part's level (tried). */
#define SOLID_WINDOW 40
#define SOLID_SMOOTH_ROWS 2.0f
#define SOLID_SMOOTH_BEAMS 1.5f
#define SOLID_FLOOR 0.06f
/* Terms: patchiness, decay, border. The first two: logistic (ridge) on 59 clips of other devices (14 with consolidation noted; doi
 * 10.3390/app11020672) and the 114 of one device taken as without. Leaving out one source at a time: area on the 59 0.89
 * against the rest, 0.92 against well lungs (prototype 0.89). Cuts: docs/accuracy.md. The
 * border's weight carries an index of 0.02 to 0.5: what it says needs no more (tried). */
static const sl_answer_rule solid_rule = {6.798, {1.669, 2.170, 4.0, 0}, 0.08, 0.40};
/* Behind fluid the decay is less by about this (tried: aerated lung behind simulated fluid). */
#define SOLID_WET_DECAY 0.6
/* A border of tissue before air, as ln of grey: its step; its width, share of the picture; the brightest below it against the brightest
 * at the line (air reflects 0.65, the surface of solid lung a few hundredths, and a repeat of an air mirror is weaker than the
 * mirror: physics); what lies before it against the wall (tissue is about as bright, muscle and fluid darker, a layer of fat or a
 * second wall brighter). From nothing to full, all tried: on simulated chests, aerated or not, and the development clips. */
#define BORDER_STEP_NONE 0.30
#define BORDER_STEP_FULL 0.42
#define BORDER_WIDTH_NONE 0.15
#define BORDER_WIDTH_FULL 0.30
#define BORDER_SHINE_NONE (-0.5)
#define BORDER_SHINE_FULL (-0.2)
#define BORDER_DARK_NONE (-1.2)
#define BORDER_DARK_FULL (-0.9)
#define BORDER_BRIGHT_NONE 0.9
#define BORDER_BRIGHT_FULL 0.6
/* The line above it is surely the pleura; what is as thin as muscle (LAYER_MUSCLE) may be muscle, and the border the pleura, unless it
 * changes so much more from frame to frame than the wall (tried). */
#define BORDER_SURE_NONE 0.3
#define BORDER_SURE_FULL 0.5
#define BORDER_STIR_NONE 1.4
#define BORDER_STIR_FULL 2.0

/* ---- the deep border of lung without air ---- */

/* Rows of tissue above and (half as many) of artifact below that are compared, as mm or rows without a scale; the border lies at
 * least a window and so many rows below the surface (tried; a few speckles at 3 to 5 MHz). */
#define EXTENT_WINDOW_MM 4.0
#define EXTENT_WINDOW_ROWS 8
#define EXTENT_BELOW 2
/* Smallest step of ln grey that is a border, and what more adds nothing (tried; two speckle means of so many cells differ by
 * 0.1 to 0.15). */
#define EXTENT_STEP 0.25f
#define EXTENT_STEP_MOST 1.0f
/* Rows a torn border leaves its smooth course by; fewest beams that show it; the deepest place is this quantile over beams. */
#define EXTENT_TORN 14
#define EXTENT_BEAMS 8
/* Rows that the surface leaves a smooth course by (a bent pleura by less; tried). */
#define EXTENT_COURSE 5.0
#define EXTENT_DEEPEST 0.98
/* And over the blocks of time (tried). */
#define EXTENT_LONGEST 0.92
/* An extent is stated for a border this clear and this wide (share of the picture); over so much of it: the whole (tried). */
#define EXTENT_STEP_STATED 0.35
#define EXTENT_WIDTH_STATED 0.10
#define EXTENT_LOBAR 0.80
/* And only for a border that is so surely one before air (BORDER below; tried: without it 9 more were stated on 180 simulated chests, 7 of them wrong). */
#define EXTENT_STRENGTH_STATED 0.3
/* And for one that is torn, by the root of its mean square in mm or rows: lung without air ends where lobule after lobule is filled; a smooth
 * border is that of a layer of the wall, of fluid or of an organ (physics; the number tried). A small one is seen over so much of the picture. */
#define EXTENT_TORN_LEAST_MM 0.25
#define EXTENT_TORN_LEAST_ROWS 0.53
#define EXTENT_WIDTH_THIN 0.25
/* And not where it is as thin as muscle and so much darker than the wall, ln of grey (muscle is dark, solid lung about as bright: physics; the
 * number tried on 120 simulated chests: 2 wrong extents fewer). */
#define EXTENT_THIN_DARK (-0.4)
/* Uncertainty each way: mm, and a share of the depth (tried; how often it holds the truth: docs/fluid-solid.md). */
#define EXTENT_SLACK_MM 3.5
#define EXTENT_SLACK_SHARE 0.10
/* A pleura less than this below a rib's cap is none (it lies some 5 mm below, clinical sheet 1); rows: of 12 cm. */
#define EXTENT_CAPS_MM 2.0
#define EXTENT_CAPS_ROWS 4.3

/* ---- where solid lung begins ---- */

/* ln of change over grey below a row against above it, and what more adds nothing (speckle new in each frame changes by 0.56 of its
 * mean, the wall by some 0.03: ln 19 = 2.9; half of it; tried); what a line on it is worth beside that; floors, grey levels, as the layer's. */
#define SURFACE_JUMP_MOST 1.5f
#define SURFACE_RIDGE 0.5f
#define SURFACE_FLOOR_CHANGE 0.25f
#define SURFACE_FLOOR_GREY 2.0f
/* The pleural line is left for another that is off by so many rows in enough beams, so much better there, and so good (tried). */
#define SURFACE_OFF 5.0f
#define SURFACE_GAIN 0.25
/* It lies so far below the caps of the ribs (some 5 mm, clinical sheet 1; less leaves room for their curve), and no more than this below
 * the layer that was taken for it (a wall's muscle is some 15 mm thick; from memory); rows: of 12 cm. */
#define SURFACE_CAPS_MM 3.5
#define SURFACE_CAPS_ROWS 7.5
#define SURFACE_DEEPER_MM 16.0
#define SURFACE_DEEPER_ROWS 34.0
#define SURFACE_LEAST 0.5
/* And only where the solid lung before it has a border so strong (0..1; tried). */
#define SURFACE_BORDER 0.2

/* ---- the answer on fluid ---- */

/* Below: absent. Between: uncertain. */
#define EFFUSION_ABSENT 0.20
/* The widest place: this quantile over the beams, and over the blocks of time (tried). */
#define EFFUSION_WIDEST 0.98
/* The lower border lies where so much of the rise to the lung's surface is done. */
#define EFFUSION_RISE 0.45f
/* In a block of time the border lies deeper than in the clip's mean by at most this share of the distance, or 30 rows (tried; a half of it comes and
 * goes with a breath in simulated chests). */
#define EFFUSION_BREATH 0.45
/* The rim is carried on so many beams beyond those that show the layer; there, and in parts too short for a border of their own, the border counts
 * where the distance goes on as it does in the others (a straight course, a little towards level): within so many rows and this share, in runs of
 * so many beams (tried). */
#define EFFUSION_BESIDE 24
#define EFFUSION_LEVEL 100.0 /* beams squared */
#define EFFUSION_ON 3.0
#define EFFUSION_ON_SHARE 0.08
#define EFFUSION_MORE_RUN 4
/* The lower border goes on from one beam to the next where it steps by so many rows at most; parts of it are no shorter
 * than one in so many of the longest (tried). */
#define EFFUSION_JUMP 6
#define EFFUSION_PARTS 3
/* Uncertainty of the depth beside what beams differ by: where the two borders are set, mm or rows (of 12 cm), and a share of the depth; a
 * lower border seen in less than this share of the layer's beams may be so much deeper elsewhere (all tried on 60 simulated chests). Deeper by a larger
 * share: out of focus a beam meets a slanted lung's surface before its own middle does (by 3 to 8 mm of 75 on simulated chests, at low gain too). */
#define EFFUSION_SLACK_MM 2.0
#define EFFUSION_SLACK_ROWS 4.3
#define EFFUSION_SLACK_SHARE 0.05
#define EFFUSION_SLACK_DEEPER 0.12
/* At the base: beams so near to the organ's edge, and so far over it, as shares of the picture's width; fewer say nothing (common practice: just
 * above the diaphragm). */
#define EFFUSION_BASE_NEAR 0.12
#define EFFUSION_BASE_OVER 0.06
#define EFFUSION_BASE_BEAMS 5
#define EFFUSION_PART 0.5
#define EFFUSION_PART_MORE 0.3
/* And of its change over the clip, likewise. */
#define EFFUSION_SWING_MM 1.0
#define EFFUSION_SWING_SHARE 0.35
/* Beams whose surface is darker than this share of the usual one look at a rib's shadow (tried). */
#define EFFUSION_SURFACE 0.35

#endif
