/* signs CLIP...: what the signs of movement, fluid, solid lung, organs and diaphragm cost beside everything else that reading a clip takes
 * (decoding, finding the view, straightening, pleural line, A-lines and B-lines). Each clip is read whole by the program's own
 * reading, and then its straightened frames go through the functions of those signs alone; CPU time of one thread. */
#include "clip/clip.h"
#include "reading/a_lines.h"
#include "reading/b_lines.h"
#include "reading/behind.h"
#include "reading/bronchogram.h"
#include "reading/consolidation.h"
#include "reading/curtain.h"
#include "reading/diaphragm.h"
#include "reading/effusion.h"
#include "reading/lung_point.h"
#include "reading/motion.h"
#include "reading/muscle.h"
#include "reading/organ.h"
#include "reading/recess.h"
#include "reading/pleura.h"
#include "reading/pleura_shape.h"
#include "reading/read_clip.h"
#include "reading/sliding.h"
#include "reading/trace.h"
#include "view/colour.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { MOVEMENT, FLUID, SOLID, BRONCHI, SHAPE, DIAPHRAGM, CURTAIN, ORGAN, BEYOND, PARTS };
static const char *const names[PARTS] = {"sliding, pulse, lung point, texture", "fluid", "solid lung", "bronchograms",
                                         "shape of the pleural line", "diaphragm, dome and muscle", "curtain", "organs, heart", "beyond the diaphragm"};

static double cpu_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* The time since the last call goes to a part. */
static void lap(double *last, double *to)
{
    double now = cpu_s();
    *to += now - *last;
    *last = now;
}

static bool read_signs(const sl_stack *stack, double *part)
{
    sl_arena work = {0};
    sl_error error = {0};
    sl_pleura pleura, parietal;
    sl_fluid_layer layer;
    sl_fluid effusion;
    sl_solid solid;
    sl_bronchi bronchi;
    sl_pleura_shape shape;
    sl_texture texture;
    sl_movement moved;
    sl_sliding sliding;
    sl_lung_point point;
    sl_dome dome;
    sl_curtain curtain;
    sl_muscle muscle;
    sl_organ organ;
    sl_recess recess;
    sl_behind behind;
    if (sl_pleura_find(stack, &work, &pleura, &error) != SL_OK)
        return false;
    double last = cpu_s();
    sl_stack held = sl_motion_in_contact(stack, &pleura);
    bool good = sl_motion_follow(&held, &pleura, &work, &moved, &error) == SL_OK &&
                sl_sliding_measure(&held, &moved, &work, &sliding, &error) == SL_OK &&
                sl_lung_point_measure(&moved, &sliding, &work, &point, &error) == SL_OK;
    sl_texture_measure(&held, &pleura, &texture);
    lap(&last, &part[MOVEMENT]);
    good = good && sl_effusion_find(stack, &pleura, &work, &layer, &parietal, &error) == SL_OK &&
           sl_effusion_measure(stack, &parietal, &layer, &work, &effusion, &error) == SL_OK;
    lap(&last, &part[FLUID]);
    good = good && sl_solid_measure(stack, &pleura, &layer, &work, &solid, &error) == SL_OK;
    lap(&last, &part[SOLID]);
    good = good && sl_bronchi_measure(stack, &pleura, &layer, &solid, &work, &bronchi, &error) == SL_OK;
    lap(&last, &part[BRONCHI]);
    good = good && sl_pleura_shape_measure(stack, &pleura, &work, &shape, &error) == SL_OK;
    lap(&last, &part[SHAPE]);
    good = good && sl_dome_measure(stack, &pleura, &work, &dome, &error) == SL_OK &&
           sl_muscle_measure(stack, &pleura, &work, &muscle, &error) == SL_OK;
    lap(&last, &part[DIAPHRAGM]);
    good = good && sl_curtain_measure(stack, &pleura, &work, &curtain, &error) == SL_OK;
    lap(&last, &part[CURTAIN]);
    good = good && sl_organ_measure(stack, &pleura, &work, &organ, &error) == SL_OK &&
           sl_recess_measure(stack, &pleura, &work, &recess, &error) == SL_OK;
    lap(&last, &part[ORGAN]);
    good = good && sl_behind_measure(stack, &pleura, organ.tissue, &work, &behind, &error) == SL_OK;
    lap(&last, &part[BEYOND]);
    sl_arena_free(&work);
    return good;
}

/* The frames of a clip through the view that reading found. */
static bool straightened(const char *path, const sl_clip_result *result, double *part)
{
    sl_clip *clip = NULL;
    sl_straightener *straightener = NULL;
    sl_arena arena = {0};
    sl_error error = {0};
    sl_stack stack;
    sl_frame frame;
    bool got = true;
    if (sl_clip_open(path, 1, &clip, &error) != SL_OK)
        return false;
    bool good = sl_straightener_new(&result->view, &straightener, &error) == SL_OK &&
                sl_stack_new(&arena, straightener, &result->view, SL_STACK_MOST, &stack, &error) == SL_OK;
    while (good && got) {
        good = sl_clip_next(clip, &frame, &got, &error) == SL_OK;
        bool full = good && got && !sl_stack_add(&stack, straightener, &frame);
        if (good && (full || !got) && stack.frames) {
            sl_stack_settle(&stack);
            sl_stack_level_grey(&stack);
            good = read_signs(&stack, part);
            stack.frames = 0;
            if (full)
                sl_stack_add(&stack, straightener, &frame);
        }
    }
    sl_straightener_free(&straightener);
    sl_clip_close(&clip);
    sl_arena_free(&arena);
    return good;
}

int main(int argc, char **argv)
{
    double whole = 0, part[PARTS] = {0}, signs = 0;
    int frames = 0, clips = 0;
    for (int i = 1; i < argc; i++) {
        sl_arena arena = {0};
        sl_clip_result result;
        double start = cpu_s();
        sl_read_clip(argv[i], NULL, &arena, &result);
        double took = cpu_s() - start;
        if (result.state == SL_CLIP_READ && straightened(argv[i], &result, part)) {
            whole += took;
            frames += result.frames;
            clips++;
        } else {
            fprintf(stderr, "%s is left out: %s\n", argv[i], result.reason);
        }
        sl_arena_free(&arena);
    }
    if (!frames) {
        fprintf(stderr, "signs CLIP... : give it clips that can be read.\n");
        return 1;
    }
    for (int k = 0; k < PARTS; k++)
        signs += part[k];
    printf("%d clips, %d frames\nreading a clip, CPU ms a frame: %.3f\n", clips, frames, 1e3 * whole / frames);
    for (int k = 0; k < PARTS; k++)
        printf("  %s: %.3f\n", names[k], 1e3 * part[k] / frames);
    printf("these signs together: %.3f\nthese signs / the rest of reading: %.2f\n", 1e3 * signs / frames, signs / (whole - signs));
    return 0;
}
