#include "agree/yesno.h"

sl_estimate sl_share(double right, double all)
{
    if (!(all > 0))
        return sl_undefined("no case to take a share of");
    double z = sl_level_z(), p = right / all;
    double centre = (p + z * z / (2 * all)) / (1 + z * z / all);
    double half = z * sqrt(p * (1 - p) / all + z * z / (4 * all * all)) / (1 + z * z / all);
    sl_estimate e = {p, centre - half, centre + half, sqrt(p * (1 - p) / all), NULL};
    if (right == 0)
        e.low = 0; /* exactly so; the formula leaves a rounding error */
    if (right == all)
        e.high = 1;
    return e;
}

static sl_estimate share_or(double right, double all, const char *why)
{
    sl_estimate e = sl_share(right, all);
    if (e.why)
        e.why = why;
    return e;
}

sl_estimate sl_sensitivity(sl_fourfold t)
{
    return share_or(t.tp, t.tp + t.fn, "no true case with an answer");
}

sl_estimate sl_specificity(sl_fourfold t)
{
    return share_or(t.tn, t.tn + t.fp, "no case without the finding that has an answer");
}

sl_estimate sl_ppv(sl_fourfold t)
{
    return share_or(t.tp, t.tp + t.fp, "never called present");
}

sl_estimate sl_npv(sl_fourfold t)
{
    return share_or(t.tn, t.tn + t.fn, "never called absent");
}

sl_estimate sl_accuracy(sl_fourfold t)
{
    return share_or(t.tp + t.tn, t.tp + t.fp + t.fn + t.tn, "no case with an answer");
}

/* ratio of a/n1 to b/n2 */
static sl_estimate ratio(double a, double n1, double b, double n2, const char *no_denominator)
{
    if (!(n1 > 0))
        return sl_undefined("no true case with an answer");
    if (!(n2 > 0))
        return sl_undefined("no case without the finding that has an answer");
    if (!(b > 0))
        return sl_undefined(no_denominator);
    sl_estimate e = sl_point((a / n1) / (b / n2));
    if (!(a > 0)) {
        e.why = "no interval: the upper cell is empty";
        return e;
    }
    e.se = sqrt(1 / a - 1 / n1 + 1 / b - 1 / n2);
    double z = sl_level_z();
    e.low = e.value * exp(-z * e.se);
    e.high = e.value * exp(z * e.se);
    return e;
}

sl_estimate sl_lr_positive(sl_fourfold t)
{
    return ratio(t.tp, t.tp + t.fn, t.fp, t.fp + t.tn, "no false positive, so the ratio has no bound");
}

sl_estimate sl_lr_negative(sl_fourfold t)
{
    return ratio(t.fn, t.tp + t.fn, t.tn, t.fp + t.tn, "no true negative, so the ratio has no bound");
}

sl_estimate sl_brier(const double *index, const int *truth, int n)
{
    if (n < 1)
        return sl_undefined("no case with an index");
    double sum = 0;
    for (int i = 0; i < n; i++) {
        if (!(index[i] >= 0 && index[i] <= 1))
            return sl_undefined("an index outside 0 to 1 is no probability");
        sum += (index[i] - truth[i]) * (index[i] - truth[i]);
    }
    return sl_point(sum / n);
}

void sl_reliability(const double *index, const int *truth, int n, int bins, sl_reliability_bin *bin)
{
    for (int b = 0; b < bins; b++) {
        double sum = 0, yes = 0;
        int count = 0;
        for (int i = 0; i < n; i++) {
            int at = index[i] >= 1 ? bins - 1 : (int)(index[i] * bins);
            if (at != b || !(index[i] >= 0 && index[i] <= 1))
                continue;
            count++;
            sum += index[i];
            yes += truth[i];
        }
        bin[b] = (sl_reliability_bin){count, count ? sum / count : SL_UNKNOWN, sl_share(yes, count)};
    }
}

sl_estimate sl_calibration_gap(const sl_reliability_bin *bin, int bins)
{
    double sum = 0;
    int n = 0;
    for (int b = 0; b < bins; b++) {
        if (!bin[b].n)
            continue;
        n += bin[b].n;
        sum += bin[b].n * fabs(bin[b].observed.value - bin[b].mean_index);
    }
    return n ? sl_point(sum / n) : sl_undefined("no case with an index");
}
