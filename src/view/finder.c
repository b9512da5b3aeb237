/* The finder: statistics over frames, then the view that explains them best. */
#include "core/units.h"
#include "view/find_kernel.h"
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sl_view_finder {
    int width, height;
    int seen, used;
    uint8_t *hi, *lo;
    uint16_t *sum;
    int pool, side;          /* pixels along a pooled pixel; pooled pixels along a block */
    uint8_t *pooled;         /* one frame, pooled, for the texture */
    sl_tensor block[(SL_BLOCKS + 1) * (SL_BLOCKS + 1)];
};

static int longer_of(int a, int b)
{
    return a > b ? a : b;
}

sl_status sl_view_finder_new(int width, int height, sl_view_finder **finder, sl_error *error)
{
    *finder = NULL;
    if (width < SL_LEAST_SIDE || height < SL_LEAST_SIDE)
        return sl_fail(error, SL_UNREADABLE,
                       "The picture is only %d x %d pixels, too small to hold an ultrasound image.", width, height);
    if (width > SL_CLIP_MOST_SIDE || height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_LIMIT, "The picture is %d x %d pixels; at most %d a side are read.", width, height,
                       SL_CLIP_MOST_SIDE);
    sl_view_finder *made = calloc(1, sizeof *made);
    size_t n = (size_t)width * (size_t)height;
    if (made) {
        made->width = width;
        made->height = height;
        made->hi = calloc(n, 1);
        made->lo = malloc(n);
        made->sum = calloc(n, sizeof *made->sum);
        made->pool = (longer_of(width, height) + SL_FIND_SIDE - 1) / SL_FIND_SIDE;
        made->side = (longer_of(width, height) / made->pool + SL_BLOCKS - 1) / SL_BLOCKS;
        made->pooled = malloc(n / (size_t)(made->pool * made->pool) + 1);
    }
    if (!made || !made->pooled || !made->hi || !made->lo || !made->sum) {
        sl_view_finder_free(&made);
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    }
    memset(made->lo, 255, n);
    *finder = made;
    return SL_OK;
}

void sl_view_finder_free(sl_view_finder **finder)
{
    if (!*finder)
        return;
    free((*finder)->hi);
    free((*finder)->lo);
    free((*finder)->sum);
    free((*finder)->pooled);
    free(*finder);
    *finder = NULL;
}

static void add_texture(sl_view_finder *finder, sl_gray frame)
{
    int k = finder->pool, w = finder->width / k, h = finder->height / k;
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            const uint8_t *from = frame.pixel + (size_t)(y * k) * (size_t)frame.stride + (size_t)x * (size_t)k;
            int sum = 0;
            for (int b = 0; b < k; b++, from += frame.stride)
                for (int a = 0; a < k; a++)
                    sum += from[a];
            finder->pooled[(size_t)y * (size_t)w + (size_t)x] = (uint8_t)(sum / (k * k));
        }
    }
    sl_texture_add(finder->pooled, w, h, finder->side, finder->block);
}

void sl_view_finder_add(sl_view_finder *finder, sl_gray frame)
{
    int at = finder->seen++;
    if (frame.width != finder->width || frame.height != finder->height || finder->used >= SL_FIND_MOST ||
        (at >= SL_FIND_FIRST && at % SL_FIND_STRIDE))
        return;
    finder->used++;
    if ((finder->used & (finder->used - 1)) == 0) /* frames 1, 2, 4, 8 ...: few are enough */
        add_texture(finder, frame);
    for (int y = 0; y < frame.height; y++) {
        size_t row = (size_t)y * (size_t)frame.width;
        sl_kernel_gather(frame.width, frame.pixel + (size_t)y * (size_t)frame.stride, finder->hi + row,
                         finder->lo + row, finder->sum + row);
    }
}

