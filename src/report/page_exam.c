/* The first page. */
#include "report/pages.h"

#include "core/text.h"
#include "core/units.h"
#include "report/overlay.h"
#include "report/strip.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

static const double strip_x = 36, strip_y = 74, strip_width = 566, side_x = 628, side_width = 178, table_line = 11.2,
                    signing_y = 512;

static void draw_title(sl_pen *pen, const sl_exam *exam)
{
    char line[600];
    int read = 0;
    size_t used = 0;
    sl_pen_text(pen, strip_x, 46, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 570,
                *exam->title ? exam->title : "Lung ultrasound examination");
    for (int i = 0; i < exam->clips; i++)
        read += exam->clip[i].result.state == SL_CLIP_READ;
    const char *const said[] = {exam->person, exam->date};
    for (int i = 0; i < 2; i++)
        if (*said[i])
            used += (size_t)snprintf(line + used, sizeof line - used, "%.120s \u00b7 ", said[i]);
    used += (size_t)snprintf(line + used, sizeof line - used, "%d of %d clip%s read \u00b7 ", read, exam->clips,
                             exam->clips == 1 ? "" : "s");
    if (exam->zones_scored)
        used += (size_t)snprintf(line + used, sizeof line - used, "total %d of %d from %d of %d zones", exam->total,
                                 exam->total_of, exam->zones_scored, exam->zones);
    else
        used += (size_t)snprintf(line + used, sizeof line - used, "no zone has a score");
    if (exam->total_low < exam->total_high)
        snprintf(line + used, sizeof line - used, " \u00b7 all %d zones: %.0f to %.0f of %d", exam->zones, exam->total_low,
                 exam->total_high, 3 * exam->zones);
    sl_pen_text(pen, strip_x, 62, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 560, line);
}

static void draw_legend(sl_pen *pen)
{
    static const char *const words[] = {"0 aerated", "1", "2", "3 least air", "not seen"};
    double x = side_x, y = 34, w = side_width / 5;
    for (int i = 0; i < 5; i++) {
        cairo_rectangle(pen->cr, x + i * w, y, w - 2.5, 9);
        sl_set_colour(pen->cr, i < 4 ? sl_ramp_colour(i) : LOOK_COLOUR_PAPER, 1);
        cairo_fill(pen->cr);
        if (i == 4) {
            sl_draw_hatch(pen->cr, x + i * w, y, w - 2.5, 9, 3.5);
            cairo_rectangle(pen->cr, x + i * w, y, w - 2.5, 9);
            sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
            cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
            cairo_stroke(pen->cr);
        }
        sl_pen_text(pen, x + i * w + (w - 2.5) / 2, y + 18, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, 0, words[i]);
    }
}

/* The numbers that stand out over the whole examination, each from one zone. */
typedef struct outstanding {
    const char *label;
    sl_code code;
    sl_code where; /* only where this answer is yes; SL_CODES: anywhere */
} outstanding;

static const outstanding wanted[] = {
    {"widest B-line coverage", SL_B_LINE_COVERAGE, SL_B_LINES},
    {"most B-lines", SL_B_LINE_COUNT, SL_B_LINES},
    {"most A-lines", SL_A_LINE_COUNT, SL_A_LINES},
    {"deepest pleura", SL_PLEURA_DEPTH_MM, SL_CODES},
    {"deepest pleura", SL_PLEURA_DEPTH, SL_CODES},
};

static int zone_of_largest(const sl_exam *exam, const sl_zone_picture *zones, const outstanding *what)
{
    int best = -1;
    double most = 0;
    for (int i = 0; i < exam->zones; i++) {
        const sl_reading *reading = zones[i].there ? zones[i].record.result.reading : NULL;
        const sl_finding *finding = reading ? sl_reading_get(reading, what->code) : NULL;
        const sl_finding *answer = reading && what->where < SL_CODES ? sl_reading_get(reading, what->where) : NULL;
        if (what->where < SL_CODES && !(answer && answer->known && answer->answer == SL_PRESENT))
            continue;
        if (finding && finding->known && sl_known(finding->value) && finding->value > most) {
            most = finding->value;
            best = i;
        }
    }
    return best;
}

/* A number to show, with where its thread ends. */
typedef struct told {
    const outstanding *what;
    const sl_finding *finding;
    int zone;
    bool threaded;
    double to_x, to_y;
} told;

