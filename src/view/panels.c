/* Several pictures on one screen: two panels, an M-mode or spectral trace beside the picture. One is read: what moves before
 * what stands still, the larger before the smaller, the left and the upper before the others. */
#include "view/panels.h"

#include "view/view_table.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TWO_D = 1, M_MODE = 2, SPECTRUM = 3 }; /* spatial formats, PS3.3 C.8.5.5.1.1 */

typedef struct part {
    int x0, y0, x1, y1; /* pooled pixels, inclusive */
    int format;         /* spatial format; 0 = not stated */
    bool box;           /* its sides are straight and upright */
    long lit;
    double live;        /* share of it that moves */
} part;

enum { MOST_PARTS = SL_CLIP_MOST_REGIONS };

static double area(const part *p)
{
    return (double)(p->x1 - p->x0 + 1) * (double)(p->y1 - p->y0 + 1);
}

/* Share of the smaller one that lies in both. */
static double shared(const part *a, const part *b)
{
    int x0 = a->x0 > b->x0 ? a->x0 : b->x0, x1 = a->x1 < b->x1 ? a->x1 : b->x1;
    int y0 = a->y0 > b->y0 ? a->y0 : b->y0, y1 = a->y1 < b->y1 ? a->y1 : b->y1;
    if (x1 < x0 || y1 < y0)
        return 0;
    double less = area(a) < area(b) ? area(a) : area(b);
    return (double)(x1 - x0 + 1) * (double)(y1 - y0 + 1) / less;
}

static void measure_live(const sl_planes *p, part *own)
{
    long live = 0;
    for (int y = own->y0; y <= own->y1; y++)
        for (int x = own->x0; x <= own->x1; x++)
            live += p->range[(size_t)y * (size_t)p->w + (size_t)x] > SL_LIVE_RANGE;
    own->live = (double)live / area(own);
}

/* ---- by the file's regions ---- */

static int clamp(int value, int most)
{
    return value < 0 ? 0 : value > most ? most : value;
}

/* Pictures and traces of the regions; regions of one picture (colour over tissue) count once. */
static int parts_of_regions(const sl_planes *p, const sl_clip_info *info, part *parts)
{
    int count = 0;
    for (int i = 0; info && i < info->regions && i < SL_CLIP_MOST_REGIONS; i++) {
        const sl_clip_region *r = &info->region[i];
        part made = {clamp(r->x0 / p->pool, p->w - 1), clamp(r->y0 / p->pool, p->h - 1), clamp(r->x1 / p->pool, p->w - 1),
                     clamp(r->y1 / p->pool, p->h - 1), r->spatial_format, false, 0, 0};
        bool same = r->spatial_format < TWO_D;
        for (int k = 0; k < count && !same; k++) {
            same = shared(&made, &parts[k]) > SL_PANEL_SHARED;
            if (same && parts[k].format != TWO_D && made.format == TWO_D)
                parts[k] = made;
            else if (same && made.format == TWO_D && area(&made) > area(&parts[k]))
                parts[k] = made; /* tissue around a colour box */
        }
        if (!same)
            parts[count++] = made;
    }
    return count;
}

/* ---- by the picture ---- */

static void bound(const sl_lit *lit, part *p)
{
    part in = *p;
    *p = (part){in.x1, in.y1, in.x0, in.y0, 0, false, 0, 0};
    for (int y = in.y0; y <= in.y1; y++)
        for (int x = in.x0; x <= in.x1; x++) {
            if (!lit->lit[(size_t)y * (size_t)lit->w + (size_t)x])
                continue;
            p->lit++;
            p->x0 = x < p->x0 ? x : p->x0;
            p->x1 = x > p->x1 ? x : p->x1;
            p->y0 = y < p->y0 ? y : p->y0;
            p->y1 = y > p->y1 ? y : p->y1;
        }
    if (!p->lit)
        *p = in;
    int straight = 0;
    for (int y = p->y0; y <= p->y1 && p->lit; y++) {
        const uint8_t *row = lit->lit + (size_t)y * (size_t)lit->w;
        int first = p->x0, last = p->x1;
        while (first < p->x1 && !row[first])
            first++;
        while (last > p->x0 && !row[last])
            last--;
        straight += first - p->x0 <= SL_PANEL_STRAIGHT_PX && p->x1 - last <= SL_PANEL_STRAIGHT_PX;
    }
    p->box = straight >= SL_PANEL_STRAIGHT * (p->y1 - p->y0 + 1);
}

