/* Millimetres a pixel, from the best source there is. */
#include "core/units.h"
#include "view/screen.h"
#include "view/view.h"
#include "view/view_table.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void add_note(sl_view *view, const char *note)
{
    size_t used = strlen(view->note);
    snprintf(view->note + used, sizeof view->note - used, "%s%s", used ? "; " : "", note);
}

/* PS3.3 C.8.5.5: spatial format 1 = 2D, data type 1 = tissue, unit 3 = cm. */
static bool usable(const sl_clip_region *region, double *dx_cm, double *dy_cm)
{
    if (region->spatial_format != 1 || region->data_type != 1 || region->unit_x != 3 || region->unit_y != 3)
        return false;
    *dx_cm = fabs(region->delta_x);
    *dy_cm = fabs(region->delta_y);
    return *dx_cm >= SL_DELTA_LEAST_CM && *dx_cm <= SL_DELTA_MOST_CM && *dy_cm >= SL_DELTA_LEAST_CM &&
           *dy_cm <= SL_DELTA_MOST_CM;
}

static bool contains(const sl_view *view, const sl_clip_region *region)
{
    double x, y;
    sl_view_to_pixel(view, 0.5, 0.5, &x, &y);
    return x >= region->x0 && x <= region->x1 && y >= region->y0 && y <= region->y1;
}

static bool from_dicom(sl_view *view, const sl_clip_info *info)
{
    for (int i = 0; i < info->regions && i < SL_CLIP_MOST_REGIONS; i++) {
        const sl_clip_region *region = &info->region[i];
        double dx, dy;
        if (!usable(region, &dx, &dy) || !contains(view, region))
            continue;
        if (region->x0 < 0 || region->y0 < 0 || region->x1 >= view->width || region->y1 >= view->height) {
            add_note(view,
                     "the file's calibrated region is larger than the picture: resized afterwards, scale "
                     "not used");
            continue;
        }
        if (fabs(dy / dx / view->aspect - 1) > SL_ASPECT_TOLERANCE) {
            add_note(view, "the file's calibration does not fit the shape of the picture: scale not used");
            continue;
        }
        view->mm_per_px = 10 * dx;
        view->mm_per_px_sd = view->mm_per_px * SL_DICOM_RELATIVE_SD;
        view->scale_source = SL_SCALE_DICOM;
        return true;
    }
    return false;
}

static void from_ruler(sl_view *view, const sl_ruler *ruler)
{
    if (!ruler->ticks)
        return;
    double spacing = ruler->spacing_px * view->aspect; /* rows to pixel widths */
    double cm = sl_ruler_cm(ruler, view->shape, sl_view_depth_px(view) / spacing);
    if (!(cm > 0)) {
        add_note(view, "a ruler is in the picture, but what its ticks stand for is not certain: no scale");
        return;
    }
    view->mm_per_px = 10 * cm / spacing;
    view->mm_per_px_sd = view->mm_per_px * hypot(SL_RULER_RELATIVE_SD, ruler->spacing_sd / ruler->spacing_px);
    view->scale_source = SL_SCALE_RULER;
}

/* Length of the imaged depth and its relative uncertainty. A far edge in the dark lies between where the light ends
 * and the picture's border along the middle beam: the middle of the two, with the spread of an even distribution.
 * False when that says too little. */
static bool imaged_depth(const sl_view *view, double *depth_px, double *relative)
{
    *depth_px = sl_view_depth_px(view);
    if (!view->far_dark)
        return true;
    double x, y;
    sl_view_to_pixel(view, 0.5, 1, &x, &y);
    double room = fmax((view->height - 0.5 - y) * view->aspect, 0), sd = room / sqrt(12.0);
    *depth_px += 0.5 * room;
    *relative = hypot(*relative, sd / *depth_px);
    return sd <= SL_STATED_WIDEST_SD * *depth_px;
}

void sl_view_set_scale(sl_view *view, const sl_clip_info *info, double stated_depth_cm,
                       const sl_view_finder *finder)
{
    view->mm_per_px = view->mm_per_px_sd = SL_UNKNOWN;
    view->scale_source = SL_SCALE_NONE;
    if (info && from_dicom(view, info))
        return;
    double depth_px, relative = SL_STATED_RELATIVE_SD;
    if (stated_depth_cm > 0 && !imaged_depth(view, &depth_px, &relative)) {
        add_note(view, "the stated depth gives no scale: the far edge it counts to is not seen");
    } else if (stated_depth_cm > 0 && depth_px > 0) {
        view->mm_per_px = 10 * stated_depth_cm / depth_px;
        if (!view->face_visible) {
            relative = hypot(relative, SL_STATED_CROPPED_SD);
            add_note(view,
                     "the stated depth counts from the probe's face, which is not in the picture: scale "
                     "approximate");
        }
        view->mm_per_px_sd = relative * view->mm_per_px;
        view->scale_source = SL_SCALE_STATED;
        return;
    }
    if (finder)
        from_ruler(view, sl_view_finder_ruler(finder));
}
