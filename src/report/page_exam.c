/* The first page. */
#include "report/pages.h"

#include "core/text.h"
#include "core/units.h"
#include "exam/rescan.h"
#include "report/overlay.h"
#include "report/strip.h"
#include "report/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double strip_x = 36, strip_y = 74, side_width = 178, table_line = 11.2;

/* What the paper leaves: the side column stands at the right margin, the room to sign above the footer. */
static double side_x(const sl_paper *paper)
{
    return paper->width - sl_page_margin - side_width;
}

static double signing_y(const sl_paper *paper)
{
    return paper->height - 84;
}

static void draw_title(sl_pen *pen, const sl_paper *paper, const sl_exam *exam)
{
    char line[800], part[120], a[32], b[32], c[32], d[32];
    int read = 0;
    size_t used = 0;
    const double room = side_x(paper) - strip_x - 22;
    sl_pen_text(pen, strip_x, 46, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, room,
                *exam->title ? exam->title : sl_say(pen->say, SL_P_TITLE));
    for (int i = 0; i < exam->clips; i++)
        read += exam->clip[i].result.state == SL_CLIP_READ;
    char who[240];
    sl_exam_order_text(exam->order, sl_say(pen->say, SL_P_HEAD_BORN), sl_say(pen->say, SL_P_HEAD_ORDER), who, sizeof who);
    const char *const said[] = {*who ? who : exam->person, exam->date};
    for (int i = 0; i < 2; i++)
        if (*said[i])
            used += (size_t)snprintf(line + used, sizeof line - used, "%.240s \u00b7 ", said[i]);
    if (sl_exam_posture(exam))
        used += (size_t)snprintf(line + used, sizeof line - used, "%s \u00b7 ", sl_words_posture(pen->say, sl_exam_posture(exam)));
    used += (size_t)snprintf(line + used, sizeof line - used, "%s \u00b7 ",
                             SL_SAY(pen->say, exam->clips == 1 ? SL_P_HEAD_READ_ONE : SL_P_HEAD_READ_MANY, part, sl_say_whole(read, a),
                                    sl_say_whole(exam->clips, b)));
    used += (size_t)snprintf(line + used, sizeof line - used, "%s",
                             !exam->zones_scored ? sl_say(pen->say, SL_P_HEAD_NO_SCORE)
                                                 : SL_SAY(pen->say, SL_P_HEAD_TOTAL, part, sl_say_whole(exam->total, a),
                                                          sl_say_whole(exam->total_of, b), sl_say_whole(exam->zones_scored, c),
                                                          sl_say_whole(exam->zones, d)));
    if (exam->total_low < exam->total_high)
        snprintf(line + used, sizeof line - used, " \u00b7 %s",
                 SL_SAY(pen->say, SL_P_HEAD_RANGE, part, sl_say_whole(exam->zones, a), sl_say_number(pen->say, exam->total_low, 0, b),
                        sl_say_number(pen->say, exam->total_high, 0, c), sl_say_whole(3 * exam->zones, d)));
    sl_pen_text(pen, strip_x, 62, sl_pen_width(pen, SL_TYPE_BODY, line) <= room ? SL_TYPE_BODY : SL_TYPE_SMALL, LOOK_COLOUR_QUIET,
                SL_ALIGN_LEFT, room, line);
}

static void draw_legend(sl_pen *pen, const sl_paper *paper)
{
    static const sl_phrase words[] = {SL_P_LEGEND_0, SL_P_LEGEND_1, SL_P_LEGEND_2, SL_P_LEGEND_3, SL_P_LEGEND_UNSEEN};
    double x = side_x(paper), y = 34, w = side_width / 5;
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
        sl_pen_text(pen, x + i * w + (w - 2.5) / 2, y + 18, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, 0,
                    sl_say(pen->say, words[i]));
    }
}

/* The numbers that stand out over the whole examination, each from one zone. */
typedef struct outstanding {
    sl_phrase label;
    sl_code code;
    sl_code where; /* only where this answer is yes; SL_CODES: anywhere */
} outstanding;

