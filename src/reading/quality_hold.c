/* How the probe was held: contact, space between the ribs, tilt, and how far the wall wandered under it. */
#include "reading/quality.h"

#include "core/order.h"
#include "core/units.h"
#include "reading/quality_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STRIPS = Q_WALL_STRIPS, STRIP_CELLS = Q_WALL_STRIPS * SL_BEAMS };

/* ---- beams ---- */

static void state_beams(const sl_pleura *pleura, sl_hold_quality *h)
{
    int kinds[4] = {0}, first = -1, last = -1;
    for (int j = 0; j < SL_BEAMS; j++) {
        kinds[pleura->beams.kind[j]]++;
        if (pleura->beams.kind[j] == SL_BEAM_OUTSIDE)
            continue;
        first = first < 0 ? j : first;
        last = j;
    }
    double seen = SL_BEAMS - kinds[SL_BEAM_OUTSIDE];
    h->found = pleura->found;
    h->clear = pleura->clear;
    h->caps = pleura->beams.caps;
    if (!(seen > 0))
        return;
    h->space = kinds[SL_BEAM_SPACE] / seen;
    h->rib = kinds[SL_BEAM_RIB] / seen;
    h->widest = 0;
    if (pleura->beams.widest >= 0) {
        sl_beam_range widest = pleura->beams.space[pleura->beams.widest];
        h->widest = (widest.last - widest.first + 1) / seen;
    }
    int third = (last - first + 1) / 3, open = 0;
    for (int j = first + third; j <= last - third; j++)
        open += pleura->beams.kind[j] == SL_BEAM_SPACE;
    h->central = (double)open / (last - first + 1 - 2 * third);
}

