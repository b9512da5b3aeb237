#include "chest/private.h"
#include "core/pool.h"
#include "core/units.h"

#include <string.h>

/* Scan conversion by one table: for each pixel inside the view the four detected samples around it and their weights
 * (sheet C1). Whole-number arithmetic, so the same bytes everywhere. */

typedef struct sl_scan_row {
    int first, count; /* pixels */
    uint32_t *source; /* index of the sample at the upper left beam and depth */
    uint8_t *across, *along; /* weights of the next beam and the next depth, of 256 */
} sl_scan_row;

typedef struct sl_scan {
    sl_scan_row *row;
} sl_scan;

static void lay_out(sl_chest *chest)
{
    const sl_scenario *sc = chest->scenario;
    const sl_controls *c = &sc->controls;
    sl_view *v = &chest->view;
    memset(v, 0, sizeof *v);
    v->shape = sc->probe.kind == SL_PROBE_LINEAR ? SL_SHAPE_LINEAR : sc->probe.kind == SL_PROBE_PHASED ? SL_SHAPE_SECTOR : SL_SHAPE_CONVEX;
    v->height = c->picture_height;
    double margin = 10, side = c->ruler ? 26 : 10;
    double near = chest->face_mm + c->crop_top_mm, far = chest->face_mm + c->depth_mm;
    double half = 0.5 * sl_rad(sc->probe.field_deg);
    double tall = chest->polar ? far - near * cos(half) : c->depth_mm - c->crop_top_mm;
    double mm = tall / (v->height - 2 * margin);
    double wide = chest->polar ? 2 * far * sin(half) : sc->probe.width_mm;
    v->width = (int)(wide / mm + 2 * side) / 2 * 2 + 2;
    v->aspect = 1;
    v->face_visible = c->crop_top_mm <= 0;
    v->mirrored = c->mirrored;
    v->agreement = 1;
    v->edge_rms_px = 0;
    v->mm_per_px = mm;
    v->mm_per_px_sd = 0;
    v->scale_source = SL_SCALE_STATED;
    double middle = 0.5 * (v->width - 1);
    if (chest->polar) {
        v->apex_x = middle;
        v->apex_y = margin - near * cos(half) / mm;
        v->near_r = near / mm;
        v->far_r = far / mm;
        v->first_angle = -half;
        v->last_angle = half;
    } else {
        v->first_x = middle - 0.5 * wide / mm;
        v->last_x = middle + 0.5 * wide / mm;
        v->near_y = margin;
        v->far_y = margin + tall / mm;
    }
}

sl_status sl_scan_new(sl_chest *chest, struct sl_scan **scan, sl_error *error)
{
    lay_out(chest);
    const sl_view *v = &chest->view;
    sl_scan *s = SL_NEW(&chest->arena, 1, sl_scan);
    if (s)
        s->row = SL_NEW(&chest->arena, v->height, sl_scan_row);
    if (!s || !s->row)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the picture was laid out.");
    double crop = chest->scenario->controls.crop_top_mm, depth_mm = chest->scenario->controls.depth_mm;
    for (int y = 0; y < v->height; y++) {
        sl_scan_row *row = &s->row[y];
        row->source = SL_NEW(&chest->arena, v->width, uint32_t);
        row->across = SL_NEW(&chest->arena, v->width, uint8_t);
        row->along = SL_NEW(&chest->arena, v->width, uint8_t);
        if (!row->source || !row->across || !row->along)
            return sl_fail(error, SL_MEMORY, "Memory ran out while the picture was laid out.");
        row->first = -1;
        for (int x = 0; x < v->width; x++) {
            double beam, depth;
            if (chest->polar) {
                double dx = x - v->apex_x, dy = y - v->apex_y;
                beam = (atan2(dx, dy) - v->first_angle) / (v->last_angle - v->first_angle);
                depth = (hypot(dx, dy) - v->near_r) / (v->far_r - v->near_r);
            } else {
                beam = (x - v->first_x) / (v->last_x - v->first_x);
                depth = (y - v->near_y) / (v->far_y - v->near_y);
            }
            if (beam < 0 || beam > 1 || depth < 0 || depth > 1)
                continue;
            if (row->first < 0)
                row->first = x;
            if (v->mirrored)
                beam = 1 - beam;
            double b = fmin(beam * (chest->beams - 1), chest->beams - 1.0001);
            double d = fmin((crop + depth * (depth_mm - crop)) / chest->sample_mm, chest->samples - 1.0001);
            /* A convex row can have a gap in the middle (above the face): pixels between are marked by weight 0 of a
             * black sample, see below. */
            int i = x - row->first;
            row->source[i] = (uint32_t)((size_t)b * (size_t)chest->samples + (size_t)d) + 1;
            row->across[i] = (uint8_t)fmin((b - floor(b)) * 256, 255);
            row->along[i] = (uint8_t)fmin((d - floor(d)) * 256, 255);
            row->count = i + 1;
        }
    }
    *scan = s;
    return SL_OK;
}

typedef struct job {
    const sl_chest *chest;
    const sl_scan *scan;
    const uint8_t *detected;
    uint8_t *picture;
} job;

enum { ROWS = 32 };

static void convert_rows(void *context, int item, int worker)
{
    (void)worker;
    const job *j = context;
    const sl_view *v = &j->chest->view;
    uint32_t n = (uint32_t)j->chest->samples;
    for (int y = item * ROWS; y < (item + 1) * ROWS && y < v->height; y++) {
        const sl_scan_row *row = &j->scan->row[y];
        uint8_t *out = j->picture + (size_t)y * (size_t)v->width;
        memset(out, 0, (size_t)v->width);
        for (int i = 0; i < row->count; i++) {
            uint32_t at = row->source[i];
            if (!at)
                continue;
            const uint8_t *d = j->detected + (at - 1);
            uint32_t a = row->across[i], b = row->along[i];
            uint32_t upper = d[0] * (256 - a) + d[n] * a, lower = d[1] * (256 - a) + d[n + 1] * a;
            out[row->first + i] = (uint8_t)((upper * (256 - b) + lower * b + 32768) >> 16);
        }
    }
}

static void draw_ruler(const sl_chest *chest, uint8_t *picture)
{
    const sl_view *v = &chest->view;
    double zero = chest->polar ? v->apex_y + v->near_r : v->near_y;
    double crop = chest->scenario->controls.crop_top_mm, depth = chest->scenario->controls.depth_mm;
    for (int cm = (int)ceil(crop / 10); cm * 10 <= depth; cm++) {
        int y = (int)floor(zero + (cm * 10 - crop) / v->mm_per_px + 0.5), length = cm % 5 ? 5 : 10;
        for (int x = v->width - 4 - length; x < v->width - 4; x++)
            if (y >= 0 && y < v->height)
                picture[(size_t)y * (size_t)v->width + (size_t)x] = 190;
    }
}

void sl_scan_convert(const sl_chest *chest, const struct sl_scan *scan, const uint8_t *detected, uint8_t *picture)
{
    job j = {chest, scan, detected, picture};
    sl_pool_run(chest->workers, (chest->view.height + ROWS - 1) / ROWS, convert_rows, &j);
    if (chest->scenario->controls.ruler)
        draw_ruler(chest, picture);
}
