#include "objects/region.h"

#include <math.h>
#include <string.h>

int sl_dicom_region_of(const sl_view *view, sl_clip_region *region)
{
    if (!isfinite(view->mm_per_px) || view->shape == SL_SHAPE_UNKNOWN)
        return 0;
    bool linear = view->shape == SL_SHAPE_LINEAR;
    double x = linear ? (view->first_x + view->last_x) / 2 : view->apex_x;
    double y = linear ? view->near_y : view->apex_y + view->near_r / view->aspect;
    /* mm_per_px is along the beam; lengths are in pixel widths, and a pixel is `aspect` times as high (view.h). */
    *region = (sl_clip_region){.x0 = 0, .y0 = 0, .x1 = view->width - 1, .y1 = view->height - 1, .spatial_format = 1,
                               .data_type = 1, .unit_x = 3, .unit_y = 3, .ref_x = (int)lround(x), .ref_y = (int)lround(y),
                               .delta_x = view->mm_per_px / 10, .delta_y = view->mm_per_px * view->aspect / 10};
    return 1;
}

const char *sl_dicom_transducer_of(const sl_view *view)
{
    return view->shape == SL_SHAPE_CONVEX ? "CURVED LINEAR"
           : view->shape == SL_SHAPE_LINEAR ? "LINEAR"
           : view->shape == SL_SHAPE_SECTOR ? "SECTOR_PHASED" : "";
}
