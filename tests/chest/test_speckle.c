/* Fully developed speckle against statistics and the computed resolution cell.
 * Rayleigh: mean / sd = sqrt(pi / (4 - pi)) = 1.9131 (Burckhardt, IEEE Trans Sonics Ultrason 1978;25:1; Wagner et al.
 * 1983;30:156). Log-compressed: 10 pi / (ln 10 sqrt 6) = 5.5700 dB. Size: white complex noise under an amplitude point
 * spread exp(-x^2 / 2 s^2) has an intensity autocovariance exp(-x^2 / 2 s^2), so its width at half height is that of the
 * point spread (computed in the physics sheet, B). */
#include "phantom.h"

#include <math.h>
#include <string.h>

enum { SEEDS = 14 };

typedef struct sums {
    double n, a, a2, l, l2;
    double across[12], along[3], mean, count; /* autocovariance of intensity */
} sums;

static void collect(const sl_chest *chest, const float *level, double depth_mm, sums *s)
{
    int first = (int)((depth_mm - 3) / chest->sample_mm), last = (int)((depth_mm + 3) / chest->sample_mm);
    double mean = 0;
    int n = 0;
    for (int b = 8; b < chest->beams - 8; b++)
        for (int i = first; i < last; i++, n++)
            mean += pow(10, level_at(chest, level, b, i) / 10);
    mean /= n;
    for (int b = 8; b < chest->beams - 20; b++)
        for (int i = first; i < last; i++) {
            double db = level_at(chest, level, b, i) - 10 * log10(mean), p = pow(10, db / 10), a = sqrt(p);
            s->n++;
            s->a += a;
            s->a2 += p;
            s->l += db;
            s->l2 += db * db;
            for (int k = 0; k < 12; k++)
                s->across[k] += (p - 1) * (pow(10, level_at(chest, level, b + k, i) / 10) / mean - 1);
            for (int k = 0; k < 3; k++)
                s->along[k] += (p - 1) * (pow(10, level_at(chest, level, b, i + k) / 10) / mean - 1);
        }
}

/* Width at half height of a Gaussian that fits the first lags (correlation above 0.1), by least squares on -ln. */
static double half_width(const double *covariance, int lags)
{
    double top = 0, bottom = 0;
    for (int k = 1; k < lags && covariance[k] / covariance[0] > 0.1; k++) {
        double r = covariance[k] / covariance[0];
        top += -log(r) * k * k;
        bottom += 0.5 * k * k * (double)(k * k);
    }
    return bottom > 0 ? 2.3548 / sqrt(top / bottom) : 2 * (1 - 0.5 * covariance[0] / (covariance[0] - covariance[1]));
}

static void speckle(void **state)
{
    (void)state;
    static const double freq[] = {3, 5, 8}, depth[] = {15, 30, 45};
    for (int f = 0; f < 3; f++) {
        sums s[3];
        memset(s, 0, sizeof s);
        double cell_across[3] = {0}, cell_along = 0;
        for (int seed = 0; seed < SEEDS; seed++) {
            sl_scenario scenario;
            even_medium(&scenario, freq[f], 60);
            scenario.seed = 100 + seed;
            scenario.controls.focus_mm = 30;
            sl_chest *chest = make_chest(&scenario);
            chest->noise = 0;
            float *level = levels_of(chest, 0);
            for (int d = 0; d < 3; d++) {
                collect(chest, level, depth[d], &s[d]);
                double two_way, transmit;
                sl_chest_beam_widths(chest, depth[d], &two_way, &transmit);
                cell_across[d] = two_way / (chest->column_mm * chest->over);
            }
            cell_along = 2.3548 * 1.54 / (4 * SL_PI * chest->spectrum_mhz) / chest->sample_mm;
            free(level);
            sl_chest_free(&chest);
        }
        for (int d = 0; d < 3; d++) {
            double mean = s[d].a / s[d].n, sd = sqrt(s[d].a2 / s[d].n - mean * mean);
            double log_mean = s[d].l / s[d].n, log_sd = sqrt(s[d].l2 / s[d].n - log_mean * log_mean);
            double across = half_width(s[d].across, 12), along = half_width(s[d].along, 3);
            print_message("%g MHz %g mm: SNR %.3f, log sd %.3f dB, size across %.2f of cell %.2f beams, along %.2f of %.2f samples\n",
                          freq[f], depth[d], mean / sd, log_sd, across, cell_across[d], along, cell_along);
            assert_true(fabs(mean / sd / 1.9130584 - 1) < 0.03);
            assert_true(fabs(log_sd / 5.5700430 - 1) < 0.05);
            assert_true(fabs(across / cell_across[d] - 1) < 0.15);
            assert_true(fabs(along / cell_along - 1) < 0.15);
        }
    }
}

