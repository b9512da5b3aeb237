#include "agree/icc.h"


/* Interval of (F - 1) / (F + k - 1) and of 1 - 1 / F from a variance ratio F with its degrees of freedom. */
static void ratio_interval(double f, double df1, double df2, double k, sl_estimate *single, sl_estimate *mean)
{
    double low = f / sl_f_quantile(0.5 + SL_LEVEL / 2, df1, df2);
    double high = f * sl_f_quantile(0.5 + SL_LEVEL / 2, df2, df1);
    single->low = (low - 1) / (low + k - 1);
    single->high = (high - 1) / (high + k - 1);
    mean->low = 1 - 1 / low;
    mean->high = 1 - 1 / high;
}

/* (2,1) and (2,k): Satterthwaite's degrees of freedom for the judges' and the error variance together. */
static void two_way_interval(sl_icc *r)
{
    double n = r->cases, k = r->readers, icc = r->two_1.value, fj = r->judges / r->error;
    double part = n * (1 + (k - 1) * icc) - k * icc;
    double above = (n - 1) * (k - 1) * pow(k * icc * fj + part, 2);
    double below = (n - 1) * k * k * icc * icc * fj * fj + part * part;
    double df = above / below;
    double up = sl_f_quantile(0.5 + SL_LEVEL / 2, n - 1, df), down = sl_f_quantile(0.5 + SL_LEVEL / 2, df, n - 1);
    double rest = k * r->judges + (k * n - k - n) * r->error;
    r->two_1.low = n * (r->between - up * r->error) / (up * rest + n * r->between);
    r->two_1.high = n * (down * r->between - r->error) / (rest + n * down * r->between);
    r->two_k.low = r->two_1.low * k / (1 + r->two_1.low * (k - 1));
    r->two_k.high = r->two_1.high * k / (1 + r->two_1.high * (k - 1));
}

static void mean_squares(const double *value, sl_icc *r)
{
    int n = r->cases, k = r->readers;
    double all = 0, total = 0, cases = 0, judges = 0;
    for (int i = 0; i < n * k; i++)
        all += value[i];
    all /= (double)n * k;
    for (int i = 0; i < n; i++) {
        double mean = 0;
        for (int j = 0; j < k; j++) {
            mean += value[i * k + j];
            total += (value[i * k + j] - all) * (value[i * k + j] - all);
        }
        mean /= k;
        cases += k * (mean - all) * (mean - all);
    }
    for (int j = 0; j < k; j++) {
        double mean = 0;
        for (int i = 0; i < n; i++)
            mean += value[i * k + j];
        mean /= n;
        judges += n * (mean - all) * (mean - all);
    }
    r->between = cases / (n - 1);
    r->within = fmax(0, total - cases) / ((double)n * (k - 1));
    r->judges = judges / (k - 1);
    r->error = fmax(0, total - cases - judges) / ((double)(n - 1) * (k - 1));
    if (r->error < 1e-13 * (total / ((double)n * k))) /* what rounding leaves of nothing */
        r->error = 0;
    if (r->within < 1e-13 * (total / ((double)n * k)))
        r->within = 0;
}

sl_icc sl_intraclass(const double *value, int cases, int readers)
{
    sl_estimate none = sl_undefined("needs two or more cases, each with two or more readings");
    sl_icc r = {cases, readers, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, none,
                none,  none,    none,       none,       none,       SL_UNKNOWN, SL_UNKNOWN};
    if (cases < 2 || readers < 2)
        return r;
    mean_squares(value, &r);
    double n = cases, k = readers, b = r.between, w = r.within, j = r.judges, e = r.error;
    r.sem_consistency = sqrt(e);
    r.sem_agreement = sqrt(fmax(0, (j - e) / n) + e);
    if (!(b > 0)) {
        r.one_1 = r.two_1 = r.three_1 = r.one_k = r.two_k = r.three_k = sl_undefined("the cases do not differ");
        return r;
    }
    r.one_1 = sl_point((b - w) / (b + (k - 1) * w));
    r.two_1 = sl_point((b - e) / (b + (k - 1) * e + k * (j - e) / n));
    r.three_1 = sl_point((b - e) / (b + (k - 1) * e));
    r.one_k = sl_point((b - w) / b);
    r.two_k = sl_point((b - e) / (b + (j - e) / n));
    r.three_k = sl_point((b - e) / b);
    static const char full[] = "no interval: the readings agree fully";
    if (w > 0)
        ratio_interval(b / w, n - 1, n * (k - 1), k, &r.one_1, &r.one_k);
    else
        r.one_1.why = r.one_k.why = full;
    if (e > 0) {
        ratio_interval(b / e, n - 1, (n - 1) * (k - 1), k, &r.three_1, &r.three_k);
        two_way_interval(&r);
    } else {
        r.two_1.why = r.two_k.why = r.three_1.why = r.three_k.why = full;
    }
    return r;
}
