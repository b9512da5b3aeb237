#include "dicom/jpeg.h"

#include "clip/luma_kernel.h"

#include <stdlib.h>
#include <string.h>
#include <turbojpeg.h>

struct sl_jpeg {
    tjhandle handle;
    uint8_t *plane[3]; /* owned */
    size_t room[3];
    uint8_t *packed; /* owned, RGB */
    size_t packed_room;
};

sl_jpeg *sl_jpeg_new(void)
{
    sl_jpeg *jpeg = calloc(1, sizeof *jpeg);
    if (jpeg)
        jpeg->handle = tjInitDecompress();
    if (jpeg && !jpeg->handle) {
        free(jpeg);
        return NULL;
    }
    return jpeg;
}

void sl_jpeg_free(sl_jpeg *jpeg)
{
    if (!jpeg)
        return;
    tjDestroy(jpeg->handle);
    for (int i = 0; i < 3; i++)
        free(jpeg->plane[i]);
    free(jpeg->packed);
    free(jpeg);
}

static bool fit(uint8_t **bytes, size_t *room, size_t need)
{
    if (need <= *room)
        return true;
    free(*bytes);
    *bytes = malloc(need);
    *room = *bytes ? need : 0;
    return *bytes != NULL;
}

/* Does the picture itself say how its three components are meant (JFIF or Adobe marker, ITU-T T.871 and T.872)? */
static bool has_colour_marker(const uint8_t *bytes, size_t length)
{
    for (size_t at = 2; at + 4 <= length && bytes[at] == 0xff;) {
        uint8_t kind = bytes[at + 1];
        size_t size = (size_t)bytes[at + 2] << 8 | bytes[at + 3];
        if (kind == 0xda || size < 2)
            return false;
        if ((kind == 0xe0 && at + 8 <= length && !memcmp(bytes + at + 4, "JFIF", 4)) ||
            (kind == 0xee && at + 9 <= length && !memcmp(bytes + at + 4, "Adobe", 5)))
            return true;
        at += 2 + size;
    }
    return false;
}

static sl_status decoded(const sl_jpeg *jpeg, int result, bool *patched)
{
    *patched = result < 0 && tjGetErrorCode(jpeg->handle) == TJERR_WARNING;
    return result < 0 && !*patched ? SL_FORMAT : SL_OK;
}

/* Packed RGB in jpeg->packed to the planes. */
static sl_status planes_of_rgb(sl_jpeg *jpeg, int width, int height, sl_frame *frame)
{
    size_t count = (size_t)width * (size_t)height;
    for (int i = 0; i < 3; i++)
        if (!fit(&jpeg->plane[i], &jpeg->room[i], count))
            return SL_MEMORY;
    sl_luma_from_rgb(jpeg->packed, jpeg->plane[0], (int)count, 3, 0, 1, 2, -1);
    sl_chroma_from_rgb(jpeg->packed, jpeg->plane[1], jpeg->plane[2], (int)count, 3, 0, 1, 2);
    frame->gray = (sl_gray){width, height, width, jpeg->plane[0]};
    frame->cb = jpeg->plane[1];
    frame->cr = jpeg->plane[2];
    frame->chroma_stride = width;
    frame->chroma_shift_x = frame->chroma_shift_y = 0;
    return SL_OK;
}

static sl_status from_rgb(sl_jpeg *jpeg, const uint8_t *bytes, size_t length, int width, int height, sl_frame *frame,
                          bool *patched)
{
    if (!fit(&jpeg->packed, &jpeg->packed_room, 3 * (size_t)width * (size_t)height))
        return SL_MEMORY;
    int result = tjDecompress2(jpeg->handle, bytes, (unsigned long)length, jpeg->packed, width, 0, height, TJPF_RGB,
                               TJFLAG_ACCURATEDCT);
    sl_status status = decoded(jpeg, result, patched);
    return status ? status : planes_of_rgb(jpeg, width, height, frame);
}

