#include "pattern.h"

#include "core/units.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FIELD_DEPTHS = 320, FIELD_BEAMS = 72 };

static uint32_t mix(uint32_t x)
{
    x ^= x >> 16;
    x *= 0x7feb352dU;
    x ^= x >> 15;
    x *= 0x846ca68bU;
    return x ^ x >> 16;
}

static double chance(uint32_t a, uint32_t b, uint32_t c)
{
    return mix(a * 0x9e3779b1U ^ mix(b * 0x85ebca77U ^ mix(c))) / 4294967296.0;
}

pattern pattern_convex(void)
{
    pattern p = {.dark_from = 2, .dark_to = 2, .shadow_at = -1, .floor = 14};
    p.view = (sl_view){.shape = SL_SHAPE_CONVEX,
                       .width = 400,
                       .height = 400,
                       .apex_x = 200,
                       .apex_y = -75,
                       .first_angle = -0.52,
                       .last_angle = 0.52,
                       .near_r = 100,
                       .far_r = 450,
                       .aspect = 1,
                       .face_visible = true,
                       .mm_per_px = NAN};
    return p;
}

pattern pattern_linear(void)
{
    pattern p = pattern_convex();
    p.view = (sl_view){.shape = SL_SHAPE_LINEAR,
                       .width = 400,
                       .height = 400,
                       .first_x = 79.5,
                       .last_x = 320.5,
                       .near_y = 19.5,
                       .far_y = 380.5,
                       .aspect = 1,
                       .face_visible = true,
                       .mm_per_px = NAN};
    return p;
}

pattern pattern_sector(void)
{
    pattern p = pattern_convex();
    p.view = (sl_view){.shape = SL_SHAPE_SECTOR,
                       .width = 480,
                       .height = 400,
                       .apex_x = 240,
                       .apex_y = 15,
                       .first_angle = -0.7,
                       .last_angle = 0.7,
                       .near_r = 4,
                       .far_r = 350,
                       .aspect = 1,
                       .face_visible = true,
                       .mm_per_px = NAN};
    return p;
}

/* Speckle of a frame: grains a beam or two wide and two depths long, half of it new in every frame. */
static void make_field(const pattern *p, int frame, float *field)
{
    for (int i = 0; i < FIELD_DEPTHS; i++) {
        double d = (i + 0.5) / FIELD_DEPTHS, level = 150 * exp(-1.6 * d);
        for (int j = 0; j < FIELD_BEAMS; j++) {
            double b = (j + 0.5) / FIELD_BEAMS;
            double still = chance((uint32_t)i, (uint32_t)j, 1),
                   fresh = chance((uint32_t)i, (uint32_t)j, 77U + (uint32_t)frame);
            double grain = 0.35 + 0.65 * (still + fresh);
            double line = 0.25 + 0.01 * sin(0.6 * frame + 2 * b); /* a breathing layer and its repeat */
            double layer = 90 * exp(-pow((d - line) / 0.008, 2)) + 45 * exp(-pow((d - 2 * line) / 0.008, 2));
            double value = level * grain + layer + p->floor * (0.6 + 0.8 * fresh);
            if (p->shadow_at >= 0 && fabs(b - p->shadow_at) < 0.07 && d > line)
                value = p->floor * (0.6 + 0.8 * fresh);
            double last = 0.78 - 0.1 * (b - 0.5) * (b - 0.5);
            if (p->ribs > 0 && ((d > 0.18 && fabs(b - 0.5) > 0.5 - p->ribs) || d > last))
                value = p->surround;
            if (b > p->dark_from && b < p->dark_to)
                value = p->surround;
            field[i * FIELD_BEAMS + j] = (float)(value > 250 ? 250 : value);
        }
    }
}

static double sample(const float *field, double beam, double depth)
{
    double x = beam * FIELD_BEAMS - 0.5, y = depth * FIELD_DEPTHS - 0.5;
    int i = (int)floor(y), j = (int)floor(x);
    double fy = y - i, fx = x - j;
    int i0 = i < 0 ? 0 : i, j0 = j < 0 ? 0 : j;
    int i1 = i + 1 > FIELD_DEPTHS - 1 ? FIELD_DEPTHS - 1 : i + 1,
        j1 = j + 1 > FIELD_BEAMS - 1 ? FIELD_BEAMS - 1 : j + 1;
    return (1 - fy) * ((1 - fx) * field[i0 * FIELD_BEAMS + j0] + fx * field[i0 * FIELD_BEAMS + j1]) +
           fy * ((1 - fx) * field[i1 * FIELD_BEAMS + j0] + fx * field[i1 * FIELD_BEAMS + j1]);
}

static void fill(const pattern *p, uint8_t *pixel, int x0, int y0, int x1, int y1, int level)
{
    for (int y = y0 < 0 ? 0 : y0; y <= y1 && y < p->view.height; y++)
        for (int x = x0 < 0 ? 0 : x0; x <= x1 && x < p->view.width; x++)
            pixel[(size_t)y * (size_t)p->view.width + (size_t)x] = (uint8_t)level;
}

