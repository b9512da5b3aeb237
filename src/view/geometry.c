/* Pixel <-> beam and depth (standard scan conversion, physics-standards sheet C1). */
#include "view/view.h"

#include "core/units.h"

static bool is_fan(const sl_view *view)
{
    return view->shape == SL_SHAPE_CONVEX || view->shape == SL_SHAPE_SECTOR;
}

void sl_view_to_pixel(const sl_view *view, double beam, double depth, double *x, double *y)
{
    if (is_fan(view)) {
        double angle = view->first_angle + beam * (view->last_angle - view->first_angle);
        double r = view->near_r + depth * (view->far_r - view->near_r);
        *x = view->apex_x + r * sin(angle);
        *y = view->apex_y + r * cos(angle) / view->aspect;
    } else {
        *x = view->first_x + beam * (view->last_x - view->first_x);
        *y = view->near_y + depth * (view->far_y - view->near_y);
    }
}

void sl_view_from_pixel(const sl_view *view, double x, double y, double *beam, double *depth)
{
    if (is_fan(view)) {
        double across = x - view->apex_x, down = (y - view->apex_y) * view->aspect;
        *beam = (atan2(across, down) - view->first_angle) / (view->last_angle - view->first_angle);
        *depth = (hypot(across, down) - view->near_r) / (view->far_r - view->near_r);
    } else {
        *beam = (x - view->first_x) / (view->last_x - view->first_x);
        *depth = (y - view->near_y) / (view->far_y - view->near_y);
    }
}

double sl_view_depth_px(const sl_view *view)
{
    return is_fan(view) ? view->far_r - view->near_r : (view->far_y - view->near_y) * view->aspect;
}

double sl_view_depth_mm(const sl_view *view)
{
    return sl_view_depth_px(view) * view->mm_per_px;
}

double sl_view_beam_step_px(const sl_view *view, int beams, double depth)
{
    if (!is_fan(view))
        return (view->last_x - view->first_x) / beams;
    return (view->near_r + depth * (view->far_r - view->near_r)) * (view->last_angle - view->first_angle) /
           beams;
}

const char *sl_shape_name(sl_shape shape)
{
    switch (shape) {
    case SL_SHAPE_CONVEX:
        return "convex";
    case SL_SHAPE_LINEAR:
        return "linear";
    case SL_SHAPE_SECTOR:
        return "sector";
    case SL_SHAPE_UNKNOWN:
        break;
    }
    return "unknown";
}

const char *sl_scale_source_name(sl_scale_source source)
{
    switch (source) {
    case SL_SCALE_DICOM:
        return "dicom";
    case SL_SCALE_STATED:
        return "stated";
    case SL_SCALE_RULER:
        return "ruler";
    case SL_SCALE_NONE:
        break;
    }
    return "none";
}
