#include "dicom/pixels.h"

#include "clip/luma_kernel.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct sl_dicom_pixels {
    const sl_dicom_facts *facts;
    size_t count;             /* pixels of a frame */
    uint8_t *plane[3];        /* owned: grey, cb, cr of `count` bytes */
    uint8_t *packed;          /* owned: RGB by pixel, made when needed */
    uint8_t *lookup[3];       /* owned: grey, cb, cr of each stored code; the last two for palettes only */
    bool lookup_is_identity;
};

static double clamp_level(double value)
{
    return value < 0 ? 0 : value > 255 ? 255 : value;
}

/* A stored code as the number it stands for. */
static long value_of(const sl_dicom_facts *facts, long code)
{
    long value = code >> (facts->high_bit + 1 - facts->bits_stored) & ((1L << facts->bits_stored) - 1);
    return facts->is_signed && value >> (facts->bits_stored - 1) ? value - (1L << facts->bits_stored) : value;
}

static double grey_of(const sl_dicom_facts *facts, long code)
{
    long value = value_of(facts, code);
    double level;
    if (facts->window_width >= 1 && isfinite(facts->window_center)) {
        double x = (double)value * facts->slope + facts->intercept;
        double center = facts->window_center - 0.5, width = facts->window_width - 1;
        level = x <= center - width / 2  ? 0
                : x > center + width / 2 ? 255
                                         : ((x - center) / width + 0.5) * 255;
    } else {
        double low = facts->is_signed ? -ldexp(1, facts->bits_stored - 1) : 0;
        level = ((double)value - low) / (ldexp(1, facts->bits_stored) - 1) * 255;
    }
    level = clamp_level(level);
    return strcmp(facts->photometric, "MONOCHROME1") ? level : 255 - level;
}

static void fill_grey(sl_dicom_pixels *pixels, long codes)
{
    pixels->lookup_is_identity = codes == 256;
    for (long code = 0; code < codes; code++) {
        pixels->lookup[0][code] = (uint8_t)lround(grey_of(pixels->facts, code));
        pixels->lookup_is_identity = pixels->lookup_is_identity && pixels->lookup[0][code] == code;
    }
}

/* PS3.3 C.7.6.3.1.5: codes below the first take the first entry, those above the last the last. */
static void fill_palette(sl_dicom_pixels *pixels, long codes)
{
    const sl_dicom_palette *palette = &pixels->facts->palette;
    double most = ldexp(1, palette->bits) - 1;
    for (long code = 0; code < codes; code++) {
        long at = value_of(pixels->facts, code) - palette->first;
        at = at < 0 ? 0 : at >= palette->entries ? palette->entries - 1 : at;
        double r = palette->channel[0][at] / most * 255, g = palette->channel[1][at] / most * 255,
               b = palette->channel[2][at] / most * 255;
        double luma = 0.299 * r + 0.587 * g + 0.114 * b;
        pixels->lookup[0][code] = (uint8_t)lround(clamp_level(luma));
        pixels->lookup[1][code] = (uint8_t)lround(clamp_level(128 + (b - luma) / 1.772));
        pixels->lookup[2][code] = (uint8_t)lround(clamp_level(128 + (r - luma) / 1.402));
    }
}

sl_dicom_pixels *sl_dicom_pixels_new(const sl_dicom_facts *facts)
{
    sl_dicom_pixels *pixels = calloc(1, sizeof *pixels);
    if (!pixels)
        return NULL;
    pixels->facts = facts;
    pixels->count = (size_t)facts->width * (size_t)facts->height;
    bool has_palette = facts->samples == 1 && facts->palette.entries > 0;
    int planes = facts->samples == 3 || has_palette ? 3 : 1, lookups = facts->samples == 3 ? 0 : has_palette ? 3 : 1;
    size_t codes = (size_t)1 << facts->bits_allocated;
    bool good = true;
    for (int i = 0; i < planes; i++)
        good = (pixels->plane[i] = malloc(pixels->count)) && good;
    for (int i = 0; i < lookups; i++)
        good = (pixels->lookup[i] = malloc(codes)) && good;
    if (!good) {
        sl_dicom_pixels_free(pixels);
        return NULL;
    }
    if (has_palette)
        fill_palette(pixels, (long)codes);
    else if (lookups)
        fill_grey(pixels, (long)codes);
    return pixels;
}

void sl_dicom_pixels_free(sl_dicom_pixels *pixels)
{
    if (!pixels)
        return;
    for (int i = 0; i < 3; i++) {
        free(pixels->plane[i]);
        free(pixels->lookup[i]);
    }
    free(pixels->packed);
    free(pixels);
}

static void look_up(const sl_dicom_pixels *pixels, const uint8_t *samples, int channel)
{
    const uint8_t *restrict lookup = pixels->lookup[channel];
    uint8_t *restrict out = pixels->plane[channel];
    if (pixels->facts->bits_allocated == 8) {
        for (size_t i = 0; i < pixels->count; i++)
            out[i] = lookup[samples[i]];
    } else {
        const uint16_t *words = (const uint16_t *)(const void *)samples;
        for (size_t i = 0; i < pixels->count; i++)
            out[i] = lookup[words[i]];
    }
}

