/* How finely a clip resolves at a depth, and where that is known from: the beam's formula where frequency and aperture are stated,
 * else the grain of the clip's own speckle (grain.h), else it is unknown. */
#ifndef SL_READING_RESOLUTION_H
#define SL_READING_RESOLUTION_H

#include "reading/quality.h"
#include "view/view.h"

typedef enum sl_resolution_source { SL_RESOLUTION_UNKNOWN, SL_RESOLUTION_SPECKLE, SL_RESOLUTION_FORMULA } sl_resolution_source;

/* mm, full widths at half the amplitude (-6 dB, there and back); NAN = unknown. */
typedef struct sl_resolution {
    double along_mm, across_mm;
    sl_resolution_source along_from, across_from;
} sl_resolution;

/* What the file or the user says of the beam; NAN = not said. */
typedef struct sl_beam_stated {
    double freq_mhz, aperture_mm, focus_mm;
} sl_beam_stated;

/* At `depths` depths (0..1 of the view) together: the root of the mean square, which is what a distance's or an area's uncertainty
 * takes of them. Across: sl_beam_width_mm() of the stated frequency, aperture and focus (not said: as if focused at the depth, the
 * least it can be), where the probe's face is in the picture so that the depth is known; else the grain. Along: the grain; else
 * half a pulse of two cycles (common practice, no source) of the stated frequency. Grain is carried over at most an eighth of the
 * depth from where it was measured. `grey`, `stated` may be NULL. */
sl_resolution sl_resolution_at(const sl_view *view, const sl_grey_quality *grey, const sl_beam_stated *stated, const double *depth,
                               int depths);

#endif