/* How like the depth profile of beam `edge` beam j's is, over the rows until `last`. */
static double alike_in_depth(const sl_stack *stack, const float *mean, int edge, int j, int last)
{
    double n = 0, a = 0, b = 0, ab = 0, aa = 0, bb = 0;
    for (int row = 0; row < last; row++) {
        if (!stack->mask[row * SL_BEAMS + j] || !stack->mask[row * SL_BEAMS + edge])
            continue;
        double x = (double)mean[row * SL_BEAMS + edge], y = (double)mean[row * SL_BEAMS + j];
        n++;
        a += x;
        b += y;
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    double left = n * aa - a * a, right = n * bb - b * b;
    return left > 0 && right > 0 ? (n * ab - a * b) / sqrt(left * right) : 0;
}

/* Without contact the transducer's own ringing fills the wall, the same in every beam; below it nothing comes back. Speckle
 * differs from beam to beam. How many of the `beams` from one end on are so. */
static int ringing(const sl_stack *stack, const sl_pleura *pleura, const int *beam, int beams, int last, double usual, bool from_last)
{
    int until = (int)(last * Q_RING_UNTIL / Q_WALL_UNTIL), from = (int)(last * Q_RING_FROM / Q_WALL_UNTIL), count = 0, unlike = 0;
    until = until < SL_DEPTHS ? until : SL_DEPTHS;
    for (; count < beams; count++) {
        int j = beam[from_last ? beams - 1 - count : count], next = from_last ? j - Q_RING_BEAMS : j + Q_RING_BEAMS;
        double below = 0;
        for (int row = from; row < until; row++)
            below += (double)pleura->mean[row * SL_BEAMS + j] / (until - from);
        if (below >= Q_DARK_SHARE * usual || next < 0 || next >= SL_BEAMS)
            break;
        /* A beam or two at the picture's edge are half outside; one may fail further in. */
        bool alike = alike_in_depth(stack, pleura->mean, next, j, from) >= Q_RING_ALIKE;
        unlike = alike ? 0 : unlike + 1;
        if (unlike > 1 && count > 2)
            break;
    }
    count -= unlike < count ? unlike : count;
    return count;
}

/* Beams whose wall is dark although their neighbours' is not. */
static void state_contact(const sl_stack *stack, const sl_pleura *pleura, sl_hold_quality *h)
{
    int last = Q_WALL_ROWS, beams = 0, dark = 0, at_first = 0, at_last = 0;
    if (pleura->seen && sl_known(pleura->depth)) /* below the transducer's own ringing, above most of the ribs' shadows */
        last = (int)(pleura->depth * SL_DEPTHS * Q_WALL_UNTIL);
    last = last < Q_WALL_FIRST_ROW ? Q_WALL_FIRST_ROW : last > Q_WALL_FIRST_ROW + Q_WALL_ROWS ? Q_WALL_FIRST_ROW + Q_WALL_ROWS : last;
    int first = (int)(last * Q_WALL_FROM / Q_WALL_UNTIL);
    double grey[SL_BEAMS], sorted[SL_BEAMS];
    int beam[SL_BEAMS];
    for (int j = 0; pleura->mean && j < SL_BEAMS; j++) {
        double sum = 0;
        int cells = 0;
        for (int row = first; row < last; row++)
            if (stack->mask[row * SL_BEAMS + j]) {
                sum += (double)pleura->mean[row * SL_BEAMS + j];
                cells++;
            }
        if (2 * cells > last - first) {
            beam[beams] = j;
            grey[beams++] = sum / cells;
        }
    }
    if (beams < SL_BEAMS / 4)
        return;
    memcpy(sorted, grey, sizeof sorted);
    qsort(sorted, (size_t)beams, sizeof *sorted, sl_by_double);
    double usual = sorted[(int)(Q_STRONG * (beams - 1))], least = Q_DARK_SHARE * usual;
    for (int j = 0; j < beams; j++)
        dark += grey[j] < least;
    while (at_first < beams && grey[at_first] < least)
        at_first++;
    while (at_last < beams && grey[beams - 1 - at_last] < least)
        at_last++;
    int ring_first = ringing(stack, pleura, beam, beams, last, usual, false), ring_last = ringing(stack, pleura, beam, beams, last, usual, true);
    if (ring_first + ring_last < beams) {
        dark += (ring_first > at_first ? ring_first - at_first : 0) + (ring_last > at_last ? ring_last - at_last : 0);
        at_first = ring_first > at_first ? ring_first : at_first;
        at_last = ring_last > at_last ? ring_last : at_last;
    }
    dark = dark < beams ? dark : beams;
    h->dark = (double)dark / beams;
    h->dark_first = (double)at_first / beams;
    h->dark_last = (double)at_last / beams;
}

/* A straight line through the rows of the pleura over the beams of the spaces from `first` to `last`; its slope as an angle
 * where it lies. False when there are too few beams. */
static bool fit_line(const sl_stack *stack, const sl_pleura *pleura, int first, int last, double *tilt_deg, double *rms)
{
    double n = 0, beam = 0, row = 0, square = 0, product = 0, off = 0;
    for (int j = first; j <= last; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j])) {
            n++;
            beam += j;
            row += (double)pleura->line[j];
        }
    if (n < 2 * Q_WINDOW_BEAMS)
        return false;
    beam /= n;
    row /= n;
    for (int j = first; j <= last; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j])) {
            square += (j - beam) * (j - beam);
            product += (j - beam) * ((double)pleura->line[j] - row);
        }
    for (int j = first; j <= last; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j])) {
            double d = (double)pleura->line[j] - row - product / square * (j - beam);
            off += d * d;
        }
    double down = product / square * sl_view_depth_px(stack->view) / SL_DEPTHS;
    double across = sl_view_beam_step_px(stack->view, SL_BEAMS, (row + 0.5) / SL_DEPTHS);
    *tilt_deg = sl_deg(atan2(down, across));
    *rms = sqrt(off / n) / SL_DEPTHS;
    return true;
}

