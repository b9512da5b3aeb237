/* Burned-in text of a clip: found, and looked for again. Text that stands still for the whole clip or a third of it,
 * bright on dark or dark on bright, in or outside the imaged area; by the shape of its rows and by a recogniser. */
#ifndef SL_CLIP_BURNED_H
#define SL_CLIP_BURNED_H

#include "clip/still.h"
#include "clip/text_read.h"

/* Adds the boxes to be blackened to `boxes` and blackens them in `still`, again and again until a search finds nothing.
 * SL_UNREADABLE when text is still found after the last round. */
sl_status sl_burned_find(sl_reader *reader, sl_still *still, const char *name, sl_boxes *boxes, sl_error *error);

/* Looks at a finished file once more: SL_OK when neither search finds text, SL_UNREADABLE with the place otherwise. */
sl_status sl_burned_verify(sl_reader *reader, const char *path, int threads, sl_error *error);

/* Share of the pixels under the boxes, each counted once. */
double sl_boxes_share(const sl_boxes *boxes, int width, int height);

#endif
