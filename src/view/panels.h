/* Several pictures on one screen: which of them is read. Inside view/ only. */
#ifndef SL_VIEW_PANELS_H
#define SL_VIEW_PANELS_H

#include "view/find_parts.h"

typedef struct sl_panel {
    uint8_t *aside;     /* of each pooled pixel: 1 = another picture's; NULL where there is one picture only (arena) */
    int x0, y0, x1, y1; /* pooled pixels, inclusive: the panel and the room around it up to its neighbours */
    char note[120];     /* which one is read and what is not, "" for one picture */
} sl_panel;

/* By the calibrated regions where the file has several (PS3.3 C.8.5.5), else by a gap in the lit picture that is empty over its
 * whole height or width. */
sl_status sl_panel_choose(const sl_planes *planes, const sl_clip_info *info, sl_arena *arena, sl_panel *panel,
                          sl_error *error);

#endif
