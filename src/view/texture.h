/* Which way the texture runs. Speckle and layers lie across the beam that made them (the point spread of a
 * beam is wider than it is long, and layers of the body and their reverberations follow the probe's face), so
 * the direction of steepest grey points along the beam. That tells an apex where no edge is in the picture,
 * and a fan from a box. */
#ifndef SL_VIEW_TEXTURE_H
#define SL_VIEW_TEXTURE_H

#include "view/find_parts.h"

#include <stdint.h>

/* Sums of a structure tensor over blocks of the pooled picture. */
typedef struct sl_tensor {
    int64_t xx, xy, yy;
} sl_tensor;

enum { SL_BLOCKS = 24 }; /* along the longer side */

enum { SL_VOTES_MOST = SL_BLOCKS * SL_BLOCKS };

typedef struct sl_votes {
    int count;
    double total;                              /* of the weights */
    double x[SL_VOTES_MOST], y[SL_VOTES_MOST]; /* middle of the block, pooled pixels */
    double sin_a[SL_VOTES_MOST],
        cos_a[SL_VOTES_MOST];     /* way of the beam by its texture, from straight down */
    double weight[SL_VOTES_MOST]; /* squared coherence: 0 = no way, 1 = perfect layers */
} sl_votes;

/* Adds one picture (w x h bytes) to the block sums; `side` = pixels along a block. */
void sl_texture_add(const uint8_t *pixel, int w, int h, int side, sl_tensor *block);

/* One vote from each block that lies wholly in the lit picture; `aspect` as the planes were stretched. */
void sl_texture_votes(const sl_tensor *block, int side, double aspect, const sl_lit *lit, sl_votes *votes);

/* Share of the votes that point along beams from this apex, each counted less the further it is off; 0 to 1.
 */
double sl_texture_support(const sl_votes *votes, double apex_x, double apex_y);
/* ... along parallel beams straight down. */
double sl_texture_support_box(const sl_votes *votes);

/* The apex above the crop with most support; along the line x = at + slope * y if `line` is not NULL. Returns
 * its support, 0 when there are no votes. */
double sl_texture_apex(const sl_votes *votes, const sl_lit *lit, const sl_line *line, double *x, double *y);

#endif
