/* The change since an earlier examination: the chest unrolled, each zone before and now side by side, then the numbers. */
#include "report/pages.h"

#include "core/units.h"
#include "exam/change.h"
#include "report/strip.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

static const double table_line = 11.2, top = 84;

static const char *level(const sl_language *say, int value, char text[32])
{
    if (value < 0)
        snprintf(text, 32, "%.30s", sl_say(say, SL_P_SHORT_OPEN));
    else
        snprintf(text, 32, "%d", value);
    return text;
}

static void draw_half(sl_pen *pen, double x, double y, double width, double height, int value)
{
    cairo_rectangle(pen->cr, x, y, width, height);
    sl_set_colour(pen->cr, sl_ramp_colour(value), 1);
    cairo_fill(pen->cr);
    if (value < 0)
        sl_draw_hatch(pen->cr, x, y, width, height, 5);
    else {
        char digit[32];
        snprintf(digit, sizeof digit, "%d", value);
        sl_pen_text(pen, x + width / 2, y + height / 2 + 5, SL_TYPE_TITLE | SL_BOLD, sl_ramp_ink(value), SL_ALIGN_CENTRE, 0, digit);
    }
}

/* A tile: left half as it was, right half as it is, what that says beneath. */
static void draw_tile(sl_pen *pen, const sl_zone_change *z, const sl_tile *tile)
{
    const double head = 14, foot = 13, half = tile->width / 2;
    sl_pen_text(pen, tile->x + 2, tile->y + 9, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, tile->width - 4,
                sl_words_place(pen->say, z->zone));
    double y = tile->y + head, height = tile->height - head - foot;
    draw_half(pen, tile->x, y, half, height, z->before);
    draw_half(pen, tile->x + half, y, half, height, z->after);
    cairo_rectangle(pen->cr, tile->x, y, tile->width, height);
    cairo_move_to(pen->cr, tile->x + half, y);
    cairo_line_to(pen->cr, tile->x + half, y + height);
    sl_set_colour(pen->cr, LOOK_COLOUR_INK, 0.55);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    bool shown = z->word == SL_CHANGE_MORE_AIR || z->word == SL_CHANGE_LESS_AIR;
    sl_pen_text(pen, tile->x + tile->width / 2, tile->y + tile->height - 3, SL_TYPE_SMALL | (shown ? SL_BOLD : 0),
                shown ? LOOK_COLOUR_INK : LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, tile->width, sl_words_change(pen->say, z->word));
}

static void draw_row(sl_pen *pen, const sl_exam_change *change, const sl_zone_change *z, const double *at, double y)
{
    char text[80], low[32], high[32], zone[64];
    bool both = z->before >= 0 && z->after >= 0;
    sl_words_zone(pen->say, z->zone, zone, sizeof zone);
    sl_pen_text(pen, at[0], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, at[1] - at[0] - 4, zone);
    sl_pen_text(pen, at[1], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, level(pen->say, z->before, text));
    sl_pen_text(pen, at[2], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, level(pen->say, z->after, text));
    if (!both)
        return;
    int step = z->after - z->before;
    if (sl_known(z->low) && sl_known(z->high) && z->low < z->high) {
        char change_text[32];
        snprintf(text, sizeof text, "%s (%s)", sl_words_signed(step, change_text),
                 SL_SAY(pen->say, SL_P_NUMBER_TO, zone, sl_say_number(pen->say, z->low, 0, low), sl_say_number(pen->say, z->high, 0, high)));
    } else
        sl_words_signed(step, text);
    sl_pen_text(pen, at[3], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, text);
    if (change->scheme == SL_SCHEME_REGIONAL)
        sl_pen_text(pen, at[4], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_words_signed(z->points, low));
}

