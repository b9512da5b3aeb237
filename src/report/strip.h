/* The chest unrolled: from the spine round the right side to the sternum and on round the left side back to the spine,
 * head up. A zone is a tile that holds the straightened frame of the clip that decided its score. */
#ifndef SL_REPORT_STRIP_H
#define SL_REPORT_STRIP_H

#include "exam/exam.h"
#include "report/clip_row.h"

typedef struct sl_tile {
    double x, y, width, height;     /* the tile */
    double px, py, pwidth, pheight; /* its picture */
} sl_tile;

/* Tiles of the examination's zones in a rectangle; zones that the scheme leaves out give their room to the others. */
void sl_strip_lay_out(const sl_exam *exam, double x, double y, double width, double height, sl_tile *tiles);

/* Draws the tiles with labels above. `shown[i]` and `reading[i]` belong to zone i; pictures may be missing. */
void sl_draw_strip(sl_pen *pen, const sl_exam *exam, const sl_tile *tiles, const sl_shown *shown,
                   const sl_reading *const *reading);

#endif
