#include "agree/estimate.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <pthread.h>

/* GSL's default is to abort on a bad argument; here a bad argument gives NAN. */
static void quiet(void)
{
    gsl_set_error_handler_off();
}

static void be_quiet(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, quiet);
}

static bool open_unit(double p)
{
    return p > 0 && p < 1;
}

double sl_normal_quantile(double p)
{
    be_quiet();
    return open_unit(p) ? gsl_cdf_ugaussian_Pinv(p) : SL_UNKNOWN;
}

double sl_normal_two_sided(double z)
{
    be_quiet();
    return sl_known(z) ? 2 * gsl_cdf_ugaussian_Q(fabs(z)) : SL_UNKNOWN;
}

/* The library's inverses of F and chi-square alone are good to about eight digits; Newton steps on its distribution
 * functions bring the rest. */
double sl_f_quantile(double p, double df1, double df2)
{
    be_quiet();
    if (!open_unit(p) || !(df1 > 0) || !(df2 > 0))
        return SL_UNKNOWN;
    double x = gsl_cdf_fdist_Pinv(p, df1, df2);
    for (int i = 0; i < 8 && sl_known(x) && x > 0; i++) {
        double miss = p > 0.5 ? (1 - p) - gsl_cdf_fdist_Q(x, df1, df2) : gsl_cdf_fdist_P(x, df1, df2) - p;
        double step = miss / gsl_ran_fdist_pdf(x, df1, df2);
        if (!sl_known(step) || x - step <= 0)
            break;
        x -= step;
        if (fabs(step) < 1e-15 * x)
            break;
    }
    return x;
}

/* The square of t is F with 1 and df degrees of freedom. The library's own t falls back on an expansion of some nine
 * digits above 30 degrees of freedom. */
double sl_t_quantile(double p, double df)
{
    if (!open_unit(p) || p == 0.5)
        return p == 0.5 && df > 0 ? 0 : SL_UNKNOWN;
    double t = sqrt(sl_f_quantile(fabs(2 * p - 1), 1, df));
    return p > 0.5 ? t : -t;
}

double sl_chi2_quantile(double p, double df)
{
    be_quiet();
    if (!open_unit(p) || !(df > 0))
        return SL_UNKNOWN;
    double x = gsl_cdf_chisq_Pinv(p, df);
    for (int i = 0; i < 8 && sl_known(x) && x > 0; i++) {
        double miss = p > 0.5 ? (1 - p) - gsl_cdf_chisq_Q(x, df) : gsl_cdf_chisq_P(x, df) - p;
        double step = miss / gsl_ran_chisq_pdf(x, df);
        if (!sl_known(step) || x - step <= 0)
            break;
        x -= step;
        if (fabs(step) < 1e-15 * x)
            break;
    }
    return x;
}

double sl_level_z(void)
{
    return sl_normal_quantile(0.5 + SL_LEVEL / 2);
}

double sl_level_t(double df)
{
    return sl_t_quantile(0.5 + SL_LEVEL / 2, df);
}
