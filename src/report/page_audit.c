/* How the clips were acquired: each complaint with what was found and what to do, the gravest first. */
#include "report/pages.h"

#include "exam/rescan.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

static const double shares[] = {0, 0.20, 0.42, 0.50, 0.73}; /* where the columns begin */

/* Complaint `wanted` of the whole examination, by grade and then clip by clip; its clip, NULL for the examination's own.
 * Returns how many there are when `wanted` is beyond them. */
static int find(const sl_exam *exam, int wanted, const sl_complaint **complaint, const sl_exam_clip **clip)
{
    int count = 0;
    for (int grade = SL_GRADES - 1; grade >= 0; grade--)
        for (int i = -1; i < exam->clips; i++) {
            const sl_audit *audit = i < 0 ? &exam->audit : &exam->clip[i].audit;
            for (int k = 0; k < audit->complaints; k++) {
                if ((int)audit->complaint[k].grade != grade)
                    continue;
                if (count == wanted) {
                    *complaint = &audit->complaint[k];
                    *clip = i < 0 ? NULL : &exam->clip[i];
                }
                count++;
            }
        }
    return count;
}

int sl_audit_rows(const sl_exam *exam)
{
    const sl_complaint *complaint;
    const sl_exam_clip *clip;
    return find(exam, -1, &complaint, &clip);
}

static bool first_of_rule(const sl_exam *exam, int row, const sl_audit_rule *rule)
{
    for (int i = 0; i < row; i++) {
        const sl_complaint *c = NULL;
        const sl_exam_clip *clip = NULL;
        find(exam, i, &c, &clip);
        if (c->rule == rule)
            return false;
    }
    return true;
}

static const char *grade_word(const sl_language *say, sl_grade grade)
{
    return sl_say(say, grade == SL_GRADE_RESCAN ? SL_P_AUDIT_GRADE_RESCAN : grade == SL_GRADE_WEAK ? SL_P_AUDIT_GRADE_WEAK : SL_P_AUDIT_GRADE_NOTE);
}

static double draw_row(sl_pen *pen, const sl_exam *exam, int row, const double *at, double right, double y, double bottom, bool *fitted)
{
    const sl_complaint *c = NULL;
    const sl_exam_clip *clip = NULL;
    find(exam, row, &c, &clip);
    char zone[64], where[200], key[80], stated[600], name[300];
    sl_words_zone(pen->say, clip ? clip->zone : NULL, zone, sizeof zone);
    snprintf(where, sizeof where, "%s%s%s", clip ? clip->zone ? zone : clip->name : sl_say(pen->say, SL_P_AUDIT_WHOLE),
             clip && clip->zone ? " \u00b7 " : "", clip && clip->zone ? clip->name : "");
    snprintf(key, sizeof key, "audit.%s.name", c->rule->key);
    const char *called = sl_say_key(pen->say, key, c->rule->name);
    snprintf(name, sizeof name, "%s", called);
    if (c->suspected)
        SL_SAY(pen->say, SL_P_AUDIT_SUSPECTED, name, called);
    snprintf(key, sizeof key, "audit.%s.remedy", c->rule->key);
    const char *texts[] = {where, name, grade_word(pen->say, c->grade), sl_say_stated(pen->say, c->found, stated, sizeof stated),
                           sl_say_key(pen->say, key, c->rule->remedy)};
    double high = 0, reason_y = 0;
    snprintf(key, sizeof key, "audit.%s.reason", c->rule->key);
    const char *reason = first_of_rule(exam, row, c->rule) ? sl_say_key(pen->say, key, c->rule->reason) : "";
    const double reason_width = right - at[3] - 6;
    for (int i = 0; i < 5; i++) {
        double h = sl_pen_height(pen, (i < 4 ? at[i + 1] : right) - at[i] - 6, SL_TYPE_SMALL, texts[i]);
        high = h > high ? h : high;
    }
    if (*reason) { /* why it matters, once a rule, under what was found and what to do */
        reason_y = high + 1;
        high = reason_y + sl_pen_height(pen, reason_width, SL_TYPE_SMALL, reason);
    }
    *fitted = y + high < bottom;
    if (*fitted && *reason)
        sl_pen_paragraph(pen, at[3], y + reason_y, reason_width, 0, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, reason);
    for (int i = 0; i < 5 && *fitted; i++)
        sl_pen_paragraph(pen, at[i], y, (i < 4 ? at[i + 1] : right) - at[i] - 6, 0,
                         SL_TYPE_SMALL | (i == 1 && c->grade == SL_GRADE_RESCAN ? SL_BOLD : 0), i == 2 ? LOOK_COLOUR_QUIET : LOOK_COLOUR_INK, texts[i]);
    return y + high + 4;
}

int sl_draw_audit_page(sl_pen *pen, const sl_exam *exam, int first)
{
    static const sl_phrase names[] = {SL_P_AUDIT_WHERE, SL_P_AUDIT_COMPLAINT, SL_P_AUDIT_GRADE, SL_P_AUDIT_FOUND, SL_P_AUDIT_REMEDY};
    const sl_paper *paper = sl_paper_for(exam);
    const double left = sl_page_margin, right = paper->width - sl_page_margin, top = 86, bottom = paper->height - 62;
    char text[300];
    double at[5], y = top + 8;
    char key[64];
    snprintf(key, sizeof key, "rules.%s", sl_rules_name(exam->rules));
    SL_SAY(pen->say, SL_P_AUDIT_RULES, text, sl_say_key(pen->say, key, sl_rules_name(exam->rules)));
    sl_pen_text(pen, left, 54, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_AUDIT_PAGE));
    sl_pen_text(pen, left, 68, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, right - left, text);
    for (int i = 0; i < 5; i++) {
        at[i] = left + shares[i] * (right - left);
        sl_pen_text(pen, at[i], top, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(pen->say, names[i]));
    }
    cairo_move_to(pen->cr, left, top + 3);
    cairo_line_to(pen->cr, right, top + 3);
    sl_set_colour(pen->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
    cairo_stroke(pen->cr);
    int rows = sl_audit_rows(exam), row = first;
    for (bool fitted = true; row < rows; row++) {
        y = draw_row(pen, exam, row, at, right, y, bottom, &fitted);
        if (!fitted && row > first)
            break;
    }
    return row;
}
