/* Which pixels belong to the moving picture. Surround is what is still, flat and of a level that fills a good
 * part of the picture; marks are still and stand out; the rest that departs from the surround in any frame is
 * lit. */
#include "view/find_parts.h"
#include "view/view_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct surround {
    uint8_t away[256]; /* distance of a level to the nearest surround level, 255 when there is none */
    double share;
} surround;

static int step_of(int a, int b)
{
    return a > b ? a - b : b - a;
}

/* How many pixels of each level are empty: still over time and equal to their neighbours. `slack` is the
 * coding noise allowed. */
static void count_empty(const sl_planes *p, int range_most, int step_most, long *histogram)
{
    memset(histogram, 0, 256 * sizeof *histogram);
    for (int y = 0; y + 1 < p->h; y++) {
        const uint8_t *hi = p->hi + (size_t)y * p->w, *range = p->range + (size_t)y * p->w;
        for (int x = 0; x + 1 < p->w; x++)
            if (range[x] <= range_most && step_of(hi[x], hi[x + 1]) <= step_most &&
                step_of(hi[x], hi[x + p->w]) <= step_most)
                histogram[hi[x]]++;
    }
}

/* The surround is the darkest level that fills a good part of the picture with empty pixels, and with it any
 * other such level well above it (a page around the picture, a grey panel). Not every still and flat level:
 * behind deep shadow the picture itself holds nothing but a steady floor of noise, a little above the
 * surround. */
static bool find_surround(const sl_planes *p, bool still, double least, surround *s)
{
    long histogram[256], total = (long)p->w * p->h, filled = 0;
    bool level[256] = {false};
    int base = -1;
    for (int loose = 0; loose < 2 && base < 0; loose++) {
        count_empty(p, loose ? SL_STILL_RANGE : 1, loose ? SL_FLAT_STEP : 1, histogram);
        for (int v = 0; v < 256; v++) {
            long here = histogram[v] + (v ? histogram[v - 1] : 0) + (v < 255 ? histogram[v + 1] : 0);
            bool peak =
                (!v || histogram[v] >= histogram[v - 1]) && (v == 255 || histogram[v] >= histogram[v + 1]);
            if (!peak || !histogram[v] ||
                (double)here < (still && base >= 0 ? SL_SURROUND_STILL : least) * (double)total ||
                (base >= 0 && v - base < SL_SURROUND_STEP))
                continue;
            if (base < 0)
                base = v;
            level[v] = true;
            filled += here;
        }
    }
    s->share = (double)filled / (double)total;
    for (int v = 0; v < 256; v++) {
        s->away[v] = 255;
        for (int u = 0; u < 256; u++)
            if (level[u] && step_of(u, v) < s->away[v])
                s->away[v] = (uint8_t)step_of(u, v);
    }
    return base >= 0;
}

/* Filmed screens and analogue grabs carry noise over the surround too. The quietest pixels say how much;
 * taken off both ends of every pixel's range it leaves what moves by more. */
static bool take_noise_off(const sl_planes *p, sl_arena *arena, sl_planes *quiet)
{
    size_t n = (size_t)p->w * p->h;
    size_t histogram[256] = {0}, below = 0;
    for (size_t i = 0; i < n; i++)
        histogram[p->range[i]]++;
    int noise = 0;
    while (noise < 255 && (double)(below += histogram[noise]) < SL_QUIET_SHARE * (double)n)
        noise++;
    int off = (int)(SL_QUIET_MARGIN * noise / 2 + 1);
    uint8_t *hi = SL_NEW(arena, n, uint8_t), *lo = SL_NEW(arena, n, uint8_t),
            *range = SL_NEW(arena, n, uint8_t);
    *quiet = *p;
    if (!hi || !lo || !range || noise > SL_QUIET_MOST)
        return false;
    for (size_t i = 0; i < n; i++) {
        hi[i] = p->hi[i] - off > p->mean[i] ? (uint8_t)(p->hi[i] - off) : p->mean[i];
        lo[i] = p->lo[i] + off < p->mean[i] ? (uint8_t)(p->lo[i] + off) : p->mean[i];
        range[i] = (uint8_t)(hi[i] - lo[i]);
    }
    quiet->hi = hi;
    quiet->lo = lo;
    quiet->range = range;
    return true;
}

/* 3 x 3 majority, in place with a copy. */
static void clean(uint8_t *lit, uint8_t *copy, int w, int h)
{
    memcpy(copy, lit, (size_t)w * h);
    for (int y = 1; y + 1 < h; y++) {
        const uint8_t *a = copy + (size_t)(y - 1) * w, *b = a + w, *c = b + w;
        uint8_t *out = lit + (size_t)y * w;
        for (int x = 1; x + 1 < w; x++) {
            int sum = a[x - 1] + a[x] + a[x + 1] + b[x - 1] + b[x] + b[x + 1] + c[x - 1] + c[x] + c[x + 1];
            out[x] = sum >= 5;
        }
    }
}

