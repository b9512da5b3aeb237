/* The heart in the picture: a region whose grey is undone and comes back at 50 to 150 a minute, much more than where lung or
 * vessels only pass the pulse on. Told by how like a frame is to those after it: for a heart the change over half a beat is
 * large and the change over one beat small again; breathing has no way back within 1.2 s. */
#ifndef SL_READING_HEART_H
#define SL_READING_HEART_H

#include "core/arena.h"
#include "view/stack.h"

typedef struct sl_heart {
    bool judged;         /* else `reason` */
    const char *reason;
    double undone;       /* 0..1: share of the change that is undone after one beat, in the region where it is most */
    double change;       /* mean change of ln grey within a beat there */
    double period_s;     /* NAN when nothing comes back */
    double first_beam, last_beam, first_depth, last_depth; /* 0..1 */
} sl_heart;

/* `top`: row from which on it is looked for. False when memory is out. */
bool sl_heart_look(const sl_stack *stack, int top, sl_arena *arena, sl_heart *heart);

#endif
