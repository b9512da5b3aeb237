#include "report/strip.h"

#include "report/overlay.h"
#include "report/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double tile_gap = 8, sternum_width = 26, frame = 4.5, label_room = 14;
static const double wide_tile = 104; /* from here on the name and the score stand on one line */

static double head_of(double tile_width)
{
    return tile_width >= wide_tile ? 16 : 25;
}

static bool same(double a, double b)
{
    return fabs(a - b) < 1e-9;
}

/* Distinct values of one edge among the zones of a side (and column), ascending. */
static int distinct(const sl_exam *exam, sl_side side, double column, double *values)
{
    int count = 0;
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone *zone = exam->zone[i].zone;
        if (zone->side != side || (column >= 0 && !same(zone->from, column)))
            continue;
        double value = column >= 0 ? zone->top + zone->bottom / 16 : zone->from; /* whole columns sort apart */
        int at = 0;
        while (at < count && values[at] < value - 1e-9)
            at++;
        if (at < count && same(values[at], value))
            continue;
        memmove(values + at + 1, values + at, (size_t)(count - at) * sizeof *values);
        values[at] = value;
        count++;
    }
    return count;
}

static int index_of(const double *values, int count, double value)
{
    for (int i = 0; i < count; i++)
        if (same(values[i], value))
            return i;
    return 0;
}

void sl_strip_lay_out(const sl_exam *exam, double x, double y, double width, double height, sl_tile *tiles)
{
    double middle = x + width / 2, half = (width - sternum_width) / 2 - tile_gap;
    y += label_room;
    height -= label_room;
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone *zone = exam->zone[i].zone;
        double columns[SL_ZONES_MOST], rows[SL_ZONES_MOST];
        int across = distinct(exam, zone->side, -1, columns), down = distinct(exam, zone->side, zone->from, rows);
        int column = index_of(columns, across, zone->from);
        int row = index_of(rows, down, zone->top + zone->bottom / 16);
        double w = (half - tile_gap * (across - 1)) / across, h = (height - tile_gap * (down - 1)) / down;
        double near = sternum_width / 2 + tile_gap + column * (w + tile_gap); /* distance of the near edge from the middle */
        sl_tile *tile = &tiles[i];
        tile->x = zone->side == SL_SIDE_RIGHT ? middle - near - w : middle + near;
        tile->y = y + row * (h + tile_gap);
        tile->width = w;
        tile->height = h;
        tile->px = tile->x + frame;
        double head = head_of(w);
        tile->py = tile->y + head;
        tile->pwidth = w - 2 * frame;
        tile->pheight = h - head - frame;
    }
}

static void round_box(cairo_t *cr, double x, double y, double w, double h, double r)
{
    const double quarter = 3.14159265358979323846 / 2;
    cairo_new_sub_path(cr);
    cairo_arc(cr, x + w - r, y + r, r, -quarter, 0);
    cairo_arc(cr, x + w - r, y + h - r, r, 0, quarter);
    cairo_arc(cr, x + r, y + h - r, r, quarter, 2 * quarter);
    cairo_arc(cr, x + r, y + r, r, 2 * quarter, 3 * quarter);
    cairo_close_path(cr);
}

static void draw_tile_head(sl_pen *pen, const sl_zone_score *zone, const sl_tile *tile, uint32_t ink)
{
    bool wide = tile->width >= wide_tile;
    char text[32], place[48];
    double left = tile->x + 5, right = tile->x + tile->width - 5, first = tile->y + (wide ? 11.5 : 9.5),
           base = wide ? first : first + 10;
    snprintf(place, sizeof place, "%s", sl_words_place(pen->say, zone->zone));
    char *second = wide ? NULL : strchr(place, ' '); /* "upper" above "anterior" */
    if (second)
        *second++ = 0;
    if (zone->score >= 0) {
        snprintf(text, sizeof text, "%d", zone->score);
        right -= sl_pen_text(pen, right, base, SL_TYPE_HEADING | SL_BOLD, ink, SL_ALIGN_RIGHT, 0, text) + 3;
        if (zone->low < zone->high && (wide || !second)) {
            snprintf(text, sizeof text, "%.0f\u2013%.0f", zone->low, zone->high);
            right -= sl_pen_text(pen, right, base, SL_TYPE_SMALL, ink, SL_ALIGN_RIGHT, 0, text) + 3;
        }
    }
    sl_pen_text(pen, left, first, SL_TYPE_SMALL | SL_BOLD, ink, SL_ALIGN_LEFT,
                wide ? right - left : tile->width - 8, place);
    if (second)
        sl_pen_text(pen, left, base, SL_TYPE_SMALL | SL_BOLD, ink, SL_ALIGN_LEFT, right - left, second);
}