static const outstanding wanted[] = {
    {SL_P_OUT_COVERAGE, SL_B_LINE_COVERAGE, SL_B_LINES},
    {SL_P_OUT_MOST_B, SL_B_LINE_COUNT, SL_B_LINES},
    {SL_P_OUT_MOST_A, SL_A_LINE_COUNT, SL_A_LINES},
    {SL_P_OUT_DEEPEST, SL_PLEURA_DEPTH_MM, SL_CODES},
    {SL_P_OUT_DEEPEST, SL_PLEURA_DEPTH, SL_CODES},
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

static double draw_numbers(sl_pen *pen, const sl_paper *paper, const sl_exam *exam, const sl_zone_picture *zones,
                           const sl_tile *tiles, double y)
{
    const double x = side_x(paper);
    told list[sizeof wanted / sizeof *wanted];
    int count = gather_told(exam, zones, tiles, list);
    sl_pen_text(pen, x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_OUT_HEADING));
    y += 20;
    for (int i = 0; i < count; i++) {
        sl_words words;
        char zone[64], under[240], label[120];
        sl_words_finding(pen->say, list[i].finding, &zones[list[i].zone].record.result.view, &words);
        sl_words_zone(pen->say, exam->zone[list[i].zone].zone, zone, sizeof zone);
        snprintf(label, sizeof label, "%s \u00b7 %s", sl_say(pen->say, list[i].what->label), zone);
        words.evidence[strcspn(words.evidence, ",")] = 0; /* the frames will do; the row of the clip has the times */
        snprintf(under, sizeof under, "%s%s%s", words.interval, *words.interval && *words.evidence ? " \u00b7 " : "", words.evidence);
        if (list[i].threaded)
            sl_draw_thread(pen->cr, x - 4, y + 12, list[i].to_x, list[i].to_y);
        sl_pen_text(pen, x, y + 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, side_width, label);
        sl_pen_text(pen, x, y + 15.5, SL_TYPE_VALUE, LOOK_COLOUR_INK, SL_ALIGN_LEFT, side_width, words.value);
        sl_pen_text(pen, x, y + 24, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, side_width, under);
        y += 33;
    }
    if (!count)
        y += sl_pen_paragraph(pen, x, y, side_width, 3, SL_TYPE_BODY, LOOK_COLOUR_QUIET, sl_say(pen->say, SL_P_OUT_NONE)) + 8;
    return y;
}

