/* A-lines: the wall between probe and pleura is a resonator, so the pleural line comes again at whole multiples of its
 * depth from the probe's face (physics-standards sheet A7), parallel to it, weaker each time, moving with it.
 *
 * The clip's mean is flattened on the pleural line, so that repeats lie in rows. Two numbers tell them from speckle
 * and from single horizontal borders:
 *   coherence   how far beams a few apart agree in their band-passed depth profile below the line, in the windows of
 *               the width where they agree most (A_BEST_WINDOWS; what is called rib or space does not matter);
 *   repetition  how far the mean profile of a space (the line included) comes again deeper: the largest
 *               autocorrelation over spacings of A_LAG_FIRST rows and more. */
#ifndef SL_READING_A_LINES_H
#define SL_READING_A_LINES_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/lines_table.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/signs.h"
#include "view/stack.h"

typedef struct sl_a_measure {
    double frames;      /* weight for pooling segments */
    double coherence;   /* -1..1, NAN when no window is deep enough */
    double repetition;
    double spacing;     /* rows, NAN when no spacing stands out */
    int count;          /* repeats that stand out at multiples of the spacing */
    double ridge[A_COUNT_MOST];  /* contrast of each over its surroundings */
    double below[A_COUNT_MOST];  /* rows below the pleural line */
    int first_frame, last_frame; /* of the segment, in the file */
    double first_time_s, last_time_s;
    int points;         /* the pleural line of the clip over the beams of the spaces, for drawing the repeats */
    double beam[SL_BEAMS], row[SL_BEAMS]; /* beam coordinate; rows */
} sl_a_measure;

sl_status sl_a_lines_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_a_measure *measure,
                             sl_error *error);

/* Pools a further segment of the same clip: indices as means weighted by frames, the count and place of the repeats
 * from the segment where they stand out most. */
void sl_a_lines_merge(sl_a_measure *into, const sl_a_measure *more);

/* States A-lines, their count and spacing. `doubt`: see answer.h. */
void sl_a_lines_state(const sl_a_measure *measure, const sl_pleura *pleura, const sl_view *view, const sl_signs *signs,
                      const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
