/* Straightened clips at hand, so that a motion trace can follow while its line is dragged: each is decoded once and its frames kept as
 * the reading has them (view/stack.h). A few clips, the least used goes; memory is bounded by SL_AT_HAND x SL_STRAIGHT_FRAMES x
 * SL_CELLS, about 260 MB, and freed on close. For all threads. */
#ifndef SL_SERVE_STRAIGHT_H
#define SL_SERVE_STRAIGHT_H

#include "serve/at_hand.h"
#include "view/stack.h"

enum {
    SL_STRAIGHT_FRAMES = 2000, /* of a clip; a longer one is kept at every second, fourth ... of its frames */
};

typedef struct sl_straight_clip {
    int frames, every;  /* kept; which of the file's: each `every`-th */
    int decoded;        /* of the file, at most SL_FRAMES_SENT (frames.h) */
    uint8_t *cell;      /* [frames][SL_CELLS] */
    double *time_s;     /* [frames], NAN where not known */
    int *source;        /* [frames] index in the file */
    double first_s, last_s; /* of the frames decoded; NAN where not known */
} sl_straight_clip;

/* NULL when memory is out; freed by sl_at_hand_free. */
sl_at_hand *sl_straight_new(void);

/* The clip at `path` by this view, decoded now if it is not at hand; it stays until it is given back. Waits while all places are in
 * use. A file that changed is decoded anew. */
sl_status sl_straight_take(sl_at_hand *all, const char *path, const sl_view *view, const sl_straight_clip **clip, sl_error *error);
void sl_straight_give(sl_at_hand *all, const sl_straight_clip *clip);

#endif