/* Splits `whole` at the widest run of empty columns (rows: `down`) that has a good part of the lit picture on both sides. */
static bool split(const sl_lit *lit, const part *whole, bool down, part *a, part *b)
{
    int from = down ? whole->y0 : whole->x0, to = down ? whole->y1 : whole->x1, best = 0, best_at = 0;
    long before = 0;
    for (int i = from, run = 0; i <= to; i++) {
        long here = 0;
        for (int k = down ? whole->x0 : whole->y0; k <= (down ? whole->x1 : whole->y1); k++)
            here += lit->lit[down ? (size_t)i * (size_t)lit->w + (size_t)k : (size_t)k * (size_t)lit->w + (size_t)i];
        before += here;
        run = here ? 0 : run + 1;
        double share = (double)before / (double)whole->lit;
        if (run > best && share >= SL_PANEL_LEAST && share <= 1 - SL_PANEL_LEAST) {
            best = run;
            best_at = i;
        }
    }
    if (best < SL_PANEL_GAP_PX)
        return false;
    *a = *b = *whole;
    *(down ? &a->y1 : &a->x1) = best_at - best;
    *(down ? &b->y0 : &b->x0) = best_at + 1;
    bound(lit, a);
    bound(lit, b);
    return a->lit && b->lit;
}

/* A dark band may cross a picture, so that one above the other counts only where one of the two is a box that is not as wide
 * as the other, as a trace over time is. */
static bool is_trace_beside(const part *trace, const part *picture)
{
    double wide = trace->x1 - trace->x0 + 1, other = picture->x1 - picture->x0 + 1;
    double off = abs(trace->x0 - picture->x0) > abs(trace->x1 - picture->x1) ? abs(trace->x0 - picture->x0)
                                                                             : abs(trace->x1 - picture->x1);
    return trace->box && off > SL_PANEL_WIDTHS_DIFFER * (wide > other ? wide : other);
}

/* Outermost lit column of a row of `p`, seen from the other part. */
static double inner(const sl_lit *lit, const part *p, bool from_right, double from, double to)
{
    double sum = 0;
    int rows = 0;
    for (int y = p->y0 + (int)(from * (p->y1 - p->y0)); y < p->y0 + (int)(to * (p->y1 - p->y0)); y++) {
        const uint8_t *row = lit->lit + (size_t)y * (size_t)lit->w;
        int x = from_right ? p->x1 : p->x0;
        while (x >= p->x0 && x <= p->x1 && !row[x])
            x += from_right ? -1 : 1;
        if (x < p->x0 || x > p->x1)
            continue;
        sum += x;
        rows++;
    }
    return rows ? sum / rows : from_right ? p->x1 : p->x0;
}

/* Beams without contact leave a gap too: in a fan it widens with depth, as that between two fans does not; in a box it seldom
 * lies just in the middle, as that between two panels of one screen does. */
static bool are_panels(const sl_lit *lit, const part *left, const part *right)
{
    bool wedge = inner(lit, left, true, 0.35, 0.65) < inner(lit, left, true, 0, 0.3) - SL_PANEL_STRAIGHT_PX ||
                 inner(lit, right, false, 0.35, 0.65) > inner(lit, right, false, 0, 0.3) + SL_PANEL_STRAIGHT_PX;
    double a = left->x1 - left->x0 + 1, b = right->x1 - right->x0 + 1;
    bool alike = abs((int)(a - b)) <= SL_PANEL_ALIKE * (a > b ? a : b);
    return !wedge && (!left->box || !right->box || alike);
}

static int parts_of_lit(const sl_lit *lit, part *parts)
{
    part whole = {0, 0, lit->w - 1, lit->h - 1, 0, false, 0, 0};
    bound(lit, &whole);
    if (split(lit, &whole, false, &parts[0], &parts[1]))
        return are_panels(lit, &parts[0], &parts[1]) ? 2 : 0;
    if (!split(lit, &whole, true, &parts[0], &parts[1]))
        return 0;
    bool upper = is_trace_beside(&parts[0], &parts[1]), lower = is_trace_beside(&parts[1], &parts[0]);
    if (lower) /* a picture stands above its trace more often than below */
        parts[1].format = M_MODE;
    else if (upper)
        parts[0].format = M_MODE;
    return lower || upper ? 2 : 0;
}

/* By what is lit; then with what is drawn and stands still, where that is dense as a frozen picture or a trace is, and no menu. */
static int parts_of_picture(const sl_planes *p, sl_arena *arena, part *parts, sl_status *status, sl_error *error)
{
    sl_lit lit;
    *status = sl_lit_find(p, arena, &lit, error);
    if (*status != SL_OK || !lit.count)
        return 0;
    int count = lit.still ? 0 : parts_of_lit(&lit, parts);
    if (count)
        return count;
    for (size_t i = 0; i < (size_t)lit.w * (size_t)lit.h; i++)
        lit.lit[i] |= lit.open[i];
    count = parts_of_lit(&lit, parts);
    for (int i = 0; i < count; i++)
        if ((double)parts[i].lit < SL_PANEL_DENSE * area(&parts[i]) ||
            area(&parts[i]) < SL_PANEL_STILL_LEAST * area(&parts[1 - i]))
            return 0;
    return count;
}

