/* Movement of the lung against the chest wall: the speckle on the pleural line is followed along the beams in windows
 * across each intercostal space, the wall's just above it in the whole space, and the one is taken from the other, so that
 * the probe's and the chest's movement cancel (clinical sheet 1: sliding is to-and-fro movement AT the pleural line).
 *
 * What is kept of a segment of a clip is small: a path a window and numbers on how well it could be followed. */
#ifndef SL_READING_MOTION_H
#define SL_READING_MOTION_H

#include "reading/beams.h"
#include "reading/motion_table.h"
#include "reading/strips.h"

typedef struct sl_window_motion {
    sl_beam_range beams;
    int space;             /* index in the pleura's spaces */
    double *x;             /* [frames] lung against wall, beams to the right, x[0] = 0 */
    double misfit;         /* rms of the steps about the path, beams */
    double peak_next;      /* mean correlation at the peak, neighbouring frames */
    double still_next;     /* mean correlation of neighbouring frames where the wall went */
    double still_later;    /* the same a while later (MOTION_LATER_S) */
    double persistence;    /* 0..1: share of the speckle that a while later still is where the wall went */
    double peak_later;
    double lost_share;     /* of the neighbouring frames cannot be matched */
    double edge_share;     /* of the neighbouring frames' peaks lie at the end of the range */
} sl_window_motion;

typedef struct sl_space_motion {
    sl_beam_range beams;
    double *wall;          /* [frames] the wall against the probe, beams at the wall's depth */
    double wall_misfit, wall_peak_next, wall_persistence;
} sl_space_motion;

typedef struct sl_movement {
    const char *reason;    /* why nothing could be followed, "" otherwise */
    int frames, windows, spaces;
    double later_s;        /* between the frames of still_later, NAN when times are not known */
    const double *time_s;  /* of the stack */
    const float *rise;     /* [frames] rows: the line's own rise and fall */
    const double *wall;    /* [frames] the wall against the probe, all spaces together: beams at the wall's depth */
    double lung_depth, wall_depth;
    double wall_to_lung;   /* beams at the lung's depth that are as long as one at the wall's */
    int later;             /* frames between those of still_later */
    sl_strips strips;
    sl_window_motion window[WINDOWS_MOST];
    sl_space_motion space[SL_SPACES_MOST];
} sl_movement;

/* The longest stretch of the stack in which the probe touches: where it is lifted off the wall goes dark, and what could be
 * followed there is noise. Shares the stack's arrays; the whole stack where nothing tells. */
sl_stack sl_motion_in_contact(const sl_stack *stack, const sl_pleura *pleura);
/* `windows` is 0 where no space is wide enough or the clip is too short to see anything move. All memory of the arena. */
sl_status sl_motion_follow(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_movement *motion,
                           sl_error *error);

/* Seconds of each frame [frames] since the first; at the common frame rate where times are not known. */
void sl_motion_seconds(const sl_movement *movement, bool times_known, double *time);

/* How much a path counts by the misfit of its steps; 0 where it is not known. What stands still fits best and is not to outweigh what moves. */
double sl_motion_weight(double misfit);

/* Sums of products of two paths of `n` frames, each about its own mean. */
typedef struct sl_path_products {
    double xx, yy, xy;
} sl_path_products;
sl_path_products sl_motion_products(const double *x, const double *y, int n);

#endif
