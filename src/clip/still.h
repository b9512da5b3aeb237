/* What stands still in a clip: the darkest and the brightest grey of each pixel over the frames. Burned-in text is bright
 * in the darkest (or dark in the brightest) picture whatever moves behind it. */
#ifndef SL_CLIP_STILL_H
#define SL_CLIP_STILL_H

#include "core/error.h"

#include <stdbool.h>
#include <stdint.h>

enum { SL_STILL_PARTS = 4 }; /* the whole clip, and its three thirds for text that comes or goes */

typedef struct sl_still {
    int width, height, frames, parts; /* one part where there are too few frames for thirds */
    bool coloured; /* some frame shows colour */
    uint8_t *low[SL_STILL_PARTS], *high[SL_STILL_PARTS]; /* owned, width * height */
} sl_still;

/* Decodes the clip once. A frame that cannot be decoded fails with SL_UNREADABLE: what was not seen cannot be vouched
 * for. */
sl_status sl_still_of(const char *path, int threads, sl_still *still, sl_error *error);

/* Sets a rectangle (inclusive) to black in every part. */
void sl_still_blacken(sl_still *still, int x0, int y0, int x1, int y1);

void sl_still_free(sl_still *still);

#endif
