/* The finder: statistics over frames, then the view that explains them best. */
#include "core/units.h"
#include "view/find_kernel.h"
#include "view/find_parts.h"
#include "view/panels.h"
#include "view/screen.h"
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
    int pool, side;  /* pixels along a pooled pixel; pooled pixels along a block */
    uint8_t *pooled; /* one frame, pooled, for the texture */
    sl_ruler ruler;  /* found with the view */
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
                       "The picture is only %d x %d pixels, too small to hold an ultrasound image.", width,
                       height);
    if (width > SL_CLIP_MOST_SIDE || height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_LIMIT, "The picture is %d x %d pixels; at most %d a side are read.", width,
                       height, SL_CLIP_MOST_SIDE);
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
        if (k == 1) {
            memcpy(finder->pooled + (size_t)y * (size_t)w, frame.pixel + (size_t)y * (size_t)frame.stride,
                   (size_t)w);
            continue;
        }
        for (int x = 0; x < w; x++) {
            const uint8_t *from =
                frame.pixel + (size_t)(y * k) * (size_t)frame.stride + (size_t)x * (size_t)k;
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

/* Planes pooled by a whole factor: the largest of the largest, the smallest of the smallest, the mean of
 * means. */
static sl_status pool_planes(const sl_view_finder *finder, sl_arena *arena, sl_planes *planes,
                             sl_error *error)
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
    *planes = (sl_planes){w, h, finder->used, 1, k, hi, lo, mean, range, NULL};
    return SL_OK;
}

/* What was found on planes of one aspect. */
typedef struct finding {
    sl_planes planes;
    sl_lit lit;
    sl_votes votes;
    sl_fan fan;
    sl_box box;
    bool is_fan;
    double score;
} finding;

static sl_status find_on(const sl_view_finder *finder, const sl_planes *planes, double aspect,
                         sl_arena *arena, finding *found, sl_error *error)
{
    found->planes = *planes;
    sl_status status = SL_OK;
    if (aspect != 1)
        status = sl_planes_stretch(planes, aspect, arena, &found->planes, error);
    if (status == SL_OK)
        status = sl_lit_find(&found->planes, arena, &found->lit, error);
    if (status != SL_OK)
        return status;
    if ((double)found->lit.count < SL_LIT_LEAST * found->planes.w * found->planes.h)
        return sl_fail(error, SL_UNREADABLE,
                       "The picture is black or empty: no imaged area was found in it.");
    sl_texture_votes(finder->block, finder->side, found->planes.aspect, &found->lit, &found->votes);
    sl_box_find(&found->lit, &found->votes, &found->box);
    found->is_fan = sl_fan_find(&found->lit, &found->votes, &found->fan);
    /* To a fan without side edges straight cuts on a dark surround are an accident; to a box they are its edges. */
    if (found->is_fan && !found->fan.left_seen && !found->fan.right_seen && found->box.left_seen && found->box.right_seen)
        found->box.score += found->box.edges;
    found->is_fan = found->is_fan && found->fan.score > found->box.score;
    found->score = found->is_fan ? found->fan.score : found->box.score;
    return SL_OK;
}

static void add_note(sl_view *view, const char *note)
{
    size_t used = strlen(view->note);
    snprintf(view->note + used, sizeof view->note - used, "%s%s", used ? "; " : "", note);
}

static double row_of(const finding *found, double y)
{
    int pool = found->planes.pool;
    return ((y + 0.5) / found->planes.aspect - 0.5) * pool + 0.5 * (pool - 1);
}

static double column_of(const finding *found, double x)
{
    int pool = found->planes.pool; /* the middle of pooled pixel 0 is (pool - 1) / 2 in the picture */
    return x * pool + 0.5 * (pool - 1);
}

/* Whether light fades out at the far arc instead of ending there: on the columns that reach the arc, hardly less light
 * beyond it than before it. The far edge of a picture is sharp; where gain and penetration end is not. */
static bool fades_at_far(const finding *found)
{
    const sl_planes *p = &found->planes;
    const sl_fan *fan = &found->fan;
    long before = 0, beyond = 0;
    for (int x = found->lit.x0; x <= found->lit.x1; x++) {
        double dx = x - fan->x, dy = found->lit.bottom[x] - fan->y, r = hypot(dx, dy);
        if (found->lit.bottom[x] < 0 || fabs(r + 0.5 - fan->far_r) > SL_EDGE_BEYOND_PX)
            continue;
        int value[SL_FADE_BASE + SL_FADE_TO + 1];
        bool inside = true;
        for (int k = -SL_FADE_TO; k <= SL_FADE_BASE && inside; k++) {
            int u = (int)lround(fan->x + dx / r * (r + k)), v = (int)lround(fan->y + dy / r * (r + k));
            inside = u >= 0 && v >= 0 && u < p->w && v < p->h;
            value[k + SL_FADE_TO] = inside ? p->hi[(size_t)v * (size_t)p->w + (size_t)u] : 0;
        }
        for (int k = SL_FADE_FROM; k <= SL_FADE_TO && inside; k++) {
            before += value[SL_FADE_TO - k] - value[SL_FADE_BASE + SL_FADE_TO];
            beyond += value[SL_FADE_TO + k] - value[SL_FADE_BASE + SL_FADE_TO];
        }
    }
    return before > 0 && (double)beyond > SL_FADE_SHARE * (double)before;
}

