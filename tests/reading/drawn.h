/* Straightened stacks drawn with known A-lines and B-lines: a bright wall of layers, the pleural line, repeats at whole
 * multiples of its depth from the face, vertical lines to the far edge, speckle that is new in every frame. */
#ifndef TESTS_READING_DRAWN_H
#define TESTS_READING_DRAWN_H

#include "core/arena.h"
#include "view/stack.h"

typedef struct drawn {
    int frames;
    double pleura;      /* row of the line */
    int repeats;        /* A-lines */
    double spacing;     /* rows from the line to the first repeat and on */
    int lines;          /* B-lines, evenly over the width */
    double line_width;  /* beams */
    double line_depth;  /* share of the way from the line to the far edge they reach; 1 = all */
    bool still;         /* nothing moves and nothing flickers but the speckle */
    double gain;        /* of everything drawn; 1 = usual, 0 = black */
} drawn;

/* All memory from the arena; times 25 frames/s; the view is linear with its face in the picture. */
void draw_stack(const drawn *what, sl_arena *arena, sl_stack *stack);

#endif
