/* movement [ROUNDS]: what following movement, and fluid and solid lung, cost beside everything else that is read of a straightened segment (pleural line,
 * B-lines, A-lines, decay), on a simulated chest in memory; the two take turns, the least of the rounds counts. */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "moving_chests.h"
#include "reading/a_lines.h"
#include "reading/b_lines.h"
#include "reading/consolidation.h"
#include "reading/decay.h"
#include "reading/effusion.h"
#include "reading/lung_point.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double cpu_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

int main(int argc, char **argv)
{
    long rounds = argc > 1 ? strtol(argv[1], NULL, 10) : 5;
    sl_scenario scenario;
    sl_chest *chest = NULL;
    sl_arena arena = {0}, work = {0};
    sl_error error = {0};
    moving_clip clip;
    moving_scenario(MOVING_SLIDES, 3, 1, 6, &scenario);
    if (sl_chest_new(&scenario, &chest, &error) != SL_OK || !moving_render(chest, 1, 200, &arena, &clip))
        return 1;
    double *coverage = SL_NEW(&arena, clip.stack.frames, double), rest = 1e9, movement = 1e9, fluid = 1e9;
    for (long i = 0; i < rounds && coverage; i++) {
        sl_pleura pleura;
        sl_a_measure a;
        sl_b_measure b;
        sl_movement moved;
        sl_sliding sliding;
        sl_lung_point point;
        double start = cpu_s();
        if (sl_pleura_find(&clip.stack, &work, &pleura, &error) != SL_OK ||
            sl_b_lines_measure(&clip.stack, &pleura, &work, &b, coverage, &error) != SL_OK ||
            sl_a_lines_measure(&clip.stack, &pleura, &work, &a, &error) != SL_OK)
            return 1;
        (void)sl_decay_ratio(&clip.stack, &pleura);
        double middle = cpu_s();
        if (sl_motion_follow(&clip.stack, &pleura, &work, &moved, &error) != SL_OK ||
            sl_sliding_measure(&clip.stack, &moved, &work, &sliding, &error) != SL_OK ||
            sl_lung_point_measure(&moved, &sliding, &work, &point, &error) != SL_OK)
            return 1;
        double end = cpu_s();
        sl_fluid_layer layer;
        sl_pleura parietal;
        sl_fluid effusion;
        sl_solid solid;
        if (sl_effusion_find(&clip.stack, &pleura, &work, &layer, &parietal, &error) != SL_OK ||
            sl_effusion_measure(&clip.stack, &parietal, &layer, &work, &effusion, &error) != SL_OK ||
            sl_solid_measure(&clip.stack, &pleura, &layer, &work, &solid, &error) != SL_OK)
            return 1;
        double last = cpu_s();
        fluid = last - end < fluid ? last - end : fluid;
        rest = middle - start < rest ? middle - start : rest;
        movement = end - middle < movement ? end - middle : movement;
        sl_arena_free(&work);
    }
    printf("frames %d\nthe rest of reading, CPU ms a frame: %.3f\nmovement, CPU ms a frame: %.3f\nfluid and solid lung, CPU ms a frame: %.3f\n"
           "movement / the rest: %.2f\nfluid and solid lung / the rest: %.2f\n",
           clip.stack.frames, 1e3 * rest / clip.stack.frames, 1e3 * movement / clip.stack.frames, 1e3 * fluid / clip.stack.frames, movement / rest, fluid / rest);
    moving_clip_free(&clip);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
    return 0;
}
