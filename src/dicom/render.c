#include "dicom/render.h"

#include "clip/clip.h"
#include "clip/save.h"
#include "dicom/jpeg.h"
#include "dicom/pixels.h"
#include "dicom/samples.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <turbojpeg.h>
#include <unistd.h>

/* Grey and chroma of one size; `plane[1]` NULL: without colour. */
typedef struct picture {
    int width, height;
    uint8_t *plane[3]; /* owned */
} picture;

static void free_picture(picture *p)
{
    for (int i = 0; i < 3; i++)
        free(p->plane[i]);
}

/* The mean of the source's pixels under each pixel; chroma planes of fewer pixels are taken as they lie under it. */
static uint8_t *resize(const uint8_t *from, int stride, int from_width, int from_height, int width, int height)
{
    uint8_t *to = malloc((size_t)width * (size_t)height);
    for (int y = 0; y < height && to; y++) {
        int y0 = (int)((long)y * from_height / height), y1 = (int)((long)(y + 1) * from_height / height);
        y1 = y1 > y0 ? y1 : y0 + 1;
        for (int x = 0; x < width; x++) {
            int x0 = (int)((long)x * from_width / width), x1 = (int)((long)(x + 1) * from_width / width);
            x1 = x1 > x0 ? x1 : x0 + 1;
            long sum = 0, count = (long)(y1 - y0) * (x1 - x0);
            for (int v = y0; v < y1; v++)
                for (int u = x0; u < x1; u++)
                    sum += from[(ptrdiff_t)v * stride + u];
            to[(size_t)y * (size_t)width + (size_t)x] = (uint8_t)((sum + count / 2) / count);
        }
    }
    return to;
}

static sl_status take(const sl_frame *frame, const sl_dicom_rendering *how, picture *p)
{
    const sl_gray *grey = &frame->gray;
    double scale = 1;
    if (how->width > 0 && how->height > 0)
        scale = fmin(1, fmin((double)how->width / grey->width, (double)how->height / grey->height));
    p->width = (int)fmax(1, lround(grey->width * scale));
    p->height = (int)fmax(1, lround(grey->height * scale));
    p->plane[0] = resize(grey->pixel, grey->stride, grey->width, grey->height, p->width, p->height);
    const uint8_t *chroma[2] = {frame->cb, frame->cr};
    for (int i = 0; i < 2 && frame->cb; i++)
        p->plane[1 + i] = resize(chroma[i], frame->chroma_stride, (grey->width + (1 << frame->chroma_shift_x) - 1) >> frame->chroma_shift_x,
                                 (grey->height + (1 << frame->chroma_shift_y) - 1) >> frame->chroma_shift_y, p->width, p->height);
    return p->plane[0] && (!frame->cb || (p->plane[1] && p->plane[2])) ? SL_OK : SL_MEMORY;
}

static sl_status decode_samples(sl_dicom_file *file, const sl_dicom_facts *facts, const sl_dicom_rendering *how, picture *p, sl_error *error)
{
    size_t size = sl_dicom_file_frame_size(file);
    uint8_t *samples = malloc(size);
    sl_dicom_pixels *pixels = sl_dicom_pixels_new(facts);
    char photometric[17];
    sl_frame frame = {0};
    sl_status status = samples && pixels ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        status = sl_dicom_frame_samples(file, how->frame, samples, size, photometric, error);
    if (status == SL_OK && (status = sl_dicom_pixels_picture(pixels, samples, photometric, &frame)) != SL_OK)
        sl_fail(error, status, "Pictures stored as %.16s are not shown.", photometric);
    if (status == SL_OK && (status = take(&frame, how, p)) != SL_OK)
        sl_fail(error, status, "Memory ran out.");
    sl_dicom_pixels_free(pixels);
    free(samples);
    return status;
}

/* Colour JPEG and video as clips show them. */
static sl_status decode_jpeg(sl_dicom_file *file, const sl_dicom_facts *facts, const sl_dicom_rendering *how, picture *p, sl_error *error)
{
    const uint8_t *bytes;
    size_t length;
    bool patched;
    sl_frame frame = {0};
    sl_jpeg *jpeg = sl_jpeg_new();
    sl_status status = jpeg ? sl_dicom_file_coded(file, how->frame, &bytes, &length, error) : SL_MEMORY;
    if (status == SL_OK)
        status = sl_jpeg_picture(jpeg, bytes, length, facts->width, facts->height, !strcmp(facts->photometric, "RGB"), &frame, &patched);
    if (status == SL_OK)
        status = take(&frame, how, p);
    sl_jpeg_free(jpeg);
    return status == SL_UNSUPPORTED ? decode_samples(file, facts, how, p, error)
           : status == SL_OK        ? status
                                    : sl_fail(error, status, "Frame %d is a damaged JPEG picture.", how->frame + 1);
}