/* At most one for each row of the table above, in the order of where their threads end, so that they cross little. */
static int gather_told(const sl_exam *exam, const sl_zone_picture *zones, const sl_tile *tiles, told *list)
{
    int count = 0;
    bool pleura_said = false;
    for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++) {
        int at = zone_of_largest(exam, zones, &wanted[i]);
        if (at < 0 || (wanted[i].code == SL_PLEURA_DEPTH && pleura_said))
            continue;
        pleura_said |= wanted[i].code == SL_PLEURA_DEPTH_MM;
        told one = {&wanted[i], sl_reading_get(zones[at].record.result.reading, wanted[i].code), at, false, 0, 0};
        double beam, depth;
        if (zones[at].shown.cell && sl_thread_end(one.finding, zones[at].shown.frame, SL_UNKNOWN, &beam, &depth)) {
            one.threaded = true;
            one.to_x = tiles[at].px + beam * tiles[at].pwidth;
            one.to_y = tiles[at].py + depth * tiles[at].pheight;
        }
        int place = count++;
        for (; place > 0 && list[place - 1].to_y > one.to_y; place--)
            list[place] = list[place - 1];
        list[place] = one;
    }
    return count;
}

static double draw_numbers(sl_pen *pen, const sl_exam *exam, const sl_zone_picture *zones, const sl_tile *tiles, double y)
{
    told list[sizeof wanted / sizeof *wanted];
    int count = gather_told(exam, zones, tiles, list);
    sl_pen_text(pen, side_x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, "What stands out");
    y += 20;
    for (int i = 0; i < count; i++) {
        sl_words words;
        char zone[48], under[200], label[96];
        sl_words_finding(list[i].finding, &zones[list[i].zone].record.result.view, &words);
        sl_words_zone(exam->zone[list[i].zone].zone, zone, sizeof zone);
        snprintf(label, sizeof label, "%s \u00b7 %s", list[i].what->label, zone);
        words.evidence[strcspn(words.evidence, ",")] = 0; /* the frames will do; the row of the clip has the times */
        snprintf(under, sizeof under, "%s%s%s", words.interval, *words.interval && *words.evidence ? " \u00b7 " : "", words.evidence);
        if (list[i].threaded)
            sl_draw_thread(pen->cr, side_x - 4, y + 12, list[i].to_x, list[i].to_y);
        sl_pen_text(pen, side_x, y + 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, side_width, label);
        sl_pen_text(pen, side_x, y + 15.5, SL_TYPE_VALUE, LOOK_COLOUR_INK, SL_ALIGN_LEFT, side_width, words.value);
        sl_pen_text(pen, side_x, y + 24, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, side_width, under);
        y += 33;
    }
    if (!count)
        y += sl_pen_paragraph(pen, side_x, y, side_width, 3, SL_TYPE_BODY, LOOK_COLOUR_QUIET,
                              "No clip with a zone could be read, so there is no number to show.") + 8;
    return y;
}

static const char *why_open(const sl_exam *exam, const sl_zone_score *zone)
{
    const sl_clip_result *result = &exam->clip[zone->decisive].result;
    const sl_finding *score = result->reading ? sl_reading_get(result->reading, SL_SCORE) : NULL;
    const char *reason = result->state == SL_CLIP_READ && score ? score->reason : result->reason;
    return reason && *reason ? reason : "no score could be told.";
}

