/* B-lines: vertical artifacts from the pleural line to the far edge without fading, moving with the lung (clinical
 * sheet, section 1). Presence rests on coherent flicker (flicker.h); number and share of the pleural width on the
 * columns that stand out from their neighbours, or stay bright, all the way down. */
#ifndef SL_READING_B_LINES_H
#define SL_READING_B_LINES_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/flicker.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/signs.h"
#include "view/stack.h"

enum { B_BOXES_MOST = 16, B_COUNT_MOST = 40, B_SHARES = 100 };

typedef struct sl_b_measure {
    double frames;                              /* read, over all segments */
    double sway_sum, pairs;                     /* of the flicker, to be pooled */
    sl_flicker_levels levels;
    double flicker[SL_BEAMS];                   /* coherent flicker of each beam, summed over pairs */
    int first_source, last_source;              /* frames in the file */
    double first_time_s, last_time_s;
    int counts[B_COUNT_MOST + 1];               /* frames with that many lines */
    int shares[B_SHARES + 1];                   /* frames with that share of the spaces taken, in B_SHARES ths */
    double best_coverage;                       /* of the frame that shows the most */
    bool coalescent;                            /* in that frame one line is wider than single lines are */
    int best_source;                            /* frame in the file that shows the most, -1 when none */
    double best_time_s;
    int boxes;                                  /* the lines of that frame */
    struct { double first_beam, last_beam, first_depth, last_depth; } box[B_BOXES_MOST];
} sl_b_measure;

/* `coverage`: room for stack->frames values, filled with the share of the space that is taken in each frame. */
sl_status sl_b_lines_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_b_measure *measure,
                             double *coverage, sl_error *error);
void sl_b_lines_merge(sl_b_measure *into, const sl_b_measure *more);
void sl_b_lines_state(const sl_b_measure *measure, const sl_signs *signs, const char *doubt, 
                      sl_arena *arena, sl_reading *reading);

#endif
