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

static float quantile(const float *sorted, int count, float share)
{
    return sorted[(int)(share * (float)(count - 1) + 0.5f)];
}

/* Seen between the ribs, deep enough below their caps, and not below what is surely the pleura. */
static bool believe(const sl_pleura *pleura, const sl_fluid_layer *layer, double depth_mm)
{
    double mm = depth_mm > 0 ? depth_mm / SL_DEPTHS : NAN;
    bool thin = mm > 0 ? layer->thickness * mm < LAYER_MUSCLE_MM : layer->thickness < LAYER_MUSCLE_ROWS;
    double caps = mm > 0 ? layer->below_caps * mm / LAYER_BELOW_CAPS_MM : layer->below_caps / LAYER_BELOW_CAPS_ROWS;
    int spaces = 0, shown = 0, n = 0;
    float below[SL_BEAMS], above[SL_BEAMS];
    for (int j = 0; j < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] == SL_BEAM_SPACE) {
            spaces++;
            shown += !isnan(layer->top[j]);
        }
        if (!isnan(layer->top[j]) && !isnan(pleura->line[j])) {
            above[n] = pleura->line[j] - layer->bottom[j];
            below[n++] = layer->top[j] - pleura->line[j];
        }
    }
    if (!layer->seen || (thin && caps < 1))
        return false;
    /* Right below the muscle between the ribs, and what lies above it stands still: then the line above is a layer of the wall. */
    double muscle = mm > 0 ? layer->below_caps * mm / LAYER_MUSCLE_MM : layer->below_caps / LAYER_MUSCLE_ROWS;
    bool sure = caps >= 1 && muscle <= 1 && layer->grey <= LAYER_SURE_GREY && layer->contrast >= LAYER_SURE_CONTRAST && layer->stir >= LAYER_SURE_STIR &&
                (layer->stir >= LAYER_SURE_OVER_WALL * layer->wall_stir || layer->contrast >= LAYER_SURE_DARK);
    bool on_wall = caps >= 1 && muscle <= 1 && layer->wall_stir <= LAYER_STILL && layer->contrast >= LAYER_CONTRAST_STILL;
    if (!n || sure || pleura->found < LAYER_LINE_SURE)
        return true;
    qsort(below, (size_t)n, sizeof *below, by_float);
    qsort(above, (size_t)n, sizeof *above, by_float);
    if (quantile(below, n, 0.5f) < -LAYER_INSIDE_TOP && quantile(above, n, 0.5f) < -LAYER_INSIDE_BOTTOM)
        return false;
    return shown >= LAYER_SPACE_SHARE * spaces && (on_wall || quantile(below, n, 0.5f) <= LAYER_BELOW_LINE) &&
           quantile(above, n, 0.5f) <= LAYER_ABOVE_LINE;
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
    int least = LAYER_LEAST_ROWS;
    if (depth_mm > 0)
        least = (int)fmax(ceil(LAYER_LEAST_MM / depth_mm * SL_DEPTHS), 6);
    *parietal = *pleura;
    if (!pleura->mean ||
        !sl_fluid_layer_find(pleura->mean, pleura->change, &pleura->beams, stack->mask, LAYER_NEAREST_ROW, LAYER_DEEPEST_ROW, least, arena,
                             layer))
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was looked for; close other programs and read the clip "
                                         "again.");
    layer->seen = believe(pleura, layer, depth_mm);
    if (!layer->seen)
        return SL_OK;
    float line[SL_BEAMS];
    carry_on(pleura, layer, line);
    if (!sl_pleura_move(line, layer->top, LAYER_LINE_SURE, arena, parietal))
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was looked for; close other programs and read the clip again.");
    return SL_OK;
}
