#include "report/evaluation_plots.h"

#include "core/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { MOST_DISCS = 4000 };

/* ---- yes/no ---- */

static void draw_roc(sl_pen *pen, const sl_comparison *c, double x, double y, double side, double *mark_x, double *mark_y)
{
    sl_plot p = {pen, x, y, side, side, 0, 1, 0, 1, true, true};
    sl_plot_frame(&p, "ROC curve", "called present of those without it", "called present of those with it");
    sl_plot_fill(&p, c->roc.false_positive, c->roc.true_positive, c->roc.points, LOOK_COLOUR_TIDE_FILL);
    sl_plot_rule(&p, 0, 0, 1, 1, LOOK_COLOUR_QUIET, true);
    sl_plot_line(&p, c->roc.false_positive, c->roc.true_positive, c->roc.points, LOOK_COLOUR_TIDE_LINE, 1.2);
    double sensitivity = sl_sensitivity(c->table).value, specificity = sl_specificity(c->table).value;
    if (!c->has_answers || !sl_known(sensitivity) || !sl_known(specificity))
        return;
    sl_plot_disc(&p, 1 - specificity, sensitivity, 3, LOOK_COLOUR_INK, true);
    sl_pen_text(pen, x + side - 3, y + side - 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0,
                "ring: the answers, untold ones left out");
    *mark_x = sl_plot_x(&p, 1 - specificity);
    *mark_y = sl_plot_y(&p, sensitivity);
}

static void draw_calibration(sl_pen *pen, const sl_comparison *c, double x, double y, double side)
{
    sl_plot p = {pen, x, y, side, side, 0, 1, 0, 1, false, true};
    sl_plot_frame(&p, "Calibration", "index", "share that has it");
    sl_plot_rule(&p, 0, 0, 1, 1, LOOK_COLOUR_QUIET, true);
    int most = 1;
    for (int i = 0; i < SL_RELIABILITY_BINS; i++)
        most = c->bin[i].n > most ? c->bin[i].n : most;
    for (int i = 0; i < SL_RELIABILITY_BINS; i++) {
        const sl_reliability_bin *b = &c->bin[i];
        if (!b->n)
            continue;
        sl_plot_interval(&p, b->mean_index, b->observed.low, b->observed.high, LOOK_COLOUR_TIDE_FILL);
        sl_plot_disc(&p, b->mean_index, b->observed.value, 1.4 + 2.6 * sqrt((double)b->n / most), LOOK_COLOUR_TIDE_LINE,
                     false);
    }
    sl_pen_text(pen, x + side, y + side - 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0,
                "area of a disc: number of clips");
}

static void draw_sureness(sl_pen *pen, const sl_comparison *c, double x, double y, double side)
{
    sl_plot p = {pen, x, y, side, side, 0, 1, 0.5, 1, true, true};
    for (int i = 0; i < SL_SURE_STEPS; i++)
        if (c->sure_right[i] < 0.5)
            p.bottom = 0;
    sl_plot_frame(&p, "The surest clips first", "share of the clips answered", "right among them");
    sl_plot_line(&p, c->sure_share, c->sure_right, SL_SURE_STEPS, LOOK_COLOUR_TIDE_LINE, 1.2);
    for (int i = 0; i < SL_SURE_STEPS; i++)
        if (sl_known(c->sure_right[i]))
            sl_plot_disc(&p, c->sure_share[i], c->sure_right[i], 1.8, LOOK_COLOUR_TIDE_LINE, false);
}

/* A table whose cells are filled like water: the fuller a cell, the deeper, relative to its row. */
static void draw_cells(sl_pen *pen, const char *title, const char *const *rows, const char *const *columns,
                       const double *value, int n_rows, int n_columns, double x, double y, double width, double height)
{
    const double label = 62;
    double w = (width - label) / n_columns, h = height / n_rows;
    sl_pen_text(pen, x, y - 20, SL_TYPE_VALUE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, title);
    for (int j = 0; j < n_columns; j++)
        sl_pen_text(pen, x + label + (j + 0.5) * w, y - 5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, w, columns[j]);
    for (int i = 0; i < n_rows; i++) {
        double sum = 0;
        for (int j = 0; j < n_columns; j++)
            sum += value[i * n_columns + j];
        sl_pen_text(pen, x + label - 6, y + (i + 0.5) * h + 2.5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, label,
                    rows[i]);
        for (int j = 0; j < n_columns; j++) {
            double v = value[i * n_columns + j], share = sum > 0 ? v / sum : 0;
            char text[24];
            snprintf(text, sizeof text, "%.0f", v);
            cairo_rectangle(pen->cr, x + label + j * w + 1, y + i * h + 1, w - 2, h - 2);
            sl_set_colour(pen->cr, LOOK_COLOUR_AERATED_3, 0.05 + 0.85 * share);
            cairo_fill(pen->cr);
            sl_pen_text(pen, x + label + (j + 0.5) * w, y + (i + 0.5) * h + 3.2, SL_TYPE_VALUE,
                        share > 0.72 ? LOOK_COLOUR_PAPER : LOOK_COLOUR_INK, SL_ALIGN_CENTRE, w, text);
        }
    }
}

