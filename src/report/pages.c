#include "report/pages.h"

#include "core/text.h"
#include "report/words.h"

#include <stdio.h>

const sl_paper *sl_paper_for(const sl_exam *exam)
{
    static const sl_paper a4 = {841.89, 595.28}, letter = {792, 612}; /* ISO 216; ANSI/ASME Y14.1, size A */
    return exam->letter ? &letter : &a4;
}

void sl_row_of_page(const sl_exam *exam, int row, sl_row *where)
{
    *where = sl_row_on_page;
    where->x = sl_page_margin;
    where->width = sl_paper_for(exam)->width - 2 * sl_page_margin;
    where->tide_width -= 0.6 * (sl_row_on_page.width - where->width); /* what a narrower sheet lacks: numbers keep more of it */
    where->y = 36 + row * (where->height + 10);
}

void sl_draw_page_frame(sl_pen *pen, const sl_exam *exam, int page, int pages)
{
    char text[800], who[240], a[32], b[32];
    const sl_paper *paper = sl_paper_for(exam);
    const double left = sl_page_margin, right = paper->width - sl_page_margin;
    if (exam->invented)
        sl_pen_text(pen, right, 24, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, sl_say(pen->say, SL_P_INVENTED_PAGE));
    if (page > 1) {
        sl_exam_order_text(exam->order, sl_say(pen->say, SL_P_HEAD_BORN), sl_say(pen->say, SL_P_HEAD_ORDER), who, sizeof who);
        const char *person = *who ? who : exam->person;
        snprintf(text, sizeof text, "%s%s%s%s%s", *exam->title ? exam->title : sl_say(pen->say, SL_P_TITLE),
                 *person ? " \u00b7 " : "", person, *exam->date ? " \u00b7 " : "", exam->date);
        sl_pen_text(pen, left, 24, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 500, text);
    }
    double y = paper->height - 40;
    cairo_move_to(pen->cr, left, y);
    cairo_line_to(pen->cr, right, y);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    const double room = right - left - 70;
    sl_pen_text(pen, left, y + 9, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, room, sl_say(pen->say, SL_P_CAUTION));
    sl_pen_text(pen, left, y + 18, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, right - left, sl_say(pen->say, SL_P_LIMITS));
    sl_pen_text(pen, left, y + 27, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, right - left, SL_SAY(pen->say, SL_P_METHOD, text, SL_VERSION));
    sl_pen_text(pen, right, y + 9, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0,
                SL_SAY(pen->say, SL_P_PAGE_OF, text, sl_say_whole(page, a), sl_say_whole(pages, b)));
}

/* One line of how the readings were made, from the first that says so. */
static const char *stated_method(const sl_exam *exam)
{
    for (int i = 0; i < exam->clips; i++) {
        const sl_reading *reading = exam->clip[i].result.reading;
        if (reading && reading->method && *reading->method)
            return reading->method;
    }
    return "-";
}

static double draw_part(sl_pen *pen, double x, double y, double width, sl_phrase head, const char *text)
{
    sl_pen_text(pen, x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, head));
    return y + 14 + sl_pen_paragraph(pen, x, y + 14, width, 0, SL_TYPE_BODY, LOOK_COLOUR_INK, text) + 12;
}

/* Each finding that the examination states, with what it is and its source. */
static void draw_findings(sl_pen *pen, const sl_exam *exam, double x, double width, double bottom)
{
    double y = 44;
    sl_pen_text(pen, x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_NOTES_FINDINGS_HEADING));
    y += 16;
    for (int code = 0; code < SL_CODES && y < bottom - 18; code++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)code);
        bool used = false;
        for (int i = 0; i < exam->clips && !used; i++)
            used = exam->clip[i].result.reading && sl_reading_get(exam->clip[i].result.reading, (sl_code)code);
        if (!used)
            continue;
        char text[700], unit[160];
        sl_say_stated(pen->say, info->unit, unit, sizeof unit);
        snprintf(text, sizeof text, "%s%s%s%s", sl_words_source(pen->say, info), *unit ? " [" : "", unit, *unit ? "]" : "");
        double named = sl_pen_paragraph(pen, x, y, 104, 2, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, sl_words_name(pen->say, info));
        double high = sl_pen_paragraph(pen, x + 108, y, width - 108, 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, text);
        high = named > high ? named : high;
        y += (high > 8 ? high : 8) + 3.5;
    }
}

int sl_draw_notes_page(sl_pen *pen, const sl_exam *exam, int first_remark)
{
    const sl_paper *paper = sl_paper_for(exam);
    const double left = sl_page_margin, width = (paper->width - 2 * sl_page_margin - 26) / 2, bottom = paper->height - 50;
    double y = 44;
    if (first_remark == 0) {
        char methods[1600], method[600];
        /* What lung ultrasound cannot exclude: collected in the clinical sheet of the project, section 11. */
        SL_SAY(pen->say, SL_P_NOTES_METHODS, methods, SL_VERSION, sl_say_stated(pen->say, stated_method(exam), method, sizeof method));
        y = draw_part(pen, left, y, width, SL_P_NOTES_READ_HEADING, sl_say(pen->say, SL_P_NOTES_READ));
        y = draw_part(pen, left, y, width, SL_P_NOTES_SCORED_HEADING, sl_say(pen->say, SL_P_NOTES_SCORED));
        y = draw_part(pen, left, y, width, SL_P_NOTES_LIMITS_HEADING, sl_say(pen->say, SL_P_NOTES_LIMITS));
        y = draw_part(pen, left, y, width, SL_P_NOTES_METHODS_HEADING, methods);
        draw_findings(pen, exam, left + width + 26, width, bottom);
    }
    if (first_remark < exam->remarks) {
        sl_pen_text(pen, left, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0,
                    sl_say(pen->say, SL_P_NOTES_REMARKS_HEADING));
        y += 15;
    }
    while (first_remark < exam->remarks && y < bottom - 26) {
        char stated[900];
        y += sl_pen_paragraph(pen, left, y, width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK,
                              sl_say_stated(pen->say, exam->remark[first_remark++], stated, sizeof stated)) + 2;
    }
    return first_remark;
}
