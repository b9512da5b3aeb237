/* What each beam sees: an intercostal space, the shadow of a rib, no contact with the skin, or nothing
 * because it runs outside the picture; and the caps of the ribs where they are seen.
 *
 * Signs (clinical sheet 1; Lichtenstein 2014, Ann Intensive Care 4:1): bone reflects at its surface and
 * leaves a clean dark shadow; the pleural line lies about 5 mm deeper than the surface of the ribs and runs
 * on between them. */
#ifndef SL_READING_BEAMS_H
#define SL_READING_BEAMS_H

#include "view/stack.h"

#include <stdint.h>

typedef enum sl_beam_kind {
    SL_BEAM_SPACE,      /* sound reaches the pleura and comes back */
    SL_BEAM_RIB,        /* shadow below a bright cap or below the depth of the line */
    SL_BEAM_NO_CONTACT, /* dark from the near edge on */
    SL_BEAM_OUTSIDE     /* the picture ends before the depth of the line */
} sl_beam_kind;

typedef struct sl_beam_range {
    int first, last; /* beams, both included */
} sl_beam_range;

typedef struct sl_rib_cap {
    int first, last; /* beams of the shadow */
    float row;       /* of the brightest point of the cap, cells (see pleura.h) */
} sl_rib_cap;

enum { SL_SPACES_MOST = 8, SL_CAPS_MOST = 8 };

typedef struct sl_beams {
    uint8_t kind[SL_BEAMS]; /* sl_beam_kind */
    float open[SL_BEAMS];   /* 0..1: how surely it looks into a space; 0 outside and without contact */
    int spaces; /* intercostal spaces from left to right of the picture, at least a few beams wide */
    sl_beam_range space[SL_SPACES_MOST];
    int widest; /* index of the widest space, -1 when there is none */
    int caps;   /* ribs whose cap is seen, left to right */
    sl_rib_cap cap[SL_CAPS_MOST];
    int space_beams;  /* beams of kind SL_BEAM_SPACE */
    int shadow_beams; /* rib or no contact */
} sl_beams;

/* `mean`: [SL_DEPTHS][SL_BEAMS] grey, the mean over the clip; `mask` as in sl_stack; `line`: row of the
 * pleural line per beam, NAN where there is none. */
void sl_beams_classify(const float *mean, const uint8_t *mask, const float *line, sl_beams *beams);

/* The row at which each rib's shadow begins, carried on between the ribs and to the sides, per beam: the pleura lies deeper. The rib's own
 * echo ends there, so the grey falls to the shadow's and stays dark, which no layer of the wall does. NAN in every beam where no shadow
 * begins so many rows (pleura_table.h) below `line`: then the line already lies deep enough. */
void sl_beams_shadow_tops(const float *mean, const uint8_t *mask, const float *line, const sl_beams *beams, float *top);

#endif