static void state_tilt(const sl_stack *stack, const sl_pleura *pleura, sl_hold_quality *h)
{
    double ignored;
    fit_line(stack, pleura, 0, SL_BEAMS - 1, &h->tilt_deg, &h->tilt_rms);
    if (pleura->beams.widest < 0)
        return;
    sl_beam_range widest = pleura->beams.space[pleura->beams.widest];
    fit_line(stack, pleura, widest.first, widest.last, &h->tilt_widest_deg, &ignored);
}

static void state_echo(const sl_pleura *pleura, sl_hold_quality *h)
{
    double line = 0, wall = 0;
    for (int j = 0; pleura->mean && j < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int at = (int)(pleura->line[j] + 0.5f), first = at / 3;
        float most = 0, sum = 0;
        for (int row = at < 2 ? 0 : at - 2; row <= at + 2 && row < SL_DEPTHS; row++)
            most = fmaxf(most, pleura->mean[row * SL_BEAMS + j]);
        for (int row = first; row < at - 2; row++)
            sum += pleura->mean[row * SL_BEAMS + j];
        if (at - 2 <= first)
            continue;
        line += (double)most;
        wall += (double)(sum / (float)(at - 2 - first));
    }
    h->echo = wall > 0 ? line / wall : SL_UNKNOWN;
}

/* ---- the wall ---- */

/* Strips of the wall, each with its slow shading along the beams taken out and set to unit energy together. */
static void wall_profile(const sl_stack *stack, int frame, int first, int last, float *out)
{
    const uint8_t *cell = sl_stack_frame(stack, frame);
    enum { NARROW = 1, WIDE = 10 };
    for (int s = 0; s < STRIPS; s++) {
        float sum[SL_BEAMS] = {0}, upto[SL_BEAMS + 1] = {0};
        int from = first + (last - first) * s / STRIPS, to = first + (last - first) * (s + 1) / STRIPS;
        for (int row = from; row < to; row++)
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] += cell[row * SL_BEAMS + j];
        for (int j = 0; j < SL_BEAMS; j++)
            upto[j + 1] = upto[j] + sum[j] / (float)(to > from ? to - from : 1);
        for (int j = 0; j < SL_BEAMS; j++) {
            int a = j < NARROW ? 0 : j - NARROW, b = j + NARROW >= SL_BEAMS ? SL_BEAMS - 1 : j + NARROW;
            int c = j < WIDE ? 0 : j - WIDE, d = j + WIDE >= SL_BEAMS ? SL_BEAMS - 1 : j + WIDE;
            out[s * SL_BEAMS + j] = (upto[b + 1] - upto[a]) / (float)(b + 1 - a) - (upto[d + 1] - upto[c]) / (float)(d + 1 - c);
        }
    }
}

