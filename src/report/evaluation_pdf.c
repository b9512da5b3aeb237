#include "report/evaluation_pdf.h"

#include "core/text.h"
#include "core/units.h"
#include "report/evaluation_plots.h"
#include "report/outfile.h"
#include "report/pages.h"
#include "report/words.h"

#include <cairo-pdf.h>
#include <stdio.h>
#include <string.h>

typedef struct document {
    sl_outfile file;
    cairo_surface_t *surface;
    cairo_t *cr;
    sl_pen pen;
    int page, pages;
} document;

static const double page_width = 841.89, page_height = 595.28; /* A4 across */

static cairo_status_t write_piece(void *closure, const unsigned char *bytes, unsigned length)
{
    return sl_outfile_write(closure, bytes, length) ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

static sl_status open_document(document *d, const char *path, const char *title, int pages, sl_error *error)
{
    *d = (document){.pages = pages};
    sl_status status = sl_outfile_open(&d->file, path, error);
    if (status != SL_OK)
        return status;
    d->surface = cairo_pdf_surface_create_for_stream(write_piece, &d->file, page_width, page_height);
    cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_CREATOR, "strandline " SL_VERSION);
    cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_SUBJECT, sl_words_caution);
    /* no clock: the same input gives the same bytes */
    cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_CREATE_DATE, "2000-01-01T00:00:00Z");
    d->cr = cairo_create(d->surface);
    sl_pen_begin(&d->pen, d->cr);
    return SL_OK;
}

