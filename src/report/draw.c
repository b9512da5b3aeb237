#include "report/draw.h"

#include "report/language.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <turbojpeg.h>

static const double sizes[SL_TYPES] = {LOOK_SIZE_TITLE, LOOK_SIZE_HEADING, LOOK_SIZE_VALUE, LOOK_SIZE_BODY,
                                       LOOK_SIZE_SMALL};

void sl_pen_begin(sl_pen *pen, cairo_t *cr)
{
    pen->cr = cr;
    pen->say = sl_language_of(NULL);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    pen->layout = pango_cairo_create_layout(cr);
    PangoContext *context = pango_layout_get_context(pen->layout);
    pango_cairo_context_set_font_options(context, options);
    pango_cairo_context_set_resolution(context, 72); /* a point is a unit of the drawing */
    pango_context_set_round_glyph_positions(context, FALSE);
    cairo_font_options_destroy(options);
    for (int i = 0; i < SL_TYPES; i++)
        for (int bold = 0; bold < 2; bold++) {
            PangoFontDescription *font = pango_font_description_new();
            pango_font_description_set_family_static(font, "DejaVu Sans");
            pango_font_description_set_weight(font, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
            pango_font_description_set_size(font, (int)lround(sizes[i] * PANGO_SCALE));
            pen->font[i][bold] = font;
        }
}

void sl_pen_end(sl_pen *pen)
{
    for (int i = 0; i < SL_TYPES; i++)
        for (int bold = 0; bold < 2; bold++)
            pango_font_description_free(pen->font[i][bold]);
    g_object_unref(pen->layout);
}

static void set_up(sl_pen *pen, int type, const char *text)
{
    pango_layout_set_font_description(pen->layout, pen->font[type & 15][(type & SL_BOLD) != 0]);
    const char *end; /* a text that was cut to fit may end within a letter */
    g_utf8_validate(text, -1, &end);
    pango_layout_set_text(pen->layout, text, (int)(end - text));
}

double sl_pen_text(sl_pen *pen, double x, double y, int type, uint32_t colour, sl_align align, double most,
                   const char *text)
{
    if (!*text)
        return 0;
    set_up(pen, type, text);
    pango_layout_set_alignment(pen->layout, PANGO_ALIGN_LEFT);
    pango_layout_set_single_paragraph_mode(pen->layout, TRUE);
    pango_layout_set_height(pen->layout, 0);
    pango_layout_set_width(pen->layout, -1);
    pango_layout_set_ellipsize(pen->layout, PANGO_ELLIPSIZE_NONE);
    int width, height;
    pango_layout_get_size(pen->layout, &width, &height);
    if (most > 0 && width > most * PANGO_SCALE) {
        pango_layout_set_ellipsize(pen->layout, PANGO_ELLIPSIZE_END);
        pango_layout_set_width(pen->layout, (int)(most * PANGO_SCALE));
        pango_layout_get_size(pen->layout, &width, &height);
    }
    double wide = (double)width / PANGO_SCALE;
    double left = align == SL_ALIGN_LEFT ? x : align == SL_ALIGN_CENTRE ? x - wide / 2 : x - wide;
    sl_set_colour(pen->cr, colour, 1);
    cairo_move_to(pen->cr, left, y - (double)pango_layout_get_baseline(pen->layout) / PANGO_SCALE);
    pango_cairo_show_layout(pen->cr, pen->layout);
    return wide;
}

double sl_pen_paragraph(sl_pen *pen, double x, double top, double width, int lines, int type, uint32_t colour,
                        const char *text)
{
    if (!*text)
        return 0;
    set_up(pen, type, text);
    pango_layout_set_single_paragraph_mode(pen->layout, FALSE);
    pango_layout_set_alignment(pen->layout, PANGO_ALIGN_LEFT);
    pango_layout_set_width(pen->layout, (int)(width * PANGO_SCALE));
    pango_layout_set_wrap(pen->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_ellipsize(pen->layout, lines ? PANGO_ELLIPSIZE_END : PANGO_ELLIPSIZE_NONE);
    pango_layout_set_height(pen->layout, lines ? -lines : 0);
    int wide, high;
    pango_layout_get_size(pen->layout, &wide, &high);
    sl_set_colour(pen->cr, colour, 1);
    cairo_move_to(pen->cr, x, top);
    pango_cairo_show_layout(pen->cr, pen->layout);
    return (double)high / PANGO_SCALE;
}

double sl_pen_width(sl_pen *pen, int type, const char *text)
{
    int wide, high;
    set_up(pen, type, text);
    pango_layout_set_width(pen->layout, -1);
    pango_layout_set_ellipsize(pen->layout, PANGO_ELLIPSIZE_NONE);
    pango_layout_get_size(pen->layout, &wide, &high);
    return (double)wide / PANGO_SCALE;
}

double sl_pen_height(sl_pen *pen, double width, int type, const char *text)
{
    int wide, high;
    set_up(pen, type, text);
    pango_layout_set_single_paragraph_mode(pen->layout, FALSE);
    pango_layout_set_width(pen->layout, (int)(width * PANGO_SCALE));
    pango_layout_set_wrap(pen->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_ellipsize(pen->layout, PANGO_ELLIPSIZE_NONE);
    pango_layout_set_height(pen->layout, 0);
    pango_layout_get_size(pen->layout, &wide, &high);
    return (double)high / PANGO_SCALE;
}

void sl_set_colour(cairo_t *cr, uint32_t colour, double opacity)
{
    double r = (colour >> 16 & 255) / 255.0, g = (colour >> 8 & 255) / 255.0, b = (colour & 255) / 255.0;
    if (opacity < 1)
        cairo_set_source_rgba(cr, r, g, b, opacity);
    else
        cairo_set_source_rgb(cr, r, g, b);
}

uint32_t sl_ramp_colour(int score)
{
    static const uint32_t ramp[] = {LOOK_COLOUR_AERATED_0, LOOK_COLOUR_AERATED_1, LOOK_COLOUR_AERATED_2,
                                    LOOK_COLOUR_AERATED_3};
    return score < 0 ? LOOK_COLOUR_PAPER : ramp[score > 3 ? 3 : score];
}

uint32_t sl_ramp_ink(int score)
{
    return score >= 3 ? LOOK_COLOUR_PAPER : LOOK_COLOUR_INK;
}

void sl_draw_hatch(cairo_t *cr, double x, double y, double width, double height, double step)
{
    cairo_save(cr);
    cairo_rectangle(cr, x, y, width, height);
    cairo_clip(cr);
    for (double at = -height; at < width; at += step) {
        cairo_move_to(cr, x + at, y + height);
        cairo_line_to(cr, x + at + height, y);
    }
    sl_set_colour(cr, LOOK_COLOUR_HATCH, 1);
    cairo_set_line_width(cr, LOOK_STROKE_HAIR);
    cairo_stroke(cr);
    cairo_restore(cr);
}

void sl_draw_thread(cairo_t *cr, double from_x, double from_y, double to_x, double to_y)
{
    const double ring = 1.7, reach = (to_x - from_x) * 0.45, side = to_x < from_x ? 1 : -1;
    cairo_save(cr);
    /* a fine pale seam keeps the thread in sight on dark pictures, in grey print too */
    cairo_move_to(cr, from_x, from_y);
    cairo_curve_to(cr, from_x + reach, from_y, to_x - reach, to_y, to_x + side * ring, to_y);
    sl_set_colour(cr, LOOK_COLOUR_PAPER, 0.6);
    cairo_set_line_width(cr, LOOK_STROKE_THREAD + 0.5);
    cairo_stroke_preserve(cr);
    sl_set_colour(cr, LOOK_COLOUR_THREAD, 1);
    cairo_set_line_width(cr, LOOK_STROKE_THREAD);
    cairo_stroke(cr);
    cairo_arc(cr, to_x, to_y, ring, 0, 2 * 3.14159265358979323846);
    sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
    cairo_fill_preserve(cr);
    sl_set_colour(cr, LOOK_COLOUR_THREAD, 1);
    cairo_set_line_width(cr, LOOK_STROKE_THREAD * 1.3);
    cairo_stroke(cr);
    cairo_restore(cr);
    sl_set_colour(cr, LOOK_COLOUR_THREAD, 1);
}

void sl_draw_score(sl_pen *pen, double x, double y, double side, int score)
{
    cairo_rectangle(pen->cr, x, y, side, side);
    sl_set_colour(pen->cr, sl_ramp_colour(score), 1);
    cairo_fill(pen->cr);
    if (score < 0)
        sl_draw_hatch(pen->cr, x, y, side, side, 3);
    cairo_rectangle(pen->cr, x, y, side, side);
    sl_set_colour(pen->cr, LOOK_COLOUR_INK, 0.5);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    if (score >= 0) {
        char digit[2] = {(char)('0' + score), 0};
        sl_pen_text(pen, x + side / 2, y + side / 2 + LOOK_SIZE_BODY * 0.37, SL_TYPE_BODY | SL_BOLD, sl_ramp_ink(score),
                    SL_ALIGN_CENTRE, 0, digit);
    }
}

/* One axis of a resampling: for each target cell the first source cell, how many, and their weights (sum 256). */
typedef struct taps {
    int *first;
    int reach;
    uint16_t *weight; /* [target][reach] */
} taps;

static bool make_taps(int source, int target, taps *made)
{
    double step = (double)source / target, radius = step > 1 ? step / 2 : 0.5;
    made->reach = (int)ceil(2 * radius) + 2;
    made->first = malloc((size_t)target * sizeof *made->first);
    made->weight = calloc((size_t)target * (size_t)made->reach, sizeof *made->weight);
    if (!made->first || !made->weight)
        return false;
    for (int i = 0; i < target; i++) {
        double centre = (i + 0.5) * step, from = centre - radius, sum = 0, w[64];
        int first = (int)floor(step > 1 ? from : centre - 0.5), most = made->reach < 64 ? made->reach : 64;
        for (int k = 0; k < most; k++) {
            double left = first + k, covered;
            if (step > 1)
                covered = fmin(left + 1, centre + radius) - fmax(left, from);
            else
                covered = 1 - fabs(left + 0.5 - centre);
            w[k] = covered > 0 ? covered : 0;
            sum += w[k];
        }
        uint16_t *weight = made->weight + (size_t)i * (size_t)made->reach;
        int given = 0, largest = 0;
        for (int k = 0; k < most; k++) {
            weight[k] = (uint16_t)lround(w[k] / sum * 256);
            given += weight[k];
            if (weight[k] > weight[largest])
                largest = k;
        }
        weight[largest] = (uint16_t)(weight[largest] + 256 - given);
        made->first[i] = first;
    }
    return true;
}

static void resample(sl_gray picture, int width, int height, const taps *across, const taps *down, uint16_t *row,
                     unsigned char *out, int stride)
{
    for (int y = 0; y < height; y++) {
        /* rows first (whole source rows, vectorised), then columns */
        memset(row, 0, (size_t)picture.width * sizeof *row);
        const uint16_t *weight = down->weight + (size_t)y * (size_t)down->reach;
        for (int k = 0; k < down->reach; k++) {
            if (!weight[k])
                continue;
            int from = down->first[y] + k;
            from = from < 0 ? 0 : from >= picture.height ? picture.height - 1 : from;
            const uint8_t *restrict source = picture.pixel + (size_t)from * (size_t)picture.stride;
            uint16_t *restrict sums = row;
            uint16_t w = weight[k];
            for (int x = 0; x < picture.width; x++)
                sums[x] = (uint16_t)(sums[x] + source[x] * w);
        }
        uint32_t *line = (uint32_t *)(void *)(out + (size_t)y * (size_t)stride);
        for (int x = 0; x < width; x++) {
            const uint16_t *w = across->weight + (size_t)x * (size_t)across->reach;
            uint32_t sum = 0;
            for (int k = 0; k < across->reach; k++) {
                int from = across->first[x] + k;
                from = from < 0 ? 0 : from >= picture.width ? picture.width - 1 : from;
                sum += (uint32_t)row[from] * w[k];
            }
            uint32_t grey = (sum + 32768) >> 16;
            line[x] = 0xff000000u | grey * 0x010101u;
        }
    }
}

cairo_surface_t *sl_surface_of_gray(sl_gray picture, int width, int height)
{
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS)
        return surface;
    cairo_surface_flush(surface);
    unsigned char *out = cairo_image_surface_get_data(surface);
    int stride = cairo_image_surface_get_stride(surface);
    if (picture.width == width && picture.height == height) {
        for (int y = 0; y < height; y++) {
            const uint8_t *source = picture.pixel + (size_t)y * (size_t)picture.stride;
            uint32_t *line = (uint32_t *)(void *)(out + (size_t)y * (size_t)stride);
            for (int x = 0; x < width; x++)
                line[x] = 0xff000000u | source[x] * 0x010101u;
        }
    } else {
        taps across = {0}, down = {0};
        uint16_t *row = malloc((size_t)picture.width * sizeof *row);
        if (row && make_taps(picture.width, width, &across) && make_taps(picture.height, height, &down))
            resample(picture, width, height, &across, &down, row, out, stride);
        free(row);
        free(across.first);
        free(across.weight);
        free(down.first);
        free(down.weight);
    }
    cairo_surface_mark_dirty(surface);
    return surface;
}

bool sl_jpeg_of_gray(sl_gray picture, unsigned char **jpeg, unsigned long *length)
{
    enum { QUALITY = 88 };
    tjhandle tj = tjInitCompress();
    bool made = tj && tjCompress2(tj, picture.pixel, picture.width, picture.stride, picture.height, TJPF_GRAY, jpeg, length, TJSAMP_GRAY,
                                  QUALITY, TJFLAG_FASTDCT) == 0;
    if (tj)
        tjDestroy(tj);
    return made;
}

cairo_surface_t *sl_surface_of_jpeg(const uint8_t *jpeg, size_t length, int width, int height)
{
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
    unsigned char *copy = malloc(length);
    if (copy) {
        memcpy(copy, jpeg, length);
        if (cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG, copy, length, free, copy) != CAIRO_STATUS_SUCCESS)
            free(copy);
    }
    return surface;
}

/* A surface of a JPEG has no pixels until it is drawn on pixels itself; a PDF takes the JPEG as it is. */
static void unpack_jpeg(cairo_surface_t *surface)
{
    const unsigned char *jpeg;
    unsigned long length;
    cairo_surface_get_mime_data(surface, CAIRO_MIME_TYPE_JPEG, &jpeg, &length);
    tjhandle tj = jpeg ? tjInitDecompress() : NULL;
    unsigned char *copy = tj ? malloc(length) : NULL; /* to touch the pixels is to lose the JPEG */
    if (copy) {
        memcpy(copy, jpeg, length);
        cairo_surface_flush(surface);
        tjDecompress2(tj, copy, length, cairo_image_surface_get_data(surface), cairo_image_surface_get_width(surface),
                      cairo_image_surface_get_stride(surface), cairo_image_surface_get_height(surface), TJPF_BGRX, 0);
        cairo_surface_mark_dirty(surface);
        free(copy);
    }
    if (tj)
        tjDestroy(tj);
}

void sl_draw_surface(cairo_t *cr, cairo_surface_t *surface, double x, double y, double width, double height)
{
    int wide = cairo_image_surface_get_width(surface), high = cairo_image_surface_get_height(surface);
    if (wide < 1 || high < 1)
        return;
    if (cairo_surface_get_type(cairo_get_target(cr)) == CAIRO_SURFACE_TYPE_IMAGE)
        unpack_jpeg(surface);
    cairo_save(cr);
    cairo_translate(cr, x, y);
    cairo_rectangle(cr, 0, 0, width, height);
    cairo_clip(cr);
    cairo_scale(cr, width / wide, height / high);
    cairo_set_source_surface(cr, surface, 0, 0);
    cairo_pattern_set_filter(cairo_get_source(cr), CAIRO_FILTER_BILINEAR);
    if (cairo_surface_get_type(cairo_get_target(cr)) == CAIRO_SURFACE_TYPE_IMAGE) /* no soft rim; PDF embeds as it is */
        cairo_pattern_set_extend(cairo_get_source(cr), CAIRO_EXTEND_PAD);
    cairo_paint(cr);
    cairo_restore(cr);
}