static void view_of_fan(const finding *found, sl_view *view)
{
    const sl_fan *fan = &found->fan;
    int pool = found->planes.pool;
    view->shape =
        fan->face_seen && fan->near_r < SL_SECTOR_NEAR * fan->far_r ? SL_SHAPE_SECTOR : SL_SHAPE_CONVEX;
    view->aspect = found->planes.aspect;
    view->apex_x = column_of(found, fan->x);
    view->apex_y = row_of(found, fan->y);
    view->first_angle = -fan->left;
    view->last_angle = fan->right;
    view->near_r = fan->near_r * pool;
    view->far_r = fan->far_r * pool;
    view->face_visible = fan->face_seen;
    double seen = 0.5 + 0.25 * fan->left_seen + 0.25 * fan->right_seen;
    view->edge_rms_px = fan->rms * pool;
    view->agreement = fan->inside * (0.5 + 0.5 * fan->filled) * seen;
    if (!fan->left_seen && !fan->right_seen)
        add_note(view, fan->far_seen || fan->face_seen
                           ? "neither side edge is in the picture; the beams follow the arc that is"
                           : "no edge of the imaged area is in the picture; the beams follow its texture");
    else if (!fan->left_seen || !fan->right_seen)
        add_note(view, fan->left_seen
                           ? "the right edge is dark or cropped; taken as symmetric to the left one"
                           : "the left edge is dark or cropped; taken as symmetric to the right one");
    bool cropped = found->lit.cropped_bottom || found->lit.y1 >= found->lit.h - 2;
    bool fades = fan->far_seen && fades_at_far(found);
    view->far_dark = !fan->far_seen || fades;
    if (fades || (!fan->far_seen && !cropped))
        add_note(view, "the far edge is dark: depths reach only as far as the picture is lit");
    if (view->aspect != 1)
        add_note(view, "the pixels are not square");
}

static void view_of_box(const finding *found, sl_view *view)
{
    const sl_box *box = &found->box;
    view->shape = SL_SHAPE_LINEAR;
    view->aspect = found->planes.aspect;
    view->first_x = column_of(found, box->x0);
    view->last_x = column_of(found, box->x1);
    view->near_y = row_of(found, box->y0);
    view->far_y = row_of(found, box->y1);
    view->face_visible = box->top_seen;
    /* A box that ends well above the picture's border without a cut fades into the dark there. */
    view->far_dark = !box->bottom_seen && found->lit.y1 < found->lit.h - 2;
    if (view->far_dark)
        add_note(view, "the far edge is dark: depths reach only as far as the picture is lit");
    bool seen = box->left_seen || box->right_seen;
    view->edge_rms_px = seen ? 0.5 * found->planes.pool : SL_UNKNOWN;
    view->agreement = box->inside * (0.5 + 0.5 * box->filled) * (seen ? 1.0 : 0.5);
    if (!seen)
        add_note(view, "no side edge of the imaged area is in the picture; taken as linear");
    if (view->aspect != 1)
        add_note(view, "the pixels are not square");
}

/* Height of a pixel in widths as a calibrated region states it (PS3.3 C.8.5.5); 1 when none does. */
static double calibrated_aspect(const sl_clip_info *info)
{
    for (int i = 0; info && i < info->regions && i < SL_CLIP_MOST_REGIONS; i++) {
        const sl_clip_region *r = &info->region[i];
        if (r->spatial_format == 1 && r->unit_x == 3 && r->unit_y == 3 && r->delta_x != 0 && r->delta_y != 0)
            return fabs(r->delta_y / r->delta_x);
    }
    return 1;
}

static bool worth_trying(double aspect)
{
    return aspect >= SL_ASPECT_LEAST && aspect <= SL_ASPECT_MOST && fabs(aspect - 1) > SL_ASPECT_NOTICE;
}

/* Calibrated pixels as they are. Otherwise square ones first, then what the stream states (often left over
 * from before the picture was cut out) and what the arcs say, where that explains the picture better. */
