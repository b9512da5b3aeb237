/* A lung that slides on one side of the picture and a pleura that stands still on the other, told by the windows (motion.h): somewhere between them
 * a lung point may lie behind a rib. What stands still must reach to the picture's end, as free air does, and keep its speckle; and the lung's side
 * must slide as far as the picture shows it. */
#ifndef SL_READING_LUNG_SIDES_H
#define SL_READING_LUNG_SIDES_H

#include "reading/sliding.h"

typedef struct sl_lung_sides {
    bool found, lung_left;
    double index;        /* 0..1 */
    double first, last;  /* beam coordinates between which the sides meet */
    int window;          /* the lung's side's furthest going one */
} sl_lung_sides;

/* `sliding` of the same movement. */
void sl_lung_sides_find(const sl_movement *movement, const sl_sliding *sliding, sl_lung_sides *sides);

#endif
