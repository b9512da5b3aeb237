#include "clip/luma.h"

#include "clip/luma_kernel.h"

#include <libavutil/imgutils.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
#include <stdlib.h>

/* A plane of our own, kept from frame to frame. */
typedef struct own_plane {
    uint8_t *pixel; /* owned */
    int width, height, stride;
    size_t room;
} own_plane;

enum { GRAY, CB, CR, PLANES };

struct sl_luma {
    own_plane made[PLANES], turned[PLANES];
    bool transpose, flip_x, flip_y;
    struct SwsContext *scaler; /* owned, for the rare formats */
    AVFrame *unpacked;         /* owned, what `scaler` writes */
};

sl_luma *sl_luma_new(void)
{
    return calloc(1, sizeof(sl_luma));
}

void sl_luma_free(sl_luma *luma)
{
    if (!luma)
        return;
    for (int i = 0; i < PLANES; i++) {
        av_free(luma->made[i].pixel);
        av_free(luma->turned[i].pixel);
    }
    sws_freeContext(luma->scaler);
    av_frame_free(&luma->unpacked);
    free(luma);
}

void sl_luma_set_turn(sl_luma *luma, const int32_t *matrix)
{
    luma->transpose = luma->flip_x = luma->flip_y = false;
    if (!matrix)
        return;
    /* x' = m0 x + m3 y, y' = m1 x + m4 y, y downwards (ISO/IEC 14496-12, 6.2.2) */
    if (!matrix[1] && !matrix[3] && matrix[0] && matrix[4]) {
        luma->flip_x = matrix[0] < 0;
        luma->flip_y = matrix[4] < 0;
    } else if (!matrix[0] && !matrix[4] && matrix[1] && matrix[3]) {
        luma->transpose = true;
        luma->flip_x = matrix[3] < 0;
        luma->flip_y = matrix[1] < 0;
    }
}

static bool plane_fit(own_plane *own, int width, int height)
{
    own->width = width;
    own->height = height;
    own->stride = (width + 63) & ~63;
    size_t need = (size_t)own->stride * (size_t)height;
    if (need <= own->room)
        return true;
    av_free(own->pixel);
    own->pixel = av_malloc(need);
    own->room = own->pixel ? need : 0;
    return own->pixel != NULL;
}

/* A plane of the source, or one of ours, as the rest sees it. */
typedef struct view {
    const uint8_t *pixel;
    int width, height, stride;
} view;

static view of_source(const AVFrame *source, int component, int width, int height)
{
    return (view){source->data[component], width, height, source->linesize[component]};
}

static view of_own(const own_plane *own)
{
    return (view){own->pixel, own->width, own->height, own->stride};
}

static bool has_chroma(view cb, view cr)
{
    for (int y = 0; y < cb.height; y++)
        if (sl_chroma_reach(cb.pixel + (long)y * cb.stride, cb.width) > SL_VISIBLE_CHROMA ||
            sl_chroma_reach(cr.pixel + (long)y * cr.stride, cr.width) > SL_VISIBLE_CHROMA)
            return true;
    return false;
}

static bool is_full_range(const AVFrame *source, const AVPixFmtDescriptor *shape)
{
    if (source->color_range != AVCOL_RANGE_UNSPECIFIED)
        return source->color_range == AVCOL_RANGE_JPEG;
    if (shape->nb_components < 3)
        return true; /* grey pictures use all codes unless they say otherwise */
    switch (source->format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
    case AV_PIX_FMT_YUVJ411P:
        return true;
    default:
        return false;
    }
}

static bool deep_plane(const AVFrame *source, int component, int width, int height, int low, int high, own_plane *own)
{
    if (!plane_fit(own, width, height))
        return false;
    for (int y = 0; y < height; y++)
        sl_luma_from_deep((const uint16_t *)(const void *)(source->data[component] + (long)y * source->linesize[component]),
                          own->pixel + (long)y * own->stride, width, low, high);
    return true;
}