static void begin_page(document *d)
{
    const double left = sl_page_margin, right = page_width - sl_page_margin, y = page_height - 40;
    char text[60];
    if (d->page++)
        cairo_show_page(d->cr);
    sl_set_colour(d->cr, LOOK_COLOUR_PAPER, 1);
    cairo_paint(d->cr);
    cairo_move_to(d->cr, left, y);
    cairo_line_to(d->cr, right, y);
    sl_set_colour(d->cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(d->cr, LOOK_STROKE_HAIR);
    cairo_stroke(d->cr);
    sl_pen_text(&d->pen, left, y + 10, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_words_caution);
    sl_pen_text(&d->pen, left, y + 20, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0,
                "strandline " SL_VERSION "; figures hold for the clips named here and may not hold for others.");
    snprintf(text, sizeof text, "page %d of %d", d->page, d->pages);
    sl_pen_text(&d->pen, right, y + 10, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, text);
}

static sl_status close_document(document *d, const char *path, sl_error *error)
{
    sl_pen_end(&d->pen);
    cairo_destroy(d->cr);
    cairo_surface_finish(d->surface);
    cairo_status_t drawn = cairo_surface_status(d->surface);
    cairo_surface_destroy(d->surface);
    sl_status status = sl_outfile_close(&d->file, drawn == CAIRO_STATUS_SUCCESS, error);
    if (status == SL_OK && drawn != CAIRO_STATUS_SUCCESS)
        return sl_fail(error, drawn == CAIRO_STATUS_NO_MEMORY ? SL_MEMORY : SL_IO, "%s could not be drawn: %s.", path,
                       cairo_status_to_string(drawn));
    return status;
}

/* ---- evaluation ---- */

static const double value_x = 214, range_x = 226, person_x = 310, plots_x = 446;

/* Rows of numbers; the place of the sensitivity's value is returned for its thread. */
static void draw_measures(sl_pen *pen, const sl_comparison *c, double top, double *from_x, double *from_y)
{
    double y = top;
    sl_pen_text(pen, range_x, y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, "95 % interval");
    sl_pen_text(pen, person_x, y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, "by person");
    y += 15;
    for (int i = 0; i < c->measures; i++) {
        const sl_measure *m = &c->measure[i];
        char text[160];
        sl_pen_text(pen, sl_page_margin, y, SL_TYPE_BODY, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 150, m->name);
        if (!sl_known(m->of.value)) {
            snprintf(text, sizeof text, "not defined: %s", m->of.why ? m->of.why : "");
            sl_pen_text(pen, 188, y, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 220, text);
        } else {
            sl_measure_value_text(m, m->of.value, text, sizeof text);
            sl_pen_text(pen, value_x, y, SL_TYPE_VALUE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, text);
            sl_measure_range_text(m, m->of.low, m->of.high, text, sizeof text);
            sl_pen_text(pen, range_x, y, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, text);
            sl_measure_range_text(m, m->person.low, m->person.high, text, sizeof text);
            sl_pen_text(pen, person_x, y, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, text);
            if (!strcmp(m->key, "sensitivity")) {
                *from_x = person_x + 62;
                *from_y = y - 2.5;
            }
        }
        y += 17;
    }
}

static void draw_comparison(document *d, const sl_evaluation *e, const sl_comparison *c)
{
    sl_pen *pen = &d->pen;
    char text[400];
    begin_page(d);
    sl_pen_text(pen, sl_page_margin, 48, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 700, c->name);
    sl_comparison_text(c, text, sizeof text);
    sl_pen_text(pen, sl_page_margin, 63, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 700, text);
    snprintf(text, sizeof text, "readings %s, labels %s; persons: %s", sl_path_name(e->statements->readings_path),
             sl_path_name(e->statements->labels_path), c->persons ? e->statements->by : "not known");
    sl_pen_text(pen, sl_page_margin, 75, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 700, text);
    double from_x = SL_UNKNOWN, from_y = SL_UNKNOWN, mark_x = SL_UNKNOWN, mark_y = SL_UNKNOWN;
    draw_measures(pen, c, 108, &from_x, &from_y);
    if (c->use->scale == SL_SCALE_YES_NO)
        sl_draw_yes_no(pen, c, plots_x, 106, &mark_x, &mark_y);
    else if (c->use->scale == SL_SCALE_ORDERED)
        sl_draw_ordered(pen, c, plots_x, 106);
    else
        sl_draw_numbers(pen, c, plots_x - 20, 106);
    if (sl_known(mark_x) && sl_known(from_x))
        sl_draw_thread(d->cr, from_x, from_y, mark_x, mark_y);
}

static const char how[] =
    "Shares: Wilson. Likelihood ratios: on the log scale. Area under the curve: DeLong. Kappas: Fleiss, Cohen and Everitt; "
    "AC1 and AC2: Gwet. Bias and limits: Bland and Altman, Student's t. Concordance: Lin. ICC: Shrout and Fleiss. "
    "\u201cBy person\u201d: percentiles over draws of whole persons with replacement, since clips of one person are alike; "
    "where both stand, that one is the one to quote. An interval is left out where it has no value. Right among the surest: "
    "index one half or more counts as present, and clips are ordered by the distance of the index from one half. Formulas "
    "and sources stand in the headers under src/agree.";

static void draw_remarks(document *d, const sl_evaluation *e)
{
    sl_pen *pen = &d->pen;
    begin_page(d);
    double y = 48;
    sl_pen_text(pen, sl_page_margin, y, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, "Remarks");
    y += 14;
    for (int i = 0; i < e->notes->count; i++) {
        if (y > page_height - 140) {
            char more[60];
            snprintf(more, sizeof more, "%d more remarks stand in evaluation.json.", e->notes->count - i);
            y += sl_pen_paragraph(pen, sl_page_margin, y, 700, 1, SL_TYPE_BODY, LOOK_COLOUR_INK, more) + 5;
            break;
        }
        y += sl_pen_paragraph(pen, sl_page_margin, y, 700, 4, SL_TYPE_BODY, LOOK_COLOUR_INK, e->notes->text[i]) + 5;
    }
    if (!e->notes->count)
        y += sl_pen_paragraph(pen, sl_page_margin, y, 700, 1, SL_TYPE_BODY, LOOK_COLOUR_INK,
                              "Nothing was left out and nothing was in doubt.") + 5;
    sl_pen_text(pen, sl_page_margin, y + 20, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0,
                "How it was worked out");
    sl_pen_paragraph(pen, sl_page_margin, y + 26, 700, 0, SL_TYPE_BODY, LOOK_COLOUR_INK, how);
}

sl_status sl_report_evaluation(const sl_evaluation *e, const char *path, sl_error *error)
{
    document d;
    int pages = 1;
    for (int i = 0; i < e->comparisons; i++)
        pages += e->comparison[i].measures > 0;
    sl_status status = open_document(&d, path, "Readings compared", pages, error);
    if (status != SL_OK)
        return status;
    for (int i = 0; i < e->comparisons; i++)
        if (e->comparison[i].measures)
            draw_comparison(&d, e, &e->comparison[i]);
    draw_remarks(&d, e);
    return close_document(&d, path, error);
}

/* ---- learning ---- */

sl_status sl_report_learning(const sl_curve *curve, int curves, const char *path, sl_error *error)
{
    document d;
    sl_status status = open_document(&d, path, "Learning to read", curves > 0 ? curves : 1, error);
    if (status != SL_OK)
        return status;
    for (int i = 0; i < curves; i++) {
        sl_text text = {0};
        begin_page(&d);
        sl_pen_text(&d.pen, sl_page_margin, 48, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 700,
                    sl_finding_info_of(curve[i].code)->name);
        sl_draw_learning(&d.pen, &curve[i], sl_page_margin + 34, 80);
        sl_curve_text(&curve[i], &text);
        char *body = text.bytes ? strchr(text.bytes, '\n') : NULL; /* its first line is the title above */
        double y = 452;
        for (char *line = body ? body + 1 : NULL; line && *line;) {
            char *end = line + strcspn(line, "\n"), kept = *end;
            *end = 0;
            y += sl_pen_paragraph(&d.pen, sl_page_margin, y, 740, 3, SL_TYPE_BODY, LOOK_COLOUR_INK,
                                  line + strspn(line, " ")) + 3;
            *end = kept;
            line = end + (kept == '\n');
        }
        sl_pen_paragraph(&d.pen, sl_page_margin, y, 740, 2, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, curve[i].rule->source);
        sl_text_free(&text);
    }
    if (!curves)
        begin_page(&d);
    return close_document(&d, path, error);
}
