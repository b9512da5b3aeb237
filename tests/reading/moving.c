#include "moving.h"

#include "core/units.h"

#include <stdint.h>
#include <string.h>

enum { FINE = 8, MARGIN = 64, WIDE = (SL_BEAMS + 2 * MARGIN) * FINE };

struct speckle {
    int rows;
    double *value; /* [rows][WIDE] */
};

static double chance(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX */
    return (double)(*state >> 11) / 9007199254740992.0;
}

static double normal(uint64_t *state)
{
    return sqrt(-2 * log(chance(state) + 1e-300)) * cos(2 * SL_PI * chance(state));
}

speckle *new_speckle(sl_arena *arena, int rows, double grain, unsigned seed)
{
    speckle *s = SL_NEW(arena, 1, speckle);
    double *raw = SL_NEW(arena, WIDE, double), kernel[8 * FINE * 4 + 1];
    int half = (int)(3 * grain * FINE);
    half = half < 4 * 4 * FINE ? half : 4 * 4 * FINE;
    uint64_t state = 77u + seed;
    *s = (speckle){rows, SL_NEW(arena, (size_t)rows * WIDE, double)};
    double power = 0;
    for (int k = -half; k <= half; k++) {
        kernel[k + half] = exp(-0.5 * k * k / (grain * grain * FINE * FINE));
        power += kernel[k + half] * kernel[k + half];
    }
    for (int row = 0; row < rows; row++) {
        for (int i = 0; i < WIDE; i++)
            raw[i] = normal(&state);
        for (int i = half; i < WIDE - half; i++) {
            double sum = 0;
            for (int k = -half; k <= half; k++)
                sum += kernel[k + half] * raw[i + k];
            s->value[(size_t)row * WIDE + (size_t)i] = sum / sqrt(power);
        }
    }
    return s;
}

double speckle_at(const speckle *s, int row, double beam)
{
    double at = (beam + MARGIN) * FINE;
    int i = (int)floor(at);
    double f = at - i;
    if (i < 0 || i + 1 >= WIDE)
        return 0;
    const double *v = s->value + (size_t)row * WIDE + (size_t)i;
    return v[0] + f * (v[1] - v[0]);
}

/* The same between rows: a grain is about two and a half rows high, as speckle of straightened frames is. */
static double grain_at(const speckle *s, double rows, double beam)
{
    double at = rows / 2.5;
    int i = (int)floor(at);
    double f = at - i;
    return ((1 - f) * speckle_at(s, i, beam) + f * speckle_at(s, i + 1, beam)) / sqrt((1 - f) * (1 - f) + f * f);
}

void draw_moving(const moving *what, sl_arena *arena, sl_stack *stack)
{
    size_t frames = (size_t)what->frames;
    *stack = (sl_stack){.frames = what->frames, .most = what->frames, .times_known = what->frame_s > 0,
                        .frame_s = what->frame_s > 0 ? what->frame_s : SL_UNKNOWN};
    stack->cell = SL_NEW(arena, frames * SL_CELLS + 1, uint8_t);
    stack->time_s = SL_NEW(arena, frames + 1, double);
    stack->source = SL_NEW(arena, frames + 1, int);
    stack->level = SL_NEW(arena, frames + 1, double);
    stack->change = SL_NEW(arena, frames + 1, double);
    uint8_t *mask = SL_NEW(arena, SL_CELLS, uint8_t);
    sl_view *view = SL_NEW(arena, 1, sl_view);
    memset(mask, 1, SL_CELLS);
    *view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 256, .height = 512, .last_x = 255, .far_y = 511, .aspect = 1,
                      .face_visible = true, .agreement = 1,
                      .mm_per_px = what->mm_per_beam > 0 ? what->mm_per_beam / (255.0 / SL_BEAMS) : SL_UNKNOWN};
    stack->mask = mask;
    stack->view = view;
    speckle *wall = new_speckle(arena, SL_DEPTHS, 1.6, 1), *lung = new_speckle(arena, SL_DEPTHS, 1.6, 2);
    uint64_t state = 5;
    for (int t = 0; t < what->frames; t++) {
        double s = t * (what->frame_s > 0 ? what->frame_s : 0.04), breath = 0.5 - 0.5 * cos(2 * SL_PI * what->breaths_hz * s);
        double beat = what->beats_hz * s - floor(what->beats_hz * s), push = (beat - 0.2) / 0.07;
        double late = 0.5 - 0.5 * cos(2 * SL_PI * (what->breaths_hz * s - what->lag));
        double sway = 0.5 * what->sway * sin(2 * SL_PI * 0.3 * s) + what->wall * (breath - 0.5);
        double x = what->slide * (late - 0.5) + what->pulse * exp(-0.5 * push * push) + sway;
        double pleura = what->pleura + what->rise * (breath - 0.5);
        stack->time_s[t] = what->frame_s > 0 ? s : SL_UNKNOWN;
        stack->source[t] = t;
        for (int row = 0; row < SL_DEPTHS; row++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double below = row - pleura - what->wave * sin(2 * SL_PI * j / 48.0), grey, texture;
                bool still = what->still_from > 0 && j >= what->still_from + what->edge_swing * (breath - 0.5);
                if (below < -0.5) {
                    grey = 40 + 10 * sin(0.35 * row);
                    texture = grain_at(wall, row, j - sway);
                } else {
                    double z = below / 1.3;
                    grey = 30 * exp(-0.02 * below) + 6 + 150 * exp(-0.5 * z * z);
                    texture = still ? grain_at(wall, fmax(below, 0) + 200, j - sway)
                                    : grain_at(lung, fmax(below, 0), j - x);
                }
                texture = sqrt(1 - what->noise * what->noise) * texture + (what->noise > 0 ? what->noise * normal(&state) : 0);
                grey *= 1 + 0.3 * texture;
                if (what->lost_from && t >= what->lost_from)
                    grey = row < 12 ? grey : 4 + 3 * chance(&state);
                stack->cell[(size_t)t * SL_CELLS + (size_t)row * SL_BEAMS + (size_t)j] =
                    (uint8_t)(grey > 255 ? 255 : grey < 0 ? 0 : grey);
            }
    }
}
