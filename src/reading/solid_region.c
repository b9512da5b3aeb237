#include "reading/solid_region.h"

#include "core/order.h"
#include "reading/bronchogram_table.h"
#include "reading/solid_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS };

static int cells_of(double mm, double cell_mm, int fallback)
{
    int n = cell_mm > 0 ? (int)(mm / cell_mm + 0.5) : fallback;
    return n < 1 ? 1 : n;
}

int sl_solid_region_rows(const sl_solid_region *region, double mm, int fallback)
{
    return cells_of(mm, region->row_mm, fallback);
}

int sl_solid_region_beams(const sl_solid_region *region, int row, double mm, int fallback)
{
    row = row < 0 ? 0 : row >= ROWS ? ROWS - 1 : row;
    return cells_of(mm, (double)region->beam_mm[row], fallback);
}

static void measure_cells(const sl_view *view, sl_solid_region *region)
{
    double mm = view ? sl_view_depth_mm(view) : NAN;
    region->row_mm = mm > 0 ? mm / ROWS : 0;
    for (int i = 0; i < ROWS; i++)
        region->beam_mm[i] = region->row_mm > 0 && view->shape != SL_SHAPE_UNKNOWN
                                 ? (float)(sl_view_beam_step_px(view, BEAMS, (i + 0.5) / ROWS) * view->mm_per_px)
                                 : 0;
}

/* The row below which too little comes back to tell anything: medians of the rows' grey against the brightest of them. */
static int dim_from(const float *mean, const sl_solid_region *region)
{
    double row[BEAMS], most = 0;
    int dark = 0;
    for (int i = region->first; i < region->last; i++) {
        int n = 0;
        for (int j = 0; j < BEAMS; j++)
            if (i >= region->top[j] && i < region->bottom[j])
                row[n++] = (double)mean[i * BEAMS + j];
        if (n < 4)
            continue;
        qsort(row, (size_t)n, sizeof *row, sl_by_double);
        double middle = row[n / 2];
        most = fmax(most, middle);
        dark = middle < (double)BRONCHI_DIM * most ? dark + 1 : 0;
        if (dark == 6)
            return i - 5;
    }
    return region->last;
}

bool sl_solid_region_find(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, const sl_solid_extent *extent,
                          sl_arena *arena, sl_solid_region *region)
{
    memset(region, 0, sizeof *region);
    region->in = SL_NEW(arena, SL_CELLS, uint8_t);
    if (!region->in)
        return false;
    memset(region->in, 0, SL_CELLS);
    if (!pleura->seen || !pleura->mean)
        return true;
    measure_cells(stack->view, region);
    int margin = sl_solid_region_rows(region, BRONCHI_MARGIN_MM, BRONCHI_MARGIN_ROWS), deepest = (int)(SOLID_DEEPEST * ROWS);
    float border[BEAMS];
    for (int j = 0; j < BEAMS; j++)
        border[j] = NAN;
    bool bordered = extent->seen && sl_solid_border_strength(extent) > BRONCHI_BORDER;
    for (int k = 0; bordered && k < extent->points; k++)
        border[(int)(extent->beam[k] * BEAMS)] = (float)(extent->border[k] * ROWS);
    region->first = ROWS;
    for (int j = 0; j < BEAMS; j++) {
        double line = (double)(extent->seen && extent->moved ? extent->line[j] : pleura->line[j]);
        if (fluid && fluid->seen && isfinite(fluid->bottom[j]))
            line = fmax(line, (double)fluid->bottom[j]);
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || !isfinite(line))
            continue;
        int top = (int)(line + 0.5) + margin, bottom = deepest;
        /* A torn border reaches up between the beams that show it. */
        for (int k = j - 3; bordered && k <= j + 3; k++)
            if (k >= 0 && k < BEAMS && isfinite(border[k]))
                bottom = (int)border[k] - margin < bottom ? (int)border[k] - margin : bottom;
        while (bottom > top && !stack->mask[(bottom - 1) * BEAMS + j])
            bottom--;
        region->top[j] = top < ROWS ? top : ROWS;
        region->bottom[j] = bottom > top ? bottom : region->top[j];
        if (bottom > top) {
            region->first = top < region->first ? top : region->first;
            region->last = bottom > region->last ? bottom : region->last;
        }
    }
    int end = dim_from(pleura->mean, region);
    region->last = end < region->last ? end : region->last;
    for (int j = 0; j < BEAMS; j++) {
        region->bottom[j] = region->bottom[j] > end ? end : region->bottom[j];
        for (int i = region->top[j]; i < region->bottom[j]; i++) {
            region->in[i * BEAMS + j] = 1;
            region->cells++;
        }
    }
    return true;
}
