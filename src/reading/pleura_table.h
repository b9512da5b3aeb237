/* The numbers of the pleural line, each with its origin. Rows are cells of SL_DEPTHS, lengths in beams are
 * cells of SL_BEAMS. "tried": chosen while looking at the development clips, which is why others' clips
 * decide how well it reads; "flat": halving or doubling it changes the share of points read right by less
 * than 0.02. */
#ifndef SL_READING_PLEURA_TABLE_H
#define SL_READING_PLEURA_TABLE_H

/* A block is long enough to average speckle and short against breathing (about 4 s) and the heart (about 1
 * s):
 * ../shared/evidence recipe, step 4. A block's picture is the mean of it and its two neighbours. */
#define PLEURA_BLOCK_S 0.16
/* Where times are not known: 0.16 s at the common 25 frames/s. */
#define PLEURA_BLOCK_FRAMES 4

/* Where the line is looked for, as shares of the imaged depth: chest walls thicker than 60 % of the imaged
 * depth would leave no lung to read (common practice, no source). */
#define PLEURA_NEAREST 0.008f
/* Where the probe's face is in the picture: skin and muscle are at least 5 mm thick over the ribs' gaps (from
 * memory: 10 mm and more in adults), or that share of the imaged depth when no scale is known. */
#define PLEURA_NEAREST_MM 5.0
#define PLEURA_NEAREST_FACE 0.04f
#define PLEURA_NEAREST_LINEAR 0.08f /* these image some 6 cm (common practice, no source) */
#define PLEURA_DEEPEST 0.60f

/* ---- the signs ---- */

/* The unit of grey is this quantile of the near part of the picture (tried). */
#define PLEURA_LEVEL_SHARE 0.80
/* Floors in that unit keep ratios of near-black cells quiet: about the grey of an empty picture against a
 * wall. */
#define PLEURA_FLOOR 0.06f
#define PLEURA_FLOOR_TEXTURE 0.004f
#define PLEURA_FLOOR_CHANGE 0.01f
#define PLEURA_FLOOR_RIDGE 0.05f
/* Rows looked at above and below a cell, and as a share of its row when that is more (tried). */
#define PLEURA_REACH_UP 24
#define PLEURA_REACH_BELOW 40
#define PLEURA_REACH_RIVAL 60
#define PLEURA_SHARE_UP 0.45f
#define PLEURA_SHARE_BELOW 0.80f
/* The sign of change in a still: the same for every row, says nothing. */
#define PLEURA_CHANGE_STILL 0.0f
/* Grey levels of the unit under which a picture counts as black (tried). */
#define PLEURA_BLACK 2.0f

/* ---- the search, in units of log-likelihood ---- */

/* No cell is worse than this against the best of its beam (flat). */
#define PLEURA_LEAST (-8.0f)
/* Steepest line, rows a beam: the steepest marked by eye are about 4. */
#define PLEURA_STEP_ROWS 5
/* Cost of a slope: for each row a beam, and for its square, so that a ramp is cheaper than a jump (flat). */
#define PLEURA_STEP_COST 0.2f
#define PLEURA_BEND_COST 0.06f
/* Cost for each row that a block's line is off the clip's, up to so many rows: a jump that the picture asks
 * for is allowed (flat). */
#define PLEURA_PULL_COST 0.05f
#define PLEURA_PULL_ROWS 12
/* What a rib's beam and one without contact say about the line, against a space's: little, so that the line runs on
 * under the rib instead of climbing to its cap (flat). */
#define PLEURA_SHADOW_WEIGHT 0.05f
#define PLEURA_DARK_WEIGHT 0.02f
/* The line is put at the top of the rise of grey to the brightest cell this near; the rise begins at most
 * RIM_ROWS above it; its top is where so much of it is done; a thick line's interface lies this far below
 * that, in cells (on simulated chests, whose interface is known: bias under 0.3 cells). */
#define PLEURA_FINE_ROWS 2
#define PLEURA_RIM_ROWS 7
#define PLEURA_RIM_SHARE 0.80f
#define PLEURA_RIM_OFFSET 0.4f
/* "Here" for the beam's sureness: 2 % of the imaged depth. */
#define PLEURA_NEAR_ROWS 5