static int root_of(int *parent, int i)
{
    while (parent[i] != i) {
        parent[i] = parent[parent[i]];
        i = parent[i];
    }
    return i;
}

/* Keeps the parts of at least `share` of the largest (4-neighbours). `label` has w * h, `parent` and `area` w
 * * h / 2
 * + 2 entries. */
static long keep_large_parts(uint8_t *lit, int w, int h, double share, int *label, int *parent, int *area)
{
    int labels = 1;
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            size_t at = (size_t)y * w + x;
            label[at] = 0;
            if (!lit[at])
                continue;
            int left = x ? label[at - 1] : 0, up = y ? label[at - w] : 0;
            if (!left && !up) {
                parent[labels] = labels;
                label[at] = labels++;
            } else if (left && up) {
                int a = root_of(parent, left), b = root_of(parent, up);
                int low = a < b ? a : b;
                parent[a] = parent[b] = low;
                label[at] = low;
            } else {
                label[at] = left ? left : up;
            }
        }
    }
    memset(area, 0, (size_t)labels * sizeof *area);
    long largest = 0, count = 0;
    for (size_t at = 0; at < (size_t)w * h; at++)
        if (label[at]) {
            label[at] = root_of(parent, label[at]);
            if (++area[label[at]] > largest)
                largest = area[label[at]];
        }
    for (size_t at = 0; at < (size_t)w * h; at++) {
        lit[at] = label[at] && area[label[at]] >= share * largest;
        count += lit[at];
    }
    return count;
}

static void sum_rows(sl_lit *lit)
{
    for (int y = 0; y < lit->h; y++) {
        const uint8_t *row = lit->lit + (size_t)y * lit->w, *open = lit->open + (size_t)y * lit->w;
        int *n = lit->lit_before + (size_t)y * (lit->w + 1),
            *said = lit->said_before + (size_t)y * (lit->w + 1);
        for (int x = 0; x < lit->w; x++) {
            n[x + 1] = n[x] + row[x];
            said[x + 1] = said[x] + (row[x] || !open[x]);
        }
    }
}

static void outline(sl_lit *lit)
{
    int w = lit->w, h = lit->h;
    memset(lit->first, -1, (size_t)h * sizeof *lit->first);
    memset(lit->last, -1, (size_t)h * sizeof *lit->last);
    memset(lit->top, -1, (size_t)w * sizeof *lit->top);
    memset(lit->bottom, -1, (size_t)w * sizeof *lit->bottom);
    for (int y = 0; y < h; y++) {
        const uint8_t *row = lit->lit + (size_t)y * w;
        for (int x = 0; x < w; x++) {
            if (!row[x])
                continue;
            if (lit->first[y] < 0)
                lit->first[y] = (int16_t)x;
            lit->last[y] = (int16_t)x;
            if (lit->top[x] < 0)
                lit->top[x] = (int16_t)y;
            lit->bottom[x] = (int16_t)y;
        }
    }
}

/* The outermost place that a good share of the rows (or columns) end at, or -1. `from_high`: the largest
 * value. A cut is sharp: hardly more rows end within a few pixels of it than at it. (On an arc the number
 * grows with the square root of the distance, on a slanted edge in proportion.) */
static int cut_at(const int16_t *edge, int n, int side, bool from_high)
{
    int extreme = -1, at[SL_CROP_STRAY + 1 + SL_CROP_BAND] = {0};
    for (int i = 0; i < n; i++) {
        int value = edge[i] < 0 ? -1 : from_high ? edge[i] : side - 1 - edge[i];
        if (value > extreme)
            extreme = value;
    }
    if (extreme < 0)
        return -1;
    for (int i = 0; i < n; i++) {
        int under = edge[i] < 0 ? side : extreme - (from_high ? edge[i] : side - 1 - edge[i]);
        if (under < SL_CROP_STRAY + 1 + SL_CROP_BAND)
            at[under]++;
    }
    for (int k = 0; k <= SL_CROP_STRAY; k++) { /* a few stray pixels may lie beyond */
        int sharp = at[k] + at[k + 1], band = 0;
        for (int j = k; j < k + SL_CROP_BAND; j++)
            band += at[j];
        if (sharp >= SL_CROP_ROWS * n && sharp >= SL_CROP_SHARP * band)
            return from_high ? extreme - k : side - 1 - extreme + k;
    }
    return -1;
}

