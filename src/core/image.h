/* An 8-bit grey picture: rows from the top, `stride` bytes a row. A view: it owns nothing. */
#ifndef SL_CORE_IMAGE_H
#define SL_CORE_IMAGE_H

#include <stdint.h>

typedef struct sl_gray {
    int width, height, stride;
    const uint8_t *pixel;
} sl_gray;

#endif
