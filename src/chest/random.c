#include "chest/random.h"

#include "core/units.h"

uint64_t sl_hash(uint64_t a, uint64_t b)
{
    uint64_t z = a + 0x9E3779B97F4A7C15u * (b + 1);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

double sl_uniform(uint64_t key, int64_t index)
{
    return (double)(sl_hash(key, (uint64_t)index) >> 11) * 0x1p-53;
}

double sl_normal(uint64_t key, int64_t index)
{
    double u = sl_uniform(key, 2 * index), v = sl_uniform(key, 2 * index + 1);
    return sqrt(-2 * log(1 - u)) * cos(2 * SL_PI * v);
}

double sl_smooth_noise(uint64_t key, double x)
{
    double whole = floor(x), f = x - whole;
    int64_t i = (int64_t)whole;
    double a = sl_normal(key, i - 1), b = sl_normal(key, i), c = sl_normal(key, i + 1), d = sl_normal(key, i + 2);
    /* Uniform cubic B-spline: smooth to the second derivative; scaled to a standard deviation of about 0.75. */
    double g = 1 - f;
    double w0 = g * g * g / 6, w3 = f * f * f / 6;
    double w1 = (3 * f * f * f - 6 * f * f + 4) / 6, w2 = 1 - w0 - w1 - w3;
    return 1.1 * (w0 * a + w1 * b + w2 * c + w3 * d);
}
