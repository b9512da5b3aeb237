#include "reading/resolution.h"

#include "acoustics/beam.h"
#include "acoustics/echo.h"
#include "core/units.h"

#include <math.h>

static const double pulse_cycles = 2; /* common practice, no source */
enum { BANDS = SL_QUALITY_BANDS, CARRIED = SL_QUALITY_BANDS / 8 };

/* Of a width a band at a depth: between the middles of bands, or that of the nearest band not too far away; NAN. */
static double at_depth(const double band[BANDS], double depth)
{
    double at = depth * BANDS - 0.5, below = SL_UNKNOWN, above = SL_UNKNOWN;
    int under = -1, over = -1;
    for (int b = 0; b < BANDS; b++)
        if (sl_known(band[b]) && b <= at) {
            under = b;
            below = band[b];
        } else if (sl_known(band[b]) && over < 0) {
            over = b;
            above = band[b];
        }
    bool near_under = under >= 0 && at - under <= CARRIED, near_over = over >= 0 && over - at <= CARRIED;
    if (near_under && near_over)
        return below + (above - below) * (at - under) / (over - under);
    return near_under ? below : near_over ? above : SL_UNKNOWN;
}

static double formula_across(const sl_view *view, const sl_beam_stated *s, double depth)
{
    double mm = depth * sl_view_depth_mm(view);
    if (!view->face_visible || !(mm > 0) || !(s->freq_mhz > 0) || !(s->aperture_mm > 0))
        return SL_UNKNOWN;
    return sl_beam_width_mm(s->freq_mhz, s->aperture_mm, s->focus_mm > 0 ? s->focus_mm : mm, mm, SL_SPEED_SCANNER_M_S);
}

sl_resolution sl_resolution_at(const sl_view *view, const sl_grey_quality *grey, const sl_beam_stated *stated, const double *depth,
                               int depths)
{
    sl_resolution none = {SL_UNKNOWN, SL_UNKNOWN, SL_RESOLUTION_UNKNOWN, SL_RESOLUTION_UNKNOWN};
    double scale = view->mm_per_px, square[2][2] = {{0}}; /* along, across; of the grain, by the formula */
    if (!(scale > 0) || depths < 1)
        return none;
    for (int i = 0; i < depths; i++) {
        double rows = grey ? at_depth(grey->grain_rows, depth[i]) : SL_UNKNOWN, beams = grey ? at_depth(grey->grain_beams, depth[i]) : SL_UNKNOWN;
        const double width[2][2] = {
            {rows * sl_view_depth_px(view) / SL_DEPTHS * scale,
             stated && stated->freq_mhz > 0 ? sl_axial_resolution_mm(stated->freq_mhz, pulse_cycles, SL_SPEED_SCANNER_M_S) : SL_UNKNOWN},
            {beams * sl_view_beam_step_px(view, SL_BEAMS, depth[i]) * scale, stated ? formula_across(view, stated, depth[i]) : SL_UNKNOWN},
        };
        for (int k = 0; k < 4; k++)
            square[k / 2][k % 2] += width[k / 2][k % 2] * width[k / 2][k % 2] / depths; /* one unknown makes all so */
    }
    static const sl_resolution_source from[2] = {SL_RESOLUTION_SPECKLE, SL_RESOLUTION_FORMULA};
    int along = sl_known(square[0][0]) ? 0 : 1, across = sl_known(square[1][1]) ? 1 : 0;
    none.along_mm = sqrt(square[0][along]);
    none.across_mm = sqrt(square[1][across]);
    none.along_from = sl_known(none.along_mm) ? from[along] : SL_RESOLUTION_UNKNOWN;
    none.across_from = sl_known(none.across_mm) ? from[across] : SL_RESOLUTION_UNKNOWN;
    return none;
}
