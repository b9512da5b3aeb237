/* The numbers of the pleural line, each with its origin. Rows are cells of SL_DEPTHS, lengths in beams are
 * cells of SL_BEAMS. "tried": chosen while looking at the development clips, which is why docs/accuracy.md
 * judges on others. */
#ifndef SL_READING_PLEURA_TABLE_H
#define SL_READING_PLEURA_TABLE_H

/* A block is long enough to average speckle and short against breathing (about 4 s) and the heart (about 1
 * s):
 * ../shared/evidence recipe, step 4. */
#define PLEURA_BLOCK_S 0.16
#define PLEURA_BLOCK_FRAMES 4 /* where times are not known: 0.16 s at the common 25 frames/s */

/* Where the line is looked for, as shares of the imaged depth: chest walls thicker than 60 % of the imaged
 * depth would leave no lung to read (common practice, no source). */
#define PLEURA_NEAREST 0.01f
#define PLEURA_DEEPEST 0.60f

#define PLEURA_STEP_ROWS 4     /* steepest line: rows a beam; a line of 45 degrees in a wide fan (geometry) */
#define PLEURA_STEP_COST 0.06f /* for each row a beam (tried) */
#define PLEURA_PULL_COST 0.02f /* for each row a block's line is off the clip's (tried) */
#define PLEURA_PULL_ROWS 12    /* at most this far (tried) */

/* Shadow: grey below the line under this share of the brightest spaces' (tried). */
#define BEAM_SHADOW_SHARE 0.42f
#define BEAM_DARK_SHARE 0.25f /* no contact: the wall itself under this share of the usual wall (tried) */
#define BEAM_SPACE_LEAST 5    /* beams; narrower gaps between shadows are no space (tried) */

#endif