/* ---- found or not ---- */

/* Probability that the line is the pleura where one is in the picture = logistic of these and `clear`, fitted to the clips with points
 * marked by eye and damaged copies of them. */
#define PLEURA_FOUND_ZERO (-4.78)
#define PLEURA_FOUND_CLEAR 11.46
/* Below this the line counts as not found: wrong in three of four. */
#define PLEURA_FOUND_LEAST 0.25
/* Probability that is stated = logistic of these, of `clear`, and of the log odds that a pleura is shown, which are cut off at this
 * probability: fitted by scripts/fit_scene.py to the same and to copies cut so that no pleura is left (weighted 0.12); stated against true
 * shares in docs/accuracy-zoom.md. */
#define PLEURA_RIGHT_ZERO (-3.994)
#define PLEURA_RIGHT_CLEAR 4.936
#define PLEURA_RIGHT_SHOWN 0.662
#define PLEURA_RIGHT_SHOWN_LEAST 0.001

/* ---- is there one in the picture (pleura_scene.h) ---- */

/* The near field: this share of each beam, from where the picture begins (tried); under a line, rows from six on and not further than a
 * third of the picture; above it, all but what belongs to the line. */
#define SCENE_NEAR_SHARE 0.10f
#define SCENE_ABOVE_ROWS 4
#define SCENE_BELOW_FIRST 6
#define SCENE_BELOW_LAST 86
/* Share of the grey that keeps ratios of what is smooth or black quiet (tried). */
#define SCENE_FLOOR 0.02
/* Logistic of the signs, in their order: fitted by scripts/fit_scene.py to whole clips of 21 people and of many devices and to the same cut
 * and enlarged, with the pleura in it and without. How often either is told on people not fitted on: docs/accuracy-zoom.md. */
#define SCENE_ZERO 0.834
#define SCENE_WEIGHTS {7.825, -7.309, 2.618, -1.927, 3.923, -4.806}
/* Under this nothing is read from the line (tried: as few whole clips lost as cut ones allow). */
#define PLEURA_SHOWN_LEAST 0.25

/* ---- what a beam sees ---- */

/* Shadow when log(below / bright) + 0.46 log(near / above) < -0.42: below = mean grey of rows 8 to 48 under
 * the line, bright = its 85th percentile over beams, near = rows 3 to 13 under, above = the same over the
 * line. Logistic fit to the 160 columns marked by eye (rib shadow or not) of the first set: right in 79 % by
 * person, area under the ROC curve 0.86; on simulated ribs 0.99 and 96 %. Other rows and percentiles read
 * alike. */
#define BEAM_BELOW_FIRST 8
#define BEAM_BELOW_LAST 48
#define BEAM_BRIGHT_SHARE 0.85
#define BEAM_NEAR_ROWS 13
#define BEAM_STEP_WEIGHT 0.46f
#define BEAM_SHADOW_LEVEL 0.42f
/* Slope of that logistic. */
#define BEAM_OPEN_SLOPE 3.2f
/* A cap is brighter than this share of the brightest below the line (tried). */
#define BEAM_CAP_SHARE 1.3f
/* Rows above the line in which it is looked for: ribs lie about 5 mm above the pleura (clinical sheet 1), 8 %
 * of 15 cm is 12 mm. */
#define BEAM_CAP_ROWS 20
/* No contact: the wall itself under this share of the usual wall (tried). */
#define BEAM_DARK_SHARE 0.25f
#define BEAM_USUAL_SHARE 0.6
/* Beams: narrower gaps between shadows are no space, narrower shadows no rib (tried). */
#define BEAM_SPACE_LEAST 5
#define BEAM_RIB_LEAST 4

/* A shadow begins where grey over so many rows above is this many times (ln) that over so many below; no layer of the wall does that. The
 * line is doubted where it lies so many rows above (tried on simulated chests). On real clips what is dark below the line begins too
 * deep too often for the line itself to be moved by this: points marked by eye found fell from 0.96 to 0.81. */
#define SHADOW_ABOVE 6
#define SHADOW_UNDER 40
#define SHADOW_STEP 1.2f
#define SHADOW_BELOW 6.0f
#define SHADOW_DEEPEST 110

#endif
