/* Colour laid over a grey picture (flow maps, drawn marks): where it lies, and the grey under it for the detectors.
 *
 * A picture tinted as a whole is no such colour: a tint is one colour a grey level, so that what counts is how far a pixel's
 * chroma lies from what its grey level usually has in the same frame. The luma of colour tells about flow and not about
 * tissue; the cells under it are filled along their depth row from the grey cells on both sides, each frame on its own, so
 * that nothing is frozen that moves. What a detector then sees there is smooth: it is no measurement of that place. */
#ifndef SL_VIEW_COLOUR_H
#define SL_VIEW_COLOUR_H

#include "clip/clip.h"
#include "view/stack.h"

enum { SL_MARK_COLD = 64, SL_MARK_WARM = 255 }; /* blue to green; red to yellow */

/* Marks the coloured pixels of `frame` in `mark` (width x height bytes, stride = width): 0 or one of the two above. False,
 * and nothing is written, when there are none. */
bool sl_colour_mark(const sl_frame *frame, uint8_t *mark);

/* What lay over the cells inside the view so far. */
typedef struct sl_colour_seen {
    int frames;         /* looked at */
    double sum_share;   /* of the coloured share of the cells, over frames */
    double most_share;  /* in one frame */
    double warm, cold;  /* cells wholly one or the other, over frames */
} sl_colour_seen;

/* Fills the cells under colour in the frame added last, and counts. `mark` NULL: the frame has none. */
void sl_colour_fill(sl_stack *stack, const sl_straightener *straightener, const uint8_t *mark, sl_colour_seen *seen);

/* Counts over the lit pixels of a whole picture, for where no view is found. */
void sl_colour_count(sl_gray gray, const uint8_t *mark, sl_colour_seen *seen);

/* SL_OK, with a sentence for people in `text` ("" when next to no colour was seen); SL_UNREADABLE with the reason when so
 * much is covered that what is left is no grey picture. */
sl_status sl_colour_judge(const sl_colour_seen *seen, char *text, size_t room, sl_error *error);

#endif
