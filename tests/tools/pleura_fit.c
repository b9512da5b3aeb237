/* What scripts/fit_pleura.py needs of the reader, as a shared library for ctypes: the signs of every cell,
 * and the line found with given weights. Not installed. */
#include "pleura_fit.h"

#include "core/arena.h"
#include "reading/pleura.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

int pleura_fit_signs(void)
{
    return PLEURA_SIGNS;
}

void pleura_fit_rows(int *first, int *last)
{
    *first = (int)(PLEURA_NEAREST * SL_DEPTHS);
    *last = (int)(PLEURA_DEEPEST * SL_DEPTHS);
}

int pleura_fit_cells(const float *picture, const float *change, const float *mean, const uint8_t *mask,
                     float *out)
{
    sl_arena arena = {0};
    sl_pleura_cells cells;
    float level = sl_pleura_level(mean, mask), sign[PLEURA_SIGNS][SL_BEAMS];
    bool ok = level > 0 && sl_pleura_cells_new(&arena, &cells);
    if (ok) {
        int first, last;
        pleura_fit_rows(&first, &last);
        sl_pleura_cells_change(&cells, change, level);
        sl_pleura_cells_fill(&cells, picture);
        for (int i = first; i <= last; i++) {
            sl_pleura_signs(&cells, i, sign);
            for (int j = 0; j < SL_BEAMS; j++)
                for (int k = 0; k < PLEURA_SIGNS; k++)
                    *out++ = sign[k][j];
        }
    }
    sl_arena_free(&arena);
    return ok;
}

int pleura_fit_line(const uint8_t *cell, const uint8_t *mask, int frames, double frame_s, int linear,
                    int face_visible, int middle, const float *weight, float *line, float *in_middle,
                    uint8_t *kind, double *found)
{
    sl_arena arena = {0};
    sl_view view = {.shape = linear ? SL_SHAPE_LINEAR : SL_SHAPE_CONVEX,
                    .far_y = 1,
                    .near_r = 1,
                    .far_r = 2,
                    .aspect = 1,
                    .face_visible = face_visible,
                    .mm_per_px = NAN};
    sl_stack stack = {.frames = frames,
                      .cell = (uint8_t *)cell,
                      .mask = mask,
                      .view = &view,
                      .times_known = frame_s > 0,
                      .frame_s = frame_s};
    sl_pleura pleura;
    sl_status status = sl_pleura_find_weighted(&stack, weight, &arena, &pleura, NULL);
    if (status == SL_OK) {
        memcpy(line, pleura.line, sizeof pleura.line);
        memcpy(kind, pleura.beams.kind, sizeof pleura.beams.kind);
        for (int j = 0; j < SL_BEAMS; j++)
            in_middle[j] = (float)sl_pleura_row_at(&pleura, middle, j);
        found[0] = pleura.found;
        found[1] = pleura.clear;
        found[2] = pleura.depth;
        found[3] = pleura.shown;
        memcpy(found + 4, pleura.scene, sizeof pleura.scene);
    }
    sl_arena_free(&arena);
    return status == SL_OK;
}
