#include "drawn.h"

#include "core/units.h"

#include <stdint.h>
#include <string.h>

static double chance(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX */
    return (double)(*state >> 11) / 9007199254740992.0;
}

/* A band of rows about `middle`, bright in the middle. */
static double ridge(double row, double middle, double width)
{
    double z = (row - middle) / width;
    return exp(-0.5 * z * z);
}

/* How much of a vertical line lies in this beam, frame and depth. */
static double vertical(const drawn *what, int frame, int row, int beam)
{
    double sum = 0, way = (row - what->pleura) / (SL_DEPTHS - what->pleura);
    if (row < what->pleura || way > what->line_depth)
        return 0;
    for (int k = 0; k < what->lines; k++) {
        double middle = SL_BEAMS * (k + 0.5) / what->lines, flicker = 1;
        if (!what->still) {
            middle += 1.5 * sin(0.11 * frame + k); /* slides with the lung */
            flicker = 0.75 + 0.25 * sin(1.3 * frame + 2.1 * k);
        }
        double off = fabs(beam - middle) - 0.5 * what->line_width;
        sum += flicker * (off < -0.5 ? 1 : off < 0.5 ? 0.5 - off : 0);
    }
    return sum < 1 ? sum : 1;
}

void draw_stack(const drawn *what, sl_arena *arena, sl_stack *stack)
{
    *stack = (sl_stack){.frames = what->frames, .most = what->frames, .times_known = true, .frame_s = 0.04};
    size_t frames = (size_t)what->frames;
    stack->cell = SL_NEW(arena, frames * SL_CELLS + 1, uint8_t);
    stack->time_s = SL_NEW(arena, frames + 1, double);
    stack->source = SL_NEW(arena, frames + 1, int);
    stack->level = SL_NEW(arena, frames + 1, double);
    stack->change = SL_NEW(arena, frames + 1, double);
    uint8_t *mask = SL_NEW(arena, SL_CELLS, uint8_t);
    sl_view *view = SL_NEW(arena, 1, sl_view);
    memset(mask, 1, SL_CELLS);
    *view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 256, .height = 512, .last_x = 255, .far_y = 511, .aspect = 1,
                      .face_visible = true, .agreement = 1, .mm_per_px = SL_UNKNOWN};
    stack->mask = mask;
    stack->view = view;
    uint64_t state = 12345;
    for (int t = 0; t < what->frames; t++) {
        stack->time_s[t] = 0.04 * t;
        stack->source[t] = t;
        for (int row = 0; row < SL_DEPTHS; row++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double grey = row < what->pleura ? 70 + 25 * sin(0.35 * row) : 30 * exp(-0.02 * (row - what->pleura)) + 6;
                grey += 150 * ridge(row, what->pleura, 1.3);
                for (int k = 1; k <= what->repeats; k++)
                    grey += 60 * pow(0.7, k) * ridge(row, what->pleura + k * what->spacing, 1.3);
                grey += 70 * vertical(what, t, row, j);
                grey *= what->gain * (0.6 + 0.8 * chance(&state));
                stack->cell[(size_t)t * SL_CELLS + (size_t)row * SL_BEAMS + (size_t)j] =
                    (uint8_t)(grey > 255 ? 255 : grey);
            }
    }
}