/* Colour samples of more than 8 bits, in place. */
static void halve(uint8_t *samples, size_t count, int bits)
{
    const uint16_t *words = (const uint16_t *)(const void *)samples;
    uint32_t most = (1u << bits) - 1;
    for (size_t i = 0; i < count; i++) {
        uint32_t word = words[i] & most;
        samples[i] = (uint8_t)((word * 255 + most / 2) / most);
    }
}

static void split(const uint8_t *restrict packed, uint8_t *const plane[3], size_t count)
{
    uint8_t *restrict a = plane[0], *restrict b = plane[1], *restrict c = plane[2];
    for (size_t i = 0; i < count; i++) {
        a[i] = packed[3 * i];
        b[i] = packed[3 * i + 1];
        c[i] = packed[3 * i + 2];
    }
}

/* Two pixels as Y Y Cb Cr (PS3.3 C.7.6.3.1.2), rows padded to whole pairs. */
static void split_422(const sl_dicom_pixels *pixels, const uint8_t *packed)
{
    int width = pixels->facts->width, pairs = (width + 1) / 2;
    for (int y = 0; y < pixels->facts->height; y++) {
        const uint8_t *row = packed + (long)y * pairs * 4;
        size_t to = (size_t)y * (size_t)width;
        for (int x = 0; x < width; x++) {
            pixels->plane[0][to + (size_t)x] = row[x / 2 * 4 + (x & 1)];
            pixels->plane[1][to + (size_t)x] = row[x / 2 * 4 + 2];
            pixels->plane[2][to + (size_t)x] = row[x / 2 * 4 + 3];
        }
    }
}

static const uint8_t *by_pixel(sl_dicom_pixels *pixels, const uint8_t *samples)
{
    if (!pixels->facts->by_plane)
        return samples;
    if (!pixels->packed)
        pixels->packed = malloc(3 * pixels->count);
    if (!pixels->packed)
        return NULL;
    for (size_t i = 0; i < pixels->count; i++)
        for (size_t c = 0; c < 3; c++)
            pixels->packed[3 * i + c] = samples[c * pixels->count + i];
    return pixels->packed;
}

static bool from_rgb(sl_dicom_pixels *pixels, const uint8_t *samples)
{
    const uint8_t *packed = by_pixel(pixels, samples);
    if (!packed)
        return false;
    int count = (int)pixels->count;
    sl_luma_from_rgb(packed, pixels->plane[0], count, 3, 0, 1, 2, -1);
    if (sl_rgb_spread(packed, count, 3, 0, 1, 2) > SL_VISIBLE_CHROMA)
        sl_chroma_from_rgb(packed, pixels->plane[1], pixels->plane[2], count, 3, 0, 1, 2);
    else
        memset(pixels->plane[1], 128, pixels->count), memset(pixels->plane[2], 128, pixels->count);
    return true;
}

static sl_status from_colour(sl_dicom_pixels *pixels, uint8_t *samples, const char *photometric)
{
    const sl_dicom_facts *facts = pixels->facts;
    bool half = facts->coding == SL_DICOM_NATIVE && strstr(photometric, "_422");
    if (facts->bits_allocated == 16)
        halve(samples, 3 * pixels->count, facts->bits_stored);
    if (!strcmp(photometric, "RGB"))
        return from_rgb(pixels, samples) ? SL_OK : SL_MEMORY;
    if (strncmp(photometric, "YBR_FULL", 8) && strncmp(photometric, "YBR_PARTIAL", 11))
        return SL_UNSUPPORTED;
    if (half)
        split_422(pixels, samples);
    else if (facts->by_plane)
        for (size_t i = 0; i < 3; i++)
            memcpy(pixels->plane[i], samples + i * pixels->count, pixels->count);
    else
        split(samples, pixels->plane, pixels->count);
    if (!strncmp(photometric, "YBR_PARTIAL", 11)) {
        memcpy(samples, pixels->plane[0], pixels->count);
        sl_luma_stretch(samples, pixels->plane[0], (int)pixels->count);
    }
    return SL_OK;
}

sl_status sl_dicom_pixels_picture(sl_dicom_pixels *pixels, uint8_t *samples, const char *photometric, sl_frame *frame)
{
    const sl_dicom_facts *facts = pixels->facts;
    const uint8_t *gray = pixels->plane[0];
    bool may_be_coloured = pixels->plane[1] != NULL;
    if (facts->samples == 3) {
        sl_status status = from_colour(pixels, samples, photometric);
        if (status)
            return status;
    } else if (!strncmp(photometric, "MONOCHROME", 10) || facts->palette.entries) {
        if (pixels->lookup_is_identity)
            gray = samples;
        else
            for (int i = 0; i < (may_be_coloured ? 3 : 1); i++)
                look_up(pixels, samples, i);
    } else {
        return SL_UNSUPPORTED;
    }
    bool coloured = may_be_coloured &&
                    (sl_chroma_reach(pixels->plane[1], (int)pixels->count) > SL_VISIBLE_CHROMA ||
                     sl_chroma_reach(pixels->plane[2], (int)pixels->count) > SL_VISIBLE_CHROMA);
    frame->gray = (sl_gray){facts->width, facts->height, facts->width, gray};
    frame->cb = coloured ? pixels->plane[1] : NULL;
    frame->cr = coloured ? pixels->plane[2] : NULL;
    frame->chroma_stride = facts->width;
    frame->chroma_shift_x = frame->chroma_shift_y = 0;
    return SL_OK;
}
