#include "reading/lung_sides.h"

#include "core/order.h"

#include <math.h>
#include <stdlib.h>

typedef struct side {
    double low, most;   /* index of its windows: the lower quartile, the largest */
    double amplitude;   /* beams: the median */
    double furthest;    /* of its windows */
    double persistence; /* the least */
    int windows;
} side;

static side side_of(const sl_movement *movement, const sl_sliding *sliding, int first, int last)
{
    side s = {.persistence = 1};
    double amplitude[WINDOWS_MOST], index[WINDOWS_MOST];
    for (int w = first; w <= last; w++) {
        const sl_sliding_part *part = &sliding->window[w];
        s.most = fmax(s.most, part->index);
        s.furthest = fmax(s.furthest, part->amplitude);
        s.persistence = fmin(s.persistence, movement->window[w].persistence);
        index[s.windows] = part->index;
        amplitude[s.windows++] = part->amplitude;
    }
    qsort(amplitude, (size_t)s.windows, sizeof *amplitude, sl_by_double);
    qsort(index, (size_t)s.windows, sizeof *index, sl_by_double);
    s.low = s.windows ? index[s.windows / 4] : 0;
    s.amplitude = s.windows ? amplitude[s.windows / 2] : 0;
    return s;
}

static bool is_lung(const side *s)
{
    return s->windows >= SIDES_LUNG_WINDOWS && s->low > SIDES_LUNG_LEAST && s->most > SLIDE_PRESENT;
}

static bool is_air(const side *s, const side *lung)
{
    return s->windows >= SIDES_AIR_WINDOWS && s->most < SIDES_AIR_MOST && s->persistence > SIDES_AIR_KEPT &&
           s->furthest < SIDES_AIR_WAY * lung->amplitude;
}

/* The windows before `second` are the one side but for `left_out` that may lie across the place, those from it on the other.
 * Within one space the place is seen, and looked for in the speckle itself. */
static void try_split(const sl_movement *movement, const sl_sliding *sliding, int second, int left_out, sl_lung_sides *best)
{
    int end = second - left_out;
    if (movement->window[end - 1].space == movement->window[second].space)
        return;
    side one = side_of(movement, sliding, 0, end - 1), other = side_of(movement, sliding, second, movement->windows - 1);
    for (int left = 0; left < 2; left++) {
        const side *lung = left ? &one : &other, *air = left ? &other : &one;
        if (!is_lung(lung) || !is_air(air, lung))
            continue;
        double index = lung->low * (1 - air->most) * fmin(air->persistence / SIDES_AIR_SURE, 1);
        if (!(index > best->index))
            continue;
        const sl_beam_range *before = &movement->window[end - 1].beams, *after = &movement->window[second].beams;
        *best = (sl_lung_sides){.found = true, .lung_left = left, .index = index,
                                .first = 0.5 * (before->first + before->last + 1) / SL_BEAMS,
                                .last = 0.5 * (after->first + after->last + 1) / SL_BEAMS};
        int from = left ? 0 : second, to = left ? end : movement->windows;
        best->window = from;
        for (int w = from; w < to; w++)
            if (sliding->window[w].amplitude > sliding->window[best->window].amplitude)
                best->window = w;
    }
}

void sl_lung_sides_find(const sl_movement *movement, const sl_sliding *sliding, sl_lung_sides *sides)
{
    *sides = (sl_lung_sides){0};
    for (int left_out = 0; left_out <= SIDES_ACROSS; left_out++)
        for (int second = 1 + left_out; second < movement->windows; second++)
            try_split(movement, sliding, second, left_out, sides);
}