/* Planar luma of 8 to 16 bits with or without planar chroma. */
static bool from_planar(sl_luma *luma, const AVFrame *source, const AVPixFmtDescriptor *shape, view out[PLANES])
{
    int width = source->width, height = source->height, depth = shape->comp[0].depth;
    bool full = is_full_range(source, shape);
    own_plane *own = &luma->made[GRAY];
    if (depth > 8) {
        int low = full ? 0 : 16 << (depth - 8), high = full ? (1 << depth) - 1 : 235 << (depth - 8);
        if (!deep_plane(source, 0, width, height, low, high, own))
            return false;
        out[GRAY] = of_own(own);
    } else if (full) {
        out[GRAY] = of_source(source, 0, width, height);
    } else {
        if (!plane_fit(own, width, height))
            return false;
        for (int y = 0; y < height; y++)
            sl_luma_stretch(source->data[0] + (long)y * source->linesize[0], own->pixel + (long)y * own->stride, width);
        out[GRAY] = of_own(own);
    }
    if (shape->nb_components < 3)
        return true;
    int chroma_width = AV_CEIL_RSHIFT(width, shape->log2_chroma_w);
    int chroma_height = AV_CEIL_RSHIFT(height, shape->log2_chroma_h);
    for (int i = CB; i <= CR; i++) {
        if (depth > 8) {
            /* 255 at the code 255 << (depth - 8), so that the middle code becomes 128 */
            if (!deep_plane(source, i, chroma_width, chroma_height, 0, 255 << (depth - 8), &luma->made[i]))
                return false;
            out[i] = of_own(&luma->made[i]);
        } else {
            out[i] = of_source(source, i, chroma_width, chroma_height);
        }
    }
    if (!has_chroma(out[CB], out[CR]))
        out[CB].pixel = out[CR].pixel = NULL;
    return true;
}

/* Packed 8-bit RGB in any order, with or without alpha. */
static bool from_packed(sl_luma *luma, const AVFrame *source, const AVPixFmtDescriptor *shape, view out[PLANES])
{
    int width = source->width, height = source->height, step = shape->comp[0].step;
    int r = shape->comp[0].offset, g = shape->comp[1].offset, b = shape->comp[2].offset;
    int a = shape->flags & AV_PIX_FMT_FLAG_ALPHA ? shape->comp[3].offset : -1;
    own_plane *own = luma->made;
    if (!plane_fit(&own[GRAY], width, height))
        return false;
    bool coloured = false;
    for (int y = 0; y < height; y++) {
        const uint8_t *row = source->data[0] + (long)y * source->linesize[0];
        sl_luma_from_rgb(row, own[GRAY].pixel + (long)y * own[GRAY].stride, width, step, r, g, b, a);
        coloured = coloured || sl_rgb_spread(row, width, step, r, g, b) > SL_VISIBLE_CHROMA;
    }
    out[GRAY] = of_own(&own[GRAY]);
    if (!coloured)
        return true;
    if (!plane_fit(&own[CB], width, height) || !plane_fit(&own[CR], width, height))
        return false;
    for (int y = 0; y < height; y++)
        sl_chroma_from_rgb(source->data[0] + (long)y * source->linesize[0], own[CB].pixel + (long)y * own[CB].stride,
                           own[CR].pixel + (long)y * own[CR].stride, width, step, r, g, b);
    out[CB] = of_own(&own[CB]);
    out[CR] = of_own(&own[CR]);
    if (!has_chroma(out[CB], out[CR]))
        out[CB].pixel = out[CR].pixel = NULL;
    return true;
}

static bool is_planar(const AVPixFmtDescriptor *shape)
{
    if (shape->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_BE |
                        AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_FLOAT))
        return false;
    if (shape->nb_components == 2)
        return false; /* grey with alpha */
    for (int i = 0; i < shape->nb_components; i++)
        if (shape->comp[i].plane != i || shape->comp[i].shift || shape->comp[i].step != (shape->comp[0].depth > 8 ? 2 : 1))
            return false;
    return true;
}

/* What the two paths above do not take is first unpacked by swscale: RGB of any kind to packed RGB, the rest to the
 * planar form with the same range and chroma grid; deep big-endian planes only change their byte order. */
static enum AVPixelFormat unpacked_format(const AVPixFmtDescriptor *shape)
{
    if (shape->flags & AV_PIX_FMT_FLAG_BE) {
        enum AVPixelFormat swapped = av_pix_fmt_swap_endianness(av_pix_fmt_desc_get_id(shape));
        if (swapped != AV_PIX_FMT_NONE && is_planar(av_pix_fmt_desc_get(swapped)))
            return swapped;
    }
    bool alpha = shape->flags & AV_PIX_FMT_FLAG_ALPHA;
    if (shape->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL) || (shape->nb_components < 3 && alpha))
        return alpha ? AV_PIX_FMT_RGBA : AV_PIX_FMT_RGB24;
    if (shape->nb_components < 3)
        return AV_PIX_FMT_GRAY8;
    if (!shape->log2_chroma_w)
        return AV_PIX_FMT_YUV444P;
    return shape->log2_chroma_h ? AV_PIX_FMT_YUV420P : AV_PIX_FMT_YUV422P;
}

