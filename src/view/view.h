/* The view: where in the picture the beams lie.
 *
 * Geometry (physics-standards sheet C1, standard scan conversion): a convex or sector picture has an apex
 * (virtual centre of the probe's curvature; outside the picture for a cropped fan) and beams at angles from
 * it; a pixel is x = apex_x + r sin(angle),  y = apex_y + r cos(angle) / aspect    [angle 0 points down,
 * positive to the right] with r from near_r (where the imaged area begins; the probe's face if face_visible)
 * to far_r. A linear picture has parallel beams: x from first_x to last_x, y from near_y to far_y (steered
 * ones are not handled and say so).
 *
 * x and y (apex_x, apex_y, first_x, last_x, near_y, far_y) count columns and rows of the picture, with the
 * middle of the first pixel at 0, 0. Lengths (near_r, far_r, mm_per_px, sl_view_depth_px) are in pixel
 * widths; a row is `aspect` of them, which differs from 1 in a stretched picture.
 *
 * Beam coordinates used everywhere else: beam b in [0,1] from the picture's left to its right edge beam,
 * depth d in [0,1] from near to far along the beam. */
#ifndef SL_VIEW_VIEW_H
#define SL_VIEW_VIEW_H

#include "clip/clip.h"
#include "core/error.h"
#include "core/image.h"

#include <stdbool.h>
#include <stdint.h>

typedef enum sl_shape { SL_SHAPE_UNKNOWN, SL_SHAPE_CONVEX, SL_SHAPE_LINEAR, SL_SHAPE_SECTOR } sl_shape;

typedef enum sl_scale_source {
    SL_SCALE_NONE,
    SL_SCALE_DICOM,  /* calibrated region */
    SL_SCALE_STATED, /* --depth-cm or exam.csv: the imaged depth, face to far edge */
    SL_SCALE_RULER   /* marks at the picture's edge */
} sl_scale_source;

typedef struct sl_view {
    sl_shape shape;
    int width, height;                     /* of the picture, pixels */
    double apex_x, apex_y;                 /* convex, sector */
    double first_angle, last_angle;        /* rad, first < last */
    double near_r, far_r;                  /* pixels along the beam from the apex */
    double first_x, last_x, near_y, far_y; /* linear */
    double aspect;                         /* pixel height / width, 1 unless known or found otherwise */
    bool face_visible;                     /* the near edge is the probe's face, not a crop */
    bool mirrored;       /* the orientation mark is on the right: beams run right to left on the body */
    bool borrowed;       /* taken from another clip of the examination */
    bool far_dark;       /* the far edge is not in the picture or in the dark: far_r, far_y is how far light reaches */
    double agreement;    /* 0..1: share of the lit picture inside and of the inside lit, edges fitted */
    double edge_rms_px;  /* of the edge points about the fitted edges, NAN when an edge was not seen */
    double mm_per_px;    /* along the beam; NAN = unknown */
    double mm_per_px_sd; /* its standard uncertainty; NAN = unknown */
    sl_scale_source scale_source;
    char note[160]; /* one clause for a person: what was hard, "" if nothing */
} sl_view;

/* ---- finding it ---- */

/* Collects per-pixel statistics over frames (maximum, mean, change), then finds the view. */
typedef struct sl_view_finder sl_view_finder;

sl_status sl_view_finder_new(int width, int height, sl_view_finder **finder, sl_error *error);
void sl_view_finder_add(sl_view_finder *finder, sl_gray frame);
/* SL_UNREADABLE with the reason when no view can be found (black, a photograph, too small). */
sl_status sl_view_finder_find(sl_view_finder *finder, const sl_clip_info *info, sl_view *view,
                              sl_error *error);
void sl_view_finder_free(sl_view_finder **finder);

/* Scale from the best source there is: DICOM regions, else `stated_depth_cm` (> 0), else the ruler found by
 * the finder; sets mm_per_px, its uncertainty and the source, or leaves them unknown. */
void sl_view_set_scale(sl_view *view, const sl_clip_info *info, double stated_depth_cm,
                       const sl_view_finder *finder);

/* ---- using it ---- */

/* Pixel of a point in beam coordinates, and back. */
void sl_view_to_pixel(const sl_view *view, double beam, double depth, double *x, double *y);
void sl_view_from_pixel(const sl_view *view, double x, double y, double *beam, double *depth);

/* Length along the beam of the whole imaged depth: pixels, and mm (NAN without scale). */
double sl_view_depth_px(const sl_view *view);
double sl_view_depth_mm(const sl_view *view);

/* Distance in pixels between neighbouring beams when the view is divided into `beams`, at depth d. */
double sl_view_beam_step_px(const sl_view *view, int beams, double depth);

const char *sl_shape_name(sl_shape shape); /* "convex", "linear", "sector", "unknown" */
const char *sl_scale_source_name(sl_scale_source source);

#endif
