#include "reading/grain.h"

#include "core/units.h"
#include "reading/quality_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { R = Q_SPECKLE_ROWS, B = Q_SPECKLE_BEAMS, LAGS = SL_GRAIN_LAGS, MOST = 2048 };

typedef struct place {
    int band;
    float spread;             /* variance, squared grey levels */
    float along[LAGS], across[LAGS]; /* correlation at lags 1 .. */
} place;

double sl_grain_log_correlation(double r)
{
    const double sixth = acos(-1.0) * acos(-1.0) / 6;
    if (!(r > 0))
        return 0;
    if (r >= 1)
        return 1;
    /* Li2(r) = pi^2/6 - ln r ln(1 - r) - Li2(1 - r): the series is summed where it is quick. */
    double x = r > 0.5 ? 1 - r : r, sum = 0, power = 1;
    for (int k = 1; k <= 60; k++) {
        power *= x;
        sum += power / ((double)k * k);
    }
    return (r > 0.5 ? sixth - log(r) * log(1 - r) - sum : sum) / sixth;
}

double sl_grain_intensity_correlation(double log_correlation)
{
    double low = 0, high = 1;
    if (!(log_correlation > 0))
        return 0;
    for (int i = 0; i < 50; i++) {
        double middle = 0.5 * (low + high);
        *(sl_grain_log_correlation(middle) < log_correlation ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/* Grey of a place less the mean and slope of each of its rows and the mean of each beam, so that neither layers nor shadows nor
 * shading are grain, and how it correlates with itself. False where floor or ceiling cut it off. */
static bool look(const uint8_t *cell, const uint8_t *mask, int row, int beam, double top, place *p)
{
    float v[R][B], column[B] = {0}, square = 0;
    int inside = 0, black = 0, white = 0;
    for (int i = 0; i < R; i++) {
        const uint8_t *c = cell + (row + i) * SL_BEAMS + beam, *m = mask + (row + i) * SL_BEAMS + beam;
        float mean = 0, slope = 0;
        for (int j = 0; j < B; j++) {
            inside += m[j];
            black += c[j] <= Q_FLOOR;
            white += c[j] >= top - Q_CEILING;
            mean += c[j];
            slope += c[j] * ((float)j - (B - 1) / 2.0f);
        }
        mean /= B;
        slope /= B * (B * B - 1) / 12.0f;
        for (int j = 0; j < B; j++) {
            v[i][j] = c[j] - mean - slope * ((float)j - (B - 1) / 2.0f);
            column[j] += v[i][j] / R;
        }
    }
    if (inside < R * B || black > Q_SPECKLE_CUT * R * B || white > Q_SPECKLE_CUT * R * B)
        return false;
    for (int i = 0; i < R; i++)
        for (int j = 0; j < B; j++) {
            v[i][j] -= column[j];
            square += v[i][j] * v[i][j];
        }
    p->spread = square / (R * B);
    if (p->spread < Q_SPECKLE_LEAST)
        return false;
    for (int lag = 1; lag <= LAGS; lag++) {
        float a = 0, c = 0;
        for (int i = 0; i + lag < R; i++)
            for (int j = 0; j < B; j++)
                a += v[i][j] * v[i + lag][j];
        for (int i = 0; i < R; i++)
            for (int j = 0; j + lag < B; j++)
                c += v[i][j] * v[i][j + lag];
        p->along[lag - 1] = a / square * R / (R - lag);
        p->across[lag - 1] = c / square * B / (B - lag);
    }
    p->band = (row + R / 2) * SL_GRAIN_BANDS / SL_DEPTHS;
    return true;
}

/* What speckle of `width` would show at lags 1 .. after `fitted` numbers were taken from each line of `length` cells: a line holds
 * length / sum r independent ones, and each number fitted takes one of them. */
static void expected(double width, int length, int fitted, double correlation[LAGS])
{
    double sum = 1;
    for (int lag = 1; lag < length; lag++) {
        double r = sl_grain_log_correlation(exp(-4 * log(2.0) * (lag / width) * (lag / width)));
        if (lag <= LAGS)
            correlation[lag - 1] = r;
        else if (r < 1e-4)
            break;
        sum += 2 * r * (1 - (double)lag / length);
    }
    double taken = fmin(fitted * sum / length, 0.9);
    for (int lag = 0; lag < LAGS; lag++)
        correlation[lag] = (correlation[lag] - taken) / (1 - taken);
}

/* Widths that are tried, each a few percent above the one before, and what each would show. */
enum { STEPS = 120 };
typedef struct tried {
    double width[STEPS], due[STEPS][LAGS];
} tried;

static void prepare(int length, int fitted, tried *t)
{
    double step = pow(Q_SPECKLE_WIDEST / Q_SPECKLE_NARROWEST, 1.0 / (STEPS - 1)), width = Q_SPECKLE_NARROWEST;
    for (int i = 0; i < STEPS; i++, width *= step) {
        t->width[i] = width;
        expected(width, length, fitted, t->due[i]);
    }
}

/* The width whose correlation lies nearest to the one measured; NAN beyond the widths looked at. */
static double width_of(const double measured[LAGS], const tried *t)
{
    int best = 0;
    double least = HUGE_VAL;
    for (int i = 0; i < STEPS; i++) {
        double miss = 0;
        for (int lag = 0; lag < LAGS; lag++)
            miss += (measured[lag] - t->due[i][lag]) * (measured[lag] - t->due[i][lag]);
        if (miss < least) {
            least = miss;
            best = i;
        }
    }
    return best < STEPS - 1 ? t->width[best] : SL_UNKNOWN;
}

static int by_band_and_spread(const void *a, const void *b)
{
    const place *p = a, *q = b;
    return p->band != q->band ? p->band - q->band : (p->spread > q->spread) - (p->spread < q->spread);
}

bool sl_grain_measure(const sl_stack *stack, double top, sl_arena *scratch, sl_grain_widths *widths)
{
    for (int b = 0; b < SL_GRAIN_BANDS; b++)
        widths->along[b] = widths->across[b] = SL_UNKNOWN;
    place *all = SL_NEW(scratch, MOST, place);
    tried *rows = SL_NEW(scratch, 2, tried), *beams = rows + 1;
    if (!all || !rows)
        return false;
    prepare(R, 1, rows);
    prepare(B, 2, beams);
    int looked = stack->frames < Q_SPECKLE_FRAMES ? stack->frames : Q_SPECKLE_FRAMES, count = 0;
    for (int k = 0; k < looked; k++) {
        const uint8_t *cell = sl_stack_frame(stack, (int)((int64_t)k * stack->frames / looked));
        for (int row = 0; row + R <= SL_DEPTHS; row += R / 2)
            for (int beam = 0; beam + B <= SL_BEAMS && count < MOST; beam += B)
                count += look(cell, stack->mask, row, beam, top, &all[count]);
    }
    qsort(all, (size_t)count, sizeof *all, by_band_and_spread);
    for (int first = 0, last; first < count; first = last) {
        for (last = first; last < count && all[last].band == all[first].band; last++)
            ;
        int even = (last - first + 1) / 2;
        if (even < Q_SPECKLE_PLACES * looked / 2)
            continue;
        double along[LAGS] = {0}, across[LAGS] = {0};
        for (int i = first; i < first + even; i++)
            for (int lag = 0; lag < LAGS; lag++) {
                along[lag] += (double)all[i].along[lag] / even;
                across[lag] += (double)all[i].across[lag] / even;
            }
        widths->along[all[first].band] = width_of(along, rows);
        widths->across[all[first].band] = width_of(across, beams);
    }
    return true;
}