static sl_status from_planes(sl_jpeg *jpeg, const uint8_t *bytes, size_t length, int width, int height, int sampling,
                             sl_frame *frame, bool *patched)
{
    static const struct {
        int sampling, shift_x, shift_y;
    } shifts[] = {{TJSAMP_444, 0, 0}, {TJSAMP_422, 1, 0}, {TJSAMP_420, 1, 1}, {TJSAMP_440, 0, 1}, {TJSAMP_411, 2, 0}};
    int planes = sampling == TJSAMP_GRAY ? 1 : 3;
    for (int i = 0; i < planes; i++)
        if (!fit(&jpeg->plane[i], &jpeg->room[i], tjPlaneSizeYUV(i, width, 0, height, sampling)))
            return SL_MEMORY;
    int result = tjDecompressToYUVPlanes(jpeg->handle, bytes, (unsigned long)length, jpeg->plane, width, NULL, height,
                                         TJFLAG_ACCURATEDCT);
    sl_status status = decoded(jpeg, result, patched);
    if (status)
        return status;
    frame->gray = (sl_gray){width, height, tjPlaneWidth(0, width, sampling), jpeg->plane[0]};
    frame->cb = planes == 3 ? jpeg->plane[1] : NULL;
    frame->cr = planes == 3 ? jpeg->plane[2] : NULL;
    frame->chroma_shift_x = frame->chroma_shift_y = 0;
    if (planes == 1)
        return SL_OK;
    frame->chroma_stride = tjPlaneWidth(1, width, sampling);
    for (size_t i = 0; i < sizeof shifts / sizeof *shifts; i++)
        if (shifts[i].sampling == sampling) {
            frame->chroma_shift_x = shifts[i].shift_x;
            frame->chroma_shift_y = shifts[i].shift_y;
        }
    return SL_OK;
}

static bool has_chroma(const sl_frame *frame)
{
    int width = (frame->gray.width + (1 << frame->chroma_shift_x) - 1) >> frame->chroma_shift_x;
    int height = (frame->gray.height + (1 << frame->chroma_shift_y) - 1) >> frame->chroma_shift_y;
    for (int y = 0; y < height; y++)
        if (sl_chroma_reach(frame->cb + (long)y * frame->chroma_stride, width) > SL_VISIBLE_CHROMA ||
            sl_chroma_reach(frame->cr + (long)y * frame->chroma_stride, width) > SL_VISIBLE_CHROMA)
            return true;
    return false;
}

/* Three components that are red, green and blue although the decoder takes them for luma and chroma. */
static sl_status planes_are_rgb(sl_jpeg *jpeg, int width, int height, sl_frame *frame)
{
    if (!fit(&jpeg->packed, &jpeg->packed_room, 3 * (size_t)width * (size_t)height))
        return SL_MEMORY;
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            for (int c = 0; c < 3; c++)
                jpeg->packed[3 * ((long)y * width + x) + c] = jpeg->plane[c][(long)y * frame->gray.stride + x];
    return planes_of_rgb(jpeg, width, height, frame);
}

sl_status sl_jpeg_picture(sl_jpeg *jpeg, const uint8_t *bytes, size_t length, int width, int height, bool says_rgb,
                          sl_frame *frame, bool *patched)
{
    int real_width, real_height, sampling, space;
    *patched = false;
    if (tjDecompressHeader3(jpeg->handle, bytes, (unsigned long)length, &real_width, &real_height, &sampling, &space))
        return SL_UNSUPPORTED;
    if (real_width != width || real_height != height)
        return SL_FORMAT;
    if (space != TJCS_GRAY && space != TJCS_YCbCr && space != TJCS_RGB)
        return SL_UNSUPPORTED;
    sl_status status = space == TJCS_RGB
                           ? from_rgb(jpeg, bytes, length, width, height, frame, patched)
                           : from_planes(jpeg, bytes, length, width, height, sampling, frame, patched);
    if (!status && space == TJCS_YCbCr && says_rgb && sampling == TJSAMP_444 && !has_colour_marker(bytes, length))
        status = planes_are_rgb(jpeg, width, height, frame);
    if (!status && frame->cb && !has_chroma(frame))
        frame->cb = frame->cr = NULL;
    return status;
}