void sl_draw_yes_no(sl_pen *pen, const sl_comparison *c, double x, double top, double *mark_x, double *mark_y)
{
    *mark_x = *mark_y = SL_UNKNOWN;
    const double side = 158, across = side + 48, down = side + 56;
    int place = 0;
    if (c->roc.points)
        draw_roc(pen, c, x + (place++ % 2) * across, top, side, mark_x, mark_y);
    if (c->has_index && c->index_is_share) {
        draw_calibration(pen, c, x + (place % 2) * across, top + (place / 2) * down, side);
        place++;
        draw_sureness(pen, c, x + (place % 2) * across, top + (place / 2) * down, side);
        place++;
    }
    if (!c->has_answers)
        return;
    double cell[6] = {c->table.tp, c->table.fn, 0, c->table.fp, c->table.tn, 0};
    for (int i = 0; i < c->cases; i++)
        if (c->word[i] != SL_WORD_YES && c->word[i] != SL_WORD_NO)
            cell[c->reference[i] > 0.5 ? 2 : 5]++;
    draw_cells(pen, "Label against reading", (const char *const[]){"labelled yes", "labelled no"},
               (const char *const[]){"present", "absent", "not told"}, cell, 2, 3, x + (place % 2) * across - 24,
               top + (place / 2) * down + 22, side + 34, 84);
}

/* ---- ordered ---- */

void sl_draw_ordered(sl_pen *pen, const sl_comparison *c, double x, double top)
{
    char name[SL_CLASSES][2][24];
    const char *rows[SL_CLASSES], *columns[SL_CLASSES];
    for (int i = 0; i < c->classes; i++) {
        snprintf(name[i][0], sizeof name[i][0], "label %d", i + c->first_class);
        snprintf(name[i][1], sizeof name[i][1], "read as %d", i + c->first_class);
        rows[i] = name[i][0];
        columns[i] = name[i][1];
    }
    draw_cells(pen, "Label against reading", rows, columns, c->confusion, c->classes, c->classes, x - 20, top + 14, 350, 230);
    sl_pen_paragraph(pen, x - 20, top + 256, 350, 0, SL_TYPE_SMALL, LOOK_COLOUR_QUIET,
                     "Clips; the deeper a cell's colour, the greater its share of the row. On the diagonal both say the "
                     "same.");
}

/* ---- numbers ---- */

static void widen(double value, double *low, double *high)
{
    *low = fmin(*low, value);
    *high = fmax(*high, value);
}

static void draw_discs(const sl_plot *p, const sl_comparison *c, bool differences)
{
    int step = c->numbers / MOST_DISCS + 1;
    for (int i = 0; i < c->numbers; i += step)
        sl_plot_disc(p, differences ? 0.5 * (c->first[i] + c->second[i]) : c->second[i],
                     differences ? c->first[i] - c->second[i] : c->first[i], 1.7, LOOK_COLOUR_TIDE_LINE, false);
    if (step > 1) {
        char text[60];
        snprintf(text, sizeof text, "every %dth clip is drawn", step);
        sl_pen_text(p->pen, p->x + p->width, p->y + p->height - 4, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, text);
    }
}

static void pad(double *low, double *high)
{
    double room = *high > *low ? 0.06 * (*high - *low) : fabs(*low) * 0.1 + 0.5;
    *low -= room;
    *high += room;
}

