/* Chests by chance that differ in how their lung moves, and their way through the reader up to the straightened stack, in
 * memory. Invented; the ranges are those of adults in the ward (common practice, no source). */
#ifndef TESTS_LOOP_MOVING_CHESTS_H
#define TESTS_LOOP_MOVING_CHESTS_H

#include "chest/chest.h"
#include "chest/scenario.h"
#include "view/stack.h"

typedef enum moving_kind {
    MOVING_SLIDES,     /* 2 to 14 mm with breathing */
    MOVING_STILL,      /* breathes, the lung stuck to the wall; or does not breathe */
    MOVING_PULSE,      /* no sliding, moved by the heart */
    MOVING_AIR,        /* free air under the whole picture */
    MOVING_LUNG_POINT, /* free air under a part of it, its edge travelling with breathing */
    MOVING_CURTAIN,    /* lung comes over liver or spleen */
    MOVING_DOME,       /* the diaphragm's dome from below, quiet, deep or a sniff */
    MOVING_WALL,       /* the diaphragm where it lies on the wall, by a linear probe */
    MOVING_DOME_STILL, /* the dome does not move */
    MOVING_BASE_STILL, /* lung and organ side by side, the lung's edge stands still */
    MOVING_KINDS
} moving_kind;

extern const char *const moving_names[MOVING_KINDS];

void moving_scenario(moving_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *scenario);

/* The pictures of a chest as straightened frames, every `every`-th only; the view as the reader finds it, with its scale.
 * False with a sentence in `why` when no view is found. */
typedef struct moving_clip {
    sl_view view;
    sl_straightener *straightener;
    sl_stack stack;
    char why[512];
} moving_clip;

bool moving_render(sl_chest *chest, int every, int most_frames, sl_arena *arena, moving_clip *clip);
void moving_clip_free(moving_clip *clip);

#endif
