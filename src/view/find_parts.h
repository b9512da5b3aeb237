/* What the parts of the finder hand each other. Inside view/ only.
 *
 * finder.c collects statistics over frames; lit.c says which pixels belong to the moving picture; lines.c
 * finds straight edges and arcs of their outline; texture.c which way the beams run; fan_score.c, fan.c and
 * box.c fit the two kinds of view to them. All work on planes pooled to at most SL_FIND_SIDE; coordinates are
 * pooled pixels, with the middle of the first one at 0, 0. */
#ifndef SL_VIEW_FIND_PARTS_H
#define SL_VIEW_FIND_PARTS_H

#include "core/arena.h"
#include "core/image.h"
#include "view/view.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct sl_planes {
    int w, h, frames;
    double aspect;                         /* rows were stretched by this to make pixels square */
    int pool;                              /* picture pixels along the side of one pooled pixel */
    const uint8_t *hi, *lo, *mean, *range; /* over frames: largest, smallest, mean, hi - lo */
    const uint8_t *aside;                  /* 1 = of another picture on the screen; NULL = there is one only */
} sl_planes;

typedef struct sl_lit {
    int w, h;
    uint8_t *lit;                  /* 1 = belongs to the moving picture */
    uint8_t *open;                 /* 1 = says nothing either way (marks drawn over the picture) */
    int16_t *first, *last;         /* of each row: first and last lit column, -1 = none */
    int16_t *top, *bottom;         /* of each column */
    int *lit_before, *said_before; /* [y][x], w + 1 a row: lit, and not open, pixels of the row left of x */
    int x0, y0, x1, y1;            /* the crop: bounding box of the lit parts, inclusive */
    bool cropped_left, cropped_right, cropped_top, cropped_bottom; /* straight cuts at that side of the box */
    long count;                                                    /* lit pixels */
    bool still;            /* nothing moves: one frame, or a frozen clip */
    double surround_share; /* share of the picture that is surround */
} sl_lit;

/* Counts the lit pixels from column a to b (both inside) of a row, and the dark ones that are not open. */
static inline void sl_lit_count(const sl_lit *lit, int y, int a, int b, long *lit_in, long *dark_in)
{
    const int *n = lit->lit_before + (size_t)y * (size_t)(lit->w + 1);
    const int *said = lit->said_before + (size_t)y * (size_t)(lit->w + 1);
    int lit_here = n[b + 1] - n[a];
    *lit_in += lit_here;
    *dark_in += said[b + 1] - said[a] - lit_here;
}

/* The planes with rows repeated or left out so that pixels that are `aspect` widths high become square. */
sl_status sl_planes_stretch(const sl_planes *planes, double aspect, sl_arena *arena, sl_planes *square,
                            sl_error *error);

sl_status sl_lit_find(const sl_planes *planes, sl_arena *arena, sl_lit *lit, sl_error *error);

/* A straight edge x = at + slope * y; support = rows that lie on it. */
typedef struct sl_line {
    double at, slope;
    int support;
} sl_line;

/* Up to `most` different lines of the left outline (right: mirrored = true), best first. */
int sl_lines_find(const sl_lit *lit, bool mirrored, sl_line *line, int most);

/* A circle of the lower outline (upper = true: of the upper one); support = columns that lie on it. */
typedef struct sl_arc {
    double x, y, r;
    int support;
} sl_arc;

int sl_arcs_find(const sl_lit *lit, bool upper, sl_arc *arc, int most);

/* Whether an outline point is only where the picture was cut, and so says nothing about an arc. */
static inline bool sl_lit_cut_below(const sl_lit *lit, int y)
{
    return y >= lit->h - 2 || (lit->cropped_bottom && y >= lit->y1 - 1);
}

static inline bool sl_lit_cut_above(const sl_lit *lit, int y)
{
    return y < 2 || (lit->cropped_top && y <= lit->y0 + 1);
}

typedef struct sl_fan {
    double x, y;        /* apex */
    double left, right; /* half angles, rad, both positive */
    double near_r, far_r;
    bool left_seen, right_seen, far_seen, face_seen;
    double rms;            /* of the edge points, NAN when no edge was seen */
    double inside, filled; /* share of the lit picture inside; share of the inside (within the crop) lit */
    double texture;        /* share of the texture that runs across its beams */
    double score;
} sl_fan;

struct sl_votes;

/* 1 at no distance, 0 from `reach` on: the weight of Tukey's biweight. */
static inline double sl_biweight(double off, double reach)
{
    double u = off / reach;
    return u > -1 && u < 1 ? (1 - u * u) * (1 - u * u) : 0;
}

/* Fills in far and near radius, what is seen, and the score, from the apex and the half angles. */
void sl_fan_score(const sl_lit *lit, const struct sl_votes *votes, sl_fan *fan);

/* The best fan for this outline and texture; false when nothing speaks for one. */
bool sl_fan_find(const sl_lit *lit, const struct sl_votes *votes, sl_fan *fan);

/* Height of a pixel in widths, from how far the arcs are ellipses about the apex that both side edges give;
 * false when the picture does not tell. */
bool sl_aspect_find(const sl_lit *lit, const sl_fan *fan, double *aspect, double *sd);

typedef struct sl_box {
    double x0, y0, x1, y1;
    bool left_seen, right_seen, top_seen, bottom_seen;
    double inside, filled, texture, score;
    double edges; /* what its straight edges on a dark surround add, where no fan's side edge explains the outline */
} sl_box;

void sl_box_find(const sl_lit *lit, const struct sl_votes *votes, sl_box *box);

/* Moves the near edge of the view to where the imaged area begins along most beams of the full picture of
 * largest greys (w * h), between pixels; leaves it where too few beams agree. */
void sl_near_edge_refine(const uint8_t *hi, int pool, sl_view *view);

#endif
