#include "reading/effusion.h"

#include "reading/pleura_move.h"
#include "reading/solid_table.h"

#include <math.h>
#include <stdlib.h>

static int by_float(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* What begins well below a line that is surely the pleura is a gap between its repeats, or a heart's chamber. */
static double below_line(const sl_pleura *pleura, const sl_fluid_layer *layer, double row_mm)
{
    float below[SL_BEAMS];
    int n = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (!isnan(layer->top[j]) && !isnan(pleura->line[j]))
            below[n++] = layer->top[j] - pleura->line[j];
    if (!n || pleura->found < LAYER_LINE_SURE)
        return 0;
    qsort(below, (size_t)n, sizeof *below, by_float);
    double mm = (double)below[n / 2] * (row_mm > 0 ? row_mm : LAYER_ROW_MM);
    return fmin(fmax((mm - LAYER_UNDER_MM) / LAYER_UNDER_MORE_MM, 0), 1);
}

/* The rim over all beams: between beams that show the layer by a straight line, beyond the outermost as it is there; beams
 * of a space far from any keep the line they have. */
static void carry_on(const sl_pleura *pleura, const sl_fluid_layer *layer, float *line)
{
    enum { FAR = 10 };
    for (int j = 0; j < SL_BEAMS; j++) {
        int left = j, right = j;
        while (left >= 0 && isnan(layer->top[left]))
            left--;
        while (right < SL_BEAMS && isnan(layer->top[right]))
            right++;
        bool alone = (left < 0 || j - left > FAR) && (right >= SL_BEAMS || right - j > FAR);
        float own = pleura->line[j];
        if (isnan(own) || (alone && pleura->found >= LAYER_LINE_SURE && pleura->beams.kind[j] == SL_BEAM_SPACE))
            line[j] = own;
        else if (left < 0)
            line[j] = layer->top[right];
        else if (right >= SL_BEAMS || right == left)
            line[j] = layer->top[left];
        else
            line[j] = layer->top[left] +
                      (layer->top[right] - layer->top[left]) * (float)(j - left) / (float)(right - left);
    }
}

sl_status sl_effusion_find(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_fluid_layer *layer,
                           sl_pleura *parietal, sl_error *error)
{
    double depth_mm = stack->view ? sl_view_depth_mm(stack->view) : NAN;
    double row_mm = depth_mm > 0 ? depth_mm / SL_DEPTHS : 0;
    int least = LAYER_LEAST_ROWS;
    if (depth_mm > 0)
        least = (int)fmax(ceil(LAYER_LEAST_MM / depth_mm * SL_DEPTHS), 6);
    *parietal = *pleura;
    if (!pleura->mean ||
        !sl_fluid_layer_find(pleura->mean, pleura->change, &pleura->beams, stack->mask, LAYER_NEAREST_ROW, LAYER_DEEPEST_ROW, least,
                             row_mm, arena, layer))
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was looked for; close other programs and read the clip "
                                         "again.");
    layer->odds += LAYER_UNDER_ODDS * below_line(pleura, layer, row_mm);
    layer->seen = layer->odds >= LAYER_ODDS_SEEN;
    if (!layer->seen)
        return SL_OK;
    float line[SL_BEAMS];
    carry_on(pleura, layer, line);
    if (!sl_pleura_move(line, layer->top, LAYER_LINE_SURE, arena, parietal))
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was looked for; close other programs and read the clip again.");
    return SL_OK;
}
