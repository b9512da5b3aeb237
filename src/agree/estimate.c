#include "agree/estimate.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
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

double sl_t_quantile(double p, double df)
{
    be_quiet();
    return open_unit(p) && df > 0 ? gsl_cdf_tdist_Pinv(p, df) : SL_UNKNOWN;
}

/* Newton steps on the distribution itself: the library's inverse alone is good to about seven digits. */
double sl_f_quantile(double p, double df1, double df2)
{
    be_quiet();
    if (!open_unit(p) || !(df1 > 0) || !(df2 > 0))
        return SL_UNKNOWN;
    double x = gsl_cdf_fdist_Pinv(p, df1, df2);
    for (int i = 0; i < 8 && sl_known(x) && x > 0; i++) {
        double density = exp(0.5 * (df1 * log(df1) + df2 * log(df2)) + (0.5 * df1 - 1) * log(x) -
                             0.5 * (df1 + df2) * log(df2 + df1 * x) + lgamma(0.5 * (df1 + df2)) -
                             lgamma(0.5 * df1) - lgamma(0.5 * df2));
        double step = (gsl_cdf_fdist_P(x, df1, df2) - p) / density;
        if (!sl_known(step) || x - step <= 0)
            break;
        x -= step;
        if (fabs(step) < 1e-15 * x)
            break;
    }
    return x;
}

double sl_chi2_quantile(double p, double df)
{
    be_quiet();
    return open_unit(p) && df > 0 ? gsl_cdf_chisq_Pinv(p, df) : SL_UNKNOWN;
}

double sl_level_z(void)
{
    return sl_normal_quantile(0.5 + SL_LEVEL / 2);
}

double sl_level_t(double df)
{
    return sl_t_quantile(0.5 + SL_LEVEL / 2, df);
}
