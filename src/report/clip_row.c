#include "report/clip_row.h"

#include "core/text.h"
#include "core/units.h"
#include "report/motion_picture.h"
#include "report/overlay.h"
#include "report/tide.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

enum { HEAD = 17, GAP = 14, CELL_HEIGHT = 35, TRACE_HEIGHT = 38, TRACE_ROOMY = 84 };

const sl_row sl_row_on_page = {.width = 770, .height = 162, .picture_width = 186, .cell_width = 70, .tide_width = 178,
                               .columns = 2, .mark_weight = 0.7};
const sl_row sl_row_on_picture = {.width = 920, .height = 334, .picture_width = 392, .cell_width = 156,
                                  .tide_width = 180, .columns = 1, .mark_weight = 1};

void sl_row_picture_box(const sl_row *row, int width, int height, double *x, double *y, double *w, double *h)
{
    double room = row->height - HEAD;
    double scale = row->picture_width / (width > 0 ? width : 1);
    if (height > 0 && scale * height > room)
        scale = room / height;
    *w = width * scale;
    *h = height * scale;
    *x = row->x + (row->picture_width - *w) / 2;
    *y = row->y + HEAD + (room - *h) / 2;
}

void sl_row_cell_box(const sl_row *row, double *x, double *y, double *w, double *h)
{
    *x = row->x + row->picture_width + GAP * 0.6;
    *y = row->y + HEAD;
    *w = row->cell_width;
    *h = row->height - HEAD;
}

static void draw_heading(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip)
{
    const sl_reading *reading = clip->result.reading;
    const sl_finding *score = reading ? sl_reading_get(reading, SL_SCORE) : NULL;
    int level = score && score->known && sl_known(score->value) ? (int)(score->value + 0.5) : -1;
    char zone[80], facts[200];
    double x = row->x, base = row->y + 9.5;
    sl_draw_score(pen, x, row->y, 12, level);
    x += 17;
    sl_words_zone_full(pen->say, clip->zone, zone, sizeof zone);
    if (zone[0] >= 'a' && zone[0] <= 'z')
        zone[0] = (char)(zone[0] - 'a' + 'A');
    x += sl_pen_text(pen, x, base, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, zone) + 10;
    double right = row->x + row->width;
    sl_words_clip(pen->say, clip, facts, sizeof facts);
    right -= sl_pen_text(pen, right, base, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, facts) + 10;
    if (right > x + 20)
        sl_pen_text(pen, x, base, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, right - x, clip->where);
}

static void draw_unread(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip, const sl_shown *shown)
{
    double x, y, w, h;
    sl_row_cell_box(row, &x, &y, &w, &h);
    sl_draw_hatch(pen->cr, x, y, w, h, 6);
    if (!shown->picture)
        sl_draw_hatch(pen->cr, row->x, y, row->picture_width, h, 6);
    double left = x + w + GAP, width = row->x + row->width - left;
    double top = y + 4;
    top += sl_pen_paragraph(pen, left, top, width, 1, SL_TYPE_VALUE | SL_BOLD, LOOK_COLOUR_INK,
                            sl_say(pen->say, clip->result.state == SL_CLIP_FAILED ? SL_P_ROW_UNOPENED : SL_P_ROW_UNREAD)) + 3;
    char reason[600];
    sl_pen_paragraph(pen, left, top, width, 4, SL_TYPE_BODY, LOOK_COLOUR_INK,
                     sl_say_stated(pen->say, clip->result.reason, reason, sizeof reason));
}

typedef struct target {
    bool there;
    double x, y;
} target;

/* Numbers in the order in which they matter, what could be told first: A-lines below the pleural line, B-lines beside. The
 * score stands in the heading already, a share of the depth gives way to millimetres. */
