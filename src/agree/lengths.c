#include "agree/lengths.h"

double sl_pearson(const double *first, const double *second, int n)
{
    double ma = 0, mb = 0, saa = 0, sbb = 0, sab = 0;
    for (int i = 0; i < n; i++) {
        ma += first[i];
        mb += second[i];
    }
    ma /= n;
    mb /= n;
    for (int i = 0; i < n; i++) {
        saa += (first[i] - ma) * (first[i] - ma);
        sbb += (second[i] - mb) * (second[i] - mb);
        sab += (first[i] - ma) * (second[i] - mb);
    }
    return n > 1 && saa > 0 && sbb > 0 ? sab / sqrt(saa * sbb) : SL_UNKNOWN;
}

sl_bland_altman sl_limits_of_agreement(const double *first, const double *second, int n)
{
    static const char too_few[] = "needs two or more cases measured both ways";
    sl_bland_altman r = {n, sl_undefined(too_few), sl_undefined(too_few), sl_undefined(too_few), SL_UNKNOWN,
                         SL_UNKNOWN};
    if (n < 1)
        return r;
    double bias = 0, squares = 0;
    for (int i = 0; i < n; i++)
        bias += first[i] - second[i];
    bias /= n;
    r.bias = sl_point(bias);
    r.bias.why = "no interval: one case only";
    if (n < 2)
        return r;
    for (int i = 0; i < n; i++)
        squares += (first[i] - second[i] - bias) * (first[i] - second[i] - bias);
    r.sd = sqrt(squares / (n - 1));
    if (r.sd == 0) {
        r.lower = r.upper = r.bias;
        r.bias.why = r.lower.why = r.upper.why = "no interval: all differences are the same";
        return r;
    }
    double z = sl_level_z(), t = sl_level_t(n - 1), se = r.sd / sqrt(n), se_limit = sqrt(3 * r.sd * r.sd / n);
    r.bias = (sl_estimate){bias, bias - t * se, bias + t * se, se, NULL};
    double low = bias - z * r.sd, high = bias + z * r.sd;
    r.lower = (sl_estimate){low, low - t * se_limit, low + t * se_limit, se_limit, NULL};
    r.upper = (sl_estimate){high, high - t * se_limit, high + t * se_limit, se_limit, NULL};
    /* correlation of difference and mean, in one pass over both without a buffer */
    double mean = 0, sdd = 0, smm = 0, sdm = 0;
    for (int i = 0; i < n; i++)
        mean += 0.5 * (first[i] + second[i]);
    mean /= n;
    for (int i = 0; i < n; i++) {
        double d = first[i] - second[i] - bias, m = 0.5 * (first[i] + second[i]) - mean;
        sdd += d * d;
        smm += m * m;
        sdm += d * m;
    }
    r.correlation = sdd > 0 && smm > 0 ? sdm / sqrt(sdd * smm) : SL_UNKNOWN;
    return r;
}

double sl_concordance_weighted(const double *first, const double *second, const int *weight, int n)
{
    double ma = 0, mb = 0, saa = 0, sbb = 0, sab = 0, all = 0;
    for (int i = 0; i < n; i++) {
        double w = weight ? weight[i] : 1;
        all += w;
        ma += w * first[i];
        mb += w * second[i];
    }
    ma /= all;
    mb /= all;
    for (int i = 0; i < n; i++) {
        double w = weight ? weight[i] : 1;
        saa += w * (first[i] - ma) * (first[i] - ma);
        sbb += w * (second[i] - mb) * (second[i] - mb);
        sab += w * (first[i] - ma) * (second[i] - mb);
    }
    double below = (saa + sbb) / all + (ma - mb) * (ma - mb);
    return all > 0 && below > 0 ? 2 * sab / all / below : SL_UNKNOWN;
}

sl_estimate sl_concordance(const double *first, const double *second, int n)
{
    if (n < 2)
        return sl_undefined("needs two or more cases measured both ways");
    double c = sl_concordance_weighted(first, second, NULL, n), r = sl_pearson(first, second, n);
    if (!sl_known(c))
        return sl_undefined("all values are the same");
    sl_estimate e = sl_point(c);
    if (n < 3 || !sl_known(r) || fabs(r) < 1e-12 || fabs(c) >= 1 - 1e-12) {
        e.why = "no interval: needs three or more cases that differ and do not agree fully";
        return e;
    }
    double ma = 0, mb = 0, saa = 0, sbb = 0;
    for (int i = 0; i < n; i++) {
        ma += first[i] / n;
        mb += second[i] / n;
    }
    for (int i = 0; i < n; i++) {
        saa += (first[i] - ma) * (first[i] - ma) / n;
        sbb += (second[i] - mb) * (second[i] - mb) / n;
    }
    double u2 = (ma - mb) * (ma - mb) / sqrt(saa * sbb), c2 = c * c, r2 = r * r;
    double variance = ((1 - r2) * c2 / ((1 - c2) * r2) + 2 * c * c2 * (1 - c) * u2 / (r * (1 - c2) * (1 - c2)) -
                       c2 * c2 * u2 * u2 / (2 * r2 * (1 - c2) * (1 - c2))) /
                      (n - 2);
    if (!(variance > 0)) {
        e.why = "no interval: the large-sample variance is not positive";
        return e;
    }
    double half = sl_level_z() * sqrt(variance), middle = atanh(c);
    e.low = tanh(middle - half);
    e.high = tanh(middle + half);
    e.se = (1 - c2) * sqrt(variance);
    return e;
}

/* From a sum of squares with its degrees of freedom. */
static sl_repeatability repeats_of(double squares, double df, const char *all_same)
{
    double factor = sl_level_z() * sqrt(2.0);
    sl_repeatability r = {sl_point(sqrt(squares / df)), sl_point(factor * sqrt(squares / df))};
    if (squares == 0) {
        r.within_sd.why = r.coefficient.why = all_same;
        return r;
    }
    r.within_sd.low = sqrt(squares / sl_chi2_quantile(0.5 + SL_LEVEL / 2, df));
    r.within_sd.high = sqrt(squares / sl_chi2_quantile(0.5 - SL_LEVEL / 2, df));
    r.coefficient.low = factor * r.within_sd.low;
    r.coefficient.high = factor * r.within_sd.high;
    return r;
}

sl_repeatability sl_repeat_pairs(const double *first, const double *second, int n)
{
    if (n < 1)
        return (sl_repeatability){sl_undefined("needs a case read twice"), sl_undefined("needs a case read twice")};
    double squares = 0;
    for (int i = 0; i < n; i++)
        squares += (first[i] - second[i]) * (first[i] - second[i]);
    return repeats_of(squares / 2, n, "no interval: both readings are the same throughout");
}

sl_repeatability sl_repeat_values(const double *value, int n)
{
    if (n < 2)
        return (sl_repeatability){sl_undefined("one measurement does not say how well it repeats"),
                                  sl_undefined("one measurement does not say how well it repeats")};
    double sum = 0, squares = 0;
    for (int i = 0; i < n; i++)
        sum += value[i];
    for (int i = 0; i < n; i++)
        squares += (value[i] - sum / n) * (value[i] - sum / n);
    return repeats_of(squares, n - 1, "no interval: all measurements are the same");
}

double sl_smallest_detectable_change(double sem)
{
    return sl_level_z() * sqrt(2.0) * sem;
}