static sl_status decode_clip(const char *path, const sl_dicom_rendering *how, picture *p, sl_error *error)
{
    sl_clip *clip;
    sl_frame frame;
    bool got = false;
    sl_status status = sl_clip_open(path, 1, &clip, error);
    if (status != SL_OK)
        return status;
    do
        status = sl_clip_next(clip, &frame, &got, error);
    while (status == SL_OK && got && frame.index < how->frame);
    if (status == SL_OK && (!got || frame.index != how->frame))
        status = sl_fail(error, SL_USAGE, "The object has no frame %d.", how->frame + 1);
    if (status == SL_OK && (status = take(&frame, how, p)) != SL_OK)
        sl_fail(error, status, "Memory ran out.");
    sl_clip_close(&clip);
    return status;
}

static sl_status decode(const char *path, const sl_dicom_rendering *how, picture *p, sl_error *error)
{
    sl_dicom_file *file;
    sl_status status = sl_dicom_file_open(path, &file, error);
    if (status != SL_OK)
        return status;
    sl_dicom_facts facts = *sl_dicom_file_facts(file);
    if (how->window > 0) {
        facts.window_center = how->center;
        facts.window_width = how->window;
    }
    if (how->frame < 0 || (how->frame >= facts.frames && facts.coding != SL_DICOM_VIDEO))
        status = sl_fail(error, SL_USAGE, "The object has no frame %d.", how->frame + 1);
    else if (facts.coding == SL_DICOM_VIDEO)
        status = decode_clip(path, how, p, error);
    else if (facts.coding == SL_DICOM_JPEG && facts.samples == 3 && facts.bits_allocated == 8)
        status = decode_jpeg(file, &facts, how, p, error);
    else
        status = decode_samples(file, &facts, how, p, error);
    sl_dicom_file_close(&file);
    return status;
}

static uint8_t clamp_byte(double value)
{
    return value <= 0 ? 0 : value >= 255 ? 255 : (uint8_t)lround(value);
}

static sl_status save_png(const picture *p, const char *to, sl_error *error)
{
    if (!p->plane[1])
        return sl_save_png_gray(to, (sl_gray){p->width, p->height, p->width, p->plane[0]}, error);
    size_t count = (size_t)p->width * (size_t)p->height;
    uint8_t *rgb = malloc(3 * count);
    if (!rgb)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (size_t i = 0; i < count; i++) { /* BT.601, full range (JFIF) */
        double y = p->plane[0][i], cb = p->plane[1][i] - 128.0, cr = p->plane[2][i] - 128.0;
        rgb[3 * i] = clamp_byte(y + 1.402 * cr);
        rgb[3 * i + 1] = clamp_byte(y - 0.344136 * cb - 0.714136 * cr);
        rgb[3 * i + 2] = clamp_byte(y + 1.772 * cb);
    }
    sl_status status = sl_save_png_rgb(to, rgb, p->width, p->height, error);
    free(rgb);
    return status;
}

static sl_status save_jpeg(const picture *p, int quality, const char *to, sl_error *error)
{
    const unsigned char *planes[3] = {p->plane[0], p->plane[1], p->plane[2]};
    unsigned char *bytes = NULL;
    unsigned long length = 0;
    tjhandle coder = tjInitCompress();
    FILE *file = NULL;
    bool good = coder && !tjCompressFromYUVPlanes(coder, planes, p->width, NULL, p->height, p->plane[1] ? TJSAMP_444 : TJSAMP_GRAY, &bytes, &length,
                                                  quality, TJFLAG_ACCURATEDCT);
    if (good)
        file = fopen(to, "wb");
    good = file && fwrite(bytes, 1, length, file) == length;
    if (file)
        good = !fclose(file) && good;
    tjFree(bytes);
    if (coder)
        tjDestroy(coder);
    return good ? SL_OK : sl_fail(error, SL_IO, "The picture could not be written to the store's disk.");
}

sl_status sl_dicom_render(const char *path, const sl_dicom_rendering *how, const char *to, sl_error *error)
{
    picture p = {0};
    sl_status status = decode(path, how, &p, error);
    if (status == SL_OK)
        status = how->png ? save_png(&p, to, error) : save_jpeg(&p, how->quality, to, error);
    free_picture(&p);
    if (status != SL_OK)
        unlink(to);
    return status;
}