static const sl_code ranks[] = {SL_PLEURA_DEPTH_MM, SL_PLEURA_DEPTH, SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKENING,
                                SL_A_LINES, SL_A_LINE_COUNT, SL_SLIDING, SL_B_LINES, SL_B_LINE_COUNT,
                                SL_B_LINE_COVERAGE, SL_EFFUSION, SL_CONSOLIDATION, SL_AIR_BRONCHOGRAM, SL_AIR_BRONCHOGRAM_MOVES, SL_FLUID_COLOUR, SL_VESSEL_COLOUR, SL_LUNG_POINT, SL_EFFUSION_DEPTH,
                                SL_CONSOLIDATION_EXTENT, SL_WHITE_LUNG, SL_RIB_SHARE, SL_PLEURA_IRREGULAR, SL_LUNG_PULSE,
                                SL_SLIDING_AMPLITUDE_MM, SL_BREATHING_RATE, SL_CURTAIN, SL_ORGAN, SL_DIAPHRAGM, SL_SPINE, SL_MIRROR_IMAGE};

static int rank_of(sl_code code)
{
    const int count = (int)(sizeof ranks / sizeof *ranks);
    for (int i = 0; i < count; i++)
        if (ranks[i] == code)
            return i;
    return count + (int)code; /* what is not ranked follows in the table's order */
}

static int pick(const sl_reading *reading, const sl_finding **picked)
{
    int count = 0;
    const sl_finding *mm = sl_reading_get(reading, SL_PLEURA_DEPTH_MM);
    for (int i = 0; i < reading->findings; i++) {
        const sl_finding *finding = &reading->finding[i];
        if (finding->code == SL_SCORE || (finding->code == SL_PLEURA_DEPTH && mm && mm->known) ||
            (finding->code == SL_PLEURA_DEPTH_MM && !(mm && mm->known)))
            continue;
        int place = count++;
        for (; place > 0; place--) {
            const sl_finding *before = picked[place - 1];
            if (before->known > finding->known || (before->known == finding->known && rank_of(before->code) <= rank_of(finding->code)))
                break;
            picked[place] = before;
        }
        picked[place] = finding;
    }
    return count;
}

