#include "reading/track.h"

#include "core/clones.h"
#include "core/units.h"

#include <math.h>
#include <string.h>

enum { SHIFTS = 2 * TRACK_SHIFT_MOST + 1, PAD = TRACK_SHIFT_MOST };

/* product[b] = sum over rows of a[row][b] * c[row][b + shift], where c begins PAD beams before its first. */
SL_CLONES
static void products(const float *restrict a, const float *restrict c, int rows, int stride, float *restrict product)
{
    for (int j = 0; j < SL_BEAMS; j++)
        product[j] = 0;
    for (int row = 0; row < rows; row++)
        for (int j = 0; j < SL_BEAMS; j++)
            product[j] += a[row * SL_BEAMS + j] * c[row * stride + j];
}

/* sum[j] = value[0] + ... + value[j - 1] */
static void run(const float *restrict value, double *restrict sum)
{
    sum[0] = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        sum[j + 1] = sum[j] + (double)value[j];
}

static float peak_between(const float *ncc, int at, int shifts)
{
    if (at == 0 || at == shifts - 1)
        return 0;
    float left = ncc[at - 1], middle = ncc[at], right = ncc[at + 1], bend = left - 2 * middle + right;
    return bend < 0 ? 0.5f * (left - right) / bend : 0;
}

static float between(const float *ncc, float at, int shifts)
{
    at = at < 0 ? 0 : at > (float)(shifts - 1) ? (float)(shifts - 1) : at;
    int whole = (int)at < shifts - 1 ? (int)at : shifts - 2;
    float part = at - (float)whole;
    return ncc[whole] + part * (ncc[whole + 1] - ncc[whole]);
}

void sl_track_windows(const float *from, const float *to, int rows, const float *use, int reach, float expect,
                      const sl_beam_range *window, int windows, sl_match *match)
{
    enum { WIDE = SL_BEAMS + 2 * PAD, ROWS_MOST = STRIP_ROWS };
    float padded[ROWS_MOST * WIDE] = {0}, open[WIDE] = {0}, power_from[SL_BEAMS] = {0}, power_to[WIDE] = {0};
    float ncc[WINDOWS_MOST][SHIFTS];
    reach = reach < 1 ? 1 : reach > TRACK_SHIFT_MOST ? TRACK_SHIFT_MOST : reach;
    windows = windows > WINDOWS_MOST ? WINDOWS_MOST : windows;
    rows = rows > ROWS_MOST ? ROWS_MOST : rows;
    for (int row = 0; row < rows; row++)
        for (int j = 0; j < SL_BEAMS; j++) {
            float a = from[row * SL_BEAMS + j], c = to[row * SL_BEAMS + j];
            padded[row * WIDE + PAD + j] = c;
            power_from[j] += a * a;
            power_to[PAD + j] += c * c;
        }
    memcpy(open + PAD, use, SL_BEAMS * sizeof *use);
    int shifts = 2 * reach + 1;
    for (int k = 0; k < shifts; k++) {
        int at = PAD + k - reach;
        float product[SL_BEAMS], first[SL_BEAMS], second[SL_BEAMS];
        double products_to[SL_BEAMS + 1], first_to[SL_BEAMS + 1], second_to[SL_BEAMS + 1];
        products(from, padded + at, rows, WIDE, product);
        for (int j = 0; j < SL_BEAMS; j++) {
            float both = use[j] * open[at + j];
            product[j] *= both;
            first[j] = power_from[j] * both;
            second[j] = power_to[at + j] * both;
        }
        run(product, products_to);
        run(first, first_to);
        run(second, second_to);
        for (int w = 0; w < windows; w++) {
            int a = window[w].first, b = window[w].last + 1;
            double power = (first_to[b] - first_to[a]) * (second_to[b] - second_to[a]);
            ncc[w][k] = power > 0 ? (float)((products_to[b] - products_to[a]) / sqrt(power)) : 0;
        }
    }
    for (int w = 0; w < windows; w++) {
        int best = reach; /* of equal ones the least shift */
        for (int k = 0; k < shifts; k++)
            if (ncc[w][k] > ncc[w][best])
                best = k;
        float peak = ncc[w][best];
        match[w] = (sl_match){.shift = (float)(best - reach) + peak_between(ncc[w], best, shifts), .peak = peak,
                              .still = between(ncc[w], expect + (float)reach, shifts),
                              .edge = best == 0 || best == shifts - 1};
        if (!(peak > 0))
            match[w].shift = NAN;
    }
}

/* ---- one path through many steps ---- */

/* Solves the symmetric banded system (lower half, band[i][k] couples i and i - k) in place; a tiny ridge keeps it solvable. */
static void solve(double (*band)[SL_STEP_REACH + 1], double *x, int n)
{
    for (int i = 0; i < n; i++) {
        for (int k = SL_STEP_REACH; k >= 0; k--) {
            int j = i - k;
            if (j < 0)
                continue;
            double sum = band[i][k];
            for (int m = k + 1; m <= SL_STEP_REACH && i - m >= 0; m++)
                if (m - k <= SL_STEP_REACH)
                    sum -= band[i][m] * band[j][m - k];
            band[i][k] = k ? sum / band[j][0] : sqrt(sum > 1e-12 ? sum : 1e-12);
        }
    }
    for (int i = 0; i < n; i++) {
        for (int k = 1; k <= SL_STEP_REACH && k <= i; k++)
            x[i] -= band[i][k] * x[i - k];
        x[i] /= band[i][0];
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int k = 1; k <= SL_STEP_REACH && i + k < n; k++)
            x[i] -= band[i + k][k] * x[i + k];
        x[i] /= band[i][0];
    }
}

bool sl_track_path(const sl_step *step, int steps, int frames, sl_arena *arena, double *x, double *misfit)
{
    enum { ROUNDS = 5 };
    const double usual = 0.7, smooth = 1e-4; /* beams; the weight that carries on where no step reaches */
    double (*band)[SL_STEP_REACH + 1] = (double (*)[SL_STEP_REACH + 1])sl_arena_alloc(arena, (size_t)frames + 1, sizeof *band);
    double *b = SL_NEW(arena, frames + 1, double);
    if (!band || !b)
        return false;
    double sum = 0, weights = 0;
    for (int round = 0; round < ROUNDS; round++) {
        memset(band, 0, (size_t)frames * sizeof *band);
        memset(b, 0, (size_t)frames * sizeof *b);
        band[0][0] = 1; /* x[0] = 0 */
        for (int i = 1; i < frames; i++) {
            band[i][0] += smooth;
            band[i - 1][0] += smooth;
            band[i][1] -= smooth;
        }
        sum = weights = 0;
        for (int i = 0; i < steps; i++) {
            int from = step[i].from, to = step[i].to;
            double d = (double)step[i].shift, w = (double)step[i].weight;
            if (!sl_known(d) || !(w > 0) || to - from < 1 || to - from > SL_STEP_REACH)
                continue;
            if (round) {
                double off = fabs(x[to] - x[from] - d);
                w /= 1 + off * off / (usual * usual); /* Cauchy: a match on the wrong grain is far off and counts for little */
                sum += w * off * off;
                weights += w;
            }
            band[from][0] += w;
            band[to][0] += w;
            band[to][to - from] -= w;
            b[from] -= w * d;
            b[to] += w * d;
        }
        solve(band, b, frames);
        double first = b[0];
        for (int i = 0; i < frames; i++)
            x[i] = b[i] - first;
    }
    *misfit = weights > 0 ? sqrt(sum / weights) : SL_UNKNOWN;
    return true;
}