/* ---- the choice ---- */

static int choose(const part *parts, int count)
{
    double liveliest = 0;
    int best = -1;
    for (int i = 0; i < count; i++)
        if ((parts[i].format == TWO_D || !parts[i].format) && parts[i].live > liveliest)
            liveliest = parts[i].live;
    for (int i = 0; i < count; i++) {
        const part *p = &parts[i], *b = best >= 0 ? &parts[best] : NULL;
        if ((p->format != TWO_D && p->format) || p->live < SL_PANEL_FROZEN * liveliest)
            continue;
        if (!b || (b->box && !p->box && !p->format) || (b->box == p->box && area(p) > SL_PANEL_LARGER * area(b)) ||
            (b->box == p->box && area(p) * SL_PANEL_LARGER > area(b) && (p->x1 < b->x0 || (p->y1 < b->y0 && p->x0 <= b->x1))))
            best = i;
    }
    return best;
}

static void say(const part *parts, int count, int chosen, bool guessed, char note[120])
{
    int pictures = 0, trace = 0;
    const part *own = &parts[chosen], *other = NULL;
    for (int i = 0; i < count; i++) {
        bool picture = parts[i].format == TWO_D || !parts[i].format;
        pictures += picture;
        if (picture && i != chosen)
            other = &parts[i];
        if (!picture)
            trace = trace && trace != parts[i].format ? -1 : parts[i].format;
    }
    if (pictures > 2)
        snprintf(note, 120, "several pictures on the screen: the largest moving one is read");
    else if (other && (own->x1 < other->x0 || other->x1 < own->x0))
        snprintf(note, 120, "two pictures side by side: the %s one is read", own->x0 < other->x0 ? "left" : "right");
    else if (other)
        snprintf(note, 120, "two pictures, one above the other: the %s one is read", own->y0 < other->y0 ? "upper" : "lower");
    else
        snprintf(note, 120, "%s beside the picture is not read",
                 guessed                 ? "a trace"
                 : trace == M_MODE       ? "the M-mode"
                 : trace == SPECTRUM     ? "the spectrum"
                                         : "a trace");
}

sl_status sl_panel_choose(const sl_planes *planes, const sl_clip_info *info, sl_arena *arena, sl_panel *panel, sl_error *error)
{
    part parts[MOST_PARTS];
    sl_status status = SL_OK;
    *panel = (sl_panel){.x1 = planes->w - 1, .y1 = planes->h - 1};
    int count = parts_of_regions(planes, info, parts), pictures = 0;
    for (int i = 0; i < count; i++)
        pictures += parts[i].format == TWO_D;
    bool guessed = count < 2 || !pictures;
    if (guessed)
        count = parts_of_picture(planes, arena, parts, &status, error);
    if (status != SL_OK || count < 2)
        return status;
    for (int i = 0; i < count; i++)
        measure_live(planes, &parts[i]);
    int chosen = choose(parts, count);
    if (chosen < 0)
        return SL_OK;
    const part *own = &parts[chosen];
    panel->aside = SL_NEW(arena, (size_t)planes->w * (size_t)planes->h, uint8_t);
    if (!panel->aside)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    for (int i = 0; i < count; i++) {
        const part *p = &parts[i];
        if (i == chosen)
            continue;
        for (int y = p->y0; y <= p->y1; y++)
            memset(panel->aside + (size_t)y * (size_t)planes->w + (size_t)p->x0, 1, (size_t)(p->x1 - p->x0 + 1));
        if (p->x1 < own->x0 && p->x1 >= panel->x0)
            panel->x0 = p->x1 + 1;
        if (p->x0 > own->x1 && p->x0 <= panel->x1)
            panel->x1 = p->x0 - 1;
        if (p->y1 < own->y0 && p->y1 >= panel->y0)
            panel->y0 = p->y1 + 1;
        if (p->y0 > own->y1 && p->y0 <= panel->y1)
            panel->y1 = p->y0 - 1;
    }
    for (int y = own->y0; y <= own->y1; y++)
        memset(panel->aside + (size_t)y * (size_t)planes->w + (size_t)own->x0, 0, (size_t)(own->x1 - own->x0 + 1));
    say(parts, count, chosen, guessed, panel->note);
    return SL_OK;
}
