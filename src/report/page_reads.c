/* Both reads: what the program found and what the clinician says, side by side; those that differ first. */
#include "report/pages.h"

#include "core/units.h"
#include "report/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double top = 84, line = 11.2, columns[] = {36, 200, 350, 560};

typedef struct both {
    const sl_exam_clip *clip;
    const sl_finding *program, *own;
    bool differs;
} both;

static bool same(const sl_finding *a, const sl_finding *b)
{
    if (a->known != b->known)
        return false;
    if (!a->known)
        return true;
    if (sl_finding_info_of(a->code)->kind == SL_KIND_ANSWER)
        return a->answer == b->answer;
    return fabs(a->value - b->value) < 1e-6 * fmax(1, fabs(a->value));
}

/* Row `wanted` of the table, differing ones first; counts all when `wanted` is beyond them. */
static int find_row(const sl_exam *exam, int wanted, both *row)
{
    int count = 0;
    for (int pass = 0; pass < 2; pass++)
        for (int i = 0; i < exam->clips; i++)
            for (int f = 0; exam->clip[i].own && f < exam->clip[i].own->findings; f++) {
                const sl_finding *own = &exam->clip[i].own->finding[f];
                const sl_finding *program =
                    exam->clip[i].result.reading ? sl_reading_get(exam->clip[i].result.reading, own->code) : NULL;
                bool differs = !program || !same(program, own);
                if (differs != (pass == 0))
                    continue;
                if (count == wanted)
                    *row = (both){&exam->clip[i], program, own, differs};
                count++;
            }
    return count;
}

int sl_reads_rows(const sl_exam *exam)
{
    both row;
    return find_row(exam, -1, &row);
}

/* The clinician's own score of each zone that has one: its worst clip. */
static int own_total(const sl_exam *exam, int *zones)
{
    int total = 0;
    *zones = 0;
    for (int z = 0; z < exam->zones; z++) {
        double most = -1;
        for (int i = 0; i < exam->clips; i++) {
            const sl_finding *score = exam->clip[i].zone == exam->zone[z].zone && exam->clip[i].own
                                          ? sl_reading_get(exam->clip[i].own, SL_SCORE)
                                          : NULL;
            if (score && score->known)
                most = fmax(most, score->value);
        }
        if (most >= 0) {
            total += (int)most;
            ++*zones;
        }
    }
    return total;
}

static void draw_head(sl_pen *pen, const sl_exam *exam)
{
    const sl_phrase names[] = {SL_P_READS_ZONE, SL_P_READS_FINDING, SL_P_READS_PROGRAM, SL_P_READS_CLINICIAN};
    char text[240], number[4][32];
    int zones, total = own_total(exam, &zones);
    sl_pen_text(pen, columns[0], 54, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_READS_PAGE));
    if (zones)
        sl_pen_text(pen, columns[0], 67, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0,
                    SL_SAY(pen->say, SL_P_READS_TOTAL, text, sl_say_whole(total, number[0]), sl_say_whole(3 * zones, number[1]),
                           sl_say_whole(zones, number[2]), sl_say_whole(exam->zones, number[3])));
    for (int c = 0; c < 4; c++)
        sl_pen_text(pen, columns[c], top, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, names[c]));
    cairo_move_to(pen->cr, columns[0], top + 3);
    cairo_line_to(pen->cr, sl_paper_for(exam)->width - sl_page_margin, top + 3);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
}

int sl_draw_reads_page(sl_pen *pen, const sl_exam *exam, int first)
{
    const sl_paper *paper = sl_paper_for(exam);
    draw_head(pen, exam);
    int rows = sl_reads_rows(exam), at = first;
    for (double y = top + 15; at < rows && y < paper->height - 74; y += line, at++) {
        both row;
        find_row(exam, at, &row);
        char zone[64], text[280];
        sl_words own, program;
        sl_words_finding(pen->say, row.own, &row.clip->result.view, &own);
        if (row.program)
            sl_words_finding(pen->say, row.program, &row.clip->result.view, &program);
        sl_words_zone(pen->say, row.clip->zone, zone, sizeof zone);
        snprintf(text, sizeof text, "%s%s%s", row.clip->zone ? zone : row.clip->name, row.clip->zone ? " \u00b7 " : "",
                 row.clip->zone ? row.clip->name : "");
        sl_pen_text(pen, columns[0], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, columns[1] - columns[0] - 6, text);
        sl_pen_text(pen, columns[1], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, columns[2] - columns[1] - 6, own.label);
        sl_pen_text(pen, columns[2], y, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_LEFT, columns[3] - columns[2] - 6,
                    row.program ? program.value : sl_say(pen->say, SL_P_READS_NOT_LOOKED));
        if (row.differs)
            snprintf(text, sizeof text, "%s", own.value);
        else
            SL_SAY(pen->say, SL_P_READS_AGREED, text, own.value);
        sl_pen_text(pen, columns[3], y, SL_TYPE_SMALL | (row.differs ? SL_BOLD : 0), LOOK_COLOUR_INK, SL_ALIGN_LEFT,
                    paper->width - sl_page_margin - columns[3], text);
    }
    return at;
}