static sl_status find_best(const sl_view_finder *finder, const sl_clip_info *info, sl_arena *arena,
                           const sl_planes *planes, finding *found, finding *other, sl_error *error)
{
    double calibrated = calibrated_aspect(info);
    if (worth_trying(calibrated))
        return find_on(finder, planes, calibrated, arena, found, error);
    sl_status status = find_on(finder, planes, 1, arena, found, error);
    double stated = info && info->pixel_aspect > 0 ? 1 / info->pixel_aspect : 1, from_arcs = 1, sd;
    if (status == SL_OK && worth_trying(stated)) {
        status = find_on(finder, planes, stated, arena, other, error);
        if (status == SL_OK && (other->score > found->score + SL_ASPECT_STATED_GAIN || !found->is_fan))
            *found = *other;
    }
    if (status == SL_OK && found->is_fan && found->planes.aspect == 1 &&
        sl_aspect_find(&found->lit, &found->fan, &from_arcs, &sd) && worth_trying(from_arcs) &&
        fabs(from_arcs - 1) > SL_ASPECT_SDS * sd) {
        status = find_on(finder, planes, from_arcs, arena, other, error);
        if (status == SL_OK && other->score > found->score + SL_ASPECT_ARCS_GAIN)
            *found = *other;
    }
    return status;
}

/* Ultrasound has texture across its beams; photographs have it any way. Little support by texture is believed
 * only where edges and an arc of the imaged area say otherwise. */
static bool looks_like_ultrasound(const finding *found)
{
    const sl_votes *votes = &found->votes;
    const sl_fan *fan = &found->fan;
    double x, y, most = sl_texture_apex(votes, &found->lit, NULL, &x, &y);
    double chosen = found->is_fan ? fan->texture : found->box.texture;
    double support = chosen > most ? chosen : most;
    if (votes->count < SL_VOTES_LEAST)
        return found->is_fan ? fan->inside > SL_INSIDE_SURE : found->box.left_seen || found->box.right_seen;
    bool edges = found->is_fan && fan->left_seen && fan->right_seen;
    if (edges && fan->far_seen && fan->face_seen && fan->inside > SL_INSIDE_OUTLINED)
        return true; /* both edges and both arcs on a dark surround: no photograph */
    bool outlined = edges && (fan->far_seen || fan->face_seen) && fan->inside > SL_INSIDE_SURE;
    const sl_box *box = &found->box;
    outlined |= !found->is_fan && box->left_seen && box->right_seen && (box->top_seen || box->bottom_seen);
    return support > (outlined ? SL_TEXTURE_LEAST_OUTLINED : SL_TEXTURE_LEAST);
}

const sl_ruler *sl_view_finder_ruler(const sl_view_finder *finder)
{
    return &finder->ruler;
}

/* What is drawn beside another picture says nothing about this one. */
static void keep_own_marks(uint8_t *mark, const sl_view_finder *finder, const sl_panel *panel)
{
    int k = finder->pool;
    for (int y = 0; y < finder->height; y++)
        for (int x = 0; x < finder->width; x++)
            if (x / k < panel->x0 || x / k > panel->x1 || y / k < panel->y0 || y / k > panel->y1)
                mark[(size_t)y * (size_t)finder->width + (size_t)x] = 0;
}

sl_status sl_view_finder_find(sl_view_finder *finder, const sl_clip_info *info, sl_view *view,
                              sl_error *error)
{
    *view = (sl_view){.width = finder->width, .height = finder->height, .aspect = 1};
    view->mm_per_px = view->mm_per_px_sd = view->edge_rms_px = SL_UNKNOWN;
    if (!finder->used)
        return sl_fail(error, SL_UNREADABLE, "The clip has no frames.");
    sl_arena arena = {0};
    sl_planes planes;
    finding *found = SL_NEW(&arena, 2, finding);
    sl_status status = found ? pool_planes(finder, &arena, &planes, error)
                             : sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    sl_panel panel = {0};
    if (status == SL_OK)
        status = sl_panel_choose(&planes, info, &arena, &panel, error);
    planes.aside = panel.aside;
    if (status == SL_OK)
        status = find_best(finder, info, &arena, &planes, found, found + 1, error);
    if (status == SL_OK && !looks_like_ultrasound(found))
        status = sl_fail(
            error, SL_UNREADABLE,
            "The picture does not look like ultrasound: its texture follows no beams and no fan or box "
            "stands out from a surround. If it is ultrasound, give the clip without enlarging or filtering.");
    if (status == SL_OK) {
        if (*panel.note)
            add_note(view, panel.note);
        if (found->is_fan)
            view_of_fan(found, view);
        else
            view_of_box(found, view);
        if (view->face_visible)
            sl_near_edge_refine(finder->hi, finder->pool, view);
        uint8_t *mark = sl_marks_find(finder->hi, finder->lo, view, found->lit.still, &arena);
        if (mark && panel.aside)
            keep_own_marks(mark, finder, &panel);
        if (mark) {
            sl_ruler_find(mark, view->width, view->height, &arena, &finder->ruler);
            view->mirrored = sl_mark_on_right(mark, view);
        }
    }
    sl_arena_free(&arena);
    return status;
}
