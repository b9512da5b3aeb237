/* PNG (W3C PNG specification, 8-bit true colour). The container is a few lines; compression is libdeflate's, several
 * times faster than zlib's at the same size, since the picture is made while the next clip waits. */
#include "report/png.h"

#include "core/file.h"

#include <libdeflate.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { LEVEL = 1, CHUNK_EXTRA = 12 };

static void put32(uint8_t *at, uint32_t value)
{
    at[0] = (uint8_t)(value >> 24);
    at[1] = (uint8_t)(value >> 16);
    at[2] = (uint8_t)(value >> 8);
    at[3] = (uint8_t)value;
}

/* Length, name, data already in place at at + 8, check sum. Returns what follows. */
static uint8_t *seal(uint8_t *at, const char *name, size_t length)
{
    put32(at, (uint32_t)length);
    memcpy(at + 4, name, 4);
    put32(at + 8 + length, libdeflate_crc32(0, at + 4, length + 4));
    return at + length + CHUNK_EXTRA;
}

/* Rows as differences to the pixel on the left (filter 1): flat paper becomes zeros, speckle costs no more. */
static void filter_rows(cairo_surface_t *surface, int width, int height, uint8_t *out)
{
    const unsigned char *data = cairo_image_surface_get_data(surface);
    int stride = cairo_image_surface_get_stride(surface);
    for (int y = 0; y < height; y++) {
        const uint32_t *line = (const uint32_t *)(const void *)(data + (size_t)y * (size_t)stride);
        *out++ = 1;
        uint32_t left = 0;
        for (int x = 0; x < width; x++) {
            uint32_t here = line[x];
            *out++ = (uint8_t)((here >> 16) - (left >> 16));
            *out++ = (uint8_t)((here >> 8) - (left >> 8));
            *out++ = (uint8_t)(here - left);
            left = here;
        }
    }
}

sl_status sl_png_save(cairo_surface_t *surface, const char *path, sl_error *error)
{
    static const uint8_t signature[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    cairo_surface_flush(surface);
    int width = cairo_image_surface_get_width(surface), height = cairo_image_surface_get_height(surface);
    size_t raw_length = (size_t)height * ((size_t)width * 3 + 1);
    struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(LEVEL);
    uint8_t *raw = malloc(raw_length + 1);
    size_t bound = compressor ? libdeflate_zlib_compress_bound(compressor, raw_length) : 0;
    uint8_t *file = malloc(bound + 128);
    sl_status status = SL_MEMORY;
    if (compressor && raw && file && width > 0 && height > 0) {
        filter_rows(surface, width, height, raw);
        memcpy(file, signature, sizeof signature);
        uint8_t *at = file + sizeof signature, *head = at + 8;
        put32(head, (uint32_t)width);
        put32(head + 4, (uint32_t)height);
        memcpy(head + 8, (const uint8_t[]){8, 2, 0, 0, 0}, 5); /* 8 bits, true colour, no interlacing */
        at = seal(at, "IHDR", 13);
        size_t length = libdeflate_zlib_compress(compressor, raw, raw_length, at + 8, bound);
        if (length) {
            at = seal(at, "IDAT", length);
            at = seal(at, "IEND", 0);
            status = sl_file_write(path, file, (size_t)(at - file), error);
        }
    }
    if (status == SL_MEMORY)
        sl_fail(error, SL_MEMORY, "Memory ran out while drawing %s.", path);
    free(raw);
    free(file);
    libdeflate_free_compressor(compressor);
    return status;
}