/* Correlation of two profiles with `b` moved by `shift` beams. */
static double alike(const float *a, const float *b, int shift)
{
    int from = shift > 0 ? shift : 0, to = shift > 0 ? SL_BEAMS : SL_BEAMS + shift;
    double ab = 0, aa = 0, bb = 0;
    for (int s = 0; s < STRIPS; s++) {
        float x = 0, y = 0, z = 0;
        const float *p = a + s * SL_BEAMS, *q = b + s * SL_BEAMS - shift;
        for (int j = from; j < to; j++) {
            x += p[j] * q[j];
            y += p[j] * p[j];
            z += q[j] * q[j];
        }
        ab += (double)x;
        aa += (double)y;
        bb += (double)z;
    }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

static sl_status state_wall(const sl_stack *stack, const sl_pleura *pleura, sl_arena *scratch, sl_hold_quality *h)
{
    int first = Q_WALL_FIRST_ROW, last = first + Q_WALL_ROWS;
    if (pleura->seen && sl_known(pleura->depth)) {
        last = (int)(pleura->depth * SL_DEPTHS) - 4;
        first = first < last / 4 ? first : last / 4;
    }
    if (last - first < STRIPS || stack->frames < 4)
        return SL_OK;
    int frames = stack->frames < Q_WALL_FRAMES ? stack->frames : Q_WALL_FRAMES;
    float *start = SL_NEW(scratch, STRIP_CELLS, float), *before = SL_NEW(scratch, STRIP_CELLS, float),
          *now = SL_NEW(scratch, STRIP_CELLS, float);
    double *shift = SL_NEW(scratch, frames, double), *kept = SL_NEW(scratch, frames, double);
    if (!start || !before || !now || !shift || !kept)
        return SL_MEMORY;
    wall_profile(stack, 0, first, last, start);
    memcpy(before, start, STRIP_CELLS * sizeof *before);
    double at = 0; /* sum of the steps from frame to frame: carries the search when the start has gone from the picture */
    for (int k = 1; k < frames; k++) {
        wall_profile(stack, (int)((int64_t)k * stack->frames / frames), first, last, now);
        int best = 0;
        double most = -1;
        for (int s = -Q_WALL_SHIFT / 3; s <= Q_WALL_SHIFT / 3; s++) {
            double c = alike(before, now, -s);
            if (c > most) {
                most = c;
                best = s;
            }
        }
        at += most > 0.3 ? best : 0;
        shift[k - 1] = at;
        int around = at > Q_WALL_SHIFT ? Q_WALL_SHIFT : at < -Q_WALL_SHIFT ? -Q_WALL_SHIFT : (int)at;
        kept[k - 1] = 0;
        for (int s = around - 2; s <= around + 2; s++)
            kept[k - 1] = fmax(kept[k - 1], alike(start, now, -s));
        float *turn = before;
        before = now;
        now = turn;
    }
    qsort(shift, (size_t)(frames - 1), sizeof *shift, sl_by_double);
    qsort(kept, (size_t)(frames - 1), sizeof *kept, sl_by_double);
    int low = (frames - 2) / 20, high = frames - 2 - low;
    h->wall_shift = shift[high] - shift[low];
    h->wall_kept = kept[(frames - 2) / 2];
    return SL_OK;
}

/* ---- pooling ---- */

static void pool(double *into, double weight, double more, double weight_more)
{
    if (sl_known(more))
        *into = sl_known(*into) ? (*into * weight + more * weight_more) / (weight + weight_more) : more;
}

sl_status sl_quality_add_hold(const sl_stack *stack, const sl_pleura *pleura, sl_arena *scratch, sl_hold_quality *into,
                              sl_error *error)
{
    if (stack->frames < 1)
        return SL_OK;
    sl_quality made;
    sl_quality_clear(&made);
    sl_hold_quality *h = &made.hold;
    state_beams(pleura, h);
    state_contact(stack, pleura, h);
    state_tilt(stack, pleura, h);
    state_echo(pleura, h);
    if (state_wall(stack, pleura, scratch, h) != SL_OK)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the chest wall was followed.");
    h->frames = stack->frames;
    if (!(into->frames > 0)) {
        *into = *h;
        return SL_OK;
    }
    double a = into->frames, b = h->frames;
    double *const means[] = {&into->found, &into->clear, &into->space, &into->rib, &into->dark, &into->dark_first, &into->dark_last,
                             &into->widest, &into->central, &into->caps, &into->tilt_deg, &into->tilt_rms, &into->tilt_widest_deg, &into->echo, &into->wall_kept};
    const double more[] = {h->found, h->clear, h->space, h->rib, h->dark, h->dark_first, h->dark_last,
                           h->widest, h->central, h->caps, h->tilt_deg, h->tilt_rms, h->tilt_widest_deg, h->echo, h->wall_kept};
    for (size_t i = 0; i < sizeof more / sizeof *more; i++)
        pool(means[i], a, more[i], b);
    if (sl_known(h->wall_shift))
        into->wall_shift = sl_known(into->wall_shift) ? fmax(into->wall_shift, h->wall_shift) : h->wall_shift;
    into->frames += b;
    return SL_OK;
}
