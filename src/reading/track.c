#include "reading/track.h"

#include "core/clones.h"
#include "core/units.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    PAD = TRACK_SHIFT_MOST,
    LANES = 32,                        /* shifts side by side: 2 TRACK_SHIFT_MOST + 1, up to whole vectors */
    WIDE = PAD + SL_BEAMS + LANES,     /* a row of `to`, with room for every shift of every beam */
    CUTS_MOST = 2 * WINDOWS_MOST       /* where windows begin and end */
};
_Static_assert(LANES > 2 * TRACK_SHIFT_MOST, "every shift has a lane");

/* Running sums from the first beam on, for all shifts at once: of the products, and of either strip's power. */
typedef struct lanes {
    float product[LANES], first[LANES], second[LANES];
} lanes;

typedef struct pair {
    const float *from, *use;
    float power_from[SL_BEAMS];
    float to[STRIP_ROWS * WIDE], open[WIDE], power_to[WIDE];
    int rows;
} pair;

/* sum[i]: the sums over the beams before cut[i] (rising). Lane k is shift k - reach; `to` and what belongs to it begin PAD beams before its
 * first. All shifts of a beam lie side by side in memory, so that a beam costs a few vectors a row, and beams that may not be looked at
 * nothing. */
SL_CLONES
static void sum_shifts(const pair *restrict p, int reach, const int *cut, int cuts, lanes *restrict sum)
{
    lanes all = {{0}, {0}, {0}};
    for (int j = 0, next = 0; next < cuts; j++) {
        while (next < cuts && cut[next] <= j)
            sum[next++] = all;
        if (next == cuts || !(p->use[j] > 0))
            continue;
        const float *to = p->to + PAD + j - reach, *open = p->open + PAD + j - reach, *power = p->power_to + PAD + j - reach;
        float product[LANES] = {0};
        for (int row = 0; row < p->rows; row++)
            for (int k = 0; k < LANES; k++)
                product[k] += p->from[row * SL_BEAMS + j] * to[row * WIDE + k];
        for (int k = 0; k < LANES; k++) {
            all.product[k] += open[k] * product[k];
            all.first[k] += open[k] * p->power_from[j];
            all.second[k] += open[k] * power[k];
        }
    }
}

SL_CLONES
static void correlate(const lanes *restrict low, const lanes *restrict high, float *restrict ncc)
{
    for (int k = 0; k < LANES; k++) {
        float power = (high->first[k] - low->first[k]) * (high->second[k] - low->second[k]);
        ncc[k] = power > 0 ? (high->product[k] - low->product[k]) / sqrtf(power) : 0;
    }
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

static void prepare(const float *from, const float *to, int rows, const float *use, pair *p)
{
    p->from = from;
    p->use = use;
    p->rows = rows;
    memset(p->power_from, 0, sizeof p->power_from);
    memset(p->power_to, 0, sizeof p->power_to);
    memset(p->open, 0, sizeof p->open);
    memcpy(p->open + PAD, use, SL_BEAMS * sizeof *use);
    for (int row = 0; row < rows; row++) {
        float *own = p->to + row * WIDE;
        memset(own, 0, PAD * sizeof *own);
        memset(own + PAD + SL_BEAMS, 0, LANES * sizeof *own);
        for (int j = 0; j < SL_BEAMS; j++) {
            float a = from[row * SL_BEAMS + j], c = to[row * SL_BEAMS + j];
            own[PAD + j] = c;
            p->power_from[j] += a * a;
            p->power_to[PAD + j] += c * c;
        }
    }
}

static int by_place(const void *a, const void *b)
{
    return *(const int *)a - *(const int *)b;
}

static const lanes *sums_at(const int *cut, const lanes *sum, int place)
{
    while (*cut != place) {
        cut++;
        sum++;
    }
    return sum;
}

void sl_track_windows(const float *from, const float *to, int rows, const float *use, int reach, float expect,
                      const sl_beam_range *window, int windows, sl_match *match)
{
    pair p;
    lanes sum[CUTS_MOST];
    float ncc[WINDOWS_MOST][LANES];
    int cut[CUTS_MOST];
    reach = reach < 1 ? 1 : reach > TRACK_SHIFT_MOST ? TRACK_SHIFT_MOST : reach;
    windows = windows > WINDOWS_MOST ? WINDOWS_MOST : windows;
    prepare(from, to, rows > STRIP_ROWS ? STRIP_ROWS : rows, use, &p);
    int shifts = 2 * reach + 1;
    for (int w = 0; w < windows; w++) {
        cut[2 * w] = window[w].first;
        cut[2 * w + 1] = window[w].last + 1;
    }
    qsort(cut, (size_t)(2 * windows), sizeof *cut, by_place);
    sum_shifts(&p, reach, cut, 2 * windows, sum);
    for (int w = 0; w < windows; w++)
        correlate(sums_at(cut, sum, window[w].first), sums_at(cut, sum, window[w].last + 1), ncc[w]);
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