static void find_crop(sl_lit *lit)
{
    int w = lit->w, h = lit->h;
    lit->x0 = w;
    lit->y0 = h;
    lit->x1 = lit->y1 = -1;
    for (int y = 0; y < h; y++) {
        if (lit->first[y] < 0)
            continue;
        if (y < lit->y0)
            lit->y0 = y;
        lit->y1 = y;
        if (lit->first[y] < lit->x0)
            lit->x0 = lit->first[y];
        if (lit->last[y] > lit->x1)
            lit->x1 = lit->last[y];
    }
    int cut;
    if ((cut = cut_at(lit->first, h, w, false)) >= 0)
        lit->x0 = cut;
    lit->cropped_left = cut >= 0;
    if ((cut = cut_at(lit->last, h, w, true)) >= 0)
        lit->x1 = cut;
    lit->cropped_right = cut >= 0;
    if ((cut = cut_at(lit->top, w, h, false)) >= 0)
        lit->y0 = cut;
    lit->cropped_top = cut >= 0;
    if ((cut = cut_at(lit->bottom, w, h, true)) >= 0)
        lit->y1 = cut;
    lit->cropped_bottom = cut >= 0;
}

/* SL_LIT_STEP in the clip's own grey map: the exponent that brings its brighter quantiles to a fixed mean logarithm (as
 * sl_stack_level_grey does) says how a step of that size on the usual map shows on this one. A darker map presses the far
 * picture towards the surround, and a fixed step would end it there. */
static int lit_step(const sl_planes *p, const surround *s)
{
    static const double share[] = SL_GREY_SHARES;
    enum { SHARES = sizeof share / sizeof *share };
    size_t n = (size_t)p->w * (size_t)p->h, count[256] = {0}, total = 0;
    double mean_log = 0;
    for (size_t i = 0; i < n; i++)
        if (s->away[p->hi[i]] >= SL_LIT_STEP && p->range[i] > SL_STILL_RANGE) {
            count[p->mean[i]]++;
            total++;
        }
    if (!total)
        return SL_LIT_STEP;
    for (int k = 0; k < SHARES; k++) {
        size_t below = 0;
        int v = 0;
        while (v < 255 && (double)(below += count[v]) < share[k] * (double)total)
            v++;
        mean_log += log((v > 1 ? v : 1) / 255.0) / SHARES;
    }
    double step = 255 * pow(SL_LIT_STEP / 255.0, mean_log / SL_GREY_MEAN_LOG);
    return step < SL_LIT_STEP_LEAST ? SL_LIT_STEP_LEAST : step > SL_LIT_STEP_MOST ? SL_LIT_STEP_MOST : (int)(step + 0.5);
}

sl_status sl_lit_find(const sl_planes *p, sl_arena *arena, sl_lit *lit, sl_error *error)
{
    size_t n = (size_t)p->w * p->h;
    *lit = (sl_lit){.w = p->w, .h = p->h};
    lit->lit = SL_NEW(arena, n, uint8_t);
    lit->open = SL_NEW(arena, n, uint8_t);
    uint8_t *copy = SL_NEW(arena, n, uint8_t);
    lit->first = SL_NEW(arena, p->h, int16_t);
    lit->last = SL_NEW(arena, p->h, int16_t);
    lit->top = SL_NEW(arena, p->w, int16_t);
    lit->bottom = SL_NEW(arena, p->w, int16_t);
    lit->lit_before = SL_NEW(arena, (size_t)p->h * (p->w + 1), int);
    lit->said_before = SL_NEW(arena, (size_t)p->h * (p->w + 1), int);
    int *label = SL_NEW(arena, n, int), *parent = SL_NEW(arena, n / 2 + 2, int),
        *area = SL_NEW(arena, n / 2 + 2, int);
    if (!lit->lit || !lit->open || !copy || !lit->first || !lit->last || !lit->top || !lit->bottom ||
        !lit->lit_before || !lit->said_before || !label || !parent || !area)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");

    surround s;
    sl_planes quiet;
    long live = 0;
    for (size_t i = 0; i < n; i++)
        live += p->range[i] > SL_LIVE_RANGE;
    lit->still = p->frames < 2 || live < (long)(SL_LIVE_SHARE * n);
    if (!find_surround(p, lit->still, SL_SURROUND_SHARE, &s) && !lit->still &&
        take_noise_off(p, arena, &quiet) && find_surround(&quiet, false, SL_QUIET_SURROUND, &s))
        p = &quiet;
    lit->surround_share = s.share;

    const int step = lit_step(p, &s);
    for (size_t i = 0; i < n; i++) {
        int away = s.away[p->hi[i]] > s.away[p->lo[i]] ? s.away[p->hi[i]] : s.away[p->lo[i]];
        bool mark = !lit->still && p->range[i] <= SL_STILL_RANGE && away >= SL_MARK_STEP;
        bool aside = p->aside && p->aside[i];
        lit->open[i] = mark && !aside;
        lit->lit[i] = away >= step && !mark && !aside;
    }
    clean(lit->lit, copy, p->w, p->h);
    lit->count = keep_large_parts(lit->lit, p->w, p->h, SL_PART_SHARE, label, parent, area);
    sum_rows(lit);
    outline(lit);
    find_crop(lit);
    return SL_OK;
}
