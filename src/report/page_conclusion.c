/* The page of the clinician: question, conclusion, addenda, signatures. */
#include "report/pages.h"

#include "report/words.h"

#include <stdio.h>

static double heading(sl_pen *pen, double y, const char *text)
{
    sl_pen_text(pen, sl_page_margin, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, text);
    return y + 15;
}

/* One conclusion or addendum with its signature, or the line to sign on. Returns where it ends. */
static double draw_one(sl_pen *pen, const sl_exam *exam, int which, double y, double width)
{
    char text[400], number[32];
    const sl_conclusion *one = &exam->conclusion[which];
    y = heading(pen, y, which ? SL_SAY(pen->say, SL_P_SIGN_HEADING_ADDENDUM, text, sl_say_whole(which, number))
                              : sl_say(pen->say, SL_P_SIGN_HEADING_CONCLUSION));
    y += sl_pen_paragraph(pen, sl_page_margin, y, width, 0, SL_TYPE_VALUE, LOOK_COLOUR_INK, one->text) + 6;
    if (*one->signer) {
        char time[32];
        snprintf(time, sizeof time, "%.10s %.8s", one->signed_at, one->signed_at[0] ? one->signed_at + 11 : "");
        SL_SAY(pen->say, SL_P_SIGN_BY, text, one->signer, time);
        sl_pen_text(pen, sl_page_margin, y + 8, SL_TYPE_BODY | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, width, text);
        return y + 26;
    }
    cairo_move_to(pen->cr, sl_page_margin, y + 24);
    cairo_line_to(pen->cr, sl_page_margin + 246, y + 24);
    sl_set_colour(pen->cr, LOOK_COLOUR_QUIET, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    sl_pen_text(pen, sl_page_margin, y + 33, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_SIGN_NAME));
    return y + 48;
}

int sl_draw_conclusion_page(sl_pen *pen, const sl_exam *exam, int first)
{
    const sl_paper *paper = sl_paper_for(exam);
    const double bottom = paper->height - 84, width = 560; /* lines of a length that reads well */
    sl_pen_text(pen, sl_page_margin, 54, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_SIGN_PAGE));
    double y = 72;
    if (!first) {
        y = heading(pen, y, sl_say(pen->say, SL_P_SIGN_HEADING_QUESTION));
        y += sl_pen_paragraph(pen, sl_page_margin, y, width, 4, SL_TYPE_VALUE, LOOK_COLOUR_INK,
                              *exam->question ? exam->question : sl_say(pen->say, SL_P_SIGN_NO_QUESTION)) + 14;
    }
    int which = first;
    /* what is signed is never cut: each text stands whole on one page (its length is limited where it is signed) */
    for (; which < exam->conclusions; which++) {
        double high = sl_pen_height(pen, width, SL_TYPE_VALUE, exam->conclusion[which].text);
        if (which > first && y + high + 60 > bottom)
            break;
        y = draw_one(pen, exam, which, y, width);
    }
    if (*exam->conclusion[0].signer && !exam->conclusion[0].by_name_only)
        sl_pen_paragraph(pen, sl_page_margin, bottom + 8, width, 3, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, sl_say(pen->say, SL_P_SIGN_FINGERPRINT));
    return which;
}
