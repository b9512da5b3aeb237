/* The speed that the ends of the colour bar stand for: from a calibrated region of the file (DICOM PS3.3 C.8.5.5: Region Data Type 000EH,
 * colour bar; Physical Units 0007H, cm/s), else from the numbers above and below the bar. It is the speed at which the display turns over:
 * c f_p / (4 f) along the beam (Nyquist; Kasai et al., IEEE Trans Sonics Ultrason 1985;32:458, doi 10.1109/T-SU.1985.31615). */
#ifndef SL_READING_FLOW_SCALE_H
#define SL_READING_FLOW_SCALE_H

#include "clip/clip.h"
#include "core/image.h"
#include "view/colour.h"

typedef struct sl_flow_scale {
    double cm_s;        /* NAN: not known; both ends alike, else one could be misread */
    bool from_file;
    const char *reason; /* a clause when it is not known */
} sl_flow_scale;

/* `picture`: a frame in which the bar of `seen` stands. */
void sl_flow_scale_read(const sl_clip_info *info, sl_gray picture, const sl_colour_seen *seen, sl_flow_scale *scale);

/* The number and its unit in what was read: cm/s, NAN when there is none. `factor` becomes the unit's (1 for cm/s, 100 for m/s), and
 * stays as it is where no unit is read. */
double sl_flow_number(const char *text, double *factor);

#endif
