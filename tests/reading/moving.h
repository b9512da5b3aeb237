/* Straightened stacks whose speckle moves by known paths: a wall above the pleural line, a lung on and below it, each with a
 * texture of its own, between beams as well as by whole ones; electronic noise that is new in every frame. */
#ifndef TESTS_READING_MOVING_H
#define TESTS_READING_MOVING_H

#include "core/arena.h"
#include "view/stack.h"

typedef struct moving {
    int frames;
    double frame_s;           /* 0: times are not known */
    double mm_per_beam;       /* 0: no scale */
    double pleura;            /* row of the line */
    double slide, breaths_hz; /* beams peak to peak of the lung against the wall */
    double lag;               /* share of a breath by which the lung comes after the rest */
    double wall;              /* beams peak to peak of wall and lung together, with the breath */
    double pulse, beats_hz;   /* beams */
    double sway;              /* beams peak to peak of wall and lung together, at 0.3 Hz */
    double rise;              /* rows peak to peak of the line, with the breath */
    double wave;              /* rows that the line lies deeper and nearer by turns along the beams, 48 of them from crest to crest */
    double noise;             /* share of the speckle that is new in every frame */
    double still_from;        /* beam from which on the lung does not move; 0: nowhere (all of it moves) */
    double edge_swing;        /* beams peak to peak that this place travels with the breath */
    int lost_from;            /* frame from which on there is no contact; 0: never */
} moving;

void draw_moving(const moving *what, sl_arena *arena, sl_stack *stack);

/* Speckle of one structure: values of `rows` rows over beams -64 .. SL_BEAMS + 64, sampled between beams. */
typedef struct speckle speckle;
speckle *new_speckle(sl_arena *arena, int rows, double grain_beams, unsigned seed);
double speckle_at(const speckle *s, int row, double beam);

#endif
