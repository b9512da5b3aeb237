/* The numbers of the pleural line, each with its origin. Rows are cells of SL_DEPTHS, lengths in beams are
 * cells of SL_BEAMS. "tried": chosen while looking at the development clips, which is why docs/accuracy.md
 * judges on others. */
#ifndef SL_READING_PLEURA_TABLE_H
#define SL_READING_PLEURA_TABLE_H

/* A block is long enough to average speckle and short against breathing (about 4 s) and the heart (about 1
 * s):
 * ../shared/evidence recipe, step 4. A block's picture is the mean of it and its two neighbours. */
#define PLEURA_BLOCK_S 0.16
#define PLEURA_BLOCK_FRAMES 4 /* where times are not known: 0.16 s at the common 25 frames/s */

/* Where the line is looked for, as shares of the imaged depth: chest walls thicker than 60 % of the imaged
 * depth would leave no lung to read (common practice, no source). */
#define PLEURA_NEAREST 0.008f
#define PLEURA_DEEPEST 0.60f

/* The signs: the unit of grey and the floors that keep ratios of near-black cells quiet (units of the wall's
 * level; 0.06 is about the grey of an empty picture against a wall in the development clips). */
#define PLEURA_LEVEL_SHARE 0.80
#define PLEURA_FLOOR 0.06f
#define PLEURA_FLOOR_TEXTURE 0.004f
#define PLEURA_FLOOR_CHANGE 0.01f
#define PLEURA_FLOOR_RIDGE 0.05f
#define PLEURA_CHANGE_STILL 0.0f /* the sign of change in a still: the same for every row, says nothing */
#define PLEURA_BLACK                                                                                         \
    2.0f /* grey levels of the wall's level under which a picture counts as black (tried)                    \
          */

/* The search, in units of log-likelihood. */
#define PLEURA_LEAST (-8.0f)   /* no cell is worse than this against the best of its beam (tried; flat) */
#define PLEURA_STEP_ROWS 5     /* steepest line, rows a beam; the steepest marked by eye are about 4 */
#define PLEURA_STEP_COST 0.2f  /* for each row a beam; 0.15 to 0.5 read alike */
#define PLEURA_PULL_COST 0.05f /* for each row a block's line is off the clip's; 0.05 to 0.1 read alike */
#define PLEURA_PULL_ROWS                                                                                     \
    12 /* cost grows no further from here: a jump that the picture asks for is allowed                       \
        */
#define PLEURA_SHADOW_WEIGHT                                                                                 \
    0.25f                       /* of what a rib beam says about the line, against one of a space (tried) */
#define PLEURA_DARK_WEIGHT 0.1f /* of a beam without contact (tried) */
#define PLEURA_FINE_ROWS 2      /* the line is put on the brightest cell this near (half a pulse's length) */
#define PLEURA_NEAR_ROWS 5      /* "here" for the beam's sureness: 2 % of the imaged depth */

/* Shadow: grey below the line under this share of the brightest spaces' (tried). */
#define BEAM_SHADOW_SHARE 0.42f
#define BEAM_DARK_SHARE 0.25f /* no contact: the wall itself under this share of the usual wall (tried) */
#define BEAM_SPACE_LEAST 5    /* beams; narrower gaps between shadows are no space (tried) */

#endif
