/* Whether the picture shows a pleural line at all. A picture zoomed onto the chest wall ends above it, one zoomed onto what lies below
 * begins under it; either way some row of it looks most like the line, and is not.
 *
 * Why these signs: a picture that shows the pleura begins at the transducer, whose near field is layered along the beam and even across
 * it, and as bright as the wall; one that begins deeper starts with speckle or with what air sends back. A true line has no rival of
 * its strength below it, what lies under it runs on in columns, and less comes back from there than from the wall. */
#ifndef SL_READING_PLEURA_SCENE_H
#define SL_READING_PLEURA_SCENE_H

#include "reading/pleura_cells.h"
#include "view/stack.h"

enum {
    SCENE_LAYERS,     /* log of the change of grey along the beam in the near field, per grey */
    SCENE_ACROSS,     /* the same from beam to beam */
    SCENE_NEAR,       /* log of grey of the near field over that above and below the line */
    SCENE_RIVAL_DOWN, /* means along the line of the signs of pleura_cells.h */
    SCENE_COLUMNS,
    SCENE_LEVEL,
    SCENE_SIGNS /* as many as sl_pleura keeps */
};

/* `mean`: mean grey of the clip; `cells`: filled with it; `line`: rows, NAN where there is none; `beams`: what each sees. False when no
 * beam sees the line: the signs are 0. */
bool sl_pleura_scene(const float *mean, const uint8_t *mask, const sl_pleura_cells *cells, const float *line, const sl_beams *beams,
                     double sign[SCENE_SIGNS]);

/* Probability that the pleural line is in the picture (weights: pleura_table.h). */
double sl_pleura_scene_shown(const double sign[SCENE_SIGNS]);

#endif
