/* Speckle constants: Burckhardt 1978, Wagner et al. 1983 (from memory); 1.91 also in a university seminar
 * text; values computed, and found again in random numbers. */
#include "acoustics/speckle.h"

#include "core/units.h"
#include "near.h"

static uint64_t seed = 42;

static double uniform(void) /* xorshift64*, (0, 1) */
{
    seed ^= seed >> 12;
    seed ^= seed << 25;
    seed ^= seed >> 27;
    return ((double)((seed * 2685821657736338717ULL) >> 11) + 0.5) / 9007199254740992.0;
}

static void constants(void **state)
{
    (void)state;
    assert_near(SL_SPECKLE_MEAN_OVER_SD, sqrt(SL_PI / (4 - SL_PI)), 1e-14);
    assert_near(SL_SPECKLE_MEAN_OVER_SD, 1.9130584, 1e-7);
    assert_near(SL_SPECKLE_LOG_SD_DB, 10 * SL_PI / (log(10) * sqrt(6)), 1e-14);
    assert_near(SL_SPECKLE_LOG_SD_DB, 5.5700430, 1e-7);
    assert_near(SL_SPECKLE_LOG_BIAS_DB, -2.5068158, 1e-7);
    assert_near(SL_FWHM_OVER_SIGMA, 2 * sqrt(2 * log(2)), 1e-14);
    assert_near(sl_speckle_grey_sd(60), 23.67, 2e-4);
    assert_near(sl_speckle_compound_ratio(4), 2 * SL_SPECKLE_MEAN_OVER_SD, 1e-12);
    assert_near(sl_speckle_mean_error_db(100, 1), 0.557, 1e-4);
    assert_near(sl_speckle_mean_error_db(0.5, 1), SL_SPECKLE_LOG_SD_DB, 1e-12);
    assert_near(sl_speckle_shift_correlation(1, 1), 0.606531, 1e-6);
    assert_near(sl_speckle_shift_correlation(1.177410, 1), 0.5, 1e-6);
    assert_unknown(sl_speckle_grey_sd(0));
    assert_unknown(sl_speckle_compound_ratio(0));
    assert_unknown(sl_speckle_mean_error_db(0, 1));
    assert_unknown(sl_speckle_shift_correlation(1, 0));
}

/* Sums of many random phasors have these statistics. */
static void random_phasors(void **state)
{
    (void)state;
    enum { N = 100000 };
    double sum = 0, squares = 0, log_sum = 0, log_squares = 0, power = 0;
    for (int i = 0; i < N; i++) {
        double intensity = -log(uniform()), amplitude = sqrt(intensity), db = 10 * log10(intensity);
        sum += amplitude;
        squares += intensity;
        log_sum += db;
        log_squares += db * db;
        power += intensity;
    }
    double mean = sum / N, sd = sqrt(squares / N - mean * mean), log_mean = log_sum / N;
    assert_near(mean / sd, SL_SPECKLE_MEAN_OVER_SD, 0.01);
    assert_near(sqrt(log_squares / N - log_mean * log_mean), SL_SPECKLE_LOG_SD_DB, 0.02);
    assert_within(log_mean - 10 * log10(power / N), SL_SPECKLE_LOG_BIAS_DB, 0.06);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(constants), cmocka_unit_test(random_phasors)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
