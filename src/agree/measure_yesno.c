#include "agree/measure_parts.h"

#include "agree/raters.h"

#include <stdlib.h>

enum { ANSWERED, SENSITIVITY, SPECIFICITY, PPV, NPV, RIGHT, LR_PLUS, LR_MINUS, KAPPA, AC1, AREA, BRIER, RIGHT_80, ALL };

/* The cases with an index, lying in memory in the order in which the draws walk through them. */
typedef struct yes_no {
    const sl_comparison *c;
    int n;
    /* by index, ascending */
    double *index;
    int *truth, *case_of; /* the latter: place among all cases */
    /* by distance of the index from one half, surest first */
    bool *sure_right;     /* index at least one half = present */
    int *sure_case;
} yes_no;

static sl_fourfold count(const sl_comparison *c, const int *weight, double *answered, double *all)
{
    sl_fourfold t = {0, 0, 0, 0};
    *answered = *all = 0;
    for (int i = 0; i < c->cases; i++) {
        double w = weight ? weight[i] : 1;
        bool yes = c->word[i] == SL_WORD_YES, no = c->word[i] == SL_WORD_NO, truth = c->reference[i] > 0.5;
        *all += w;
        *answered += yes || no ? w : 0;
        t.tp += yes && truth ? w : 0;
        t.fp += yes && !truth ? w : 0;
        t.fn += no && truth ? w : 0;
        t.tn += no && !truth ? w : 0;
    }
    return t;
}

/* Of the surest `share` of the cases with an index, how many were right. */
static double right_of_surest(const yes_no *y, const int *weight, double share)
{
    double all = 0, taken = 0, right = 0;
    for (int i = 0; i < y->n; i++)
        all += weight ? weight[y->sure_case[i]] : 1;
    double wanted = share * all;
    for (int i = 0; i < y->n && taken < wanted - 1e-9; i++) {
        double w = fmin(weight ? weight[y->sure_case[i]] : 1, wanted - taken);
        taken += w;
        right += y->sure_right[i] ? w : 0;
    }
    return taken > 0 ? right / taken : SL_UNKNOWN;
}

static double area_of(const yes_no *y, const int *weight)
{
    double yes_all = 0, no_below = 0, won = 0;
    for (int i = 0; i < y->n;) {
        double yes = 0, no = 0, at = y->index[i];
        for (; i < y->n && y->index[i] == at; i++) {
            double w = weight[y->case_of[i]];
            yes += y->truth[i] ? w : 0;
            no += y->truth[i] ? 0 : w;
        }
        won += yes * (no_below + 0.5 * no);
        no_below += no;
        yes_all += yes;
    }
    return yes_all > 0 && no_below > 0 ? won / (yes_all * no_below) : SL_UNKNOWN;
}

static void resampled(const void *context, const int *weight, double *value)
{
    const yes_no *y = context;
    double answered, all;
    sl_fourfold t = count(y->c, weight, &answered, &all);
    double table[4] = {t.tp, t.fn, t.fp, t.tn};
    value[ANSWERED] = all > 0 ? answered / all : SL_UNKNOWN;
    value[SENSITIVITY] = sl_sensitivity(t).value;
    value[SPECIFICITY] = sl_specificity(t).value;
    value[PPV] = sl_ppv(t).value;
    value[NPV] = sl_npv(t).value;
    value[RIGHT] = sl_accuracy(t).value;
    value[LR_PLUS] = sl_lr_positive(t).value;
    value[LR_MINUS] = sl_lr_negative(t).value;
    value[KAPPA] = sl_cohen_kappa(table, 2, NULL).kappa.value;
    value[AC1] = sl_gwet_ac(table, 2, NULL).kappa.value;
    value[AREA] = area_of(y, weight);
    double miss = 0, cases = 0;
    for (int i = 0; i < y->n; i++) {
        double w = weight[y->case_of[i]], d = y->index[i] - y->truth[i];
        miss += w * d * d;
        cases += w;
    }
    value[BRIER] = cases > 0 ? miss / cases : SL_UNKNOWN;
    value[RIGHT_80] = right_of_surest(y, weight, 0.8);
}

typedef struct sure {
    double sureness;
    int at;
} sure;

static int surest_first(const void *a, const void *b)
{
    const sure *x = a, *y = b;
    if (x->sureness != y->sureness)
        return x->sureness > y->sureness ? -1 : 1;
    return (x->at > y->at) - (x->at < y->at);
}