/* Planes pooled by a whole factor: the largest of the largest, the smallest of the smallest, the mean of means. */
static sl_status pool_planes(const sl_view_finder *finder, sl_arena *arena, sl_planes *planes, sl_error *error)
{
    int k = finder->pool, w = finder->width / k, h = finder->height / k;
    uint8_t *hi = SL_NEW(arena, (size_t)w * h, uint8_t), *lo = SL_NEW(arena, (size_t)w * h, uint8_t),
            *mean = SL_NEW(arena, (size_t)w * h, uint8_t), *range = SL_NEW(arena, (size_t)w * h, uint8_t);
    if (!hi || !lo || !mean || !range)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    uint32_t all = (uint32_t)(finder->used * k * k);
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            uint8_t high = 0, low = 255, wide = 0;
            uint32_t sum = 0;
            for (int b = 0; b < k; b++) {
                size_t at = (size_t)(y * k + b) * finder->width + (size_t)x * k;
                for (int a = 0; a < k; a++, at++) {
                    high = finder->hi[at] > high ? finder->hi[at] : high;
                    low = finder->lo[at] < low ? finder->lo[at] : low;
                    uint8_t range_here = (uint8_t)(finder->hi[at] - finder->lo[at]);
                    wide = range_here > wide ? range_here : wide;
                    sum += finder->sum[at];
                }
            }
            size_t at = (size_t)y * w + x;
            hi[at] = high;
            lo[at] = low;
            range[at] = wide;
            mean[at] = (uint8_t)((sum + all / 2) / all);
        }
    }
    *planes = (sl_planes){w, h, finder->used, k, hi, lo, mean, range};
    return SL_OK;
}

static void view_of_fan(const sl_fan *fan, int pool, sl_view *view)
{
    /* the middle of pooled pixel 0 is (pool - 1) / 2 in the picture */
    double shift = 0.5 * (pool - 1);
    view->shape = fan->face_seen && fan->near_r < SL_SECTOR_NEAR * fan->far_r ? SL_SHAPE_SECTOR : SL_SHAPE_CONVEX;
    view->apex_x = fan->x * pool + shift;
    view->apex_y = fan->y * pool + shift;
    view->first_angle = -fan->left;
    view->last_angle = fan->right;
    view->near_r = fan->near_r * pool;
    view->far_r = fan->far_r * pool;
    view->face_visible = fan->face_seen;
    double seen = 0.5 + 0.25 * fan->left_seen + 0.25 * fan->right_seen;
    view->edge_rms_px = fan->rms * pool;
    view->agreement = fan->inside * (0.5 + 0.5 * fan->filled) * seen;
    if (!fan->left_seen && !fan->right_seen)
        snprintf(view->note, sizeof view->note, "neither side edge is in the picture; fitted to the far edge alone");
    else if (!fan->left_seen || !fan->right_seen)
        snprintf(view->note, sizeof view->note, "the %s edge is dark; taken as symmetric to the other",
                 fan->left_seen ? "right" : "left");
}

static void view_of_box(const sl_box *box, int pool, sl_view *view)
{
    double shift = 0.5 * (pool - 1);
    view->shape = SL_SHAPE_LINEAR;
    view->first_x = box->x0 * pool + shift;
    view->last_x = box->x1 * pool + shift;
    view->near_y = box->y0 * pool + shift;
    view->far_y = box->y1 * pool + shift;
    bool seen = box->left_seen || box->right_seen;
    view->edge_rms_px = seen ? 0.5 * pool : SL_UNKNOWN;
    view->agreement = box->inside * (0.5 + 0.5 * box->filled) * (seen ? 1.0 : 0.5);
    if (!seen)
        snprintf(view->note, sizeof view->note, "no edge of the imaged area is in the picture; taken as linear");
}

sl_status sl_view_finder_find(sl_view_finder *finder, const sl_clip_info *info, sl_view *view, sl_error *error)
{
    (void)info;
    *view = (sl_view){.width = finder->width, .height = finder->height, .aspect = 1};
    view->mm_per_px = view->mm_per_px_sd = view->edge_rms_px = SL_UNKNOWN;
    if (!finder->used)
        return sl_fail(error, SL_UNREADABLE, "The clip has no frames.");
    sl_arena arena = {0};
    sl_planes planes;
    sl_lit lit;
    sl_status status = pool_planes(finder, &arena, &planes, error);
    if (status == SL_OK)
        status = sl_lit_find(&planes, &arena, &lit, error);
    if (status != SL_OK) {
        sl_arena_free(&arena);
        return status;
    }
    if (lit.count < 0.02 * planes.w * planes.h) {
        sl_arena_free(&arena);
        return sl_fail(error, SL_UNREADABLE, "The picture is black or empty: no imaged area was found in it.");
    }
    sl_fan fan;
    sl_box box;
    static _Thread_local sl_votes votes;
    sl_texture_votes(finder->block, finder->side, &lit, &votes);
    sl_box_find(&lit, &votes, &box);
    if (sl_fan_find(&lit, &votes, &fan) && fan.score > box.score)
        view_of_fan(&fan, planes.pool, view);
    else
        view_of_box(&box, planes.pool, view);
    sl_arena_free(&arena);
    return SL_OK;
}
