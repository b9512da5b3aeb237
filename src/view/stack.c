#include "view/stack.h"

#include "core/quantile.h"
#include "core/units.h"
#include "view/straighten_kernel.h"
#include "view/view_table.h"

#include <stdlib.h>
#include <string.h>

/* The quantile of the known values; `scratch` has room for n. */
static double quantile(const double *value, int n, double share, double *scratch)
{
    memcpy(scratch, value, (size_t)n * sizeof *value);
    return sl_quantile(scratch, n, share);
}

sl_status sl_stack_new(sl_arena *arena, const sl_straightener *straightener, const sl_view *view, int most,
                       sl_stack *stack, sl_error *error)
{
    *stack = (sl_stack){.most = most < 1 ? 1 : most > SL_STACK_MOST ? SL_STACK_MOST : most, .view = view};
    stack->mask = sl_straightener_mask(straightener);
    stack->cell = SL_NEW(arena, (size_t)stack->most * SL_CELLS, uint8_t);
    stack->time_s = SL_NEW(arena, stack->most, double);
    stack->source = SL_NEW(arena, stack->most, int);
    stack->level = SL_NEW(arena, stack->most, double);
    stack->change = SL_NEW(arena, stack->most, double);
    stack->scratch = SL_NEW(arena, stack->most, double);
    if (!stack->cell || !stack->time_s || !stack->source || !stack->level || !stack->change ||
        !stack->scratch)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading a clip (%d frames held).",
                       stack->most);
    stack->frame_s = SL_UNKNOWN;
    return SL_OK;
}

bool sl_stack_add(sl_stack *stack, const sl_straightener *straightener, const sl_frame *frame)
{
    if (stack->frames == stack->most)
        return false;
    int at = stack->frames++;
    sl_straighten(straightener, frame->gray, stack->cell + (size_t)at * SL_CELLS);
    stack->time_s[at] = frame->time_s;
    stack->source[at] = frame->index;
    return true;
}

/* Moves a frame forward over gaps. */
static void move_frame(sl_stack *stack, int from, int to)
{
    if (from == to)
        return;
    memcpy(stack->cell + (size_t)to * SL_CELLS, stack->cell + (size_t)from * SL_CELLS, SL_CELLS);
    stack->time_s[to] = stack->time_s[from];
    stack->source[to] = stack->source[from];
    stack->level[to] = stack->level[from];
    stack->change[to] = stack->change[from];
}

static double change_between(const sl_stack *stack, int a, int b, double inside)
{
    return sl_kernel_change(SL_CELLS, sl_stack_frame(stack, a), sl_stack_frame(stack, b)) / inside;
}

static void drop_black(sl_stack *stack, double inside)
{
    for (int i = 0; i < stack->frames; i++)
        stack->level[i] = sl_kernel_sum(SL_CELLS, sl_stack_frame(stack, i)) / inside;
    double usual = quantile(stack->level, stack->frames, 0.5, stack->scratch);
    int kept = 0;
    for (int i = 0; i < stack->frames; i++)
        if (!(stack->level[i] < SL_BLACK_SHARE * usual))
            move_frame(stack, i, kept++);
    stack->dropped_black += stack->frames - kept;
    stack->frames = kept;
}

static void drop_copies(sl_stack *stack, double inside)
{
    if (!stack->frames)
        return;
    stack->change[0] = SL_UNKNOWN;
    for (int i = 1; i < stack->frames; i++)
        stack->change[i] = change_between(stack, i, i - 1, inside);
    double copy_below =
        SL_COPY_SHARE * quantile(stack->change, stack->frames, SL_COPY_QUANTILE, stack->scratch);
    int kept = 1;
    for (int i = 1; i < stack->frames; i++) {
        /* Against the frame kept last: a run of copies may drift by noise, and its sum is then a change. */
        double change = kept == i ? stack->change[i] : change_between(stack, i, kept - 1, inside);
        if (change <= copy_below)
            continue;
        move_frame(stack, i, kept);
        stack->change[kept++] = change;
    }
    stack->dropped_copies += stack->frames - kept;
    stack->frames = kept;
}

static void settle_times(sl_stack *stack)
{
    stack->times_known = stack->frames > 0;
    for (int i = 0; i < stack->frames; i++)
        if (!sl_known(stack->time_s[i]) || (i && stack->time_s[i] <= stack->time_s[i - 1]))
            stack->times_known = false;
    stack->frame_s = SL_UNKNOWN;
    if (!stack->times_known)
        return;
    double *step = stack->level; /* borrowed: levels are written again below */
    for (int i = 1; i < stack->frames; i++)
        step[i - 1] = stack->time_s[i] - stack->time_s[i - 1];
    stack->frame_s = quantile(step, stack->frames - 1, 0.5, stack->scratch);
}

void sl_stack_settle(sl_stack *stack)
{
    double inside = 0;
    for (int i = 0; i < SL_CELLS; i++)
        inside += stack->mask[i];
    if (inside < 1)
        inside = 1;
    drop_black(stack, inside);
    drop_copies(stack, inside);
    settle_times(stack);
    for (int i = 0; i < stack->frames; i++)
        stack->level[i] = sl_kernel_sum(SL_CELLS, sl_stack_frame(stack, i)) / inside;
}

void sl_stack_mean(const sl_stack *stack, int first, int last, float *restrict mean)
{
    float scale = 1.0f / (float)(last - first);
    for (int row = 0; row < SL_DEPTHS; row++) {
        uint32_t sum[SL_BEAMS] = {0};
        for (int f = first; f < last; f++) {
            const uint8_t *restrict cell = sl_stack_frame(stack, f) + row * SL_BEAMS;
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] += cell[j];
        }
        for (int j = 0; j < SL_BEAMS; j++)
            mean[row * SL_BEAMS + j] = (float)sum[j] * scale;
    }
}