/* The zones without a clip in one sentence. */
static double draw_missing(sl_pen *pen, const sl_exam *exam, double x, double y)
{
    char zone[64], line[700];
    sl_text missing = {0};
    double high = 0;
    for (int i = 0; i < exam->zones; i++)
        if (!exam->zone[i].clips) {
            sl_words_zone(pen->say, exam->zone[i].zone, zone, sizeof zone);
            sl_text_printf(&missing, "%s%s", missing.length ? ", " : "", zone);
        }
    if (missing.length) {
        SL_SAY(pen->say, SL_P_RESCAN_NO_CLIP, line, missing.bytes);
        high = sl_pen_paragraph(pen, x, y, side_width, 6, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    sl_text_free(&missing);
    return high;
}

/* "R upper lateral: gain too low. Turn the gain up ..." */
static void say_rescan(const sl_language *say, const sl_rescan *rescan, const sl_exam *exam, char *line, size_t room)
{
    char zone[64], key[80], stated[500];
    const sl_audit_rule *rule = sl_rescan_rule(rescan);
    if (rescan->zone)
        sl_words_zone(say, rescan->zone, zone, sizeof zone);
    else
        snprintf(zone, sizeof zone, "%.60s", rescan->clip >= 0 ? exam->clip[rescan->clip].name : "");
    snprintf(key, sizeof key, "audit.%s.name", rule->key);
    const char *name = sl_say_key(say, key, rule->name);
    if (rule->id == SL_RULE_UNREADABLE) /* the reader's own sentence says more */
        name = sl_say_stated(say, sl_rescan_found(rescan), stated, sizeof stated);
    snprintf(key, sizeof key, "audit.%s.remedy", rule->key);
    const char *const values[] = {zone, name, sl_say_key(say, key, rule->remedy), NULL};
    size_t length = strlen(name);
    sl_say_in(say, length && name[length - 1] == '.' ? SL_P_RESCAN_ONE : SL_P_RESCAN_CLIP, line, room, values);
}

static bool is_listed(const sl_exam *exam, const sl_zone *zone)
{
    for (int i = 0; i < exam->rescans; i++)
        if (exam->rescan[i].zone == zone)
            return true;
    return false;
}

static const char *why_open(const sl_language *say, const sl_exam *exam, const sl_zone_score *zone, char *text, size_t room)
{
    const sl_clip_result *result = &exam->clip[zone->decisive].result;
    const sl_finding *score = result->reading ? sl_reading_get(result->reading, SL_SCORE) : NULL;
    const char *reason = result->state == SL_CLIP_READ && score ? score->reason : result->reason;
    return reason && *reason ? sl_say_stated(say, reason, text, room) : sl_say(say, SL_P_RESCAN_NO_SCORE);
}

/* What to scan again, and how: missing zones first, then in the order of what it would add. */
static void draw_rescan(sl_pen *pen, const sl_paper *paper, const sl_exam *exam, double y, double bottom)
{
    const double x = side_x(paper);
    char line[900], number[32];
    sl_pen_text(pen, x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_THREAD, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_RESCAN_HEADING));
    y += 15;
    double start = y;
    y += draw_missing(pen, exam, x, y);
    int left = 0;
    for (int i = 0; i < exam->rescans; i++) {
        if (exam->rescan[i].clip < 0)
            continue;
        say_rescan(pen->say, &exam->rescan[i], exam, line, sizeof line);
        double high = sl_pen_height(pen, side_width, SL_TYPE_SMALL, line);
        if (left || y + high > bottom - 20) {
            left++;
            continue;
        }
        y += sl_pen_paragraph(pen, x, y, side_width, 0, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    for (int i = 0; i < exam->zones && y < bottom - 20; i++) { /* scanned well, and yet not told */
        if (exam->zone[i].score >= 0 || exam->zone[i].decisive < 0 || is_listed(exam, exam->zone[i].zone))
            continue;
        char zone[64], reason[500];
        sl_words_zone(pen->say, exam->zone[i].zone, zone, sizeof zone);
        SL_SAY(pen->say, SL_P_RESCAN_OPEN, line, zone, why_open(pen->say, exam, &exam->zone[i], reason, sizeof reason));
        y += sl_pen_paragraph(pen, x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    int loose = 0;
    for (int i = 0; i < exam->clips; i++)
        loose += !exam->clip[i].zone;
    if (left && y < bottom - 10)
        y += sl_pen_paragraph(pen, x, y, side_width, 2, SL_TYPE_SMALL, LOOK_COLOUR_INK,
                              SL_SAY(pen->say, SL_P_RESCAN_MORE, line, sl_say_whole(left, number))) + 2.5;
    if (loose && y < bottom - 10) {
        SL_SAY(pen->say, loose == 1 ? SL_P_RESCAN_LOOSE_ONE : SL_P_RESCAN_LOOSE_MANY, line, sl_say_whole(loose, number));
        y += sl_pen_paragraph(pen, x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, line) + 2.5;
    }
    if (y == start)
        sl_pen_paragraph(pen, x, y, side_width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, sl_say(pen->say, SL_P_RESCAN_NOTHING));
}

/* The columns of the table; those of signs that no clip states are left out and give their room to the others. */
typedef struct column {
    sl_phrase name;
    sl_code code;
} column;

static const column table_columns[] = {
    {SL_P_TABLE_RIGHT, SL_CODES}, {SL_P_TABLE_SCORE, SL_SCORE}, {SL_P_TABLE_B_LINES, SL_B_LINES},
    {SL_P_TABLE_MOST, SL_B_LINE_COUNT}, {SL_P_TABLE_COVERAGE, SL_B_LINE_COVERAGE}, {SL_P_TABLE_A_LINES, SL_A_LINES},
    {SL_P_TABLE_REPEATS, SL_A_LINE_COUNT}, {SL_P_TABLE_SLIDING, SL_SLIDING}, {SL_P_TABLE_FLUID, SL_EFFUSION},
    {SL_P_TABLE_SOLID, SL_CONSOLIDATION}, {SL_P_TABLE_PLEURA, SL_PLEURA_DEPTH},
};
enum { TABLE_COLUMNS = sizeof table_columns / sizeof *table_columns };

static bool is_stated(const sl_exam *exam, sl_code code)
{
    for (int i = 0; i < exam->zones; i++) {
        const sl_reading *reading = exam->zone[i].decisive >= 0 ? exam->clip[exam->zone[i].decisive].result.reading : NULL;
        if (reading && sl_reading_get(reading, code))
            return true;
    }
    return false;
}

/* What stands in a column of a zone's row; "" where nothing does. */
static const char *table_text(sl_pen *pen, const sl_exam *exam, const sl_zone_score *zone, int c, char text[64])
{
    const sl_reading *reading = zone->decisive >= 0 ? exam->clip[zone->decisive].result.reading : NULL;
    char low[32], high[32];
    sl_code code = table_columns[c].code;
    if (c == 0)
        snprintf(text, 64, "%s", sl_words_place(pen->say, zone->zone));
    else if (c > 1) {
        const sl_finding *mm = reading && code == SL_PLEURA_DEPTH ? sl_reading_get(reading, SL_PLEURA_DEPTH_MM) : NULL;
        sl_words_short(pen->say, reading, mm && mm->known ? SL_PLEURA_DEPTH_MM : code, text, 64);
    } else if (zone->score < 0)
        snprintf(text, 64, "%s", sl_say(pen->say, zone->clips ? SL_P_SHORT_OPEN : SL_P_STRIP_NO_CLIP));
    else if (zone->low < zone->high)
        snprintf(text, 64, "%d (%s\u2013%s)", zone->score, sl_say_number(pen->say, zone->low, 0, low),
                 sl_say_number(pen->say, zone->high, 0, high));
    else
        sl_say_whole(zone->score, text);
    return text;
}

/* Where each column begins, -1 for those left out: as wide as its widest word on either side, what is left between them; on
 * narrow paper the zone's name gives way. */
static void lay_out_columns(sl_pen *pen, const sl_exam *exam, double x, double width, double at[TABLE_COLUMNS])
{
    double wide[TABLE_COLUMNS] = {0}, used = 0;
    const double least_gap = 5;
    int columns = 0;
    char text[64];
    for (int c = 0; c < TABLE_COLUMNS; c++) {
        bool optional = table_columns[c].code == SL_SLIDING || table_columns[c].code == SL_EFFUSION || table_columns[c].code == SL_CONSOLIDATION;
        at[c] = optional && !is_stated(exam, table_columns[c].code) ? -1 : 0;
        if (at[c] < 0)
            continue;
        wide[c] = sl_pen_width(pen, SL_TYPE_SMALL, sl_say(pen->say, table_columns[c].name));
        if (c == 0)
            wide[c] = fmax(wide[c], sl_pen_width(pen, SL_TYPE_SMALL, sl_say(pen->say, SL_P_TABLE_LEFT)));
        for (int i = 0; i < exam->zones; i++)
            if (c != 1 || exam->zone[i].score >= 0) /* "no clip" may run on: nothing follows it */
                wide[c] = fmax(wide[c], sl_pen_width(pen, SL_TYPE_SMALL | (c == 1 ? SL_BOLD : 0), table_text(pen, exam, &exam->zone[i], c, text)));
        used += wide[c];
        columns++;
    }
    double gap = (width - used) / (columns > 1 ? columns - 1 : 1);
    if (gap < least_gap) {
        wide[0] = fmax(wide[0] - (columns - 1) * (least_gap - gap), 30);
        gap = least_gap;
    }
    for (int c = 0; c < TABLE_COLUMNS; c++)
        if (at[c] >= 0) {
            at[c] = x;
            x += wide[c] + gap;
        }
}

static void draw_table_row(sl_pen *pen, const sl_exam *exam, const sl_zone_score *zone, const double *at, double y)
{
    const sl_reading *reading = zone->decisive >= 0 ? exam->clip[zone->decisive].result.reading : NULL;
    char text[64];
    sl_pen_text(pen, at[0], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, at[1] - at[0] - 3, table_text(pen, exam, zone, 0, text));
    sl_pen_text(pen, at[1], y, SL_TYPE_SMALL | (zone->score >= 0 ? SL_BOLD : 0), zone->score >= 0 ? LOOK_COLOUR_INK : LOOK_COLOUR_QUIET,
                SL_ALIGN_LEFT, 0, table_text(pen, exam, zone, 1, text));
    if (zone->clips && !reading)
        sl_pen_text(pen, at[2], y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_TABLE_UNREADABLE));
    for (int c = 2; c < TABLE_COLUMNS; c++)
        if (at[c] >= 0)
            sl_pen_text(pen, at[c], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, table_text(pen, exam, zone, c, text));
}

static void draw_table_half(sl_pen *pen, const sl_exam *exam, sl_side side, double x, double y, double width)
{
    double at[TABLE_COLUMNS];
    lay_out_columns(pen, exam, x, width, at);
    for (int c = 0; c < TABLE_COLUMNS; c++)
        if (at[c] >= 0)
            sl_pen_text(pen, at[c], y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0,
                        sl_say(pen->say, c || side == SL_SIDE_RIGHT ? table_columns[c].name : SL_P_TABLE_LEFT));
    cairo_move_to(pen->cr, x, y + 3);
    cairo_line_to(pen->cr, x + width, y + 3);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    y += table_line + 1.5;
    for (int i = 0; i < exam->zones; i++)
        if (exam->zone[i].zone->side == side) {
            draw_table_row(pen, exam, &exam->zone[i], at, y);
            y += table_line;
        }
}

static void rule(sl_pen *pen, double from, double to, double y)
{
    cairo_move_to(pen->cr, from, y);
    cairo_line_to(pen->cr, to, y);
    sl_set_colour(pen->cr, LOOK_COLOUR_QUIET, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
}

/* The question; then the conclusion and who signed it, or room to write them by hand. */
static void draw_signing(sl_pen *pen, const sl_paper *paper, const sl_exam *exam, double y)
{
    char text[700], concluded[2400], date[32];
    sl_phrase below = SL_P_SIGN_CONCLUSION;
    const double right = paper->width - sl_page_margin, middle = right - 246;
    SL_SAY(pen->say, SL_P_SIGN_QUESTION, text, *exam->question ? exam->question : sl_say(pen->say, SL_P_SIGN_NO_QUESTION));
    sl_pen_text(pen, strip_x, y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, right - strip_x, text);
    if (exam->conclusions) {
        const double width = middle - 20 - strip_x, room = 23;
        SL_SAY(pen->say, SL_P_SIGN_CONCLUDED, concluded, exam->conclusion[0].text);
        int type = SL_TYPE_BODY | SL_BOLD;
        if (sl_pen_height(pen, width, type, concluded) > room)
            type = SL_TYPE_SMALL | SL_BOLD;
        if (sl_pen_height(pen, width, type, concluded) > room)
            below = SL_P_SIGN_IN_FULL;
        sl_pen_paragraph(pen, strip_x, y + 4, width, 2, type, LOOK_COLOUR_INK, concluded);
    }
    rule(pen, strip_x, middle - 20, y + 28);
    rule(pen, middle, right, y + 28);
    sl_pen_text(pen, strip_x, y + 36, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, below));
    sl_pen_text(pen, middle, y + 36, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_SIGN_NAME));
    if (exam->conclusions && *exam->conclusion[0].signer) {
        snprintf(date, sizeof date, "%.10s", exam->conclusion[0].signed_at);
        SL_SAY(pen->say, SL_P_SIGN_SIGNED, text, exam->conclusion[0].signer, date);
        sl_pen_text(pen, middle, y + 23, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, right - middle, text);
    }
    if (exam->conclusions > 1) {
        char count[32];
        SL_SAY(pen->say, exam->conclusions == 2 ? SL_P_SIGN_AMENDED_ONE : SL_P_SIGN_AMENDED, text, sl_say_whole(exam->conclusions - 1, count));
        sl_pen_text(pen, right, y + 12, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, text);
    }
}

void sl_draw_exam_page(sl_pen *pen, const sl_exam *exam, const sl_zone_picture *zones)
{
    sl_tile tiles[SL_ZONES_MOST];
    sl_shown shown[SL_ZONES_MOST];
    const sl_reading *reading[SL_ZONES_MOST];
    const sl_paper *paper = sl_paper_for(exam);
    for (int i = 0; i < exam->zones; i++) {
        shown[i] = zones[i].shown;
        reading[i] = zones[i].there ? zones[i].record.result.reading : NULL;
    }
    int rows[3] = {0};
    for (int i = 0; i < exam->zones; i++)
        rows[exam->zone[i].zone->side]++;
    int most = rows[SL_SIDE_RIGHT] > rows[SL_SIDE_LEFT] ? rows[SL_SIDE_RIGHT] : rows[SL_SIDE_LEFT];
    double table_y = signing_y(paper) - 22 - table_line * (most + 0.5), half = (paper->width - 2 * sl_page_margin - 30) / 2;
    draw_title(pen, paper, exam);
    draw_legend(pen, paper);
    sl_strip_lay_out(exam, strip_x, strip_y, side_x(paper) - 26 - strip_x, table_y - 20 - strip_y, tiles);
    sl_draw_strip(pen, exam, tiles, shown, reading);
    double y = draw_numbers(pen, paper, exam, zones, tiles, 78);
    draw_rescan(pen, paper, exam, y + 6, table_y - 18);
    draw_table_half(pen, exam, SL_SIDE_RIGHT, strip_x, table_y, half);
    draw_table_half(pen, exam, SL_SIDE_LEFT, strip_x + half + 30, table_y, half);
    draw_signing(pen, paper, exam, signing_y(paper));
}