static bool gather(sl_comparison *c, yes_no *y, sl_arena *arena)
{
    const int room = c->cases + 1;
    y->c = c;
    y->truth = SL_NEW(arena, room, int);
    y->case_of = SL_NEW(arena, room, int);
    y->sure_case = SL_NEW(arena, room, int);
    y->sure_right = SL_NEW(arena, room, bool);
    y->index = SL_NEW(arena, room, double);
    double *index = SL_NEW(arena, room, double);
    int *order = SL_NEW(arena, room, int), *case_of = SL_NEW(arena, room, int);
    sure *list = SL_NEW(arena, room, sure);
    if (!y->truth || !y->case_of || !y->sure_case || !y->sure_right || !y->index || !index || !order || !case_of || !list)
        return false;
    c->index_is_share = !c->use->info || c->use->info->kind == SL_KIND_ANSWER;
    for (int i = 0; i < c->cases; i++) {
        c->has_answers |= c->word[i] == SL_WORD_YES || c->word[i] == SL_WORD_NO;
        if (!sl_known(c->reading[i]))
            continue;
        c->index_is_share &= c->reading[i] >= 0 && c->reading[i] <= 1;
        index[y->n] = c->reading[i];
        case_of[y->n++] = i;
    }
    c->has_index = y->n > 0;
    if (c->use->info && c->use->info->kind != SL_KIND_ANSWER)
        c->has_answers = false; /* a score of 1 is no "yes" */
    sl_roc_order(index, y->n, order);
    for (int i = 0; i < y->n; i++) {
        y->index[i] = index[order[i]];
        y->case_of[i] = case_of[order[i]];
        y->truth[i] = c->reference[y->case_of[i]] > 0.5;
        list[i] = (sure){fabs(index[i] - 0.5), i};
    }
    qsort(list, (size_t)y->n, sizeof *list, surest_first);
    for (int i = 0; i < y->n; i++) {
        y->sure_case[i] = case_of[list[i].at];
        y->sure_right[i] = (index[list[i].at] >= 0.5) == (c->reference[y->sure_case[i]] > 0.5);
    }
    return true;
}

sl_status sl_measure_yes_no(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error)
{
    yes_no y = {0};
    if (!gather(c, &y, arena))
        return sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", c->name);
    if (!c->cases)
        return SL_OK;
    sl_spread *by = sl_measure_resample(c, ALL, resampled, &y, how, arena, error);
    if (!by)
        return SL_MEMORY;
    double answered, all;
    c->table = count(c, NULL, &answered, &all);
    if (c->has_answers) {
        sl_fourfold t = c->table;
        double table[4] = {t.tp, t.fn, t.fp, t.tn};
        c->answered = (int)answered;
        sl_measure_add(c, "answered", "answered", "Wilson", true, sl_share(answered, all), &by[ANSWERED]);
        sl_measure_add(c, "sensitivity", "sensitivity", "Wilson", true, sl_sensitivity(t), &by[SENSITIVITY]);
        sl_measure_add(c, "specificity", "specificity", "Wilson", true, sl_specificity(t), &by[SPECIFICITY]);
        sl_measure_add(c, "ppv", "positive predictive value", "Wilson", true, sl_ppv(t), &by[PPV]);
        sl_measure_add(c, "npv", "negative predictive value", "Wilson", true, sl_npv(t), &by[NPV]);
        sl_measure_add(c, "right", "right among the answered", "Wilson", true, sl_accuracy(t), &by[RIGHT]);
        sl_measure_add(c, "lr_positive", "positive likelihood ratio", "log", false, sl_lr_positive(t), &by[LR_PLUS]);
        sl_measure_add(c, "lr_negative", "negative likelihood ratio", "log", false, sl_lr_negative(t), &by[LR_MINUS]);
        sl_measure_add(c, "kappa", "Cohen's kappa", "Fleiss-Cohen-Everitt", false,
                       sl_cohen_kappa(table, 2, NULL).kappa, &by[KAPPA]);
        sl_measure_add(c, "ac1", "Gwet's AC1", "Student's t", false, sl_gwet_ac(table, 2, NULL).kappa, &by[AC1]);
    }
    if (!c->has_index)
        return SL_OK;
    if (!c->has_answers)
        c->answered = y.n;
    sl_measure_add(c, "auc", "area under the ROC curve", "DeLong", false,
                   sl_roc_area(y.index, y.truth, y.n, arena, &c->roc), &by[AREA]);
    if (!c->index_is_share)
        return SL_OK;
    sl_reliability(y.index, y.truth, y.n, SL_RELIABILITY_BINS, c->bin);
    sl_measure_add(c, "brier", "Brier score", "", false, sl_brier(y.index, y.truth, y.n), &by[BRIER]);
    sl_measure_add(c, "calibration_gap", "mean calibration gap", "", false,
                   sl_calibration_gap(c->bin, SL_RELIABILITY_BINS), NULL);
    for (int i = 0; i < SL_SURE_STEPS; i++) {
        c->sure_share[i] = (i + 1.0) / SL_SURE_STEPS;
        c->sure_right[i] = right_of_surest(&y, NULL, c->sure_share[i]);
    }
    sl_measure_add(c, "right_at_80", "right among the surest 80 %", "", true, sl_point(right_of_surest(&y, NULL, 0.8)),
                   &by[RIGHT_80]);
    return SL_OK;
}
