#include "reading/still.h"

#include "core/weighed.h"
#include "reading/filters.h"

#include <math.h>

const float *sl_still_lung(const float *use, int frames, sl_arena *arena, float *value)
{
    enum { SIZE = STRIP_LUNG_ROWS * SL_BEAMS };
    float *mean = SL_NEW(arena, SIZE, float);
    double power[SL_BEAMS] = {0};
    if (!mean)
        return NULL;
    for (int t = 0; t < frames; t++) {
        const float *v = value + (size_t)t * STRIP_ROWS * SL_BEAMS;
        float square[SL_BEAMS] = {0};
        for (int i = 0; i < STRIP_LUNG_ROWS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                mean[i * SL_BEAMS + j] += v[i * SL_BEAMS + j];
                square[j] += v[i * SL_BEAMS + j] * v[i * SL_BEAMS + j];
            }
        for (int j = 0; j < SL_BEAMS; j++)
            power[j] += (double)square[j];
    }
    float still[SL_BEAMS] = {0}, all[SL_BEAMS], still_near[SL_BEAMS], all_near[SL_BEAMS];
    for (int i = 0; i < SIZE; i++)
        mean[i] /= (float)frames;
    for (int j = 0; j < SL_BEAMS; j++) {
        for (int i = 0; i < STRIP_LUNG_ROWS; i++)
            still[j] += mean[i * SL_BEAMS + j] * mean[i * SL_BEAMS + j];
        all[j] = (float)(power[j] / frames);
    }
    sl_filter near;
    sl_filter_gauss(STRIP_STILL_BEAMS, &near);
    sl_filter_beams(&near, still, 1, still_near);
    sl_filter_beams(&near, all, 1, all_near);
    float share[SL_BEAMS];
    for (int j = 0; j < SL_BEAMS; j++) {
        float part = all_near[j] > 0 ? still_near[j] / all_near[j] : 1;
        part = (STRIP_STILL_FROM - part) / (STRIP_STILL_FROM - STRIP_STILL_TO);
        share[j] = use[j] * (part < 0 ? 0 : part > 1 ? 1 : part);
    }
    for (int i = 0; i < STRIP_LUNG_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            mean[i * SL_BEAMS + j] *= share[j];
    for (int t = 0; t < frames; t++) {
        float *v = value + (size_t)t * STRIP_ROWS * SL_BEAMS;
        for (int i = 0; i < SIZE; i++)
            v[i] -= mean[i];
    }
    return mean;
}

enum { DOWN = 2, ACROSS = 8, PLACES_ACROSS = SL_BEAMS / ACROSS, PLACES = STRIP_WALL_ROWS / DOWN * PLACES_ACROSS };

static int place_of(int row, int beam)
{
    return row / DOWN * PLACES_ACROSS + beam / ACROSS;
}

/* The share of what neighbouring frames have in common that the mean holds, place by place; that of the places that change most. */
static double still_share(const double *still, const double *common)
{
    sl_weighed share[PLACES];
    int n = 0;
    for (int k = 0; k < PLACES; k++)
        if (common[k] > 0)
            share[n++] = (sl_weighed){fmin(still[k] / common[k], 1), common[k]};
    return n ? sl_weighted_quantile(share, n, STILL_WALL_QUANTILE) : 1;
}

bool sl_still_wall(int frames, sl_arena *arena, float *value)
{
    enum { SIZE = STRIP_WALL_ROWS * SL_BEAMS, FRAME = STRIP_ROWS * SL_BEAMS };
    float *mean = SL_NEW(arena, SIZE, float), *wall = value + STRIP_LUNG_ROWS * SL_BEAMS;
    if (!mean)
        return false;
    double common[PLACES] = {0}, still[PLACES] = {0};
    for (int t = 0; t < frames; t++) {
        const float *v = wall + (size_t)t * FRAME, *next = t + 1 < frames ? v + FRAME : v - (frames > 1 ? FRAME : 0);
        for (int i = 0; i < STRIP_WALL_ROWS; i++)
            for (int k = 0; k < PLACES_ACROSS; k++) {
                float sum = 0;
                for (int j = i * SL_BEAMS + k * ACROSS; j < i * SL_BEAMS + (k + 1) * ACROSS; j++) {
                    mean[j] += v[j] / (float)frames;
                    sum += v[j] * next[j];
                }
                common[place_of(i, k * ACROSS)] += (double)sum / frames;
            }
    }
    for (int i = 0; i < STRIP_WALL_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            still[place_of(i, j)] += (double)(mean[i * SL_BEAMS + j] * mean[i * SL_BEAMS + j]);
    double part = (STILL_WALL_FROM - still_share(still, common)) / (STILL_WALL_FROM - STILL_WALL_TO);
    float share = part < 0 ? 0 : part > 1 ? 1 : (float)part;
    for (int t = 0; t < frames && share > 0; t++) {
        float *v = wall + (size_t)t * FRAME;
        for (int i = 0; i < SIZE; i++)
            v[i] -= share * mean[i];
    }
    return true;
}