static const AVFrame *unpack(sl_luma *luma, const AVFrame *source, const AVPixFmtDescriptor *shape)
{
    enum AVPixelFormat format = unpacked_format(shape);
    int width = source->width, height = source->height;
    if (!luma->unpacked)
        luma->unpacked = av_frame_alloc();
    AVFrame *own = luma->unpacked;
    if (!own)
        return NULL;
    if (!own->data[0] || own->width != width || own->height != height || own->format != format) {
        av_frame_unref(own);
        own->width = width;
        own->height = height;
        own->format = format;
        if (av_frame_get_buffer(own, 0) < 0)
            return NULL;
    }
    luma->scaler = sws_getCachedContext(luma->scaler, width, height, source->format, width, height, format,
                                        SWS_POINT | SWS_ACCURATE_RND, NULL, NULL, NULL);
    if (!luma->scaler)
        return NULL;
    own->color_range = source->color_range;
    sws_scale(luma->scaler, (const uint8_t *const *)source->data, source->linesize, 0, height, own->data, own->linesize);
    return own;
}

static bool is_packed_rgb(const AVPixFmtDescriptor *shape)
{
    return shape->flags & AV_PIX_FMT_FLAG_RGB && !(shape->flags & (AV_PIX_FMT_FLAG_PLANAR | AV_PIX_FMT_FLAG_BITSTREAM)) &&
           shape->nb_components >= 3 && shape->comp[0].depth == 8 && shape->comp[0].step >= 3;
}

static bool turn(sl_luma *luma, view out[PLANES])
{
    for (int i = 0; i < PLANES; i++) {
        view in = out[i];
        own_plane *own = &luma->turned[i];
        if (!in.pixel)
            continue;
        if (!plane_fit(own, luma->transpose ? in.height : in.width, luma->transpose ? in.width : in.height))
            return false;
        sl_plane_turn(in.pixel, in.stride, in.width, in.height, own->pixel, own->stride, luma->transpose, luma->flip_x,
                      luma->flip_y);
        out[i] = of_own(own);
    }
    return true;
}

sl_status sl_luma_picture(sl_luma *luma, const AVFrame *source, const char *name, sl_frame *frame, sl_error *error)
{
    const AVPixFmtDescriptor *shape = av_pix_fmt_desc_get(source->format);
    if (!shape || shape->flags & AV_PIX_FMT_FLAG_HWACCEL)
        return sl_fail(error, SL_UNSUPPORTED, "%s stores its pixels in a way that is not read. Export it as MP4 (H.264).",
                       name);
    const AVFrame *from = source;
    if (!is_planar(shape) && !is_packed_rgb(shape)) {
        from = unpack(luma, source, shape);
        shape = from ? av_pix_fmt_desc_get(from->format) : NULL;
    }
    view out[PLANES] = {{0}};
    bool done = from && (is_planar(shape) ? from_planar(luma, from, shape, out) : from_packed(luma, from, shape, out));
    if (done && (luma->transpose || luma->flip_x || luma->flip_y))
        done = turn(luma, out);
    if (!done)
        return sl_fail(error, SL_MEMORY, "Memory ran out while decoding %s. Close other programs and try again.", name);
    frame->gray = (sl_gray){out[GRAY].width, out[GRAY].height, out[GRAY].stride, out[GRAY].pixel};
    frame->cb = out[CB].pixel;
    frame->cr = out[CR].pixel;
    frame->chroma_stride = out[CB].stride;
    bool planar = out[CB].pixel && is_planar(shape);
    int shift_x = planar ? shape->log2_chroma_w : 0, shift_y = planar ? shape->log2_chroma_h : 0;
    frame->chroma_shift_x = luma->transpose ? shift_y : shift_x;
    frame->chroma_shift_y = luma->transpose ? shift_x : shift_y;
    return SL_OK;
}