static void draw_numbers(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip, const sl_shown *shown,
                         sl_text *untold)
{
    const sl_finding *picked[SL_CODES];
    int count = pick(clip->result.reading, picked);
    double cx, cy, cw, ch;
    sl_row_cell_box(row, &cx, &cy, &cw, &ch);
    double left = cx + cw + GAP + 8, right = row->x + row->width - row->tide_width - GAP;
    double column = (right - left) / row->columns;
    int lines = (int)((row->height - HEAD) / CELL_HEIGHT), room = lines * row->columns;
    double pitch = (row->height - HEAD + 4) / lines;
    const sl_place straight = {.view = NULL, .x = cx, .y = cy, .sx = cw, .sy = ch};
    for (int pass = 0; pass < 2; pass++) /* threads lie under the words */
        for (int i = 0; i < count && i < room; i++) {
            double x = left + (i / lines) * column, y = row->y + HEAD + (i % lines) * pitch;
            if (pass == 0) {
                double beam, depth, to_x, to_y;
                if (!shown->cell || !sl_thread_end(picked[i], shown->frame, (y + 13 - cy) / ch, &beam, &depth))
                    continue;
                sl_place_point(&straight, beam, depth, &to_x, &to_y);
                if (i < lines)
                    sl_draw_thread(pen->cr, x - 3, y + 13, to_x, to_y);
                else { /* along the gap above, not through the words of the first column */
                    sl_draw_thread(pen->cr, left - 3, y - 0.5, to_x, to_y);
                    cairo_move_to(pen->cr, left - 3, y - 0.5);
                    cairo_line_to(pen->cr, x - 8, y - 0.5);
                    cairo_curve_to(pen->cr, x - 4, y - 0.5, x - 8, y + 13, x - 3, y + 13);
                    cairo_set_line_width(pen->cr, LOOK_STROKE_THREAD);
                    cairo_stroke(pen->cr);
                }
                continue;
            }
            sl_words words;
            char under[200];
            sl_words_finding(pen->say, picked[i], &clip->result.view, &words);
            sl_pen_text(pen, x, y + 6.5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, column - 8, words.label);
            sl_pen_text(pen, x, y + 16, SL_TYPE_VALUE, LOOK_COLOUR_INK, SL_ALIGN_LEFT, column - 8, words.value);
            const char *second = words.interval[0] ? words.interval : words.reason;
            sl_pen_text(pen, x, y + 23.6, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, column - 8,
                        *second ? second : words.evidence);
            snprintf(under, sizeof under, "%s", *second ? words.evidence : "");
            sl_pen_text(pen, x, y + 30.8, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, column - 8, under);
        }
    sl_text open = {0}, absent = {0}, amounts = {0}; /* a full row is cut off: answers first, numbers and what is open last */
    char line[700];
    for (int i = room; i < count; i++) {
        const sl_finding *one = picked[i];
        const bool answer = sl_finding_info_of(one->code)->kind == SL_KIND_ANSWER;
        sl_words words;
        sl_words_finding(pen->say, one, &clip->result.view, &words);
        if (!one->known || (answer && one->answer == SL_ABSENT)) {
            sl_text *list = one->known ? &absent : &open;
            sl_text_printf(list, "%s%s", list->length ? ", " : "", words.label);
        } else {
            sl_text *list = answer ? untold : &amounts;
            sl_text_printf(list, "%s%s: %s", list->length ? "; " : "", words.label, words.value);
        }
    }
    if (absent.length)
        sl_text_printf(untold, "%s%s", untold->length ? ". " : "", SL_SAY(pen->say, SL_P_ROW_ABSENT, line, absent.bytes));
    if (amounts.length)
        sl_text_printf(untold, "%s%s", untold->length ? ". " : "", amounts.bytes);
    if (open.length) /* why stands in exam.json */
        sl_text_printf(untold, "%s%s", untold->length ? ". " : "", SL_SAY(pen->say, SL_P_ROW_UNTOLD, line, open.bytes));
    else if (untold->length)
        sl_text_add(untold, ".");
    sl_text_free(&absent);
    sl_text_free(&amounts);
    sl_text_free(&open);
}

static void draw_side(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip, const sl_shown *shown,
                      const sl_text *untold)
{
    const sl_clip_result *result = &clip->result;
    double x = row->x + row->width - row->tide_width, y = row->y + HEAD;
    const bool traced = sl_has_motion_trace(result), roomy = row->height > 250;
    const sl_axis axis = sl_axis_of(result);
    double high = roomy ? 92 : traced ? 22 : 58, trace_high = roomy ? TRACE_ROOMY : TRACE_HEIGHT;
    sl_pen_text(pen, x, y + 7, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, row->tide_width, sl_say(pen->say, SL_P_ROW_SHARE));
    y += 12;
    sl_draw_tide(pen, x, y, row->tide_width, high, result);
    if (result->frame_values > 1)
        sl_draw_cursor(pen, x, y - 2, y + high + (traced ? 0 : 2.5), row->tide_width, &axis, shown->frame, shown->time_s);
    y += high;
    if (traced) { /* on the same axis, right below */
        char line[200];
        y += result->frame_values > 1 ? 0 : 10;
        sl_pen_text(pen, x, y + 8, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, row->tide_width,
                    sl_motion_trace_words(pen->say, result, line, sizeof line));
        y += 11;
        sl_draw_motion_trace(pen, x, y, row->tide_width, trace_high, result);
        sl_draw_cursor(pen, x, y, y + trace_high + 2.5, row->tide_width, &axis, shown->frame, shown->time_s);
        y += trace_high;
    }
    if (traced || result->frame_values > 1)
        sl_draw_axis(pen, x, y, row->tide_width, &axis);
    y += traced && !roomy ? 12 : 16;
    char text[1600], part[600], stated[500];
    size_t used = 0;
    text[0] = 0;
    if (*result->reason)
        used += (size_t)snprintf(text, sizeof text, "%.500s ", sl_say_stated(pen->say, result->reason, stated, sizeof stated));
    if (traced && result->trace.pieces > 1)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s ", sl_motion_trace_parts(pen->say, result, part, sizeof part));
    if (result->view.note[0])
        used += (size_t)snprintf(text + used, sizeof text - used, "%s ",
                                 SL_SAY(pen->say, SL_P_ROW_VIEW, part, sl_say_stated(pen->say, result->view.note, stated, sizeof stated)));
    if (*clip->notes && used < sizeof text)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s ", SL_SAY(pen->say, SL_P_ROW_NOTE, part, clip->notes));
    if (untold->length && used < sizeof text)
        snprintf(text + used, sizeof text - used, "%.900s", untold->bytes);
    int lines = (int)((row->y + row->height - y) / 8.2);
    if (lines > 0)
        sl_pen_paragraph(pen, x, y, row->tide_width, lines, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, text);
}