/* Something that looks like a line of writing: strokes in a box. */
static void write_line(const pattern *p, uint8_t *pixel, int x0, int y0, int letters)
{
    for (int k = 0; k < letters; k++) {
        int x = x0 + 8 * k;
        uint32_t glyph = mix((uint32_t)k * 31U + (uint32_t)y0);
        fill(p, pixel, x, y0, x + 1, y0 + 8, 220);
        if (glyph & 1)
            fill(p, pixel, x, y0, x + 4, y0 + 1, 220);
        if (glyph & 2)
            fill(p, pixel, x, y0 + 4, x + 4, y0 + 5, 220);
        if (glyph & 4)
            fill(p, pixel, x + 4, y0, x + 5, y0 + 8, 220);
    }
}

static void draw_screen(const pattern *p, int frame, uint8_t *pixel)
{
    int w = p->view.width, h = p->view.height;
    if (p->banner) {
        fill(p, pixel, 0, 0, w - 1, 13, 60);
        write_line(p, pixel, 6, 3, 20);
    }
    if (p->text) {
        write_line(p, pixel, 4, h - 40, 6);
        write_line(p, pixel, 4, h - 26, 8);
        write_line(p, pixel, w - 70, 30, 7);
    }
    if (p->grey_bar)
        for (int y = 60; y < 200; y++)
            fill(p, pixel, w - 14, y, w - 6, y, 255 - (y - 60) * 255 / 140);
    if (p->trace) /* a moving trace with a beat, along the bottom */
        for (int x = 0; x < w; x++) {
            int phase = (x + 400 - 3 * frame % 400) % 90, up = phase < 4   ? 4 * phase
                                                               : phase < 8 ? 32 - 4 * phase
                                                                           : 0;
            fill(p, pixel, x, h - 6 - up, x, h - 5 - up, 200);
        }
    if (p->mark_left || p->mark_right) {
        double x, y;
        sl_view_to_pixel(&p->view, p->mark_left ? 0 : 1, 0, &x, &y);
        int cx = (int)x + (p->mark_left ? -26 : 26), cy = (int)y + 8;
        for (int dy = -5; dy <= 5; dy++)
            for (int dx = -5; dx <= 5; dx++)
                if (dx * dx + dy * dy <= 25)
                    fill(p, pixel, cx + dx, cy + dy, cx + dx, cy + dy, 235);
    }
    if (p->ruler_px > 0)
        for (int k = 0;; k++) {
            int y = (int)lrint(p->ruler_y0 + k * p->ruler_px);
            if (y >= h - 2)
                break;
            int longer = p->ruler_longer && k % p->ruler_longer == 0 ? 9 : 4;
            fill(p, pixel, w - 3 - longer, y, w - 3, y, 210);
        }
}

void pattern_draw(const pattern *p, int frame, uint8_t *pixel)
{
    float *field = malloc(sizeof *field * FIELD_DEPTHS * FIELD_BEAMS);
    if (!field)
        abort();
    make_field(p, frame, field);
    int w = p->view.width, h = p->view.height;
    memset(pixel, p->surround, (size_t)w * (size_t)h);
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            double beam, depth;
            sl_view_from_pixel(&p->view, x, y, &beam, &depth);
            if (beam >= 0 && beam <= 1 && depth >= 0 && depth <= 1)
                pixel[(size_t)y * (size_t)w + (size_t)x] = (uint8_t)lrint(sample(field, beam, depth));
        }
    }
    free(field);
    draw_screen(p, frame, pixel);
    if (p->page > 0) {
        fill(p, pixel, 0, 0, w - 1, p->page_px - 1, p->page);
        fill(p, pixel, 0, h - p->page_px, w - 1, h - 1, p->page);
        fill(p, pixel, 0, 0, p->page_px - 1, h - 1, p->page);
        fill(p, pixel, w - p->page_px, 0, w - 1, h - 1, p->page);
    }
    for (int i = 0; p->noise && i < w * h; i++) {
        int value = pixel[i] + (int)lrint((chance((uint32_t)i, (uint32_t)frame, 5) - 0.5) * 2 * p->noise);
        pixel[i] = (uint8_t)(value < 0 ? 0 : value > 255 ? 255 : value);
    }
}

sl_status pattern_find(const pattern *p, int frames, const sl_clip_info *info, sl_view *found,
                       sl_error *error)
{
    int w = p->view.width, h = p->view.height;
    sl_clip_info plain = {.width = w, .height = h, .pixel_aspect = 1};
    sl_view_finder *finder;
    sl_status status = sl_view_finder_new(w, h, &finder, error);
    if (status != SL_OK)
        return status;
    uint8_t *pixel = malloc((size_t)w * (size_t)h);
    if (!pixel)
        abort();
    for (int k = 0; k < frames; k++) {
        pattern_draw(p, k, pixel);
        sl_view_finder_add(finder, (sl_gray){w, h, w, pixel});
    }
    free(pixel);
    status = sl_view_finder_find(finder, info ? info : &plain, found, error);
    if (status == SL_OK)
        sl_view_set_scale(found, info ? info : &plain, 0, finder);
    sl_view_finder_free(&finder);
    return status;
}
