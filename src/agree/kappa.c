#include "agree/kappa.h"

void sl_agreement_weights(sl_weighting weighting, int k, double *weight)
{
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            double apart = k > 1 ? fabs((double)(i - j)) / (k - 1) : 0;
            weight[i * k + j] = weighting == SL_WEIGHT_NONE      ? i == j
                                : weighting == SL_WEIGHT_LINEAR ? 1 - apart
                                                                : 1 - apart * apart;
        }
}

void sl_from_disagreement(const double *disagreement, int k, double *weight)
{
    double most = 0;
    for (int i = 0; i < k * k; i++)
        most = fmax(most, disagreement[i]);
    for (int i = 0; i < k * k; i++)
        weight[i] = most > 0 ? 1 - disagreement[i] / most : 1;
}

static double weight_at(const double *weight, int k, int i, int j)
{
    return weight ? weight[i * k + j] : i == j;
}

static double total(const double *table, int k)
{
    double n = 0;
    for (int i = 0; i < k * k; i++)
        n += table[i];
    return n;
}

static void margins(const double *table, int k, double n, double *row, double *column)
{
    for (int i = 0; i < k; i++)
        row[i] = column[i] = 0;
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            row[i] += table[i * k + j] / n;
            column[j] += table[i * k + j] / n;
        }
}

static sl_kappa nothing(const char *why)
{
    return (sl_kappa){sl_undefined(why), SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN};
}

sl_kappa sl_cohen_kappa(const double *table, int k, const double *weight)
{
    double n = total(table, k), row[SL_CLASSES], column[SL_CLASSES];
    if (k < 1 || k > SL_CLASSES || !(n > 0))
        return nothing("no case that both read");
    margins(table, k, n, row, column);
    double po = 0, pe = 0, row_mean[SL_CLASSES] = {0}, column_mean[SL_CLASSES] = {0};
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            double w = weight_at(weight, k, i, j);
            po += w * table[i * k + j] / n;
            pe += w * row[i] * column[j];
            row_mean[i] += w * column[j];
            column_mean[j] += w * row[i];
        }
    sl_kappa result = nothing("all cases fall in one class, so chance alone gives full agreement");
    result.observed = po;
    result.expected = pe;
    if (1 - pe < 1e-12)
        return result;
    double value = (po - pe) / (1 - pe), spread = 0, spread0 = 0;
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            double w = weight_at(weight, k, i, j), both = row_mean[i] + column_mean[j];
            double term = w * (1 - pe) - both * (1 - po);
            spread += table[i * k + j] / n * term * term;
            spread0 += row[i] * column[j] * (w - both) * (w - both);
        }
    double middle = po * pe - 2 * pe + po;
    double variance = (spread - middle * middle) / (n * pow(1 - pe, 4));
    double variance0 = (spread0 - pe * pe) / (n * (1 - pe) * (1 - pe));
    result.kappa = sl_point(value);
    if (variance > 1e-18) {
        double z = sl_level_z();
        result.kappa.se = sqrt(variance);
        result.kappa.low = fmax(-1, value - z * result.kappa.se);
        result.kappa.high = fmin(1, value + z * result.kappa.se);
    } else {
        result.kappa.why = "no interval: no spread among the cases";
    }
    if (variance0 > 1e-18) {
        result.se0 = sqrt(variance0);
        result.z = value / result.se0;
        result.p = sl_normal_two_sided(result.z);
    }
    return result;
}

sl_kappa sl_gwet_ac(const double *table, int k, const double *weight)
{
    double n = total(table, k), row[SL_CLASSES], column[SL_CLASSES], share[SL_CLASSES];
    if (k < 1 || k > SL_CLASSES || !(n > 0))
        return nothing("no case that both read");
    if (k < 2)
        return nothing("only one class");
    margins(table, k, n, row, column);
    double po = 0, weights = 0, mix = 0;
    for (int i = 0; i < k; i++) {
        share[i] = 0.5 * (row[i] + column[i]);
        mix += share[i] * (1 - share[i]);
        for (int j = 0; j < k; j++) {
            po += weight_at(weight, k, i, j) * table[i * k + j] / n;
            weights += weight_at(weight, k, i, j);
        }
    }
    double scale = weights / ((double)k * (k - 1)), pe = scale * mix;
    sl_kappa result = nothing("chance alone gives full agreement");
    result.observed = po;
    result.expected = pe;
    if (1 - pe < 1e-12)
        return result;
    double value = (po - pe) / (1 - pe), spread = 0;
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            /* what one case of this cell adds: its agreement and its part in the chance agreement */
            double case_value = (weight_at(weight, k, i, j) - pe) / (1 - pe);
            double case_pe = scale * (0.5 * (1 - share[i]) + 0.5 * (1 - share[j]));
            double part = case_value - 2 * (1 - value) * (case_pe - pe) / (1 - pe) - value;
            spread += table[i * k + j] * part * part;
        }
    result.kappa = sl_point(value);
    if (n > 1 && spread > 1e-15) {
        double t = sl_level_t(n - 1);
        result.kappa.se = sqrt(spread / (n * (n - 1)));
        result.kappa.low = fmax(-1, value - t * result.kappa.se);
        result.kappa.high = fmin(1, value + t * result.kappa.se);
    } else {
        result.kappa.why = "no interval: no spread among the cases";
    }
    return result;
}

const char *sl_kappa_word(double kappa)
{
    return !sl_known(kappa) ? "not defined"
           : kappa < 0      ? "poor"
           : kappa <= 0.2   ? "slight"
           : kappa <= 0.4   ? "fair"
           : kappa <= 0.6   ? "moderate"
           : kappa <= 0.8   ? "substantial"
                            : "almost perfect";
}