/* "frame 31 (1.24 s)" in the corner of the picture. */
static void draw_stamp(sl_pen *pen, double x, double y, const sl_shown *shown)
{
    char text[64], frame[32], time[32];
    sl_say_whole(shown->frame, frame);
    if (sl_known(shown->time_s))
        SL_SAY(pen->say, SL_P_ROW_STAMP, text, frame, sl_say_number(pen->say, shown->time_s, 2, time));
    else
        SL_SAY(pen->say, SL_P_ROW_STAMP_UNTIMED, text, frame);
    sl_pen_text(pen, x, y, SL_TYPE_SMALL, LOOK_COLOUR_MARK_RIB, SL_ALIGN_LEFT, 0, text);
}

void sl_draw_clip_row(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip, const sl_shown *shown)
{
    const sl_clip_result *result = &clip->result;
    double x, y, w, h, room_y = row->y + HEAD, room_h = row->height - HEAD;
    draw_heading(pen, row, clip);
    if (shown->picture) {
        int wide = result->view.width > 0 ? result->view.width : cairo_image_surface_get_width(shown->picture);
        int high = result->view.height > 0 ? result->view.height : cairo_image_surface_get_height(shown->picture);
        sl_row_picture_box(row, wide, high, &x, &y, &w, &h);
        cairo_rectangle(pen->cr, row->x, room_y, row->picture_width, room_h);
        sl_set_colour(pen->cr, LOOK_COLOUR_NIGHT, 1);
        cairo_fill(pen->cr);
        sl_draw_surface(pen->cr, shown->picture, x, y, w, h);
        cairo_save(pen->cr);
        cairo_rectangle(pen->cr, row->x, room_y, row->picture_width, room_h);
        cairo_clip(pen->cr);
        const sl_place place = {.view = &result->view, .x = x, .y = y, .sx = w / wide, .sy = h / high};
        if (result->view.shape != SL_SHAPE_UNKNOWN)
            sl_draw_evidence(pen, &place, result->reading, shown->frame, row->mark_weight, row->columns == 1);
        draw_stamp(pen, row->x + 4, room_y + room_h - 4, shown);
        cairo_restore(pen->cr);
    }
    if (result->state != SL_CLIP_READ || !result->reading) {
        draw_unread(pen, row, clip, shown);
        return;
    }
    sl_row_cell_box(row, &x, &y, &w, &h);
    if (shown->cell) {
        sl_draw_surface(pen->cr, shown->cell, x, y, w, h);
        cairo_save(pen->cr);
        cairo_rectangle(pen->cr, x, y, w, h);
        cairo_clip(pen->cr);
        const sl_place place = {.view = NULL, .x = x, .y = y, .sx = w, .sy = h};
        sl_draw_evidence(pen, &place, result->reading, shown->frame, row->mark_weight, false);
        cairo_restore(pen->cr);
    } else
        sl_draw_hatch(pen->cr, x, y, w, h, 6);
    sl_text untold = {0};
    draw_numbers(pen, row, clip, shown, &untold);
    draw_side(pen, row, clip, shown, &untold);
    sl_text_free(&untold);
}