/* What to scan again, and why: missing zones first, then those without an answer. */
static void draw_rescan(sl_pen *pen, const sl_exam *exam, double y, double bottom)
{
    sl_pen_text(pen, side_x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_THREAD, SL_ALIGN_LEFT, 0, "Scan again first");
    y += 15;
    double start = y;
    char zone[48], line[400];
    sl_text missing = {0};
    for (int i = 0; i < exam->zones; i++)
        if (!exam->zone[i].clips) {
            sl_words_zone(exam->zone[i].zone, zone, sizeof zone);
            sl_text_printf(&missing, "%s%s", missing.length ? ", " : "", zone);
        }
    if (missing.length) {
        sl_text_add(&missing, ": no clip.");
        y += sl_pen_paragraph(pen, side_x, y, side_width, 6, SL_TYPE_SMALL, LOOK_COLOUR_INK, missing.bytes) + 2.5;
    }
    sl_text_free(&missing);
    for (int i = 0; i < exam->zones && y < bottom - 10; i++) {
        if (exam->zone[i].score >= 0 || exam->zone[i].decisive < 0)
            continue;
        sl_words_zone(exam->zone[i].zone, zone, sizeof zone);
        snprintf(line, sizeof line, "%s: %s", zone, why_open(exam, &exam->zone[i]));
        y += sl_pen_paragraph(pen, side_x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    int loose = 0;
    for (int i = 0; i < exam->clips; i++)
        loose += !exam->clip[i].zone;
    if (loose && y < bottom - 10) {
        snprintf(line, sizeof line, "%d clip%s no zone: name the zone in exam.csv or in the file name.", loose,
                 loose == 1 ? " has" : "s have");
        y += sl_pen_paragraph(pen, side_x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    if (y == start)
        sl_pen_paragraph(pen, side_x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK,
                         "Every zone of the scheme has a clip with a score.");
}

static void draw_table_half(sl_pen *pen, const sl_exam *exam, sl_side side, double x, double y)
{
    static const struct {
        const char *name;
        double at;
        sl_code code;
    } columns[] = {{"zone", 0, 0},          {"score", 82, 0},          {"B-lines", 116, SL_B_LINES},
                   {"most", 164, SL_B_LINE_COUNT}, {"coverage", 192, SL_B_LINE_COVERAGE},
                   {"A-lines", 236, SL_A_LINES},   {"repeats", 284, SL_A_LINE_COUNT}, {"pleura", 322, 0}};
    const double width = 370, line = table_line;
    for (size_t c = 0; c < sizeof columns / sizeof *columns; c++)
        sl_pen_text(pen, x + columns[c].at, y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0,
                    c ? columns[c].name : side == SL_SIDE_RIGHT ? "right side" : "left side");
    cairo_move_to(pen->cr, x, y + 3);
    cairo_line_to(pen->cr, x + width, y + 3);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    y += line + 1.5;
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone_score *zone = &exam->zone[i];
        if (zone->zone->side != side)
            continue;
        const sl_reading *reading = zone->decisive >= 0 ? exam->clip[zone->decisive].result.reading : NULL;
        char text[64];
        sl_pen_text(pen, x, y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 80, zone->zone->place);
        if (zone->score >= 0)
            snprintf(text, sizeof text, zone->low < zone->high ? "%d (%.0f\u2013%.0f)" : "%d", zone->score, zone->low, zone->high);
        else
            snprintf(text, sizeof text, "%s", zone->clips ? "not told" : "no clip");
        sl_pen_text(pen, x + columns[1].at, y, SL_TYPE_SMALL | (zone->score >= 0 ? SL_BOLD : 0),
                    zone->score >= 0 ? LOOK_COLOUR_INK : LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, text);
        if (zone->clips && !reading)
            sl_pen_text(pen, x + columns[2].at, y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, "clip not readable");
        for (size_t c = 2; c < 7; c++) {
            sl_words_short(reading, columns[c].code, text, sizeof text);
            sl_pen_text(pen, x + columns[c].at, y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, text);
        }
        const sl_finding *mm = reading ? sl_reading_get(reading, SL_PLEURA_DEPTH_MM) : NULL;
        sl_words_short(reading, mm && mm->known ? SL_PLEURA_DEPTH_MM : SL_PLEURA_DEPTH, text, sizeof text);
        sl_pen_text(pen, x + columns[7].at, y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 50, text);
        y += line;
    }
}

static void draw_signing(sl_pen *pen, const sl_exam *exam, double y)
{
    char text[500];
    snprintf(text, sizeof text, "Question: %s", *exam->question ? exam->question : "not stated");
    sl_pen_text(pen, strip_x, y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 770, text);
    static const char *const labels[] = {"conclusion of the clinician", "name, date, signature"};
    const double from[] = {strip_x, 560}, to[] = {540, 806};
    for (int i = 0; i < 2; i++) {
        cairo_move_to(pen->cr, from[i], y + 26);
        cairo_line_to(pen->cr, to[i], y + 26);
        sl_set_colour(pen->cr, LOOK_COLOUR_QUIET, 1);
        cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
        cairo_stroke(pen->cr);
        sl_pen_text(pen, from[i], y + 34.5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, labels[i]);
    }
}

void sl_draw_exam_page(sl_pen *pen, const sl_exam *exam, const sl_zone_picture *zones)
{
    sl_tile tiles[SL_ZONES_MOST];
    sl_shown shown[SL_ZONES_MOST];
    const sl_reading *reading[SL_ZONES_MOST];
    for (int i = 0; i < exam->zones; i++) {
        shown[i] = zones[i].shown;
        reading[i] = zones[i].there ? zones[i].record.result.reading : NULL;
    }
    int rows[3] = {0};
    for (int i = 0; i < exam->zones; i++)
        rows[exam->zone[i].zone->side]++;
    int most = rows[SL_SIDE_RIGHT] > rows[SL_SIDE_LEFT] ? rows[SL_SIDE_RIGHT] : rows[SL_SIDE_LEFT];
    double table_y = signing_y - 22 - table_line * (most + 0.5);
    draw_title(pen, exam);
    draw_legend(pen);
    sl_strip_lay_out(exam, strip_x, strip_y, strip_width, table_y - 20 - strip_y, tiles);
    sl_draw_strip(pen, exam, tiles, shown, reading);
    double y = draw_numbers(pen, exam, zones, tiles, 78);
    draw_rescan(pen, exam, y + 6, table_y - 18);
    draw_table_half(pen, exam, SL_SIDE_RIGHT, strip_x, table_y);
    draw_table_half(pen, exam, SL_SIDE_LEFT, strip_x + 400, table_y);
    draw_signing(pen, exam, signing_y);
}
