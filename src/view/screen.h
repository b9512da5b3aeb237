/* What the screen draws around the picture: a depth ruler, the orientation mark. Only what stands still and
 * outside the view counts. Inside view/ only. */
#ifndef SL_VIEW_SCREEN_H
#define SL_VIEW_SCREEN_H

#include "view/find_parts.h"

/* Equally spaced ticks down one side. */
typedef struct sl_ruler {
    int ticks;         /* 0 = none found */
    double spacing_px; /* rows between ticks */
    double spacing_sd;
    int longer_every; /* every how many ticks is longer: 2, 5, 10; 0 = all alike */
} sl_ruler;

void sl_ruler_find(const uint8_t *mark, int w, int h, sl_arena *arena, sl_ruler *ruler);

enum {
    SL_MARK_NONE,
    SL_MARK_DRAWN, /* still, outside the view and well above the surround */
    SL_MARK_HIDDEN /* moving, or inside the view: nothing can be said */
};

/* Which it is for each pixel of the full picture; w * h bytes from the arena, NULL when memory is out. */
uint8_t *sl_marks_find(const uint8_t *hi, const uint8_t *lo, const sl_view *view, bool still,
                       sl_arena *arena);

/* True when one compact mark stands beside the near end of the last beam and none beside that of the first.
 */
bool sl_mark_on_right(const uint8_t *mark, const sl_view *view);

/* Centimetres a tick, when tick pattern and a plausible depth of the picture (`depth_ticks` of them) leave
 * one answer; else 0. */
double sl_ruler_cm(const sl_ruler *ruler, sl_shape shape, double depth_ticks);

/* The ruler that was found with the view. Owned by the finder. */
const sl_ruler *sl_view_finder_ruler(const sl_view_finder *finder);

#endif