/* The slower path: single scatterers at random places, each with its own beam, summed; the same statistics. */
static void single_scatterers(void **state)
{
    (void)state;
    sl_scenario scenario;
    even_medium(&scenario, 5, 60);
    sl_chest *chest = make_chest(&scenario);
    double two_way, transmit, mm = 30;
    sl_chest_beam_widths(chest, mm, &two_way, &transmit);
    double sx = two_way / 2.3548, sz = 1.54 / (4 * SL_PI * chest->spectrum_mhz), a = 0, a2 = 0;
    int spots = 3000;
    uint64_t random = 88172645463325252u;
    for (int spot = 0; spot < spots; spot++) {
        double re = 0, im = 0;
        for (int k = 0; k < 60; k++) {
            double u[3];
            for (int j = 0; j < 3; j++) {
                random ^= random << 13;
                random ^= random >> 7;
                random ^= random << 17;
                u[j] = (double)(random >> 11) * 0x1p-53;
            }
            double x = (u[0] - 0.5) * 6 * sx, z = (u[1] - 0.5) * 6 * sz;
            double w = exp(-0.5 * (x * x / (sx * sx) + z * z / (sz * sz)));
            double phase = 4 * SL_PI * chest->receive_mhz / 1.54 * (mm + z) + 2 * SL_PI * u[2];
            re += w * cos(phase);
            im += w * sin(phase);
        }
        a += hypot(re, im);
        a2 += re * re + im * im;
    }
    double mean = a / spots, sd = sqrt(a2 / spots - mean * mean);
    print_message("single scatterers: SNR %.3f\n", mean / sd);
    assert_true(fabs(mean / sd / 1.9130584 - 1) < 0.04);
    /* And a single scatterer through the machinery has the same point spread as that sum takes. */
    size_t n = (size_t)chest->samples;
    int column = chest->columns / 2 / chest->over * chest->over, sample = (int)(mm / chest->sample_mm);
    for (size_t i = 0; i < n * (size_t)chest->columns; i++)
        chest->raw_re[i] = chest->raw_im[i] = 0;
    for (int c = 0; c < chest->columns; c++)
        chest->ring[c].at = -1;
    chest->raw_re[(size_t)column * n + (size_t)sample] = 1;
    chest->noise = 0;
    sl_pose pose;
    sl_pose_at(&scenario, 0, &pose);
    sl_chest_detect(chest, &pose, 0, 0, chest->level);
    double peak = level_at(chest, chest->level, column / chest->over, sample), pitch = chest->column_mm * chest->over;
    for (int k = 1; k * pitch < 1.5 * sx; k++) {
        double fell = level_at(chest, chest->level, column / chest->over + k, sample) - peak;
        double expected = -8.685889638 * 0.5 * k * k * pitch * pitch / (sx * sx);
        assert_true(fabs(fell - expected) < 0.4);
    }
    double along = level_at(chest, chest->level, column / chest->over, sample + 1) - peak + level_at(chest, chest->level, 0, 0) * 0;
    double gain = 20 * log10((double)chest->depth_gain[sample + 1] / (double)chest->depth_gain[sample]);
    (void)gain; /* the gain comes before the pulse, so the tap alone is compared */
    assert_true(fabs(along + 8.685889638 * 0.5 * chest->sample_mm * chest->sample_mm / (sz * sz)) < 0.3);
    sl_chest_free(&chest);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(speckle), cmocka_unit_test(single_scatterers)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