void sl_draw_numbers(sl_pen *pen, const sl_comparison *c, double x, double top)
{
    if (!c->numbers)
        return;
    double low = INFINITY, high = -INFINITY, below = INFINITY, above = -INFINITY;
    for (int i = 0; i < c->numbers; i++) {
        widen(c->first[i], &low, &high);
        widen(c->second[i], &low, &high);
        widen(c->first[i] - c->second[i], &below, &above);
    }
    const sl_bland_altman *b = &c->limits;
    const sl_estimate *line[] = {&b->lower, &b->bias, &b->upper};
    for (int i = 0; i < 3; i++)
        if (sl_known(line[i]->value)) {
            widen(sl_known(line[i]->low) ? line[i]->low : line[i]->value, &below, &above);
            widen(sl_known(line[i]->high) ? line[i]->high : line[i]->value, &below, &above);
        }
    pad(&low, &high);
    pad(&below, &above);
    char unit[120];
    snprintf(unit, sizeof unit, "mean of both%s%s", *c->unit ? ", " : "", c->unit);
    sl_plot p = {pen, x, top, 350, 178, low, high, below, above, false, false};
    sl_plot_frame(&p, "Bias and limits of agreement", unit, "reading - reference");
    for (int i = 0; i < 3; i++) {
        if (!sl_known(line[i]->value))
            continue;
        if (sl_known(line[i]->low)) {
            cairo_rectangle(pen->cr, p.x, sl_plot_y(&p, line[i]->high), p.width,
                            sl_plot_y(&p, line[i]->low) - sl_plot_y(&p, line[i]->high));
            sl_set_colour(pen->cr, LOOK_COLOUR_TIDE_FILL, 0.35);
            cairo_fill(pen->cr);
        }
        sl_plot_rule(&p, low, line[i]->value, high, line[i]->value, LOOK_COLOUR_INK, i != 1);
    }
    draw_discs(&p, c, true);
    snprintf(unit, sizeof unit, "reference%s%s", *c->unit ? ", " : "", c->unit);
    sl_plot q = {pen, x, top + 232, 178, 178, low, high, low, high, false, false};
    sl_plot_frame(&q, "Reading against reference", unit, "reading");
    sl_plot_rule(&q, low, low, high, high, LOOK_COLOUR_QUIET, true);
    draw_discs(&q, c, false);
}

/* ---- learning ---- */

void sl_draw_learning(sl_pen *pen, const sl_curve *c, double x, double top)
{
    int n = c->attempts;
    double *at = malloc(sizeof *at * (size_t)(n + 1)), *share = malloc(sizeof *share * (size_t)(n + 1));
    double *s = malloc(sizeof *s * (size_t)(n + 1)), high = c->plan.h * 1.15, end = fmax(n, 10);
    if (!at || !share || !s) {
        free(at);
        free(share);
        free(s);
        return;
    }
    sl_plot p = {pen, x, top, 700, 150, 0, end, 0, 1, false, true};
    sl_plot_frame(&p, "Right, of the last 20 at first sight", "attempt", "right");
    for (int i = 0; i < n; i++) {
        int from = i + 1 < SL_RECENT ? 0 : i + 1 - SL_RECENT, right = 0;
        for (int k = from; k <= i; k++)
            right += c->success[k];
        sl_estimate e = sl_share(right, i + 1 - from);
        at[i] = i + 1;
        share[i] = e.value;
        s[i] = c->chart[i];
        high = fmax(high, s[i] * 1.05);
        sl_plot_rule(&p, at[i], e.low, at[i], e.high, LOOK_COLOUR_TIDE_FILL, false);
    }
    sl_plot_rule(&p, 0, 1 - c->plan.p1, end, 1 - c->plan.p1, LOOK_COLOUR_QUIET, true);
    sl_pen_text(pen, p.x + p.width, sl_plot_y(&p, 1 - c->plan.p1) - 3, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0,
                "adequate");
    sl_plot_line(&p, at, share, n, LOOK_COLOUR_TIDE_LINE, 1.2);
    sl_plot q = {pen, x, top + 204, 700, 130, 0, end, 0, sl_known(high) ? high : 5, false, false};
    sl_plot_frame(&q, "Learning chart (LC-CUSUM)", "attempt", "chart");
    if (sl_known(c->plan.h)) {
        sl_plot_rule(&q, 0, c->plan.h, end, c->plan.h, LOOK_COLOUR_INK, true);
        char text[60];
        snprintf(text, sizeof text, "limit %.2f", c->plan.h);
        sl_pen_text(pen, q.x + q.width, sl_plot_y(&q, c->plan.h) - 3, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, text);
    }
    sl_plot_fill(&q, at, s, n, LOOK_COLOUR_TIDE_FILL);
    sl_plot_line(&q, at, s, n, LOOK_COLOUR_TIDE_LINE, 1.2);
    for (int i = 0; i < n; i++)
        if (!c->success[i])
            sl_plot_disc(&q, at[i], s[i], 2, LOOK_COLOUR_INK, true);
    if (c->signal)
        sl_plot_disc(&q, c->signal, s[c->signal - 1], 3, LOOK_COLOUR_INK, false);
    free(at);
    free(share);
    free(s);
}
