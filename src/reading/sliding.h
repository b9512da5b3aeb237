/* What the paths of movement (motion.h) say of a clip: sliding, its amplitude and speed, the breathing rate, the heart's
 * pulse without sliding. Lengths are beams until stated; a clip read in segments is pooled by frames. */
#ifndef SL_READING_SLIDING_H
#define SL_READING_SLIDING_H

#include "reading/motion.h"
#include "reading/reading.h"
#include "reading/rhythm.h"

typedef struct sl_sliding_part { /* a window or a space */
    double first_beam, last_beam; /* beam coordinates */
    double amplitude;             /* beams */
    double index;                 /* 0..1 that it slides */
} sl_sliding_part;

/* What shows the chest's own breath. */
typedef enum sl_breath_reference { SL_BREATH_UNSEEN, SL_BREATH_BY_WALL, SL_BREATH_BY_RISE } sl_breath_reference;

typedef struct sl_sliding {
    const char *reason;         /* why nothing was looked at */
    double index;               /* 0..1 that it slides */
    double index_any;           /* the same of the windows that move most */
    bool chest_moves;           /* the wall, or the line's depth, moves to and fro as in a breath */
    double chest_cycles;        /* of that movement in the clip */
    sl_breath_reference reference; /* that has the rhythm of the lung's path */
    sl_phase phase;             /* of the lung's path to the picture's right, against the reference: the line's depth, or the wall to the right */
    bool left_of_wall;          /* what moves is a share of the wall's own path: no sign of sliding */
    double frames;              /* looked at; 0: nothing was followed */
    double seconds;             /* length of the longest stretch looked at; NAN when times are not known */
    bool times_known;
    double frame_s;
    int first_source, last_source;
    double first_time_s, last_time_s;
    double depth;               /* of the strip, share of the imaged depth */
    double beam_mm;             /* a beam at that depth; NAN without scale */
    double beam_px;
    double row_mm;              /* a row of the stack, NAN without scale */
    double amplitude, spread;   /* beams: over the clip, and its standard error over windows */
    double speed;               /* beams a second, NAN without times */
    double persistence;         /* share of the speckle that is still there MOTION_LATER_S later, wall taken out */
    double wall_persistence;
    double match;               /* correlation of neighbouring frames at the peak */
    double lost;                /* share of the pairs of neighbouring frames that cannot be matched */
    double edge;                /* share of the pairs that move further than is looked */
    double sway;                /* path of the wall, beams peak to peak */
    sl_rhythm breath, heart;
    double pulse, pulse_coherence; /* beams peak to peak; share of it that the windows agree on */
    int windows, spaces;
    sl_sliding_part window[WINDOWS_MOST], space[SL_SPACES_MOST];
} sl_sliding;

sl_status sl_sliding_measure(const sl_stack *stack, const sl_movement *movement, sl_arena *arena, sl_sliding *sliding,
                             sl_error *error);
void sl_sliding_merge(sl_sliding *into, const sl_sliding *more);
/* Why what moves at the line is not the lung's but the sway of the hand, "" when it is not known to be. */
const char *sl_sliding_with_hand(const sl_sliding *s);
/* Whether the clip holds a whole breath: by its length, or by how many of its own breaths `cycles` were seen. */
bool sl_sliding_whole_breath(const sl_sliding *s, double cycles);
/* `doubt`: "" or why nothing can be said ("no pleural line was found"); `granular`: the texture below the line (trace.h), NAN
 * unknown. */
void sl_sliding_state(const sl_sliding *sliding, double granular, const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
