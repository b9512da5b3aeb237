/* The numbers of bronchograms, each with its origin. "tried": chosen on simulated chests (other seeds than those of
 * docs/fluid-solid.md). */
#ifndef SL_READING_BRONCHOGRAM_TABLE_H
#define SL_READING_BRONCHOGRAM_TABLE_H

#include "reading/answer.h"

/* ---- where solid lung lies ---- */

/* So far from its surface and from its deep border, mm; rows: of 12 cm. A line and its blur are some 2 mm thick. */
#define BRONCHI_MARGIN_MM 2.5
#define BRONCHI_MARGIN_ROWS 5
/* How far lung begins below a rib's surface (clinical sheet 1: some 5 mm). */
#define BRONCHI_BELOW_RIB_MM 5.0
#define BRONCHI_BELOW_RIB_ROWS 11
/* Without a border, down to where its grey has sunk to this share of the brightest rows' (tried). */
#define BRONCHI_DIM 0.30f
/* A border that is this sure (0..1, sl_solid_border_strength) ends it (tried). */
#define BRONCHI_BORDER 0.05
/* Fewest cells: about 2 cm2 of a picture of 12 cm. */
#define BRONCHI_CELLS_LEAST 500
/* Looked at only where lung without air has an index from which it is not absent; fewer blocks a second than this do not follow a
 * breath (tried). */
#define BRONCHI_RATE_LEAST 4.0

/* ---- bright points ---- */

/* Smoothing, cells; the ring that a point is compared with, mm from it to each side; rows and beams without a scale. */
#define BRONCHI_SMOOTH 0.8f
#define BRONCHI_RING_MM 5.0
#define BRONCHI_RING_ROWS 11
#define BRONCHI_RING_BEAMS 6
/* A point: so many times the tissue's own spread above its surroundings. Speckle's grey is about a logarithm of a Rayleigh amplitude, whose
 * 84 % lies 4.2 dB above its median; of 3000 grains none is more than 2.6 such steps above it in most pictures (exp(-x^2/2)
 * of 1.177 * 10^(2.6 * 4.2 / 20) is 1e-4.5); air reflects 20 times more than tissue scatters (physics). */
#define BRONCHI_POINT_SURE 4.0f
/* Two points are no nearer, and one moves no further between two blocks, mm. */
#define BRONCHI_APART_MM 2.0
#define BRONCHI_STEP_MM 2.5
/* Blocks last so long, s: the fastest breath moves lung by some 15 mm/s, so that a point is smeared by less than the beam. */
#define BRONCHI_BLOCK_S 0.12
/* A point is followed over gaps of so many blocks, and counts when it is seen in this share of its time and so long, s. */
#define BRONCHI_GAP 3
#define BRONCHI_KEPT 0.6
#define BRONCHI_LEAST_S 1.2
enum { BRONCHI_BLOCKS_LEAST = 5 };

/* ---- echo-free tubes ---- */

/* Darker than this share of what lies about it, so large, and so thick, mm; without a scale cells of 12 cm. Segmental bronchi and the vessels
 * beside them are some 3 to 6 mm wide (from memory); a gap between grains of speckle is smaller than 4 mm2 and does not last (tried). */
#define TUBE_DARK 0.45f
#define TUBE_AREA_MM2 5.0
#define TUBE_AREA_CELLS 12
#define TUBE_THIN_MM 1.5
#define TUBE_THIN_ROWS 3
#define TUBE_THICK_MM 7.0
#define TUBE_THICK_ROWS 15

/* ---- how the tissue moves ---- */

/* Bands of depth at least so thick; looked for so far to each side of where the last step leads, cells; smoothing, cells; matches worse
 * than this tell nothing (tried). */
enum { DRIFT_BAND_ROWS = 36, DRIFT_REACH = 5 };
#define DRIFT_NARROW 0.8f
#define DRIFT_WIDE 4.0f
#define DRIFT_PEAK_LEAST 0.25f
/* A point is matched with what lies so far about it, mm, and looked for so many cells to each side of where the tissue goes; worse
 * matches tell nothing. Air moves some millimetres in a breath, so half of one between blocks that are 0.36 s apart (physics). */
#define PATCH_MM 3.0
enum { PATCH_REACH = 3 };
/* And only so far from where a rib's shadow or the border cuts it off: of a branch that leans, the part that is seen there changes as the lung
 * slides, which looks like travel (tried). */
#define PATCH_CLEAR_MM 2.5
#define PATCH_PEAK_LEAST 0.5f
/* Of it only what is brighter than this share of the point (tried: with the tissue in it the travel comes out a third too small). */
#define PATCH_FLOOR 0.35f
/* Misfit of a step at which it weighs half, mm: much larger ones are mistakes (tried). */
#define PATCH_MISFIT_MM 0.15
/* Unit in which a free path is fitted, mm (sl_track_path weights misfits down at 0.7 units). */
#define PATCH_UNIT_MM 0.25

/* ---- the answers ---- */

/* Index = n / (n + half) of the points (tubes) that last, in the mean of the blocks; where it is absent and present. Of 60 simulated chests
 * those without air had 0 to 1.4, those with air that can be seen 0.9 to 9.8; without fluid 0 to 1.0, with it 0 to 1.6 (tried). */
#define AIR_HALF 1.5
static const sl_answer_rule air_rule = {0, {0}, 0.30, 0.58};
#define TUBE_HALF 0.8
static const sl_answer_rule tube_rule = {0, {0}, 0.30, 0.52};
/* Moving: more than 1 mm (Lichtenstein et al. 2009, doi 10.1378/chest.08-2281), with nine chances of ten. What the travel may be off by, sd:
 * mm, a share of itself, and half of what the two ways to measure it differ by (tried: still air had 0.1 to 0.8 mm). */
#define MOVING_MM 1.0
#define MOVING_SD_MM 0.2
#define MOVING_SD_SHARE 0.12
static const sl_answer_rule moving_rule = {0, {0}, 0.10, 0.90};
/* Fewest matched steps of points for a travel, and the share of the time at each end of the path that is left out. */
#define MOVING_STEPS_LEAST 40
#define MOVING_ENDS 0.02
/* The tissue that breathes moves by this much at least, mm (the least sliding an eye sees; common practice, no source). */
#define STILL_TISSUE_MM 1.0
/* Half the side of the mark about a point in the evidence, of 1. */
#define BRONCHI_MARK 0.012

#endif
