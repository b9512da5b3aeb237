/* The curtain: aerated lung that comes over liver, spleen or diaphragm with breathing and draws back from it (clinical sheet 1).
 * Looked for as an edge along the beams between two kinds of columns that travels to and fro: on the lung's side the pleural
 * line is bright and what lies below it falls off, on the organ's side the line is faint and there is tissue below. Beams that
 * the edge passes are one kind at one time and the other at another, which tells it from ribs and from a border that stands still. */
#ifndef SL_READING_CURTAIN_H
#define SL_READING_CURTAIN_H

#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/rhythm.h"
#include "view/stack.h"

enum { SL_CURTAIN_PLACES = 64 };

typedef struct sl_curtain {
    double frames;          /* 0: not looked for, then `reason` */
    const char *reason;
    double index;           /* 0..1 */
    double explained;       /* share of the variance over time in the beams it passes that the travelling edge explains */
    double swept;           /* beams it passes */
    double line, deep;      /* lung's line over organ's, organ's depth over lung's, in standard deviations over time */
    double contrast;        /* both sides apart, the same */
    double lasting;         /* of the organ's side: below over just below the line, natural logarithm; a shadow falls off */
    sl_rhythm rhythm;       /* of the edge */
    double travel_beams;
    double hidden_beams;    /* in ribs' shadow right beyond the ends of its way: it may turn there unseen */
    double beam_mm;         /* along the pleural line; NAN without scale */
    double frame_s, seconds;
    bool times_known;
    bool organ_right;       /* in the picture */
    double first_beam, last_beam; /* ends of its way, beam coordinates */
    double depth;           /* of the line there, share of the imaged depth */
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_curtain;

sl_status sl_curtain_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_curtain *curtain, sl_error *error);
/* Of two segments of a clip the one that shows it more surely. */
void sl_curtain_merge(sl_curtain *into, const sl_curtain *from);
void sl_curtain_state(const sl_curtain *curtain, const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
