#include "report/pages.h"

#include "core/text.h"
#include "report/words.h"

#include <stdio.h>

void sl_row_of_page(int row, sl_row *where)
{
    *where = sl_row_on_page;
    where->x = sl_page_margin;
    where->y = 36 + row * (where->height + 10);
}

void sl_draw_page_frame(sl_pen *pen, const sl_exam *exam, int page, int pages)
{
    char text[400];
    const double left = sl_page_margin, right = sl_page_width - sl_page_margin;
    if (exam->invented)
        sl_pen_text(pen, right, 24, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0,
                    "INVENTED DATA: no real person was examined");
    if (page > 1) {
        snprintf(text, sizeof text, "%s%s%s%s%s", *exam->title ? exam->title : "Lung ultrasound examination",
                 *exam->person ? " \u00b7 " : "", exam->person, *exam->date ? " \u00b7 " : "", exam->date);
        sl_pen_text(pen, left, 24, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 500, text);
    }
    double y = sl_page_height - 40;
    cairo_move_to(pen->cr, left, y);
    cairo_line_to(pen->cr, right, y);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    sl_pen_text(pen, left, y + 9, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_words_caution);
    sl_pen_text(pen, left, y + 18, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_words_limits);
    sl_pen_text(pen, left, y + 27, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_words_method);
    snprintf(text, sizeof text, "page %d of %d", page, pages);
    sl_pen_text(pen, right, y + 9, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, text);
}

/* What lung ultrasound cannot exclude: collected in the clinical sheet of the project, section 11. */
static const char cannot_exclude[] =
    "Lung ultrasound cannot exclude disease that does not touch the pleura (central pneumonia, a deep nodule, central "
    "embolism), airway obstruction without pleural change, early interstitial disease, hyperinflation, or air behind bone "
    "or under dressings; it is hampered by obesity, oedema of the chest wall and, lying on the back, at the posterior "
    "zones. B-lines are not specific: oedema, fibrosis, lung injury, pneumonitis and contusion show them.";

static const char how_read[] =
    "For each clip the imaged area and its beams are found in the picture, and each frame is straightened to beam and "
    "depth. Depths are in millimetres only where the scale is known (from the file, as stated, or from a ruler in the "
    "picture); else they are shares of the imaged depth. Each number carries its 95 % interval and the frames, beams and "
    "depths it was measured at; a thin line leads from the number to that place. \u201cCould not tell\u201d is an answer "
    "and is never counted as normal.";

static const char how_scored[] =
    "A zone has the score of its worst clip. The total is the sum over the zones that have a score, with the number of "
    "zones it rests on; nothing is put in for a missing zone. The range for all zones lets each missing or open one be "
    "anything from 0 to 3. What the four levels mean stands under Score beside this; zones of the chest: Volpicelli et al., "
    "Am J Emerg Med 2006;24:689-696.";

int sl_draw_notes_page(sl_pen *pen, const sl_exam *exam, int first_remark)
{
    const double left = sl_page_margin, width = 372, second = left + width + 26, bottom = sl_page_height - 50;
    double y = 44;
    if (first_remark == 0) {
        static const struct {
            const char *head, *text;
        } parts[] = {{"How it was read", how_read}, {"How it was scored", how_scored}, {"What this cannot show", cannot_exclude}};
        for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
            sl_pen_text(pen, left, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, parts[i].head);
            y += 14;
            y += sl_pen_paragraph(pen, left, y, width, 0, SL_TYPE_BODY, LOOK_COLOUR_INK, parts[i].text) + 12;
        }
        double table_y = 44;
        sl_pen_text(pen, second, table_y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0,
                    "What the findings mean");
        table_y += 16;
        for (int code = 0; code < SL_CODES && table_y < bottom - 18; code++) {
            const sl_finding_info *info = sl_finding_info_of((sl_code)code);
            bool used = false;
            for (int i = 0; i < exam->clips && !used; i++)
                used = exam->clip[i].result.reading && sl_reading_get(exam->clip[i].result.reading, (sl_code)code);
            if (!used)
                continue;
            char text[600];
            snprintf(text, sizeof text, "%s%s%s%s", info->source, *info->unit ? " [" : "", info->unit, *info->unit ? "]" : "");
            sl_pen_text(pen, second, table_y + 7, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 104, info->name);
            double high = sl_pen_paragraph(pen, second + 108, table_y, width - 108, 3, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, text);
            table_y += (high > 8 ? high : 8) + 3.5;
        }
    }
    if (first_remark < exam->remarks) {
        sl_pen_text(pen, left, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, "Remarks on the files");
        y += 15;
    }
    while (first_remark < exam->remarks && y < bottom - 26)
        y += sl_pen_paragraph(pen, left, y, width, 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, exam->remark[first_remark++]) + 2;
    return first_remark;
}