static void draw_table(sl_pen *pen, const sl_exam_change *change, double x, double y, double width)
{
    static const sl_phrase names[] = {SL_P_CHANGE_ZONE, SL_P_CHANGE_BEFORE, SL_P_CHANGE_NOW, SL_P_CHANGE_STEP, SL_P_CHANGE_POINTS};
    static const double shares[] = {0, 0.34, 0.5, 0.64, 0.86};
    double at[5];
    for (int c = 0; c < 5; c++) {
        at[c] = x + shares[c] * width;
        if (c < 4 || change->scheme == SL_SCHEME_REGIONAL)
            sl_pen_text(pen, at[c], y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, names[c]));
    }
    cairo_move_to(pen->cr, x, y + 3);
    cairo_line_to(pen->cr, x + width, y + 3);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    for (int i = 0; i < change->zones; i++)
        draw_row(pen, change, &change->zone[i], at, y + (i + 1) * table_line + 1.5);
}

/* What the sums say, and by what measure. Returns where it ends. */
static double draw_sums(sl_pen *pen, const sl_exam_change *change, double x, double y, double width)
{
    char line[600], a[32], b[32], c[32], d[32];
    const sl_scheme_info *scheme = sl_scheme_info_of(change->scheme);
    sl_pen_text(pen, x, y + 12, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, width, sl_words_change(pen->say, change->word));
    y += 20;
    if (change->compared) {
        SL_SAY(pen->say, SL_P_CHANGE_TOTAL, line, sl_words_signed(change->total, a), sl_say_whole(change->compared, b),
               sl_say_whole(change->zones, c), sl_say_number(pen->say, change->least_total, 1, d));
        y += sl_pen_paragraph(pen, x, y, width, 4, SL_TYPE_BODY, LOOK_COLOUR_INK, line) + 5;
        if (change->scheme == SL_SCHEME_REGIONAL) {
            SL_SAY(pen->say, SL_P_CHANGE_REAERATION, line, sl_words_signed(change->points, a));
            y += sl_pen_paragraph(pen, x, y, width, 4, SL_TYPE_BODY, LOOK_COLOUR_INK, line) + 5;
        }
    }
    char key[64];
    snprintf(key, sizeof key, "scheme.%s.name", scheme->key);
    SL_SAY(pen->say, SL_P_CHANGE_SCHEME, line, sl_say_key(pen->say, key, scheme->name), scheme->source,
           sl_say_number(pen->say, change->least_zone, 1, a));
    return y + sl_pen_paragraph(pen, x, y, width, 0, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, line) + 8;
}

int sl_draw_change_page(sl_pen *pen, const sl_exam *exam, int first)
{
    const sl_paper *paper = sl_paper_for(exam);
    const sl_exam_change *change = exam->change;
    const double side = 230, width = paper->width - 2 * sl_page_margin - side - 26, x = sl_page_margin + width + 26;
    char line[300];
    sl_tile tiles[SL_ZONES_MOST];
    SL_SAY(pen->say, SL_P_CHANGE_PAGE, line, *change->old->date ? change->old->date : sl_say(pen->say, SL_P_CHANGE_UNDATED));
    sl_pen_text(pen, sl_page_margin, 54, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, width + side, line);
    sl_pen_text(pen, sl_page_margin, 68, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, width + side, sl_say(pen->say, SL_P_CHANGE_HOW));
    double table_y = top + 130;
    sl_strip_lay_out(exam, sl_page_margin, top, width, paper->height - top - 64, tiles);
    for (int i = 0; i < exam->zones && i < change->zones; i++)
        draw_tile(pen, &change->zone[i], &tiles[i]);
    const double middle = sl_page_margin + width / 2;
    sl_pen_text(pen, sl_page_margin + width / 4, top + 9, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_CENTRE, 0,
                sl_say(pen->say, SL_P_STRIP_RIGHT));
    sl_pen_text(pen, middle + width / 4, top + 9, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_CENTRE, 0, sl_say(pen->say, SL_P_STRIP_LEFT));
    double y = draw_sums(pen, change, x, top, side);
    draw_table(pen, change, x, y > table_y ? y : table_y, side);
    y = (y > table_y ? y : table_y) + (change->zones + 2) * table_line;
    for (int i = 0; i < change->remarks && y < paper->height - 70; i++) {
        char stated[700];
        y += sl_pen_paragraph(pen, x, y, side, 4, SL_TYPE_SMALL, LOOK_COLOUR_INK,
                              sl_say_stated(pen->say, change->remark[i], stated, sizeof stated)) + 3;
    }
    return first + 1;
}