static void draw_tile(sl_pen *pen, const sl_zone_score *zone, const sl_tile *tile, const sl_shown *shown,
                      const sl_reading *reading)
{
    cairo_t *cr = pen->cr;
    const double head = head_of(tile->width);
    uint32_t ink = zone->score < 0 ? LOOK_COLOUR_INK : sl_ramp_ink(zone->score);
    round_box(cr, tile->x, tile->y, tile->width, tile->height, 2.5);
    sl_set_colour(cr, sl_ramp_colour(zone->score), 1);
    cairo_fill(cr);
    if (zone->score < 0)
        sl_draw_hatch(cr, tile->x, tile->y + head, tile->width, tile->height - head, 5);
    round_box(cr, tile->x, tile->y, tile->width, tile->height, 2.5);
    sl_set_colour(cr, LOOK_COLOUR_INK, 0.55);
    cairo_set_line_width(cr, LOOK_STROKE_HAIR);
    cairo_stroke(cr);

    draw_tile_head(pen, zone, tile, ink);
    if (shown->cell) {
        sl_draw_surface(cr, shown->cell, tile->px, tile->py, tile->pwidth, tile->pheight);
        cairo_save(cr);
        cairo_rectangle(cr, tile->px, tile->py, tile->pwidth, tile->pheight);
        cairo_clip(cr);
        const sl_place place = {.view = NULL, .x = tile->px, .y = tile->py, .sx = tile->pwidth, .sy = tile->pheight};
        sl_draw_evidence(pen, &place, reading, shown->frame, 0.6, false);
        cairo_restore(cr);
    }
    const char *word = zone->clips == 0                  ? sl_say(pen->say, SL_P_STRIP_NO_CLIP)
                       : !shown->cell && zone->score < 0 ? sl_say(pen->say, SL_P_STRIP_UNREADABLE)
                       : zone->score < 0                 ? sl_say(pen->say, SL_P_STRIP_OPEN)
                                                         : NULL;
    if (word) {
        double x = tile->x + tile->width / 2, y = shown->cell ? tile->y + tile->height - 10 : tile->y + head + (tile->height - head) / 2;
        double room = tile->width < 72 ? tile->width - 4 : 68;
        sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
        cairo_rectangle(cr, x - room / 2, y - 8.5, room, 12);
        cairo_fill(cr);
        sl_pen_text(pen, x, y, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, tile->width, word);
    }
}

void sl_draw_strip(sl_pen *pen, const sl_exam *exam, const sl_tile *tiles, const sl_shown *shown,
                   const sl_reading *const *reading)
{
    if (exam->zones < 1)
        return;
    double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9, inner_left = -1e9, inner_right = 1e9;
    for (int i = 0; i < exam->zones; i++) {
        const sl_tile *t = &tiles[i];
        left = fmin(left, t->x);
        right = fmax(right, t->x + t->width);
        top = fmin(top, t->y);
        bottom = fmax(bottom, t->y + t->height);
        if (exam->zone[i].zone->side == SL_SIDE_RIGHT)
            inner_left = fmax(inner_left, t->x + t->width);
        else
            inner_right = fmin(inner_right, t->x);
    }
    double middle = (inner_left + inner_right) / 2, base = top - 5;
    sl_pen_text(pen, left, base, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_STRIP_SPINE));
    sl_pen_text(pen, (left + inner_left) / 2, base, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_CENTRE, 0,
                sl_say(pen->say, SL_P_STRIP_RIGHT));
    sl_pen_text(pen, middle, base, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, 0, sl_say(pen->say, SL_P_STRIP_STERNUM));
    sl_pen_text(pen, (inner_right + right) / 2, base, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_CENTRE, 0,
                sl_say(pen->say, SL_P_STRIP_LEFT));
    sl_pen_text(pen, right, base, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, sl_say(pen->say, SL_P_STRIP_SPINE));
    round_box(pen->cr, middle - sternum_width / 2, top, sternum_width, bottom - top, 4);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    for (int i = 0; i < exam->zones; i++)
        draw_tile(pen, &exam->zone[i], &tiles[i], &shown[i], reading[i]);
}
