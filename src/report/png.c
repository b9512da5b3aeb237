/* PNG (W3C PNG specification, 8-bit palette). The container is a few lines; compression is libdeflate's, several times
 * faster than zlib's at the same size, since the picture is made while the next clip waits. One byte a pixel takes a
 * third of the time and of the disk that three would. */
#include "report/png.h"

#include "core/file.h"
#include "report/look_tokens.h"

#include <libdeflate.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { LEVEL = 1, CHUNK_EXTRA = 12, GREYS = 128, COLOURS = 256, CUBE = 32 };

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

/* Type and lines are drawn from one colour over another with soft edges: the blends that occur, in so many steps. */
static const struct {
    uint32_t from, to;
    int steps;
} blends[] = {
    {LOOK_COLOUR_PAPER, LOOK_COLOUR_INK, 14},          {LOOK_COLOUR_PAPER, LOOK_COLOUR_QUIET, 12},
    {LOOK_COLOUR_PAPER, LOOK_COLOUR_THREAD, 8},        {LOOK_COLOUR_PAPER, LOOK_COLOUR_TIDE_LINE, 8},
    {LOOK_COLOUR_TIDE_FILL, LOOK_COLOUR_TIDE_LINE, 6}, {LOOK_COLOUR_TIDE_FILL, LOOK_COLOUR_THREAD, 5},
    {LOOK_COLOUR_PAPER, LOOK_COLOUR_HATCH, 5},         {LOOK_COLOUR_PAPER, LOOK_COLOUR_RULE, 3},
    {LOOK_COLOUR_AERATED_0, LOOK_COLOUR_INK, 5},       {LOOK_COLOUR_AERATED_1, LOOK_COLOUR_INK, 5},
    {LOOK_COLOUR_AERATED_2, LOOK_COLOUR_INK, 5},       {LOOK_COLOUR_AERATED_3, LOOK_COLOUR_PAPER, 5},
    {LOOK_COLOUR_NIGHT, LOOK_COLOUR_MARK_PLEURA, 9},   {LOOK_COLOUR_NIGHT, LOOK_COLOUR_MARK_A, 9},
    {LOOK_COLOUR_NIGHT, LOOK_COLOUR_MARK_B, 9},        {LOOK_COLOUR_NIGHT, LOOK_COLOUR_THREAD, 8},
    {LOOK_COLOUR_NIGHT, LOOK_COLOUR_MARK_RIB, 4},      {LOOK_COLOUR_NIGHT, LOOK_COLOUR_MARK_OTHER, 4},
};

static uint8_t palette[COLOURS][3];
static int colours;
/* Index of the nearest colour, by the upper five bits of each channel; 0 where it was not looked for yet. A picture meets
 * a few hundred of these cells. Each value is a function of its cell alone, so it does not matter who fills it first. */
static atomic_uchar nearest[CUBE * CUBE * CUBE];
static pthread_once_t palette_once = PTHREAD_ONCE_INIT;

static uint32_t cell_of(uint32_t c)
{
    return (c >> 19 & 31) << 10 | (c >> 11 & 31) << 5 | (c >> 3 & 31);
}

static uint8_t look_up(uint32_t cell)
{
    int r = (int)(cell >> 10) * 8 + 4, g = (int)(cell >> 5 & 31) * 8 + 4, b = (int)(cell & 31) * 8 + 4;
    int best = 0, least = 1 << 30;
    for (int i = 0; i < colours; i++) {
        int dr = r - palette[i][0], dg = g - palette[i][1], db = b - palette[i][2];
        int far = 3 * dr * dr + 6 * dg * dg + db * db; /* the eye weighs green most */
        if (far < least) {
            least = far;
            best = i;
        }
    }
    atomic_store_explicit(&nearest[cell], (unsigned char)best, memory_order_relaxed);
    return (uint8_t)best;
}

static void make_palette(void)
{
    for (; colours < GREYS; colours++)
        memset(palette[colours], colours * 2 + (colours >= GREYS / 2), 3); /* 0, 2 ... 255 */
    for (size_t b = 0; b < sizeof blends / sizeof *blends; b++)
        for (int i = 0; i < blends[b].steps && colours < COLOURS; i++, colours++) {
            for (int c = 0; c < 3; c++) {
                int from = (int)(blends[b].from >> (16 - 8 * c) & 255), to = (int)(blends[b].to >> (16 - 8 * c) & 255);
                palette[colours][c] = (uint8_t)(from + (to - from) * i / (blends[b].steps - 1));
            }
            /* the grounds exactly: large areas must not shift by a rounding of the cube */
            uint32_t cell = cell_of(blends[b].from);
            if (i == 0 && !atomic_load_explicit(&nearest[cell], memory_order_relaxed))
                atomic_store_explicit(&nearest[cell], (unsigned char)colours, memory_order_relaxed);
        }
}

/* Rows as differences to the pixel on the left (filter 1): flat paper becomes zeros, and the greys of a picture, which
 * are neighbours in the palette too, small numbers. */
static void filter_rows(cairo_surface_t *surface, int width, int height, uint8_t *out)
{
    const unsigned char *data = cairo_image_surface_get_data(surface);
    int stride = cairo_image_surface_get_stride(surface);
    for (int y = 0; y < height; y++) {
        const uint32_t *line = (const uint32_t *)(const void *)(data + (size_t)y * (size_t)stride);
        *out++ = 1;
        uint8_t left = 0;
        for (int x = 0; x < width; x++) {
            uint32_t c = line[x] & 0xffffff;
            uint8_t here = (uint8_t)((c & 255) >> 1);
            if (c != (c & 255) * 0x010101u) {
                here = atomic_load_explicit(&nearest[cell_of(c)], memory_order_relaxed);
                if (!here)
                    here = look_up(cell_of(c));
            }
            *out++ = (uint8_t)(here - left);
            left = here;
        }
    }
}

sl_status sl_png_save(cairo_surface_t *surface, const char *path, sl_error *error)
{
    static const uint8_t signature[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    pthread_once(&palette_once, make_palette);
    cairo_surface_flush(surface);
    int width = cairo_image_surface_get_width(surface), height = cairo_image_surface_get_height(surface);
    size_t raw_length = (size_t)height * ((size_t)width + 1);
    struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(LEVEL);
    uint8_t *raw = malloc(raw_length + 1);
    size_t bound = compressor ? libdeflate_zlib_compress_bound(compressor, raw_length) : 0;
    uint8_t *file = malloc(bound + 128 + sizeof palette);
    sl_status status = SL_MEMORY;
    if (compressor && raw && file && width > 0 && height > 0) {
        filter_rows(surface, width, height, raw);
        memcpy(file, signature, sizeof signature);
        uint8_t *at = file + sizeof signature, *head = at + 8;
        put32(head, (uint32_t)width);
        put32(head + 4, (uint32_t)height);
        memcpy(head + 8, (const uint8_t[]){8, 3, 0, 0, 0}, 5); /* 8 bits, palette, no interlacing */
        at = seal(at, "IHDR", 13);
        memcpy(at + 8, palette, sizeof palette);
        at = seal(at, "PLTE", sizeof palette);
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
